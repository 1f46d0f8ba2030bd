"""Pieces where visits fall on days of their own: sites apart, and intervals that reach over a whole life."""

import numpy as np
import pytest
from scipy.optimize import minimize

from survivor.models.fit import fit
from survivor.models.pieces import choose_pieces
from survivor.simulate.cohort import Cohort
from survivor.simulate.drawing import draw_intervals
from tests.models.breast import breast


def test_sites_visited_on_their_own_days_can_be_compared():
    # Three sites of four visits each give twelve pieces between visits and twelve intervals in all: with a
    # level for each site there is less to tell the pieces apart by than pieces, and some are joined.
    cohort = Cohort(sites=3, blocks=2, visit_days=((40, 150, 300, 365),), visit_spread_days=25)
    joined = 0
    for seed in range(5):
        frame = draw_intervals(cohort, seed)
        found = fit(frame, "method")
        free = fit(frame, "method", baseline="unspecified")
        joined += any("joined to a neighbour" in check for check in found.checks)
        row, other = found.table.iloc[0], free.table.iloc[0]
        assert row["estimate"] == pytest.approx(other["estimate"], abs=0.1 * row["std_error"])
    assert joined > 2


def test_levels_are_allowed_for_only_where_there_are_some():
    frame = draw_intervals(Cohort(sites=3, visit_spread_days=25, visit_days=((40, 150, 300, 365),)), 1)
    alone, _ = choose_pieces(frame, None)
    one, _ = choose_pieces(frame, None, np.zeros(len(frame), dtype=np.intp))
    assert one.group == alone.group
    sites = frame.groupby("site").ngroup().to_numpy()
    beside, said = choose_pieces(frame, None, sites)
    assert max(beside.group) < max(alone.group)
    assert any("joined" in sentence for sentence in said)


@pytest.mark.parametrize("cuts", [(12, 24), (10, 20, 30, 40)])
def test_long_intervals_settle(cuts):
    # Source: the likelihood of Finkelstein and Wolfe's data with a constant hazard in each piece, written out
    # and maximised numerically. Scoring alone creeps here: each row reaches over most of the time watched.
    frame = breast()
    found = fit(frame, "arm", cluster=None, strata=None, pieces=cuts)
    start, stop = frame["start_day"].to_numpy(), frame["stop_day"].to_numpy()
    died, treated = frame["died"].to_numpy(), (frame["arm"] == "RCT").to_numpy(float)
    edges = np.array([0, *cuts, np.inf])
    lengths = np.clip(np.minimum(stop[:, None], edges[1:]) - np.maximum(start[:, None], edges[:-1]), 0, None)

    def height(at):
        hazard = np.exp(at[0] * treated) * (lengths @ np.exp(at[1:]))
        return -np.sum(np.where(died > 0, np.log(-np.expm1(-hazard)), -hazard))

    begin = np.concatenate([[0.0], np.full(len(edges) - 1, -4.0)])
    peer = minimize(height, begin, method="BFGS", options={"gtol": 1e-6})
    assert found.table["estimate"].iloc[0] == pytest.approx(peer.x[0], abs=1e-4)
    assert found.log_likelihood == pytest.approx(-peer.fun, abs=1e-7)
