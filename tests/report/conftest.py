"""A small made-up analysis with every part a report can print; invented places and numbers."""

from __future__ import annotations

import json
from types import SimpleNamespace
from typing import Any

import numpy as np
import pandas as pd
import pytest

from survivor.evidence import Finding
from survivor.models.clusters import WaldTest
from survivor.settings import Settings

METHODS = ("spot spray, hand-dug", "rip and spot spray", "auger hole and guard", "scalp")
USUAL = METHODS[0]
SITES = ("Tarn Hollow", "Quill <script>alert(1)</script> & Creek", "Ombry $5 Rise$")
NONCAUSAL = "by choice"
UNREACHED = "not reached: the last visit was on day 365"
DAYS = (40, 110, 200, 290, 365)


def build(allocation: str = NONCAUSAL, **changes: Any) -> SimpleNamespace:
    """Return an analysis; ``changes`` replace its fields."""
    fields = {
        "settings": _settings(allocation),
        "records": _records(),
        "findings": _findings(),
        "milestone_day": 365.0,
        "survival": SimpleNamespace(table=_survival(), checks=(), extrapolated=pd.DataFrame()),
        "contrasts": SimpleNamespace(table=_contrasts(), checks=(), limits_note="95 % limits, not adjusted"),
        "all_pairs": SimpleNamespace(table=_contrasts(), checks=(), limits_note=""),
        "curves": _curves(),
        "dose": _dose(),
        "radius_by_method": SimpleNamespace(
            by="method",
            per=0.1,
            table=_slopes(),
            test=WaldTest(0.8, 1.0, 9.3, 0.39),
            variance="CR2",
            checks=(),
        ),
        "rain_by_method": None,
        "radius_held": SimpleNamespace(table=_contrasts().head(1), checks=(), limits_note=""),
        "payoff": SimpleNamespace(
            table=_payoff(),
            statement="Which costs least is not shown.",
            checks=(),
            cheapest=None,
            not_costed=(),
            left_out={},
            increments=None,
            break_even=None,
            best_value=None,
            with_infill=None,
            between=(),
        ),
        "season_costs": None,
        "stems_needed": None,
        "infill_order": None,
        "confounding": _confounding(),
        "fits": {"grouped": _fit()},
        "agreement": _agreement(),
        "rain": _rain(),
        "rain_record": _rain_record(),
        "rain_effect": None,
        "soil_water": None,
        "species": _groups("species", ("black wattle", "river oak")),
        "sites": _groups("site", SITES),
        "counted": pd.DataFrame(
            {"method": METHODS, "watched": 270, "alive": [157, 198, 180, 55], "died": [101, 60, 78, 31]}
        ),
        "milestones": _milestones(),
        "infill": pd.DataFrame(
            {
                "plants": [40],
                "at_day": 200.0,
                "estimate": 71.2,
                "lower": 55.0,
                "upper": 82.4,
                "n_plots": 8,
                "note": "12 months after their own planting is not reached: the last visit was on day 200",
            }
        ),
        "found_first": False,
        "in_all": _in_all(),
        "years": _years(),
        "heights": _heights(),
        "patch": _patch(),
        "causes": _causes(),
        "bounds": _bounds(),
        "measures": pd.DataFrame(
            {
                "measure": ["survival of planted", "survival of found"],
                "of": [960, 900],
                "alive": [640, 640],
                "estimate": [66.7, 71.1],
                "note": ["", "too high"],
            }
        ),
        "left_out": pd.DataFrame(
            {
                "site_left_out": SITES,
                "method": METHODS[1],
                "against": USUAL,
                "estimate": [14.0, 15.0, 16.6],
                "lower": 5.0,
                "upper": 25.0,
            }
        ),
        "permutation": SimpleNamespace(table=_permutation(), seed=1, checks=())
        if allocation != NONCAUSAL
        else None,
        "hazards": SimpleNamespace(
            table=_hazards(),
            test=WaldTest(1.2, 3.0, 14.2, 0.34),
            variance="CR2",
            checks=("periods were joined",),
        ),
        "residuals": _residuals(),
        "mean_days": SimpleNamespace(day=365.0, table=_mean_days(), differences=_days_apart(), checks=()),
        "within_between": SimpleNamespace(
            table=_within_between(), test=WaldTest(3.0, 1.0, 2.0, 0.22), n_sites=3, checks=()
        ),
        "sensitivity": SimpleNamespace(table=_e_values(), at_day=365.0) if allocation == NONCAUSAL else None,
        "like_sites": None,
        "unmade": {"like_sites": "limits for sites like these need 5 sites, and there are 3."},
        "cannot": (
            "rain and survival: one season at one gauge cannot tell what rain did",
            "scalp against spot spray, hand-dug: no site has both",
        ),
        "notes": ("pieces: planting to the first dry season, first dry season, after",),
        "provenance": {"survivor": "0.1.0", "seed": "1", "sha256 of visits.csv": "ab" * 32},
    }
    return SimpleNamespace(**(fields | changes))


@pytest.fixture(scope="session")
def analysis() -> SimpleNamespace:
    """Preparations chosen, not drawn: the commonest season."""
    return build()


@pytest.fixture(scope="session")
def page(analysis: SimpleNamespace) -> str:
    """The whole page of that season."""
    from survivor.report.content import report_of
    from survivor.report.page import page_of

    return page_of(report_of(analysis))


def _settings(allocation: str) -> Settings:
    works = (["spot spray", "hand-dug hole"], ["spot spray", "rip line"], ["auger hole", "guard"], ["scalp"])
    content = {
        "study": {"name": "Invented season"},
        "records": {"kind": "tagged", "sheets": [{"file": "visits.csv"}]},
        "design": {
            "allocation": allocation,
            "usual_practice": USUAL,
            "reason_for_choice": "ripped where the ground is hard" if allocation == NONCAUSAL else "",
        },
        "dry_season": {"start": "12-01", "end": "03-31"},
        "target": {"survival_per_100": 70, "milestone": "12 months"},
        "methods": [
            {"name": name, "works": list(work), "cost": {"per_plant": 4.0 + i}}
            for i, (name, work) in enumerate(zip(METHODS, works, strict=True))
        ],
        "costs": {"currency": "dollars", "year": 2023, "source": "invented"},
    }
    return Settings.model_validate_json(json.dumps(content))


def _plots() -> pd.DataFrame:
    rows = []
    for s, site in enumerate(SITES):
        for m, method in enumerate(METHODS):
            if m == 3 and s < 2:
                continue
            for copy in range(3):
                rows.append(
                    (site, "1", f"{m}{copy}", method, pd.Timestamp("2023-06-15") + pd.Timedelta(days=9 * s))
                )
    frame = pd.DataFrame(rows, columns=["site", "block", "plot", "method", "planted_date"])
    radius = np.array([0.4, 0.6, 0.9])[np.arange(len(frame)) % 3]
    return frame.assign(planted=30, weed_free_radius_m=radius)


def _records() -> SimpleNamespace:
    plots = _plots()
    intervals, visits = [], []
    shares = (0.97, 0.93, 0.85, 0.70, 0.66)
    for row in plots.to_dict("records"):
        alive, start = 30, 0
        for day, share in zip(DAYS, shares, strict=True):
            now = round(30 * share)
            date = row["planted_date"] + pd.Timedelta(days=day)
            known = {name: row[name] for name in ("site", "block", "plot", "method", "planted_date")}
            intervals.append(
                {
                    **known,
                    "species": "river oak",
                    "start_day": start,
                    "stop_day": day,
                    "at_risk": alive,
                    "died": alive - now,
                }
            )
            visits.append({**known, "visit": f"visit {DAYS.index(day) + 1}", "date": date, "alive": now})
            alive, start = now, day
    problems = pd.DataFrame(
        {
            "code": ["R1", "R1", "R2"],
            "severity": ["check", "check", "note"],
            "file": "visits.csv",
            "sheet": "",
            "row": [4, 9, 12],
            "column": ["date", "date", "landholder"],
            "value": ["31/02/2024", "=1+1", "A. Person"],
            "what": ["no such date", "no such date", "a column that is not used"],
            "mend": ["correct the date", "correct the date", "nothing to do"],
        }
    )
    accounts = pd.DataFrame(
        {
            "file": "visits.csv",
            "sheet": "",
            "row": [2, 3, 4],
            "record": ["a", "b", "c"],
            "fate": ["used", "used", "set aside"],
        }
    ).assign(reason=["", "", "no such date"], code=["", "", "R1"])
    matches = pd.DataFrame(
        {"file": ["visits.csv"], "sheet": [""], "header": ["Site"], "column": ["site"], "how": ["same word"]}
    )
    return SimpleNamespace(
        plots=plots,
        visits=pd.DataFrame(visits),
        intervals=pd.DataFrame(intervals),
        accounts=accounts,
        problems=problems,
        matches=matches,
    )


def _findings() -> tuple[Finding, ...]:
    shared: dict[str, Any] = {"milestone": "12 months", "at_day": 365.0, "unit": "per 100 planted"}
    counts: dict[str, Any] = {"n_seedlings": 540, "n_plots": 18, "n_sites": 3}
    return (
        Finding(
            key="headline",
            question="Under which preparations were more plants alive than under the usual practice?",
            answer="At these sites rip and spot spray had 15 more alive per 100 planted than spot spray, "
            "hand-dug at 12 months (95 % limits 6 to 24 more; 540 seedlings in 18 plots at 3 sites).",
            estimate=15.2,
            lower=6.1,
            upper=24.3,
            methods=METHODS[1::-1],
            grade="fair",
            reasons=("preparations were chosen for each place, not given to plots by lot",),
            raise_it=("drawing lots for which plot of a block gets which preparation",),
            **shared,
            **counts,
        ),
        Finding(
            key="target",
            question="Was the target met?",
            answer="It is not shown that the target of 70 alive per 100 planted at 12 months was met or "
            "missed at these sites: 67 were alive (95 % limits 58 to 74).",
            estimate=66.7,
            lower=58.0,
            upper=74.0,
            grade="slight",
            verdict="not shown",
            **shared,
            **counts,
        ),
    )


def _survival() -> pd.DataFrame:
    return pd.DataFrame(
        {
            "method": pd.Categorical(METHODS, categories=METHODS),
            "estimate": [58.2, 73.4, 66.6, 61.0],
            "std_error": 4.0,
            "df": 9.0,
            "lower": [49.1, 65.2, 57.3, 40.8],
            "upper": [66.4, 80.1, 74.7, 76.2],
            "unit": "per 100 planted",
            "at_day": 365.0,
            "n_seedlings": [270, 270, 270, 90],
            "n_plots": [9, 9, 9, 3],
            "n_sites": [3, 3, 3, 1],
            "died": [113, 72, 90, 35],
        }
    )


def _milestones() -> pd.DataFrame:
    alive = _survival()[["method", "estimate", "lower", "upper", "n_seedlings", "n_plots", "n_sites"]]
    told = alive.assign(
        milestone="12 months", day=365.0, at_day=365.0, method=alive["method"].astype(str), note=""
    )
    later = pd.DataFrame({"milestone": ["24 months"], "day": 730.0, "method": "", "note": UNREACHED})
    return pd.concat([told, later], ignore_index=True)


def _contrasts() -> pd.DataFrame:
    return pd.DataFrame(
        {
            "method": METHODS[1:],
            "against": USUAL,
            "basis": ["within sites", "between sites only", "refused"],
            "estimate": [15.2, 8.4, np.nan],
            "std_error": [4.1, 6.0, np.nan],
            "df": [9.0, 4.0, np.nan],
            "lower": [6.1, -6.3, np.nan],
            "upper": [24.3, 23.1, np.nan],
            "p_value": [0.003, 0.2, np.nan],
            "p_adjusted": [0.006, 0.2, np.nan],
            "unit": "per 100 planted",
            "at_day": 365.0,
            "n_seedlings": [540, 540, 360],
            "n_plots": [18, 18, 12],
            "n_sites": [3, 3, 3],
            "fewest_plots": [9, 9, 3],
            "penalised": False,
            "reason": ["", "", "scalp was used at one site only, so the method cannot be told from the site"],
        }
    )


def _curves() -> SimpleNamespace:
    rows = []
    for i, method in enumerate(METHODS):
        end = float(_survival()["estimate"][i]) / 100
        for day, part in zip((0, *DAYS), (0, 0.08, 0.2, 0.4, 0.9, 1.0), strict=True):
            value = 1 - (1 - end) * part
            low, high = (1.0, 1.0) if day == 0 else (value - 0.07, min(value + 0.06, 1))
            rows.append((method, float(day), value, low, high, 270, 0))
    table = pd.DataFrame(rows, columns=["method", "day", "survival", "lower", "upper", "at_risk", "died"])

    def at_risk(days: list[float]) -> pd.DataFrame:
        return pd.DataFrame(
            [(m, d, 270 - d // 5) for m in METHODS for d in days], columns=["method", "day", "at_risk"]
        )

    def read(day: float) -> pd.DataFrame:
        last = table[table["day"] <= day].groupby("method", sort=False).tail(1)
        return last.assign(day=day, note="")

    return SimpleNamespace(
        table=table,
        at_risk=at_risk,
        read=read,
        limits="95 % limits by leaving out one plot at a time",
        notes=("scalp: no limits after day 365, the last on which two plots were watched",),
    )


def _dose() -> SimpleNamespace:
    radius = np.linspace(0.4, 0.9, 11)
    middle = 55 + 25 * (1 - np.exp(-4 * (radius - 0.35)))
    table = pd.DataFrame(
        {
            "weed_free_radius_m": radius,
            "area_m2": np.pi * radius**2,
            "estimate": middle,
            "lower": middle - 8,
            "upper": middle + 7,
        }
    )
    return SimpleNamespace(
        column="weed_free_radius_m",
        shape="spline",
        at_day=365.0,
        table=table,
        gain=pd.DataFrame({"from_m": [0.4], "to_m": [0.5], "estimate": [5.0]}),
        p_value=0.012,
        line_p_value=0.2,
        along_line=None,
        stops_paying=SimpleNamespace(
            value=0.75,
            lower=0.6,
            upper=None,
            gain=1.0,
            state="reached",
            sentence="From a radius of 0.75 m (1.77 m²) a further 10 cm went with less than 1 more alive per "
            "100 planted (95 % limits 0.60 m to beyond the data).",
        ),
        within_sd_m=0.2,
        description=pd.DataFrame({"method": METHODS[:2], "plots": [9, 9], "mean": [0.63, 0.63]}),
        plots=(0.4, 0.6, 0.9),
        fit=None,
        n_seedlings=900,
        n_plots=30,
        n_sites=3,
        checks=("the curve has 2 inner knots",),
    )


def _slopes() -> pd.DataFrame:
    return pd.DataFrame(
        {
            "method": METHODS[:3],
            "ratio": [0.84, 0.91, np.nan],
            "ratio_lower": [0.71, 0.70, np.nan],
            "ratio_upper": [0.99, 1.18, np.nan],
            "df": [6.2, 5.8, np.nan],
            "p_value": [0.041, 0.41, np.nan],
            "n_plots": [9, 9, 9],
            "reason": ["", "", "its plots at one site are of one radius"],
        }
    )


def _payoff() -> pd.DataFrame:
    return pd.DataFrame(
        {
            "method": METHODS,
            "cost_per_plant": [4.0, 5.0, 6.0, 7.0],
            "survival": _survival()["estimate"],
            "cost_per_established": [6.87, 6.81, 9.01, 11.48],
            "lower": [6.02, 6.24, 8.03, 9.19],
            "upper": [8.15, 7.67, 10.47, 17.16],
            "probability_lowest": [0.47, 0.53, 0.0, 0.0],
            "currency": "dollars",
        }
    )


def _confounding() -> SimpleNamespace:
    balance = pd.DataFrame(
        {
            "trait": ["slope", "texture"],
            "level": ["", "clay"],
            "method": [METHODS[1], METHODS[1]],
            "n_plots": [9, 9],
            "value": [6.2, 33.3],
            "unit": ["mean", "per 100 plots"],
            "standardised_difference": [0.7, 0.1],
        }
    )
    overlap = pd.DataFrame(
        {
            "trait": ["site", "slope", "owner"],
            "method": METHODS[1],
            "against": USUAL,
            "n_plots": 9,
            "inside": [100.0, 66.7, 0.0],
            "inside_against": [100.0, 77.8, 0.0],
        }
    )
    table = pd.DataFrame({METHODS[0]: [3, 3, 3]}, index=pd.Index(SITES, name="site"))
    return SimpleNamespace(table=table, balance=balance, overlap=overlap, between_only=(), checks=())


def _permutation() -> pd.DataFrame:
    return pd.DataFrame(
        {
            "method": METHODS[1:],
            "against": USUAL,
            "statistic": [-3.7, -1.4, np.nan],
            "p_value": [0.004, 0.21, np.nan],
            "p_adjusted": [0.008, 0.21, np.nan],
            "smallest_p": [0.004, 0.004, np.nan],
            "layouts": [8000.0, 8000.0, 1.0],
            "tried": [249, 249, 0],
            "how": ["layouts drawn at random", "layouts drawn at random", "every layout"],
            "n_plots": [18, 18, 0],
            "n_blocks": [3, 3, 0],
            "reason": ["", "", "no block holds both, so no other layout was possible"],
        }
    )


def _hazards() -> pd.DataFrame:
    return pd.DataFrame(
        {
            "period": ["planting to the first dry season", "first dry season"],
            "method": METHODS[1],
            "against": USUAL,
            "hazard_ratio": [0.9, 0.5],
            "hazard_ratio_lower": [0.5, 0.3],
            "hazard_ratio_upper": [1.6, 0.8],
            "deaths": [21.3, 50.7],
        }
    )


def _residuals() -> pd.DataFrame:
    return pd.DataFrame(
        {
            "method": METHODS[1],
            "day": [40.0, 205.0, 365.0],
            "first_day": [40.0, 200.0, 365.0],
            "last_day": [40.0, 210.0, 365.0],
            "deaths": [20.0, 80.0, 50.0],
            "estimate": [-0.1, -0.7, -0.4],
            "overall": -0.5,
        }
    )


def _mean_days() -> pd.DataFrame:
    return pd.DataFrame(
        {
            "method": METHODS,
            "estimate": [290.0, 322.0, 310.0, np.nan],
            "lower": [270.0, 305.0, 291.0, np.nan],
            "upper": [310.0, 339.0, 329.0, np.nan],
            "n_plots": [9, 9, 9, 3],
            "note": ["", "", "", "watched to day 300 only"],
        }
    )


def _days_apart() -> pd.DataFrame:
    return pd.DataFrame(
        {
            "method": METHODS[1:],
            "against": USUAL,
            "estimate": [32.0, 20.0, np.nan],
            "lower": [9.0, -4.0, np.nan],
            "upper": [55.0, 44.0, np.nan],
            "p_value": [0.01, 0.1, np.nan],
            "n_plots": [18, 18, 0],
            "n_sites": [3, 3, 0],
            "reason": ["", "", "no site holds both"],
        }
    )


def _within_between() -> pd.DataFrame:
    return pd.DataFrame(
        {
            "method": METHODS[1],
            "against": USUAL,
            "basis": ["within sites", "between sites", "between less within"],
            "hazard_ratio": [0.6, 0.3, 0.5],
            "hazard_ratio_lower": [0.4, 0.1, 0.1],
            "hazard_ratio_upper": [0.9, 1.4, 2.5],
            "p_value": [0.02, 0.09, 0.22],
        }
    )


def _e_values() -> pd.DataFrame:
    return pd.DataFrame(
        {
            "method": METHODS[1:],
            "against": USUAL,
            "risk_ratio": [0.64, 0.8, np.nan],
            "risk_ratio_lower": [0.45, 0.6, np.nan],
            "risk_ratio_upper": [0.9, 1.2, np.nan],
            "e_value": [2.5, 1.8, np.nan],
            "e_value_limit": [1.5, 1.0, np.nan],
            "reason": ["", "", "no place holds both"],
        }
    )


def _fit() -> SimpleNamespace:
    return SimpleNamespace(
        formula="method",
        variance="CR2",
        n_seedlings=900,
        n_died=310,
        n_plots=30,
        n_sites=3,
        checks=("no piece was merged",),
        table=pd.DataFrame({"term": ["method[T.scalp]"], "estimate": [0.1]}),
    )


def _agreement() -> pd.DataFrame:
    return pd.DataFrame(
        [
            (m, METHODS[1], USUAL, e, e - 9, e + 9, "")
            for m, e in (("grouped", 15.2), ("cox", 14.8), ("logistic", 15.9))
        ],
        columns=["model", "method", "against", "estimate", "lower", "upper", "note"],
    )


def _rain() -> pd.DataFrame:
    return pd.DataFrame(
        {
            "gauge": "north gauge",
            "measure": ["dry-season total", "longest run of days under 2 mm"],
            "value": [61.4, 43.0],
            "unit": ["mm", "days"],
            "planted_date": pd.Timestamp("2023-06-15"),
            "window_start": pd.Timestamp("2023-12-01"),
            "window_end": pd.Timestamp("2024-03-31"),
            "median": [118.0, 24.0],
            "decile": [2.0, 9.0],
            "years_of_record": [31, 31],
            "note": ["", ""],
        }
    )


def _rain_record() -> pd.DataFrame:
    dates = pd.date_range("2008-01-01", "2024-07-31", freq="D")
    falls = np.random.default_rng(7).gamma(0.3, 5.0, len(dates)).round(1)
    return pd.DataFrame({"gauge": "north gauge", "date": dates, "rain_mm": falls})


def _groups(name: str, labels: tuple[str, ...]) -> pd.DataFrame:
    estimate = np.linspace(74, 58, len(labels))
    return pd.DataFrame(
        {
            name: labels,
            "planted": 300,
            "alive": (3 * estimate).round(),
            "estimate": estimate,
            "lower": estimate - 9,
            "upper": estimate + 8,
            "n_plots": 10,
        }
    )


def _in_all() -> pd.DataFrame:
    return pd.DataFrame(
        {
            "measure": ["plants alive in the whole planting", "stocking"],
            "estimate": [3335.0, 740.4],
            "lower": [2900.0, 643.8],
            "upper": [3700.0, 821.4],
            "unit": ["plants", "living stems per hectare"],
            "put_in": [5000.0, 1110.0],
            "note": ["infill is not in it", "infill is not in it"],
        }
    )


def _years() -> pd.DataFrame:
    return pd.DataFrame(
        {
            "planting_year": ["2022", "2023"],
            "method": "all preparations",
            "estimate": [71.2, 63.0],
            "lower": [60.1, np.nan],
            "upper": [79.4, np.nan],
            "watched": 480,
            "n_plots": [16, 1],
            "n_sites": 2,
            "at_day": 365.0,
            "note": ["", "one plot gives no limits"],
        }
    )


def _heights() -> pd.DataFrame:
    return pd.DataFrame(
        {
            "method": METHODS,
            "milestone": "12 months",
            "at_day": 365.0,
            "at_least_cm": 60.0,
            "known": 258,
            "alive": [157, 198, 180, 55],
            "measured": [150, 190, 180, 50],
            "tall": [75, 110, 90, 20],
            "estimate": [30.4, 44.4, 34.9, 8.5],
            "lower": [22.0, 36.0, 27.0, 3.0],
            "upper": [39.0, 52.0, 43.0, 17.0],
            "n_plots": [9, 9, 9, 3],
            "note": ["7 of the living were not measured", "", "", ""],
        }
    )


def _patch() -> pd.DataFrame:
    return pd.DataFrame(
        {
            "measure": "weed cover",
            "method": [name for name in METHODS for _ in (1, 2)],
            "visit": ["visit 1", "visit 5"] * 4,
            "first_day": [38.0, 360.0] * 4,
            "last_day": [42.0, 366.0] * 4,
            "day": [40.0, 365.0] * 4,
            "mean": [15.0, 52.0, 18.0, 55.0, 12.0, 47.0, 20.0, 61.0],
            "low_quarter": [12.0, 48.0] * 4,
            "high_quarter": [21.0, 60.0] * 4,
            "unit": "%",
            "n_plots": 9,
            "n_records": [250, 180] * 4,
        }
    )


def _causes() -> pd.DataFrame:
    periods = ("planting to the first dry season", "first dry season", "after the first dry season")
    return pd.DataFrame(
        [
            (method, period, cause, (3 * i + 5 * j + 7 * k) % 11)
            for i, method in enumerate(METHODS)
            for j, period in enumerate(periods)
            for k, cause in enumerate(("dried out", "browsed", "unknown"))
        ],
        columns=["method", "period", "cause", "deaths"],
    )


def _bounds() -> pd.DataFrame:
    survival = _survival()
    rules = (
        ("as recorded", 0.0),
        ("missing unknown", 2.0),
        ("all unknown dead", -4.0),
        ("all unknown alive", 3.0),
    )
    return pd.concat(
        [
            pd.DataFrame(
                {
                    "rule": rule,
                    "method": survival["method"].astype(str),
                    "estimate": survival["estimate"] + shift,
                    "lower": survival["lower"] + shift,
                    "upper": survival["upper"] + shift,
                }
            )
            for rule, shift in rules
        ],
        ignore_index=True,
    )
