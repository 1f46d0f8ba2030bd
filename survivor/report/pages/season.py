"""The season in one strip and a sentence or two: rain of the dry season, and days short of water."""

from __future__ import annotations

from functools import partial

import pandas as pd

from survivor.analysis.result import Analysis
from survivor.document.elements import Block, Figure, Paragraph, Section
from survivor.figures.season import decile_words
from survivor.figures.strip import STATES, strip_figure
from survivor.report.pages import english as en
from survivor.report.pages.answer import in_annex
from survivor.report.pages.values import named
from survivor.season.windows import dry_season_met
from survivor.sentences import Name, Sentence, Value, cell, say
from survivor.words import date, number, sentence

_DRY = "rain in the dry season"
_STRESS = "stress days in the dry season"
_MOST_GAUGES = 2
_MOST_ROWS = 3
_DAYS = 365
_WET_MM = 1.0


def season(analysis: Analysis) -> Section:
    """Return what the dry season was like, and why that is no answer for another one."""
    more = in_annex(en.SEASON_MORE, "season")
    rain = analysis.rain.measures
    if rain.empty:
        known = analysis.unmade.get("rain")  # what to do about it is in the annex
        untold = sentence(en.NO_RAIN if known is None else known.what)
        return Section("season", en.SEASON, (Paragraph(untold, see=more),))
    said = (*_rain(rain), *_gaps(analysis), *_water(rain))
    strip = _strip(analysis, said) if said else None
    dry = rain[(rain["measure"] == _DRY) & rain["value"].notna()]
    samples = en.FEW_SAMPLES if dry["window_start"].nunique() > 1 else en.ONE_SAMPLE
    blocks: list[Block] = [Paragraph(said)] if strip is None and said else []
    if strip is not None:
        blocks.append(strip)
    return Section("season", en.SEASON, (*blocks, Paragraph((say(samples),), see=more)))


def _rain(rain: pd.DataFrame) -> list[Sentence]:
    """Say how much fell in the dry season, against the record of the gauge; a sentence a gauge.

    A season is named once: the next gauge is set beside the one before.
    """
    rows = rain[(rain["measure"] == _DRY) & rain["value"].notna()].drop_duplicates(["gauge", "window_start"])
    found: list[Sentence] = []
    before = ""
    for row in rows.head(_MOST_GAUGES).to_dict("records"):
        at = {
            "gauge": row["gauge"],
            "planted_date": pd.Timestamp(row["planted_date"]).date(),
            "measure": _DRY,
        }
        years = _years(pd.Timestamp(row["window_start"]), pd.Timestamp(row["window_end"]))
        parts: dict[str, Value | Name | str] = {
            "gauge": Name(str(row["gauge"])),
            "rain": Value(
                f"{number(float(row['value']))} mm", float(row["value"]), cell("rain", "value", **at)
            ),
        }
        of, have = (float(row.get(name, float("nan"))) for name in ("days_in_window", "days_with_data"))
        decile, median = float(row.get("decile", float("nan"))), float(row.get("median", float("nan")))
        parts["least"] = en.AT_LEAST if have < of else ""
        parts["season"] = en.DRY_SEASON.format(years=years) if years != before else en.DRY_BESIDE
        before = years
        if decile == decile:
            found.append(say(en.DRY_RAIN[have < of], words=decile_words(decile), **parts))
        elif median == median:
            usual = Value(f"{number(median)} mm", median, cell("rain", "median", **at))
            found.append(say(en.DRY_RAIN_MEDIAN, median=usual, **parts))
        else:
            found.append(say(en.DRY_RAIN_BARE, **parts))
    return found


def _gaps(analysis: Analysis) -> list[Sentence]:
    """Say of a dry season without a total which days nobody read, and what would give one."""
    rain, found = analysis.rain.measures, []
    for gap in analysis.rain.gaps[:_MOST_GAUGES]:
        rows = rain[(rain["gauge"] == gap.gauge) & (rain["measure"] == _DRY)]
        row = rows[pd.to_datetime(rows["window_start"]) == gap.window.start].iloc[0]
        at = {"gauge": gap.gauge, "planted_date": pd.Timestamp(row["planted_date"]).date(), "measure": _DRY}
        read, of = int(row["days_with_data"]), int(row["days_in_window"])
        found += [
            say(
                en.DRY_RAIN_GAP,
                years=_years(gap.window.start, gap.window.end),
                gauge=Name(gap.gauge),
                read=Value(number(read), read, cell("rain", "days_with_data", **at)),
                of=Value(number(of), of, cell("rain", "days_in_window", **at)),
            ),
            say(en.DRY_RAIN_FILL, when=gap.when, file=Name(gap.file)),
        ]
    return found


def _years(start: pd.Timestamp, stop: pd.Timestamp) -> str:
    return str(start.year) if start.year == stop.year else f"{start.year} to {stop.year}"


def _water(rain: pd.DataFrame) -> list[Sentence]:
    """Say on how many days of the dry season plants were short of water, as far as that is known."""
    rows = rain[rain["measure"].astype(str).str.startswith(_STRESS) & rain["value"].notna()]
    if rows.empty:
        return []
    row = rows.iloc[int(rows["value"].astype(float).argmin())]
    days, of = float(row["value"]), float(row["days_in_window"])
    at = {"gauge": row["gauge"], "measure": row["measure"]}
    lead = "at least " if float(row["days_with_data"]) < of or len(rows) > 1 else ""
    short = say(
        en.SHORT_OF_WATER,
        gauge=Name(str(row["gauge"])),
        days=Value(f"{lead}{number(days)}", days, cell("rain", "value", **at)),
        of=Value(number(of), of, cell("rain", "days_in_window", **at)),
    )
    known = set(rows["gauge"].astype(str))
    others = [name for name in dict.fromkeys(rain["gauge"].astype(str)) if name not in known]
    return [short, say(en.NOT_MODELLED, gauges=named(others))] if others else [short]


def _strip(analysis: Analysis, said: tuple[Sentence, ...]) -> Figure | None:
    """Return the days of the first year: enough water, short of it or not known; else days with rain."""
    rows = _soil_rows(analysis)
    states = STATES["water"]
    if not rows:
        rows, states = _rain_rows(analysis), STATES["rain"]
    if not rows:
        return None
    table = pd.concat(rows, ignore_index=True)
    dry = dry_season_met(analysis.settings.dry_season, table["date"].min(), table["date"].max())
    return Figure(
        key="strip",
        title=en.STRIP_TITLE[states.kind].format(day=date(table["date"].min())),
        finding=said,
        caption="",
        draw=partial(strip_figure, table, states=states, dry=dry),
        table=None,
    )


def _soil_rows(analysis: Analysis) -> list[pd.DataFrame]:
    water = analysis.soil_water
    if water is None:
        return []
    rows = []
    for typical in water.typical[:_MOST_ROWS]:
        table = typical.balance.table
        stop = typical.planted + pd.Timedelta(days=_DAYS - 1)
        shown = table[table["date"].between(typical.planted, stop)]
        if shown.empty:
            continue
        state = shown["stressed"].map({True: "short", False: "enough"}).fillna("unknown")
        rows.append(
            pd.DataFrame({"row": f"{typical.gauge}: {typical.soil}", "date": shown["date"], "state": state})
        )
    return rows


def _rain_rows(analysis: Analysis) -> list[pd.DataFrame]:
    plots, record = analysis.records.plots, analysis.rain.record
    planted = pd.to_datetime(plots["planted_date"]).min() if "planted_date" in plots else pd.NaT
    if pd.isna(planted) or record.empty:
        return []
    stop = planted + pd.Timedelta(days=_DAYS - 1)
    rows = []
    for gauge, own in record.groupby("gauge", sort=False):
        daily = own.set_index("date")["rain_mm"].reindex(pd.date_range(planted, stop))
        state = (
            pd.Series("unknown", index=daily.index).mask(daily >= _WET_MM, "wet").mask(daily < _WET_MM, "dry")
        )
        rows.append(pd.DataFrame({"row": str(gauge), "date": daily.index, "state": state.to_numpy()}))
    return rows[:_MOST_ROWS]
