"""What a study makes of records whose truth is known: read right, asked about, or wrong without a word."""

from __future__ import annotations

import collections
import datetime as dt
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import pandas as pd

import survivor
from survivor.vocabulary import FIRST_PLANTING

# What a problem of these codes names is beside the point: not a state, count, plot or preparation.
BESIDE = re.compile("species|height|one-plot|cost|usual|observer|radius|diameter|milestone|assumed")
STATES = {"alive": "alive", "dead": "dead", "missing": "dead", "replanted": "dead"}

Place = tuple[str, str, str]  # file, sheet, row


def squeeze(text: object) -> str:
    return re.sub(r"[\W_]+", "", str(text).casefold())


@dataclass(frozen=True)
class Site:
    """A site: its spellings, planting day, and visits with how far off a reading of their day may be."""

    names: frozenset[str]
    planted: dt.date
    visits: tuple[tuple[dt.date, int], ...]


@dataclass(frozen=True)
class Known:
    """A plant, or the plants of a plot: states ("alive", "dead", None) or counts, one a visit."""

    site: str
    plot: str
    key: tuple[str, ...]
    prep: str
    number: int
    seen: tuple[Any, ...]
    places: frozenset[Place] = frozenset()


@dataclass(frozen=True)
class Truth:
    """All of a season."""

    tagged: bool
    sites: Mapping[str, Site]
    preps: Mapping[str, str]  # squeezed spelling -> preparation
    units: Sequence[Known]
    species: Mapping[str, str] = field(default_factory=dict)


@dataclass
class Compared:
    """Told otherwise than it was, with the row it was read from; not told, with its rows."""

    differs: list[tuple[str, frozenset[Place]]] = field(default_factory=list)
    lost: list[tuple[str, frozenset[Place]]] = field(default_factory=list)


def verdict(truth: Truth, study: survivor.Study) -> tuple[str, str]:
    """Say "right", "asked" or "wrong", and why."""
    if (nothing := study.records.nothing) is not None:
        return "asked", f"nothing is read: {nothing}"[:300]
    found = study.records.findings.astype(object)
    found = found.where(found.notna(), "").astype(str)
    grave = found[found["severity"].isin(["stop", "check"]) & ~found["file"].str.endswith(".toml")]
    grave = grave[~grave["code"].str.contains(BESIDE)]
    named = set(zip(grave["file"], grave["sheet"], grave["row"], strict=True))
    compared = compare(truth, study)
    unnamed = [what for what, places in compared.differs if not places & named]
    unnamed += [what for what, places in compared.lost if (places and not places & named) or grave.empty]
    told = [what for what, _ in (*compared.differs, *compared.lost)]
    if unnamed:
        return "wrong", "; ".join(unnamed[:4])
    if not told:
        return "right", ""
    return "asked", f"{'; '.join(told[:3])} ({', '.join(sorted(set(grave['code'])))})"


def compare(truth: Truth, study: survivor.Study) -> Compared:
    """Hold every record of first plants against the truth."""
    out = Compared()
    units = {unit.key: unit for unit in truth.units}
    told: dict[tuple[str, ...], dict[int, Any]] = collections.defaultdict(dict)
    plots: dict[tuple[str, str, str], set[tuple[str, str]]] = collections.defaultdict(set)
    visits = study.records.visits
    for row in visits[visits["cohort"].astype(str) == FIRST_PLANTING].to_dict("records"):
        place = frozenset({(str(row["file"]), str(row["sheet"]), str(row["row"]))})
        site = next((name for name, own in truth.sites.items() if squeeze(row["site"]) in own.names), "")
        unit = units.get(key_of(truth, site, row))
        if unit is None:
            named = f"{row['site']} {row['plot']} {row.get('tag', '')}"
            out.differs.append((f"no such plant or plot: {named}", place))
            continue
        plots[str(row["site"]), str(row["block"]), str(row["plot"])].add((unit.site, unit.plot))
        if truth.preps.get(squeeze(row["method"])) != unit.prep:
            out.differs.append((f"{row['method']} for {unit.prep}", place))
        _one_record(truth, unit, row, told[unit.key], out)
    for unit in truth.units:
        _not_told(unit, told[unit.key], out)
    _plots(truth, study, plots, out)
    return out


def key_of(truth: Truth, site: str, row: Mapping[str, Any]) -> tuple[str, ...]:
    if truth.tagged:
        return site, squeeze(row["tag"]).lstrip("0")
    species = squeeze(row.get("species") or "")
    return site, squeeze(row["plot"]), truth.species.get(species, species)


def _one_record(
    truth: Truth, unit: Known, row: Mapping[str, Any], told: dict[int, Any], out: Compared
) -> None:
    place = frozenset({(str(row["file"]), str(row["sheet"]), str(row["row"]))})
    off = {
        turn: abs((pd.Timestamp(day) - row["date"]).days)
        for turn, (day, within) in enumerate(truth.sites[unit.site].visits)
        if abs((pd.Timestamp(day) - row["date"]).days) <= within
    }
    if not off:
        out.differs.append((f"no visit on {row['date']:%Y-%m-%d} at {unit.site}", place))
        return
    turn = min(off, key=lambda own: off[own])
    if truth.tagged:
        own: Any = STATES.get(str(row["state"]))
    else:
        own = None if pd.isna(row["alive"]) else int(row["alive"])
    if own is None:
        return
    told[turn] = own
    unknown = unit.seen[turn] is None  # and then a dead plant is no other tale, as nobody saw it
    if own != unit.seen[turn] and not (unknown and own == "dead"):
        out.differs.append((f"{unit.key} at visit {turn + 1}: {own} for {unit.seen[turn]}", place))


def _not_told(unit: Known, told: Mapping[int, Any], out: Compared) -> None:
    for turn, want in enumerate(unit.seen):
        over = "dead" in [told.get(before) for before in range(turn)]  # dead already
        if want is not None and turn not in told and not (want == "dead" and over):
            out.lost.append((f"{unit.key} at visit {turn + 1} is not read", unit.places))


def _plots(
    truth: Truth,
    study: survivor.Study,
    plots: Mapping[tuple[str, str, str], set[tuple[str, str]]],
    out: Compared,
) -> None:
    nowhere: frozenset[Place] = frozenset()
    there = {(unit.site, unit.plot) for unit in truth.units}
    if any(len(own) > 1 for own in plots.values()) or len(plots) > len(there):
        out.differs.append((f"{len(plots)} plots for {len(there)}", nowhere))
    elif len(plots) < len(there):
        out.lost.append((f"{len(plots)} plots for {len(there)}", nowhere))
    table = study.records.plots
    days = {squeeze(name): set(own) for name, own in table.groupby("site", observed=True)["planted_date"]}
    for name, own in days.items():
        site = next((site for site in truth.sites.values() if name in site.names), None)
        if site is None or own != {pd.Timestamp(site.planted)}:
            out.differs.append((f"{name} planted {own}", nowhere))
    if not truth.tagged and not out.lost and not out.differs:
        number = table["planted"].sum()
        if number != sum(unit.number for unit in truth.units):
            out.differs.append(
                (f"{number:g} planted for {sum(unit.number for unit in truth.units)}", nowhere)
            )
