"""Expected value of a further season, against simulation and its limits."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import integrate, stats

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


@pytest.mark.parametrize("df", [3.0, 6.0])
def test_with_few_seasons_the_loss_is_that_of_t(df):
    mean, sd, threshold = 4.0, 6.0, 5.0

    def gain(true: float) -> float:
        return max(true - threshold, 0.0)

    law = stats.t(df, loc=mean, scale=sd)
    by_hand = integrate.quad(lambda true: gain(true) * law.pdf(true), threshold, np.inf)[0]
    assert worth_of_season(mean, sd, 1e-12, threshold, df).value == pytest.approx(by_hand, rel=1e-6)


def advice(name: str, estimate: float, error: float, seasons: int = 3) -> Advice:
    half = 4.3 * error
    says = SeasonSays("one", estimate, estimate - half, estimate + half, 4)
    return Advice(
        "clay", name, "usual", "not answered", "", estimate, estimate - half, estimate + half,
        std_error=error, df=2.0, n_sites=4 * seasons, seasons=(says,) * seasons,
    )  # fmt: skip


def test_what_seasons_that_differ_leave_open_is_worth_a_further_one():
    """Three seasons 29 apart, -8 on average with a standard error of 8.2: a choice that may well change."""
    ground = Ground.model_validate({"name": "clay", "where": {"texture": ("clay",)}})
    line = try_next((advice("auger", -8.0, 8.2),), (ground,), 5.0).iloc[0]
    # A new season has three times the variance of the mean of three.
    by_hand = worth_of_season(-8.0, 8.2, 3 * 8.2**2, 5.0, 2.0)
    assert line["chance_per_100"] == pytest.approx(100 * by_hand.chance)
    assert line["chance_per_100"] > 3
    assert line["value_per_100"] > 0.1


def test_one_season_alone_is_worth_more_of_than_three_that_agree():
    ground = Ground.model_validate({"name": "clay", "where": {"texture": ("clay",)}})
    told = (advice("one", 8.0, 4.0, 1), advice("three", 8.0, 4.0 / 3**0.5, 3))
    table = try_next(told, (ground,), 5.0).set_index("preparation")
    assert table.loc["one", "value_per_100"] > table.loc["three", "value_per_100"]


def test_the_most_worth_comes_first_and_without_an_estimate_nothing_is_told():
    told = (
        advice("sure", 30.0, 1.0),
        advice("open", 5.0, 4.0),
        Advice("clay", "none", "usual", "not answered", ""),
    )
    ground = Ground.model_validate({"name": "clay", "where": {"texture": ("clay",)}, "plants_a_year": 1000})
    table = try_next(told, (ground,), 5.0)
    assert table["preparation"].tolist() == ["open", "sure"]
    assert table["value_plants"].iloc[0] == pytest.approx(10 * table["value_per_100"].iloc[0])
    unknown = try_next(told, (ground.model_copy(update={"plants_a_year": None}),), 5.0)
    assert unknown["value_plants"].isna().all()
    assert unknown["preparation"].iloc[0] == "open"
