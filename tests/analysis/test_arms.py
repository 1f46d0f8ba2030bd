"""Survival of a planting of which some preparation is all dead, put together from its preparations."""

from __future__ import annotations

from pathlib import Path

import pytest

from survivor.evidence.finding import Finding
from tests.analysis.fates import spread, write_fates
from tests.once import analysed


def fate(site: int, method: str, plot: int, number: int) -> tuple[int, str]:
    """All of the third die at the first visit; of the others two to four of ten."""
    if method == "third":
        return 0, "dead"
    return spread(number, (3 if method == "usual" else 2) + (site + plot) % 2)


def alive(
    folder: Path, methods: tuple[str, ...], sites: int = 4, more: str = ""
) -> tuple[Finding, list[float]]:
    """The finding of how many are alive, and its estimate and limits."""
    analysis = analysed(write_fates(folder, fate, methods=methods, sites=sites, more=more))
    found = next(finding for finding in analysis.findings if finding.key == "alive")
    return found, [float(value) for value in (found.estimate, found.lower, found.upper) if value is not None]


@pytest.mark.slow
def test_an_arm_of_which_all_are_dead_is_not_taken_for_plots_that_differ(tmp_path: Path) -> None:
    _, (two, two_low, two_high) = alive(tmp_path / "two", ("usual", "other"))
    found, (three, low, high) = alive(tmp_path / "three", ("usual", "other", "third"))
    # As many plants of each: two thirds of what the others kept, and nothing of the third.
    assert three == pytest.approx(2 / 3 * two)
    # The third's upper limit by Wilson adds to the upper side alone (Zou and Donner 2008).
    assert three - low == pytest.approx(2 / 3 * (two - two_low))
    assert high - three > 2 / 3 * (two_high - two)
    assert high - low < 12
    assert (found.n_seedlings, found.n_plots, found.n_sites) == (240, 24, 4)


@pytest.mark.slow
def test_arms_weigh_by_the_plants_put_in_at_each_site(tmp_path: Path) -> None:
    def at(weights: tuple[int, int]) -> float:
        people = "".join(
            f'\n[[planted]]\nsite = "site {site}"\nplants = {n}\n' for site, n in enumerate(weights)
        )
        return alive(tmp_path / str(weights[0]), ("usual", "other", "third"), 2, people)[1][0]

    # An average by plants is linear in the weights of the sites.
    even = at((500, 500))
    assert even == pytest.approx((at((900, 100)) + at((100, 900))) / 2, abs=1e-6)
    # Of ten two to four died under the two, all under the third: 70 of 100 in two thirds.
    assert even == pytest.approx(2 / 3 * 70, abs=1.5)
