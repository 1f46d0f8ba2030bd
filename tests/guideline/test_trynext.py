"""Expected value of a further season, against simulation and its limits."""

from __future__ import annotations

import numpy as np
import pytest

from survivor.guideline.advice import Advice, SeasonSays
from survivor.guideline.file import Ground
from survivor.guideline.trynext import try_next, worth_of_season

CASES = [(4.0, 6.0, 40.0, 5.0), (12.0, 5.0, 25.0, 5.0), (-3.0, 8.0, 100.0, 5.0), (5.0, 3.0, 9.0, 5.0)]


@pytest.mark.parametrize(("mean", "sd", "variance", "threshold"), CASES)
def test_worth_is_what_choosing_after_a_simulated_season_gains(mean, sd, variance, threshold):
    # Monte Carlo of the whole decision: truth, season, best guess after it, choice.
    rng = np.random.default_rng(3)
    true = mean + sd * rng.standard_normal(400_000)
    seen = true + np.sqrt(variance) * rng.standard_normal(true.shape)
    after = (mean / sd**2 + seen / variance) / (1 / sd**2 + 1 / variance)
    gain = np.where(after > threshold, true - threshold, 0.0)
    now = max(mean - threshold, 0.0)
    error = gain.std() / np.sqrt(len(gain))
    found = worth_of_season(mean, sd, variance, threshold)
    assert found.value == pytest.approx(gain.mean() - now, abs=4 * error)
    changed = np.mean((after > threshold) != (mean > threshold)) if mean != threshold else 0.5
    assert found.chance == pytest.approx(changed, abs=0.005)


def test_worth_lies_between_nothing_and_perfect_knowledge():
    little, much = worth_of_season(4.0, 6.0, 1e9, 5.0), worth_of_season(4.0, 6.0, 1e-9, 5.0)
    assert little.value == pytest.approx(0, abs=1e-3)
    assert much.value == pytest.approx(much.perfect, rel=1e-6)
    # At the threshold perfect knowledge is worth sd / sqrt(2 pi): closed form.
    assert worth_of_season(5.0, 6.0, 10.0, 5.0).perfect == pytest.approx(6 / np.sqrt(2 * np.pi))


def advice(name: str, estimate: float, half: float) -> Advice:
    season = (SeasonSays("one", estimate, estimate - half, estimate + half, 4),)
    return Advice(
        "clay", name, "usual", "not answered", "", estimate, estimate - half, estimate + half, n_sites=4,
        seasons=season,
    )  # fmt: skip


def test_the_most_worth_comes_first_and_without_an_estimate_nothing_is_told():
    told = (
        advice("sure", 30.0, 4.0),
        advice("open", 5.0, 14.0),
        Advice("clay", "none", "usual", "not answered", ""),
    )
    ground = Ground.model_validate({"name": "clay", "where": {"texture": ("clay",)}, "plants_a_year": 1000})
    table = try_next(told, (ground,), 5.0)
    assert table["preparation"].tolist() == ["open", "sure"]
    assert table["value_plants"].iloc[0] == pytest.approx(10 * table["value_per_100"].iloc[0])
    unknown = try_next(told, (ground.model_copy(update={"plants_a_year": None}),), 5.0)
    assert unknown["value_plants"].isna().all()
    assert unknown["preparation"].iloc[0] == "open"
