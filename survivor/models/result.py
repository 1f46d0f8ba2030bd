"""What every model gives back: one frozen ``Fit``, whatever was fitted.

Adjusting p for the number of comparisons.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final, TypeVar

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import stats

from survivor.arrays import Floats
from survivor.errors import ModelError
from survivor.intervals import tally
from survivor.limits import INDEPENDENT, said_of_floor
from survivor.models import inference, predicting
from survivor.models.clusters import Sandwich, WaldTest
from survivor.models.design import Design
from survivor.models.fitted import Arranged, DeltaEngine, Engine, Fitted, Predicted
from survivor.models.likelihood import Solution
from survivor.models.told import read_back, refuse_told
from survivor.shown import tidy
from survivor.vocabulary import CONFIDENCE
from survivor.words import term_words

if TYPE_CHECKING:
    from matplotlib.axes import Axes


@dataclass(frozen=True, repr=False)
class Fit(Fitted):
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
        pseudo-likelihood where rows are weighted (``correlation`` above 0, or ``weights``).
    noticed
        What was decided or noticed while fitting, in sentences.
    data
        The rows fitted.
    by_period
        Column whose levels have a ratio of hazards of their own in each period
        (``survivor.models.by_period``); None where one ratio holds all season.
    working, correlation
        How seedlings of large and small plots are weighted, as asked for, and the
        correlation of seedlings of a plot used for it; None under independence. Counts
        here are those of the records, never weighted.
    weights
        Column by which rows count in the estimate; None where all count alike.
    looks
        What a fit is looked at for when it is asked for ``checks``; None: nothing more.
    """

    @property
    def checks(self) -> tuple[str, ...]:
        """Plain sentences: what was noticed, and whether one ratio of hazards all season holds.

        The latter takes a fit more, once a model, which is why it is made only when asked for.

        Examples
        --------
        >>> survivor.fit(intervals, "method", pieces=[180]).checks
        ('baseline pieces with boundaries at days 180',)
        """
        return (*self.noticed, *(() if self.looks is None else self.looks(self)))

    @property
    def params(self) -> pd.Series[float]:
        """Coefficients by term, on the log scale.

        Examples
        --------
        >>> fit.params.round(2).tolist()
        [-0.36, -0.91, 0.16]
        """
        return self.table.set_index("term")["estimate"].rename("params")

    def vcov(self) -> pd.DataFrame:
        """Covariance of the coefficients, of the kind that ``variance`` names, terms by terms.

        Examples
        --------
        >>> fit.vcov().round(3).loc["z", "z"]
        np.float64(0.019)
        """
        return inference.covariance_of(self)

    def contrast(self, expression: str | Sequence[str], level: float = CONFIDENCE) -> pd.DataFrame:
        """Combine coefficients, with limits, on the log scale and as ratios.

        Parameters
        ----------
        expression
            For example ``"method[rip] - method[auger]"``, or several; the first level of a
            factor is zero, ``= 0.2`` compares with a number.
        level
            Confidence level of the limits.

        Returns
        -------
        DataFrame
            One row an expression: contrast, estimate, std_error, df, lower, upper, p_value,
            variance, hazard_ratio (odds_ratio) with its limits.

        Raises
        ------
        ModelError
            When an expression is no sum of terms of the table.

        Examples
        --------
        >>> fit.contrast("method[rip] - method[auger]")["estimate"].round(3).tolist()
        [-0.551]
        """
        return inference.contrast(self, expression, level)

    def test(self, terms: str | Sequence[str]) -> WaldTest:
        """F test that terms, or combinations of them, are all zero (or what they are said to equal).

        Parameters
        ----------
        terms
            Terms, or expressions as for ``contrast``; in one text parted by ``;``, for example
            ``"method[rip] = method[auger]; z = 0"``.

        Returns
        -------
        WaldTest
            ``statistic, df1, df2, p_value``.

        Raises
        ------
        ModelError
            When a name is not a term of the table.

        Examples
        --------
        >>> round(fit.test("method[rip] = method[auger]; z = 0").p_value, 3)
        0.029
        """
        return inference.joint_test(self, terms)

    def lr_test(self, smaller: Fit) -> inference.LikelihoodRatio:
        """Likelihood-ratio test of a smaller model of the same rows, where seedlings are independent.

        Parameters
        ----------
        smaller
            A fit of the same rows whose terms are some of those of this one.

        Returns
        -------
        LikelihoodRatio
            ``statistic`` (chi-square), ``df, p_value``.

        Raises
        ------
        ModelError
            When plots are clusters (but in a mixed model), rows differ, or one model does not
            lie within the other.

        Examples
        --------
        >>> alone = survivor.fit(intervals, "method", cluster=None)
        >>> round(survivor.fit(intervals, "method + z", cluster=None).lr_test(alone).p_value, 3)
        0.151
        """
        return inference.likelihood_ratio(self, smaller)

    def summary(self, level: float = CONFIDENCE) -> inference.Summary:
        """Tell what was fitted, the coefficients with limits at ``level``, and what was noticed.

        Parameters
        ----------
        level
            Confidence level of the limits.

        Returns
        -------
        Summary
            ``head, table, checks``; prints itself, also as HTML.

        Raises
        ------
        ModelError
            When this is no level, or limits by a profile are asked of a fit read back.

        Examples
        --------
        >>> fit.summary(level=0.9).table[["term", "lower", "upper"]].round(2)
                      term  lower  upper
        0  method[T.auger]  -0.74   0.02
        1    method[T.rip]  -1.34  -0.47
        2                z  -0.09   0.41
        """
        return inference.summary(self, level)

    def glance(self) -> pd.DataFrame:
        """Give one row: counts, log-likelihood and what it is of, AIC where it means something.

        Examples
        --------
        >>> fit.glance()[["n_seedlings", "n_plots", "n_terms", "variance"]]
           n_seedlings  n_plots  n_terms variance
        0          480       24        3      CR2
        """
        return inference.glance(self)

    def baseline(self, level: float = CONFIDENCE) -> pd.DataFrame:
        """Give the hazard of each stratum in each piece where all terms are zero (logistic: the odds).

        Parameters
        ----------
        level
            Confidence level of the limits.

        Returns
        -------
        DataFrame
            The strata's columns, ``piece``, ``hazard`` (deaths a plant and day; ``odds``) with
            ``lower`` and ``upper``, ``log_estimate, std_error, df`` on the log scale, ``unit``. A
            mixed model's are of a plot whose random effects are zero.

        Raises
        ------
        ModelError
            For Cox fits, penalised ones and an unspecified baseline.

        Examples
        --------
        >>> fit.baseline()[["site", "piece", "hazard"]].round(5).head(2)
          site          piece   hazard
        0   S0   day 0 to 180  0.00168
        1   S0  after day 180  0.00181
        """
        return predicting.baseline(self, level)

    def predict(
        self, new: Any, at: float, level: float = CONFIDENCE, plant: str | None = None
    ) -> pd.DataFrame:
        """Survival of plants as given, with limits of the expectation.

        Parameters
        ----------
        new
            One row a plant with the formula's columns, the strata and, where pieces follow the
            season, ``planted_date``. Where a covariate changes between visits, one row a
            stretch, with ``start_day, stop_day``.
        at
            Days since planting.
        level
            Confidence level of the limits.
        plant
            Column that tells plants apart where they have several rows.

        Returns
        -------
        DataFrame
            ``estimate, std_error, df, lower, upper`` per 100, ``unit, at_day``, in the rows of ``new``
            (by plant where they have several).

        Raises
        ------
        ModelError
            When a column is absent or blank, a level or stratum was not in the records, ``at`` lies
            beyond the last visit, or a covariate changes and the stretches of a plant are not given.

        Examples
        --------
        >>> fit.predict(intervals.head(1), at=300)["estimate"].round(1).tolist()
        [59.5]
        """
        return predicting.predict(self, new, at, level, plant)

    def residuals(self, kind: str = "schoenfeld") -> pd.DataFrame:
        """Residuals of a Cox fit, to see whether a ratio changes with age.

        Parameters
        ----------
        kind
            ``schoenfeld``: scaled as coefficients, one row a term and day of death of a stratum; see
            ``survivor.scaled_residuals``. ``survivor.residual_rounds(fit).plot()`` draws them by rounds
            of visits; Pearson and deviance residuals of a grouped fit are in ``survivor.diagnose(fit)``.

        Returns
        -------
        DataFrame
            ``term``, the strata's columns, ``day`` (since planting), ``deaths, residual, scaled``.

        Raises
        ------
        ModelError
            When the fit is of another model, or the kind is none.

        Examples
        --------
        >>> cox = survivor.fit(intervals, "method", model="cox")
        >>> found = cox.residuals("schoenfeld")
        >>> rip = found[found["term"] == "method[T.rip]"]  # deaths average to the coefficient itself
        >>> float(round((rip["scaled"] * rip["deaths"]).sum() / rip["deaths"].sum(), 3))
        -0.901
        """
        return inference.residuals(self, kind)

    def to_dict(self) -> dict[str, Any]:
        """Give all that is told of the fit, as plain values that JSON gives back; blanks are None.

        Examples
        --------
        >>> import json
        >>> saved = json.dumps(fit.to_dict())
        >>> survivor.Fit.from_dict(json.loads(saved)).params.round(3).tolist()
        [-0.355, -0.906, 0.159]
        """
        return inference.as_dict(self)

    @classmethod
    def from_dict(cls, told: Mapping[str, Any]) -> Fit:
        """Read back what ``to_dict`` gave: a fit that tells the same, without its records.

        Summary, one row, covariance, terms and drawing are those of the fit; contrasts where their
        degrees of freedom do not depend on the combination. Survival and ``predict`` are refused:
        their limits rest on what each plot adds to them, which the covariance of the terms does not
        hold. ``pickle`` keeps the whole fit, and that predicts.

        Parameters
        ----------
        told
            What ``to_dict`` gave.

        Returns
        -------
        Fit

        Raises
        ------
        ModelError
            When something of it is absent; later, when the records would be needed.
        """
        fit: Fit = read_back(Fit, told)
        return fit

    def tidy(self) -> pd.DataFrame:
        """Give the table in the columns that all results share; see ``survivor.shown.tidy``.

        Examples
        --------
        >>> fit.tidy()[["group", "estimate", "unit"]].round(2).head(1)
                     group  estimate unit
        0  method[T.auger]     -0.36
        """
        return tidy(self.table)

    def plot(self, ax: Axes | None = None) -> Axes:
        """Draw the coefficients with their limits; returns the Axes."""
        from survivor.figures.hazards import draw_coefficients

        return draw_coefficients(self.table, ax)

    def __repr__(self) -> str:
        return repr(self.summary())

    def _repr_html_(self) -> str:
        return self.summary()._repr_html_()


F = TypeVar("F", bound=Fit)

#: The column of exponentiated coefficients, by what is fitted.
RATIOS: Final = {"hazard": "hazard_ratio", "logit": "odds_ratio"}


@dataclass(frozen=True)
class FitParts:
    """What ways to fit one model give differently; see ``Fit``."""

    variance: str
    table: pd.DataFrame
    log_likelihood: float
    engine: Engine
    checks: list[str]

    def fit(
        self,
        kind: type[F],
        design: Design,
        data: pd.DataFrame,
        checks: Sequence[str],
        counts: dict[str, int] | None = None,
        **others: Any,
    ) -> F:
        """Put a fit together; ``counts`` as by ``survivor.intervals.tally``, None: of ``data``."""
        usual: dict[str, Any] = {"at": None, "cluster": design.cluster, "strata": design.strata}
        usual |= {f"n_{name}": count for name, count in (counts or tally(data)).items()}
        return kind(
            variance=self.variance,
            table=self.table,
            log_likelihood=self.log_likelihood,
            noticed=(*checks, *design.said_of_labels(), *self.checks),
            data=data,
            variables=design.variables,
            engine=self.engine,
            **(usual | others),
        )


def likeliest_parts(
    best: Solution,
    covariance: Sandwich,
    survival: Predicted,
    cluster: Sequence[str],
    terms: Sequence[str],
    fitted: Arranged | None = None,
) -> FitParts:
    """Parts of a fit by maximum likelihood, with a covariance by cluster."""
    kind, parameters, offset = covariance.kind, best.parameters, len(best.parameters) - len(terms)
    errors = covariance.errors(np.eye(len(terms), len(parameters), offset))
    kinds, ratio = errors.kinds(kind), RATIOS[best.link]
    table = coefficient_table(terms, best.beta, errors.std_error, errors.df, kinds, ratio)
    engine = DeltaEngine(parameters, covariance, survival, offset, fitted)
    checks = [*without_limits(table, cluster), *floored_terms(table)]
    return FitParts(kind, table, best.log_likelihood, engine, checks)


def check_fit(fit: object) -> None:
    """Raise unless this is a fitted model."""
    if isinstance(fit, Fit):
        refuse_told(fit.engine, "what is asked")
    if not hasattr(fit, "average_survival"):
        raise ModelError(
            f"this takes a fitted model, not {type(fit).__name__}",
            where="fit",
            mend='fit one first: survivor.fit(intervals, "method")',
        )


def without_limits(table: pd.DataFrame, cluster: Sequence[str]) -> list[str]:
    """Sentences on terms that have an estimate but no standard error."""
    what = cluster[-1] if cluster else "row"
    lost = table.loc[table["std_error"].isna(), "term"]
    return [
        f"no limits for {term_words(term)}: one {what} alone decides it, so its variation is not known"
        for term in lost
    ]


def floored_terms(table: pd.DataFrame) -> list[str]:
    """Sentences on terms whose limits are those of independent seedlings."""
    return said_of_floor(
        [term_words(term) for term in table["term"]], (table["variance"] == INDEPENDENT).to_numpy()
    )


def coefficient_table(
    terms: Sequence[str],
    estimate: Floats,
    std_error: Floats,
    df: Floats,
    variance: str | NDArray[np.str_],
    ratio: str,
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


def holm(p_value: NDArray[np.float64]) -> NDArray[np.float64]:
    """Holm's adjusted p over the comparisons that have one; blank elsewhere.

    Source: Holm (1979), Scandinavian Journal of Statistics 6, 65-70.
    """
    # statsmodels gives the same numbers but collects all garbage at every call: a tenth of a second
    # (tests/benchmarks), and an analysis adjusts dozens of times.
    adjusted = np.full(len(p_value), np.nan)
    there = np.flatnonzero(~np.isnan(p_value))
    ordered = there[np.argsort(p_value[there], kind="stable")]
    steps = p_value[ordered] * np.arange(len(ordered), 0, -1)
    adjusted[ordered] = np.minimum(np.maximum.accumulate(steps), 1.0)
    return adjusted
