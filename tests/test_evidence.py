import json
from dataclasses import fields, replace
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

from survivor.costing import payoff
from survivor.effects.contrasts import contrasts
from survivor.effects.limits import wilson
from survivor.effects.paying import AlongLine, StopsPaying
from survivor.effects.standardise import survival
from survivor.evidence import (
    RULES,
    Circumstances,
    Counts,
    comparison_sentence,
    contrast_finding,
    grade,
    payoff_finding,
    reading,
    rules_table,
    settled,
    survival_sentence,
    target_finding,
    target_verdict,
    unanswered_finding,
)
from survivor.evidence.describing import radius_finding
from survivor.evidence.finding import Finding
from survivor.evidence.headline import headline_finding
from survivor.evidence.scaled import no_surer, total_finding
from survivor.settings import Design
from tests.effects.fakes import FakeFit, planting

BEST = Circumstances(
    allocation="random within blocks", plots_placed="random", df=20, fewest_plots=6, settled="yes"
)

# What is known -> the grade. Caps first, then steps down, never under slight by steps.
GRADES = {
    "nothing against it": ({}, "firm"),
    "no estimate": ({"answered": False}, "unanswered"),
    "two plots in an arm": ({"fewest_plots": 2}, "unanswered"),
    "between sites only": ({"basis": "between sites only"}, "slight"),
    "3.9 degrees of freedom": ({"df": 3.9}, "slight"),
    "4 degrees of freedom": ({"df": 4.0}, "firm"),
    "degrees of freedom not known": ({"df": float("nan")}, "slight"),
    "unknown plants decide the sign": ({"bounds_change_sign": True}, "slight"),
    "penalised": ({"penalised": True}, "slight"),
    "too little to tell": ({"settled": "no"}, "slight"),
    "by choice": ({"allocation": "by choice"}, "fair"),
    "a radius is drawn by no lot": ({"radius": True}, "fair"),
    "one cost only": ({"one_cost": True}, "fair"),
    "allocation not recorded": ({"allocation": "not recorded"}, "fair"),
    "allocation does not matter to a target": ({"allocation": "by choice", "compares": False}, "firm"),
    "not precise": ({"settled": "partly"}, "fair"),
    "plots by choice": ({"plots_placed": "by choice"}, "fair"),
    "plots not recorded": ({"plots_placed": "not recorded"}, "firm"),
    "models disagree": ({"models_disagree": True}, "fair"),
    "three faults of consistency are one step": (
        {"models_disagree": True, "sites_inconsistent": True, "one_site_carries": True},
        "fair",
    ),
    "the lot disagrees": ({"lot_disagrees": True}, "fair"),
    "another answer under the other rule for missing plants": ({"missing_rule": True}, "fair"),
    "many records to mend": ({"set_aside": True}, "fair"),
    "three faults of the fit are one step": (
        {"misfit": True, "not_proportional": True, "between_visits": True},
        "fair",
    ),
    "a fault of the fit and one of consistency": ({"misfit": True, "models_disagree": True}, "slight"),
    "two steps": ({"models_disagree": True, "plots_placed": "by choice"}, "slight"),
    "a cap, then a step": ({"allocation": "by choice", "plots_placed": "by choice"}, "slight"),
    "steps stop at slight": ({"df": 2, "plots_placed": "by choice", "one_site_carries": True}, "slight"),
    "a step does not lift unanswered": ({"fewest_plots": 0, "one_site_carries": True}, "unanswered"),
}


@pytest.mark.parametrize(("change", "expected"), GRADES.values(), ids=GRADES.keys())
def test_grade(change, expected):
    found, reasons, raise_it = grade(replace(BEST, **change))
    assert found == expected
    assert reasons
    assert bool(raise_it) == (reasons != ("no rule holds it back",))


def test_every_reason_stands_with_what_would_lift_it():
    _, reasons, raise_it = grade(replace(BEST, allocation="by choice", df=2.0))
    assert len(reasons) == 2
    assert "more plots, spread over more sites" in raise_it


def test_the_rule_is_printed_as_a_table():
    table = rules_table()
    assert len(table) == len(RULES)
    assert table.loc[table["rule"] == "between sites", "effect"].tolist() == ["at most slight"]
    assert table["holds_when"].is_unique


# Limits, adjusted p, smallest difference worth having 5 -> how it is read, whether it settles the question.
READINGS = {
    "beyond": ((6, 20, 0.001), "clear difference", "yes"),
    "narrow": ((3, 12, 0.001), "clear difference", "yes"),
    "wide": ((1, 30, 0.04), "clear difference", "partly"),
    "beyond the other way": ((-30, -6, 0.001), "clear difference", "yes"),
    "small": ((1, 4, 0.001), "clear but small difference", "yes"),
    "none worth having": ((-4, 4.9, 0.8), "no difference worth having", "yes"),
    "one way open": ((-3, 15, 0.2), "too little data to tell", "no"),
    "wide though near nought at one end": ((-2, 19, 0.1), "too little data to tell", "no"),
    "not after adjusting": ((1, 15, 0.08), "too little data to tell", "no"),
    "not after adjusting, but small": ((0.5, 4, 0.08), "no difference worth having", "yes"),
    "both ways open": ((-12, 20, 0.5), "too little data to tell", "no"),
    "on the edge": ((-5, 5, 0.9), "too little data to tell", "no"),
}


@pytest.mark.parametrize(("numbers", "words", "settles"), READINGS.values(), ids=READINGS.keys())
def test_reading(numbers, words, settles):
    assert reading(*numbers, 5.0) == words
    assert settled(*numbers, 5.0) == settles


COUNTS = Counts(480, 24, 3)
SENTENCES = {
    "random": (
        {"random": True},
        (12.3, 5.2, 19.4, 0.001),
        "At these sites spot kept 12 more alive per 100 planted than usual at 12 months "
        "(95 % limits 5 to 19 more; 480 seedlings in 24 plots at 3 sites).",
    ),
    "not random: no causal verb": (
        {"random": False},
        (-12.3, -19.4, -5.2, 0.001),
        "At these sites spot had 12 fewer alive per 100 planted than usual at 12 months "
        "(95 % limits 5 to 19 fewer; 480 seedlings in 24 plots at 3 sites).",
    ),
    "small": (
        {"random": True},
        (2.5, 1.0, 4.0, 0.001),
        "At these sites spot kept 2.5 more alive per 100 planted than usual at 12 months "
        "(95 % limits 1.0 to 4.0 more; 480 seedlings in 24 plots at 3 sites), less than the 5 per "
        "100 worth having.",
    ),
    "none worth having": (
        {"random": False},
        (0.0, -4.0, 4.0, 0.9),
        "At these sites spot and usual did not differ by the 5 per 100 worth having: spot had no "
        "more and no fewer "
        "alive per 100 planted at 12 months (95 % limits 4 fewer to 4 more; 480 seedlings in 24 "
        "plots at 3 sites).",
    ),
    "one way open": (
        {"random": False},
        (6.0, -3.0, 15.0, 0.2),
        "There is too little data to tell spot from usual at these sites: spot had 6 more alive per 100 "
        "planted at 12 months "
        "(95 % limits 3 fewer to 15 more; 480 seedlings in 24 plots at 3 sites).",
    ),
    "not after adjusting": (
        {"random": False},
        (8.0, 1.0, 15.0, 0.08),
        "There is too little data to tell spot from usual at these sites once the number of comparisons is "
        "allowed for: spot had "
        "8 more alive per 100 planted at 12 months (95 % limits 1 to 15 more; 480 seedlings in 24 "
        "plots at 3 sites).",
    ),
    "too little": (
        {"random": True},
        (4.0, -12.0, 20.0, 0.6),
        "There is too little data to tell spot from usual at these sites: spot had 4 more alive per "
        "100 planted at "
        "12 months (95 % limits 12 fewer to 20 more; 480 seedlings in 24 plots at 3 sites).",
    ),
    "between sites is never causal": (
        {"random": True, "basis": "between sites only"},
        (12.3, 5.2, 19.4, 0.001),
        "At these sites spot had 12 more alive per 100 planted than usual at 12 months (95 % limits "
        "5 to 19 more; "
        "480 seedlings in 24 plots at 3 sites); no site had both, so this compares sites as much as "
        "preparations.",
    ),
    "a limit that would round to nought keeps its sign": (
        {"random": True},
        (8.0, 0.3, 15.7, 0.04),
        "At these sites spot kept 8.0 more alive per 100 planted than usual at 12 months "
        "(95 % limits 0.3 to 15.7 more; 480 seedlings in 24 plots at 3 sites).",
    ),
}


@pytest.mark.parametrize(("how", "numbers", "expected"), SENTENCES.values(), ids=SENTENCES.keys())
def test_comparison_sentence(how, numbers, expected):
    estimate, lower, upper, p_adjusted = numbers
    found = comparison_sentence(
        "spot",
        "usual",
        estimate,
        lower,
        upper,
        "12 months",
        COUNTS,
        p_adjusted=p_adjusted,
        smallest=5.0,
        **how,
    )
    assert found == expected


def test_counts_in_words():
    assert str(Counts(1, 1, 1)) == "1 seedling in 1 plot at 1 site"
    assert str(Counts(35338, 0, 0)) == "35,338 seedlings"


def test_survival_sentence():
    assert survival_sentence("spot", 78.4, 70.2, 84.3, "12 months", COUNTS) == (
        "At these sites 78 of 100 planted under spot were alive at 12 months "
        "(95 % limits 70 to 84; 480 seedlings in 24 plots at 3 sites)."
    )


# Source: 84 % of 50 seedlings is 71 to 92 % (Wilson), before plots are respected.
def test_84_of_100_in_50_seedlings_does_not_show_a_target_of_80():
    lower, upper = (100 * float(end[0]) for end in wilson(np.array([0.84]), np.array([50.0])))
    assert (round(lower), round(upper)) == (71, 92)
    found = target_verdict(84.0, lower, upper, 80.0, "12 months", Counts(50, 2, 1))
    assert found.word == "not shown"
    assert found.sentence == (
        "It is not shown that the target of 80 alive per 100 planted at 12 months was met or missed "
        "at these sites: "
        "84 were alive (95 % limits 71 to 92; 50 seedlings in 2 plots at 1 site)."
    )


VERDICTS = {
    "above": (87.0, 82.0, 91.0, "met"),
    "at": (87.0, 80.0, 91.0, "met"),
    "below": (72.0, 65.0, 79.9, "not met"),
    "upper at the target": (72.0, 65.0, 80.0, "not shown"),
    "without limits": (85.0, float("nan"), float("nan"), "not shown"),
}


@pytest.mark.parametrize(("estimate", "lower", "upper", "word"), VERDICTS.values(), ids=VERDICTS.keys())
def test_target_verdict(estimate, lower, upper, word):
    assert target_verdict(estimate, lower, upper, 80.0).word == word


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
    found = contrast_finding(contrasts(fit), 0, "12 months", RANDOMISED, cost="4.00 more a plant")
    assert found.methods == ("spot", "usual")
    assert found.estimate == pytest.approx(20.0)
    assert found.grade == "firm"
    assert found.answer.startswith(
        "At these sites spot kept 20 more alive per 100 planted than usual at 12 months"
    )
    assert (found.n_seedlings, found.n_plots, found.n_sites) == (400, 20, 2)
    assert found.unit == "per 100 planted"
    assert found.cost == "4.00 more a plant"


def test_without_random_allocation_it_is_fair_at_most(fit):
    found = contrast_finding(contrasts(fit), 0, "12 months", Design())
    assert found.grade == "fair"
    assert " kept " not in found.answer


def test_a_refused_comparison_stays_as_an_unanswered_finding(fit):
    found = contrast_finding(contrasts(fit), 1, "12 months", RANDOMISED)
    assert found.grade == "unanswered"
    assert found.estimate is None
    assert "no site holds both" in found.answer


def test_two_plots_tell_nothing_and_the_sentence_says_so():
    frame = planting({"Oddle Flat": {"usual": 5, "spot": 2}})
    alive = {"usual": 0.6, "spot": 0.8}
    model = FakeFit(frame, lambda cell: alive[cell["method"]], std_error=0.01, df=12.0)
    found = contrast_finding(contrasts(model), 0, "12 months", RANDOMISED)
    assert found.grade == "unanswered"
    assert found.answer == (
        "There are too few plots to tell spot from usual at these sites: one of them has 2 where they are "
        "compared, and 3 are the least. The difference seen was 20 more per 100 "
        "(95 % limits 17 to 23 more), in 140 seedlings in 7 plots at 1 site."
    )


def test_flags_from_elsewhere_count(fit):
    flags = Circumstances(bounds_change_sign=True)
    assert contrast_finding(contrasts(fit), 0, "12 months", RANDOMISED, flags=flags).grade == "slight"


def _response(**changes):
    stops = StopsPaying(0.6, 0.5, 0.7, 1.0, "From a radius of 0.60 m.", "reached")
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


NOT_SHOWN = StopsPaying(None, None, None, 1.0, "Not shown.", "not shown")
BEYOND = StopsPaying(0.6, 0.5, None, 1.0, "From a radius of 0.60 m.", "reached")
RADIUS_GRADES = {
    "with both limits, lots drawn for preparations": ({}, "fair"),
    "a limit beyond the data": ({"stops_paying": BEYOND}, "fair"),
    "not shown": ({"stops_paying": NOT_SHOWN}, "slight"),
    "not shown, but along a line more still pays": (
        {"stops_paying": NOT_SHOWN, "along_line": AlongLine(4.0, 1.2, 6.8, 0.3, 0.7)},
        "fair",
    ),
    "not shown, and a line might gain too little": (
        {"stops_paying": NOT_SHOWN, "along_line": AlongLine(4.0, 0.3, 8.3, 0.3, 0.7)},
        "slight",
    ),
    "penalised": ({"fit": SimpleNamespace(variance="penalised")}, "slight"),
}


@pytest.mark.parametrize(("changes", "expected"), RADIUS_GRADES.values(), ids=RADIUS_GRADES.keys())
def test_a_radius_is_fair_at_most_whatever_was_drawn_by_lot(changes, expected):
    found = radius_finding(_response(**changes), "12 months", RANDOMISED)
    assert found.grade == expected
    assert any("radius of a plot is not drawn by lot" in reason for reason in found.reasons)
    assert any("lots for the radius" in mend for mend in found.raise_it)
    said = " ".join([*found.reasons, *found.raise_it])
    assert "not recorded" not in said
    assert "which plot of a block" not in said


def test_how_plots_got_their_preparation_is_said_as_it_is_known():
    by_choice = grade(replace(BEST, allocation="by choice"))[1]
    assert by_choice == ("preparations were chosen for each place, not given to plots by lot",)
    unknown = grade(replace(BEST, allocation="not recorded"))[1]
    assert unknown == ("it is not recorded how plots were given their preparation",)


def test_one_cost_of_several_preparations_is_not_firm(fit):
    found = payoff_finding(payoff(fit, {"spot": 4.0}, currency="$"), "12 months", RANDOMISED)
    assert found.grade == "fair"
    assert "one preparation only has a cost, so it is set beside no other" in found.reasons


def test_a_comparison_knows_whether_it_rests_on_a_penalty(fit):
    touched = replace(fit, variance="penalised")
    assert contrast_finding(contrasts(touched), 0, "12 months", RANDOMISED).grade == "slight"


def test_a_target_becomes_a_finding(fit):
    whole = survival(fit, by=None)
    assert target_finding(whole, 60.0, "12 months", RANDOMISED).verdict == "met"
    missed = target_finding(whole, 80.0, "12 months", Design(allocation="by choice"))
    assert (missed.verdict, missed.grade) == ("not met", "firm")
    near = target_finding(whole, float(whole.table["estimate"].iloc[0]), "12 months", RANDOMISED)
    assert (near.verdict, near.grade) == ("not shown", "fair")


def test_a_payoff_becomes_a_finding(fit):
    found = payoff_finding(
        payoff(fit, {"usual": 9.0, "spot": 4.0, "rip": 6.0}, currency="$"), "12 months", RANDOMISED
    )
    assert found.unit == "$ per established plant"
    assert found.estimate == pytest.approx(5.0)
    assert found.methods == ("usual", "spot", "rip")
    rests = Counts(found.n_seedlings, found.n_plots, found.n_sites)
    assert found.answer.endswith(f"This rests on {rests}.")
    assert found.n_sites == fit.data["site"].nunique()
    assert found.n_seedlings == fit.data["at_risk"].sum()


def test_a_finding_can_be_written_down(fit):
    found = contrast_finding(contrasts(fit), 0, "12 months", RANDOMISED)
    record = json.loads(json.dumps(found.as_record()))
    assert set(record) == {field.name for field in fields(found)}
    assert record["methods"] == ["spot", "usual"]
    assert len(found.table) == 1


def test_a_question_without_an_answer_keeps_its_reason():
    found = unanswered_finding("rain", "Was it the season?", "No gauge was given.", "12 months", 365)
    assert (found.grade, found.answer) == ("unanswered", "No gauge was given.")
    assert found.reasons == ("the records give no estimate with limits",)


@pytest.mark.parametrize(("grade_of_it", "words"), [("slight", "Came out worse"), ("fair", "Clearly worse")])
def test_clearly_needs_at_least_a_fair_grade(grade_of_it, words):
    fit = FakeFit(
        planting({"Oddle Flat": {"usual": 4, "mat": 4}}), lambda cell: 0.4 if cell["method"] == "mat" else 0.8
    )
    design = Design(allocation="random within blocks", plots_placed="random")
    found = replace(contrast_finding(contrasts(fit), 0, "12 months", design), grade=grade_of_it)
    said = headline_finding([(found, "clear difference")]).answer
    assert f"{words} than usual: mat" in said
    assert ("learly" in said) is (grade_of_it == "fair")


def test_plants_in_all_are_no_surer_than_the_promise_that_rests_on_them():
    alive = finding_of("firm")
    held = replace(alive, key="target", grade="fair", reasons=("the answer changes",), raise_it=("tags",))
    total = total_finding(alive, 650, 610, 690, 1000)
    assert no_surer(total, held) == replace(total, grade="fair", reasons=held.reasons, raise_it=held.raise_it)
    assert no_surer(held, alive) == held


def finding_of(grade):
    return Finding("alive", "", "", 65.0, 61.0, 69.0, "per 100 planted", "12 months", 365.0, grade=grade)
