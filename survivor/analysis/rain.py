"""The season's rain and soil water, and whether the effect of rain on survival can be told at all."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

import pandas as pd

from survivor.analysis.models import first_plants, season_formula
from survivor.effects.cells import levels_of
from survivor.effects.slopes import Slopes, slopes
from survivor.errors import SurvivorError
from survivor.intervals import entries
from survivor.models.fit import fit
from survivor.records import Records
from survivor.season.gauge import GaugeRecord
from survivor.season.gauges import Gauges
from survivor.season.moisture import SoilWater, soil_water
from survivor.season.rain import COLUMNS, measures
from survivor.season.stress import stress_measures
from survivor.settings import Gauge, Settings

FEWEST_GAUGE_SEASONS = 6
_RAIN = "dry_season_rain_mm"
_PER_MM = 100.0  # ratios of hazards are told for so much more rain
_DRY_TOTAL = "rain in the dry season"


@dataclass(frozen=True)
class SeasonRain:
    """What the gauges, and the weather beside them, say.

    ``measures`` one row a gauge, window and measure; ``record`` the daily falls;
    ``effect`` of rain on survival or None, and then ``reason`` says why there is none;
    ``cannot`` which gauge tells nothing, and why; ``water`` in the soil of the plots, or
    None where no weather is named. ``by_method`` the effect of rain under each preparation, where it can be
    told.
    """

    measures: pd.DataFrame
    record: pd.DataFrame
    effect: pd.DataFrame | None
    reason: str
    cannot: tuple[str, ...]
    water: SoilWater | None = None
    by_method: Slopes | None = None


def season_rain(settings: Settings, gauges: Gauges, records: Records) -> SeasonRain:
    """Measure the season at each gauge.

    Parameters
    ----------
    settings
        The study file: gauges, the sites they stand for, dry season.
    gauges
        Their readings.
    records
        For the planting dates, and for the survival that rain might explain.
    """
    found: list[pd.DataFrame] = []
    daily: list[pd.DataFrame] = []
    cannot: list[str] = []
    as_of = settings.records_closed
    for gauge in settings.gauges:
        record = gauges.records.get(gauge.name)
        if record is None:
            cannot.append(f"Rain at {gauge.name}: its file, {gauge.file}, could not be read.")
            continue
        try:
            daily.append(record.daily.assign(gauge=gauge.name)[["gauge", "date", "rain_mm"]])
            found.append(_measure(record, gauge, settings, records.plots, as_of))
        except SurvivorError as fault:
            cannot.append(f"Rain at {gauge.name}: {fault.what}.")
    table = pd.concat(found, ignore_index=True) if found else pd.DataFrame(columns=list(COLUMNS))
    effect, by_method, reason = _effect(settings, table, records)
    water = soil_water(settings, gauges, records.plots)
    if water is not None:
        table = _with_stress(table, water, settings)
        cannot += water.cannot
    return SeasonRain(
        table,
        pd.concat(daily, ignore_index=True) if daily else pd.DataFrame(columns=["gauge", "date", "rain_mm"]),
        effect,
        reason,
        tuple(cannot),
        water,
        by_method,
    )


def _with_stress(table: pd.DataFrame, water: SoilWater, settings: Settings) -> pd.DataFrame:
    """Add the stress days of each gauge's typical patches to the season's measures."""
    closed = settings.records_closed
    until = None if closed is None else pd.Timestamp(closed)
    found = [
        stress_measures(each.balance, each.gauge, each.soil, each.planted, settings.dry_season, until)
        for each in water.typical
        if not pd.isna(each.planted)
    ]
    filled = [part.astype({"years_of_record": float}) for part in (table, *found) if not part.empty]
    return pd.concat(filled, ignore_index=True) if filled else table


def _measure(
    record: GaugeRecord, gauge: Gauge, settings: Settings, plots: pd.DataFrame, as_of: dt.date | None
) -> pd.DataFrame:
    here = plots[plots["site"].isin(gauge.sites)] if gauge.sites else plots
    planted = [day.date() for day in pd.to_datetime(here["planted_date"]).dropna().unique()]
    return measures(record, planted, settings.dry_season, as_of)


def _effect(
    settings: Settings, table: pd.DataFrame, records: Records
) -> tuple[pd.DataFrame | None, Slopes | None, str]:
    """Effect of dry-season rain between gauges and seasons, and under each method; or the reason why none."""
    if not settings.gauges:
        return None, None, "No rain gauge is named in the study file, so nothing can be said of rain."
    dry = table[(table["measure"] == _DRY_TOTAL) & table["value"].notna()]
    intervals = first_plants(records.intervals)
    if intervals.empty or dry.empty:
        return (
            None,
            None,
            "The gauges give no dry-season total, so how rain went with survival cannot be told.",
        )
    first = dry.sort_values("window_start").drop_duplicates(["gauge", "window_start"])
    rows = _with_rain(intervals, settings, first)
    seasons = rows["gauge_season"].nunique()
    if seasons < FEWEST_GAUGE_SEASONS:
        return (
            None,
            None,
            (
                f"How rain went with survival cannot be told: these records hold {seasons} "
                f"{'sample' if seasons == 1 else 'samples'} of a first dry season's rain (a sample is one "
                f"season at one gauge), and at least {FEWEST_GAUGE_SEASONS} are needed. Rain is given as "
                "context for the season."
            ),
        )
    formula, _ = season_formula(rows)
    try:
        fitted = fit(rows, f"{formula} + {_RAIN}", strata=None, cluster="gauge_season")
    except SurvivorError as fault:
        return None, None, f"How rain went with survival cannot be told: {fault.what}."
    effect = fitted.table[fitted.table["term"] == _RAIN]
    put_in = entries(rows)
    mean = float((put_in[_RAIN] * put_in["at_risk"]).sum() / put_in["at_risk"].sum())
    told = {"rain_least_mm": float(rows[_RAIN].min()), "rain_most_mm": float(rows[_RAIN].max())}
    effect = effect.assign(gauge_seasons=seasons, rain_mean_mm=mean, **told).reset_index(drop=True)
    return effect, _by_method(rows, formula), ""


def _by_method(rows: pd.DataFrame, formula: str) -> Slopes | None:
    """Effect of rain under each method seen in as many dry seasons as the effect itself needs."""
    terms = formula.split(" + ")
    if "method" not in terms:
        return None
    seasons = rows.groupby("method", observed=True)["gauge_season"].nunique()
    levels = [name for name in levels_of(rows, "method") if seasons[name] >= FEWEST_GAUGE_SEASONS]
    try:
        return slopes(rows, terms, _RAIN, levels, per=_PER_MM, strata=None, cluster="gauge_season")
    except SurvivorError:
        return None


def _with_rain(intervals: pd.DataFrame, settings: Settings, dry: pd.DataFrame) -> pd.DataFrame:
    """Add the rain of each plant's first dry season after planting, by the gauge of its site."""
    gauge_of = {site: gauge.name for gauge in settings.gauges for site in gauge.sites}
    everywhere = next((gauge.name for gauge in settings.gauges if not gauge.sites), None)
    rows = intervals.copy()
    rows.attrs = dict(intervals.attrs)
    rows["gauge"] = rows["site"].astype(str).map(gauge_of)
    if everywhere is not None:
        rows["gauge"] = rows["gauge"].fillna(everywhere)
    windows = dry[["gauge", "window_start", "window_end", "value"]].sort_values("window_end")
    rows = rows[rows["gauge"].notna() & rows["planted_date"].notna()].sort_values("planted_date")
    joined = pd.merge_asof(
        rows,
        windows,
        left_on="planted_date",
        right_on="window_end",
        by="gauge",
        direction="forward",
    )
    joined = joined[joined["value"].notna()].rename(columns={"value": _RAIN})
    joined["gauge_season"] = joined["gauge"] + " " + joined["window_start"].astype(str)
    joined.attrs = dict(intervals.attrs)
    return joined
