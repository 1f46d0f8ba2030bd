"""Every table as CSV, and the findings as JSON: the same numbers, not rounded."""

from __future__ import annotations

import json
import math
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import pandas as pd

from survivor.analysis.entry import of_found
from survivor.analysis.milestone import milestone_words
from survivor.analysis.privacy import COORDINATES, LANDHOLDERS, NOT_SHOWN
from survivor.costs.prices import lines_table
from survivor.report.logs import correction_table, photo_table
from survivor.vocabulary import PER_100

if TYPE_CHECKING:
    from survivor.analysis.result import Analysis
    from survivor.effects.dose import Dose

FOLDER: Final = "tables"

#: Of the shape of ``findings.json``; raised when a key changes its meaning or goes.
VERSION: Final = "1"

#: Above this number of records only those not used are written out.
MOST_ACCOUNTS: Final = 100_000


def tables_of(analysis: Analysis) -> dict[str, pd.DataFrame]:
    """Return every table of an analysis by name; those with nothing in them are left out."""
    results = {
        "survival": analysis.survival,
        "contrasts": analysis.contrasts,
        "all_pairs": analysis.all_pairs,
        "curves": analysis.curves,
        "radius": analysis.dose,
        "radius_held": analysis.radius_held,
        "radius_by_method": analysis.radius_by_method,
        "rain_by_method": analysis.rain_by_method,
        "payoff": analysis.payoff,
        "permutation": analysis.permutation,
        "hazards": analysis.hazards,
        "mean_days": analysis.mean_days,
        "within_between": analysis.within_between,
        "e_values": analysis.sensitivity,
        "like_sites": analysis.like_sites,
    }
    found = {name: result.table for name, result in results.items() if result is not None}
    found |= _money(analysis)
    found["tests"] = _tests(analysis)
    if analysis.survival is not None:
        found["filled_in"] = analysis.survival.extrapolated
    if analysis.dose is not None:
        found["radius_gain"] = analysis.dose.gain
        found["radius_answer"] = _radius_answer(analysis.dose)
    if analysis.confounding is not None:
        found["layout"] = analysis.confounding.table.reset_index()
        found["traits"] = analysis.confounding.balance
        found["overlap"] = analysis.confounding.overlap
    if analysis.mean_days is not None:
        found["mean_days_differences"] = analysis.mean_days.differences
    found |= {
        "agreement": analysis.agreement,
        "rain": analysis.rain,
        "species": analysis.species,
        "sites": analysis.sites,
        "causes": analysis.causes,
        "bounds": analysis.bounds,
        "left_out": analysis.left_out,
        "residuals": analysis.residuals,
        "measures": analysis.measures,
        "counted": analysis.counted,
        "milestones": analysis.milestones,
        "infill": analysis.infill,
        "in_all": analysis.in_all,
        "planting_years": analysis.years,
        "heights": analysis.heights,
        "patch": analysis.patch,
        "photo_points": photo_table(analysis.settings),
        "corrections": correction_table(analysis.settings),
        "problems": analysis.records.problems,
        "accounts": _accounts(analysis.records.accounts),
        "matches": analysis.records.matches,
    }
    if analysis.soil_water is not None:
        found["soil_water"] = analysis.soil_water.table
        days = [
            each.balance.table.assign(gauge=each.gauge, soil=each.soil)
            for each in analysis.soil_water.typical
        ]
        found["soil_water_days"] = pd.concat(days, ignore_index=True) if days else pd.DataFrame()
    if analysis.rain_effect is not None:
        found["rain_effect"] = analysis.rain_effect
    found |= {f"terms_{name}": fit.table for name, fit in analysis.fits.items()}
    private = hidden(analysis) | _headers(analysis)
    shown = {name: _public(table, private) for name, table in found.items() if not table.empty}
    return {name: _of_found(table) for name, table in shown.items()} if analysis.found_first else shown


def _tests(analysis: Analysis) -> pd.DataFrame:
    """Return the F tests of the report that stand in no other table."""
    tested = {
        "the radius response differs between preparations": analysis.radius_by_method,
        "the response to rain differs between preparations": analysis.rain_by_method,
        "ratios of hazards differ between periods": analysis.hazards,
        "differences within and between sites differ": analysis.within_between,
    }
    rows = [
        {
            "what": what,
            "statistic": found.test.statistic,
            "df1": found.test.df1,
            "df2": found.test.df2,
            "p_value": found.test.p_value,
        }
        for what, found in tested.items()
        if found is not None
    ]
    return pd.DataFrame(rows)


def _radius_answer(dose: Dose) -> pd.DataFrame:
    """Return the numbers of the answer on the radius: gain along a line, where more stops paying, tests.

    An area stands beside its radius, since areas are what patches are measured out by.
    """
    if dose.table.empty:
        return pd.DataFrame()
    radii = dose.table[dose.column].astype(float)
    span = {"from_m": radii.min(), "to_m": radii.max()}
    counts = {"n_seedlings": dose.n_seedlings, "n_plots": dose.n_plots, "n_sites": dose.n_sites}
    rows: list[dict[str, Any]] = [
        {"what": "the radius changes nothing", "p_value": dose.p_value},
        {"what": "a straight line fits as well as the curve", "p_value": dose.line_p_value},
    ]
    if dose.along_line is not None:
        line = dose.along_line
        numbers = {"estimate": line.estimate, "lower": line.lower, "upper": line.upper}
        span = {"from_m": line.from_m, "to_m": line.to_m}
        rows.insert(0, {"what": "gain along a straight line", **numbers, "unit": f"{PER_100} per 10 cm"})
    stops = dose.stops_paying
    if stops is not None:
        rows.append({"what": "gain worth having", "estimate": stops.gain, "unit": f"{PER_100} per 10 cm"})
        ends = {"estimate": stops.value, "lower": stops.lower, "upper": stops.upper}
        if any(end is not None for end in ends.values()):
            rows.append({"what": "radius from which more stops paying", **ends, "unit": "m"})
            areas = {name: None if end is None else math.pi * end**2 for name, end in ends.items()}
            rows.append({"what": "area from which more stops paying", **areas, "unit": "m²"})
    table = pd.DataFrame(rows, columns=["what", "estimate", "lower", "upper", "unit", "p_value"])
    areas = {f"{name[:-2]}_area_m2": math.pi * radius**2 for name, radius in span.items()}
    return table.assign(shape=dose.shape, **span, **areas, **counts, at_day=dose.at_day)


def _money(analysis: Analysis) -> dict[str, pd.DataFrame]:
    """Tables of costs beside the cost per established plant, and of plants to put in."""
    found = {"cost_lines": lines_table(analysis.settings)}
    if analysis.payoff is not None:
        more = {
            "increments": analysis.payoff.increments,
            "break_even": analysis.payoff.break_even,
            "best_value": analysis.payoff.best_value,
            "payoff_with_infill": analysis.payoff.with_infill,
        }
        found |= {name: result.table for name, result in more.items() if result is not None}
        if analysis.payoff.increments is not None:
            found["payoff_plane"] = analysis.payoff.increments.plane
    after = {
        "season_costs": analysis.season_costs,
        "stocking": analysis.stems_needed,
        "infill_order": analysis.infill_order,
    }
    return found | {name: result.table for name, result in after.items() if result is not None}


def _of_found(table: pd.DataFrame) -> pd.DataFrame:
    """Name what numbers are per 100 of, where that is not planted seedlings."""
    if "unit" not in table:
        return table
    return table.assign(unit=table["unit"].astype(str).map(of_found))


def _accounts(accounts: pd.DataFrame) -> pd.DataFrame:
    if len(accounts) <= MOST_ACCOUNTS:
        return accounts
    return accounts[accounts["fate"].astype(str) != "used"]


def hidden(analysis: Analysis) -> frozenset[str]:
    """Return names of columns and traits that may not be shown, in small letters."""
    privacy = analysis.settings.privacy
    names: list[str] = []
    if not privacy.show_landholders:
        names.extend(LANDHOLDERS)
    if not privacy.show_coordinates:
        names.extend(COORDINATES)
    return frozenset(names)


def _headers(analysis: Analysis) -> frozenset[str]:
    """Return the headers of the sheets under which that stands which may not be shown."""
    matches, private = analysis.records.matches, hidden(analysis)
    if matches.empty:
        return frozenset()
    secret = matches["column"].astype(str).str.casefold().isin(private)
    return frozenset(matches.loc[secret, "header"].astype(str).str.casefold())


def _public(table: pd.DataFrame, private: frozenset[str]) -> pd.DataFrame:
    """Leave out what may not be shown: columns by name, and the cells that name them."""
    shown = table[[name for name in table.columns if str(name).casefold() not in private]]
    if "column" in shown and "value" in shown:
        secret = shown["column"].astype(str).str.casefold().isin(private)
        shown = shown.assign(value=shown["value"].astype(str).mask(secret, NOT_SHOWN))
    if "trait" in shown:
        shown = shown[~shown["trait"].astype(str).str.casefold().isin(private)]
    return shown


def write_tables(analysis: Analysis, folder: Path) -> tuple[Path, ...]:
    """Write every table as CSV (UTF-8, dates ISO) into ``folder``.

    Text that a spreadsheet would take for a formula is written with an apostrophe
    before it: a site named ``=1+1`` stays a name.
    """
    folder.mkdir(parents=True, exist_ok=True)
    written = []
    for name, table in tables_of(analysis).items():
        file = folder / f"{name}.csv"
        safe = pd.DataFrame({column: _safe(table[column]) for column in table.columns})
        file.write_text(
            safe.to_csv(index=False, lineterminator="\n", date_format="%Y-%m-%d"), encoding="utf-8"
        )
        written.append(file)
    return tuple(written)


def _safe(column: pd.Series[Any]) -> pd.Series[Any]:
    if pd.api.types.is_numeric_dtype(column) or pd.api.types.is_datetime64_any_dtype(column):
        return column
    return column.astype(object).map(_not_a_formula)


def _not_a_formula(value: Any) -> Any:
    if isinstance(value, str) and value[:1] in {"=", "+", "-", "@", "\t", "\r"} and not _is_number(value):
        return f"'{value}"
    return value


def _is_number(text: str) -> bool:
    try:
        float(text)
    except ValueError:
        return False
    return True


def findings_json(analysis: Analysis) -> str:
    """Return the findings, what cannot be said and the provenance as JSON text.

    The shape is published in ``findings.schema.json``.
    """
    content = {
        "format": VERSION,
        "study": analysis.settings.study.name,
        "milestone": milestone_words(analysis.settings.headline_milestone, analysis.milestone_day),
        "at_day": analysis.milestone_day,
        "allocation": analysis.settings.design.allocation,
        "findings": [asdict(finding) for finding in analysis.findings],
        "cannot": list(analysis.cannot),
        "notes": list(analysis.notes),
        "provenance": dict(analysis.provenance),
    }
    return json.dumps(_plain(content), indent=2, ensure_ascii=False, allow_nan=False) + "\n"


def _plain(value: Any) -> Any:
    """Turn numpy numbers, tuples and blanks into what JSON knows."""
    if isinstance(value, dict):
        return {str(key): _plain(part) for key, part in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(part) for part in value]
    if hasattr(value, "item") and not isinstance(value, str):
        value = value.item()
    if isinstance(value, float) and not math.isfinite(value):
        return None
    if value is None or isinstance(value, bool | int | float | str):
        return value
    return str(value)
