"""A stand-in for a fit with survival that can be reckoned by hand, and small tables."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import pandas as pd

from survivor.models.result import Estimates


@dataclass(frozen=True)
class FakeFit:
    """Survival of a cell is what ``alive`` says, with one standard error, cells independent."""

    data: pd.DataFrame
    alive: Callable[[dict[str, object]], float]
    formula: str = "method"
    variables: tuple[str, ...] = ("method",)
    strata: tuple[str, ...] = ("site",)
    cluster: tuple[str, ...] = ("site", "plot")
    model: str = "grouped"
    std_error: float = 0.02
    df: float = 10.0
    at: float | None = None
    variance: str = "CR2"

    def average_survival(self, cells: pd.DataFrame, weights: np.ndarray, at: float) -> Estimates:
        each = np.array([self.alive(cell) for cell in cells.to_dict("records")])
        covariance = self.std_error**2 * weights @ weights.T
        return Estimates(weights @ each, covariance, np.full(len(weights), self.df))


def planting(layout: dict[str, dict[str, int]], plants: int = 20, died: int = 5) -> pd.DataFrame:
    """One interval a plot: ``layout[site][method]`` plots, the methods in order of first mention."""
    rows = [
        (site, f"{method}{number}", method, 0, 365, plants, died)
        for site, methods in layout.items()
        for method, plots in methods.items()
        for number in range(plots)
    ]
    frame = pd.DataFrame(rows, columns=["site", "plot", "method", "start_day", "stop_day", "at_risk", "died"])
    order = list(dict.fromkeys(method for methods in layout.values() for method in methods))
    return frame.assign(method=pd.Categorical(frame["method"], categories=order))


def counted(died: dict[tuple[str, ...], tuple[int, int]], names: list[str]) -> pd.DataFrame:
    """One interval of a year a group: ``died[levels] = (died, planted)``."""
    rows = [(*levels, 0, 365, planted, dead) for levels, (dead, planted) in died.items()]
    return pd.DataFrame(rows, columns=[*names, "start_day", "stop_day", "at_risk", "died"])
