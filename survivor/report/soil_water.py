"""Soil water of the weed-free patch under the season's rain."""

from __future__ import annotations

from functools import partial

import pandas as pd

from survivor.analysis.result import Analysis
from survivor.document.elements import Block, Figure, Paragraph, Table, headed
from survivor.figures.season import water_figure
from survivor.report import english as en
from survivor.season.moisture import SoilWater, Typical
from survivor.season.soil import TEXTURE_SOURCE, TEXTURES
from survivor.season.stress import longest_spell_without
from survivor.season.windows import dry_season_met
from survivor.settings import Settings
from survivor.words import counted, date, dates, number, sentence

_MOST_FIGURES = 3
_MOST_DAYS = 366
_SUMS = {
    "effective_rain_mm": "Rain that entered the soil, mm",
    "eto_mm": "Reference evapotranspiration, mm",
    "et_mm": "Used, mm",
    "drainage_mm": "Drained, mm",
}


def soil_water(analysis: Analysis) -> list[Block]:
    """Return what was reckoned of soil water; nothing where the study file names no weather."""
    water = analysis.soil_water
    if water is None:
        return []
    blocks: list[Block] = []
    if water.typical:
        blocks.append(Paragraph(_how(analysis.settings, water), label="Soil water"))
        for place, typical in enumerate(water.typical[:_MOST_FIGURES]):
            figure = _figure(analysis, typical, place + 1)
            if figure is not None:
                blocks.append(figure)
    blocks += [Paragraph(sentence(said), kind="small") for said in (*water.cannot, *water.notes)]
    return blocks


def _how(settings: Settings, water: SoilWater) -> str:
    soil = settings.soil
    depth = _factor(soil.root_depth_m)
    if soil.root_radius_m is None:
        zone = en.ROOT_ZONE_WIDE.format(depth=depth)
    else:
        zone = en.ROOT_ZONE.format(depth=depth, radius=number(soil.root_radius_m, 2))
    textures = {typical.balance.patch for typical in water.typical}
    known = set(TEXTURES.values())
    published = any((patch.field_capacity, patch.wilting_point) in known for patch in textures)
    said = [
        en.SOIL_WATER,
        zone,
        en.SHORT_AT.format(part=number(100 * soil.depletion_fraction)),
        en.SOIL_USE.format(patch=_factor(soil.patch_coefficient), weeds=_factor(soil.weed_coefficient)),
        *([en.SOIL_SOURCE.format(source=TEXTURE_SOURCE)] if published else []),
        en.SOIL_CONTEXT,
    ]
    return " ".join(said)


def _factor(value: float) -> str:
    """Write 0.5, 1.0, 0.35."""
    text = number(value, 2)
    return text[:-1] if text.endswith("0") else text


def _figure(analysis: Analysis, typical: Typical, place: int) -> Figure | None:
    table = _shown(analysis, typical)
    if table.empty:
        return None
    ends = table["date"].iloc[0], table["date"].iloc[-1]
    dry = dry_season_met(analysis.settings.dry_season, *ends)
    patch = typical.balance.patch
    litres = "" if patch.total_litres is None else en.WATER_LITRES.format(litres=number(patch.total_litres))
    caption = [
        en.WATER_CROSSES if table["rain_mm"].isna().any() else en.WATER_ABOVE,
        en.WATER_BELOW.format(total=number(patch.total_mm), litres=litres),
        en.WATER_BAR,
        *([en.WATER_GREY] if table["depletion_mm"].isna().any() else []),
        en.WATER_PLOTS.format(plots=counted(typical.n_plots, "plot")),
    ]
    return Figure(
        key=f"water-{place}",
        title=f"Rain and soil water, {typical.gauge}: {typical.soil}",
        finding=_finding(table, dry),
        caption=" ".join(caption),
        draw=partial(water_figure, table, total_mm=patch.total_mm, ready_mm=patch.ready_mm, dry=dry),
        table=_monthly(table, place, f"{typical.gauge}: {typical.soil}"),
    )


def _at_least(rain: pd.Series[float]) -> str:
    """Write the rain of a month; what is known of it at least where a day was not read."""
    known = number(float(rain.sum()))
    return en.AT_LEAST.format(least=known) if rain.isna().any() else known


def _shown(analysis: Analysis, typical: Typical) -> pd.DataFrame:
    """Return the days from planting to the last visit, a year of them at most."""
    table = typical.balance.table
    first = typical.planted
    stop = pd.Timestamp(analysis.records.visits["date"].max())
    if pd.isna(first) or pd.isna(stop):
        return table.iloc[:0]
    stop = min(stop, first + pd.Timedelta(days=_MOST_DAYS - 1))
    return table[table["date"].between(first, stop)].reset_index(drop=True)


def _finding(table: pd.DataFrame, dry: tuple[pd.Timestamp, pd.Timestamp] | None) -> str:
    """Say on how many days plants were short of water, as far as it is known, and when they were not."""
    within = table if dry is None else table[table["date"].between(*dry)]
    least = int(within["stressed"].fillna(False).sum())
    most = int(within["stressed"].fillna(True).sum())
    some = en.WATER_LEAST.format(least=number(least), most=number(most))
    said = en.WATER_SHORT.format(
        when=en.IN_SHOWN if dry is None else en.IN_DRY,
        days=number(least) if least == most else some,
        of=counted(len(within), "day"),
    )
    spell = longest_spell_without(table)
    return said if spell is None else f"{said} {en.WATER_SPELL.format(spell=dates(pd.Series(spell)))}"


def _monthly(table: pd.DataFrame, place: int, where: str) -> Table:
    """Return the sums of each month; a dash where a day of it is not known."""
    rows = []
    for month, days in table.groupby(table["date"].dt.to_period("M")):
        sums = [float(days[name].sum(skipna=False)) for name in _SUMS]
        counts = days["stressed"].fillna(False).sum(), days["stressed"].isna().sum()
        begins = date(max(month.start_time, days["date"].iloc[0]))
        rows.append((begins, _at_least(days["rain_mm"]), *map(number, (*sums, *map(int, counts)))))
    columns = headed("From", numeric=("Rain, mm", *_SUMS.values(), "Days short of water", "Days in doubt"))
    return Table(f"water-{place}-table", f"Soil water by month, {where}", columns, tuple(rows))
