"""Over which plots a work is averaged: the two bundles' own contrast, the truth of a cohort, a factorial."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

import survivor
from survivor.works.columns import PATTERN
from survivor.works.parts import Parts, parts_of
from survivor.works.support import EVERY_PLOT
from tests.works.making import WORKS, factorial, question

TRUTH = {"pre-emergent": 0.9, "rip": -0.9, "mulch mat": -0.6}
BUNDLES = ("none", "pre-emergent", "rip", "mulch mat + rip")  # mulch mat stands beside rip only


def season(bundles: tuple[str, ...], seed: int = 5, **how: float) -> pd.DataFrame:
    frame = factorial(np.random.default_rng(seed), TRUTH, blocks=12, **{"plot_sd": 0.2, **how})
    return frame[frame[PATTERN].isin(bundles)].reset_index(drop=True)


def _row(found: Parts, work: str) -> pd.Series:
    return found.table.set_index("what").loc[work]


@pytest.mark.parametrize("weighted", [False, True])
def test_a_work_of_one_bundle_is_that_bundle_less_the_bundle_without_it(weighted: bool) -> None:
    frame = season(BUNDLES)
    # Two species, and at one site one of them in other bundles only; plots of many sizes.
    other = (frame["site"] == "S1") & ~frame[PATTERN].str.contains("rip")
    frame["species"] = np.where((frame["block"] == "B0") | other, "sheoak", "river red gum")
    small = (frame["block"] == "B2") & (frame[PATTERN] == "rip")
    frame = frame[~(small & (frame["site"] == "S2"))].reset_index(drop=True)  # one block without rip alone
    population = pd.DataFrame({"site": ["S0", "S1", "S2"], "plants": [900, 250, 100]}) if weighted else None
    asked = question("site", "block")
    asked = type(asked)(asked.strata, asked.cluster, asked.at, ("species",), asked.working, population)
    row = _row(parts_of(frame, WORKS, [], asked), "mulch mat")
    fitted = survivor.fit(
        frame.assign(method=frame[PATTERN]), "method + species", strata=["site", "block"], cluster="plot"
    )
    pairs = survivor.contrasts(fitted, at=365, pairs="all", population=population).table
    own = pairs[(pairs["method"] == "rip") & (pairs["against"] == "mulch mat + rip")].iloc[0]
    assert row["estimate"] == pytest.approx(-own["estimate"], rel=1e-6)
    assert (row["lower"], row["upper"]) == pytest.approx((-own["upper"], -own["lower"]), rel=1e-6)
    for name in ("p_value", "df", "n_seedlings", "n_plots", "n_sites", "fewest_plots"):
        assert row[name] == pytest.approx(own[name], rel=1e-6), name
    assert row["over"] == "rip"


def test_a_work_of_one_bundle_comes_near_the_truth_of_that_bundle() -> None:
    """What mulch adds to ripped plots; where pre-emergent kills, it would add another number."""
    row = _row(parts_of(season(BUNDLES, plants=4000, plot_sd=0.05), WORKS, [], question()), "mulch mat")

    def gain(beside: float) -> float:
        alive = [100 * np.exp(-365 * 0.0012 * np.exp(beside + own)) for own in (0.0, TRUTH["mulch mat"])]
        return float(alive[1] - alive[0])

    truth = gain(TRUTH["rip"])
    elsewhere = np.mean([gain(0.0), gain(TRUTH["pre-emergent"]), truth, truth])
    assert abs(elsewhere - truth) > 3  # what every plot would be averaged to
    assert row["estimate"] == pytest.approx(truth, abs=0.7)
    assert row["lower"] < truth < row["upper"]


def test_every_plot_of_a_factorial_counts() -> None:
    frame = factorial(np.random.default_rng(2), TRUTH, blocks=6, plot_sd=0.2)
    found = parts_of(frame, WORKS, [], question())
    assert set(found.table["n_plots"]) == {48}
    assert set(found.table["over"]) == {"4 sets of other works"}
    row = _row(
        parts_of(frame[frame["work_rip"] == "no"], ("pre-emergent", "mulch mat"), [], question()), "mulch mat"
    )
    assert row["over"] == "no other work; pre-emergent"


def test_where_no_two_plots_differ_in_one_work_alone_that_is_said() -> None:
    """The half of three works with an odd number of them: all can be told, by their sum alone."""
    half = ("pre-emergent", "rip", "mulch mat", "mulch mat + pre-emergent + rip")
    found = parts_of(season(half), WORKS, [], question())
    assert len(found.table) == 3
    assert set(found.table["over"]) == {EVERY_PLOT}
    assert set(found.table["n_plots"]) == {48}
