"""Slips in study, plan, guideline and gauge files, and what comes of reading them: plain words, at once."""

from __future__ import annotations

import random
import time
from collections.abc import Callable
from functools import partial
from pathlib import Path

from survivor.errors import SurvivorError
from survivor.study import load
from tests.files.kinds import KINDS
from tests.writing import small_season

SECONDS = 5.0
WORDS = [
    "nan", "inf", "-inf", "1e400", "-1", "0", "9" * 20, "9" * 400, "true", '""', '"nan"', "[]", "{}", "[[]]",
    "1979-05-27", "0001-01-01", "9999-12-31", "07:32:00",
    '"\\u0000"', '"\\u001b[2J"', '"\\u202e"', "'''", '"""',
    "a.b.c", "[a]", "[[a]]", "# x", "=", "\\", "\x00", "\ufeff", "é", "🚜", '"../../x.csv"', '"/etc/passwd"',
    '"=1+1"', '"a" * 9', "1_000", "0x1F", "1e-400", "5000000000", '"2022-02-30"', '"13-45"', '"99-99"',
]  # fmt: skip
GAUGE = "date,rain (mm),quality\n" + "".join(
    f"20{year:02}-{month:02}-{day:02},{day % 7},\n"
    for year in range(18, 24)
    for month in range(1, 13)
    for day in range(1, 29)
)
CELLS = [
    "", "-", "nan", "inf", "1e999",
    "9999-12-31", "0001-01-01", "1922-06-01", "2922-06-01", "31/31/2022", "-5",
    "9" * 400, "trace", "12,5", '"', "\x00", "🚜", "=1+1", "#N/A", "2022-06-01", "\r", "\n", ",,,", ";",
]  # fmt: skip


def mutated(text: str, drawn: random.Random) -> str:
    """Change lines of a TOML file as slips, tools and ill will do."""
    lines = text.splitlines()
    for _ in range(drawn.choice((1, 1, 1, 2, 5))):
        at = drawn.randrange(len(lines))
        key, equals, _ = lines[at].partition("=")
        how = drawn.randrange(8)
        if how == 0 and equals:
            lines[at] = f"{key}= {drawn.choice(WORDS)}"
        elif how == 1:
            del lines[at]
        elif how == 2:
            lines.insert(at, lines[drawn.randrange(len(lines))])
        elif how == 3:
            lines.insert(at, f"{drawn.choice(('x', 'seed', 'name', 'file', 'a.b'))} = {drawn.choice(WORDS)}")
        elif how == 4 and lines[at]:
            place = drawn.randrange(len(lines[at]))
            lines[at] = lines[at][:place] + drawn.choice(WORDS) + lines[at][place + 1 :]
        elif how == 5:
            other = drawn.randrange(len(lines))
            lines[at], lines[other] = lines[other], lines[at]
        elif how == 6 and lines[at]:
            place = drawn.randrange(len(lines[at]))
            lines[at] = lines[at][:place] + lines[at][place + 1 :]
        else:
            lines.insert(at, f"[{drawn.choice(('x', 'study', 'records', '[methods]', 'a.b', ''))}]")
        lines = lines or [""]
    return "\n".join(lines) + "\n"


def mutated_gauge(text: str, drawn: random.Random) -> str:
    lines = text.splitlines()
    for _ in range(drawn.choice((1, 2, 5))):
        at = drawn.randrange(len(lines))
        cells = lines[at].split(",")
        how = drawn.randrange(4)
        if how < 2:
            cells[drawn.randrange(len(cells))] = drawn.choice(CELLS)
            lines[at] = ",".join(cells)
        elif how == 2:
            lines.insert(at, lines[drawn.randrange(len(lines))])
        else:
            del lines[at:][: drawn.choice((1, 30))]
            lines = lines or [""]
    return "\n".join(lines) + "\n"


def is_plain(read: Callable[[], object]) -> tuple[str, float]:
    """Read, or refused with a mend, in time; anything else that is raised fails. Which, and the seconds."""
    began = time.process_time()
    refusal = None
    try:
        read()
    except SurvivorError as said:
        refusal = said
    seconds = time.process_time() - began
    assert seconds < SECONDS
    assert refusal is None or refusal.mend
    assert "\x1b" not in str(refusal)
    assert len(str(refusal)) < 40_000
    return ("read" if refusal is None else "refused"), seconds


def a_mutated_file(kind: str, folder: Path, drawn: random.Random) -> tuple[str, float]:
    """Mutate one study file, plan or guideline, and read it."""
    file = folder / f"{kind}.toml"
    file.write_bytes(mutated(KINDS[kind].text, drawn).encode("utf-8", "surrogateescape"))
    return is_plain(partial(KINDS[kind].read, file))


class Season:
    """A whole season in a folder, whose study file or gauge is mutated; every record has one account."""

    def __init__(self, folder: Path) -> None:
        small_season(folder)
        self.folder = folder
        self.study = (folder / "study.toml").read_text(encoding="utf-8")
        self.study += '\n[[gauges]]\nname = "g"\nfile = "rain.csv"\nmissing_days = "zero"\n'
        self.records = (folder / "visits.csv").read_text(encoding="utf-8").count("\n") - 1
        self._write(self.study, GAUGE)
        self.whole = self.found = load(folder)

    def _write(self, study: str, gauge: str) -> None:
        (self.folder / "study.toml").write_text(study, encoding="utf-8")
        (self.folder / "rain.csv").write_text(gauge, encoding="utf-8")

    def _read(self) -> None:
        self.found = load(self.folder)
        own = self.found.accounts[self.found.accounts["file"] == "visits.csv"]
        one_sheet = len(self.found.settings.records.sheets) == 1
        assert len(own) >= self.records or not one_sheet or own["row"].min() > 2

    def mutated(self, drawn: random.Random, *, of_study: bool) -> tuple[str, float]:
        """Mutate the study file, or the gauge, and read the season: what was seen of it, and the seconds."""
        study = mutated(self.study, drawn) if of_study else self.study
        self._write(study, GAUGE if of_study else mutated_gauge(GAUGE, drawn))
        seen, seconds = is_plain(self._read)
        return (seen if of_study or seen != "read" else self._seen_of_gauge()), seconds

    def _seen_of_gauge(self) -> str:
        was, became = (study.gauges.records.get("g") for study in (self.whole, self.found))
        if became is not None and became.daily.equals(was.daily):
            return "same"
        told = set(self.found.problems["what"]) - set(self.whole.problems["what"])
        return "named" if told else "silent"
