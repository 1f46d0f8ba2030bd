"""The season's rain, and whether the effect of rain on survival can be told at all."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass, field

import pandas as pd

from survivor.analysis.models import first_plants, season_formula
from survivor.analysis.parts import Reason, no_rows
from survivor.effects.cells import levels_of
from survivor.effects.slopes import Slopes, slopes
from survivor.errors import SurvivorError
from survivor.intervals import entries
from survivor.models.fit import fit
from survivor.records import Records
from survivor.season.gauge import GaugeRecord, Gauges
from survivor.season.moisture import SoilWater
from survivor.season.rain import COLUMNS, Gap, RainSoFar, dry_season_gaps, measures, rain_so_far
from survivor.season.stress import stress_measures
from survivor.season.windows import planting_years
from survivor.settings import Gauge, Settings
from survivor.words import capital, counted, number

MEASURE_COLUMNS = ("gauge", "measure", "value", "unit", "median", "decile", "years_of_record", "note")
RECORD_COLUMNS = ("gauge", "date", "rain_mm")
FEWEST_GAUGE_SEASONS = 6
_RAIN = "dry_season_rain_mm"
_PER_MM = 100.0  # ratios of hazards are told for so much more rain
_DRY_TOTAL = "rain in the dry season"
_MOST_GAPS = 3  # dry seasons without a total of which a reason speaks


@dataclass(frozen=True)
class Rain:
    """What the gauges say, and whether how rain went with survival can be told.

    Attributes
    ----------
    measures
        Season measures, one row a gauge, planting date and measure.
    record
        Daily falls: ``gauge, date, rain_mm``.
    effect, by_method
        Rain of the first dry season and survival, over all preparations and under each;
        None where it cannot be determined.
    gaps
        Dry seasons without a total, for want of readings.
    reasons
        Which gauge tells nothing and why, and why there is no effect.
    """

    measures: pd.DataFrame = field(default_factory=no_rows(*MEASURE_COLUMNS))
    record: pd.DataFrame = field(default_factory=no_rows(*RECORD_COLUMNS))
    effect: pd.DataFrame | None = None
    by_method: Slopes | None = None
    gaps: tuple[Gap, ...] = ()
    reasons: tuple[Reason, ...] = ()


def rain_of(settings: Settings, gauges: Gauges, records: Records, water: SoilWater | None) -> Rain:
    """Measure the season at each gauge.

    Parameters
    ----------
    settings
        The study file: gauges, the sites they stand for, dry season.
    gauges
        Their readings.
    records
        For the planting dates, and for the survival that rain might explain.
    water
        Soil water of the plots, for days of stress; None where no weather is named.
    """
    measured: list[pd.DataFrame] = []
    daily: list[pd.DataFrame] = []
    reasons: list[Reason] = []
    for gauge in settings.gauges:
        part, record = f"rain at {gauge.name}", gauges.records.get(gauge.name)
        if record is None:
            reasons.append(Reason(part, f"Rain at {gauge.name}: its file, {gauge.file}, could not be read"))
            continue
        try:
            daily.append(record.daily.assign(gauge=gauge.name)[list(RECORD_COLUMNS)])
            measured.append(_measure(record, gauge, settings, records.plots, settings.records_closed))
        except SurvivorError as fault:
            reasons.append(Reason(part, f"Rain at {gauge.name}: {fault.what}"))
    table = pd.concat(measured, ignore_index=True) if measured else pd.DataFrame(columns=list(COLUMNS))
    closed = settings.records_closed
    gaps = dry_season_gaps(gauges, settings.gauges, records.plots, settings.dry_season, closed)
    effect, by_method = _effect(settings, table, records, gaps)
    if isinstance(effect, Reason):
        reasons.append(effect)
    else:
        left_out = "the rain of this dry season is not in the answer on rain"
        reasons += [
            Reason(f"rain at {gap.gauge}", f"{capital(gap.what)}: {left_out}", gap.mend) for gap in gaps
        ]
    if water is not None:
        table = _with_stress(table, water, settings)
        reasons += [Reason(f"soil water {place}", text) for place, text in enumerate(water.cannot)]
    return Rain(
        table,
        pd.concat(daily, ignore_index=True) if daily else pd.DataFrame(columns=list(RECORD_COLUMNS)),
        None if isinstance(effect, Reason) else effect,
        by_method,
        gaps,
        tuple(reasons),
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
    settings: Settings, table: pd.DataFrame, records: Records, gaps: Sequence[Gap]
) -> tuple[pd.DataFrame | Reason, Slopes | None]:
    """Effect of dry-season rain between gauges and seasons, and under each method; or the reason why none."""
    if not settings.gauges:
        why = "No rain gauge is named in the study file, so nothing can be said of rain"
        return Reason("rain", why, "a rain gauge, named under [[gauges]]"), None
    told, mends = [gap.what for gap in gaps], [gap.mend for gap in gaps]
    dry = table[(table["measure"] == _DRY_TOTAL) & table["value"].notna()]
    intervals = first_plants(records.intervals)
    if intervals.empty or dry.empty:
        why = "The gauges give no dry-season total, so how rain went with survival cannot be estimated"
        return Reason(
            "rain", _with(why, [gap.what for gap in gaps]), _with("", [gap.mend for gap in gaps])
        ), None
    first = dry.sort_values("window_start").drop_duplicates(["gauge", "window_start"])
    rows = _with_rain(intervals, settings, first)
    seasons = rows["gauge_season"].nunique()
    if seasons < FEWEST_GAUGE_SEASONS:
        why = (
            "How rain went with survival cannot be estimated: a gauge in a dry season is one sample, and "
            f"these records hold {number(seasons)} of {FEWEST_GAUGE_SEASONS} needed"
        )
        wanted = number(FEWEST_GAUGE_SEASONS - seasons)
        more = f"{wanted} more samples, from other gauges or seasons, pooled with survivor pool"
        return Reason("rain", _with(why, told), _with(more, mends)), None
    formula, _ = season_formula(rows)
    try:
        fitted = fit(rows, f"{formula} + {_RAIN}", strata=None, cluster="gauge_season")
    except SurvivorError as fault:
        return Reason("rain", f"How rain went with survival cannot be estimated: {fault.what}"), None
    effect = fitted.table[fitted.table["term"] == _RAIN]
    put_in = entries(rows)
    mean = float((put_in[_RAIN] * put_in["at_risk"]).sum() / put_in["at_risk"].sum())
    range_mm = {"rain_least_mm": float(rows[_RAIN].min()), "rain_most_mm": float(rows[_RAIN].max())}
    effect = effect.assign(gauge_seasons=seasons, rain_mean_mm=mean, **range_mm).reset_index(drop=True)
    return effect, _by_method(rows, formula)


def _with(lead: str, gaps: Sequence[str]) -> str:
    """Add what is said of dry seasons without a total, the first few of them."""
    more = [f"and {counted(len(gaps) - _MOST_GAPS, 'dry season')} more"] if len(gaps) > _MOST_GAPS else []
    return "; ".join(filter(None, [lead, *gaps[:_MOST_GAPS], *more]))


def _by_method(rows: pd.DataFrame, formula: str) -> Slopes | None:
    """Effect of rain under each method seen in as many dry seasons as the effect itself needs."""
    terms = formula.split(" + ")
    if "method" not in terms:
        return None
    seasons = rows.groupby("method", observed=True)["gauge_season"].nunique()
    levels = [name for name in levels_of(rows, "method") if seasons[name] >= FEWEST_GAUGE_SEASONS]
    try:
        return slopes(rows, terms, _RAIN, levels, per=_PER_MM, strata=None, cluster="gauge_season")
    except SurvivorError:  # the effect over all methods is told; too little tells it for each
        return None


def _with_rain(intervals: pd.DataFrame, settings: Settings, dry: pd.DataFrame) -> pd.DataFrame:
    """Add the rain of each plant's first dry season after planting, by the gauge of its site."""
    gauge_of = {site: gauge.name for gauge in settings.gauges for site in gauge.sites}
    everywhere = next((gauge.name for gauge in settings.gauges if not gauge.sites), None)
    rows = intervals.copy()
    rows["gauge"] = rows["site"].astype(str).map(lambda site: gauge_of.get(site, everywhere)).astype(object)
    windows = dry[["gauge", "window_start", "window_end", "value"]].sort_values("window_end")
    rows = rows[rows["gauge"].notna() & rows["planted_date"].notna()].sort_values("planted_date")
    # Dates are merged in one unit, whatever each was read in.
    rows["planted_date"] = rows["planted_date"].astype("datetime64[ns]")
    windows = windows.astype({"window_end": "datetime64[ns]", "gauge": object})
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
    return joined


def rain_since_planting(record: pd.DataFrame, records: Records, settings: Settings) -> tuple[RainSoFar, ...]:
    """Add up the rain of each gauge, and planting season, from its first planting to the last visit.

    Parameters
    ----------
    record
        Daily falls: ``gauge, date, rain_mm``.
    records
        For planting dates and visits.
    settings
        The study file: the sites of each gauge, the dry season.
    """
    plots = records.plots
    if record.empty or "planted_date" not in plots or plots["planted_date"].notna().sum() == 0:
        return ()
    until = pd.Timestamp(records.visits["date"].max())
    sites = {gauge.name: gauge.sites for gauge in settings.gauges}
    made = []
    for gauge, daily in record.groupby(record["gauge"].astype(str), sort=False):
        own = sites.get(str(gauge), ())
        planted = plots.loc[plots["site"].isin(own) if own else slice(None), "planted_date"].dropna()
        seasons = planted.groupby(planting_years(planted, settings.dry_season))
        for year, dates in seasons:
            name = f"{gauge}, planted {year}" if len(seasons) > 1 else str(gauge)
            made.append(rain_so_far(name, daily, dates, until))
    return tuple(rain for rain in made if rain is not None)
