"""The study file: every slip is said with its line, key, value and mend; the dictionary lists every key."""

from __future__ import annotations

import datetime as dt
import re
from pathlib import Path

import numpy as np
import pytest

import survivor
import survivor.settings
from survivor.demo.files import text_file
from survivor.errors import StudyFileError
from survivor.files.faults import OWN_WORD
from survivor.files.names import likely_slips, look_alike, nearest
from survivor.files.toml import key_lines
from survivor.settings import read_settings
from survivor.settings.base import Strict
from survivor.settings.dictionary import TABLES, key_table, keys

STUDY = text_file("tagged-study.toml").decode("utf-8")
# Words of the library that checks types: they help no field officer.
FOREIGN = (
    "Input should",
    "Field required",
    "Extra inputs",
    "pydantic",
    "valid integer",
    "string_type",
    "tuple",
)


def refused(tmp_path: Path, old: str, new: str) -> str:
    assert old in STUDY
    (tmp_path / "study.toml").write_text(STUDY.replace(old, new, 1), encoding="utf-8")
    with pytest.raises(StudyFileError) as caught:
        read_settings(tmp_path)
    assert caught.value.exit_status == 2
    assert not any(word in str(caught.value) for word in FOREIGN)
    assert "DATA-DICTIONARY.md" in caught.value.mend
    return caught.value.what


SLIPS = {
    "misspelt key": ("seed = 20220615", "sead = 4", "[study] sead = 4 is not a key", "did you mean seed?"),
    "key of another table": ('headline = "12 months"', 'allocation = "by choice"', "under [design]?"),
    "misspelt table": ("[dry_season]", "[dryseason]", "dryseason", "did you mean dry_season?"),
    "text for a number": ("survival_per_100 = 70", 'survival_per_100 = "70"', '= "70" has', "write 70"),
    "number for a text": ('site = "Site"', "site = 3", "[records.plots.columns] site = 3", 'write "3"'),
    "text for a list": (
        'strata = ["site", "block"]', 'strata = "site"', '[design] strata = "site"', 'write ["site"]'
    ),
    "text for true or false": ("show_landholders = false", 'show_landholders = "no"', "write false"),
    "a word that is none": ('tagged = "at planting"', 'tagged = "at plantin"', 'did you mean "at planting"?'),
    "one of many tables": ("plants = 130", "plants = 130.5", "[[planted]] no. 1, plants = 130.5"),
    "a key within a key": ("cost = { per_plant = 3.50, low", "cost = { per_plant = -3.50, low", "at least 0"),
    "a name that is none": (
        'usual_practice = "spot spray only"', 'usual_practice = "spot spay only"',
        '[design] usual_practice = "spot spay only"', 'did you mean "spot spray only"?',
    ),
    "milestone that is none": ('milestone = "12 months"', 'milestone = "12 month"', 'mean "12 months"?'),
    "no day": ('as_of = "2024-09-30"', 'as_of = "30/9/2024"', "[study] as_of", "year-month-day"),
    "no day in figures": ('as_of = "2024-09-30"', 'as_of = "2024-W40-1"', "[study] as_of", "year-month-day"),
    "a day of no record": ('as_of = "2024-09-30"', 'as_of = "9999-12-31"', "between 1800 and 2200"),
    "no month and day": ('start = "12-01"', 'start = "02-30"', "[dry_season] start", "month-day"),
    # units
    "a share for a number per 100": ("survival_per_100 = 70", "survival_per_100 = 0.7", "write 70"),
    "a share for a difference": ("smallest_difference = 5.0", "smallest_difference = 0.05", "write 5"),
    "a share for a gain": ("radius_gain = 1.0", "radius_gain = 0.01", "at least 0.05"),
    "a window longer than the day": ("day = 280", "day = 28", "window_days = 60", "day = 28"),
    "centimetres for metres": ("root_depth_m = 0.5", "root_depth_m = 50", "write 0.5 if 50 cm is meant"),
    "per cent for a share": ("depletion_fraction = 0.5", "depletion_fraction = 50", "write 0.5"),
    "a best cost out of its range": ("low = 2.80, high = 4.40", "low = 28, high = 4.40", "low = 28"),
}  # fmt: skip


@pytest.mark.parametrize("slip", SLIPS)
def test_a_slip_is_said_with_its_line_and_mend(tmp_path: Path, slip: str) -> None:
    old, new, *expected = SLIPS[slip]
    said = refused(tmp_path, old, new)
    line = STUDY[: STUDY.index(old)].count("\n") + 1
    named = re.search(r"line (\d+): ", said)
    assert named is not None
    # A fault of two keys together is named with their table, which starts a line or two above.
    assert line - 2 <= int(named[1]) <= line
    for words in expected:
        assert words in said
    assert said.startswith("1 fault in the study file")


def test_a_sheet_named_twice_is_refused_and_two_of_one_workbook_are_not(tmp_path: Path) -> None:
    once = "[[records.sheets]]\n"
    said = refused(tmp_path, once, f'{once}file = "a.csv"\n' * 2 + once)
    assert '"a.csv" is named twice under [[records.sheets]]; take one out' in said
    two = "".join(f'{once}file = "a.xlsx"\nsheet = "{name}"\n' for name in ("first", "second"))
    (tmp_path / "study.toml").write_text(STUDY.replace(once, two + once, 1), encoding="utf-8")
    assert len(read_settings(tmp_path).records.sheets) == 3


def test_a_misspelt_needed_key_is_one_fault(tmp_path: Path) -> None:
    said = refused(tmp_path, 'file = "visits.csv"', 'fille = "visits.csv"')
    assert said.startswith("1 fault ")
    assert "[[records.sheets]] no. 1, fille" in said


def test_a_missing_needed_key_says_what_it_means(tmp_path: Path) -> None:
    said = refused(tmp_path, 'kind = "tagged"', "")
    assert '[records] kind is needed and is not there: "tagged": a row tells of one seedling' in said


def test_the_line_of_every_key_is_found() -> None:
    lines = STUDY.splitlines()
    found = key_lines(STUDY)
    assert lines[found["planted", 1, "species"] - 1] == 'species = "river red gum"'
    assert lines[found["records", "sheets", 0, "states", "NF"] - 1].startswith("NF =")
    assert lines[found["gauges", 1, "columns", "quality"] - 1].startswith("quality =")
    for place, line in found.items():
        assert str(place[-1]) in lines[line - 1] or isinstance(place[-1], int)


def test_a_list_of_several_lines_hides_no_key() -> None:
    text = 'a = [\n  "x = 1",\n  "[b]",\n]\nb = """\nc = 3\n"""\n[d]\n"e f" = 1\n'
    assert key_lines(text) == {("a",): 1, ("b",): 5, ("d",): 8, ("d", "e f"): 9}


@pytest.mark.parametrize("cohort", ["tagged", "counts"])
def test_the_dictionary_of_the_demo_lists_every_key(cohort: str) -> None:
    from survivor.demo.files import dictionary

    written = dictionary(f"{cohort}-dictionary.md").decode("utf-8")
    assert key_table().strip() in written
    assert "{{" not in written
    for key in keys():
        assert f"| {key.key} | {key.value} | {key.default} | {key.meaning} |" in written


def test_every_key_has_a_meaning_and_every_table_is_there() -> None:
    listed = list(keys())
    assert all(key.meaning and key.meaning != "None" and key.value for key in listed)
    # Counted from the models anew: a field holds a value, or further tables.
    fields = [field for _, model in TABLES.models.items() for field in model.model_fields.values()]
    inner = [path for path in TABLES.models if path and path[-1] != OWN_WORD]
    words = [path for path in TABLES.models if path and path[-1] == OWN_WORD]
    assert len(listed) == len(fields) - len(inner) - len(words)


def test_every_key_of_the_demo_is_in_the_dictionary() -> None:
    known = {key.key for key in keys()} | {part for path in TABLES.models for part in path}
    free = {"columns", "states", "species"}
    for cohort in ("tagged", "counts"):
        for place in key_lines(text_file(f"{cohort}-study.toml").decode("utf-8")):
            names = [part for part in place if isinstance(part, str)]
            assert names[-1] in known or free & set(names[:-1]), place


@pytest.mark.parametrize(
    ("one", "other", "alike"),
    [
        ("riped", "ripped", True),
        ("spray and auget", "Spray and auger", True),
        ("Tarn Holow", "Tarn Hollow", True),
        ("hand-scalp", "hand scalp", True),
        ("ripepd", "ripped", True),
        ("river redgum", "river red gum", True),
        ("Site 1", "Site 2", False),
        ("block A", "block B", False),
        ("ripped", "ripped and mounded", False),
        ("rip", "dip", False),
        ("Upper Creek", "Lower Creek", False),
        ("north gully", "south gully", False),
    ],
)
def test_which_names_look_alike(one: str, other: str, alike: bool) -> None:
    assert look_alike(one, other) is alike
    assert look_alike(other, one) is alike


def test_slips_among_many_names_are_those_found_pair_by_pair() -> None:
    rng = np.random.default_rng(4)
    words = ["Tarn", "Hollow", "Quill", "Creek", "Vossel", "Flat", "spotspray", "gully", "Ombry", "Rise", "7"]
    names = [" ".join(rng.choice(words, rng.integers(1, 4))) for _ in range(60)]
    for name in list(names):
        place = int(rng.integers(0, len(name)))
        slips = name[:place] + name[place + 1 :], name[:place] + "e" + name[place:], name.replace(" ", "", 1)
        swapped = name[:place] + name[place + 1 : place + 2] + name[place : place + 1] + name[place + 2 :]
        names += [*slips, swapped, name[:place] + "x" + name[place + 1 :]]
    names = list(dict.fromkeys(names))
    likely = {}
    for place, name in enumerate(names):
        like = next((other for other in names[:place] if look_alike(name, other)), None)
        if like is not None:
            likely[name] = like
    assert len(likely) > 100
    assert likely_slips(names) == likely


def test_the_nearest_name_and_none() -> None:
    assert nearest("tarn holow", ["Tarn Hollow", "Quill Creek"]) == "Tarn Hollow"
    assert nearest("zzz", ["Tarn Hollow"]) is None


# ---- tables made in Python ---------------------------------------------------------------

MADE = sorted(
    (own for own in vars(survivor.settings).values() if isinstance(own, type) and issubclass(own, Strict)),
    key=lambda own: own.__name__,
)
NONSENSE = ("x", -1, 10**400, float("nan"), True, None, [], {"a": 1}, object(), dt.date(2022, 1, 1))


@pytest.mark.parametrize("table", MADE, ids=lambda own: own.__name__)
def test_a_table_made_of_nonsense_is_refused_in_our_words(table: type[Strict]) -> None:
    made = [{}, {"nonsense": 1}, *({name: value for name in table.model_fields} for value in NONSENSE)]
    made += [{name: value} for name in table.model_fields for value in NONSENSE]
    told = [fault for values in made if (fault := _refusal(table, values)) is not None]
    assert told
    for fault in told:
        assert fault.where == table.__name__
        assert fault.what
        assert fault.mend
        assert not [word for word in FOREIGN if word in str(fault)], str(fault)


def _refusal(table: type[Strict], values: dict[str, object]) -> survivor.SurvivorError | None:
    try:
        table(**values)
    except survivor.SurvivorError as fault:
        return fault
    return None


def test_a_range_of_costs_the_wrong_way_round_says_so() -> None:
    with pytest.raises(survivor.SurvivorError, match="low = 7 is above high = 3; exchange them"):
        survivor.settings.Cost(per_plant=5, low=7, high=3)
    with pytest.raises(survivor.SurvivorError, match="per_plant = 9 has to lie between low = 3 and high = 7"):
        survivor.settings.Cost(per_plant=9, low=3, high=7)
    with pytest.raises(survivor.SurvivorError, match="a value is given without its name"):
        survivor.settings.Cost(5)
