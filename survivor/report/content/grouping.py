"""Survival of each species and at each site."""

from __future__ import annotations

from dataclasses import replace
from functools import partial
from typing import TYPE_CHECKING

import pandas as pd

from survivor.analysis.milestone import milestone_words
from survivor.figures.groups import groups_figure
from survivor.figures.style import Drawing, Size
from survivor.figures.words import number, per_100, per_100_limits
from survivor.intervals import entries
from survivor.report.content.dryness import first_plants
from survivor.report.content.elements import Column, Figure, Paragraph, Section, Table, missing
from survivor.report.content.reasons import why
from survivor.report.content.wording import counted, sentence, shortened

if TYPE_CHECKING:
    from survivor.analysis.result import Analysis

_ALIKE = 0.01  # difference in the share of a species under which preparations count as planted alike
_MOST_ROWS = 30  # a taller picture can't be taken in
_FILES = {"species": "species.csv", "site": "sites.csv", "sites": "sites.csv"}


def species(analysis: Analysis) -> Section:
    """Return survival of each species, lowest last."""
    key, heading = "species", "Species"
    table = analysis.species
    if table.empty:
        return missing(key, heading, why(analysis, "species", otherwise="Species are not recorded"))
    ordered = table.sort_values("estimate", ascending=False, kind="stable")
    text = (
        "Species are not planted alike under every preparation or at every site, so a species that fared "
        "badly may have stood on the harder ground."
        if _planted_unlike(analysis)
        else "Species were planted in the same shares under every preparation and at every site."
    )
    return Section(key, heading, (Paragraph(text), _figure(analysis, ordered, key, "species", "Species")))


def _planted_unlike(analysis: Analysis) -> bool:
    """Whether shares of species differ between preparations or sites, by more than 1 in 100."""
    rows = first_plants(analysis.records.intervals)
    began = entries(rows)
    for place in ("method", "site"):
        counts = began.groupby([began[place].astype(str), began["species"].astype(str)])["at_risk"].sum()
        shares = counts.unstack(fill_value=0)
        shares = shares.div(shares.sum(axis=1), axis=0)
        if float((shares.max() - shares.min()).max()) > _ALIKE:
            return True
    return False


def sites(analysis: Analysis) -> Section:
    """Return survival at each site, in alphabetical order: sites are not ranked."""
    key, heading = "sites", "Site by site"
    table = analysis.sites
    if table.empty:
        return missing(key, heading, why(analysis, "site", otherwise="There is no table of sites"))
    ordered = table.sort_values(str(table.columns[0]), kind="stable")
    text = (
        "Sites are in alphabetical order and are not ranked: they differ in ground, weather and "
        "preparations, and a "
        "site is not a method."
    )
    return Section(key, heading, (Paragraph(text), _figure(analysis, ordered, key, "site", "Site")))


def _figure(analysis: Analysis, table: pd.DataFrame, key: str, word: str, heading: str) -> Figure:
    name = str(table.columns[0])
    ranked = table.sort_values("estimate", ascending=False, kind="stable").dropna(subset=["estimate"])
    finding = f"No {word} was visited near the day asked for."
    if not ranked.empty:
        best, worst = ranked.iloc[0], ranked.iloc[-1]
        low, high = per_100(float(worst["estimate"])), per_100(float(best["estimate"]))
        finding = (
            f"From {low} alive per 100 planted ({worst[name]}) to {high} ({best[name]})."
            if low != high
            else f"{low} alive per 100 planted{_alike(len(ranked), word)}."
        )
    when = milestone_words(analysis.settings.headline_milestone, analysis.milestone_day)
    shown = table.head(_MOST_ROWS)
    more = f" The first {_MOST_ROWS} of {len(table)} are drawn." if len(table) > _MOST_ROWS else ""
    return Figure(
        key=key,
        title=f"Alive per 100 planted at {when}, by {word}",
        finding=finding,
        caption=(
            "Dot: alive per 100 planted, as counted under all preparations, so not evened out as the answer "
            f"is. Line: 95 % limits that respect plots.{more}"
        ),
        draw=partial(_draw, shown),
        table=_table(analysis, table, key, name, heading),
    )


def _alike(count: int, word: str) -> str:
    """Say that groups came out alike, to the whole number; nothing where there is but one."""
    if count == 1:
        return ""
    every = "both" if count == 2 else "all"
    return f" at {every} sites" if word == "site" else f" of {every} {word}"


def _draw(table: pd.DataFrame, size: Size) -> Drawing:
    return groups_figure(table, size=size)


def _table(analysis: Analysis, table: pd.DataFrame, key: str, name: str, heading: str) -> Table:
    told = "planted" in table and bool(table["planted"].notna().all())
    counts = [*(("planted",) if told else ()), *(c for c in ("watched", "alive", "n_plots") if c in table)]
    noted = "note" in table and table["note"].astype(str).str.strip().any()
    words = {"planted": "Planted", "watched": "Watched", "alive": "Alive", "n_plots": "Plots"}
    columns = (
        Column(heading),
        Column("Alive per 100 planted", numeric=True),
        Column("95 % limits", numeric=True),
        *(Column(words[column], numeric=True) for column in counts),
        *((Column("Note"),) if noted else ()),
    )
    rows = tuple(
        (
            str(row[name]),
            per_100(float(row["estimate"])),
            per_100_limits(float(row["lower"]), float(row["upper"])),
            *(number(float(row[column])) for column in counts),
            *((sentence(str(row["note"])),) if noted else ()),
        )
        for row in table.to_dict("records")
    )
    made = Table(f"{key}-table", f"Survival by {heading.lower()}", columns, rows)
    return replace(shortened(made, _FILES[key]), note=_watched(table, told, analysis.found_first))


def _watched(table: pd.DataFrame, told: bool, found_first: bool) -> str:
    """Say what watched means, and how many were planted and never watched."""
    if "watched" not in table:
        return ""
    words = "Watched: seedlings planted whose state was known at some visit; alive per 100 is of these."
    never = "planted and never seen at a visit"
    if found_first:
        words = "Watched: seedlings found alive at the first visit and seen again; alive per 100 is of these."
        never = "planted and not among these"
    if not told:
        return f"{words} How many were planted is not recorded by {table.columns[0]}."
    missed = float(table["planted"].sum() - table["watched"].sum())
    if missed <= 0:
        return words
    return f"{words} {counted(missed, 'seedling was', 'seedlings were')} {never}."
