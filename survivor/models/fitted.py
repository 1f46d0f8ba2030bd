"""The values of every fit: what was fitted to which rows, and averages of survival under it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any, Protocol, TypeVar

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from survivor.arguments import amount, numbers
from survivor.arrays import Codes, Floats
from survivor.errors import ModelError
from survivor.limits import (
    Errors,
    Limits,
    half_width,
    root_of_diagonal,
    said_of_floor,
    survival_limits,
    t_test,
)
from survivor.models.cells import Reader
from survivor.models.clusters import Kind, Sandwich, WaldTest
from survivor.models.design import Design
from survivor.models.likelihood import Rows, Solution
from survivor.models.pieces import Merged
from survivor.models.told import refuse_told
from survivor.models.working import Working
from survivor.vocabulary import CONFIDENCE

T = TypeVar("T")


@dataclass(frozen=True)
class Arranged:
    """What a grouped model was fitted to, on arrays, for those who fit it again.

    Attributes
    ----------
    read
        Reads cells; its design is of all rows of the table, single seedlings that are alike joined.
    rows
        Place in the table of one row of each group of equal rows that was fitted, shape (n,).
    data, solution
        The rows fitted, n of them, and the maximum.
    codes, clusters
        Cluster of each of them, 0 to ``clusters`` - 1, and how many there are.
    kind
        Which covariance.
    row_of
        Place among the rows of ``design`` of each row of the table.
    """

    read: Reader
    rows: Codes
    data: Rows
    solution: Solution
    codes: Codes
    clusters: int
    kind: Kind
    row_of: Codes

    @property
    def design(self) -> Design:
        """Of all rows of the table, single seedlings that are alike joined."""
        return self.read.design

    @property
    def pieces(self) -> Merged:
        """Pieces of the baseline."""
        assert self.read.pieces is not None
        return self.read.pieces

    @property
    def cluster_codes(self) -> Codes:
        """Cluster of each row of the table, as ``design`` numbers clusters."""
        return self.design.cluster_codes[self.row_of]


@dataclass(frozen=True)
class Estimates:
    """Linear combinations of predicted survival.

    Attributes
    ----------
    estimate
        Shape (m,), on the scale 0 to 1.
    covariance
        Shape (m, m).
    df
        Degrees of freedom of each, shape (m,).
    lower, upper, p_value
        Limits, and p-values of differences, of the model's own making, each shape (m,);
        None where they are those of ``estimate`` with ``covariance`` and ``df``. NaN
        where there are none.
    floored
        Whether the limits are those of independent seedlings (``survivor.limits``), shape
        (m,); None: nowhere.
    checks
        What a reader should know of all of them.
    anew
        Gives limits of the model's own making at another level, each of shape (m,).
    """

    estimate: Floats
    covariance: Floats
    df: Floats
    lower: Floats | None = None
    upper: Floats | None = None
    p_value: Floats | None = None
    floored: NDArray[np.bool_] | None = None
    checks: tuple[str, ...] = ()
    anew: Callable[[float], tuple[Floats, Floats]] | None = None

    @classmethod
    def of(cls, estimate: Floats, errors: Errors) -> Estimates:
        """Estimates whose limits rest on ``errors``."""
        return cls(estimate, errors.covariance, errors.df, floored=errors.floored)

    @property
    def std_error(self) -> Floats:
        """Standard errors, shape (m,)."""
        return root_of_diagonal(self.covariance)

    def limits_of_survival(self, effective: Floats, level: float = CONFIDENCE) -> Limits:
        """Limits of averages of survival: the model's own, else ``survivor.limits.survival_limits``.

        ``effective``: effective number of seedlings behind each, for limits at 0 or 100 %.
        """
        usual = survival_limits(self.estimate, self.std_error, self.df, effective, level)
        if self.lower is None or self.upper is None:
            return usual
        own = np.isfinite(self.lower) & np.isfinite(self.upper)
        lower, upper = self._own(level)
        return Limits(np.where(own, lower, usual.lower), np.where(own, upper, usual.upper), usual.edge & ~own)

    def _own(self, level: float) -> tuple[Floats, Floats]:
        """Limits of the model's own making; NaN where there are none at this level."""
        assert self.lower is not None
        assert self.upper is not None
        if level == CONFIDENCE or self.anew is None:
            return self.lower, self.upper
        return self.anew(level)

    def limits_of_differences(self, level: float = CONFIDENCE) -> tuple[Floats, Floats, Floats]:
        """Limits and p-value of each difference of survival: the model's own where it has some, else by t.

        Limits by t end at the largest difference that can be, all against none.
        """
        width = half_width(self.std_error, self.df, level)
        lower, upper = np.clip((self.estimate - width, self.estimate + width), -1.0, 1.0)
        usual = lower, upper, t_test(self.estimate, self.std_error, self.df)
        if self.lower is None or self.upper is None or self.p_value is None:
            return usual
        own = np.isfinite(self.lower) & np.isfinite(self.upper) & np.isfinite(self.p_value)
        lower, upper, p_value = (
            np.where(own, mine, by_t)
            for mine, by_t in zip((*self._own(level), self.p_value), usual, strict=True)
        )
        return lower, upper, p_value

    def said(self, names: Sequence[object]) -> list[str]:
        """Say what a reader should know of them, and which have the limits of independent seedlings."""
        return [*self.checks, *([] if self.floored is None else said_of_floor(names, self.floored))]


class Predicted(Protocol):
    """Survival of cells at the estimate of a fit, and weighted sums of it with their derivative."""

    def alive(self, cells: pd.DataFrame, at: float) -> Floats:
        """Survival of each cell, shape (n,)."""
        ...

    def averages(self, cells: pd.DataFrame, weights: Floats, at: float) -> tuple[Floats, Floats]:
        """Weighted sums, weights (m, n), and their derivative in all parameters, shape (m, p)."""
        ...


class Engine(Protocol):
    """What a model knows after fitting: averages of survival, and tests of its terms."""

    def average(self, cells: pd.DataFrame, weights: Floats, at: float) -> Estimates:
        """Weighted sums of survival from planting to ``at``, with their covariance."""
        ...

    def wald(self, terms: Sequence[int]) -> WaldTest:
        """Test that the coefficients at these places in the table are all zero."""
        ...

    def errors(self, picks: Floats) -> Errors:
        """Return what limits of combinations of the coefficients rest on, shape (m, q)."""
        ...


@dataclass(frozen=True)
class DeltaEngine:
    """Averages by the delta method around one vector of parameters.

    ``offset`` is where the formula's terms start in the parameters.
    """

    parameters: Floats
    covariance: Sandwich
    survival: Predicted
    offset: int
    fitted: Arranged | None = None

    def average(self, cells: pd.DataFrame, weights: Floats, at: float) -> Estimates:
        """Weighted sums of survival with delta-method covariance; see ``Fit.average_survival``."""
        averages, gradient = self.survival.averages(cells, weights, at)
        return Estimates.of(averages, self.covariance.errors(gradient))

    def wald(self, terms: Sequence[int]) -> WaldTest:
        """F test of the coefficients at these places."""
        contrasts = np.zeros((len(terms), len(self.parameters)))
        for row, term in enumerate(terms):
            contrasts[row, self.offset + term] = 1.0
        return self.covariance.wald(contrasts, self.parameters)

    def errors(self, picks: Floats) -> Errors:
        """Return what limits of combinations of the coefficients rest on."""
        return self.covariance.errors(self._padded(picks))

    def joint(self, picks: Floats, against: Floats) -> WaldTest:
        """F test that combinations of the coefficients are ``against``, shape (m,)."""
        contrasts = self._padded(picks)
        return self.covariance.wald(contrasts, self.parameters - np.linalg.pinv(contrasts) @ against)

    def _padded(self, picks: Floats) -> Floats:
        found = np.zeros((len(picks), len(self.parameters)))
        found[:, self.offset : self.offset + picks.shape[1]] = picks
        return found


@dataclass(frozen=True, repr=False)
class Fitted:
    """The values of a fit, each told by ``survivor.models.result.Fit``."""

    model: str
    formula: str
    variance: str
    at: float | None
    table: pd.DataFrame
    log_likelihood: float
    n_seedlings: int
    n_died: int
    n_plots: int
    n_sites: int
    noticed: tuple[str, ...]
    data: pd.DataFrame = field(repr=False)
    cluster: tuple[str, ...]
    strata: tuple[str, ...]
    n_clusters: int
    variables: tuple[str, ...]
    engine: Engine = field(repr=False)
    by_period: str | None = field(default=None, kw_only=True)  # after the fields of models that add some
    working: Working = field(default="independence", kw_only=True)
    correlation: float | None = field(default=None, kw_only=True)
    weights: str | None = field(default=None, kw_only=True)
    looks: Callable[[Any], tuple[str, ...]] | None = field(default=None, kw_only=True, repr=False)

    @property
    def checks(self) -> tuple[str, ...]:
        """Plain sentences; see ``survivor.models.result.Fit``."""
        return self.noticed

    @cached_property
    def ratio_tests(self) -> dict[str, WaldTest | None]:
        """Tests of one ratio all season made so far, by column: each takes another fit, so it is kept."""
        return {}

    @cached_property
    def _made(self) -> dict[Any, Any]:
        return {}

    def __getstate__(self) -> dict[str, Any]:
        """Leave out what can be made again."""
        return {name: value for name, value in self.__dict__.items() if name != "_made"}

    def average_survival(self, cells: pd.DataFrame, weights: Floats, at: float) -> Estimates:
        """Weighted sums of predicted survival from planting to day ``at``.

        Parameters
        ----------
        cells
            n rows with the formula's columns, the strata and, where pieces follow
            the season, ``planted_date``.
        weights
            Shape (m, n); each row one combination, for example an average or a difference.
        at
            Days since planting, within the days that the visits cover.

        Raises
        ------
        ModelError
            When ``at`` lies beyond the last visit, or is not the day of a logistic fit.
        """
        refuse_told(self.engine, "survival")
        at = amount(at, "at", ModelError, "give days since planting, for example 365")
        if self.at is not None and at != self.at:
            raise ModelError(
                f"this logistic fit speaks of day {self.at:g} only, not of day {at:g}",
                where="at",
                mend=f"fit again with at={at:g}",
            )
        last = float(self.data["stop_day"].max())
        if self.at is None and not 0 < at <= last:
            raise ModelError(
                f"day {at:g} is outside the days seen (0 to {last:g})",
                where="at",
                mend="ask for a day within them",
            )
        if not isinstance(cells, pd.DataFrame):
            what = f"cells are a table, not {type(cells).__name__}"
            raise ModelError(what, where="cells", mend="give a row a cell, with the formula's columns")
        shares = np.atleast_2d(numbers(weights, "weights", ModelError, "give numbers, shape (m, n)"))
        if shares.ndim != 2 or shares.shape[1] != len(cells):
            raise ModelError(
                f"weights of shape {shares.shape} do not go with {len(cells)} cells",
                where="weights",
                mend="give one weight a cell, shape (m, n)",
            )
        return self.engine.average(cells, shares, at)


def once(fit: object, key: Any, make: Callable[[], T]) -> T:
    """Give what was made of a fit under a key before, else make it.

    Made anew of what only looks like a fit, and of a key that cannot be one, which ``make`` refuses.
    """
    try:
        hash(key)
    except TypeError:
        return make()
    if not isinstance(fit, Fitted):
        return make()
    if key not in fit._made:
        fit._made[key] = make()
    found: T = fit._made[key]
    return found
