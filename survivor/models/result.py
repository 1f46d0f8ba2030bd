"""What every model gives back: one frozen ``Fit``, whatever was fitted."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Protocol

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import stats

from survivor.errors import ModelError
from survivor.models.clusters import Sandwich, WaldTest
from survivor.vocabulary import CONFIDENCE

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from survivor.models.working import Working

Floats = NDArray[np.float64]


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
    """

    estimate: Floats
    covariance: Floats
    df: Floats
    lower: Floats | None = None
    upper: Floats | None = None
    p_value: Floats | None = None

    @property
    def std_error(self) -> Floats:
        """Standard errors, shape (m,)."""
        found: Floats = np.sqrt(np.maximum(np.diag(self.covariance), 0.0))
        return found


class Engine(Protocol):
    """What a model knows after fitting: averages of survival, and tests of its terms."""

    def average(self, cells: pd.DataFrame, weights: Floats, at: float) -> Estimates:
        """Weighted sums of survival from planting to ``at``, with their covariance."""
        ...

    def without_each(self, cells: pd.DataFrame, weights: Floats, at: float) -> Floats:
        """Weighted sums of survival from the model fitted without each cluster."""
        ...

    def wald(self, terms: Sequence[int]) -> WaldTest:
        """Test that the coefficients at these places in the table are all zero."""
        ...


@dataclass(frozen=True)
class DeltaEngine:
    """Averages by the delta method around one vector of parameters.

    ``survival(cells, at)`` returns survival, shape (n,), and its derivative in all
    parameters, shape (n, p). ``offset`` is where the formula's terms start in them.
    """

    parameters: Floats
    covariance: Sandwich
    survival: Callable[[pd.DataFrame, float], tuple[Floats, Floats]]
    offset: int
    refits: Callable[[pd.DataFrame, Floats, float], Floats] | None = None

    def average(self, cells: pd.DataFrame, weights: Floats, at: float) -> Estimates:
        """Weighted sums of survival with delta-method covariance; see ``Fit.average_survival``."""
        predicted, derivative = self.survival(cells, at)
        gradient = weights @ derivative
        return Estimates(
            weights @ predicted,
            self.covariance.covariance_of(gradient),
            self.covariance.degrees(gradient),
        )

    def without_each(self, cells: pd.DataFrame, weights: Floats, at: float) -> Floats:
        """Weighted sums of survival from the model fitted without each cluster."""
        if self.refits is None:
            raise ModelError(
                "this model does not give itself without each cluster",
                where="jackknife",
                mend='use model="grouped"',
            )
        return self.refits(cells, weights, at)

    def wald(self, terms: Sequence[int]) -> WaldTest:
        """F test of the coefficients at these places."""
        contrasts = np.zeros((len(terms), len(self.parameters)))
        for row, term in enumerate(terms):
            contrasts[row, self.offset + term] = 1.0
        return self.covariance.wald(contrasts, self.parameters)


@dataclass(frozen=True)
class FitParts:
    """What ways to fit one model give differently; see ``Fit``."""

    variance: str
    table: pd.DataFrame
    log_likelihood: float
    engine: Engine
    checks: list[str]


@dataclass(frozen=True, repr=False)
class Fit:
    """A fitted model.

    Attributes
    ----------
    model
        ``grouped``, ``cox``, ``logistic`` or ``mixed``.
    formula
        As given.
    variance
        ``CR2``, ``CR1``, ``CR0``, ``jackknife``, ``observed information`` (mixed),
        ``model`` where rows are independent, ``profile`` (the same with an unspecified
        baseline), or ``penalised`` where nobody, or
        everybody, died at a level of a term: profile limits widened by the design
        effect of the other arms.
    at
        Day since planting of a logistic fit, or a mixed one of odds; None for the others.
    table
        One row a term: term, estimate, std_error, df, lower, upper, p_value,
        variance, and hazard_ratio (odds_ratio) with its limits. Estimates are on
        the log scale; limits are two-sided 95 %, from t on ``df``. Frozen is which
        table it is, not what stands in it: take a ``.copy()`` to change it.
    log_likelihood
        With the binomial constant; Cox: partial. Mixed: effects integrated out. A
        pseudo-likelihood where plots are weighted (``correlation`` above 0).
    checks
        What was decided or noticed while fitting, in sentences.
    data
        The rows fitted.
    by_period
        Column whose levels have a ratio of hazards of their own in each period
        (``survivor.models.varying``); None where one ratio holds all season.
    working, correlation
        How seedlings of large and small plots are weighted, as asked for, and the
        correlation of seedlings of a plot used for it; None under independence. Counts
        here are those of the records, never weighted.
    """

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
    checks: tuple[str, ...]
    data: pd.DataFrame = field(repr=False)
    cluster: tuple[str, ...]
    strata: tuple[str, ...]
    n_clusters: int
    variables: tuple[str, ...]
    engine: Engine = field(repr=False)
    by_period: str | None = field(default=None, kw_only=True)  # after the fields of models that add some
    working: Working = field(default="independence", kw_only=True)
    correlation: float | None = field(default=None, kw_only=True)

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
        return self.engine.average(cells, np.atleast_2d(weights), at)

    def without_each_cluster(self, cells: pd.DataFrame, weights: Floats, at: float) -> Floats:
        """Weighted sums of survival from the model fitted again without each cluster.

        For quantities that are no smooth function of the estimates, such as the radius
        at which a gain stops paying: their jackknife limits come from these.

        Parameters
        ----------
        cells, weights, at
            As for ``average_survival``.

        Returns
        -------
        ndarray
            Shape (clusters, m).
        """
        return self.engine.without_each(cells, np.atleast_2d(weights), at)

    def test(self, terms: Sequence[str]) -> WaldTest:
        """F test that the named coefficients are all zero.

        Raises
        ------
        ModelError
            When a name is not a term of the table.
        """
        known = list(self.table["term"])
        absent = [term for term in terms if term not in known]
        if absent or not terms:
            raise ModelError(
                f"no term {', '.join(absent) or '(none named)'} in this fit",
                where="test",
                mend=f"terms: {', '.join(known)}",
            )
        return self.engine.wald([known.index(term) for term in terms])

    def plot(self, ax: Axes | None = None) -> Axes:
        """Draw the coefficients with their limits; returns the Axes."""
        from survivor.figures.fit import draw_coefficients

        return draw_coefficients(self.table, ax)

    def __repr__(self) -> str:
        head = (
            f"{self.model} fit of {self.formula!r}: {self.n_seedlings} seedlings, {self.n_died} died, "
            f"{self.n_plots} plots, {self.n_sites} sites; limits by {self.variance}, "
            f"{self.n_clusters} clusters"
        )
        return f"{head}\n{self.table.to_string(index=False)}"

    def _repr_html_(self) -> str:
        html: str = self.table.to_html(index=False)
        return html


def without_limits(table: pd.DataFrame, cluster: Sequence[str]) -> list[str]:
    """Sentences on terms that have an estimate but no standard error."""
    what = cluster[-1] if cluster else "row"
    lost = table.loc[table["std_error"].isna(), "term"]
    return [
        f"no limits for {term}: one {what} alone decides it, so its variation cannot be told" for term in lost
    ]


def coefficient_table(
    terms: Sequence[str], estimate: Floats, std_error: Floats, df: Floats, variance: str, ratio: str
) -> pd.DataFrame:
    """Terms with limits and p-values from t on ``df``; ``ratio`` names the exponentiated column."""
    quantile = stats.t.ppf((1 + CONFIDENCE) / 2, df)
    with np.errstate(divide="ignore", invalid="ignore"):
        p_value = 2 * stats.t.sf(np.abs(estimate / std_error), df)
    lower, upper = estimate - quantile * std_error, estimate + quantile * std_error
    with np.errstate(over="ignore"):  # in a very small unit a ratio is beyond all numbers
        ratios = np.exp([estimate, lower, upper])
    columns: dict[str, Any] = {
        "term": list(terms),
        "estimate": estimate,
        "std_error": std_error,
        "df": df,
        "lower": lower,
        "upper": upper,
        "p_value": p_value,
        "variance": variance,
        ratio: ratios[0],
        f"{ratio}_lower": ratios[1],
        f"{ratio}_upper": ratios[2],
    }
    return pd.DataFrame(columns)
