"""Preparations with which nobody, or everybody, lives: told by counts, never through a model."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from survivor.curves import curve
from survivor.effects.contrasts import contrasts
from survivor.effects.counted import Counted, at_the_edge, difference_of
from survivor.models.fit import fit
from survivor.proportions import newcombe, wilson
from survivor.study import load
from tests.analysis.fates import COSTS, spread, write_fates
from tests.effects.making import planting
from tests.once import analysed


def dies(site: int, method: str, plot: int, number: int) -> tuple[int, str]:
    """Third: all dead by the third visit; usual: 4 or 5 of 10; other: 2 or 3 of 10."""
    if method == "third":
        return number % 3, "dead"
    return spread(number, (4 if method == "usual" else 2) + (site + plot) % 2)


def dies_at_once(site: int, method: str, plot: int, number: int) -> tuple[int, str]:
    """Third: all dead by the first visit."""
    return (0, "dead") if method == "third" else dies(site, method, plot, number)


def lives(site: int, method: str, plot: int, number: int) -> tuple[int, str]:
    """Third: all alive throughout."""
    return (99, "dead") if method == "third" else dies(site, method, plot, number)


def of(findings, key):
    return next(finding for finding in findings if finding.key == key)


@pytest.mark.slow
@pytest.mark.parametrize("fate", [dies, dies_at_once])
def test_a_preparation_with_nobody_alive_is_told_by_its_counts(tmp_path: Path, fate) -> None:
    analysis = analysed(write_fates(tmp_path, fate, more=COSTS))
    line = analysis.survival.by_method.table.set_index("method").loc["third"]
    assert line["estimate"] == line["lower"] == 0.0
    # Eighty seedlings in eight plots are worth eighty at most: that Wilson limit is the least there is.
    assert 100 * wilson(0, 80)[1] <= line["upper"] < 25
    assert "third" not in analysis.models.by_name["grouped"].data["method"].unique()
    assert analysis.models.by_name["grouped"].variance == "CR2"  # nothing penalised on its account
    against = of(analysis.findings, "third against usual")
    assert against.grade in ("moderate", "strong")
    # 36 of 80 of the usual practice died: 55 alive per 100 against none.
    assert against.estimate == pytest.approx(-55.0)
    assert against.lower < -55 < against.upper < -30
    # Its cost is not told, and no figure is beyond belief.
    assert "third" not in analysis.costs.payoff.table["method"].tolist()
    assert analysis.costs.payoff.left_out["third"] == "nobody was alive"
    assert analysis.costs.payoff.table["cost_per_established"].max() < 10
    # What compares the others is answered, as by the model without that preparation.
    rest = load(tmp_path).first_plants
    rest = rest[rest["method"].astype(str) != "third"].assign(method=lambda f: f["method"].astype(str))
    rest["method"] = rest["method"].astype("category").cat.reorder_categories(["usual", "other"])
    alone = contrasts(fit(rest, "method"), at=365).table.iloc[0]
    other = of(analysis.findings, "other against usual")
    assert other.estimate == pytest.approx(alone["estimate"], abs=2.0)


@pytest.mark.slow
def test_a_preparation_with_everybody_alive_costs_what_its_plants_cost(tmp_path: Path) -> None:
    analysis = analysed(write_fates(tmp_path, lives, more=COSTS))
    line = analysis.survival.by_method.table.set_index("method").loc["third"]
    assert (line["estimate"], line["upper"]) == (100.0, 100.0)
    assert 75 < line["lower"] <= 100 * wilson(80, 80)[0]
    cost = analysis.costs.payoff.table.set_index("method").loc["third"]
    assert cost["cost_per_established"] == pytest.approx(5.0)
    assert of(analysis.findings, "third against usual").estimate == pytest.approx(45.0)


def test_of_two_preparations_one_without_anybody_alive_is_still_compared(tmp_path: Path) -> None:
    def fate(site: int, method: str, plot: int, number: int) -> tuple[int, str]:
        return (0, "dead") if method == "other" else dies(site, method, plot, number)

    analysis = analysed(write_fates(tmp_path, fate, methods=("usual", "other")))
    assert of(analysis.findings, "headline").grade in ("moderate", "strong")
    assert of(analysis.findings, "other against usual").estimate == pytest.approx(-55.0)


@pytest.mark.slow
def test_where_the_usual_practice_has_nobody_alive_each_is_set_against_its_counts(tmp_path: Path) -> None:
    def fate(site: int, method: str, plot: int, number: int) -> tuple[int, str]:
        return (1, "dead") if method == "usual" else spread(number, 3 + (site + plot) % 2)

    analysis = analysed(write_fates(tmp_path, fate))
    table = analysis.comparing.against.table
    assert table["against"].astype(str).tolist() == ["usual", "usual"]
    assert (table["basis"] == "within sites").all()
    assert table["estimate"].tolist() == pytest.approx([65.0, 65.0])


def test_limits_of_a_counted_difference_are_newcombes_on_the_same_numbers() -> None:
    """Square-and-add limits from Wilson's of each side are method 10 of Newcombe (1998)."""
    low, high = wilson(np.array([0.0, 20.0]), np.array([30.0, 36.0]))
    sides = [Counted(s, a, b, 8.0) for s, a, b in zip((0.0, 20 / 36), low, high, strict=True)]
    estimate, lower, upper, _ = difference_of(*sides)
    expected = newcombe(0, 30, 20, 36)
    assert (estimate, lower, upper) == pytest.approx(
        (expected.estimate, expected.lower, expected.upper), abs=1e-9
    )


@pytest.mark.slow
def test_counted_survival_is_that_of_the_curve(tmp_path: Path) -> None:
    analysis = analysed(write_fates(tmp_path, lives))
    rows = load(tmp_path).first_plants
    read = curve(rows, by="method", strata="site").read(365).set_index("method").loc["third"]
    line = analysis.survival.by_method.table.set_index("method").loc["third"]
    assert line["lower"] == pytest.approx(100 * read["lower"])


def test_levels_at_the_edge_are_named() -> None:
    frame = planting({"Oddle Flat": {"usual": 3, "rip": 3, "mat": 3}, "Snarrow Rise": {"usual": 3, "rip": 3}})
    frame.loc[frame["method"] == "rip", "died"] = 20
    frame.loc[frame["method"] == "mat", "died"] = 0
    assert at_the_edge(frame, 365, 30) == {"rip": "nobody", "mat": "everybody"}


def test_other_pairs_stand_where_limits_of_one_do_not_settle() -> None:
    """All of one method dead at the first of two visits: the profile of its survival has no end to find."""
    rng = np.random.default_rng(3)
    frame = planting({f"site {site}": {"usual": 2, "rip": 2, "mat": 2} for site in range(5)}, plants=10)
    frame["died"] = rng.binomial(10, np.where(frame["method"] == "rip", 0.2, 0.4))
    frame.loc[frame["method"] == "mat", "died"] = 10
    found = contrasts(fit(frame, "method"), at=365, pairs="all").table.set_index(["method", "against"])
    pair = found.loc[("rip", "usual")]
    assert pair["lower"] < pair["estimate"] < pair["upper"]
    # What has no limits is refused in words of the plants, not of the algebra.
    for _, line in found[found["basis"] == "refused"].iterrows():
        assert "settle" not in line["reason"]
        assert "seedlings counted" in line["reason"]


def test_one_plot_each_is_said_so() -> None:
    frame = planting({"Oddle Flat": {"usual": 1, "rip": 1}})
    frame["died"] = [8, 3]
    line = contrasts(fit(frame, "method"), at=365).table.iloc[0]
    assert line["basis"] == "refused"
    assert line["reason"] == "no limits can be given: one plot each; at least 3 are needed"
