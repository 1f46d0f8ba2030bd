"""What tests of the report share: a small made-up analysis; invented places and numbers."""

from __future__ import annotations

import json
import re
from functools import cache
from typing import Any

import numpy as np
import pandas as pd

from survivor.analysis import Analysis
from survivor.analysis.parts import Reason
from survivor.costs.payoff import Payoff
from survivor.curves import Curves, curve
from survivor.curves.mean_days import MeanDaysAlive
from survivor.document.elements import Figure, Listing, Paragraph, Report, Section, Table, Terms
from survivor.document.page import sections_of
from survivor.effects.confounding import Confounding
from survivor.effects.contrasts import Contrasts, simultaneous, with_limits
from survivor.effects.dose import Dose
from survivor.effects.hazards import Hazards
from survivor.effects.plateau import Plateau
from survivor.effects.sensitivity import Sensitivity
from survivor.effects.slopes import Slopes
from survivor.effects.standardise import Standardised
from survivor.effects.within_between import WithinBetween
from survivor.evidence.finding import Finding
from survivor.evidence.making import contrast_finding
from survivor.models.clusters import WaldTest
from survivor.models.fit import fit
from survivor.models.randomisation import PermutationTest
from survivor.models.result import Fit
from survivor.records import Records
from survivor.report.arrangement import ANNEX
from survivor.sentences import Sentence, plain_text
from survivor.settings import Settings
from survivor.vocabulary import Basis
from tests.analysis.making import made, season

METHODS = ("spot spray, hand-dug", "rip and spot spray", "auger hole and guard", "scalp")
USUAL = METHODS[0]
SITES = ("Tarn Hollow", "Quill <script>alert(1)</script> & Creek", "Ombry $5 Rise$")
NONCAUSAL = "by choice"
UNREACHED = "not reached: the last visit was on day 365"
DAYS = (40, 110, 200, 290, 365)


REASONS = {
    "like_sites": "what is expected at similar sites needs 5 sites, and there are 3",
    "rain": "rain and survival: one season at one gauge cannot tell what rain did",
    "comparing": "scalp against spot spray, hand-dug: no site has both",
}


def build(allocation: str = NONCAUSAL, **changes: Any) -> Analysis:
    """Return an analysis; ``changes`` replace its pieces."""
    pieces: dict[str, Any] = {
        "findings": _findings(allocation),
        "by_method": _standardised(),
        "against": contrasts(limits_note="95 % CI, not adjusted"),
        "all_pairs": contrasts(),
        "curves": _curves(),
        "response": _dose(),
        "radius_by_method": Slopes(
            column="weed_free_radius_m",
            by="method",
            per=0.1,
            table=_slopes(),
            test=WaldTest(0.8, 1.0, 9.3, 0.39),
            variance="CR2",
            checks=(),
        ),
        "rain_by_method": None,
        "held_equal": contrasts(_contrasts().head(1)),
        "payoff": Payoff(
            by="method",
            at_day=365.0,
            survival=_standardised(),
            draws=1000,
            seed=1,
            table=_payoff(),
            said=(Sentence("Which costs least is not known."),),
            noticed=(),
            cheapest=None,
            not_costed=(),
            left_out={},
            increments=None,
            break_even=None,
            best_value=None,
            with_infill=None,
            between=(),
        ),
        "in_seasons": None,
        "stems_needed": None,
        "infill_order": None,
        "layout": _confounding(),
        "fits": {"grouped": _fit()},
        "agreement": _agreement(),
        "rain_measures": _rain(),
        "rain_record": _rain_record(),
        "rain_effect": None,
        "soil_water": None,
        "species": _groups("species", ("black wattle", "river oak")),
        "sites": _groups("site", SITES),
        "observed": _observed(),
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
        "scaled": _in_all(),
        "planting_years": _years(),
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
        "permutation": PermutationTest("method", ("site",), _permutation(), 1, ())
        if allocation != NONCAUSAL
        else None,
        "hazards": Hazards(
            by="method",
            table=_hazards(),
            test=WaldTest(1.2, 3.0, 14.2, 0.34),
            variance="CR2",
            checks=("periods were joined",),
        ),
        "residuals": _residuals(),
        "mean_days": MeanDaysAlive("method", 365.0, _mean_days(), _days_apart(), ()),
        "within_between": WithinBetween(
            by="method", table=_within_between(), test=WaldTest(3.0, 1.0, 2.0, 0.22), n_sites=3, checks=()
        ),
        "sensitivity": Sensitivity("method", 365.0, _e_values()) if allocation == NONCAUSAL else None,
        "like_sites": None,
        "notes": ("pieces: planting to the first dry season, first dry season, after",),
        "provenance": {"survivor": "0.1.0", "seed": "1", "sha256 of visits.csv": "ab" * 32},
    }
    pieces |= changes
    settings, records = pieces.pop("settings", _settings(allocation)), pieces.pop("records", _records())
    day, basis = pieces.pop("milestone_day", 365.0), pieces.pop("basis", Basis.PLANTED)
    return made(
        season(settings, records, day, basis),
        reasons=tuple(Reason(part, why) for part, why in pieces.pop("reasons", REASONS).items()),
        **pieces,
    )


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


def _records() -> Records:
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
            "fate": ["used", "used", "excluded"],
        }
    ).assign(reason=["", "", "no such date"], code=["", "", "R1"])
    matches = pd.DataFrame(
        {"file": ["visits.csv"], "sheet": [""], "header": ["Site"], "column": ["site"], "how": ["same word"]}
    )
    return Records(
        plots,
        pd.DataFrame(visits),
        pd.DataFrame(intervals),
        accounts,
        problems,
        matches,
        _settings=_settings(NONCAUSAL),
        _traits=(),
    )


def _findings(allocation: str) -> tuple[Finding, ...]:
    shared: dict[str, Any] = {"milestone": "12 months", "at_day": 365.0, "unit": "per 100 planted"}
    counts: dict[str, Any] = {"n_seedlings": 540, "n_plots": 18, "n_sites": 3}
    return (
        Finding(
            key="headline",
            question="Under which preparations were more plants alive than under the usual practice?",
            answer="At these sites rip and spot spray had 15 more alive per 100 planted than spot spray, "
            "hand-dug at 12 months (95 % CI 6 to 24 more; 540 seedlings in 18 plots at 3 sites).",
            estimate=15.2,
            lower=6.1,
            upper=24.3,
            methods=METHODS[1::-1],
            grade="moderate",
            reasons=("preparations were chosen for each place, not allocated at random",),
            raise_it=("drawing lots for which plot of a block gets which preparation",),
            **shared,
            **counts,
        ),
        Finding(
            key="target",
            question="Was the target met?",
            answer="At these sites it is unclear whether the target of 70 alive per 100 planted at 12 months "
            "was met: 67 were alive (95 % CI 58 to 74).",
            estimate=66.7,
            lower=58.0,
            upper=74.0,
            grade=None,
            verdict="unclear",
            **shared,
            **counts,
        ),
        *(
            contrast_finding(contrasts(), row, "12 months", _settings(allocation).design)
            for row in range(len(_contrasts()))
        ),
    )


def _observed() -> pd.DataFrame:
    alive, dead, unknown = (np.array(x) for x in ([157, 198, 180, 55], [101, 60, 78, 31], [12, 12, 12, 4]))
    standard = _survival()
    return pd.DataFrame(
        {
            "method": METHODS,
            "planted": alive + dead + unknown,
            "watched": alive + dead + unknown,
            "alive": alive,
            "dead": dead,
            "missing": 0,
            "unknown": unknown,
            "alive_per_100_planted": 100 * alive / (alive + dead + unknown),
            "alive_per_100_known": 100 * alive / (alive + dead),
            "estimate": standard["estimate"],
            "lower": standard["lower"],
            "upper": standard["upper"],
            "filled_in": [0.0, 0.0, 0.0, 66.0],
            "n_plots": [6, 6, 6, 2],
            "n_sites": [3, 3, 3, 1],
            "shared_sites": [3, 3, 3, 1],
        }
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
            "died_any_day": [113, 72, 90, 35],
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
            "reason": [
                "",
                "",
                "scalp was used at one site only, so the method cannot be distinguished from the site",
            ],
        }
    )


@cache
def _curves() -> Curves:
    return curve(_records().intervals, by="method")


def _dose() -> Dose:
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
    return Dose(
        column="weed_free_radius_m",
        shape="spline",
        at_day=365.0,
        table=table,
        gain=pd.DataFrame({"from_m": [0.4], "to_m": [0.5], "estimate": [5.0]}),
        p_value=0.012,
        line_p_value=0.2,
        along_line=None,
        stops_paying=Plateau(
            value=0.75,
            lower=0.6,
            upper=None,
            gain=1.0,
            state="reached",
            sentence="From a radius of 0.75 m (1.77 m²) a further 10 cm went with less than 1 more alive per "
            "100 planted (95 % CI 0.60 m to beyond the data).",
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


def _confounding() -> Confounding:
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
    return Confounding(
        table, balance, overlap, pairs=pd.DataFrame(), connected=True, parts=(), between_only=(), checks=()
    )


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


@cache
def _fit() -> Fit:
    return fit(_records().intervals, "method", strata="site", pieces=(200.0,))


def _standardised() -> Standardised:
    table = _survival()
    return Standardised("method", 365.0, table, 16.0 * np.eye(len(table)), pd.DataFrame(), ())


def contrasts(table: pd.DataFrame | None = None, limits_note: str = "") -> Contrasts:
    """Differences from the usual practice, or others."""
    made = Contrasts("method", 365.0, _contrasts() if table is None else table, limits_note, ())
    return simultaneous(made, with_limits(made))


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
        ("as reported", 0.0),
        ("missing unknown", 2.0),
        ("plants never found again all dead", -4.0),
        ("plants never found again all alive", 3.0),
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


# Verbs (and their like) that say one thing made another; none may stand in a report on
# preparations that were not allocated at random.
CAUSAL = re.compile(
    r"\b(improv(?:e|es|ed|ing)|increas(?:e|es|ed|ing)|decreas(?:e|es|ed|ing)|reduc(?:e|es|ed|ing)|"
    r"caus(?:e[sd]|ing)|rais(?:es|ed|ing)|lower(?:ed|s|ing)|boost\w*|lifted|lifts|enhanc\w+|"
    r"due to|owing to|thanks to|because|led to|leads to|leading to|result(?:s|ed|ing)? in|brought about|"
    r"paid off|pays off|stops paying|benefit(?:s|ed)?|harmed|saved|prevented|protected|"
    r"effect of|impact\w*|responsible for|attribut\w+|made (?:more|fewer|them|it)|"
    r"kept (?:[0-9]+|no|most|more|fewer))\b",
    re.IGNORECASE,
)


def named(report: Report, key: str) -> Section:
    return next(section for section in sections_of(report) if section.key == key)


def words(section: Section) -> str:
    found: list[str] = [section.heading]
    for block in section.blocks:
        if isinstance(block, Paragraph):
            found += [block.label, block.plain]
        elif isinstance(block, Listing):
            found += map(plain_text, block.items)
        elif isinstance(block, Terms):
            found += [plain_text(part) for pair in block.pairs for part in pair]
        elif isinstance(block, Table):
            found += table_words(block)
        elif isinstance(block, Figure):
            found += [block.title, block.described, plain_text(block.caption)]
            found += [] if block.table is None else table_words(block.table)
    return " ".join(found)


def table_words(table: Table) -> list[str]:
    return [
        table.caption,
        plain_text(table.note),
        *(c.heading for c in table.columns),
        *(x for row in table.rows for x in row),
    ]


def part(analysis: Analysis, key: str) -> Section:
    return named(ANNEX.of(analysis), key)


def table(section: Section, key: str) -> Table:
    blocks = [block.table if isinstance(block, Figure) else block for block in section.blocks]
    return next(block for block in blocks if isinstance(block, Table) and block.key == key)
