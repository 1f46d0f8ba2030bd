"""What can be asked of the coefficients of a fit: combinations, tests, limits at any level, one row of it.

A combination is written with the names of the table: ``"method[rip] - method[auger]"``,
where a level stands for its term (``method[T.rip]``) and the first level for zero, with
numbers, ``*``, ``/`` and brackets. Limits are by the covariance that the fit names, so by
plots where it has clusters.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from html import escape
from typing import Any

import numpy as np
import pandas as pd
from scipy import stats

from survivor.arguments import is_one_of, must_be, several
from survivor.arrays import Floats
from survivor.errors import ModelError
from survivor.limits import Errors, check_level, half_width, t_test, with_level
from survivor.models.clusters import WaldTest, hotelling, squared_length
from survivor.models.expressions import picks_of, terms_there
from survivor.models.fitted import Fitted
from survivor.models.told import Told, plain, refuse_told
from survivor.vocabulary import CONFIDENCE

PENALISED = "penalised"


@dataclass(frozen=True)
class Summary:
    """A fit as it is printed: what was fitted, the coefficients with their limits, and what was noticed.

    Attributes
    ----------
    head
        Sentences on the model and the records.
    table
        Coefficients; see ``Fit.table``.
    checks
        What was decided or noticed while fitting.
    """

    head: tuple[str, ...]
    table: pd.DataFrame
    checks: tuple[str, ...]

    def __repr__(self) -> str:
        said = [f"- {check}" for check in self.checks]
        return "\n".join([*self.head, self.table.to_string(index=False), *said])

    def _repr_html_(self) -> str:
        head = "".join(f"<p>{escape(line)}</p>" for line in self.head)
        said = "".join(f"<li>{escape(check)}</li>" for check in self.checks)
        return f"{head}{self.table.to_html(index=False)}" + (f"<ul>{said}</ul>" if said else "")


def summary(fit: Fitted, level: float = CONFIDENCE) -> Summary:
    """See ``Fit.summary``."""
    check_level(level)
    rows = "rows, taken as independent" if not fit.cluster else f"{fit.cluster[-1]}s"
    named = f"at day {fit.at:g}, " if fit.at is not None else ""
    head = (
        f"{fit.model} fit of {fit.formula!r}: {named}{fit.n_seedlings} seedlings, {fit.n_died} died, "
        f"{fit.n_plots} plots, {fit.n_sites} sites",
        f"limits by {fit.variance}{_of_what(fit)}, {fit.n_clusters} {rows}, {100 * level:g}%",
    )
    return Summary(head, limits_at(fit, level), fit.checks)


def _of_what(fit: Fitted) -> str:
    """Say which information limits with independent rows rest on: models have three kinds."""
    if fit.variance == "model":
        return " (information of the partial likelihood)" if fit.model == "cox" else " (expected information)"
    return " (observed information of the profile likelihood)" if fit.variance == "profile" else ""


def limits_at(fit: Fitted, level: float) -> pd.DataFrame:
    """Coefficients with limits at a level."""
    check_level(level)
    table = fit.table.copy()
    if level == CONFIDENCE:
        return table
    if fit.variance == PENALISED:
        table["lower"], table["upper"] = _profiled(fit, np.eye(len(table)), level).T
    else:
        half = half_width(table["std_error"].to_numpy(float), table["df"].to_numpy(float), level)
        table["lower"], table["upper"] = table["estimate"] - half, table["estimate"] + half
    for name in ("hazard_ratio", "odds_ratio"):
        if name in table:
            with np.errstate(over="ignore"):
                table[f"{name}_lower"], table[f"{name}_upper"] = (
                    np.exp(table["lower"]),
                    np.exp(table["upper"]),
                )
    return with_level(table, level)


def _profiled(fit: Fitted, picks: Floats, level: float) -> Floats:
    """Limits of combinations of the coefficients of a penalised fit at a level, shape (m, 2)."""
    refuse_told(fit.engine, f"limits by the profile at {100 * level:g} %")
    engine: Any = fit.engine
    found = engine.at_level(level)
    return np.array([found.profile_limits(pick) for pick in picks], dtype=float).reshape(len(picks), 2)


def covariance_of(fit: Fitted) -> pd.DataFrame:
    """See ``Fit.vcov``."""
    terms = list(fit.table["term"])
    return pd.DataFrame(fit.engine.errors(np.eye(len(terms))).covariance, terms, terms)


def contrast(fit: Fitted, expression: str | Sequence[str], level: float = CONFIDENCE) -> pd.DataFrame:
    """See ``Fit.contrast``."""
    check_level(level)
    asked = several(expression, "contrast", ModelError, terms_there(fit))
    picks, constants = picks_of(fit, asked)
    estimate = picks @ fit.table["estimate"].to_numpy(float) - constants
    errors: Errors = fit.engine.errors(picks)
    half = half_width(errors.std_error, errors.df, level)
    lower, upper, p_value = estimate - half, estimate + half, t_test(estimate, errors.std_error, errors.df)
    if fit.variance == PENALISED:
        lower, upper = (_profiled(fit, picks, level) - constants[:, None]).T
        engine: Any = fit.engine
        p_value = np.array(
            [
                engine.joint(pick[None], np.array([c])).p_value
                for pick, c in zip(picks, constants, strict=True)
            ]
        )
    ratio = "odds_ratio" if "odds_ratio" in fit.table else "hazard_ratio"
    with np.errstate(over="ignore"):
        ratios = np.exp([estimate, lower, upper])
    table = pd.DataFrame(
        {
            "contrast": asked,
            "estimate": estimate,
            "std_error": errors.std_error,
            "df": errors.df,
            "lower": lower,
            "upper": upper,
            "p_value": p_value,
            "variance": errors.kinds(fit.variance),
            ratio: ratios[0],
            f"{ratio}_lower": ratios[1],
            f"{ratio}_upper": ratios[2],
        }
    )
    return with_level(table, level)


def joint_test(fit: Fitted, asked: str | Sequence[str]) -> WaldTest:
    """See ``Fit.test``."""
    given = asked.split(";") if isinstance(asked, str) else asked
    parts = [str(part).strip() for part in several(given, "test", ModelError, terms_there(fit))]
    if not [part for part in parts if part]:
        raise ModelError("no term (none named) in this fit", where="test", mend=terms_there(fit))
    known = list(fit.table["term"])
    if all(part in known for part in parts):
        return fit.engine.wald([known.index(part) for part in parts])
    picks, constants = picks_of(fit, parts)
    if np.linalg.matrix_rank(picks) < len(picks):
        raise ModelError(
            "these say the same twice, or nothing",
            where="test",
            mend="leave out what follows from the others",
        )
    refuse_told(fit.engine, "a test of combinations")
    if hasattr(fit.engine, "joint"):
        engine: Any = fit.engine
        found: WaldTest = engine.joint(picks, constants)
        return found
    value = picks @ fit.table["estimate"].to_numpy(float) - constants
    errors = fit.engine.errors(picks)
    df, count = float(np.min(errors.df)), len(picks)
    if fit.variance == "jackknife":
        return hotelling(value, errors.covariance, df)
    quadratic = squared_length(value, errors.covariance)
    p_value = stats.chi2.sf(quadratic, count) if np.isinf(df) else stats.f.sf(quadratic / count, count, df)
    return WaldTest(quadratic / count, count, df, float(p_value))


def likelihood_words(fit: Fitted) -> str:
    """Say what the log-likelihood is of."""
    if fit.model == "cox":
        return "partial likelihood, Efron's ties"
    effects = ", random effects integrated out" if fit.model == "mixed" else ""
    penalty = ", without the penalty, at the penalised estimate" if fit.variance == PENALISED else ""
    weights = ", rows weighted" if fit.correlation or fit.weights else ""
    return f"binomial counts of the rows as given{effects}{weights}{penalty}"


def residuals(fit: Fitted, kind: str) -> pd.DataFrame:
    """See ``Fit.residuals``."""
    if not is_one_of(kind, ("schoenfeld",)):
        raise ModelError(
            f"no residuals {kind!r} of this fit",
            where="kind",
            mend='give "schoenfeld"; Pearson and deviance residuals: survivor.diagnose(fit).residuals',
        )
    refuse_told(fit.engine, "a residual")
    engine: Any = fit.engine
    if not hasattr(engine, "residuals"):
        raise ModelError(
            f"Schoenfeld residuals are of a Cox fit, not of a {fit.model} one",
            where="fit",
            mend='fit with model="cox"; of a grouped fit: survivor.diagnose(fit).residuals',
        )
    found: pd.DataFrame = engine.residuals()
    return found


def n_parameters(fit: Fitted) -> int | None:
    """Count parameters of the likelihood; None where they are not counted."""
    engine: Any = fit.engine
    if isinstance(engine, Told):
        return engine.n_parameters
    if fit.variance == PENALISED:
        return None
    if fit.model == "cox":
        return len(fit.table)
    if fit.model == "mixed":
        found = engine.solution
        return int(sum(len(getattr(found, name)) for name in ("level", "alpha", "beta")) + found.free.sum())
    return len(engine.parameters) if hasattr(engine, "parameters") else None


def aic(fit: Fitted) -> float | None:
    """Akaike's criterion; None where the likelihood is of independent seedlings and plots differ."""
    if isinstance(fit.engine, Told):
        return fit.engine.aic
    count = n_parameters(fit)
    if count is None or fit.correlation or getattr(fit, "restricted", False):
        return None
    return 2 * count - 2 * fit.log_likelihood if not fit.cluster or fit.model == "mixed" else None


def glance(fit: Fitted) -> pd.DataFrame:
    """See ``Fit.glance``."""
    meant = aic(fit)
    return pd.DataFrame(
        {
            "model": [fit.model],
            "formula": [fit.formula],
            "n_seedlings": [fit.n_seedlings],
            "n_died": [fit.n_died],
            "n_plots": [fit.n_plots],
            "n_sites": [fit.n_sites],
            "n_clusters": [fit.n_clusters],
            "n_terms": [len(fit.table)],
            "n_parameters": pd.array([n_parameters(fit)], dtype="Int64"),
            "variance": [fit.variance],
            "log_likelihood": [fit.log_likelihood],
            "likelihood": [likelihood_words(fit)],
            "aic": [np.nan if meant is None else meant],
        }
    )


@dataclass(frozen=True)
class LikelihoodRatio:
    """A likelihood-ratio test of a smaller model within a larger: chi-square, its df and p."""

    statistic: float
    df: int
    p_value: float


def likelihood_ratio(larger: Fitted, smaller: Fitted) -> LikelihoodRatio:
    """See ``Fit.lr_test``."""
    for one in (larger, smaller):
        mend = "give the fit of a smaller model of the same rows"
        must_be(one, Fitted, "a fitted model", "lr_test", ModelError, mend)
        refuse_told(one.engine, "a likelihood-ratio test")
    mend = "use fit.test(...), whose limits are by plot"
    if (
        larger.model != smaller.model
        or larger.strata != smaller.strata
        or larger.by_period != smaller.by_period
    ):
        raise ModelError("the two fits are of different models", where="lr_test", mend="fit both alike")
    for one in (larger, smaller):
        if one.variance == PENALISED or getattr(one, "restricted", False) or n_parameters(one) is None:
            raise ModelError("one of the fits is not by maximum likelihood", where="lr_test", mend=mend)
        if one.correlation or (one.cluster and one.model != "mixed"):
            raise ModelError(
                "a likelihood ratio takes seedlings as independent, and these stand in plots",
                where="lr_test",
                mend=f"{mend}; or fit with cluster=None, or a mixed model",
            )
    rows = [
        one.data[["start_day", "stop_day", "at_risk", "died"]].to_numpy(float) for one in (larger, smaller)
    ]
    if rows[0].shape != rows[1].shape or not np.array_equal(rows[0], rows[1]):
        raise ModelError(
            "the two fits are of different rows, so their likelihoods cannot be compared",
            where="lr_test",
            mend="fit both to the same table, in the same order",
        )
    apart = set(smaller.variables) - set(larger.variables)
    df = (n_parameters(larger) or 0) - (n_parameters(smaller) or 0)
    if apart or df <= 0:
        raise ModelError(
            f"{smaller.formula!r} does not lie within {larger.formula!r}",
            where="lr_test",
            mend="give the smaller model, whose terms the larger holds too, with the same pieces",
        )
    statistic = 2 * (larger.log_likelihood - smaller.log_likelihood)
    return LikelihoodRatio(statistic, df, float(stats.chi2.sf(max(statistic, 0.0), df)))


def as_dict(fit: Fitted) -> dict[str, Any]:
    """See ``Fit.to_dict``."""
    values = ("model", "formula", "variance", "at", "by_period", "working", "correlation", "weights")
    counts = ("log_likelihood", "n_seedlings", "n_died", "n_plots", "n_sites", "n_clusters")
    names = (*values, *counts, "cluster", "strata", "variables", "checks")
    found: dict[str, Any] = {name: getattr(fit, name) for name in names}
    found |= {"likelihood": likelihood_words(fit), "n_parameters": n_parameters(fit), "aic": aic(fit)}
    found |= {"table": fit.table.to_dict("records"), "vcov": covariance_of(fit).to_numpy().tolist()}
    given: dict[str, Any] = plain(found)
    return given
