"""Short form of the coverage of the penalised model's limits, with a fixed seed."""

import numpy as np
import pytest

from survivor.models.jeffreys import Jeffreys
from survivor.models.likelihood import Rows
from survivor.models.penalised import Profile, coefficient, maximise
from tests.calibration.penalised_limits import COHORTS, run

HALF_QUANTILE = 3.841459 / 2


@pytest.mark.slow
def test_profiles_of_independent_seedlings_cover():
    # Source: our own simulation, two groups of 25 of which the second loses hardly any (in 3 of 10 studies
    # none); two visits. Limits hold the truth where the profile there lies within what is allowed.
    rng = np.random.default_rng(20240611)
    truth, hazards = -2.5, np.array([0.3, 0.5])
    studies, held, none = 500, 0, 0
    columns = np.array([[0.0], [0.0], [1.0], [1.0]])
    for _ in range(studies):
        rows = []
        for ratio in (1.0, np.exp(truth)):
            alive = 25
            for hazard in hazards:
                died = rng.binomial(alive, -np.expm1(-hazard * ratio))
                rows.append((alive, died))
                alive -= died
        at_risk, deaths = np.array(rows, dtype=float).T
        seen = at_risk > 0
        data = Rows(
            columns[seen],
            np.tile(np.eye(2), (2, 1))[seen],
            np.zeros(int(seen.sum()), dtype=np.intp),
            at_risk[seen],
            deaths[seen],
        )
        likelihood = Jeffreys(data)
        profile = Profile(likelihood, maximise(likelihood, data.start()), HALF_QUANTILE)
        held += profile.fall([coefficient(2, 3)], [truth]) <= HALF_QUANTILE
        none += deaths[2:].sum() == 0
    assert 0.1 < none / studies < 0.5
    assert 0.93 < held / studies < 0.98


@pytest.mark.slow
def test_limits_that_respect_plots_cover():
    # Source: our own simulation; of 300 studies 95 to 100 in 100 (the command in the module prints them).
    name = "3 sites, 3 plots a method"
    table = run(60, cohorts={name: COHORTS[name]}).set_index(["what", "method"])
    assert (table["coverage"] > 88).all()
    assert table["penalised"].iloc[0] > 10
    assert table.loc[("difference", "alternative"), "among_penalised"] > 80
