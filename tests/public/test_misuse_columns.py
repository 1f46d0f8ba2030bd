"""Misuses of columns of every kind, of one plot, of all alive and all dead, of levels, days and limits.

Every line of ``REFUSED`` is a call, the class of its error and words that the text must hold; every line
of ``ANSWERED`` a call that is only unusual and must give the numbers of the plain one.
"""

from __future__ import annotations

import datetime as dt
import decimal
import fractions
from collections.abc import Callable
from typing import Any

import numpy as np
import pandas as pd
import pytest

import survivor
from survivor.errors import (
    CurveError,
    EffectError,
    IntervalsError,
    ModelError,
    PayoffError,
    PoolingError,
    SurvivorError,
)
from tests.public.fitted import COX, CURVES, DIFFERENCES, ONE, SURVIVAL, WITH_Z
from tests.public.making import METHODS, F

NAN = np.nan
FIT, Z = ONE, WITH_Z
C, S, D = CURVES, SURVIVAL, DIFFERENCES
NO_DEATHS = F.assign(died=np.where(F["method"] == "rip", 0, F["died"]))
PENALISED = survivor.fit(NO_DEATHS, "method")
DAYS = pd.DataFrame({"date": pd.date_range("2024-07-06", periods=3), "rain_mm": 1.0, "eto_mm": 2.0})


def but(row: int, column: str, value: Any) -> pd.DataFrame:
    """Frame with one other value."""
    changed = F.astype({column: object})
    changed.loc[row, column] = value
    return changed


def site(**changed: Any) -> pd.DataFrame:
    """One site to order infill for, with something other."""
    row = {"site": ["a"], "planted": [100], "survival": [50.0], "lower": [40.0], "upper": [60.0]}
    return pd.DataFrame(row | changed)


REFUSED: list[tuple[Callable[[], Any], type[SurvivorError], str]] = [
    (
        lambda: survivor.fit(F.assign(start_day=pd.Timestamp("2024-01-01", tz="UTC")), "method"),
        IntervalsError,
        "column start_day: the column is not numeric",
    ),
    (
        lambda: survivor.fit(
            F.assign(
                stop_day=pd.to_timedelta(F["stop_day"], unit="D"),
                start_day=pd.to_timedelta(F["start_day"], unit="D"),
            ),
            "method",
        ),
        IntervalsError,
        "column start_day: the column is not numeric",
    ),
    (
        lambda: survivor.fit(F.assign(stop_day=pd.Period("2024-01")), "method"),
        IntervalsError,
        "column stop_day: the column is not numeric",
    ),
    (
        lambda: survivor.fit(F.assign(z=pd.to_timedelta(F["z"], unit="D")), "method + z"),
        ModelError,
        "column z: z holds neither names nor numbers",
    ),
    (
        lambda: survivor.fit(
            F.assign(
                z=pd.Timestamp("2024-01-01", tz="Australia/Sydney") + pd.to_timedelta(range(48), unit="D")
            ),
            "method + z",
        ),
        ModelError,
        "column z: z holds neither names nor numbers",
    ),
    (
        lambda: survivor.contrasts(survivor.fit(F.assign(method=F["method"] == "rip"), "method")),
        ModelError,
        "column method: method is a column of numbers, and a formula",
    ),
    (
        lambda: survivor.contrasts(
            survivor.fit(F.assign(method=F["method"].cat.codes.astype(float)), "method")
        ),
        ModelError,
        "column method: method is a column of numbers, and a formula",
    ),
    (
        lambda: survivor.fit(but(3, "method", " "), "method"),
        ModelError,
        "column method: 1 of 48 rows have no method",
    ),
    (
        lambda: survivor.fit(but(3, "method", ""), "method"),
        ModelError,
        "column method: 1 of 48 rows have no method",
    ),
    (
        lambda: survivor.fit(but(5, "died", "three"), "method"),
        IntervalsError,
        "row 5, column died: the column is not numeric: three",
    ),
    (
        lambda: survivor.fit(F.assign(died=F["died"].astype("Int64").mask(F.index == 4)), "method"),
        IntervalsError,
        "row 4, column died: the value is blank: nan",
    ),
    (
        lambda: survivor.fit(F.assign(at_risk=np.uint64(2**63)), "method"),
        IntervalsError,
        "row 0, column at_risk: more than can be counted:",
    ),
    (
        lambda: survivor.fit(F.assign(at_risk=1e300), "method"),
        IntervalsError,
        "row 0, column at_risk: more than can be counted: 1e+300",
    ),
    (
        lambda: survivor.fit(F.assign(start_day=-np.inf), "method"),
        IntervalsError,
        "row 0, column start_day: the value is not finite: -inf",
    ),
    (
        lambda: survivor.fit(but(7, "stop_day", NAN), "method"),
        IntervalsError,
        "row 7, column stop_day: the value is blank: nan",
    ),
    (
        lambda: survivor.fit(pd.concat({"a": F}, axis=1), "method"),
        IntervalsError,
        "risk intervals: these columns are needed and absent: start_day,",
    ),
    (
        lambda: survivor.fit(F[F["plot"] == "p0"], "z"),
        ModelError,
        "column z: every row has the same z, 0, so nothing can be",
    ),
    (
        lambda: survivor.fit(F.head(1), "method"),
        ModelError,
        "column method: every row has the same method, usual, so nothing",
    ),
    (
        lambda: survivor.fit(F.assign(died=F["at_risk"]), "method"),
        ModelError,
        "grouped model: wherever seedlings died, all of them died by the",
    ),
    (
        lambda: survivor.fit(F.assign(died=0), "method", model="cox"),
        ModelError,
        "cox model: nobody died, so there is no hazard to compare",
    ),
    (
        lambda: survivor.fit(F.assign(died=F["at_risk"]), "method", model="logistic", at=365),
        ModelError,
        "logistic model: in every stratum everybody is alive, or",
    ),
    (
        lambda: survivor.fit(F.assign(died=0), "method", model="mixed"),
        ModelError,
        "mixed model: nobody died, so there is no hazard to compare",
    ),
    (
        lambda: survivor.compare(F.assign(died=0)),
        ModelError,
        "grouped model: nobody died, so there is no hazard to compare",
    ),
    (lambda: survivor.log_rank(F.assign(died=0)), EffectError, "column died: nobody died"),
    (
        lambda: survivor.log_rank(F[F["start_day"] == 0].assign(died=lambda t: t.at_risk)),
        ModelError,
        "test: the clusters give these terms no variance that a test",
    ),
    (
        lambda: survivor.fit(F.rename(columns={"died": "at_risk", "at_risk": "died"}), "method"),
        IntervalsError,
        "row 23, column at_risk: nobody is at risk: 0",
    ),
    (
        lambda: survivor.curve("method", F),
        IntervalsError,
        "risk intervals: risk intervals are a table (pandas, polars or",
    ),
    (lambda: survivor.payoff({"rip": 3}, FIT), PayoffError, "costs: costs are a dict or a table, not Fit"),
    (
        lambda: Z.predict(300, F.head(2)),
        IntervalsError,
        "risk intervals: risk intervals are a table (pandas, polars or",
    ),
    (lambda: survivor.stems_needed(1000, S), PayoffError, "standard: this takes survival by method, not int"),
    (
        lambda: survivor.pool([0.1, 0.2, 0.3], [9, -4, 2]),
        PoolingError,
        "unit 2: estimate 0.2 with standard error -4 cannot be pooled",
    ),
    (
        lambda: survivor.fit(F.assign(c=F["plot"].where(F.index > 3)), "method", cluster="c"),
        ModelError,
        "column c: 4 rows of 48 have no c, the first in row 0",
    ),
    (
        lambda: survivor.fit(F.assign(c=F["site"].where(F.index > 3)), "method", strata="c"),
        ModelError,
        "column c: 4 rows of 48 have no c, the first in row 0",
    ),
    (
        lambda: survivor.curve(F.assign(c=F["plot"].where(F.index > 3)), by="method", cluster="c"),
        CurveError,
        "column c: 4 rows of 48 have no c, the first in row 0",
    ),
    (
        lambda: survivor.log_rank(F.assign(c=F["site"].where(F.index > 3)), by="c"),
        EffectError,
        "column c: row 0 has no c",
    ),
    (
        lambda: survivor.fit(F, "method", strata="plot"),
        ModelError,
        "formula: auger, rip cannot be distinguished from site and plot",
    ),
    (
        lambda: survivor.fit(F, "method", strata="method"),
        ModelError,
        "formula: auger, rip cannot be distinguished from method levels",
    ),
    (
        lambda: survivor.fit(F, "method", strata="died"),
        ModelError,
        "strata='died': died is what is explained, so it cannot be the",
    ),
    (
        lambda: survivor.fit(F, "method + died"),
        ModelError,
        "method + died: died is what is explained, so it explains nothing",
    ),
    (
        lambda: survivor.fit(F, "method + stop_day"),
        ModelError,
        "grouped model: stop_day cannot be distinguished from the pieces",
    ),
    (
        lambda: survivor.fit(F, "method + plot"),
        ModelError,
        "formula: p17, p23, p7, p8, p9 cannot be distinguished from site",
    ),
    (
        lambda: survivor.fit(F, "method + np.log(z)"),
        ModelError,
        "formula: np.log(z) has no finite value in row 0",
    ),
    (
        lambda: survivor.fit(F.assign(z=F["z"] - 1), "method + np.sqrt(z)"),
        ModelError,
        "formula: np.sqrt(z) has no finite value in row 0",
    ),
    (
        lambda: survivor.fit(F, "method + __import__('os').getpid()"),
        ModelError,
        "method + __import__('os').getpid(): the formula cannot be read:",
    ),
    (
        lambda: survivor.fit(F, "method + (lambda x: x)(z)"),
        ModelError,
        "method + (lambda x: x)(z): the formula cannot be read: Operator",
    ),
    (
        lambda: survivor.fit(F, "method + poly(z, 9)"),
        ModelError,
        "formula: poly(z, 9)[5], poly(z, 9)[6], poly(z, 9)[7], poly(z,",
    ),
    (
        lambda: survivor.fit(F, "method + bs(z, df=40)"),
        ModelError,
        "formula: bs(z, df=40)[1], bs(z, df=40)[2]",
    ),
    (
        lambda: survivor.fit(F, "method:site"),
        ModelError,
        "formula: S1, S2, S3 cannot be distinguished from site levels or",
    ),
    (
        lambda: survivor.fit(F.rename(columns={"z": "weed free"}), "method + weed free"),
        ModelError,
        "method + weed free: the formula cannot be read: Missing",
    ),
    (
        lambda: survivor.fit(F, "~ ~ method"),
        ModelError,
        "~ ~ method: who died is told by the columns at_risk and died,",
    ),
    (lambda: survivor.fit(F, "method | site"), ModelError, "method | site: the formula has several parts"),
    (
        lambda: survivor.fit(F.assign(w=0.0), "method", weights="w"),
        ModelError,
        "column w: row 0 has w 0, and a weight is above 0",
    ),
    (
        lambda: survivor.fit(F.assign(w=np.r_[0.0, np.ones(47)]), "method", weights="w"),
        ModelError,
        "column w: row 0 has w 0, and a weight is above 0",
    ),
    (
        lambda: survivor.fit(F.assign(w=np.r_[NAN, np.ones(47)]), "method", weights="w"),
        ModelError,
        "column w: 1 of 48 rows have no w",
    ),
    (
        lambda: survivor.fit(F.assign(w="a"), "method", weights="w"),
        ModelError,
        "weights='w': w is no column of numbers",
    ),
    (
        lambda: survivor.fit(F.assign(w=np.r_[np.inf, np.ones(47)]), "method", weights="w"),
        ModelError,
        "column w: row 0 has w inf, which is not finite",
    ),
    (
        lambda: survivor.fit(F, "method", weights="w"),
        ModelError,
        "weights='w': the intervals have no column 'w' to use as weights",
    ),
    (
        lambda: survivor.fit(F.assign(o=np.r_[-np.inf, np.zeros(47)]), "method", offset="o"),
        ModelError,
        "column o: row 0 has o -inf, which is not finite",
    ),
    (
        lambda: survivor.fit(F.assign(o=1e6), "method", offset="o"),
        ModelError,
        "offset='o': row 0 has o 1e+06, and no hazard is so many times",
    ),
    (
        lambda: survivor.fit(F.assign(o="a"), "method", offset="o"),
        ModelError,
        "offset='o': o is no column of numbers",
    ),
    (
        lambda: survivor.fit(F.assign(o=0.1), "method", offset="o").predict(F.head(1), 300),
        ModelError,
        "formula: the table has no column o",
    ),
    (lambda: survivor.survival(FIT, level=1), ModelError, "level: 1 is no confidence level"),
    (
        lambda: survivor.survival(FIT, level=decimal.Decimal("0.9")),
        ModelError,
        "level: Decimal('0.9') is no confidence level",
    ),
    (
        lambda: survivor.contrasts(FIT, level=[0.9, 0.99]),
        ModelError,
        "level: [0.9, 0.99] is no confidence level",
    ),
    (
        lambda: survivor.survival(FIT, level=np.array(0.9)),
        ModelError,
        "level: array(0.9) is no confidence level",
    ),
    (
        lambda: survivor.survival(FIT, level=1 - 1e-16),
        SurvivorError,
        "level: 0.9999999999999999 is not a number that goes here",
    ),
    (
        lambda: survivor.survival(FIT, at=365.0001),
        EffectError,
        "at=365.0001: day 365.0001 is not within the days that were",
    ),
    (
        lambda: survivor.survival(FIT, at=decimal.Decimal(365)),
        EffectError,
        "at=Decimal('365'): Decimal('365') is no number of days since",
    ),
    (
        lambda: survivor.survival(FIT, at=dt.date(2024, 1, 1)),
        EffectError,
        "at=datetime.date(2024, 1, 1): datetime.date(2024, 1, 1) is no",
    ),
    (
        lambda: survivor.survival(FIT, at=pd.Timedelta(365, "D")),
        EffectError,
        "at=Timedelta('365 days 00:00:00'): Timedelta('365 days",
    ),
    (
        lambda: survivor.contrasts(FIT, at=365 + 0j),
        EffectError,
        "at=(365+0j): (365+0j) is no number of days since planting",
    ),
    (lambda: survivor.contrasts(FIT, against=0), EffectError, "against: 0 is not a level of method"),
    (lambda: survivor.contrasts(FIT, against=NAN), EffectError, "against: nan is not a level of method"),
    (
        lambda: survivor.contrasts(FIT, pairs=[("rip", "usual")]),
        EffectError,
        "pairs: pairs=[('rip', 'usual')] is not known",
    ),
    (lambda: survivor.contrasts(FIT, by=None), EffectError, "by=None: None is no column"),
    (
        lambda: survivor.payoff(FIT, {"usual": True, "rip": 4}),
        PayoffError,
        "usual: the cost True is not a number",
    ),
    (
        lambda: survivor.payoff(FIT, pd.DataFrame({"method": ["rip", "rip"], "per_plant": [1, 2]})),
        PayoffError,
        "costs: rip has two costs",
    ),
    (
        lambda: survivor.payoff(FIT, pd.DataFrame({"method": ["rip", None], "per_plant": [1, 2]})),
        PayoffError,
        "costs, column method: row 1 of the table of costs names no",
    ),
    (
        lambda: survivor.payoff(FIT, pd.Series({"rip": 3.0, "usual": 2.0})),
        PayoffError,
        "costs: costs are a dict or a table, not Series",
    ),
    (lambda: survivor.payoff(FIT, {"rip": 3}, currency=3), PayoffError, "currency: 3 is no currency"),
    (
        lambda: survivor.payoff(FIT, {"rip": 3}, seed=None),
        PayoffError,
        "seed: None is not a number that goes here",
    ),
    (
        lambda: survivor.stems_needed(S, 1000, planted=[1, 2, 3]),
        PayoffError,
        "planted: plants put in are a dict, not list",
    ),
    (
        lambda: survivor.stems_needed(S, 1000, planted={"usual": -5}),
        PayoffError,
        "planted['usual']: -5 is not a number that goes here",
    ),
    (
        lambda: survivor.stems_needed(S, 1000, planted={"usual": "many"}),
        PayoffError,
        "planted['usual']: 'many' is not a number that goes here",
    ),
    (
        lambda: survivor.stems_needed(S, 1000, planted={"mulch": 500}),
        PayoffError,
        "planted: 'mulch' is not a level of method",
    ),
    (
        lambda: survivor.infill_order(site(planted=["x"])),
        PayoffError,
        "sites, row 0, column planted: 'x' is not a number that goes here",
    ),
    (
        lambda: survivor.infill_order(site(survival=[150.0])),
        PayoffError,
        "sites, row 0, column survival: 150.0 is not a number that goes",
    ),
    (
        lambda: survivor.infill_order(site(lower=[60.0], upper=[40.0])),
        PayoffError,
        "sites, columns survival, lower and upper: row 0 has survival",
    ),
    (
        lambda: survivor.infill_order(site(planted=[-100])),
        PayoffError,
        "sites, row 0, column planted: -100 is not a number that goes",
    ),
    (
        lambda: survivor.infill_order(site(planted=[NAN])),
        PayoffError,
        "sites, column planted: row 0 has no planted number",
    ),
    (
        lambda: survivor.infill_order(pd.concat([site(), site()], ignore_index=True)),
        PayoffError,
        "sites, column site: row 1 names no site, or one named before: a",
    ),
    (lambda: survivor.median_days(C, 0), CurveError, "share: 0 is no share"),
    (lambda: survivor.median_days(C, [0.4, 0.5]), CurveError, "share: [0.4, 0.5] is no share"),
    (
        lambda: survivor.non_inferiority(D, [1, 2]),
        EffectError,
        "margin: a margin of [1, 2] is no smallest difference that",
    ),
    (
        lambda: survivor.non_inferiority(D, 5, level=0.5),
        EffectError,
        "level: a one-sided level of 0.5 says nothing",
    ),
    (
        lambda: survivor.non_inferiority(survivor.contrasts(PENALISED), 5),
        EffectError,
        "differences: limits of a penalised model are two-sided",
    ),
    (
        lambda: survivor.limits_at(None, 0.9),
        ModelError,
        "result: this takes a result with a table, not NoneType",
    ),
    (
        lambda: survivor.limits_at(survivor.Fit, 0.9),
        ModelError,
        "result: this takes a result with a table, not type",
    ),
    (
        lambda: survivor.limits_at(F["died"], 0.9),
        ModelError,
        "result: this takes a result with a table, not Series",
    ),
    (
        lambda: survivor.limits_at(pd.DataFrame(), 0.9),
        ModelError,
        "result: limits of this result cannot be had at another level:",
    ),
    (lambda: COX.residuals("deviance"), ModelError, "kind: no residuals 'deviance' of this fit"),
    (lambda: COX.residuals(["schoenfeld"]), ModelError, "kind: no residuals ['schoenfeld'] of this fit"),
    (lambda: FIT.residuals(), ModelError, "fit: Schoenfeld residuals are of a Cox fit, not of a grouped one"),
    (
        lambda: survivor.Fit.from_dict(FIT.to_dict()).predict(F.head(1), 300),
        ModelError,
        "fit: a prediction is not among what this fit told when it was",
    ),
    (
        lambda: survivor.Fit.from_dict(COX.to_dict()).residuals(),
        ModelError,
        "fit: a residual is not among what this fit told when it was",
    ),
    (
        lambda: survivor.survival(survivor.Fit.from_dict(FIT.to_dict())),
        ModelError,
        "fit: what is asked is not among what this fit told when it was",
    ),
    (
        lambda: survivor.Fit.from_dict(PENALISED.to_dict()).summary(0.9),
        ModelError,
        "fit: limits by the profile at 90 % is not among what this fit",
    ),
    (
        lambda: survivor.Fit.from_dict("{}"),
        ModelError,
        "from_dict: this takes what Fit.to_dict gave, not str",
    ),
    (
        lambda: survivor.Fit.from_dict(FIT.to_dict() | {"vcov": [[1]]}),
        ModelError,
        "from_dict: its vcov does not go with its table",
    ),
    (
        lambda: survivor.Fit.from_dict(FIT.to_dict() | {"table": None}),
        ModelError,
        "from_dict: its vcov does not go with its table",
    ),
    (
        lambda: survivor.Fit.from_dict(FIT.to_dict() | {"table": "x"}),
        ModelError,
        "from_dict: its table or its vcov cannot be read: DataFrame",
    ),
    (
        lambda: survivor.Fit.from_dict(
            FIT.to_dict()
            | {"table": [{"term": "a", "estimate": "x", "std_error": 1, "df": 1, "variance": "CR2"}]}
        ),
        ModelError,
        "from_dict: its table or its vcov cannot be read: Unable to",
    ),
    (
        lambda: survivor.fit(F, "method", model="cox", by_period="method"),
        ModelError,
        "by_period: cox has one ratio for the whole season",
    ),
    (
        lambda: survivor.fit(F, "method", by_period="site"),
        ModelError,
        "by='site': the formula 'method' does not hold site",
    ),
    (lambda: survivor.fit(F, "method", pieces={180: 1}), ModelError, "pieces: {180: 1} is no list"),
    (
        lambda: survivor.fit(F, "method", pieces=[np.inf]),
        ModelError,
        "pieces: day inf bounds no piece of the records",
    ),
    (
        lambda: Z.predict([{"method": "rip"}], 300),
        IntervalsError,
        "risk intervals: risk intervals are a table (pandas, polars or",
    ),
    (
        lambda: Z.predict(F.iloc[0], 300),
        IntervalsError,
        "risk intervals: risk intervals are a table (pandas, polars or",
    ),
    (
        lambda: Z.predict(F.head(1).assign(z="high"), 300),
        ModelError,
        "prediction: a column is of another kind than in the records",
    ),
    (
        lambda: Z.predict(pd.concat([F.head(1), F[["z"]].head(1)], axis=1), 300),
        IntervalsError,
        "risk intervals: two columns are called z",
    ),
    (lambda: C.at(NAN, "rip"), CurveError, "day: nan is no day"),
    (
        lambda: survivor.curve(F.rename_axis("idx"), by="idx"),
        CurveError,
        "risk intervals: the intervals have no column 'idx' to draw",
    ),
    (
        lambda: survivor.curve(F, estimator="life-table", bands=[-5, 100]),
        CurveError,
        "bands: the ends of the bands do not rise",
    ),
    (
        lambda: survivor.curve(but(5, "plot", ""), by="method"),
        CurveError,
        "column plot: 1 row of 48 have no plot, the first in row 5",
    ),
    (lambda: survivor.curve(F, align=NAN), CurveError, "align = nan days makes no round"),
    (
        lambda: survivor.curve(F, estimator="turnbull").band(),
        CurveError,
        "band of a turnbull curve: no band is known for Turnbull's",
    ),
    (lambda: C.band(seed="x"), CurveError, "seed: 'x' is not a number that goes here"),
    (
        lambda: survivor.log_rank(F, by="start_day"),
        EffectError,
        "column start_day: plot S0 / p0 is of two groups, or lies in two",
    ),
    (
        lambda: survivor.pool([[1, 2], [3, 4]], [[1, 1], [1, 1]]),
        PoolingError,
        "estimates: a list of numbers is needed, not a table of shape",
    ),
    (lambda: survivor.pool([1, 2, 3j], [1, 1, 1]), PoolingError, "estimates: these are not all numbers"),
    (lambda: survivor.pool([], []), PoolingError, "estimates: there are no units: nothing to pool"),
    (lambda: survivor.proportions.newcombe(0, 0, 1, 2), SurvivorError, "0 of 0 is no proportion"),
    (lambda: survivor.e_value(NAN), EffectError, "risk_ratio: a risk ratio of nan has no E-value"),
    (lambda: survivor.e_value(np.inf), EffectError, "risk_ratio: a risk ratio of inf has no E-value"),
    (lambda: survivor.fieller(1, 2, -1, 1), PayoffError, "fieller: a variance below 0"),
    (
        lambda: survivor.dose(FIT, "died"),
        ModelError,
        "died + radius_bend_1: died is what is explained, so it explains",
    ),
    (
        lambda: survivor.dose(FIT, "stop_day"),
        EffectError,
        "column stop_day: within method and site stop_day varies by 0.0",
    ),
    (
        lambda: survivor.dose(survivor.fit(F.assign(q=1.0), "method"), "q"),
        EffectError,
        "column q: within method and site q varies by 0.0 cm only",
    ),
    (
        lambda: survivor.from_first_visit(F.head(0)),
        IntervalsError,
        "risk intervals: there is no risk interval",
    ),
    (
        lambda: survivor.from_first_visit(but(3, "start_day", NAN)),
        IntervalsError,
        "row 3, column start_day: the value is blank: nan",
    ),
    (
        lambda: survivor.like_sites(FIT),
        EffectError,
        "column site: what is expected at similar sites needs 5 sites, and",
    ),
    (
        lambda: survivor.permutation_test(
            survivor.fit(F.assign(b=F["site"].where(F.index > 3)), "method"), blocks="b", draws=20
        ),
        ModelError,
        "column b: 4 rows of 48 have no b, the first in row 0",
    ),
    (
        lambda: survivor.fit(F, "method", cluster=None).lr_test(survivor.fit(F, "method", cluster=None)),
        ModelError,
        "lr_test: 'method' does not lie within 'method'",
    ),
    (
        lambda: FIT.contrast("method[rip] - method[Auger]"),
        ModelError,
        "contrast: no term method[rip] - method[Auger] in this fit, nor",
    ),
    (
        lambda: FIT.contrast("method[rip] * nan"),
        ModelError,
        "contrast: no term method[rip] * nan in this fit, nor a sum of",
    ),
    (
        lambda: FIT.contrast("method[rip] ** 2"),
        ModelError,
        "contrast: no term method[rip] ** 2 in this fit, nor a sum of",
    ),
    (lambda: FIT.test(" ; "), ModelError, "test: no term (none named) in this fit"),
    (
        lambda: survivor.compare(F[F["method"] == "rip"]),
        ModelError,
        "column method: every row has the same method, rip, so nothing",
    ),
    (
        lambda: survivor.compare(F, "z", by="z"),
        EffectError,
        "by='z': z is a column of numbers, and the model takes them as",
    ),
    (
        lambda: survivor.survival(FIT, population=pd.DataFrame({"site": ["S0"], "plants": ["many"]})),
        EffectError,
        "population: the planted numbers cannot be used: plants must be",
    ),
]


@pytest.mark.parametrize(
    ("call", "kind", "words"), REFUSED, ids=[str(place) for place in range(len(REFUSED))]
)
def test_a_misuse_is_refused_with_the_place_and_what_to_do(call, kind, words):
    with pytest.raises(kind) as fault:
        call()
    text = str(fault.value)
    assert words in text
    assert fault.value.mend, text
    assert "np." not in text.replace("np.log", "").replace("np.sqrt", "")
    assert len(text) < 700, text


def test_a_hundred_further_misuses_are_looked_at():
    from tests.public import test_misuse, test_misuse_further

    assert len(REFUSED) >= 100
    before = [line for other in (test_misuse, test_misuse_further) for line in other.REFUSED]
    assert len(before) >= 300


def fit(**columns: Any) -> pd.DataFrame:
    return survivor.fit(F.assign(**columns), "method").table


def one_by_one(kind: Callable[[int], Any], column: str) -> list[Any]:
    """Values of a column as Python's own, one by one."""
    return [kind(int(value)) for value in F[column]]


ANSWERED: list[tuple[str, Callable[[], pd.DataFrame]]] = [
    ("deaths as Decimal", lambda: fit(died=one_by_one(decimal.Decimal, "died"))),
    ("deaths as fractions", lambda: fit(died=one_by_one(fractions.Fraction, "died"))),
    ("days as Decimal", lambda: fit(stop_day=one_by_one(decimal.Decimal, "stop_day"))),
    ("counts as Python's integers", lambda: fit(died=F["died"].astype(object))),
    ("sparse counts", lambda: fit(died=pd.arrays.SparseArray(F["died"]))),
    ("days of half precision", lambda: fit(stop_day=F["stop_day"].astype("float16"))),
    ("days in a tiny unit", lambda: fit(start_day=F["start_day"] * 1e-300, stop_day=F["stop_day"] * 1e-300)),
    ("days in a huge unit", lambda: fit(start_day=F["start_day"] * 1e300, stop_day=F["stop_day"] * 1e300)),
    (
        "an index of categories",
        lambda: survivor.fit(F.set_index(pd.CategoricalIndex(F["plot"])), "method").table,
    ),
    ("an index of blanks", lambda: survivor.fit(F.set_index(pd.Index([NAN] * 48)), "method").table),
    ("a number as name", lambda: survivor.fit(F.rename(columns={"z": 3}), "method").table),
    ("a tuple as name", lambda: survivor.fit(F.rename(columns={"z": ("z", 1)}), "method").table),
    ("no name", lambda: survivor.fit(F.rename(columns={"z": None}), "method").table),
    ("one boundary twice", lambda: survivor.fit(F, "method", pieces=[180, 180]).table),
    ("boundaries as a set", lambda: survivor.fit(F, "method", pieces={180}).table),
    ("plots by number", lambda: survivor.fit(F.assign(c=F.index / 2.0 // 1), "method", cluster="c").table),
    (
        "a first level that no row has",
        lambda: fit(method=F["method"].cat.set_categories(["mulch", *METHODS])),
    ),
    ("saved and read back", lambda: survivor.Fit.from_dict(FIT.to_dict()).table),
]


@pytest.mark.parametrize(("what", "call"), ANSWERED, ids=[what for what, _ in ANSWERED])
def test_what_is_only_unusual_gives_the_same_numbers(what, call):
    found = call()
    for name in ("estimate", "std_error", "df", "lower", "upper", "p_value"):
        np.testing.assert_allclose(found[name], FIT.table[name], rtol=1e-6, err_msg=what)


def test_unusual_covariates_and_arguments_give_the_same_numbers():
    plain = Z.table
    for values in (
        [decimal.Decimal(str(value)) for value in F["z"]],
        [fractions.Fraction(value) for value in F["z"]],
        pd.arrays.SparseArray(F["z"]),
        F["z"].astype(object),
    ):
        found = survivor.fit(F.assign(z=values), "method + z").table
        np.testing.assert_allclose(found["estimate"], plain["estimate"])
    names = F.assign(method=F["method"].astype(object))
    sparse = survivor.fit(names.assign(method=pd.arrays.SparseArray(names["method"])), "method").table
    np.testing.assert_allclose(sparse["estimate"], survivor.fit(names, "method").table["estimate"])
    at = survivor.survival(FIT, at=np.int8(100), level=np.float32(0.9)).table
    np.testing.assert_allclose(
        at["lower"], survivor.survival(FIT, at=100, level=0.9).table["lower"], rtol=1e-5
    )
    costs = {"usual": decimal.Decimal("3"), "rip": 4, "auger": 5}
    own = survivor.payoff(FIT, costs).table["cost_per_established"]
    assert (
        own.tolist()
        == survivor.payoff(FIT, {name: float(cost) for name, cost in costs.items()})
        .table["cost_per_established"]
        .tolist()
    )
    repeated = Z.predict(F.head(3).set_index(pd.Index([1, 1, 1])), 300)
    np.testing.assert_allclose(repeated["estimate"], Z.predict(F.head(3), 300)["estimate"])
    assert repeated.index.tolist() == [1, 1, 1]


def test_bands_of_a_covariate_are_names():
    # pd.cut gives intervals; the bands are levels, as their texts are.
    cut = pd.cut(F["z"], [-1, 0.75, 3])
    found = survivor.fit(F.assign(band=cut), "method + band")
    same = survivor.fit(F.assign(band=cut.astype(str)), "method + band")
    assert found.table["term"].iloc[-1] == "band[T.(0.75, 3.0]]"
    np.testing.assert_allclose(found.table["estimate"], same.table["estimate"])
    told = found.predict(F.head(2).assign(band=cut.head(2)), 300)
    np.testing.assert_allclose(
        told["estimate"], same.predict(F.head(2).assign(band=cut.head(2).astype(str)), 300)["estimate"]
    )


def test_all_alive_and_all_dead_have_curves_of_one_and_nought():
    alive = survivor.curve(F.assign(died=0), by="method").read(365)
    assert set(alive["survival"]) == {1.0}
    assert (alive["lower"] < 1).all()
    first = F[F["start_day"] == 0]
    dead = survivor.curve(first.assign(died=first["at_risk"]), by="method").read(180)
    assert set(dead["survival"]) == {0.0}
    assert (dead["upper"] > 0).all()
    assert survivor.median_days(survivor.curve(F.assign(died=0), by="method")).table["day"].isna().all()
