"""A fit read back from what it told: its table, covariance and counts, without its records.

What these alone decide is answered as before: summary, one row, covariance, terms and, where degrees of
freedom do not depend on the combination, contrasts and tests. All else needs the records and says so: how
sure a survival, or a combination of terms, is rests on what each plot adds to it (CR2, jackknife), which the
covariance of the terms does not hold. Pickle keeps that, and predicts.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields
from typing import Any, Final, NoReturn

import numpy as np
import pandas as pd
from scipy import stats

from survivor.arguments import must_be
from survivor.arrays import Floats
from survivor.errors import ModelError
from survivor.limits import Errors
from survivor.models.clusters import WaldTest, squared_length

_MEND: Final = "fit the model again to the records, or keep the whole fit with pickle"
_ENDLESS: Final = {"inf": np.inf, "-inf": -np.inf}


@dataclass(frozen=True)
class Told:
    """What was told of the coefficients: covariance (q, q), degrees of freedom and kinds (q,), and more.

    ``n_parameters`` and ``aic`` are None where they are not told.
    """

    estimate: Floats
    covariance: Floats
    df: Floats
    variance: str
    floored: Floats
    n_parameters: int | None
    aic: float | None

    def errors(self, picks: Floats) -> Errors:
        """Return what limits of combinations rest on: of terms alone, or where all share their freedom."""
        single = (np.count_nonzero(picks, axis=1) == 1).all()
        used = picks.any(axis=0)
        # Normal limits, and those of a jackknife of one number of freedoms, go for every combination.
        shared = np.isinf(self.df[used]).all() or (
            self.variance == "jackknife" and np.ptp(self.df[used]) == 0
        )
        if not single and (not shared or self.floored[used].any()):
            _refuse(f"limits by {self.variance} of a combination of terms")
        which = np.abs(picks).argmax(axis=1)
        return Errors(picks @ self.covariance @ picks.T, self.df[which], self.floored[which].astype(bool))

    def wald(self, terms: Sequence[int]) -> WaldTest:
        """F test of one coefficient, or of several with normal limits."""
        picks = list(terms)
        if len(picks) > 1 and not np.isinf(self.df[picks]).all():
            _refuse("a test of several terms")
        if self.variance == "penalised":
            _refuse("a test by the profile")
        quadratic = squared_length(self.estimate[picks], self.covariance[np.ix_(picks, picks)])
        df, count = float(self.df[picks[0]]), len(picks)
        f = quadratic / count
        p_value = stats.chi2.sf(quadratic, count) if np.isinf(df) else stats.f.sf(f, count, df)
        return WaldTest(f, count, df, float(p_value))

    def average(self, cells: pd.DataFrame, weights: Floats, at: float) -> NoReturn:
        """Refuse: survival needs the records."""
        _refuse("survival")


def _refuse(what: str) -> NoReturn:
    raise ModelError(f"{what} is not among what this fit told when it was saved", where="fit", mend=_MEND)


def refuse_told(engine: object, what: str) -> None:
    """Raise where the engine of a fit was read back without its records."""
    if isinstance(engine, Told):
        _refuse(what)


def plain(value: Any) -> Any:
    """Give plain values that JSON gives back: None for a blank, ``inf`` as text."""
    if isinstance(value, dict):
        return {str(name): plain(part) for name, part in value.items()}
    if isinstance(value, list | tuple):
        return [plain(part) for part in value]
    if isinstance(value, np.generic):
        value = value.item()
    if isinstance(value, float) and np.isinf(value):
        return "inf" if value > 0 else "-inf"
    return None if isinstance(value, float) and np.isnan(value) else value


def read_back(kind: Any, told: Mapping[str, Any]) -> Any:
    """See ``Fit.from_dict``."""
    mend = "give the dict itself, for example json.loads(text)"
    must_be(told, Mapping, "what Fit.to_dict gave", "from_dict", ModelError, mend)
    counts = ("n_seedlings", "n_died", "n_plots", "n_sites", "n_clusters")
    needed = ("model", "formula", "variance", "log_likelihood", "table", "vcov", *counts)
    absent = [name for name in needed if name not in told]
    if absent:
        raise ModelError(
            f"it has no {', '.join(absent)}", where="from_dict", mend="give all of Fit.to_dict()"
        )
    try:
        table = pd.DataFrame(told["table"])
        for name in table.columns.difference(["term", "variance"]):
            table[name] = pd.to_numeric(table[name].map(_number))
        covariance = np.array([[_number(part) for part in row] for row in told["vcov"]], dtype=float)
    except (TypeError, ValueError) as problem:
        raise ModelError(
            f"its table or its vcov cannot be read: {problem}", where="from_dict", mend="give both as told"
        ) from problem
    if covariance.shape != (len(table), len(table)) or not np.allclose(
        covariance, covariance.T, equal_nan=True
    ):
        raise ModelError("its vcov does not go with its table", where="from_dict", mend="give both as told")
    engine = Told(
        table["estimate"].to_numpy(float),
        covariance,
        table["df"].to_numpy(float),
        str(told["variance"]),
        (table["variance"] != told["variance"]).to_numpy(float),
        told.get("n_parameters"),
        told.get("aic"),
    )
    own = {field.name for field in fields(kind)} - {"table", "data", "engine", "looks"}
    values = {name: _number(value) for name, value in told.items() if name in own}
    values |= {name: tuple(told.get(name) or ()) for name in ("cluster", "strata", "variables")}
    values["noticed"] = tuple(told.get("checks") or ())
    return kind(**(values | {"table": table, "data": pd.DataFrame(), "engine": engine}))


def _number(value: Any) -> Any:
    return _ENDLESS.get(value, value) if isinstance(value, str) else value
