"""What answers turn on: missing plants, days between visits, the fit, randomisation, records to mend."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

from survivor.analysis.answer import randomisation_disagrees
from survivor.analysis.milestone import between_visits
from survivor.analysis.robustness import many_set_aside
from survivor.costs.payoff import payoff
from survivor.effects.counted import fitted_counts
from survivor.effects.standardise import survival
from survivor.evidence.words import beside, target_verdict
from survivor.models.by_period import fit_again, fit_varying
from survivor.models.fit import fit
from survivor.models.randomisation import DRAWN, EVERY
from survivor.sentences import plain_text
from survivor.study import load
from tests.analysis.fates import COSTS, spread, write_fates
from tests.effects.making import planting
from tests.once import analysed

TARGET = """
[target]
survival_per_100 = {}
milestone = "12 months"
"""
CROSSED = "the model with a ratio for each period"


def of(findings, key):
    return next(finding for finding in findings if finding.key == key)


def gone(site: int, method: str, plot: int, number: int) -> tuple[int, str]:
    """Of ten, usual: four dead; other: one dead and, from the last visit on, two missing."""
    if method == "usual":
        return spread(number, 3 + (site + plot) % 2)
    if number >= 8:
        return 3, "missing"
    return spread(number, 1 + (site + plot) % 2)


def crossing(site: int, method: str, plot: int, number: int) -> tuple[int, str]:
    """Usual dies at the first visit, other at the last: no one ratio holds for both."""
    dead = 5 + (site + plot) % 2
    late = number % 5 == 0
    return ((3 if (method == "other") != late else 0), "dead") if number < dead else (99, "dead")


@pytest.mark.slow
def test_a_verdict_that_turns_on_missing_plants_says_so(tmp_path: Path) -> None:
    more = TARGET.format(75) + COSTS
    found = {
        rule: analysed(
            write_fates(
                tmp_path / rule, gone, rules=f'missing = "{rule}"', more=more, methods=("usual", "other")
            )
        )
        for rule in ("dead", "unknown")
    }
    words = {rule: of(analysis.findings, "target").verdict for rule, analysis in found.items()}
    assert set(words.values()) == {"depends on missing plants"}
    target = of(found["dead"].findings, "target")
    other = of(found["unknown"].findings, "target")
    assert target.grade is None
    assert target.reasons == ("whether the target was met turns on the rule for missing plants",)
    # Each names the other's numbers as those of the other rule.
    assert target.otherwise is not None
    assert target.otherwise.rule == "missing plants counted as unknown"
    assert target.otherwise.estimate == pytest.approx(other.estimate)
    assert (target.otherwise.lower, target.otherwise.upper) == pytest.approx((other.lower, other.upper))
    assert (
        f"With missing plants counted as unknown the verdict is: {target.otherwise.verdict}." in target.answer
    )
    headline = of(found["dead"].findings, "headline")
    assert "With missing plants counted as unknown the answer for “other” changes" in headline.answer
    assert "the answer changes with the rule for missing plants" in headline.reasons


@pytest.mark.slow
def test_without_a_promise_survival_turns_on_missing_plants_where_they_lead_out_of_its_limits(
    tmp_path: Path,
) -> None:
    def more_gone(site: int, method: str, plot: int, number: int) -> tuple[int, str]:
        return (3, "missing") if number >= 6 else (1, "dead") if number < 1 + (site + plot) % 2 else (99, "")

    people = '[[planted]]\nsite = "site 0"\nplants = 900\n'
    few, many = (
        analysed(write_fates(tmp_path / name, fate, more=people, methods=("usual", "other")))
        for name, fate in (("few", gone), ("many", more_gone))
    )
    alive, total = of(many.findings, "alive"), of(many.findings, "total")
    reason = "the answer changes with the rule for missing plants"
    assert reason in alive.reasons
    assert reason in total.reasons
    assert total.grade == alive.grade != "strong"
    # Of ten, one or two die first and four are missing later: 45 of 100 live by one rule, 85 by the other.
    said = alive.answer.partition("With missing plants counted as unknown, ")[2]
    assert float(said.split()[0]) == pytest.approx(85, abs=3)
    assert alive.estimate == pytest.approx(45, abs=3)
    spared = of(few.findings, "alive")
    assert ("missing plants" in spared.answer) == (reason in spared.reasons)


@pytest.mark.slow
def test_without_missing_plants_nothing_turns_on_their_rule(tmp_path: Path) -> None:
    def fate(site: int, method: str, plot: int, number: int) -> tuple[int, str]:
        last, _ = gone(site, method, plot, number)
        return last, "dead"

    analysis = analysed(write_fates(tmp_path, fate, more=TARGET.format(75), methods=("usual", "other")))
    assert not any("missing plants" in finding.answer for finding in analysis.findings)
    assert not any("rule for missing plants" in r for finding in analysis.findings for r in finding.reasons)


@pytest.mark.slow
def test_ratios_that_differ_between_periods_go_into_the_answer(tmp_path: Path) -> None:
    """Half way most of one and few of the other are dead, though as many die in the end."""
    analysis = analysed(write_fates(tmp_path, crossing, methods=("usual", "other")))
    assert analysis.supporting.hazards.test.p_value < 0.05
    assert analysis.models.by_name["grouped"].by_period == "method"
    assert any(CROSSED in note for note in analysis.notes)
    rows = load(tmp_path).first_plants
    plain = fit(rows, "method")
    varying = fit_again(rows, analysis.models.by_name["grouped"])
    # The counts at day 100: of a plot's ten, the share of deaths that falls to the first visit.
    seen = rows[rows["stop_day"] == 100].groupby("method", observed=True)[["at_risk", "died"]].sum()
    counted = 100 * (1 - seen["died"] / seen["at_risk"])
    for model, near in ((varying, 6.0), (plain, None)):
        told = survival(model, at=100).table.set_index("method")["estimate"]
        apart = max(abs(told[name] - counted[name]) for name in counted.index)
        assert apart < near if near is not None else apart > 10
    assert set(fitted_counts(plain, 100).query("outside")["level"]) == {"usual", "other"}
    assert not fitted_counts(varying, 365)["outside"].any()


def test_survival_by_period_has_the_slope_that_its_limits_use() -> None:
    """Derivatives against differences of the survival itself."""
    rng = np.random.default_rng(5)
    first = planting({f"site {s}": {"usual": 2, "rip": 2, "mat": 2} for s in range(3)}, plants=40)
    first["stop_day"] = 150
    first["died"] = rng.binomial(40, np.where(first["method"] == "rip", 0.1, 0.3))
    later = first.assign(start_day=150, stop_day=365, at_risk=first["at_risk"] - first["died"])
    later["died"] = rng.binomial(later["at_risk"], np.where(later["method"] == "rip", 0.5, 0.2))
    frame = pd.concat([first, later], ignore_index=True)
    found = fit_varying(fit(frame, "method", pieces=[150]), "method")
    cells = frame[["site", "method"]].drop_duplicates().reset_index(drop=True)
    engine = found.engine
    alive, slope = engine.survival.averages(cells, np.eye(len(cells)), 300.0)
    told = engine.survival.model
    levels, pieces = len(told.solution.level), len(told.solution.alpha)
    for place in range(len(engine.parameters)):
        moved = told.solution.parameters.copy()
        moved[place] += 1e-6
        parts = np.split(moved, [levels, levels + pieces])
        solution = replace(told.solution, level=parts[0], alpha=parts[1], beta=parts[2])
        again = replace(engine.survival, model=replace(told, solution=solution)).alive(cells, 300.0)
        assert (again - alive) / 1e-6 == pytest.approx(slope[:, place], abs=1e-5)
    # Each method and period has its own hazard and sites are alike in layout: counts are met.
    shares = frame[frame["stop_day"] == 150].groupby("method", observed=True)[["at_risk", "died"]].sum()
    told_at = survival(found, at=150).table.set_index("method")["estimate"]
    assert told_at.to_numpy() == pytest.approx(
        100 * (1 - shares["died"] / shares["at_risk"]).to_numpy(), abs=1.0
    )


def late(site: int, method: str, plot: int, number: int) -> tuple[int, str]:
    """Of ten one dies early and two are found dead at the last visit, after the milestone."""
    if number < 2 + (site + plot) % 2:
        return 3, "dead"
    return (0, "dead") if number == 9 else (99, "dead")


@pytest.mark.slow
def test_a_day_between_visits_is_said_to_be_the_models(tmp_path: Path) -> None:
    days = (100, 200, 330, 386)
    analysis = analysed(write_fates(tmp_path, late, days=days, more=TARGET.format(72)))
    target = of(analysis.findings, "target")
    assert "were alive by the model, between the visits at days 330 and 386 (95 % CI" in target.answer
    # 80 of 100 were alive at day 330 and 65 at day 386: whether 72 stand at day 365 is a matter of the days.
    assert "the answer turns on how deaths are spread over the days between two visits" in target.reasons
    assert (
        "Survival on day 365 is estimated by the model, between the visits"
        in of(analysis.findings, "headline").answer
    )


@pytest.mark.parametrize(
    ("days", "said"),
    [
        ([329, 333, 384, 388], "by the model, between the visits at days 329–333 and 384–388"),
        ([329, 362, 366], ""),  # within a round
        ([300, 371], ""),  # within a week of it
        ([386, 390], "by the model, before the visits at days 386–390"),
        ([300, 330], ""),  # not reached: named elsewhere
    ],
)
def test_between_which_visits_a_day_lies(days, said) -> None:
    assert between_visits(pd.DataFrame({"stop_day": np.array(days, dtype=float)}), 365.0) == said


def test_a_limit_is_never_written_as_the_target_that_it_misses() -> None:
    said = plain_text(target_verdict((66.1, 62.0, 69.53), 70).said)
    assert "66.1 were alive (95 % CI 62.0 to 69.5" in said
    assert "was missed" in said
    assert "66 were alive (95 % CI 62 to 69)" in plain_text(target_verdict((66.1, 62.0, 69.4), 70).said)
    assert beside(70, 69.97) == 2


def test_survival_without_limits_has_no_cost_with_limits() -> None:
    frame = planting({"Oddle Flat": {"usual": 1, "rip": 1}})
    frame["died"] = [8, 3]
    found = payoff(fit(frame, "method"), {"usual": 2.0, "rip": 3.0}, 365)
    assert survival(fit(frame, "method"), at=365).table["lower"].isna().all()
    assert found.table[["lower", "upper"]].isna().all(axis=None)
    assert found.cheapest is None
    assert "not enough evidence to say which" in found.statement


def test_next_to_no_survival_has_no_upper_limit_of_cost() -> None:
    frame = planting({f"site {s}": {"usual": 3, "rip": 3} for s in range(3)}, plants=40)
    frame["died"] = np.where(frame["method"] == "rip", 40 - (np.arange(len(frame)) % 2), 10)
    frame["died"] -= np.arange(len(frame)) % 3 == 0
    table = payoff(fit(frame, "method"), {"usual": 2.0, "rip": 3.0}, 365).table.set_index("method")
    assert table.loc["rip", "upper"] == np.inf
    assert np.isfinite(table.loc["usual", "upper"])


def lot(p_value: float, tried: int, how: str) -> SimpleNamespace:
    line = {
        "method": ["rip"],
        "against": ["usual"],
        "p_value": [p_value],
        "p_adjusted": [5 * p_value],
        "smallest_p": [5 / (tried + 1) if how == DRAWN else 2 / tried],
        "tried": [tried],
        "how": [how],
    }
    return SimpleNamespace(table=pd.DataFrame(line), by="method")


@pytest.mark.parametrize(
    ("p_value", "tried", "how", "read", "holds"),
    [
        (0.0110, 1024, EVERY, "clear difference", True),
        (0.0060, 1024, EVERY, "clear difference", False),
        (0.0500, 20, EVERY, "clear difference", False),  # allocation could say no more
        (0.0110, 1024, EVERY, "not enough evidence to say", False),
        # Drawn: 0.0135 is 3 of 222, so that 0.003 is as likely, and 0.05 once adjusted is not shown.
        (0.0135, 221, DRAWN, "clear difference", False),
        (0.1000, 221, DRAWN, "clear difference", True),
    ],
)
def test_strong_needs_the_lot_to_agree(p_value, tried, how, read, holds) -> None:
    assert randomisation_disagrees(lot(p_value, tried, how), "rip", "usual", read) is holds


@pytest.mark.parametrize(("aside", "many"), [(2, False), (3, True)])
def test_more_than_two_in_a_hundred_records_set_aside_are_many(aside, many) -> None:
    fate = ["excluded"] * aside + ["used"] * (100 - aside) + ["listed"] * 50
    plots = pd.DataFrame({"site": "a", "block": "", "plot": list("pqr")})
    records = SimpleNamespace(accounts=pd.DataFrame({"fate": fate}), plots=plots, intervals=plots)
    assert many_set_aside(records) is many


def test_a_lost_plot_of_ten_is_many() -> None:
    plots = pd.DataFrame({"site": "a", "block": "", "plot": list("pqrstuvwxy")})
    fate = ["excluded"] + ["used"] * 199
    records = SimpleNamespace(accounts=pd.DataFrame({"fate": fate}), plots=plots, intervals=plots[:9])
    assert many_set_aside(records)


def test_a_plot_of_two_species_is_one_plot() -> None:
    plots = pd.DataFrame(
        {"site": "a", "block": "", "plot": list("pqrstuvwxy") * 2, "species": ["x"] * 10 + ["y"] * 10}
    )
    fate = ["excluded"] + ["used"] * 199
    records = SimpleNamespace(accounts=pd.DataFrame({"fate": fate}), plots=plots, intervals=plots[:10])
    assert not many_set_aside(records)
