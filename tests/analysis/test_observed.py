"""What was observed of each preparation beside what is standardised, and what cannot be compared at all."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from survivor.analysis.comparing import answerable
from survivor.effects.confounding import no_overlap
from survivor.effects.sites import one_site_carries
from tests.analysis.fates import spread, write_fates
from tests.once import analysed


def gone(site: int, method: str, plot: int, number: int) -> tuple[int, str]:
    """Of ten: usual three or four dead; other one or two dead, and two missing from the last visit on."""
    if method == "usual":
        return spread(number, 3 + (site + plot) % 2)
    if method == "other" and number >= 8:
        return 3, "missing"
    return spread(number, 1 + (site + plot) % 2)


@pytest.fixture(scope="module", params=["dead", "unknown"])
def observed(request, tmp_path_factory):
    folder: Path = tmp_path_factory.mktemp(request.param)
    rules = f'missing = "{request.param}"'
    analysis = analysed(write_fates(folder, gone, rules=rules, methods=("usual", "other")))
    return request.param, analysis


@pytest.mark.slow
def test_missing_plants_are_counted_apart_whatever_the_rule(observed) -> None:
    _, analysis = observed
    table = analysis.survival.observed.set_index("method")
    plots = table.loc["other", "n_plots"]
    assert table.loc["other", "missing"] == 2 * plots
    assert table.loc["usual", "missing"] == 0
    assert (table["alive"] + table["dead"] + table["missing"] + table["unknown"] == table["watched"]).all()
    by_hand = 100 * table["alive"] / table["watched"]
    assert table["alive_per_100_planted"].to_numpy() == pytest.approx(by_hand.to_numpy())


def test_the_standardised_stands_beside_it_with_what_the_model_fills_in(observed) -> None:
    _, analysis = observed
    table = analysis.survival.observed.set_index("method")
    standard = analysis.survival.by_method.table.set_index("method")
    for name in ("estimate", "lower", "upper"):
        assert table[name].to_dict() == standard[name].to_dict()
    assert (table["filled_in"] == 0).all()  # every site has both
    assert (table["shared_sites"] == table["n_sites"]).all()


@pytest.mark.slow
def test_a_preparation_that_cannot_be_compared_keeps_its_row(tmp_path: Path) -> None:
    def apart(site: int, method: str, plot: int, number: int) -> tuple[int, str] | None:
        return gone(site, method, plot, number) if (method == "lone") == (site == 0) else None

    analysis = analysed(write_fates(tmp_path, apart, methods=("usual", "other", "lone")))
    table = analysis.survival.observed.set_index("method")
    assert table.loc["lone", "n_sites"] == 1
    assert table.loc["lone", "shared_sites"] == 0
    assert table.loc["lone", "alive"] > 0
    assert np.isnan(table.loc["lone", "estimate"])


def without_limits(analysis, **design) -> pd.DataFrame:
    season = analysis.season
    settings = season.settings.model_copy(update={"design": season.settings.design.model_copy(update=design)})
    made = answerable(analysis.comparing.all_pairs, replace(season, settings=settings)).table
    return made.set_index(["method", "against"])


@pytest.mark.slow
def test_where_sites_are_compared_an_arm_of_two_sites_has_no_limits(tmp_path: Path) -> None:
    def apart(site: int, method: str, plot: int, number: int) -> tuple[int, str] | None:
        return gone(site, method, plot, number) if (method == "lone") == (site < lone) else None

    lone = 2
    few = analysed(write_fates(tmp_path / "few", apart, methods=("usual", "lone"), sites=6))
    line = few.comparing.all_pairs.table.iloc[0]
    assert line["basis"] == "refused"
    assert line["reason"] == "no site holds both, and lone has 2 sites of the 3 needed"
    assert np.isnan(line[["estimate", "lower", "upper", "p_adjusted"]].astype(float)).all()
    lone = 3
    more = analysed(write_fates(tmp_path / "more", apart, methods=("usual", "lone"), sites=6))
    line = more.comparing.all_pairs.table.iloc[0]
    assert line["basis"] == "between sites only"
    assert np.isfinite(line[["estimate", "lower", "upper"]].astype(float)).all()


def test_no_common_ground_no_comparison_but_where_chance_gave_the_preparations(observed) -> None:
    _, analysis = observed
    season = analysis.season
    wet = np.where(season.intervals["method"] == "other", "wet", "hard")
    told = replace(analysis, season=replace(season, intervals=season.intervals.assign(ground=wet)))
    refused = without_limits(told, allocation="by choice").loc[("other", "usual")]
    assert refused["reason"] == "the two stood on no common ground (ground)"
    assert np.isnan(refused["lower"])
    assert (
        without_limits(told, allocation="random within blocks").loc[("other", "usual"), "basis"] != "refused"
    )


def test_overlap_is_told_of_words_and_of_numbers_that_are_known() -> None:
    first = pd.DataFrame({"ground": ["wet", "wet"], "slope": [1.0, 4.0], "landform": ["flat", ""]})
    second = pd.DataFrame({"ground": ["hard", "steep"], "slope": [3.0, 9.0], "landform": ["rise", "rise"]})
    assert no_overlap(first, second, ["ground", "slope", "landform"]) == ["ground"]


LEFT_OUT = {
    "clear without any": ([(21, 0.01), (18, 0.03)], True, False),
    "not clear without one": ([(21, 0.01), (14.5, 0.06)], True, True),  # -0.4 to 29.4
    "turned round": ([(21, 0.01), (-5, 0.01)], True, True),
    "nothing concluded": ([(3, 0.6), (-4, 0.5)], False, False),  # near nought a site always halves or turns
}


@pytest.mark.parametrize(("rows", "clear", "carries"), LEFT_OUT.values(), ids=LEFT_OUT.keys())
def test_a_site_carries_a_difference_that_is_not_clear_without_it(rows, clear, carries) -> None:
    table = pd.DataFrame(rows, columns=["estimate", "p_adjusted"]).assign(method="rip", against="usual")
    assert one_site_carries(table, "rip", "usual", 21.0 if clear else 3.0, clear) is carries
