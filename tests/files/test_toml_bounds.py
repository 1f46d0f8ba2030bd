"""What a TOML file from outside can do to whoever reads it: nothing but be refused in plain words."""

from __future__ import annotations

import time
from pathlib import Path

import pytest

from survivor.errors import SurvivorError
from survivor.settings import read_settings
from tests.files.kinds import KINDS

DATASETS = Path(__file__).parents[2] / "datasets"
HOSTILE = {
    "a number of 5,000 digits": ("seed = " + "9" * 5_000, "a number of very many digits"),
    "a number of 400 digits": ("seed = " + "9" * 400, "a number of very many digits"),
    "a number beyond all numbers": ("seed = 1e400", "nan and inf are no numbers"),
    "no number": ("seed = nan", "nan and inf are no numbers"),
    "no number, within": ("own = [{ x = [-inf] }]", "nan and inf are no numbers"),
    "20,000 brackets": ("own = " + "[" * 20_000 + "]" * 20_000, "without end"),
    "3,000 inline tables": ("own = " + "{a = " * 3_000 + "1" + "}" * 3_000, "without end"),
    "100 brackets": ("own = " + "[" * 100 + "]" * 100, "without end"),
    "a table of 3,000 parts": ("[" + ".".join(["a"] * 3_000) + "]", "without end"),
    "a key of 20,000 parts": (".".join(["a"] * 20_000) + " = 1", "without end"),
    "a key of 20,000 quoted parts": (".".join(['"a"'] * 20_000) + " = 1", "without end"),
    "a key of 20,000 parts within": ("own = {" + ".".join(["a"] * 20_000) + " = 1}", "without end"),
    "20,000 keys": ("\n".join(f"key{number} = {number}" for number in range(20_000)), "and 19,9"),
    "20,000 tables": ("\n".join(f"[[key{number}]]" for number in range(20_000)), "and 19,9"),
    "2 MB": ("# " + "x" * 2_000_000, "this is 2.0 MB, more than any"),
    "quotation marks without end": ("#" + '\\"' * 400_000 + '\n"', "cannot be read as TOML"),
}


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("what", HOSTILE)
def test_what_no_file_holds_is_refused_within_two_seconds(tmp_path: Path, kind: str, what: str) -> None:
    own, said = HOSTILE[what]
    file = tmp_path / f"{kind}.toml"
    file.write_text(f"{own}\n{KINDS[kind].text}", encoding="utf-8")
    began = time.process_time()
    with pytest.raises(SurvivorError) as fault:
        KINDS[kind].read(file)
    assert time.process_time() - began < 2
    assert said in fault.value.what
    assert fault.value.exit_status == 2
    assert fault.value.mend
    assert len(str(fault.value)) < 20_000


@pytest.mark.parametrize(
    "sign", ["\x1b[2J\x1b]0;mine\x07", "\x0c", "\x7f", "\x9b", "\u202e", "\u2066", "\uffff", "\ufffe"]
)
def test_signs_that_are_no_letters_are_taken_out_of_every_text(tmp_path: Path, sign: str) -> None:
    text = KINDS["study"].text
    written = "".join(f"\\u{ord(letter):04x}" for letter in sign)
    named = text.replace('[study]\nname = "', f'[study]\nname = "A{written}', 1)
    named = named.replace('works = ["', f'works = ["B{written}', 1)
    assert named.count(written) == 2
    (tmp_path / "study.toml").write_text(named, encoding="utf-8")
    settings = read_settings(tmp_path)
    held = settings.model_dump_json()
    assert settings.study.name[:2] in ("A\N{REPLACEMENT CHARACTER}", "A ")
    for letter in sign:
        assert letter.isprintable() or letter not in held
    assert not set(sign) - {letter for letter in sign if letter.isprintable()} & set(held)


def test_letters_of_every_script_stay(tmp_path: Path) -> None:
    name = "Ōtāpara 山田 مزرعة हिन्दी 🚜 é"
    text = KINDS["study"].text.replace('[study]\nname = "', f'[study]\nname = "{name} ', 1)
    (tmp_path / "study.toml").write_text(text, encoding="utf-8")
    assert read_settings(tmp_path).study.name.startswith(name)


def test_a_currency_that_fits_beside_no_amount_is_refused(tmp_path: Path) -> None:
    file = tmp_path / "study.toml"
    text = (DATASETS / "tagged" / "study.toml").read_text(encoding="utf-8")
    file.write_text(text.replace('"dollars"', '"Aotearoa dollars"'), encoding="utf-8")
    KINDS["study"].read(file)
    file.write_text(text.replace('"dollars"', f'"{"x" * 2_000}"'), encoding="utf-8")
    with pytest.raises(SurvivorError, match="2000 letters do not fit beside an amount"):
        KINDS["study"].read(file)
