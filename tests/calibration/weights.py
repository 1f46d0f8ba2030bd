"""Plots that differ ten-fold in size: would weights a plot do better than none?

``survivor.fit`` takes seedlings as independent while it estimates unless told otherwise, and
lets plots into the limits only. Where large plots tell little more than small ones, an
estimate that counts a plot of m seedlings for m / (1 + (m - 1) rho) is more precise; an equal
weight a plot is the other end (rho = 1). Both are had by multiplying the counts of a plot: its
score then counts for less, and if rho is right the counts so weighted vary as independent ones
would, which is what CR2 and its degrees of freedom take for granted.

``working="plot correlation"`` of ``survivor.fit`` is the middle way, made without multiplied
counts. Here the counts stay multiplied, by weights reckoned from the layout, so that
``tests/models/test_working.py`` has something apart from the package to hold it to.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from survivor.errors import SurvivorError
from survivor.proportions import plot_correlation
from tests.calibration import cells
from tests.calibration.layouts import balanced, ten_fold

Floats = NDArray[np.float64]

PART = 500
PARTS = 8


def _cell(effect: float, plot_sd: float) -> cells.Cell:
    said = "methods alike" if effect == 0 else f"log hazard ratio {effect:g}"
    layout = ten_fold(balanced(6, 2, effects=(effect,), plot_sd=plot_sd))
    name = f"plot weights, ten-fold plot sizes, 24 plots, 6 sites, plot SD {plot_sd:g}, {said}"
    asked, band = ("type I", (2.0, 7.0)) if effect == 0 else ("coverage", (93.0, 98.0))
    return cells.Cell(name, asked, band, layout)


CELLS = [_cell(0.0, 0.5), _cell(-0.5, 0.5), _cell(0.0, 0.0)]


def by_plot(cell: cells.Cell, frame: pd.DataFrame) -> tuple[Floats, Floats]:
    """Planted, and alive after the last visit, of each plot."""
    plot = pd.factorize(frame["plot"])[0]  # plots come in order
    size = cell.layout.size.astype(float)
    return size, size - np.bincount(plot, weights=frame["died"], minlength=len(size))


def no_weights(cell: cells.Cell, frame: pd.DataFrame) -> Floats:
    """Each seedling counts as one."""
    return np.ones(len(cell.layout.size))


def equal_plots(cell: cells.Cell, frame: pd.DataFrame) -> Floats:
    """Each plot counts as one."""
    return 1.0 / cell.layout.size


def correlated(cell: cells.Cell, frame: pd.DataFrame) -> Floats:
    """Working correlation, estimated from plots of one method at one site; none below 0."""
    size, alive = by_plot(cell, frame)
    group = cell.layout.site * len(cell.layout.cohort.methods) + cell.layout.method
    rho = max(0.0, plot_correlation(alive, size, group).icc)
    return 1 / (1 + (size - 1) * rho)


WAYS: dict[str, Callable[[cells.Cell, pd.DataFrame], Floats]] = {
    "independence (the default of fit)": no_weights,
    "working correlation, estimated": correlated,
    "equal weight a plot": equal_plots,
}


def part(place: int, number: int) -> dict[str, Any]:
    """Numbers of each way in a part's studies, shape (studies, ways, 2 measures, 6)."""
    cell = CELLS[place]
    layout = cell.layout
    found = np.full((PART, len(WAYS), 2, len(cells.NUMBERS)), np.nan)
    differences = cells.Differences()
    for study, frame in enumerate(layout.draw(cell.random(number), PART)):
        plot = pd.factorize(frame["plot"])[0]
        for column, weigh in enumerate(WAYS.values()):
            weight = weigh(cell, frame)
            weight = (weight * layout.size.sum() / (weight * layout.size).sum())[plot]
            counts = {name: frame[name] * weight for name in ("at_risk", "died")}
            try:
                # Plants averaged over stay those planted: the first way reads them.
                fitted = cells.reported(frame.assign(**counts) if column else frame)
                found[study, column] = np.stack([cells.ratio_numbers(fitted)[0], differences(fitted)[0]])
            except SurvivorError:
                continue
    return {"found": found}


def table(read: Callable[[str], dict[str, Any] | None]) -> pd.DataFrame:
    """Rows of the reported analysis' table, one a cell, measure and way."""
    rows = []
    for cell in CELLS:
        held = read(cell.name)
        if held is None:
            continue
        for column, way in enumerate(WAYS):
            found = held["found"][:, column, :, None, :]
            ended = np.where(np.isnan(found).all(axis=(1, 2, 3)), cells.FAILED, cells.USUAL).astype(np.int8)
            for row in cells.summary(cell, found, ended):
                rows.append({"cell": row.pop("cell"), "weights": way, **row})
    return pd.DataFrame(rows)
