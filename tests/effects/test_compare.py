"""One road from a table to the differences, for a report and for a notebook."""

from __future__ import annotations

from collections.abc import Iterable
from itertools import pairwise
from typing import Any

import numpy as np
import pandas as pd
import pytest

import survivor
from survivor.analysis.models import fit_season, strata_of
from survivor.effects.compare import working_of
from survivor.models.by_period import fit_by_period
from survivor.study import load
from tests.public.making import F
from tests.slow import some_slow

ROUNDS = (0.0, 90.0, 180.0, 270.0, 365.0)


def turning(seed: int, alike: bool = False) -> pd.DataFrame:
    """36 plots of 30; with rip few die before day 180 and many after, the usual way round for the rest.

    ``alike``: with rip 0.6 times as many die, all season.
    """
    rng = np.random.default_rng(seed)
    rows = []
    for plot in range(36):
        alive, method, effect = 30, ("usual", "rip")[plot % 2], rng.normal(0, 0.3)
        for start, stop in pairwise(ROUNDS):
            turned = 0.6 if alike else 0.3 if stop <= 180 else 1.8
            ratio = 1.0 if method == "usual" else turned
            died = int(rng.binomial(alive, -np.expm1(-0.0018 * ratio * np.exp(effect) * (stop - start))))
            if alive:
                rows.append((f"S{plot // 9}", f"p{plot}", method, start, stop, alive, died))
            alive -= died
    names = ["site", "plot", "method", "start_day", "stop_day", "at_risk", "died"]
    return pd.DataFrame(rows, columns=names).assign(
        method=lambda table: pd.Categorical(table["method"], ["usual", "rip"])
    )


def counted(frame: pd.DataFrame) -> float:
    """Difference of the shares alive at the end, all having been watched to it."""
    planted = frame[frame["start_day"] == 0].groupby("method", observed=True)["at_risk"].sum()
    share = 1 - frame.groupby("method", observed=True)["died"].sum() / planted
    return 100 * float(share["rip"] - share["usual"])


@pytest.mark.slow
def test_where_the_ratio_turns_round_the_difference_is_still_that_counted():
    # 200 days of .0018 * .3 and 1.8 against 1: by the counts of each study, which all end on day 365.
    found, plain, switched = [], [], 0
    for seed in range(12):
        frame = turning(seed)
        comparison = survivor.compare(frame)
        switched += comparison.fit.by_period == "method"
        found.append(comparison.table["estimate"].iloc[0] - counted(frame))
        one = survivor.contrasts(survivor.fit(frame, "method"), at=365).table["estimate"].iloc[0]
        plain.append(one - counted(frame))
    assert switched >= 11
    assert abs(np.mean(found)) < 0.5
    assert np.mean(plain) > 1.0  # what one ratio for the season gets wrong, and why this road is there


def test_what_was_tested_and_chosen_is_told():
    comparison = survivor.compare(turning(3))
    assert comparison.proportional is not None
    assert comparison.proportional.p_value < 0.05
    assert any("is not the same all season" in said for said in comparison.checks)
    steady = survivor.compare(F)
    assert steady.fit.by_period is None
    assert steady.proportional is not None
    assert not any("all season" in said and "not the same" in said for said in steady.checks)


def said_of_turning(checks: Iterable[str]) -> list[str]:
    return [check for check in checks if check.startswith("The ratio of deaths")]


def test_differences_and_survival_of_a_plain_fit_say_where_a_ratio_turns_round():
    frame = turning(3)
    fit = survivor.fit(frame, "method")
    found = survivor.hazards(fit).test
    road = said_of_turning(survivor.compare(frame).checks)[0].partition(". Survival and")[0]
    assert f"F {found.statistic:.1f} on {found.df1:.0f} and {found.df2:.0f} " in road
    for answer in (survivor.contrasts(fit), survivor.survival(fit)):
        assert said_of_turning(answer.checks) == [f"{road}."]
        assert any("survivor.compare" in check for check in answer.checks)
        assert road in repr(answer)
    further = (
        survivor.payoff(fit, {"usual": 3.0, "rip": 4.0}),
        survivor.stems_needed(survivor.survival(fit), 1000),
        survivor.non_inferiority(survivor.contrasts(fit), 5),
        survivor.sensitivity(fit),
    )
    assert all(f"{road}." in answer.checks for answer in further)
    for quiet in (survivor.fit(F, "method"), survivor.fit(frame, "method", by_period="method")):
        assert not said_of_turning((*survivor.contrasts(quiet).checks, *survivor.survival(quiet).checks))


#: Every model that holds to one ratio of hazards, and what it is fitted with.
ONE_RATIO: dict[str, dict[str, Any]] = {
    "grouped": {},
    "weighted": {"working": 0.1},
    "cox": {"model": "cox"},
    "mixed": {"model": "mixed", "points": 1},
    "unspecified": {"baseline": "unspecified"},
    "alone": {"cluster": None},
    "cox alone": {"model": "cox", "cluster": None},
}


def with_nobody_dead(frame: pd.DataFrame) -> pd.DataFrame:
    """The same and a preparation with which all live, which makes a fit a penalised one."""
    added = frame[frame["method"] == "usual"].assign(method="mound", died=0, at_risk=30)
    both = pd.concat([frame, added.assign(plot="m" + added["plot"])], ignore_index=True)
    return both.assign(method=pd.Categorical(both["method"], [*frame["method"].cat.categories, "mound"]))


@pytest.mark.parametrize("name", some_slow([*ONE_RATIO, "penalised"], ["cox"]))
def test_every_model_of_one_ratio_says_where_it_turns_round_and_by_one_test(name):
    options = ONE_RATIO.get(name, {})
    road = survivor.fit(turning(3), "method", cluster=options.get("cluster", "plot"))
    frames = [turning(3), turning(3, alike=True), F]
    for turns, frame in zip((True, False, False), frames, strict=True):
        fit = survivor.fit(with_nobody_dead(frame) if name == "penalised" else frame, "method", **options)
        assert (fit.variance == "penalised") == (name == "penalised")
        said = said_of_turning(fit.checks)
        assert bool(said) == turns
        assert said_of_turning(survivor.contrasts(fit).checks) == said
        assert said_of_turning(survivor.payoff(fit, {"usual": 3.0, "rip": 4.0}).checks) == said
        assert bool(said_of_turning(line[2:] for line in repr(fit).splitlines())) == turns
        if turns:
            assert said == said_of_turning(road.checks)
            assert said[0] in fit._repr_html_()
            again = survivor.Fit.from_dict(fit.to_dict())
            assert again.checks == fit.checks


def test_fits_of_one_day_or_with_ratios_by_period_are_not_asked():
    frame = turning(3)
    for options in (
        {"model": "logistic", "at": 365},
        {"model": "mixed", "at": 365, "points": 1},
        {"by_period": "method"},
    ):
        assert not said_of_turning(survivor.fit(frame, "method", **options).checks)


def test_a_column_of_numbers_has_no_levels_to_turn_round():
    frame = turning(3).assign(code=lambda table: (table["method"] == "rip").astype(int))
    assert not said_of_turning(survivor.fit(frame, "code").checks)
    assert len(said_of_turning(survivor.fit(frame, "C(code)").checks)) == 1


@pytest.mark.slow
def test_one_ratio_is_rejected_as_often_as_chance_rejects_it():
    alarms = dict.fromkeys(("plots", "alone", "penalised"), 0)
    for seed in range(150):
        frame = turning(seed, alike=True)
        alarms["plots"] += bool(said_of_turning(survivor.fit(frame, "method").checks))
        alarms["alone"] += bool(said_of_turning(survivor.fit(frame, "method", cluster=None).checks))
        if seed < 50:
            fit = survivor.fit(with_nobody_dead(frame), "method")
            alarms["penalised"] += bool(said_of_turning(fit.checks))
    # 5 of 100 by chance: of 150, 1 to 16, and of 50, 0 to 7, but once in 300 each (binomial).
    assert 1 <= alarms["plots"] <= 16
    assert 1 <= alarms["alone"] <= 16
    assert alarms["penalised"] <= 7


@pytest.mark.slow
def test_a_diagnosis_says_it_too():
    assert said_of_turning(survivor.diagnose(survivor.fit(turning(3), "method")).checks)
    assert not said_of_turning(survivor.diagnose(survivor.fit(F, "method")).checks)


def test_the_test_of_one_ratio_is_made_once_a_fit_and_when_asked_for(monkeypatch):
    made = []
    monkeypatch.setattr(
        "survivor.models.one_ratio.fit_by_period", lambda *given: made.append(given) or fit_by_period(*given)
    )
    fit = survivor.fit(turning(3), "method")
    answers = survivor.contrasts(fit), survivor.contrasts(fit, at=180), survivor.survival(fit)
    assert not made
    assert all(said_of_turning(answer.checks) for answer in answers)
    assert len(made) == 1


@pytest.mark.parametrize("alike", [False, pytest.param(True, marks=pytest.mark.slow)])
def test_report_and_notebook_say_the_same_of_one_ratio(alike):
    settings = load("datasets/counts").settings
    switched = 0
    for seed in range(60 if alike else 1):
        frame = turning(seed, alike=alike)
        report = fit_season(frame, settings, 365.0, others=False)
        assert report.answer is not None
        notebook = survivor.contrasts(survivor.fit(frame, "method"))
        turns = said_of_turning(report.notes)
        switched += bool(turns)
        assert said_of_turning(notebook.checks) == [f"{said.partition('. ')[0]}." for said in turns]
        assert bool(turns) == (report.answer.by_period == "method")
    # With one ratio all season 5 of 100 are rejected by chance: of 60, 0 to 8 but once in 500 (binomial).
    assert switched <= 8 if alike else switched == 1


def test_where_one_ratio_holds_it_is_the_plain_fit():
    fit = survivor.fit(F, "method")
    comparison = survivor.compare(F, at=300)
    pd.testing.assert_frame_equal(comparison.fit.table, fit.table)
    expected = survivor.contrasts(fit, at=300).table
    pd.testing.assert_frame_equal(comparison.table, expected)
    pd.testing.assert_frame_equal(comparison.survival.table, survivor.survival(fit, at=300).table)


def test_large_and_small_plots_are_weighted_as_in_a_report():
    unequal = F.assign(at_risk=F["at_risk"] * np.where(F["plot"].str[1:].astype(int) % 4 == 0, 9, 1))
    assert working_of(unequal)[0] == "plot correlation"
    assert survivor.compare(unequal).fit.working == "plot correlation"
    assert survivor.compare(unequal, working="independence").fit.working == "independence"
    assert survivor.compare(F).fit.working == "independence"


@pytest.mark.slow
@pytest.mark.parametrize("kind", ["tagged", "counts"])
def test_a_report_and_a_notebook_answer_alike(kind):
    study = load(f"datasets/{kind}")
    rows, strata = study.first_plants, None
    fits = fit_season(rows, study.settings, 365.0)
    strata = strata_of(rows, study.settings)
    assert fits.answer is not None
    comparison = survivor.compare(rows, fits.answer.formula, strata=strata)
    pd.testing.assert_frame_equal(comparison.fit.table, fits.answer.table)
    assert (comparison.fit.by_period is None) == (fits.answer.by_period is None)
    expected = survivor.survival(fits.answer, at=365).table
    pd.testing.assert_frame_equal(comparison.survival.table, expected)


def test_a_level_that_shares_no_site_is_compared_between_sites():
    number = F["plot"].str[1:].astype(int)
    method = np.where(number % 8 < 4, np.where(number % 2 == 0, "usual", "rip"), "mulch")
    apart = F.assign(site=number.map(lambda plot: f"S{plot % 8}"), method=method)
    apart["method"] = pd.Categorical(apart["method"], ["usual", "rip", "mulch"])
    apart["site"] = np.where(
        apart["site"].isin(["S0", "S1"]),
        "S0",
        np.where(apart["site"].isin(["S2", "S3"]), "S2", apart["site"]),
    )
    comparison = survivor.compare(apart)
    told = comparison.table.set_index("method")["basis"]
    assert told["rip"] == "within sites"
    assert told["mulch"] == "between sites only"
    assert any("No site joins “mulch” to “usual” and “rip”" in said for said in comparison.checks)


def test_it_shows_itself_and_draws():
    comparison = survivor.compare(F)
    assert "rip" in repr(comparison)
    assert "<table" in comparison._repr_html_()
    assert comparison.plot() is not None
