"""Anything in any argument of a public call: an answer, or an error that says what to do."""

from __future__ import annotations

import inspect
import warnings
from collections.abc import Callable
from typing import Any

import numpy as np
import pandas as pd
import pytest

import survivor
from survivor import proportions, sizes, soil
from survivor.errors import SurvivorError
from tests.public.called import MADE, plain_function, public_functions
from tests.public.fitted import COX, CURVES, DIFFERENCES, ONE
from tests.public.fitted import WITH_Z as FIT
from tests.public.making import F

Given = dict[str, Any]
JUNK = (
    *(None, "x", "", b"x", -1, 0, 1e9, 2.5, np.nan, np.inf, True, 3 + 1j, object(), pd.NaT),
    *([], {}, [None], ["x"], ("a", "b"), {"a": 1}, lambda x: x, pd.Timestamp("2020-01-01")),
    *(pd.DataFrame(), pd.DataFrame({"a": [1]}), np.array([]), np.full(3, np.nan), pd.Series([1, 2])),
)
ALONE = survivor.fit(F, "method + z", cluster=None)
PERIODS = survivor.fit(F, "method", pieces=[180])
UNEVEN = survivor.fit(F[~F["plot"].isin(["p0", "p3", "p7"])], "method")
EIGHT = pd.concat([F.assign(site=F["site"] + mark, plot=F["plot"] + mark) for mark in "ab"])
DAYS = pd.DataFrame(
    {"date": pd.date_range("2024-07-06", periods=3), "rain_mm": 1.0, "eto_mm": 2.0, "tmin_c": 12.0}
    | {"tmax_c": 20.0, "wind_m_s": 2.0, "sunshine_h": 4.0, "rh_mean": 50.0}
)
DATED = F.assign(start_date=pd.Timestamp("2024-07-06"), stop_date=pd.Timestamp("2024-07-08"))
BY_DATE = DAYS.set_index("date")
ARMS = sizes.Arms(0.6, 0.75, 0.24, 0.1875, 0.08)
PATCH = soil.Patch(0.3, 0.1, 0.5, 0.5)
BALANCE = soil.water_balance(DAYS, PATCH)
SITES = pd.DataFrame({"site": ["a"], "planted": [10], "survival": [50.0], "lower": [40.0], "upper": [60.0]})
PLACE: Given = {"cluster": "plot", "strata": None}
OF_FIT: Given = {"by": "method", "at": 365, "against": None, "population": None}
POOLED: Given = {"method": "reml", "limits": "hartung-knapp", "factor": "as is", "units": None, "scale": "x"}
RESPONSE: Given = {"source": FIT, "column": "z", "at": 365, "method": "method", "pieces": None}

CALLS: list[tuple[Callable[..., Any], Given]] = [
    (survivor.fit, {"intervals": F, "formula": "method", "model": "grouped", "pieces": [180]} | PLACE),
    (survivor.fit, {"intervals": F, "formula": "method", "baseline": "pieces", "working": "independence"}),
    (survivor.fit, {"intervals": F, "formula": "method", "by_period": None, "offset": None, "weights": None}),
    (survivor.fit, {"intervals": F, "formula": "method", "model": "logistic", "at": 365, "window": 30}),
    (survivor.fit, {"intervals": F, "formula": "method", "model": "mixed", "points": 1, "random": None}),
    (survivor.compare, {"intervals": F, "formula": "method", "working": None, "pairs": "against"} | OF_FIT),
    (survivor.compare, {"intervals": F, "level": 0.95, "pieces": None, **PLACE}),
    (survivor.curve, {"intervals": F, "by": "method", "estimator": "kaplan-meier", **PLACE, "align": None}),
    (survivor.curve, {"intervals": F, "bands": None, "limits": "log-log"}),
    (survivor.median_days, {"curves": CURVES, "share": 0.5, "level": 0.9}),
    (survivor.mean_days_alive, {"intervals": F, "by": "method", "until": 365, "against": None, **PLACE}),
    (survivor.log_rank, {"intervals": F, "by": "method", "weights": "log-rank", **PLACE}),
    (survivor.from_first_visit, {"intervals": F}),
    (survivor.survival, {"fit": FIT, "by": "method", "at": 365, "population": None, "level": 0.9}),
    (survivor.contrasts, {"fit": FIT, "pairs": "against", "level": 0.9, **OF_FIT}),
    (survivor.contrasts, {"fit": FIT, "between_fit": None, "plain_fit": None}),
    (survivor.non_inferiority, {"differences": DIFFERENCES, "margin": 5, "level": 0.95}),
    (survivor.diagnose, {"fit": ONE, "by": "method", "at": 365}),
    (survivor.hazards, {"fit": PERIODS, "by": "method"}),
    (survivor.residual_rounds, {"fit": COX, "by": "method", "gap": 15}),
    (survivor.scaled_residuals, {"fit": COX}),
    (COX.residuals, {"kind": "schoenfeld"}),
    (survivor.within_between, {"fit": UNEVEN, "by": "method", "site": "site"}),
    (survivor.like_sites, {"fit": survivor.fit(EIGHT, "method"), "seed": 1, **OF_FIT}),
    (survivor.sensitivity, {"fit": ONE, **OF_FIT}),
    (survivor.e_value, {"risk_ratio": 2}),
    (survivor.limits_at, {"result": CURVES, "level": 0.9}),
    (survivor.e_value_of_limit, {"lower": 2, "upper": 3}),
    (survivor.permutation_test, {"fit": ONE, "by": "method", "blocks": None, "against": None, "draws": 20}),
    (survivor.permutation_test, {"fit": ONE, "statistic": "t", "enough": None, "seed": 1, "draws": 20}),
    (survivor.dose, RESPONSE | {"shape": None, "gain": 1.0, "population": None, "per": "per 100 planted"}),
    (survivor.dose, {"source": FIT, "column": "z", "radius_measured": None, "soil_depth_m": None}),
    (survivor.radius_by_method, RESPONSE | {"per": 0.1}),
    (
        survivor.payoff,
        {"fit": ONE, "costs": {"usual": 3, "auger": 4, "rip": 5}, "draws": 100, "seed": 1, **OF_FIT}
        | {"currency": "AUD", "left_out": {}, "worth": (None, None), "level": 0.9},
    ),
    (survivor.stems_needed, {"standard": survivor.survival(ONE), "target": 1000, "planted": None}),
    (survivor.stems_needed, {"standard": survivor.survival(ONE), "target": 9, "draws": 9, "seed": 1}),
    (survivor.stems_needed, {"standard": survivor.survival(ONE), "target": 9, "infill": None}),
    (survivor.infill_order, {"sites": SITES, "infill": None, "draws": 9, "seed": 1, "level": 0.9}),
    (survivor.fieller, {"above": 1, "below": 2, "variance_above": 0.1, "variance_below": 0.1, "level": 0.9}),
    (survivor.pool, {"estimates": [1, 2, 3.0], "std_errors": [1, 1, 1.0]} | POOLED),
    (survivor.pool_by, {"estimates": [1, 2, 5], "std_errors": [1, 1, 1], "traits": {"rain": [1, 2, 3]}}),
    (survivor.stress_days, {"intervals": DATED, "balance": BALANCE}),
    (survivor.load, {"path": "no/such/folder"}),
    (survivor.plan, {"path": "no/plan.toml"}),
    (FIT.contrast, {"expression": "method[rip]", "level": 0.9}),
    (FIT.test, {"terms": "z"}),
    (ALONE.lr_test, {"smaller": survivor.fit(F, "method", cluster=None)}),
    (FIT.summary, {"level": 0.9}),
    (FIT.baseline, {"level": 0.9}),
    (FIT.predict, {"new": F.head(2), "at": 300, "level": 0.9, "plant": None}),
    (FIT.average_survival, {"cells": F.head(2), "weights": np.eye(2), "at": 300}),
    (survivor.Fit.from_dict, {"told": FIT.to_dict()}),
    (CURVES.at, {"day": 300, "group": "rip"}),
    (CURVES.read, {"day": 300}),
    (CURVES.at_risk, {"days": [300]}),
    (CURVES.restricted_mean, {"day": 300}),
    (CURVES.band, {"level": 0.95}),
    (survivor.log_rank(F).randomised, {"draws": 9, "seed": 1}),
    (proportions.wilson, {"alive": 3, "number": 5, "level": 0.9}),
    (proportions.newcombe, {"alive": 3, "number": 5, "alive_other": 2, "number_other": 5, "level": 0.9}),
    (proportions.design_effect, {"alive": [3, 4], "number": [5, 5]}),
    (proportions.plot_correlation, {"alive": [3, 4], "number": [5, 5], "group": None}),
    (proportions.design_effect_from_icc, {"mean_size": 20, "icc": 0.1, "variation": 0}),
    (proportions.effective_number, {"number": 20, "effect": 2, "df": 5, "level": 0.9}),
    (sizes.events_needed, {"hazard_ratio": 0.5, "power": 0.8, "alpha": 0.05, "allocation": 0.5}),
    (sizes.power_of_events, {"arms": ARMS, "plots": 5, "seedlings": 20}),
    (sizes.power_of_proportions, {"arms": ARMS, "plots": 5, "seedlings": 20}),
    (sizes.plots_needed, {"power_at": lambda plots: sizes.power_of_events(ARMS, plots, 20), "power": 0.8}),
    (sizes.Arms, {"survival": 0.6, "other": 0.7, "variance": 0.2, "other_variance": 0.2, "correlation": 0.1}),
    (soil.hargreaves, {"tmin_c": BY_DATE["tmin_c"], "tmax_c": BY_DATE["tmax_c"], "latitude": 40}),
    (soil.penman_monteith, {"daily": BY_DATE, "latitude": 40, "elevation_m": 4, "wind_height_m": 2}),
    (soil.reference_evapotranspiration, {"daily": DAYS, "latitude": 40, "method": "hargreaves"}),
    (soil.effective_rain, {"rain_mm": [1, 2], "eto_mm": [1, 2]}),
    (soil.water_balance, {"daily": DAYS, "patch": PATCH, "start_mm": 3}),
    (soil.water_held, {"texture": "clay", "named": None}),
    (soil.Patch, vars(PATCH)),
    (survivor.DayPieces, {"cuts": (180,)}),
    (survivor.SeasonPieces, {"start": "06-01", "end": "09-30", "count": 3}),
    (survivor.Grouped, {"baseline": "pieces", "working": "independence", "pieces": None}),
    (survivor.Logistic, {"at": 365, "window": 30}),
    (survivor.Mixed, {"at": None, "points": 3, "random": None, "restricted": False}),
]  # fmt: skip


def wrong_of(call: Callable[..., Any], given: Given) -> list[str]:
    """Arguments and junk with which a call neither answers nor is refused as it should be."""
    wrong = []
    for name in given:
        for junk in JUNK:
            try:
                call(**given | {name: junk})
            except SurvivorError as fault:
                if not fault.mend:
                    wrong.append(f"{name}={junk!r}: nothing to do is said: {fault}")
            except Exception as fault:
                wrong.append(f"{name}={junk!r}: {type(fault).__name__}: {fault}")
    return wrong


NAMES = [getattr(call, "__qualname__", str(call)) for call, _ in CALLS]


@pytest.mark.slow
@pytest.mark.parametrize("place", range(len(CALLS)), ids=NAMES)
def test_junk_in_any_argument_is_answered_or_refused(place):
    call, given = CALLS[place]
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # of numbers that overflow
        assert wrong_of(call, given) == []


def test_every_public_call_is_among_them():
    tried = {getattr(call, "__func__", call) for call, _ in CALLS}
    public = {name: plain_function(function) for name, function in public_functions()}
    takes = {name: len(inspect.signature(function).parameters) for name, function in public.items()}
    methods = {name for name in public if name.startswith(("Fit.", "Curves.", "LogRank."))}
    taken = {name for name in public if takes[name] > (name in methods)}
    drawings = {name for name in taken if name.endswith(".plot")}
    assert {name for name in taken - drawings if public[name] not in tried} == set()
    assert set(MADE) <= tried
