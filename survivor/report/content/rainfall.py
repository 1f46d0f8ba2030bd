"""The season against the record of the gauge, and the soil water under its rain."""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING

import pandas as pd

from survivor.figures.season import cumulative_figure, decile_words, deciles_figure
from survivor.figures.style import Drawing, Size
from survivor.figures.words import NONE, number
from survivor.report.content.dryness import first_dry_season
from survivor.report.content.elements import Block, Column, Figure, Paragraph, Section, Table, missing
from survivor.report.content.gathering import gather
from survivor.report.content.moisture import soil_water
from survivor.report.content.reasons import why
from survivor.report.content.wording import (
    counted,
    date,
    dates,
    dates_in_words,
    sentence,
    shortened,
    table_of,
)
from survivor.season.plantings import planting_years

if TYPE_CHECKING:
    from survivor.analysis.result import Analysis

KEY = "season"
HEADING = "The season"
_MOST_PICTURES = 4
_MOST_TOLD = 4  # gauges and seasons in the sentence of a picture

_CONTEXT = (
    "One season at sites near each other is one sample of rain. It is context: it can say what kind of "
    "season these "
    "results come from, not how the preparations would have done in another."
)


def season(analysis: Analysis) -> Section:
    """Return rain over the season against history, and what may be said of rain and survival."""
    rain = analysis.rain
    if rain.empty:
        said = why(analysis, "rain", "gauge", otherwise="No rain gauge is named in the study file")
        return missing(KEY, HEADING, said)
    rain, left = _first_of_season(analysis, rain)
    blocks: list[Block] = [Paragraph(_CONTEXT)]
    blocks.extend(_cumulative(analysis))
    blocks.extend(soil_water(analysis))
    deciles = _deciles(rain, left)
    blocks.append(deciles if deciles is not None else _table(rain, left))
    if analysis.rain_effect is not None and not analysis.rain_effect.empty:
        frame = analysis.rain_effect
        headings = [str(name).replace("_", " ") for name in frame.columns]
        blocks.append(
            table_of("rain-effect", "Rain and survival between gauges and seasons", headings, frame)
        )
    else:
        said = next(
            (sentence(found.answer) for found in analysis.findings if found.key == "rain"), ""
        ) or why(
            analysis,
            "rain",
            otherwise="Rain was not put in the model: that needs at least six gauge-seasons",
        )
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
            f"{row['measure']}, {row['gauge']}: {_with_unit(float(row['value']), str(row['unit']))}, "
            f"decile {number(float(row['decile']))}, {decile_words(float(row['decile']))}."
        )
        for row in shown.head(_MOST_TOLD).to_dict("records")
    )
    years = placed["years_of_record"].dropna() if "years_of_record" in placed else pd.Series([], dtype=float)
    record = f" Years of record: {number(float(years.min()))}." if not years.empty else ""
    many = f" Gauges: {', '.join(gauges)}." if len(gauges) > 1 else ""
    return Figure(
        key="deciles",
        title="Measures of the season against the record",
        finding=finding,
        caption=(
            "Decile 1: the lowest tenth of the years on record; 10: the highest. Shaded: 4 to 7, about "
            "average. For "
            f"dry spells a high decile is a long one.{record}{many}"
        ),
        draw=partial(_draw_deciles, placed),
        table=_table(rain, left),
    )


def _draw_deciles(table: pd.DataFrame, size: Size) -> Drawing:
    return deciles_figure(table, size=size)


def _table(rain: pd.DataFrame, left: str = "") -> Table:
    dated = "window_start" in rain
    columns = (
        Column("Gauge"),
        Column("Measure"),
        *((Column("Days"),) if dated else ()),
        Column("This season", numeric=True),
        Column("Median year", numeric=True),
        Column("Decile", numeric=True),
        Column("In words"),
        Column("Years of record", numeric=True),
        Column("Note"),
    )
    rows = []
    for row in rain.to_dict("records"):
        value, median, decile = (float(row.get(n, float("nan"))) for n in ("value", "median", "decile"))
        unit = str(row.get("unit", ""))
        note = row.get("note", "")
        window = pd.Series([row["window_start"], row["window_end"]]) if dated else pd.Series(dtype=object)
        rows.append(
            (
                str(row["gauge"]),
                str(row["measure"]),
                *((dates(window),) if dated else ()),
                _with_unit(value, unit),
                _with_unit(median, unit),
                number(decile),
                decile_words(decile) or "–",
                number(float(row.get("years_of_record", float("nan")))),
                dates_in_words(sentence(note)) if isinstance(note, str) else "",
            )
        )
    stressed = rain["measure"].astype(str).str.contains("stress").any()
    caption = "The season's rain and soil water" if stressed else "The season's rain"
    made = Table("rain-table", caption, columns, tuple(rows), row_heads=2, note=left)
    return shortened(made, "rain.csv")


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
    return kept, (
        "Measures count from the first planting of each season at the gauge; rain.csv has them for "
        f"{counted(float(later), 'later planting day')} too."
    )


def _with_unit(value: float, unit: str) -> str:
    """Write a measure with its unit: 58 mm, 1 fall, 2 falls."""
    if value != value:
        return NONE
    return f"{_amount(value)} {unit.removesuffix('s') if value == 1 else unit}"


def _amount(value: float) -> str:
    return number(value, 0 if abs(value) >= 10 or float(value).is_integer() else 1)


def _cumulative(analysis: Analysis) -> list[Block]:
    """One picture a gauge and planting season, the first few; the others are in the table."""
    found: list[Block] = []
    for place, (gauge, table, years) in enumerate(gather(analysis)[:_MOST_PICTURES]):
        known = table["rain_mm"].dropna()
        if known.empty:
            continue
        last = table.loc[known.index[-1]]
        finding = (
            f"By {date(last['date'])} {number(float(last['rain_mm']))} mm had fallen since "
            f"{date(table['date'].iloc[0])}; the median of the record is {number(float(last['median']))} mm."
        )
        ends = (pd.Timestamp(table["date"].iloc[place]) for place in (0, -1))
        dry = first_dry_season(analysis.settings.dry_season, *ends)
        found.append(
            Figure(
                key=f"rain-{place + 1}",
                title=f"Rain added up since planting, {gauge}",
                finding=finding,
                caption=(
                    f"Line: this season. Broken grey line: median of the same days in {number(years)} "
                    f"other years; grey band: eight years in ten. {_unread(table)}"
                ),
                draw=partial(_draw_cumulative, table, dry),
                table=_monthly(table, place + 1),
            )
        )
    return found


def _unread(table: pd.DataFrame) -> str:
    known = table[table["rain_mm"].notna()]
    days = float(known["not_read"].iloc[-1])
    said = (
        f"{counted(days, 'day')} of this season {'has' if days == 1 else 'have'} no amount of "
        f"{'its' if days == 1 else 'their'} own: not read, or read with a later day. "
    )
    ended = "The line ends where too many days were not read." if len(known) < len(table) else ""
    return (said if days else "") + ended


def _draw_cumulative(
    table: pd.DataFrame, dry: tuple[pd.Timestamp, pd.Timestamp] | None, size: Size
) -> Drawing:
    return cumulative_figure(table, dry=dry, size=size)


def _monthly(table: pd.DataFrame, place: int) -> Table:
    """Return the sums at the end of each month."""
    month = pd.to_datetime(table["date"]).dt.to_period("M")
    ends = table.groupby(month).tail(1)
    rows = tuple(
        (date(row["date"]), *(number(float(row[name])) for name in ("rain_mm", "median", "low", "high")))
        for row in ends.to_dict("records")
    )
    columns = (
        Column("To"),
        Column("This season, mm", numeric=True),
        Column("Median, mm", numeric=True),
        Column("One year in ten is lower than, mm", numeric=True),
        Column("One year in ten is higher than, mm", numeric=True),
    )
    first = date(table["date"].iloc[0])
    return Table(f"rain-{place}-table", f"Rain added up since {first}", columns, rows)
