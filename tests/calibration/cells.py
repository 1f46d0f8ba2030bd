"""Cells of the calibration table, and what the reported analysis says of each simulated study.

The analysis is ``fit_grouped`` as ``survivor.fit`` calls it. Differences go through the same
fit's ``average_survival`` over cells that are read once a layout, since those do not change
from study to study; ``test_table`` holds them equal to ``survivor.contrasts``.
"""

from __future__ import annotations

import zlib
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from survivor.effects.cells import study_cells, under_levels
from survivor.errors import SurvivorError
from survivor.models.grouped import fit_grouped
from survivor.models.result import Fit
from survivor.simulate.cohort import Cohort
from tests.calibration.layouts import AT, Layout, balanced, one_in_four, ten_fold

Floats = NDArray[np.float64]

SEED = 20240611
#: Studies of a part, and parts of a cell.
PART = 500
PARTS = 20
#: Numbers of each estimate, in order.
NUMBERS = ("estimate", "std_error", "df", "lower", "upper", "p_value")
MEASURES = ("hazard ratio", "difference")
#: How a study ended.
USUAL, PENALISED, FAILED = 0, 1, 2


@dataclass(frozen=True)
class Cell:
    """One cell of the table.

    Attributes
    ----------
    name
        As printed; also what its random numbers come from.
    asked
        ``type I`` where the methods are alike, else ``coverage``.
    band
        Where the share per 100 studies is to lie.
    layout
        Of the studies.
    """

    name: str
    asked: str
    band: tuple[float, float]
    layout: Layout

    def random(self, part: int) -> np.random.Generator:
        """Random numbers of one part, whatever else has been drawn."""
        return np.random.default_rng([SEED, zlib.crc32(self.name.encode()), part])


def slug(name: str) -> str:
    """Name of a cell as part of a file name."""
    return "".join(letter if letter.isalnum() or letter in ".-" else "_" for letter in name)


def _cells() -> list[Cell]:
    alike, real = (0.0,), (-0.5,)
    found = []
    # By importance: a run that is stopped early leaves the last ones with fewer studies.
    for spread in (0.5, 0.0):
        for plots, sites, blocks in ((24, 6, 2), (12, 3, 2), (60, 10, 3)):
            where = f"{plots} plots, {sites} sites, plot SD {spread:g}"
            layout = balanced(sites, blocks, effects=alike, plot_sd=spread)
            found.append(Cell(f"{where}, methods alike", "type I", (4, 6), layout))
            layout = balanced(sites, blocks, effects=real, plot_sd=spread)
            found.append(Cell(f"{where}, log hazard ratio -0.5", "coverage", (94, 96), layout))
    usual = balanced(6, 2, effects=alike, plot_sd=0.5)
    few = 0.17  # of the usual hazard: about 6 in 100 die in a year
    low = tuple(few * hazard for hazard in Cohort().hazards)
    uneven = [
        Cell("ten-fold plot sizes, 24 plots, 6 sites, plot SD 0.5", "type I", (2, 7), ten_fold(usual)),
        Cell("one plot in four, 24 plots, 6 sites, plot SD 0.5", "type I", (2, 7), one_in_four(usual)),
        Cell(
            "four methods, 24 plots, 6 sites, plot SD 0.5",
            "type I",
            (2, 7),
            balanced(6, 1, effects=(0.0, 0.0, 0.0), plot_sd=0.5),
        ),
        Cell(
            "df under 4: 8 plots, 4 sites, plot SD 0.5",
            "type I",
            (0, 6),
            balanced(4, 1, effects=alike, plot_sd=0.5),
        ),
        Cell(
            "df under 4: one plot in four, 12 plots, 3 sites, plot SD 0.5",
            "type I",
            (0, 6),
            one_in_four(balanced(3, 2, effects=alike, plot_sd=0.5)),
        ),
        Cell(
            "6 % dead in a year, 12 plots, 3 sites, plot SD 0.5, methods alike",
            "type I",
            (0, 6),
            balanced(3, 2, effects=alike, plot_sd=0.5, hazards=low),
        ),
        Cell(
            "6 % dead in a year, 12 plots, 3 sites, plot SD 0.5, log hazard ratio -0.7",
            "coverage",
            (94, 100),
            balanced(3, 2, effects=(-0.7,), plot_sd=0.5, hazards=low),
        ),
    ]
    return [*found[:4], *uneven, *found[4:]]


CELLS = _cells()


def reported(frame: pd.DataFrame) -> Fit:
    """Fit a study as ``survivor.fit(frame, "method")`` does."""
    return fit_grouped(frame, "method", cluster="plot", strata="site", pieces=None)


def ratio_numbers(fitted: Fit) -> Floats:
    """``NUMBERS`` of each method's log hazard ratio, shape (methods - 1, 6)."""
    return fitted.table[list(NUMBERS)].to_numpy(dtype=float)


class Differences:
    """Differences from the first method by a fit's ``average_survival``, the cells read once."""

    def __init__(self) -> None:
        self._cells: tuple[pd.DataFrame, Floats] | None = None

    def __call__(self, fitted: Fit) -> Floats:
        """``NUMBERS`` of each difference per 100 planted, shape (methods - 1, 6)."""
        if self._cells is None:
            self._cells = self._read(fitted)
        stacked, weights = self._cells
        found = fitted.average_survival(stacked, weights, AT)
        lower, upper, p_value = found.limits_of_differences()
        estimate, std_error, df = found.estimate, found.std_error, np.asarray(found.df)
        numbers = np.column_stack(
            [100 * estimate, 100 * std_error, df, 100 * lower, 100 * upper, p_value],
        )
        # As in contrasts: without a standard error there is nothing to show.
        return np.where(((std_error > 0) & (df > 0))[:, None], numbers, np.nan)

    @staticmethod
    def _read(fitted: Fit) -> tuple[pd.DataFrame, Floats]:
        cells = study_cells(fitted, ["method"], None)
        levels = list(fitted.data["method"].cat.categories)
        share = cells.plants / cells.plants.sum()
        weights = np.zeros((len(levels) - 1, len(levels), len(share)))
        weights[:, 0] = -share
        for place in range(len(levels) - 1):
            weights[place, place + 1] = share
        stacked = under_levels(cells.frame, "method", levels, fitted.data["method"])
        return stacked, weights.reshape(len(levels) - 1, -1)


def studies(
    cell: Cell, part: int, number: int, analyse: Callable[[pd.DataFrame], Fit] = reported
) -> tuple[Floats, NDArray[np.int8]]:
    """Numbers of each study, shape (number, 2 measures, methods - 1, 6), and how each ended.

    A study that the analysis refuses (nobody died) is all blank.
    """
    comparisons = len(cell.layout.cohort.methods) - 1
    found = np.full((number, len(MEASURES), comparisons, len(NUMBERS)), np.nan)
    ended = np.full(number, USUAL, dtype=np.int8)
    differences = Differences()
    for study, frame in enumerate(cell.layout.draw(cell.random(part), number)):
        try:
            fitted = analyse(frame)
            found[study, 0] = ratio_numbers(fitted)
            found[study, 1] = differences(fitted)
        except SurvivorError:
            found[study], ended[study] = np.nan, FAILED
            continue
        if fitted.variance == "penalised":
            ended[study] = PENALISED
    return found, ended


def summary(
    cell: Cell, found: Floats, ended: NDArray[np.int8], model: str = "grouped"
) -> list[dict[str, object]]:
    """Rows of the table, one a measure that was answered; the ratio's target is the model's own.

    The share is per 100 studies that were answered with limits, averaged over the
    comparisons of a study; its simulation error is that of studies as units.
    """
    targets = (cell.layout.log_ratios(model), cell.layout.differences())
    rows: list[dict[str, object]] = []
    for place, measure in enumerate(MEASURES):
        estimate, std_error, df, lower, upper, p_value = np.moveaxis(found[:, place], 2, 0)
        known = np.isfinite(p_value) if cell.asked == "type I" else np.isfinite(lower) & np.isfinite(upper)
        target = targets[place]
        hit = (p_value < 0.05) if cell.asked == "type I" else (lower <= target) & (target <= upper)
        answered = known.any(axis=1)
        if not answered.any():
            continue
        each = np.where(known, hit, 0).sum(axis=1)[answered] / known.sum(axis=1)[answered]
        share, number = 100 * float(each.mean()), int(answered.sum())
        low, high = cell.band
        usual = (ended == USUAL) & known.all(axis=1)
        rows.append(
            {
                "cell": cell.name,
                "estimate_of": measure,
                "asked": cell.asked,
                "studies": len(found),
                "share_per_100": share,
                "simulation_error": 100 * float(each.std()) / np.sqrt(number),
                "band": f"{low:g} to {high:g}",
                "within": "yes" if low <= share <= high else "no",
                "target": round(float(np.mean(target)), 9) + 0.0,  # no minus nought
                "mean_estimate": float(estimate[usual].mean()),
                "sd_of_estimates": float(estimate[usual].std(axis=0).mean()),
                "root_mean_square_error_reported": float(np.sqrt((std_error[usual] ** 2).mean())),
                "median_df": float(np.nanmedian(df[usual])),
                "penalised": int((ended == PENALISED).sum()),
                "failed": int((ended == FAILED).sum()),
                "without_limits": int(len(found) - number - (ended == FAILED).sum()),
            }
        )
    return rows
