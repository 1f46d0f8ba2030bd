"""Seasons so small and so extreme that levels and pieces of the baseline have no finite estimate."""

import numpy as np
import pandas as pd
import pytest
from scipy.optimize import minimize

from survivor.effects.contrasts import contrasts
from survivor.effects.standardise import survival
from survivor.errors import ModelError, SurvivorError
from survivor.models.fit import fit
from survivor.models.likelihood import NoFiniteBaseline, has_deaths
from survivor.planning.quick import analysed_quickly
from survivor.planning.simulated import analysed_whole, cohort_of, draw_season, watch_season
from survivor.planning.variation import spread_of
from tests.models.making import dense_objective
from tests.planning.making import small_plan

METHODS = ("spot spray", "rip")
# site, method, plot, start, stop, at risk, died: at A all who reached the second visit died by it, at B
# nobody died by the first, so that A's level and the second piece rise together without end.
ROWS = [
    ("A", "spot spray", "1", 0, 100, 6, 3), ("A", "spot spray", "1", 100, 365, 3, 3),
    ("A", "rip", "2", 0, 100, 6, 2), ("A", "rip", "2", 100, 365, 4, 4),
    ("A", "spot spray", "3", 0, 100, 6, 2), ("A", "spot spray", "3", 100, 365, 4, 4),
    ("A", "rip", "4", 0, 100, 6, 1), ("A", "rip", "4", 100, 365, 5, 5),
    ("B", "spot spray", "5", 0, 100, 6, 0), ("B", "spot spray", "5", 100, 365, 6, 3),
    ("B", "rip", "6", 0, 100, 6, 0), ("B", "rip", "6", 100, 365, 6, 2),
    ("B", "spot spray", "7", 0, 100, 6, 0), ("B", "spot spray", "7", 100, 365, 6, 4),
    ("B", "rip", "8", 0, 100, 6, 0), ("B", "rip", "8", 100, 365, 6, 1),
]  # fmt: skip


def season():
    names = ["site", "method", "plot", "start_day", "stop_day", "at_risk", "died"]
    frame = pd.DataFrame(ROWS, columns=names)
    return frame.assign(method=pd.Categorical(frame["method"], METHODS), block="B1")


def test_a_baseline_without_end_is_penalised():
    # Source: Firth (1993): the penalised likelihood written out and maximised numerically.
    frame = season()
    found = fit(frame, "method", pieces=(100.0,), strata="site")
    assert found.variance == "penalised"
    assert any("so the baseline would have no finite estimate" in check for check in found.checks)
    first = (frame["start_day"] == 0).to_numpy()
    arrays = (
        (frame["method"] == "rip").to_numpy(float)[:, None],
        np.column_stack([np.where(first, 100.0, 0.0), np.where(first, 0.0, 265.0)]),
        frame["site"].eq("B").to_numpy().astype(np.intp),
        frame["at_risk"].to_numpy(float),
        frame["died"].to_numpy(float),
    )
    start = np.array([-5.5, -7.0, 1.5, 0.0])
    peer = minimize(lambda at: -dense_objective(at, *arrays), start, method="BFGS", options={"gtol": 1e-7})
    np.testing.assert_allclose(found.engine.profile.best.parameters, peer.x, atol=5e-5)
    table = contrasts(found, at=365).table.iloc[0]
    assert table["lower"] < table["estimate"] < table["upper"]
    # Near what was counted: nobody of 12 lived at A, and 5 and 9 of 12 at B.
    alive = survival(found, at=365).table.set_index("method")["estimate"]
    counted = 100 * np.array([5, 9]) / 24
    np.testing.assert_allclose(alive.loc[list(METHODS)], counted, atol=6)


def test_only_a_piece_without_deaths_of_its_own_has_no_hazard():
    lengths = np.array([[100.0, 0.0], [50.0, 50.0], [0.0, 265.0]])
    assert has_deaths(lengths, np.array([1.0, 0.0, 2.0]), 0)
    assert not has_deaths(lengths, np.array([0.0, 3.0, 2.0]), 0)  # they may have died in the other piece
    assert has_deaths(lengths, np.array([0.0, 3.0, 2.0]), 1)


@pytest.mark.parametrize("model", ["grouped", "mixed"])
def test_no_model_takes_a_piece_with_deaths_for_one_without(model):
    if model == "mixed":
        with pytest.raises(NoFiniteBaseline, match="everybody who reached some part of the season died"):
            fit(season(), "method", model=model, pieces=(100.0,), strata="site")
        return
    found = fit(season(), "method", model=model, pieces=(100.0,), strata="site")
    assert not any("nobody died in these pieces" in check for check in found.checks)


@pytest.mark.slow
@pytest.mark.parametrize(
    ("variation", "plots", "seedlings", "seeds"),
    [
        ({"plot_sd": 3.0}, 3, 3, (8, 15, 18)),
        ({"plot_sd": 1.2, "site_sd": 1.0}, 4, 5, (3, 14)),
        ({"plot_sd": 2.0, "site_sd": 1.0}, 2, 2, range(8)),
    ],
)
def test_a_small_extreme_season_has_an_answer_or_a_reason(variation, plots, seedlings, seeds, tmp_path):
    # No outside value: nothing else than an answer within bounds or a refusal in words; warnings are errors.
    plan = small_plan(variation=variation)
    cohort = cohort_of(plan, spread_of(plan, tmp_path), plots, seedlings)
    day = plan.question.day
    refused = 0
    for seed in seeds:
        drawn = draw_season(cohort, plots, np.random.default_rng(seed))
        try:
            found = fit(drawn, "method", strata=["site", "block"])
            alive = survival(found, at=day).table["estimate"]
            contrasts(found, at=day)
        except SurvivorError:
            refused += 1
            continue
        assert alive.between(0, 100).all()
        quick = analysed_quickly(cohort, watch_season(cohort, plots, np.random.default_rng(seed)), day)
        if quick is not None:
            whole = analysed_whole(drawn, day)
            assert quick.difference == pytest.approx(whole.difference, rel=1e-9, nan_ok=True)
    assert refused < len(seeds)


def test_one_seedling_at_risk_when_somebody_died_tells_no_ratio():
    # By definition of the partial likelihood: a risk set of one has the chance 1 whatever the ratio.
    rows = [
        ("A", "1", "spot spray", 0, 300, 1, 0),
        ("A", "1", "spot spray", 300, 470, 1, 1),
        ("A", "2", "rip", 0, 270, 1, 0),
        ("B", "3", "spot spray", 0, 470, 1, 0),
        ("B", "4", "rip", 0, 270, 1, 0),
    ]
    frame = pd.DataFrame(rows, columns=["site", "plot", "method", "start_day", "stop_day", "at_risk", "died"])
    with pytest.raises(ModelError, match="cannot be distinguished from the baselines"):
        fit(frame, "method", model="cox", strata="site")
