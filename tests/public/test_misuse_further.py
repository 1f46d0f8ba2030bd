"""More of what people get wrong in a call: every one is refused with the place and what to do."""

from __future__ import annotations

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
    PlanError,
    PoolingError,
    SeasonError,
    StudyFileError,
    SurvivorError,
)
from tests.public.fitted import COX, CURVES, DIFFERENCES, ONE, SURVIVAL, WITH_Z
from tests.public.making import F

NAN = np.nan
FIT, Z = ONE, WITH_Z
LOG = survivor.fit(F, "method", model="logistic", at=365)
C, D, S = CURVES, DIFFERENCES, SURVIVAL
P, E = [9.0, 14.0, 6.0], [3.0, 4.0, 3.5]

DAYS = pd.DataFrame({"date": pd.date_range("2024-07-06", periods=3), "tmin_c": 12.0, "tmax_c": 20.0})
ARMS = survivor.sizes.Arms(0.6, 0.75, 0.24, 0.1875, 0.08)
CLAY = survivor.soil.Patch(0.42, 0.30, 0.5)
soil, sizes, proportions = survivor.soil, survivor.sizes, survivor.proportions

REFUSED: list[tuple[Callable[[], Any], type[SurvivorError], str]] = [
    (lambda: FIT.summary(level=95), ModelError, "level: 95 is no confidence level"),
    (lambda: FIT.summary(level=0), ModelError, "level: 0 is no confidence level"),
    (lambda: FIT.summary(level="0.9"), ModelError, "level: '0.9' is no confidence level"),
    (lambda: FIT.contrast("method[mulch] - method[rip]"), ModelError, "contrast: no term method[mulch] -"),
    (lambda: FIT.contrast("method[rip] * method[auger]"), ModelError, "contrast: no term method[rip] *"),
    (lambda: FIT.contrast("method[rip] / 0"), ModelError, "contrast: no term method[rip] / 0 in this"),
    (lambda: FIT.contrast(""), ModelError, "contrast: '' compares nothing"),
    (lambda: FIT.contrast(None), ModelError, "contrast: None is no list"),
    (lambda: FIT.contrast("exp(method[rip])"), ModelError, "contrast: no term exp(method[rip]) in this"),
    (lambda: FIT.contrast([1, 2]), ModelError, "contrast: 1 is no combination of terms"),
    (lambda: FIT.contrast("method[rip]", level="high"), ModelError, "level: 'high' is no confidence level"),
    (lambda: FIT.contrast("method[rip] > 0"), ModelError, "contrast: no term method[rip] > 0 in this"),
    (lambda: FIT.contrast("3 = 2"), ModelError, "contrast: '3 = 2' compares nothing"),
    (
        lambda: FIT.test("method[rip] = 0; method[rip] = 0"),
        ModelError,
        "test: these say the same twice, or nothing",
    ),
    (lambda: FIT.test(None), ModelError, "test: None is no list"),
    (lambda: FIT.test(1), ModelError, "test: 1 is no list"),
    (
        lambda: survivor.fit(F, "method", cluster=None).lr_test(survivor.fit(F.iloc[:40], "z", cluster=None)),
        ModelError,
        "lr_test: the two fits are of different",
    ),
    (lambda: Z.lr_test(FIT), ModelError, "lr_test: a likelihood ratio takes seedlings"),
    (
        lambda: survivor.fit(F, "method", cluster=None).lr_test(survivor.fit(F, "z", cluster=None)),
        ModelError,
        "lr_test: 'z' does not lie within 'method'",
    ),
    (
        lambda: survivor.fit(F, "method", cluster=None).lr_test("method"),
        ModelError,
        "lr_test: this takes a fitted model, not str",
    ),
    (lambda: Z.predict(F.drop(columns="z").head(2), 365), ModelError, "formula: the table has no column z"),
    (
        lambda: Z.predict(F.drop(columns="site").head(2), 365),
        ModelError,
        "formula: the table has no column site",
    ),
    (
        lambda: Z.predict(F.head(1).assign(site="S9"), 365),
        ModelError,
        "prediction: the fit has not seen site S9",
    ),
    (
        lambda: Z.predict(F.head(1).assign(method="mulch"), 365),
        ModelError,
        "prediction: a level that the fit has not",
    ),
    (lambda: Z.predict(F.head(1), 900), ModelError, "at: day 900 is outside the days seen (0 to"),
    (lambda: Z.predict(F.head(1), "365"), ModelError, "at: '365' is not a number that goes here"),
    (lambda: Z.predict(F.head(1), None), ModelError, "at: None is not a number that goes here"),
    (lambda: Z.predict({"z": 1}, 365), IntervalsError, "risk intervals: risk intervals are a table"),
    (lambda: Z.predict(F.head(0), 365), ModelError, "predict: there is no plant to predict for"),
    (lambda: Z.predict(F.head(1).assign(z=NAN), 365), ModelError, "column z: 1 of 1 rows have no z"),
    (lambda: Z.predict(F.head(1), 365, level=2), ModelError, "level: 2 is no confidence level"),
    (lambda: survivor.survival(LOG, at=300), ModelError, "at: this logistic fit speaks of day 365"),
    (lambda: LOG.baseline(level=1.5), ModelError, "level: 1.5 is no confidence level"),
    (lambda: COX.baseline(), ModelError, "baseline: a cox fit with limits by"),
    (lambda: survivor.contrasts(FIT, level=5), ModelError, "level: 5 is no confidence level"),
    (lambda: survivor.survival(FIT, level="x"), ModelError, "level: 'x' is no confidence level"),
    (lambda: survivor.survival(FIT, at=True), EffectError, "at=True: True is no number of days since"),
    (lambda: survivor.survival(FIT, at=[100, 200]), EffectError, "at=[100, 200]: [100, 200] is no number of"),
    (lambda: survivor.survival(FIT, at=np.inf), EffectError, "at=inf: inf is no number of days since"),
    (
        lambda: survivor.survival(FIT, population=pd.DataFrame({"site": ["S0"], "plants": [-5]})),
        EffectError,
        "population: the planted numbers cannot be",
    ),
    (
        lambda: survivor.survival(FIT, population=pd.DataFrame({"site": ["S0"], "plants": [NAN]})),
        EffectError,
        "population: the planted numbers cannot be",
    ),
    (lambda: survivor.survival(FIT, population=5), EffectError, "population: the planted numbers cannot be"),
    (
        lambda: survivor.survival(FIT, population=pd.DataFrame({"site": ["S0"], "plants": [0]})),
        EffectError,
        "population: no planted number matches a row",
    ),
    (lambda: survivor.compare(None), IntervalsError, "risk intervals: risk intervals are a table"),
    (lambda: survivor.compare(F, "z"), EffectError, "by='method': the model 'z' does not hold"),
    (lambda: survivor.compare(F, at="365"), EffectError, "at='365': '365' is no number of days since"),
    (lambda: survivor.compare(FIT), IntervalsError, "risk intervals: risk intervals are a table"),
    (lambda: survivor.hazards(COX), ModelError, "fit: this needs a grouped fit, not a cox one"),
    (lambda: survivor.hazards(FIT, by="z"), ModelError, "by='z': the formula 'method' does not hold z"),
    (lambda: survivor.diagnose(LOG), ModelError, "fit: this looks at grouped fits with"),
    (lambda: survivor.diagnose(F), ModelError, "fit: this takes a fitted model, not"),
    (lambda: survivor.residual_rounds(FIT), ModelError, "fit: Schoenfeld residuals are of a Cox fit,"),
    (lambda: survivor.scaled_residuals(FIT), ModelError, "fit: Schoenfeld residuals are of a Cox fit,"),
    (lambda: survivor.non_inferiority(D.table, 5), EffectError, "differences: this takes differences, not"),
    (lambda: survivor.non_inferiority(D, -5), EffectError, "margin: a margin of -5 is no smallest"),
    (lambda: survivor.non_inferiority(D, None), EffectError, "margin: a margin of None is no smallest"),
    (lambda: survivor.non_inferiority(D, 5, level=95), ModelError, "level: 95 is no confidence level"),
    (
        lambda: survivor.permutation_test(FIT, statistic="z"),
        ModelError,
        "statistic: statistic='z' is not known",
    ),
    (lambda: survivor.permutation_test(FIT, draws=0), ModelError, "draws: 0 is not a number that goes here"),
    (
        lambda: survivor.permutation_test(FIT, draws="many"),
        ModelError,
        "draws: 'many' is not a number that goes here",
    ),
    (
        lambda: survivor.permutation_test(FIT, blocks="gauge"),
        ModelError,
        "blocks='gauge': the intervals have no",
    ),
    (
        lambda: survivor.permutation_test(FIT, against="mulch"),
        ModelError,
        "against: 'mulch' is not a level of method",
    ),
    (lambda: survivor.like_sites(LOG), EffectError, "column site: what is expected at similar sites"),
    (lambda: survivor.dose(FIT, "method"), EffectError, "column method: the column holds no numbers"),
    (lambda: survivor.dose(Z, "z", at="late"), EffectError, "at='late': 'late' is no number of days"),
    (lambda: survivor.radius_by_method(FIT, "nothing"), EffectError, "column nothing: the column is absent"),
    (lambda: survivor.sensitivity(FIT, at=9999), EffectError, "at=9999: day 9999 is not within the days"),
    (lambda: survivor.e_value(-1), EffectError, "risk_ratio: a risk ratio of -1 has no"),
    (lambda: survivor.e_value("2"), EffectError, "risk_ratio: a risk ratio of '2' has no"),
    (lambda: survivor.e_value_of_limit(2, 1), EffectError, "lower, upper: 2 to 1 are no limits of a"),
    (lambda: survivor.e_value_of_limit(NAN, 2), EffectError, "lower, upper: nan to 2 are no limits of a"),
    (lambda: survivor.payoff(FIT, {}), PayoffError, "costs name nothing: no method has a cost:"),
    (
        lambda: survivor.payoff(FIT, {"usual": -1, "rip": 2, "auger": 3}),
        PayoffError,
        "usual: the cost -1 with the range -1 to -1",
    ),
    (
        lambda: survivor.payoff(FIT, {"usual": "dear", "rip": 2, "auger": 3}),
        PayoffError,
        "usual: the cost 'dear' is not a number",
    ),
    (lambda: survivor.payoff(FIT, {"mulch": 3}), PayoffError, "costs name mulch: no method has a cost:"),
    (lambda: survivor.payoff(FIT, None), PayoffError, "costs: costs are a dict or a table, not"),
    (
        lambda: survivor.payoff(FIT, {"usual": NAN, "rip": 2, "auger": 3}),
        PayoffError,
        "usual: the cost nan with the range nan to",
    ),
    (lambda: survivor.stems_needed(S, "many"), PayoffError, "target: a target of 'many' stems per"),
    (lambda: survivor.stems_needed(S, NAN), PayoffError, "target: a target of nan stems per hectare"),
    (lambda: survivor.infill_order(None), PayoffError, "sites: this takes a table, not NoneType"),
    (
        lambda: survivor.infill_order(pd.DataFrame({"site": ["a"]})),
        PayoffError,
        "sites: the table has no column planted,",
    ),
    (lambda: C.band(level=95), ModelError, "level: 95 is no confidence level"),
    (lambda: C.at(365), CurveError, "there are 3 curves"),
    (lambda: C.at(365, "mulch"), CurveError, "there is no curve of 'mulch'"),
    (lambda: C["mulch"], CurveError, "there is no curve of 'mulch'"),
    (lambda: C.at("365", "rip"), CurveError, "day: '365' is no day"),
    (lambda: C.at(900, "rip"), CurveError, "curve of rip: the last visit was on day"),
    (lambda: C.restricted_mean(900), CurveError, "curve of usual: the last visit was on day"),
    (lambda: C.restricted_mean("365"), CurveError, "day: '365' is not a number that goes here"),
    (lambda: C.at_risk(["365"]), CurveError, "days: '365' is not a number that goes here"),
    (lambda: C.at_risk(None), CurveError, "days: None is no list"),
    (lambda: survivor.curve(F, align=-5), CurveError, "align = -5 days makes no round"),
    (lambda: survivor.curve(F, align="15"), CurveError, "align = '15' days makes no round"),
    (
        lambda: survivor.curve(F, estimator="life-table", bands=[300, 100]),
        CurveError,
        "bands: the ends of the bands do not rise",
    ),
    (
        lambda: survivor.curve(F, estimator="life-table", bands="quarters"),
        CurveError,
        "bands: 'quarters' is not a number that goes",
    ),
    (lambda: survivor.curve(F, bands=[100]), CurveError, "only a life table has bands"),
    (lambda: survivor.curve(F, strata="gauge"), CurveError, "risk intervals: the intervals have no"),
    (lambda: survivor.curve(F, strata=3), IntervalsError, "columns: 3 is no list"),
    (lambda: survivor.curve(F, cluster=3), IntervalsError, "columns: 3 is no list"),
    (lambda: survivor.median_days(F), CurveError, "curves: this takes curves, not DataFrame"),
    (lambda: survivor.median_days(C, share=50), CurveError, "share: 50 is no share"),
    (
        lambda: survivor.mean_days_alive(F, strata="gauge"),
        CurveError,
        "risk intervals: the intervals have no",
    ),
    (lambda: survivor.mean_days_alive(F, until=-3), CurveError, "until: -3 is no number of days"),
    (lambda: survivor.mean_days_alive(F, by="gauge"), CurveError, "risk intervals: the intervals have no"),
    (lambda: survivor.log_rank(F, by="gauge"), EffectError, "by='gauge': there is no column gauge"),
    (lambda: survivor.log_rank(F, weights="gehan"), EffectError, "weights: weights='gehan' is not known"),
    (lambda: survivor.log_rank(F, strata="gauge"), EffectError, "strata='gauge': there is no column gauge"),
    (
        lambda: survivor.log_rank(F[F["method"] == "rip"]),
        EffectError,
        "column method: there is one level of method",
    ),
    (lambda: survivor.log_rank(None), IntervalsError, "risk intervals: risk intervals are a table"),
    (lambda: survivor.log_rank(F, by="plot"), EffectError, "cluster: too few plots to tell how plots of"),
    (
        lambda: survivor.log_rank(F).randomised(draws=0),
        EffectError,
        "draws: 0 is not a number that goes here",
    ),
    (lambda: survivor.pool(["a", "b"], [1, 2]), PoolingError, "estimates: these are not all numbers"),
    (lambda: survivor.pool(P, E, limits="wald"), PoolingError, "limits: 'wald' is not known"),
    (lambda: survivor.pool(P, E, factor="big"), PoolingError, "factor: 'big' is not known"),
    (lambda: survivor.pool(P, E, units=["a", "a", "b"]), PoolingError, "units: two units are called 'a'"),
    (
        lambda: survivor.pool(P, E, units=["a", "b"]),
        PoolingError,
        "estimates: 3 estimates, 3 standard errors",
    ),
    (lambda: survivor.pool(P, [3, 0, 2]), PoolingError, "unit 2: estimate 14 with standard error 0"),
    (lambda: survivor.pool(None, E), PoolingError, "estimates: a list of numbers is needed, not"),
    (
        lambda: survivor.pool_by(P, E, {"rain": [1, 2]}),
        PoolingError,
        "traits: traits of 2 units do not go with 3",
    ),
    (
        lambda: survivor.pool_by(P, E, {"rain": [1, 1, 1]}),
        PoolingError,
        "trait rain: every unit has the same value",
    ),
    (lambda: survivor.pool_by(P, E, None), PoolingError, "traits: traits are a dict or a table, not"),
    (
        lambda: survivor.pool_by(P, E, {"rain": [1, 2, 3], "soil": [1, 3, 2]}),
        PoolingError,
        "traits: 3 units cannot tell 3 coefficients",
    ),
    (lambda: survivor.proportions.wilson(5, 3), SurvivorError, "more alive than there were, or fewer than"),
    (lambda: survivor.proportions.wilson(-1, 3), SurvivorError, "more alive than there were, or fewer than"),
    (
        lambda: survivor.proportions.wilson(1, 3, level=95),
        SurvivorError,
        "level: 95 is not a number that goes here",
    ),
    (lambda: survivor.proportions.newcombe(5, 3, 1, 2), SurvivorError, "5 of 3 is no proportion"),
    (
        lambda: survivor.proportions.design_effect([1], [2]),
        SurvivorError,
        "a design effect needs two plots or more,",
    ),
    (
        lambda: survivor.proportions.plot_correlation([1, 2], [2]),
        SurvivorError,
        "a design effect needs two plots or more,",
    ),
    (
        lambda: survivor.proportions.design_effect_from_icc(20, 2),
        SurvivorError,
        "icc: 2 is not a number that goes here",
    ),
    (lambda: survivor.sizes.events_needed(1), PlanError, "hazard_ratio: hazard_ratio=1 needs no"),
    (lambda: survivor.sizes.events_needed(-1), PlanError, "hazard_ratio: hazard_ratio=-1 needs no"),
    (
        lambda: survivor.sizes.events_needed(0.5, power=80),
        PlanError,
        "power: power=80 needs no number of deaths",
    ),
    (lambda: survivor.sizes.events_needed("0.5"), PlanError, "hazard_ratio: hazard_ratio='0.5' needs no"),
    (
        lambda: survivor.soil.water_held("concrete"),
        SeasonError,
        "texture: 'concrete' is no texture class, so",
    ),
    (
        lambda: survivor.stress_days(F, None),
        SeasonError,
        "risk intervals: the table has no column start_date",
    ),
    (lambda: soil.hargreaves(DAYS["tmin_c"], DAYS["tmax_c"], latitude=40), SeasonError, "tmin_c is not"),
    (lambda: soil.hargreaves([1], [2], latitude="north"), SeasonError, "latitude north cannot be true"),
    (lambda: soil.penman_monteith(DAYS, latitude=40, elevation_m=4), SeasonError, "no column wind_m_s"),
    (lambda: soil.reference_evapotranspiration(DAYS, method="guess"), SeasonError, "method='guess' is not"),
    (lambda: soil.effective_rain([-1], [2]), SeasonError, "an amount below 0 cannot be true"),
    (lambda: soil.effective_rain([1, 2], [1, 2, 3]), SeasonError, "evapotranspiration of 3"),
    (lambda: soil.water_balance(DAYS, "clay"), SeasonError, "patch: this takes a Patch, not str"),
    (lambda: soil.water_balance(None, CLAY), SeasonError, "daily: this takes a table, not NoneType"),
    (lambda: soil.water_held(3), SeasonError, "texture: a texture class is a word, not int"),
    (lambda: soil.Patch("wet", 0.1, 0.5), SeasonError, "field_capacity = 'wet' is no number"),
    (lambda: sizes.Arms(1.6, 0.7, 0.2, 0.2, 0.1), PlanError, "survival: 1.6 is not a number that goes here"),
    (lambda: sizes.power_of_events(ARMS, -5, 20), PlanError, "plots: -5 is not a number that goes here"),
    (lambda: sizes.power_of_events(sizes.Arms(1, 0.7, 0, 0.2, 0.1), 5, 20), PlanError, "have no ratio"),
    (lambda: sizes.plots_needed(lambda plots: 0.5, power=80), PlanError, "power=80 is no chance"),
    (lambda: proportions.wilson("many", 5), SurvivorError, "alive: 'many' holds something that is no number"),
    (lambda: proportions.wilson([1, 2], [3, 4, 5]), SurvivorError, "there are 2 and 3 of them"),
    (lambda: proportions.effective_number(-5, 2), SurvivorError, "fewer seedlings than none"),
    (lambda: survivor.fieller("a", 1, 1, 1), PayoffError, "'a' is no number"),
    (lambda: survivor.DayPieces((180, 90)), ModelError, "cuts: 90 is not a number that goes here"),
    (lambda: survivor.SeasonPieces("13-01", "03-31", 3), ModelError, "'13-01' to '03-31' is no season"),
    (lambda: survivor.residual_rounds(COX, by="nothing"), EffectError, "there is no column nothing"),
    (lambda: survivor.payoff(FIT, {"usual": 3}, against="mulch"), PayoffError, "'mulch' is not a level"),
    (lambda: survivor.payoff(FIT, {"usual": 3}, draws=10**9), PayoffError, "draws are too many"),
    (lambda: survivor.dose(Z, "z", method="methd"), EffectError, "there is no column methd"),
    (lambda: survivor.dose(Z, "z", radius_measured="later"), EffectError, "='later' is not known"),
    (lambda: Z.predict(F.head(2), 300, plant="tag"), ModelError, "the plants have no column 'tag'"),
    (lambda: survivor.from_first_visit(None), IntervalsError, "risk intervals: risk intervals are a table"),
    (
        lambda: survivor.from_first_visit(F.drop(columns="start_day")),
        IntervalsError,
        "risk intervals: these columns are needed",
    ),
    (lambda: survivor.load("no/such/folder"), StudyFileError, "no/such/folder: no study file here"),
    (lambda: survivor.load(3), StudyFileError, "path: this takes the name of a folder or"),
    (lambda: survivor.plan("no/plan.toml"), PlanError, "no/plan.toml: no plan file here"),
    (lambda: survivor.plan(3), PlanError, "path: this takes the name of a plan file,"),
    (lambda: survivor.fit(F, "method", pieces=[NAN]), ModelError, "pieces: day nan bounds no piece of the"),
    (lambda: survivor.fit(F, "method", pieces=180), ModelError, "pieces: 180 is no list"),
    (
        lambda: survivor.fit(F, "method", by_period="z"),
        ModelError,
        "by='z': the formula 'method' does not hold z",
    ),
    (
        lambda: survivor.fit(F, "method", model="logistic", at=365, window=-1),
        ModelError,
        "window: -1 is not a number that goes here",
    ),
    (
        lambda: survivor.fit(F, "method", model="logistic", at="365"),
        ModelError,
        "at: '365' is not a number that goes here",
    ),
    (
        lambda: survivor.fit(F, "method", model="logistic", at=NAN),
        ModelError,
        "at: nan is not a number that goes here",
    ),
    (
        lambda: survivor.fit(F, "method", model="mixed", points="many"),
        ModelError,
        "points: 'many' is not a number that goes",
    ),
    (lambda: survivor.fit(F, "method", model="mixed", points=2.5), ModelError, "points: 2.5 is no list"),
    (
        lambda: survivor.fit(F, "method", model="mixed", random=["site"]),
        ModelError,
        "random: ['site'] names no effects",
    ),
    (
        lambda: survivor.fit(F, "method", model="mixed", restricted="yes"),
        ModelError,
        "restricted: restricted is True or False",
    ),
    (lambda: survivor.fit(F, "method", cluster=3), IntervalsError, "columns: 3 is no list"),
    (lambda: survivor.fit(F, "method", strata=3), IntervalsError, "columns: 3 is no list"),
    (lambda: survivor.fit(F, "method", model=None), ModelError, "model: None is no model"),
    (lambda: survivor.fit(F, "method", model=survivor.Logistic), ModelError, "model: <class"),
    (lambda: survivor.fit(F, "method", working=None), ModelError, "working: no working correlation None"),
    (lambda: survivor.fit(F, "method", working=-0.1), ModelError, "working: no working correlation -0.1"),
    (lambda: survivor.fit(F, "method", baseline=None), ModelError, "baseline: no baseline None"),
    (
        lambda: survivor.fit(F.assign(z=1j), "method + z"),
        ModelError,
        "column z: z holds neither names nor numbers",
    ),
    (
        lambda: survivor.fit(F.assign(died=F["died"].astype(complex)), "method"),
        IntervalsError,
        "column died: the column is not numeric",
    ),
    (
        lambda: survivor.fit(F.assign(d=pd.date_range("2020-01-01", periods=48)), "method + d"),
        ModelError,
        "column d: d holds neither names nor numbers",
    ),
    (
        lambda: survivor.fit(F.assign(l=[[1]] * 48), "method + l"),
        ModelError,
        "column l: l holds neither names nor numbers",
    ),
    (
        lambda: survivor.fit(F.rename(columns={"start_day": "stop_day", "stop_day": "start_day"}), "method"),
        IntervalsError,
        "row 0, column stop_day: the interval does",
    ),
    (
        lambda: survivor.fit(
            F.assign(start_day=F.start_day / 365, stop_day=F.stop_day / 365),
            "method",
            model="logistic",
            at=365,
        ),
        ModelError,
        "at: there is no visit within 30 days of day",
    ),
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


def test_two_hundred_misuses_are_looked_at():
    from tests.public import test_misuse

    assert len(REFUSED) >= 100
    assert len(REFUSED) + len(test_misuse.REFUSED) >= 200
