"""A guideline file that is wrong is refused with its line, its value and the mend."""

from __future__ import annotations

import pytest
from pandas import read_csv

from survivor.errors import GuidelineError
from survivor.guideline import make_guideline, read_guideline

# Text in the demo's file -> what it is changed to -> what the error says.
FAULTS = {
    "a key misspelt": (
        "version = 3  ",
        "verison = 3  ",
        ["verison", "did you mean version", "line 9", "1 fault in"],
    ),
    "a number as text": ("smallest_difference = 5.0", 'smallest_difference = "5"', ["smallest_difference"]),
    "not a day": ('dated = "2024-11-30"', 'dated = "30/11/2024"', ["30/11/2024", "year-month-day"]),
    "two kinds of one name": (
        'name = "loam slopes"',
        'name = "clay flats"',
        ['[[ground]] no. 2, name = "clay flats" is the name of two [[ground]]'],
    ),
    "practice nowhere": (
        'ground = "loam slopes"',
        'ground = "sand"',
        ['[[practice]] no. 1, ground = "sand" is none of the kinds of ground of this file'],
    ),
    "a season to come": (
        "since = 3",
        "since = 4",
        ["[[seasons]] ", "since = 4 is a later version than this one"],
    ),
    "a season before the first": ("since = 1", "since = 2", ["no season has since = 1"]),
    "lead times turned": ("latest_days_before = 90", "latest_days_before = 270", ["earliest_days_before >="]),
}


@pytest.mark.parametrize("case", FAULTS)
def test_faults_of_the_file(copy, case):
    old, new, said = FAULTS[case]
    file = copy / "guideline.toml"
    text = file.read_text(encoding="utf-8")
    assert old in text
    file.write_text(text.replace(old, new), encoding="utf-8")
    with pytest.raises(GuidelineError) as caught:
        read_guideline(file)
    assert caught.value.where == "guideline.toml"
    assert caught.value.mend
    for words in said:
        assert words in str(caught.value)


# Text -> change -> error on making.
GROUND = {
    "a word on no plot": (
        'texture = ["clay", "clay loam"]',
        'texture = ["clay", "peat"]',
        "no plot has texture 'peat'",
    ),
    "a column nowhere": (
        'texture = ["clay", "clay loam"]',
        'soil = ["clay"]',
        "no plot sheet has a column 'soil'",
    ),
    "two kinds at once": (
        'texture = ["loam", "sandy loam"]',
        'texture = ["clay", "loam"]',
        "lie on two kinds",
    ),
    "a season twice": ('study = "season-2022"', 'study = "season-2021"', "same plants"),
    "no such milestone": ('milestone = "12 months"', 'milestone = "9 months"', "no milestone '9 months'"),
}


@pytest.mark.slow
@pytest.mark.usefixtures("read_once")
@pytest.mark.parametrize("case", GROUND)
def test_what_the_seasons_do_not_bear_out_is_refused(copy, case):
    from survivor.errors import SurvivorError

    old, new, said = GROUND[case]
    file = copy / "guideline.toml"
    text = file.read_text(encoding="utf-8")
    assert old in text
    changed = text.replace(old, new).replace(
        'slope = ["gentle", "moderate"]', 'slope = ["flat", "gentle", "moderate"]'
    )
    file.write_text(changed, encoding="utf-8")
    with pytest.raises(SurvivorError, match=said) as caught:
        make_guideline(file)
    assert caught.value.mend


def hide(copy, **changed):
    """Hide places in one season, and change the guideline file."""
    study = copy / "season-2022" / "study.toml"
    text = study.read_text(encoding="utf-8")
    study.write_text(text + "\n[privacy]\nshow_places = false\n", encoding="utf-8")
    site = read_csv(copy / "season-2021" / "plots.csv")["Site"].iloc[0]
    file = copy / "guideline.toml"
    text = file.read_text(encoding="utf-8")
    for old, new in changed.values():
        assert old in text
        text = text.replace(old, new.format(site=site))
    file.write_text(text, encoding="utf-8")
    return file, site


HIDDEN = {
    "which plots": (
        ('slope = ["flat"]', 'site = ["{site}"]'),
        ("[[ground]] clay flats: where.site = ", "by a trait of the plot sheets, such as texture or slope"),
    ),
    "practice": (
        ('says = "two winters', 'says = "as at {site}, two winters'),
        ("practice.1.says = ", "without the name"),
    ),
    "a season": (
        ('name = "2021 (wet)"', 'name = "2021 {site}"'),
        ("[[seasons]] name", "without the name"),
    ),
}


@pytest.mark.usefixtures("read_once")
@pytest.mark.parametrize("case", HIDDEN)
def test_a_place_that_a_study_hides_is_not_named_in_the_guideline_file(copy, case):
    change, said = HIDDEN[case]
    file, site = hide(copy, one=change)
    with pytest.raises(GuidelineError) as caught:
        make_guideline(file)
    for words in (*said, f"names the site {site!r}", "of 2022 (dry) hides places", "show_places = true"):
        assert words in str(caught.value)
    assert "Site 0" not in str(caught.value)
