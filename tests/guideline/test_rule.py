"""The rule of advice: each row does what it says, and doubt leans to not answered."""

from __future__ import annotations

from dataclasses import replace

import pytest

from survivor.guideline.advice import Advice
from survivor.guideline.file import Row
from survivor.guideline.rule import Facts, advice_of, asked, row_words, usual_rule, wanting
from survivor.guideline.versions import size_words

SURE = Facts(
    seasons=3,
    sites=9,
    fewest_plots=18,
    of="seasons like these",
    estimate=14.0,
    lower=6.0,
    upper=22.0,
    p_adjusted=0.01,
    season_estimates=(12.0, 14.0, 16.0),
    extra_cost=1.2,
    grade="moderate",
)
# What changes from SURE -> the advice.
CASES = {
    "three seasons, nine sites": ({}, "advised"),
    "one season": ({"seasons": 1, "season_estimates": (14.0,)}, "worth a trial"),
    "four sites": ({"sites": 4}, "worth a trial"),
    "two seasons": ({"seasons": 2, "season_estimates": (12.0, 16.0)}, "worth a trial"),
    "limits for this season only": ({"of": "this season"}, "worth a trial"),
    "a season the other way": ({"season_estimates": (-1.0, 14.0, 29.0)}, "not answered"),
    "p adjusted at 0.03": ({"p_adjusted": 0.03}, "worth a trial"),
    "weak evidence": ({"grade": "weak"}, "advised"),  # few seasons make it weak; the p knows of them
    "not enough evidence": ({"grade": None, "p_adjusted": 0.2}, "worth a trial"),
    "not answered": ({"grade": "not answered"}, "not answered"),
    "smaller than matters": ({"estimate": 4.9, "lower": 1.0, "upper": 9.0}, "not answered"),
    "harm is as open as gain": ({"lower": -5.1, "upper": 33.0, "p_adjusted": 0.4}, "worth a trial"),
    "two sites": ({"sites": 2}, "not answered"),
    "a clear harm": (
        {"estimate": -14.0, "lower": -22.0, "upper": -6.0, "season_estimates": (-12.0, -16.0)},
        "not advised",
    ),
    "a harm in one season": (
        {"estimate": -14.0, "lower": -22.0, "upper": -6.0, "seasons": 1, "season_estimates": (-14.0,)},
        "not answered",
    ),
    "no gain that matters, at a cost": (
        {"estimate": 0.5, "lower": -3.0, "upper": 4.0, "p_adjusted": 0.9, "season_estimates": (1.0, 0.0)},
        "not advised",
    ),
    "no gain that matters, for nothing": (
        {"estimate": 0.5, "lower": -3.0, "upper": 4.0, "p_adjusted": 0.9, "extra_cost": 0.0},
        "not answered",
    ),
    "no gain that matters, cost unknown": (
        {"estimate": 0.5, "lower": -3.0, "upper": 4.0, "p_adjusted": 0.9, "extra_cost": None},
        "not answered",
    ),
}


@pytest.mark.parametrize("case", CASES)
def test_the_usual_rule(case):
    changed, wanted = CASES[case]
    assert advice_of(usual_rule(5.0), replace(SURE, **changed))[0] == wanted


def test_no_facts_are_not_answered():
    assert advice_of(usual_rule(5.0), None)[0] == "not answered"


NEAREST = "nearest to worth a trial, which also asks for"


def test_the_reason_names_what_lacked():
    said = advice_of(usual_rule(5.0), replace(SURE, sites=2, p_adjusted=0.2))[1]
    assert said == f"{NEAREST}: at least 3 sites with both (here 2)"


def test_what_advising_asks_for_besides_is_told_where_a_trial_is_worth_it():
    said = wanting(usual_rule(5.0), replace(SURE, seasons=2, p_adjusted=0.05), "advised")
    assert said == (
        "“advised” also asks for at least 3 seasons (here 2); p adjusted under 0.03 (here p 0.050)"
    )


def test_what_is_missed_by_a_little_is_not_written_as_what_is_asked():
    # A difference of 4.96 prints as 5: the reason has to show that it is under 5.
    near = replace(SURE, estimate=4.96, lower=-1.0, upper=11.0, p_adjusted=0.2, season_estimates=(4.96,))
    said = advice_of(usual_rule(5.0), near)[1]
    assert said == f"{NEAREST}: a difference of at least 5 per 100 (here +4.96)"


def test_the_first_row_that_holds_counts_and_words_say_all_it_asks_for():
    row = Row.model_validate(
        {"gives": "worth a trial", "sites": 2, "upper_at_most": 30.0, "costs_more": True}
    )
    assert advice_of((row, *usual_rule(5.0)), SURE) == ("worth a trial", row_words(row))
    assert row_words(row) == (
        "at least 1 season; at least 2 sites with both; at least 3 plots of each; an upper "
        "limit of at most 30 per 100; a higher cost per plant"
    )


@pytest.mark.parametrize("row", usual_rule(5.0))
def test_more_doubt_never_gives_firmer_advice(row):
    # Each demand met by SURE fails once its own fact is made worse.
    assert all(isinstance(each.holds, bool) for each in asked(row, SURE))
    nothing = replace(SURE, seasons=0, sites=0, fewest_plots=0, grade="not answered")
    assert not all(each.holds for each in asked(row, nothing))


@pytest.mark.parametrize(
    ("numbers", "said"),
    [
        ((4.68, -3.0, 12.4), "+4.7 per 100 (−3.0 to +12.4)"),
        ((4.98, -3.0, 12.4), "+4.98 per 100 (−3.00 to +12.40)"),
        ((5.0, -3.0, 12.4), "+5 per 100 (−3 to +12)"),
        ((6.0, -0.2, 17.0), "+6.0 per 100 (−0.2 to +17.0)"),
        ((14.0, 6.0, 22.0), "+14 per 100 (+6 to +22)"),
    ],
)
def test_no_number_is_written_as_a_bound_of_the_rule_that_it_misses(numbers, said):
    advice = Advice("flats", "rip", "usual", "not answered", "", *numbers)
    assert size_words(advice, usual_rule(5.0)) == said
