"""The demo's three seasons: advice follows the truth, and not a season that looked different by chance."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from survivor.demo.seasons import EFFECTS, USUAL
from survivor.guideline import Guideline
from survivor.pooling import pool

pytestmark = pytest.mark.slow  # three seasons are analysed


def answers(made: Guideline) -> dict[tuple[str, str], str]:
    return {(a.ground, a.preparation): a.answer for a in made.advice}


def truth(folder: Path) -> dict[tuple[str, str], list[float]]:
    told = json.loads((folder / "truth.json").read_text(encoding="utf-8"))["methods"]
    found: dict[tuple[str, str], list[float]] = {}
    for row in told:
        found.setdefault((row["ground"], row["method"]), []).append(row["difference"])
    return found


def test_what_is_advised_truly_gains_and_what_is_not_advised_truly_loses(made, folder):
    known = truth(folder)
    said = answers(made)
    assert sorted(said.values()).count("advised") == 3
    for key, answer in said.items():
        if answer == "advised":
            assert min(known[key]) > made.file.guideline.smallest_difference
        if answer == "not advised":
            assert max(known[key]) < 0
        if EFFECTS[key[0]][key[1]] == 0:
            assert answer == "not answered"


def test_every_large_true_gain_is_advised(made, folder):
    for key, differences in truth(folder).items():
        if key[1] != USUAL and min(differences) > 15:
            assert answers(made)[key] == "advised", key


def test_advice_changed_as_seasons_came_in(made):
    changes = {change.number: change for change in made.changes}
    second = " ".join(changes[2].moved)
    assert "spray and auger on clay flats: from worth a trial to advised; 2 seasons, 8 sites. Why: " in second
    assert "spray and mulch mat on loam slopes: from worth a trial to advised; 2 seasons, 8 sites" in second
    # What the rule asks for and one season did not have is why, not that the difference moved a little.
    why = "Why: “advised” asks for at least 2 seasons (1 before); at least 5 sites with both (4 before); "
    why += "limits for sites like these (these sites only before). The difference is now "
    assert why in second
    again = "No record of version {} as issued is kept: "
    again += "it is reckoned again from the seasons that this file names."
    assert changes[1].also == ("First version; rests on 2021 (wet).", again.format(1))
    assert changes[2].also == ("Season taken in: 2022 (dry).", again.format(2))
    assert changes[3].also[0] == "Season taken in: 2023 (average)."


def test_a_season_that_looked_different_by_chance_changed_nothing(made):
    # Auger holes do nothing on the loam slopes; in one season they looked clearly worse.
    assert EFFECTS["loam slopes"]["spray and auger"] == 0
    advice = next(a for a in made.advice if (a.ground, a.preparation) == ("loam slopes", "spray and auger"))
    alone = advice.seasons[-1]
    assert alone.upper < 0
    assert advice.answer == "not answered"
    stood = made.changes[0].stood
    assert len(stood) == 1
    assert stood[0].startswith(
        "spray and auger on loam slopes: stays not answered. 2023 (average) alone showed"
    )


def test_limits_hold_the_truth_over_these_seasons(made, folder):
    # Eight comparisons, 95 % limits: all but one at least (by chance fewer in 6 of 100 programmes).
    known = truth(folder)
    held = [
        a.lower <= sum(known[a.ground, a.preparation]) / 3 <= a.upper
        for a in made.advice
        if a.lower is not None and a.upper is not None
    ]
    assert len(held) == 8
    assert sum(held) >= 7


def test_what_lies_between_seasons_is_what_pooling_says(made):
    advice = made.advice[0]
    z = 2 * 1.959963984540054
    estimates = [says.estimate for says in advice.seasons]
    found = pool(estimates, [(says.upper - says.lower) / z for says in advice.seasons])
    assert advice.tau == pytest.approx(found.spread["tau"].iloc[0])
    assert advice.new_lower == pytest.approx(max(-100, found.new_unit["lower"].iloc[0]))


def test_counts_are_of_both_arms_on_that_ground(made):
    for advice in made.advice:
        # Four sites of two blocks a season, one plot of each preparation in a block, three seasons.
        assert (advice.n_sites, advice.n_plots, advice.n_seasons) == (12, 48, 3)
        assert advice.of == "sites like these"
        assert advice.n_seedlings <= 48 * 18
