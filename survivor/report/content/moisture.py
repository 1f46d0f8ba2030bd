"""Soil water of the weed-free patch under the season's rain."""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING

import pandas as pd

from survivor.figures.moisture import water_figure
from survivor.figures.style import Drawing, Size
from survivor.figures.words import number
from survivor.report.content.dryness import first_dry_season
from survivor.report.content.elements import Block, Column, Figure, Paragraph, Table
from survivor.report.content.wording import counted, date, dates, sentence
from survivor.season.moisture import SoilWater, Typical
from survivor.season.soil import TEXTURE_SOURCE, TEXTURES
from survivor.season.stress import longest_spell_without
from survivor.settings import Settings

if TYPE_CHECKING:
    from survivor.analysis.result import Analysis

_MOST_FIGURES = 3
_MOST_DAYS = 366
_SUMS = ("rain_mm", "effective_rain_mm", "eto_mm", "et_mm", "drainage_mm")


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
    if soil.root_radius_m is None:
        zone = "as wide as the weed-free patch"
    else:
        zone = (
            f"of {soil.root_radius_m:.2f} m radius, on which weeds drink too where the weed-free patch is "
            "smaller"
        )
    textures = {typical.balance.patch for typical in water.typical}
    published = any(
        (patch.field_capacity, patch.wilting_point) in set(TEXTURES.values()) for patch in textures
    )
    source = f" What a soil of each texture holds: {TEXTURE_SOURCE}." if published else ""
    part = number(100 * soil.depletion_fraction)
    patch, weeds = _factor(soil.patch_coefficient), _factor(soil.weed_coefficient)
    return (
        "Soil water is reckoned, not measured: a daily balance of rain and evapotranspiration (FAO-56) for a "
        f"root zone {_factor(soil.root_depth_m)} m deep and {zone}. Plants are called short of water once "
        f"{part} % of the water that the soil holds for them is used; with water enough the patch uses "
        f"{patch} and weeds {weeds} times what short green grass does.{source} Like the rain it is context: "
        "it says what kind of season these results come from, and nothing of the plants themselves."
    )


def _factor(value: float) -> str:
    """Write 0.5, 1.0, 0.35."""
    text = number(value, 2)
    return text[:-1] if text.endswith("0") else text


def _figure(analysis: Analysis, typical: Typical, place: int) -> Figure | None:
    table = _shown(analysis, typical)
    if table.empty:
        return None
    ends = table["date"].iloc[0], table["date"].iloc[-1]
    dry = first_dry_season(analysis.settings.dry_season, *ends)
    patch = typical.balance.patch
    litres = "" if patch.total_litres is None else f", {number(patch.total_litres)} litres in the root zone"
    return Figure(
        key=f"water-{place}",
        title=f"Rain and soil water, {typical.gauge}: {typical.soil}",
        finding=_finding(table, dry),
        caption=(
            "Above: rain of each day"
            f"{'; crosses: days not read' if table['rain_mm'].isna().any() else ''}. Below: water left for "
            f"plants, of {number(patch.total_mm)} mm that the soil can hold for them{litres}. "
            "Bar at the foot: days known to be short of water. "
            + (
                "Grey: limits of the soil water where a day not known leaves it in doubt. "
                if table["depletion_mm"].isna().any()
                else ""
            )
            + f"Stands for {counted(typical.n_plots, 'plot')} of this texture."
        ),
        draw=partial(_draw, table, patch.total_mm, patch.ready_mm, dry),
        table=_monthly(table, place),
    )


def _draw(
    table: pd.DataFrame,
    total_mm: float,
    ready_mm: float,
    dry: tuple[pd.Timestamp, pd.Timestamp] | None,
    size: Size,
) -> Drawing:
    return water_figure(table, total_mm=total_mm, ready_mm=ready_mm, dry=dry, size=size)


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
    when = "In the days shown" if dry is None else "In the dry season"
    least = int(within["stressed"].fillna(False).sum())
    most = int(within["stressed"].fillna(True).sum())
    words = number(least) if least == most else f"at least {number(least)} and at most {number(most)}"
    said = f"{when} such a patch was short of water on {words} of {counted(len(within), 'day')}"
    spell = longest_spell_without(table)
    if spell is None:
        return f"{said}, by this reckoning."
    return f"{said}, by this reckoning; its longest spell with water enough was {dates(pd.Series(spell))}."


def _monthly(table: pd.DataFrame, place: int) -> Table:
    """Return the sums of each month; a dash where a day of it is not known."""
    rows = []
    for month, days in table.groupby(table["date"].dt.to_period("M")):
        sums = [float(days[name].sum(skipna=False)) for name in _SUMS]
        stress, doubt = (
            int(n) for n in (days["stressed"].fillna(False).sum(), days["stressed"].isna().sum())
        )
        rows.append(
            (
                date(max(month.start_time, days["date"].iloc[0])),
                *(number(value) for value in sums),
                number(stress),
                number(doubt),
            )
        )
    columns = (
        Column("From"),
        Column("Rain, mm", numeric=True),
        Column("Rain that entered the soil, mm", numeric=True),
        Column("Reference evapotranspiration, mm", numeric=True),
        Column("Used, mm", numeric=True),
        Column("Drained, mm", numeric=True),
        Column("Days short of water", numeric=True),
        Column("Days in doubt", numeric=True),
    )
    return Table(f"water-{place}-table", "Soil water by month", columns, tuple(rows))
