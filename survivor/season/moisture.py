"""Soil water of a study's plots: a balance for each kind of patch under each gauge."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from survivor.errors import SeasonError, SurvivorError
from survivor.season.balance import Balance, water_balances
from survivor.season.evapotranspiration import reference_evapotranspiration
from survivor.season.gauge import GaugeRecord, Gauges
from survivor.season.soil import Patch, water_held
from survivor.season.weather import WeatherRecord
from survivor.season.windows import on_calendar
from survivor.settings import Gauge, Settings, Soil, Weather
from survivor.vocabulary import PLOT_KEY

_RECKONED: Final = ("total_mm", "ready_mm", "total_litres", "weed_share", "coefficient")
_PLOT_FACTS: Final = ("gauge", "texture", "weed_free_radius_m", *_RECKONED)


@dataclass(frozen=True)
class Typical:
    """The patch of middling radius among plots of one texture at one gauge.

    ``soil`` names it in words; ``planted`` is the first planting date of those plots.
    """

    gauge: str
    soil: str
    balance: Balance
    planted: pd.Timestamp
    n_plots: int


@dataclass(frozen=True)
class SoilWater:
    """Soil water of a study's plots.

    Attributes
    ----------
    table
        One row a plot: ``site, block, plot``, ``gauge``, ``texture``, ``weed_free_radius_m``,
        ``total_mm, ready_mm`` (available water), ``total_litres`` (of the root zone),
        ``weed_share`` (0 to 1), ``coefficient``, ``balance`` (place in ``balances``, or -1)
        and ``reason``, why there is none.
    balances
        One for each kind of patch at each gauge.
    typical
        The patches that stand for the others in a report.
    notes, cannot
        Plain sentences: what was taken for granted; for what soil water is not known, and why.
    """

    table: pd.DataFrame
    balances: tuple[Balance, ...]
    typical: tuple[Typical, ...]
    notes: tuple[str, ...]
    cannot: tuple[str, ...]

    def of(self, site: str, block: str, plot: str) -> Balance | None:
        """Return the balance of a plot; None where there is none."""
        rows = self.table
        found = rows.loc[
            (rows["site"] == site) & (rows["block"] == block) & (rows["plot"] == plot), "balance"
        ]
        return self.balances[int(found.iloc[0])] if len(found) and found.iloc[0] >= 0 else None

    def __repr__(self) -> str:
        return self.table.to_string(index=False)

    def _repr_html_(self) -> str:
        return str(self.table.to_html(index=False, na_rep=""))


def soil_water(settings: Settings, gauges: Gauges, plots: pd.DataFrame) -> SoilWater | None:
    """Reckon the soil water of every plot that lies by a gauge with weather.

    Parameters
    ----------
    settings
        The study file: gauges, weather, soil.
    gauges
        Their readings.
    plots
        ``site, block, plot, planted_date``; ``texture`` and ``weed_free_radius_m`` where recorded.

    Returns
    -------
    SoilWater or None
        None where the study file names no weather.
    """
    if not settings.weather:
        return None
    facts = _plot_facts(plots, settings)
    balances: list[Balance] = []
    typical: list[Typical] = []
    notes: list[str] = []
    cannot: list[str] = []
    for weather in settings.weather:
        rain, station = gauges.records.get(weather.gauge), gauges.weather.get(weather.gauge)
        here = facts.index[facts["gauge"] == weather.gauge]
        absent = "its gauge" if rain is None else f"its weather file, {weather.file},"
        if rain is None or station is None:
            cannot.append(f"Soil water at {weather.gauge}: {absent} could not be read.")
            continue
        try:
            daily, said = _daily(rain, station, weather, settings)
        except SurvivorError as fault:
            cannot.append(f"Soil water at {weather.gauge}: {fault.what}.")
            continue
        notes += [f"{weather.gauge}: {text}." for text in said]
        kinds, kind_of = _kinds(facts.loc[here], settings.soil)
        patches: list[Patch] = []
        for number, kind in enumerate(kinds):
            rows = here[kind_of == number]
            if isinstance(kind, str):
                facts.loc[rows, "reason"] = kind
                continue
            facts.loc[rows, "balance"] = len(balances) + len(patches)
            facts.loc[rows, list(_RECKONED)] = [getattr(kind, name) for name in _RECKONED]
            patches.append(kind)
        balances += water_balances(daily, patches) if patches else []
        typical += _typical(facts.loc[here[facts.loc[here, "balance"] >= 0]], balances)
    beside = {weather.gauge for weather in settings.weather}
    without = ~facts["gauge"].isin(beside)
    named = facts.loc[without, "gauge"].where(facts.loc[without, "gauge"] != "", "their gauge")
    facts.loc[without, "reason"] = "no weather file goes with " + named
    lacking = facts[(facts["balance"] < 0) & (facts["reason"] != "")]
    cannot += [
        f"Soil water is not modelled for {len(rows)} {'plot' if len(rows) == 1 else 'plots'}: {reason}."
        for reason, rows in lacking.groupby("reason", sort=False)
    ]
    table = facts[[*PLOT_KEY, *_PLOT_FACTS, "balance", "reason"]].reset_index(drop=True)
    return SoilWater(
        table, tuple(balances), tuple(typical), tuple(dict.fromkeys(notes)), tuple(dict.fromkeys(cannot))
    )


def gauge_of_site(gauges: Sequence[Gauge], sites: pd.Series[Any]) -> pd.Series[str]:
    """Return the name of the gauge of each site; empty where none stands for it."""
    of = {site: gauge.name for gauge in gauges for site in gauge.sites}
    everywhere = next((gauge.name for gauge in gauges if not gauge.sites), "")
    return sites.astype(str).map(of).fillna(everywhere)


def _plot_facts(plots: pd.DataFrame, settings: Settings) -> pd.DataFrame:
    """One row a plot: its gauge, texture and radius, with room for what is reckoned."""
    facts = plots.drop_duplicates(list(PLOT_KEY)).reset_index(drop=True).copy()
    for name in PLOT_KEY:
        facts[name] = facts[name].astype(str)
    facts["gauge"] = gauge_of_site(settings.gauges, facts["site"])
    given = facts["texture"] if "texture" in facts else pd.Series("", index=facts.index, dtype="str")
    texture = given.fillna("").astype(str).str.strip().str.casefold()
    facts["texture"] = texture.mask(texture == "", (settings.soil.texture or "").casefold())
    if "weed_free_radius_m" not in facts:
        facts["weed_free_radius_m"] = np.nan
    for name in _RECKONED:
        facts[name] = np.nan
    return facts.assign(balance=-1, reason="")


def _kinds(plots: pd.DataFrame, soil: Soil) -> tuple[list[Patch | str], NDArray[np.integer]]:
    """Return each kind of patch, or the reason why it cannot be determined, and the kind of each plot.

    Plots are of a kind that share a texture and, to the centimetre, a radius.
    """
    keys = plots[["texture"]].assign(radius=plots["weed_free_radius_m"].astype(float).round(2))
    groups = keys.groupby(["texture", "radius"], dropna=False, sort=False)
    words = keys.drop_duplicates().itertuples(index=False, name=None)
    return [_kind(str(texture), radius, soil) for texture, radius in words], groups.ngroup().to_numpy()


def _kind(texture: str, radius: float, soil: Soil) -> Patch | str:
    if texture == "":
        return "no texture of the soil is recorded"
    try:
        held = water_held(texture, soil.textures)
        return Patch(
            held.field_capacity,
            held.wilting_point,
            depth_m=soil.root_depth_m,
            radius_m=None if pd.isna(radius) else max(radius, 0.01),
            root_radius_m=soil.root_radius_m,
            depletion_fraction=soil.depletion_fraction,
            patch_coefficient=soil.patch_coefficient,
            weed_coefficient=soil.weed_coefficient,
        )
    except SeasonError as fault:
        return fault.what


def _daily(
    rain: GaugeRecord, station: WeatherRecord, weather: Weather, settings: Settings
) -> tuple[pd.DataFrame, list[str]]:
    """Rain and reference evapotranspiration on the days that both files reach, and what to say of them."""
    reference = reference_evapotranspiration(
        station.daily,
        latitude=weather.latitude,
        elevation_m=weather.elevation_m,
        wind_height_m=weather.wind_height_m,
        method=weather.method,
    )
    closed = settings.records_closed
    calendar = on_calendar(rain, None if closed is None else pd.Timestamp(closed))
    first = max(reference.table["date"].iloc[0], calendar.first)
    last = min(reference.table["date"].iloc[-1], calendar.last)
    if last < first:
        raise SeasonError("rain and weather have no day in common", where=station.file)
    dates = pd.date_range(first, last, freq="D")
    eto = reference.table.set_index("date")["eto_mm"].reindex(dates)
    daily = pd.DataFrame({"date": dates, "rain_mm": calendar.slice(calendar.booked, first, last)})
    daily["eto_mm"] = eto.to_numpy()
    notes = [reference.notes[0]]
    lacking = {"rain": daily["rain_mm"].isna().sum(), "evapotranspiration": daily["eto_mm"].isna().sum()}
    for name, count in lacking.items():
        if count:
            notes.append(
                f"{name} is not known on {count} of {len(daily)} days, and soil water within limits only "
                "from there until rain or drought closes the gap"
            )
    low, high = calendar.place(first), calendar.place(last)
    sums = sum(low <= end <= high for _, end, _ in calendar.sums)
    if sums:
        notes.append(
            f"{sums} {'amount' if sums == 1 else 'amounts'} of rain read for several days, each taken to "
            "have fallen on the day it was read"
        )
    return daily, notes


def _typical(plots: pd.DataFrame, balances: Sequence[Balance]) -> list[Typical]:
    """For each texture, the plot whose radius is nearest to the median."""
    typical = []
    for (gauge, texture), rows in plots.groupby(["gauge", "texture"], sort=True):
        radius = rows["weed_free_radius_m"]
        middle = rows.index[0]
        if radius.notna().any():
            middle = (radius - radius.median()).abs().idxmin()
        balance = balances[int(rows.loc[middle, "balance"])]
        words = str(texture)
        if balance.patch.radius_m is not None:
            words += f", patch of {balance.patch.radius_m:.2f} m radius"
        planted = pd.to_datetime(rows["planted_date"]).min()
        typical.append(Typical(str(gauge), words, balance, planted, len(rows)))
    return typical
