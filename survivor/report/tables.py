"""Every table as CSV, what each holds, and the findings as JSON: the same numbers, not rounded."""

from __future__ import annotations

import json
import math
from pathlib import PurePosixPath, PureWindowsPath
from typing import Any, Final

import pandas as pd

from survivor.analysis.milestone import milestone_words
from survivor.analysis.privacy import COORDINATES, LANDHOLDERS, NOT_SHOWN
from survivor.analysis.result import Analysis
from survivor.costs.prices import lines_table
from survivor.effects.dose import Dose
from survivor.settings import Settings
from survivor.vocabulary import PER_100, Basis
from survivor.works.columns import LEAD

PHOTO_COLUMNS = ("name", "site", "date", "file", "note", "latitude", "longitude")
CORRECTION_COLUMNS = ("date", "who", "what", "why")


def photo_table(settings: Settings) -> pd.DataFrame:
    """Return the photo points by site, name and date: file names without their folders.

    Coordinates are columns of their own, which a shared report leaves out unless the study file
    allows them.
    """
    # A file is named without its folders, whichever way they are written.
    files = [PureWindowsPath(PurePosixPath(point.file or "").name).name for point in settings.photo_points]
    rows = [
        (point.name, point.site or "", point.date or "", file, point.note, point.latitude, point.longitude)
        for point, file in zip(settings.photo_points, files, strict=True)
    ]
    table = pd.DataFrame(rows, columns=list(PHOTO_COLUMNS))
    if not settings.privacy.show_coordinates or table[["latitude", "longitude"]].isna().all(axis=None):
        table = table.drop(columns=["latitude", "longitude"])
    return table.sort_values(["site", "name", "date"], kind="stable").reset_index(drop=True)


def correction_table(settings: Settings) -> pd.DataFrame:
    """Return the corrections of the records in the order of their days."""
    rows = [(each.date, each.who or "", each.what, each.why) for each in settings.corrections]
    table = pd.DataFrame(rows, columns=list(CORRECTION_COLUMNS))
    return table.sort_values("date", kind="stable").reset_index(drop=True)


FOLDER: Final = "tables"

#: Of the shape of ``findings.json``; raised when a key changes its meaning or goes.
VERSION: Final = "1"

#: Above this number of records only those not used are written out.
MOST_ACCOUNTS: Final = 100_000


def tables_of(analysis: Analysis) -> dict[str, pd.DataFrame]:
    """Return every table of an analysis by name; those with nothing in them are left out."""
    results = {
        "survival": analysis.survival.by_method,
        "contrasts": analysis.comparing.against,
        "all_pairs": analysis.comparing.all_pairs,
        "curves": analysis.survival.curves,
        "radius": analysis.radius.response,
        "radius_held": analysis.radius.held_equal,
        "radius_by_method": analysis.radius.by_method,
        "rain_by_method": analysis.rain.by_method,
        "payoff": analysis.costs.payoff,
        "permutation": analysis.supporting.permutation,
        "hazards": analysis.supporting.hazards,
        "mean_days": analysis.supporting.mean_days,
        "within_between": analysis.confounding.within_between,
        "e_values": analysis.confounding.sensitivity,
        "like_sites": analysis.supporting.like_sites,
    }
    found = {name: result.table for name, result in results.items() if result is not None}
    found |= _money(analysis)
    found["tests"] = _tests(analysis)
    if analysis.survival.by_method is not None:
        found["filled_in"] = analysis.survival.by_method.extrapolated
    if analysis.radius.response is not None:
        found["radius_gain"] = analysis.radius.response.gain
        found["radius_answer"] = _radius_answer(analysis.radius.response)
    if analysis.confounding.layout is not None:
        found["layout"] = analysis.confounding.layout.table.reset_index()
        found["traits"] = analysis.confounding.layout.balance
        found["overlap"] = analysis.confounding.layout.overlap
    if analysis.supporting.mean_days is not None:
        found["mean_days_differences"] = analysis.supporting.mean_days.differences
    found |= {
        "agreement": analysis.robustness.agreement,
        "rain": analysis.rain.measures,
        "species": analysis.described.species,
        "sites": analysis.described.sites,
        "causes": analysis.described.causes,
        "bounds": analysis.robustness.bounds,
        "payoff_other_rule": analysis.robustness.costs,
        "left_out": analysis.robustness.left_out,
        "residuals": analysis.supporting.residuals,
        "measures": analysis.described.measures,
        "observed": analysis.survival.observed,
        "milestones": analysis.survival.milestones,
        "infill": analysis.survival.infill,
        "in_all": analysis.totals.scaled,
        "infill_to_reach": analysis.totals.to_reach,
        "planting_years": analysis.planting_years,
        "heights": analysis.heights,
        "patch": analysis.patch,
        "photo_points": photo_table(analysis.settings),
        "corrections": correction_table(analysis.settings),
        "problems": analysis.records.problems,
        "accounts": _accounts(analysis.records.accounts),
        "matches": analysis.records.matches,
    }
    found |= works_tables(analysis)
    if analysis.soil_water is not None:
        found["soil_water"] = analysis.soil_water.table
        days = [
            each.balance.table.assign(gauge=each.gauge, soil=each.soil)
            for each in analysis.soil_water.typical
        ]
        found["soil_water_days"] = pd.concat(days, ignore_index=True) if days else pd.DataFrame()
    if analysis.rain.effect is not None:
        found["rain_effect"] = analysis.rain.effect
    found |= {f"terms_{name}": fit.table for name, fit in analysis.models.by_name.items()}
    private = hidden(analysis) | _headers(analysis)
    shown = {name: _public(table, private) for name, table in found.items() if not table.empty}
    return {name: _in_units(table, analysis.basis) for name, table in shown.items()}


def works_tables(analysis: Analysis) -> dict[str, pd.DataFrame]:
    """Return the tables of works; none where the study file does not ask about them."""
    works = analysis.works
    found = {"works": works.answers, "works_departures": works.departures}
    if works.columns is not None:
        found["works_plots"] = works.columns.table
    if works.cheapest is not None:
        found["works_sets"] = works.cheapest.table
    curves = [timing.curve for timing in works.timings if not timing.curve.empty and LEAD in timing.curve]
    return found | {"works_lead": curves[0]} if curves else found


def _tests(analysis: Analysis) -> pd.DataFrame:
    """Return the F tests of the report that stand in no other table."""
    tested = {
        "the radius response differs between preparations": analysis.radius.by_method,
        "the response to rain differs between preparations": analysis.rain.by_method,
        "ratios of hazards differ between periods": analysis.supporting.hazards,
        "differences within and between sites differ": analysis.confounding.within_between,
    }
    rows = [{"what": what, **vars(found.test)} for what, found in tested.items() if found is not None]
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
        rows.append({"what": "gain that matters", "estimate": stops.gain, "unit": f"{PER_100} per 10 cm"})
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
    if analysis.costs.payoff is not None:
        more = {
            "increments": analysis.costs.payoff.increments,
            "break_even": analysis.costs.payoff.break_even,
            "best_value": analysis.costs.payoff.best_value,
            "payoff_with_infill": analysis.costs.payoff.with_infill,
        }
        found |= {name: result.table for name, result in more.items() if result is not None}
        if analysis.costs.payoff.best_value is not None:
            found["best_value_ranges"] = analysis.costs.payoff.best_value.ranges
    after = {
        "season_costs": analysis.costs.in_seasons,
        "stocking": analysis.costs.stems_needed,
        "infill_order": analysis.costs.infill_order,
    }
    return found | {name: result.table for name, result in after.items() if result is not None}


def _in_units(table: pd.DataFrame, basis: Basis) -> pd.DataFrame:
    """Name what numbers are per 100 of, where that is not planted seedlings."""
    if "unit" not in table or basis is Basis.PLANTED:
        return table
    units = {f"{PER_100}{step}": f"{basis.per_100}{step}" for step in ("", " per 10 cm")}
    return table.assign(unit=table["unit"].replace(units))


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


def findings_table(analysis: Analysis) -> pd.DataFrame:
    """Return the findings, one row each; lists are joined by semicolons, what has parts is a column each."""

    def told(name: str, value: Any) -> dict[str, Any]:
        if isinstance(value, dict):
            return {f"{name}_{part}": own for part, own in value.items()}
        return {name: "; ".join(value) if isinstance(value, list) else value}

    records = [finding.as_record() for finding in analysis.findings]
    rows = [[told(name, value) for name, value in record.items()] for record in records]
    return pd.DataFrame([{name: cell for cells in row for name, cell in cells.items()} for row in rows])


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
        "findings": [finding.as_record() for finding in analysis.findings],
        "cannot": list(analysis.cannot),
        "notes": list(analysis.notes),
        "provenance": dict(analysis.provenance),
    }
    return json.dumps(_plain(content), indent=2, ensure_ascii=False, allow_nan=False) + "\n"


def to_digits(table: pd.DataFrame) -> pd.DataFrame:
    """Round the numbers of a table to the digits that any machine gives."""
    floats = table.select_dtypes("float").columns
    return table.assign(**{name: table[name].map(_digits) for name in floats})


def _digits(value: float) -> float:
    """Round to twelve digits: further ones are those of the machine's threads and memory."""
    return float(f"{value:.12g}")


def _plain(value: Any) -> Any:
    """Turn numpy numbers, tuples and blanks into what JSON knows."""
    if isinstance(value, dict):
        return {str(key): _plain(part) for key, part in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(part) for part in value]
    if hasattr(value, "item") and not isinstance(value, str):
        value = value.item()
    if isinstance(value, float):
        return _digits(value) if math.isfinite(value) else None
    if value is None or isinstance(value, bool | int | float | str):
        return value
    return str(value)


TITLES: Final[dict[str, str]] = {
    "findings": "All questions and answers, with intervals, what each rests on and its strength of evidence",
    "survival": "Alive per 100 planted under each preparation at the milestone, averaged over sites, species",
    "milestones": "Alive per 100 planted under each preparation at every milestone that the visits reached",
    "observed": "Seedlings of each preparation observed at the milestone: alive, dead, unknown",
    "infill": "Survival of infill plants, on their own clock",
    "in_all": "Plants alive in the whole planting, and living stems per hectare",
    "infill_to_reach": "Infill to reach what was promised and the stems wanted, with its cost",
    "planting_years": "Alive at the milestone by planting season and preparation",
    "heights": "Plants alive and of the set height by preparation, observed",
    "patch": "Weed cover and weed-free radius at each visit, described",
    "photo_points": "Photo points, with the names of their files",
    "corrections": "Corrections made in the records",
    "contrasts": "Each preparation against {base}: difference in plants alive per 100 planted",
    "all_pairs": "The same differences between all pairs of preparations",
    "curves": "Survival curves: share alive, limits and numbers at risk by day after planting",
    "works": "What each work adds, when, and works after planting: differences per 100 planted",
    "works_lead": "Alive per 100 planted by months from the first weed control to planting",
    "works_sets": "Sets of works by cost, each against the set with most alive",
    "works_plots": "The works of each plot, before or at planting, and when",
    "works_departures": "What was planned for each plot, and what was done",
    "radius": "Alive per 100 planted by radius of the weed-free patch",
    "radius_answer": "The numbers of the answer on the radius: gain along a line, where more stops paying",
    "radius_gain": "What a further 10 cm of radius goes with, by radius",
    "radius_held": "Differences between preparations with the radius held equal",
    "radius_by_method": "The radius response under each preparation",
    "payoff": "Cost per living plant under each preparation",
    "increments": "Extra cost and extra plants alive under each preparation, against {base}",
    "break_even": "Break-even cost of each preparation per plant, against {base}",
    "best_value": "Chance of the best value by what an established plant is worth",
    "best_value_ranges": "Which preparation is the best value from which worth to which",
    "payoff_with_infill": "Cost per living plant under each preparation, with infill out and in",
    "season_costs": "Cost per living plant in a dry and in a wet season",
    "cost_lines": "What was paid for under each preparation, brought to one plant",
    "stocking": "Plants to plant per hectare for the stems wanted",
    "infill_order": "Infill plants to order at each site for those that died so far",
    "permutation": "Randomisation test: p from re-randomised allocations",
    "hazards": "Ratio of the hazard under each preparation to that under {base}, by period",
    "mean_days": "Mean days alive up to the milestone",
    "mean_days_differences": "Differences in mean days alive",
    "within_between": "The difference within sites beside the difference between sites",
    "e_values": "How strong an unmeasured cause would have to be to explain a difference away",
    "like_sites": "Differences expected at similar sites",
    "layout": "Plots of each preparation at each site",
    "filled_in": "Plants averaged over that stand where a preparation was not seen",
    "tests": "F tests: whether responses, and ratios of hazards, differ",
    "traits": "Traits of the plots under each preparation",
    "overlap": "Plots that share a trait with those of {base}",
    "agreement": "The same differences from different models",
    "rain": "Measures of the season's rain against its record",
    "rain_by_method": "How rain went with survival under each preparation",
    "rain_effect": "How rain went with survival",
    "species": "Alive at the milestone by species",
    "sites": "Alive at the milestone by site",
    "causes": "Deaths by preparation, period and likely cause",
    "payoff_other_rule": "Cost per living plant under the other rule for missing plants",
    "bounds": "The answers under other rules for missing and unknown plants",
    "left_out": "The differences with each site left out",
    "residuals": "Hazard ratio at each round of visits",
    "measures": "Different ways of counting survival: survival of planted, survival of found",
    "problems": "What is wrong with the records, and what to do",
    "accounts": "Where every record read has gone: used, excluded or not needed, with the reason",
    "matches": "How each heading of the sheets was understood",
    "soil_water": "Days short of soil water at each plot",
    "soil_water_days": "Soil water day by day for a typical plot of each gauge and soil",
}

_TERMS: Final = "terms_"


def title_of(table: str, base: str = "the usual practice") -> str:
    """Return what a table holds; for a table that no line is written for, its name in plain words.

    Parameters
    ----------
    table
        Its short name, as in the folder of tables.
    base
        What the preparations are compared with, as the report words it.
    """
    if table.startswith(_TERMS):
        return f"Coefficients of the model “{table.removeprefix(_TERMS)}”, on the log scale"
    return TITLES.get(table, table.replace("_", " ")).replace("{base}", base)
