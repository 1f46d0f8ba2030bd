"""The season against the record of the gauge, and the soil water under its rain."""

from __future__ import annotations

import math
import string
from collections.abc import Mapping
from functools import partial
from typing import Any

import pandas as pd

from survivor.analysis.rain import rain_since_planting
from survivor.analysis.result import Analysis
from survivor.document.elements import (
    Block,
    Field,
    Figure,
    Paragraph,
    Section,
    Table,
    missing,
    numbers,
    shortened,
    table_of,
    words,
    written,
)
from survivor.figures.season import cumulative_figure, decile_words, deciles_figure
from survivor.report import english as en
from survivor.report.soil_water import soil_water
from survivor.season.windows import dry_season_met, planting_years
from survivor.words import NONE, counted, date, dates, listed, number, sentence

KEY = "season"
HEADING = "The season"
_MOST_PICTURES = 4
_MOST_TOLD = 4  # gauges and seasons in the sentence of a picture


def season(analysis: Analysis) -> Section:
    """Return rain over the season against history, and what may be said of rain and survival."""
    rain = analysis.rain.measures
    if rain.empty:
        reasons = dict.fromkeys(reason.text for reason in analysis.rain.reasons)
        return missing(KEY, HEADING, " ".join(reasons) or en.NO_GAUGE)
    rain, left = _first_of_season(analysis, rain)
    blocks: list[Block] = [Paragraph(_context(analysis))]
    blocks.extend(_cumulative(analysis))
    blocks.extend(soil_water(analysis))
    deciles = _deciles(rain, left)
    blocks.append(deciles if deciles is not None else _table(rain, left))
    if analysis.rain.effect is not None and not analysis.rain.effect.empty:
        frame = analysis.rain.effect
        headings = [str(name).replace("_", " ") for name in frame.columns]
        caption = "Rain and survival between gauges and seasons"
        blocks.append(table_of("rain-effect", caption, headings, frame))
    else:
        said = analysis.unmade["rain"].text if "rain" in analysis.unmade else en.NO_RAIN_MODEL
        blocks.append(Paragraph(said, label="Rain and survival"))
    return Section(KEY, HEADING, tuple(blocks))


def _deciles(rain: pd.DataFrame, left: str) -> Figure | None:
    if "decile" not in rain or rain["decile"].notna().sum() == 0:
        return None
    placed = rain[rain["decile"].notna()]
    gauges = dict.fromkeys(placed["gauge"].astype(str))
    dry = placed[placed["measure"].astype(str).str.contains("dry season") & (placed["unit"] == "mm")]
    shown = dry.groupby("gauge", sort=False).tail(1) if not dry.empty else placed.head(1)
    finding = " ".join(
        sentence(
            en.DECILE.format(
                measure=row["measure"],
                gauge=row["gauge"],
                value=_at_least(row),
                decile=number(float(row["decile"])),
                words=decile_words(float(row["decile"])),
            )
        )
        for row in shown.head(_MOST_TOLD).to_dict("records")
    )
    years = placed["years_of_record"].dropna() if "years_of_record" in placed else pd.Series([], dtype=float)
    caption = [en.DECILES_CAPTION]
    if not years.empty:
        low, high = number(float(years.min())), number(float(years.max()))
        caption.append(en.DECILES_RECORD.format(years=low if low == high else f"{low} to {high}"))
    known = placed.reindex(columns=["days_with_data", "days_in_window"]).astype(float)
    if bool((known["days_with_data"] < known["days_in_window"]).any()):
        caption.append(en.DECILES_LEAST)
    if len(gauges) > 1:
        caption.append(en.DECILES_GAUGES.format(gauges=listed(gauges)))
    return Figure(
        key="deciles",
        title="Measures of the season against the record",
        finding=finding,
        caption=" ".join(caption),
        draw=partial(deciles_figure, placed),
        table=_table(rain, left),
    )


def _at_least(row: Mapping[Any, Any]) -> str:
    """Write a measure; a total of which some days are not known is at least so much."""
    written = _with_unit(float(row["value"]), str(row["unit"]))
    have, of = (float(row.get(name, math.nan)) for name in ("days_with_data", "days_in_window"))
    return f"{en.RAIN_AT_LEAST} {written}" if row["unit"] == "mm" and have < of else written


def _table(rain: pd.DataFrame, left: str = "") -> Table:
    dated = "window_start" in rain
    unit_of = partial(numbers, write=_with_unit)
    fields = (
        words("Gauge", "gauge"),
        words("Measure", "measure"),
        *((Field("Days", ("window_start", "window_end"), _window, numeric=False),) if dated else ()),
        unit_of("This season", "value", "unit"),
        unit_of("Median year", "median", "unit"),
        numbers("Decile", "decile"),
        words("In words", "decile", lambda decile: decile_words(decile) or NONE),
        numbers("Years of record", "years_of_record"),
        words("Note", "mark"),
    )
    columns = ("value", "median", "decile", "years_of_record", "unit", "note")
    table = rain.reindex(columns=list(dict.fromkeys([*rain.columns, *columns])))
    stressed = rain["measure"].astype(str).str.contains("stress").any()
    caption = "The season's rain and soil water" if stressed else "The season's rain"
    table, notes = _marked(table)
    made = written("rain-table", caption, table, fields, row_heads=2, note=" ".join([*notes, left]).strip())
    return shortened(made, "rain.csv")


def _marked(table: pd.DataFrame) -> tuple[pd.DataFrame, list[str]]:
    """Give each note a letter, for the column, and write the notes once each, for under the table."""
    notes = table["note"].map(lambda note: sentence(note) if isinstance(note, str) else "")
    letters: dict[str, str] = {}
    marks = []
    for note in notes:
        parts = [part for part in note.split("; ") if part]
        for part in parts:
            letters.setdefault(sentence(part), string.ascii_lowercase[len(letters) % 26])
        marks.append(", ".join(letters[sentence(part)] for part in parts))
    written_once = [en.RAIN_NOTE.format(marks=letter, note=note) for note, letter in letters.items()]
    return table.assign(mark=marks), written_once


def _context(analysis: Analysis) -> str:
    """Say what rain can and cannot tell, of one season or of several."""
    years = analysis.planting_years.get("planting_year", pd.Series(dtype=str)).astype(str).unique().tolist()
    seasons = f"The seasons of {listed(years)}" if years else en.ONE_SEASON
    return f"{en.CONTEXT.format(seasons=seasons, are='are' if years else 'is')} {en.CONTEXT_NOT}"


def _first_of_season(analysis: Analysis, rain: pd.DataFrame) -> tuple[pd.DataFrame, str]:
    """Keep the measures of the first planting of each season at each gauge; say how many others there are.

    Plantings of one season differ by weeks; those of several seasons met different weather, so
    their gauges are named with the season.
    """
    if "planted_date" not in rain:
        return rain, ""
    dry = analysis.settings.dry_season
    season = pd.concat(
        [planting_years(own["planted_date"], dry) for _, own in rain.groupby("gauge", sort=False)]
    ).reindex(rain.index)
    first = rain.groupby(["gauge", season, "measure"], observed=True)["planted_date"].transform("min")
    # What a later planting shares with the first (the dry season, say) is told once, with the first.
    kept = rain[rain["planted_date"] == first]
    if season.nunique() > 1:
        kept = kept.assign(gauge=kept["gauge"].astype(str) + ", planted " + season[kept.index])
    later = rain.loc[rain["planted_date"] != first, "planted_date"].nunique()
    if not later:
        return kept, ""
    return kept, en.LATER_PLANTINGS.format(days=counted(float(later), "later planting day"))


def _window(start: pd.Timestamp, end: pd.Timestamp) -> str:
    return dates(pd.Series([start, end]))


def _with_unit(value: float, unit: str) -> str:
    """Write a measure with its unit: 58 mm, 1 fall, 2 falls."""
    if value != value:
        return NONE
    amount = number(value, 0 if abs(value) >= 10 or float(value).is_integer() else 1)
    return f"{amount} {unit.removesuffix('s') if value == 1 else unit}"


def _cumulative(analysis: Analysis) -> list[Block]:
    """One picture a gauge and planting season, the first few; the others are in the table."""
    found: list[Block] = []
    so_far = rain_since_planting(analysis.rain.record, analysis.records, analysis.settings)
    for place, rain in enumerate(so_far[:_MOST_PICTURES]):
        table = rain.table
        known = table["rain_mm"].dropna()
        if known.empty:
            continue
        last = table.loc[known.index[-1]]
        finding = en.CUMULATIVE.format(
            last=date(last["date"]),
            rain=number(float(last["rain_mm"])),
            first=date(table["date"].iloc[0]),
            median=number(float(last["median"])),
        )
        ends = (pd.Timestamp(table["date"].iloc[place]) for place in (0, -1))
        dry = dry_season_met(analysis.settings.dry_season, *ends)
        found.append(
            Figure(
                key=f"rain-{place + 1}",
                title=f"Cumulative rainfall since planting, {rain.name}",
                finding=finding,
                caption=f"{en.CUMULATIVE_CAPTION.format(years=number(rain.years))} {_unread(table)}".strip(),
                draw=partial(cumulative_figure, table, dry=dry),
                table=_monthly(table, place + 1),
            )
        )
    return found


def _unread(table: pd.DataFrame) -> str:
    known = table[table["rain_mm"].notna()]
    days = float(known["not_read"].iloc[-1])
    have, their = ("has", "its") if days == 1 else ("have", "their")
    said = en.NOT_READ.format(days=counted(days, "day"), have=have, their=their)
    ended = en.LINE_ENDS if len(known) < len(table) else ""
    return " ".join(filter(None, (said if days else "", ended)))


def _monthly(table: pd.DataFrame, place: int) -> Table:
    """Return the sums at the end of each month."""
    month = pd.to_datetime(table["date"]).dt.to_period("M")
    ends = table.groupby(month).tail(1)
    fields = (
        words("To", "date", date),
        numbers("This season, mm", "rain_mm"),
        numbers("Median, mm", "median"),
        numbers("One year in ten is lower than, mm", "low"),
        numbers("One year in ten is higher than, mm", "high"),
    )
    first = date(table["date"].iloc[0])
    return written(f"rain-{place}-table", f"Cumulative rainfall since {first}", ends, fields)
