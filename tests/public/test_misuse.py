"""What people get wrong in a call: a right answer, or an error that names the place and what to do.

Every line of ``REFUSED`` is a call, the class of its error and words that the text must hold; every
line of ``ANSWERED`` a call that must give the numbers of the plain one.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pandas as pd
import pytest

import survivor
from survivor.errors import CurveError, EffectError, IntervalsError, ModelError, PayoffError, SurvivorError
from tests.public.fitted import ONE as FIT
from tests.public.making import METHODS, F

Frame = pd.DataFrame


def but(row: int, column: str, value: Any) -> Frame:
    """Frame with one other value."""
    changed = F.astype({column: object if isinstance(value, str) or value is None else F[column].dtype})
    if isinstance(value, float) and changed[column].dtype.kind == "i":
        changed[column] = changed[column].astype(float)
    changed.loc[row, column] = value
    return changed


def fits(frame: Any, formula: Any = "method", **options: Any) -> Callable[[], Any]:
    return lambda: survivor.fit(frame, formula, **options)


REFUSED: list[tuple[Callable[[], Any], type[SurvivorError], str]] = [
    # tables
    (fits(None), IntervalsError, "not NoneType"),
    (fits("records.csv"), IntervalsError, "not str"),
    (fits(F.to_dict()), IntervalsError, "not dict"),
    (fits(F.to_numpy()), IntervalsError, "not ndarray"),
    (fits(F["died"]), IntervalsError, "not Series"),
    (fits(F.iloc[:0]), IntervalsError, "there is no risk interval"),
    (fits(F.drop(columns="died")), IntervalsError, "needed and absent: died"),
    (fits(F.rename(columns={"start_day": "start"})), IntervalsError, "needed and absent: start_day"),
    (fits(pd.concat([F, F[["died"]]], axis=1)), IntervalsError, "two columns are called died"),
    (fits(F.assign(died=F["died"].astype(str))), IntervalsError, "column died: the column is not numeric"),
    (fits(F.assign(stop_day=pd.Timestamp("2024-06-01"))), IntervalsError, "column stop_day"),
    (fits(but(3, "died", -1)), IntervalsError, "row 3, column died"),
    (fits(but(3, "died", 99)), IntervalsError, "row 3, column died: more died than were at risk"),
    (fits(but(3, "died", 1.5)), IntervalsError, "row 3, column died: a count of seedlings is whole"),
    (fits(but(3, "died", np.nan)), IntervalsError, "row 3, column died: the value is blank"),
    (fits(but(3, "at_risk", 0)), IntervalsError, "row 3, column at_risk: nobody is at risk"),
    (fits(but(3, "at_risk", np.inf)), IntervalsError, "row 3, column at_risk: the value is not finite"),
    (fits(but(3, "stop_day", 0)), IntervalsError, "row 3, column stop_day"),
    (fits(but(2, "start_day", -3)), IntervalsError, "row 2, column start_day"),
    (fits(F.assign(died=F["died"] / F["at_risk"])), IntervalsError, "give whole seedlings, not shares"),
    (fits(pd.concat([F, F]).assign(tag="t")), IntervalsError, "two intervals of one tag overlap"),
    # places
    (fits(but(5, "plot", None)), ModelError, "column plot: 1 row of 48 have no plot, the first in row 5"),
    (fits(but(5, "plot", "")), ModelError, "column plot"),
    (fits(but(5, "site", None)), ModelError, "column site"),
    (fits(F.drop(columns="plot")), ModelError, "no column 'plot' to use as cluster"),
    (fits(F.drop(columns="site")), ModelError, "no column 'site' to use as strata"),
    (fits(F, cluster="Plot"), ModelError, "cluster"),
    (fits(F, cluster=[]), ModelError, "cluster"),
    (fits(F, strata=["site", "gauge"]), ModelError, "gauge"),
    (fits(F.assign(plot="p", site="s"), strata=None), ModelError, "all seedlings stand in one plot"),
    # formulas
    (fits(F, "died ~ method"), ModelError, 'write "method"'),
    (fits(F, "Surv(stop_day, died) ~ method"), ModelError, 'write "method"'),
    (fits(F, "method - 1"), ModelError, 'write "method"'),
    (fits(F, "0 + method"), ModelError, 'write "method"'),
    (fits(F, "method + "), ModelError, "formula"),
    (fits(F, "method +* z"), ModelError, ""),
    (fits(F, "(method"), ModelError, ""),
    (fits(F, "Method"), ModelError, "the table has no column Method"),
    (fits(F, "sq(z)"), ModelError, "formulas have no function sq"),
    (fits(F, "method + offset(z)"), ModelError, "formulas have no function offset"),
    (fits(F, "method + cr(z, df=3)"), ModelError, 'constraints="center"'),
    (fits(F, "method + site"), ModelError, "cannot be distinguished from site levels"),
    (fits(F, "method + z + I(2 * z)"), ModelError, "cannot be distinguished"),
    (fits(F, 3), ModelError, "a formula is text, not int"),
    (fits(F, ["method"]), ModelError, "a formula is text, not list"),
    (fits(F, None), ModelError, "a formula is text, not NoneType"),
    (fits(F.assign(w=1.0), "method + w"), ModelError, "the same w, 1"),
    (fits(F.assign(w=np.float64(2.5)), "w"), ModelError, "2.5"),
    (fits(but(3, "z", np.inf), "method + z"), ModelError, "column z: row 3 has z inf, which is not finite"),
    (fits(but(3, "z", np.nan), "method + z"), ModelError, "1 of 48 rows have no z"),
    (fits(F.assign(method=F["method"].where(F.index != 2))), ModelError, "1 of 48 rows have no method"),
    (fits(F[F["method"] == "rip"]), ModelError, "every row has the same method, rip"),
    (fits(F.assign(died=0)), ModelError, "died"),
    # options
    (fits(F, model="weibull"), ModelError, "no model 'weibull'"),
    (fits(F, model="logistic"), ModelError, "the logistic model needs a day"),
    (fits(F, model="logistic", at=9000), ModelError, ""),
    (fits(F, model="cox", pieces=[100]), ModelError, "cox has no pieces"),
    (fits(F, model="cox", at=365), ModelError, "at="),
    (fits(F, at=365), ModelError, "at="),
    (fits(F, random="site/plot"), ModelError, "grouped has no random effects"),
    (fits(F, baseline="smooth"), ModelError, "no baseline 'smooth'"),
    (fits(F, baseline="unspecified", pieces=[100]), ModelError, "an unspecified baseline has no pieces"),
    (fits(F, pieces=[-5, 1e9]), ModelError, "day -5"),
    (fits(F, pieces="season"), ModelError, "'season'"),
    (fits(F, pieces=[400]), ModelError, "day 400"),
    (fits(F, working="exchangeable"), ModelError, "working"),
    (fits(F, working=2.0), ModelError, "working"),
    (fits(F, working="plot correlation", cluster=None), ModelError, "working"),
    (fits(F, model="mixed", random="gauge"), ModelError, "gauge"),
    (fits(F, model="mixed", points=0), ModelError, "points"),
    (fits(F, model=survivor.Grouped(), pieces=[100]), ModelError, "pieces="),
    # answers
    (lambda: survivor.survival(F), ModelError, "a fitted model, not DataFrame"),
    (lambda: survivor.contrasts(F), ModelError, "a fitted model, not DataFrame"),
    (lambda: survivor.sensitivity(F), ModelError, "a fitted model, not DataFrame"),
    (lambda: survivor.payoff(F, pd.DataFrame()), SurvivorError, ""),
    (lambda: survivor.permutation_test(F), ModelError, "a fitted model, not DataFrame"),
    (lambda: survivor.within_between(F), SurvivorError, "a fitted model, not DataFrame"),
    (lambda: survivor.like_sites(F), SurvivorError, "a fitted model, not DataFrame"),
    (lambda: survivor.hazards(F), SurvivorError, "a fitted model, not DataFrame"),
    (lambda: survivor.survival(FIT, at="365"), EffectError, "'365' is no number of days"),
    (lambda: survivor.survival(FIT, at=None), EffectError, "None is no number of days"),
    (lambda: survivor.survival(FIT, at=np.nan), EffectError, "no number of days"),
    (lambda: survivor.survival(FIT, at=0), EffectError, "not within the days that were visited"),
    (lambda: survivor.survival(FIT, at=366), EffectError, "nothing is said beyond the last visit"),
    (lambda: survivor.survival(FIT, at=-1), EffectError, "at=-1"),
    (lambda: survivor.survival(FIT, by="z"), EffectError, "does not hold z"),
    (lambda: survivor.survival(FIT, by="Method"), EffectError, "there is no column Method"),
    (lambda: survivor.survival(FIT, by=["method"]), EffectError, "is no column"),
    (lambda: survivor.survival(FIT, population=F[["site"]]), EffectError, "no column plants"),
    (
        lambda: survivor.survival(FIT, population=pd.DataFrame({"site": ["elsewhere"], "plants": [9]})),
        EffectError,
        "no planted number matches",
    ),
    (lambda: survivor.contrasts(FIT, against="mulch"), EffectError, "'mulch' is not a level of method"),
    (lambda: survivor.contrasts(FIT, pairs="some"), EffectError, "pairs='some'"),
    (lambda: survivor.contrasts(FIT, at="365"), EffectError, "no number of days"),
    (lambda: survivor.contrasts(FIT, between_fit=FIT), EffectError, 'strata=None and cluster="site"'),
    (lambda: survivor.sensitivity(FIT, at="x"), EffectError, "no number of days"),
    (lambda: survivor.stems_needed(FIT, 1300), PayoffError, "give survivor.survival(fit)"),
    (lambda: survivor.stems_needed(survivor.survival(FIT), -5), PayoffError, "above 0"),
    (lambda: FIT.test("method[T.mulch]"), ModelError, "no term method[T.mulch]"),
    (lambda: FIT.test([]), ModelError, "no term"),
    (lambda: survivor.dose(F, "radius"), EffectError, "column radius"),
    # curves
    (lambda: survivor.curve(None), IntervalsError, "not NoneType"),
    (lambda: survivor.curve(F, by="Method"), CurveError, "no column 'Method'"),
    (lambda: survivor.curve(F, by=["method", "site"]), CurveError, "to draw curves by"),
    (lambda: survivor.curve(F, estimator="km"), CurveError, "estimator = 'km'"),
    (lambda: survivor.curve(F, limits="greenwood"), CurveError, "limits = 'greenwood'"),
    (lambda: survivor.curve(F, cluster="gauge"), SurvivorError, "gauge"),
    (lambda: survivor.curve(F).steps[0](400), CurveError, "the last visit was on day 365"),
    (lambda: survivor.curve(F).read("365"), CurveError, "'365' is no day"),
    (lambda: survivor.mean_days_alive(F, until="365"), CurveError, "until"),
    (lambda: survivor.mean_days_alive(F, against="mulch"), CurveError, "'mulch' is no group"),
    # pooling
    (lambda: survivor.pool([1.0, 2.0], [0.1]), SurvivorError, ""),
    (lambda: survivor.pool([1.0, 2.0], [0.1, -1.0]), SurvivorError, ""),
    (lambda: survivor.pool([1.0], [0.1]), SurvivorError, ""),
    (lambda: survivor.pool([1.0, np.nan], [0.1, 0.1]), SurvivorError, ""),
    (lambda: survivor.pool([1.0, 2.0], [0.1, 0.2], method="best"), SurvivorError, "best"),
]  # fmt: skip


@pytest.mark.parametrize(
    ("call", "kind", "words"), REFUSED, ids=[str(place) for place in range(len(REFUSED))]
)
def test_a_misuse_is_refused_with_the_place_and_what_to_do(call, kind, words):
    with pytest.raises(kind) as fault:
        call()
    text = str(fault.value)
    assert words in text
    assert fault.value.mend, text
    assert "np." not in text


def same(frame: Any, **options: Any) -> Callable[[], Any]:
    return lambda: survivor.fit(frame, "method", **options).table


def spelt_out() -> Frame:
    """One row a seedling, died as True and False."""
    rows = F.loc[F.index.repeat(F["at_risk"])].reset_index(drop=True)
    place = rows.groupby(["plot", "start_day"]).cumcount()
    return rows.assign(died=(place < rows["died"]), at_risk=1)


ANSWERED: list[tuple[str, Callable[[], Frame]]] = [
    ("an index of their own", same(F.set_index(pd.Index(np.arange(48) * 7)))),
    ("one label for all rows", same(F.set_index(pd.Index(["x"] * 48)))),
    ("two levels of index", same(F.set_index(["site", "plot"], drop=False).rename_axis([None, None]))),
    ("rows in any order", same(F.sample(frac=1, random_state=3))),
    ("columns in any order", same(F[F.columns[::-1]])),
    ("text of objects, sorted", same(F.assign(method=pd.Categorical(F["method"].astype(object), METHODS)))),
    ("levels that no row has", same(F.assign(method=F["method"].cat.add_categories("mulch")))),
    ("ordered levels", same(F.assign(method=F["method"].cat.as_ordered()))),
    ("nullable integers", same(F.astype({"died": "Int64", "at_risk": "Int32", "start_day": "Int16"}))),
    ("nullable floats", same(F.astype({"start_day": "Float64", "stop_day": "Float64"}))),
    ("small integers", same(F.astype({"died": "int8", "at_risk": "uint8"}))),
    ("nullable text of places", same(F.astype({"site": "string", "plot": "string"}))),
    ("categories of places", same(F.astype({"site": "category", "plot": "category"}))),
    ("counts as floats", same(F.astype({"died": float, "at_risk": float}))),
    ("a right-hand side with a tilde", lambda: survivor.fit(F, "~ method").table),
    ("one seedling a row, died as True and False", same(spelt_out())),
    ("died as nullable booleans", same(spelt_out().astype({"died": "boolean"}))),
    ("a column that is never read", same(F.assign(note=[None, {}] * 24))),
]


@pytest.mark.parametrize(("what", "call"), ANSWERED, ids=[what for what, _ in ANSWERED])
def test_what_is_only_unusual_gives_the_same_numbers(what, call):
    found = call()
    for name in ("estimate", "std_error", "df", "lower", "upper", "p_value"):
        np.testing.assert_allclose(found[name], FIT.table[name], rtol=1e-6, err_msg=what)


def test_methods_as_nullable_text_are_levels():
    text = F.astype({"method": "string", "site": "string", "plot": "string"})
    plain_text = F.assign(method=F["method"].astype(object))
    found, expected = (survivor.contrasts(survivor.fit(rows, "method")).table for rows in (text, plain_text))
    np.testing.assert_allclose(found["estimate"], expected["estimate"])


def test_a_fit_keeps_its_own_rows():
    mine = F.copy()
    fit = survivor.fit(mine, "method")
    before = survivor.survival(fit).table
    mine.loc[mine["site"] == "S0", "at_risk"] = 200
    mine["stop_day"] *= 2
    pd.testing.assert_frame_equal(survivor.survival(fit).table, before)
    with pytest.raises(EffectError):
        survivor.survival(fit, at=700)
    fit.data.loc[:, "died"] = 0
    assert mine["died"].sum() > 0
    assert F["died"].sum() > 0


def test_survival_of_those_first_watched_later_says_so():
    late = F.assign(start_day=F["start_day"].replace(0, 60))
    fit = survivor.fit(late, "method", pieces=[180])
    found = survivor.survival(fit, at=365)
    assert set(found.table["unit"]) == {"per 100 alive on day 60"}
    assert any("The watch begins on day 60" in said for said in found.checks)
    assert set(survivor.contrasts(fit, at=365).table["unit"]) == {"per 100 alive on day 60"}
    # Of those alive on day 60 as many live to the end as from planting where the same died in between.
    counted = F.groupby("method", observed=True).apply(
        lambda rows: 100 * (1 - rows["died"].sum() / rows.loc[rows["start_day"] == 0, "at_risk"].sum()),
        include_groups=False,
    )
    np.testing.assert_allclose(found.table["estimate"], counted.loc[list(METHODS)], atol=1.5)
    with pytest.raises(EffectError, match="the watch begins on day 60; nothing is known of day 30"):
        survivor.survival(fit, at=30)
