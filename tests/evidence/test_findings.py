import json
from dataclasses import fields, replace
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

from survivor.costs.payoff import payoff
from survivor.effects.contrasts import contrasts
from survivor.effects.plateau import AlongLine, Plateau
from survivor.effects.standardise import survival
from survivor.evidence.finding import Alternative, Finding
from survivor.evidence.grading import RULES, Circumstances, grade, rules_table
from survivor.evidence.headline import headline_finding
from survivor.evidence.making import (
    Turns,
    contrast_finding,
    payoff_finding,
    radius_finding,
    stocking_finding,
    target_finding,
    total_finding,
    unanswered_finding,
)
from survivor.evidence.words import Counts, alive, compared, reading, settled, target_verdict
from survivor.limits import wilson
from survivor.sentences import plain_text
from survivor.settings import Design
from tests.effects.making import FakeFit, planting

BEST = Circumstances(
    allocation="random within blocks", plots_placed="random", df=20, fewest_plots=6, settled="yes"
)

MISFIT = "rip, day 365: observed 50 to 50 per 100, the model 52 to 61"

# What is known -> the grade. Caps first, then steps down, never under weak by steps.
GRADES = {
    "nothing against it": ({}, "strong"),
    "no estimate": ({"answered": False}, "not answered"),
    "two plots in an arm": ({"fewest_plots": 2}, "not answered"),
    "between sites only": ({"basis": "between sites only"}, "weak"),
    "3.9 degrees of freedom": ({"df": 3.9}, "weak"),
    "4 degrees of freedom": ({"df": 4.0}, "strong"),
    "degrees of freedom not known": ({"df": float("nan")}, "weak"),
    "unknown plants decide the sign": ({"bounds_change_sign": True}, "weak"),
    "penalised": ({"penalised": True}, "weak"),
    "not enough evidence has no grade": ({"settled": "no"}, None),
    "nor has a verdict that turns on missing plants": ({"depends_on_missing": True}, None),
    "not enough evidence, and a weak reason": ({"settled": "no", "df": 2}, None),
    "too few plots are not answered, however open": ({"settled": "no", "fewest_plots": 2}, "not answered"),
    "by choice": ({"allocation": "by choice"}, "moderate"),
    "a radius is drawn by no lot": ({"radius": True}, "moderate"),
    "one cost only": ({"one_cost": True}, "moderate"),
    "allocation not recorded": ({"allocation": "not recorded"}, "moderate"),
    "allocation does not matter to a target": ({"allocation": "by choice", "compares": False}, "strong"),
    "not precise": ({"settled": "partly"}, "moderate"),
    "plots by choice": ({"plots_placed": "by choice"}, "moderate"),
    "plots not recorded": ({"plots_placed": "not recorded"}, "strong"),
    "models disagree": ({"models_disagree": True}, "moderate"),
    "three faults of consistency are one step": (
        {"models_disagree": True, "sites_inconsistent": True, "one_site_carries": True},
        "moderate",
    ),
    "the randomisation test disagrees": ({"randomisation_disagrees": True}, "moderate"),
    "another answer under the other rule for missing plants": ({"missing_rule": True}, "moderate"),
    "many records to mend": ({"set_aside": True}, "moderate"),
    "three faults of the fit are one step": (
        {"misfit": MISFIT, "not_proportional": True, "between_visits": True},
        "moderate",
    ),
    "a fault of the fit and one of consistency": (
        {"misfit": MISFIT, "models_disagree": True},
        "weak",
    ),
    "two steps": ({"models_disagree": True, "plots_placed": "by choice"}, "weak"),
    "a cap, then a step": ({"allocation": "by choice", "plots_placed": "by choice"}, "weak"),
    "steps stop at weak": ({"df": 2, "plots_placed": "by choice", "one_site_carries": True}, "weak"),
    "a step does not lift unanswered": ({"fewest_plots": 0, "one_site_carries": True}, "not answered"),
}


@pytest.mark.parametrize(("change", "expected"), GRADES.values(), ids=GRADES.keys())
def test_grade(change, expected):
    found, reasons, raise_it = grade(replace(BEST, **change))
    assert found == expected
    assert bool(reasons) == (expected != "strong")
    assert bool(raise_it) == (bool(reasons) and change != {"answered": False})


def test_a_misfit_is_named_with_its_numbers():
    assert grade(replace(BEST, misfit=MISFIT))[1] == (
        f"a share observed alive lies outside the model's limits: {MISFIT}",
    )


def test_every_reason_stands_with_what_would_lift_it():
    _, reasons, raise_it = grade(replace(BEST, allocation="by choice", df=2.0))
    assert len(reasons) == 2
    assert "more plots, spread over more sites" in raise_it


def test_the_rule_is_printed_as_a_table():
    table = rules_table()
    assert len(table) == len(RULES)
    assert table.loc[table["rule"] == "between sites", "effect"].tolist() == ["at most weak"]
    assert table["holds_when"].is_unique


# Limits, adjusted p, smallest difference that matters 5 -> how it is read, whether it settles the question.
READINGS = {
    "beyond": ((6, 20, 0.001), "clear difference", "yes"),
    "narrow": ((3, 12, 0.001), "clear difference", "yes"),
    "wide": ((1, 30, 0.04), "clear difference", "partly"),
    "beyond the other way": ((-30, -6, 0.001), "clear difference", "yes"),
    "small": ((1, 4, 0.001), "clear but small difference", "yes"),
    "none worth having": ((-4, 4.9, 0.8), "no difference that matters", "yes"),
    "one way open": ((-3, 15, 0.2), "not enough evidence to say", "no"),
    "wide though near nought at one end": ((-2, 19, 0.1), "not enough evidence to say", "no"),
    "not after adjusting": ((1, 15, 0.08), "not enough evidence to say", "no"),
    "not after adjusting, but small": ((0.5, 4, 0.08), "no difference that matters", "yes"),
    "both ways open": ((-12, 20, 0.5), "not enough evidence to say", "no"),
    "on the edge": ((-5, 5, 0.9), "not enough evidence to say", "no"),
}


@pytest.mark.parametrize(("numbers", "words", "settles"), READINGS.values(), ids=READINGS.keys())
def test_reading(numbers, words, settles):
    assert reading(*numbers, 5.0) == words
    assert settled(*numbers, 5.0) == settles


def test_a_difference_that_is_clear_alone_but_not_among_all_is_settled_in_part():
    assert settled(6, 20, 0.01, 5.0, (2, 24)) == "yes"
    assert settled(6, 20, 0.01, 5.0, (-1, 27)) == "partly"
    assert settled(1, 4, 0.01, 5.0, (-1, 6)) == "yes"  # small at any rate


SENTENCES = {
    "random": (
        {"random": True},
        (12.3, 5.2, 19.4, 0.001),
        "At these sites “spot” kept 12 more alive per 100 planted than “usual” at 12 months "
        "(95 % CI 5 to 19 more).",
    ),
    "not random: no causal verb": (
        {"random": False},
        (-12.3, -19.4, -5.2, 0.001),
        "At these sites “spot” had 12 fewer alive per 100 planted than “usual” at 12 months "
        "(95 % CI 5 to 19 fewer).",
    ),
    "nobody keeps fewer alive": (
        {"random": True},
        (-12.3, -19.4, -5.2, 0.001),
        "At these sites “spot” had 12 fewer alive per 100 planted than “usual” at 12 months "
        "(95 % CI 5 to 19 fewer).",
    ),
    "small": (
        {"random": True},
        (2.5, 1.0, 4.0, 0.001),
        "At these sites “spot” kept 2.5 more alive per 100 planted than “usual” at 12 months "
        "(95 % CI 1.0 to 4.0 more). That is less than the 5 per 100 that matter.",
    ),
    "none worth having": (
        {"random": False},
        (0.0, -4.0, 4.0, 0.9),
        "At these sites “spot” and “usual” did not differ by the 5 per 100 that matter. “spot” had no "
        "more and no fewer alive per 100 planted at 12 months (95 % CI 4 fewer to 4 more).",
    ),
    "one way open": (
        {"random": False},
        (6.0, -3.0, 15.0, 0.2),
        "There is not enough evidence to tell “spot” from “usual” at these sites. “spot” had 6 more alive "
        "per 100 planted at 12 months (95 % CI 3 fewer to 15 more).",
    ),
    "not after adjusting": (
        {"random": False},
        (8.0, 1.0, 15.0, 0.08),
        "Allowing for the number of comparisons, there is not enough evidence to tell “spot” from “usual” at "
        "these sites. “spot” had 8 more alive per 100 planted at 12 months (95 % CI 1 to 15 more).",
    ),
    "too little": (
        {"random": True},
        (4.0, -12.0, 20.0, 0.6),
        "There is not enough evidence to tell “spot” from “usual” at these sites. “spot” had 4 more alive "
        "per 100 planted at 12 months (95 % CI 12 fewer to 20 more).",
    ),
    "between sites is never causal": (
        {"random": True, "basis": "between sites only"},
        (12.3, 5.2, 19.4, 0.001),
        "At these sites “spot” had 12 more alive per 100 planted than “usual” at 12 months (95 % CI "
        "5 to 19 more). No site had both, so this compares sites as much as preparations.",
    ),
    "a limit that would round to nought keeps its sign": (
        {"random": True},
        (8.0, 0.3, 15.7, 0.04),
        "At these sites “spot” kept 8.0 more alive per 100 planted than “usual” at 12 months "
        "(95 % CI 0.3 to 15.7 more).",
    ),
}


@pytest.mark.parametrize(("how", "numbers", "expected"), SENTENCES.values(), ids=SENTENCES.keys())
def test_comparison_sentence(how, numbers, expected):
    *size, p_adjusted = numbers
    found = compared("spot", "usual", tuple(size), "12 months", p_adjusted=p_adjusted, smallest=5.0, **how)
    assert plain_text(found) == expected


def test_counts_in_words():
    assert str(Counts(1, 1, 1)) == "1 seedling in 1 plot at 1 site"
    assert str(Counts(35338, 0, 0)) == "35,338 seedlings"


def test_survival_sentence():
    assert plain_text(alive((78.4, 70.2, 84.3), "12 months")) == (
        "At these sites 78 of 100 planted under all preparations were alive at 12 months (95 % CI 70 to 84)."
    )


# Source: 84 % of 50 seedlings is 71 to 92 % (Wilson), before plots are respected.
def test_84_of_100_in_50_seedlings_does_not_show_a_target_of_80():
    lower, upper = (100 * float(end[0]) for end in wilson(np.array([0.84]), np.array([50.0])))
    assert (round(lower), round(upper)) == (71, 92)
    found = target_verdict((84.0, lower, upper), 80.0, "12 months")
    assert found.word == "unclear"
    assert plain_text(found.said) == (
        "At these sites it is unclear whether the target of 80 alive per 100 planted at 12 months was met. "
        "84 were alive (95 % CI 71 to 92)."
    )


VERDICTS = {
    "above": (87.0, 82.0, 91.0, "met"),
    "at": (87.0, 80.0, 91.0, "met"),
    "below": (72.0, 65.0, 79.9, "missed"),
    "upper at the target": (72.0, 65.0, 80.0, "unclear"),
    "without limits": (85.0, float("nan"), float("nan"), "unclear"),
}


@pytest.mark.parametrize(("estimate", "lower", "upper", "word"), VERDICTS.values(), ids=VERDICTS.keys())
def test_target_verdict(estimate, lower, upper, word):
    assert target_verdict((estimate, lower, upper), 80.0).word == word


@pytest.fixture
def fit():
    frame = planting(
        {
            "Oddle Flat": {"usual": 5, "spot": 5},
            "Snarrow Rise": {"usual": 5, "spot": 5},
            "Quillop Bend": {"rip": 4},
        }
    )
    alive = {"usual": 0.6, "spot": 0.8, "rip": 0.7}
    return FakeFit(frame, lambda cell: alive[cell["method"]], std_error=0.01, df=12.0)


RANDOMISED = Design(allocation="random within blocks", plots_placed="random", smallest_difference=5.0)


def test_a_comparison_becomes_a_finding(fit):
    found = contrast_finding(contrasts(fit), 0, "12 months", RANDOMISED)
    assert found.methods == ("spot", "usual")
    assert found.estimate == pytest.approx(20.0)
    assert found.grade == "strong"
    assert found.answer.startswith(
        "At these sites “spot” kept 20 more alive per 100 planted than “usual” at 12 months"
    )
    assert (found.n_seedlings, found.n_plots, found.n_sites) == (400, 20, 2)
    assert found.unit == "per 100 planted"


def test_without_random_allocation_it_is_moderate_at_most(fit):
    found = contrast_finding(contrasts(fit), 0, "12 months", Design())
    assert found.grade == "moderate"
    assert " kept " not in found.answer


def test_a_refused_comparison_stays_as_an_unanswered_finding(fit):
    found = contrast_finding(contrasts(fit), 1, "12 months", RANDOMISED)
    assert found.grade == "not answered"
    assert found.estimate is None
    assert "no site holds both" in found.answer


def test_flags_from_elsewhere_count(fit):
    flags = Circumstances(bounds_change_sign=True)
    assert contrast_finding(contrasts(fit), 0, "12 months", RANDOMISED, flags=flags).grade == "weak"


def _response(**changes):
    stops = Plateau(0.6, 0.5, 0.7, 1.0, "From a radius of 0.60 m.", "reached")
    fields = {
        "stops_paying": stops,
        "along_line": None,
        "table": pd.DataFrame({"df": [20.0]}),
        "fit": SimpleNamespace(variance="CR2"),
        "checks": (),
        "at_day": 365.0,
        "n_seedlings": 400,
        "n_plots": 20,
        "n_sites": 4,
    }
    return SimpleNamespace(**(fields | changes))


NOT_SHOWN = Plateau(None, None, None, 1.0, "Not shown.", "not shown")
BEYOND = Plateau(0.6, 0.5, None, 1.0, "From a radius of 0.60 m.", "reached")
RADIUS_GRADES = {
    "with both limits, lots drawn for preparations": ({}, "moderate"),
    "a limit beyond the data": ({"stops_paying": BEYOND}, "moderate"),
    "not shown": ({"stops_paying": NOT_SHOWN}, None),
    "not shown, but along a line more still pays": (
        {"stops_paying": NOT_SHOWN, "along_line": AlongLine(4.0, 1.2, 6.8, 0.3, 0.7)},
        "moderate",
    ),
    "not shown, and a line might gain too little": (
        {"stops_paying": NOT_SHOWN, "along_line": AlongLine(4.0, 0.3, 8.3, 0.3, 0.7)},
        None,
    ),
    "penalised": ({"fit": SimpleNamespace(variance="penalised")}, "weak"),
}


@pytest.mark.parametrize(("changes", "expected"), RADIUS_GRADES.values(), ids=RADIUS_GRADES.keys())
def test_a_radius_is_moderate_at_most_whatever_was_drawn_by_lot(changes, expected):
    found = radius_finding(_response(**changes), "12 months", RANDOMISED)
    assert found.grade == expected
    assert any("radius of a plot was not allocated at random" in reason for reason in found.reasons)
    assert any("patch widths at random" in mend for mend in found.raise_it)
    said = " ".join([*found.reasons, *found.raise_it])
    assert "not recorded" not in said
    assert "which plot of a block" not in said


def test_how_plots_got_their_preparation_is_said_as_it_is_known():
    by_choice = grade(replace(BEST, allocation="by choice"))[1]
    assert by_choice == ("preparations were chosen for each place, not allocated at random",)
    unknown = grade(replace(BEST, allocation="not recorded"))[1]
    assert unknown == ("it is not recorded how plots were given their preparation",)


def test_one_cost_of_several_preparations_is_not_strong(fit):
    found = payoff_finding(payoff(fit, {"spot": 4.0}, currency="$"), "12 months", RANDOMISED)
    assert found.grade == "moderate"
    assert "one preparation only has a cost, so it is set beside no other" in found.reasons


def test_a_comparison_knows_whether_it_rests_on_a_penalty(fit):
    touched = replace(fit, variance="penalised")
    assert contrast_finding(contrasts(touched), 0, "12 months", RANDOMISED).grade == "weak"


def test_a_target_becomes_a_finding(fit):
    whole = survival(fit, by=None)
    assert target_finding(whole, 60.0, "12 months", RANDOMISED).verdict == "met"
    missed = target_finding(whole, 80.0, "12 months", Design(allocation="by choice"))
    assert (missed.verdict, missed.grade) == ("missed", "strong")
    near = target_finding(whole, float(whole.table["estimate"].iloc[0]), "12 months", RANDOMISED)
    assert (near.verdict, near.grade) == ("unclear", None)
    other = Alternative("missing plants counted as unknown", 85.0, 81.0, 89.0, "met")
    turned = target_finding(whole, 80.0, "12 months", RANDOMISED, Turns(Circumstances(), "", other))
    assert (turned.verdict, turned.grade, turned.otherwise) == ("depends on missing plants", None, other)
    assert turned.reasons == ("whether the target was met turns on the rule for missing plants",)


def test_a_payoff_becomes_a_finding(fit):
    found = payoff_finding(
        payoff(fit, {"usual": 9.0, "spot": 4.0, "rip": 6.0}, currency="$"), "12 months", RANDOMISED
    )
    assert found.unit == "$ per established plant"
    assert found.estimate == pytest.approx(5.0)
    assert found.methods == ("usual", "spot", "rip")
    assert found.n_sites == fit.data["site"].nunique()
    assert found.n_seedlings == fit.data["at_risk"].sum()


def test_a_finding_can_be_written_down(fit):
    found = contrast_finding(contrasts(fit), 0, "12 months", RANDOMISED)
    record = json.loads(json.dumps(found.as_record()))
    assert set(record) == {field.name for field in fields(found)} - {"said"}
    assert record["methods"] == ["spot", "usual"]
    assert len(found.table) == 1


def test_a_question_without_an_answer_keeps_its_reason():
    found = unanswered_finding("rain", "Was it the season?", "No gauge was given.", "12 months", 365)
    assert (found.grade, found.answer) == ("not answered", "No gauge was given.")
    assert found.reasons == ("the records give no estimate with limits",)


@pytest.mark.parametrize(
    ("grade_of_it", "words"),
    [
        ("weak", "“mat” had fewer alive than “usual”, on weak evidence"),
        ("moderate", "“mat” had clearly fewer"),
    ],
)
def test_clearly_needs_at_least_moderate_evidence(grade_of_it, words):
    fit = FakeFit(
        planting({"Oddle Flat": {"usual": 4, "mat": 4}}), lambda cell: 0.4 if cell["method"] == "mat" else 0.8
    )
    design = Design(allocation="random within blocks", plots_placed="random")
    found = replace(contrast_finding(contrasts(fit), 0, "12 months", design), grade=grade_of_it)
    said = headline_finding([replace(found, reading="clear difference")]).answer
    assert words in said
    assert ("learly" in said) is (grade_of_it == "moderate")


def test_plants_in_all_have_the_grade_of_the_survival_that_they_rest_on():
    alive = Finding(
        "alive", "", "", 65.0, 61.0, 69.0, "per 100 planted", "12 months", 365.0, grade="moderate"
    )
    assert total_finding(alive, (650, 610, 690), 1000).grade == "moderate"


STOCKED = {
    "reached": (65.0, 66.0, 70.0, None, "met"),
    "not reached": (60.0, 55.0, 64.0, None, "missed"),
    "within the limits": (65.1, 60.8, 69.0, None, "unclear"),
    "by one rule only": (60.0, 55.0, 64.0, (70.0, 66.0, 74.0), "depends on missing plants"),
}


@pytest.mark.parametrize(
    ("estimate", "lower", "upper", "other", "word"), STOCKED.values(), ids=STOCKED.keys()
)
def test_the_stocking_says_whether_the_stems_wanted_are_reached(estimate, lower, upper, other, word):
    """Of 2,000 put in per hectare, 1,300 are wanted: 65 of 100."""
    otherwise = None if other is None else Alternative("missing plants counted as unknown", *other)
    alive = Finding("alive", "", "", estimate, lower, upper, "per 100", "12 months", 365.0, grade="strong")
    alive = replace(alive, otherwise=otherwise)
    numbers = [20 * value for value in (estimate, lower, upper)]
    found = stocking_finding(alive, numbers, 2000.0, 1300.0)
    assert found.verdict == word
    assert "1,300 wanted" in found.answer
    assert (found.grade is None) == (word in ("unclear", "depends on missing plants"))
    assert stocking_finding(alive, numbers, 2000.0).verdict is None
