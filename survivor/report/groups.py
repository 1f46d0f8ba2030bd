"""Survival of each species and at each site."""

from __future__ import annotations

from dataclasses import replace
from functools import partial

import pandas as pd

from survivor.analysis.milestone import milestone_words
from survivor.analysis.models import first_plants
from survivor.analysis.result import Analysis
from survivor.document.elements import (
    Figure,
    Paragraph,
    Section,
    Table,
    missing,
    numbers,
    shortened,
    words,
    written,
)
from survivor.figures.comparison import groups_figure
from survivor.intervals import entries
from survivor.report import english as en
from survivor.report.columns import NOTE, alive
from survivor.report.reasons import why
from survivor.sentences import Name, Text, Value, cell, say
from survivor.vocabulary import Basis
from survivor.words import counted, per_100

_ALIKE = 0.01  # difference in the share of a species under which preparations count as planted alike
_MOST_ROWS = 30  # a taller picture can't be taken in
_TABLES = {"species": "species", "sites": "sites"}
_FILES = {"species": "species.csv", "site": "sites.csv", "sites": "sites.csv"}


def species(analysis: Analysis) -> Section:
    """Return survival of each species, lowest last."""
    key, heading = "species", "Species"
    table = analysis.described.species
    if table.empty:
        return missing(key, heading, why(analysis, "species", "Species are not recorded"))
    ordered = table.sort_values("estimate", ascending=False, kind="stable")
    text = en.SPECIES_UNLIKE if _planted_unlike(analysis) else en.SPECIES_ALIKE
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
    table = analysis.described.sites
    if table.empty:
        return missing(key, heading, why(analysis, "sites", "There is no table of sites"))
    ordered = table.sort_values(str(table.columns[0]), kind="stable")
    return Section(key, heading, (Paragraph(en.SITES), _figure(analysis, ordered, key, "site", "Site")))


def _figure(analysis: Analysis, table: pd.DataFrame, key: str, word: str, heading: str) -> Figure:
    name = str(table.columns[0])
    ranked = table.sort_values("estimate", ascending=False, kind="stable").dropna(subset=["estimate"])
    finding: Text = en.GROUPS_NONE.format(word=word)
    if not ranked.empty:
        worst, best = (
            Value(
                per_100(float(row["estimate"])),
                float(row["estimate"]),
                cell(_TABLES[key], "estimate", **{name: row[name]}),
            )
            for row in (ranked.iloc[-1], ranked.iloc[0])
        )
        names = {"worst": Name(str(ranked.iloc[-1][name])), "best": Name(str(ranked.iloc[0][name]))}
        if worst.text != best.text:
            finding = say(en.GROUPS_SPAN, low=worst, high=best, per=analysis.per_100, **names)
        else:
            finding = say(en.GROUPS_ONE, low=worst, per=analysis.per_100, alike=_alike(len(ranked), word))
    when = milestone_words(analysis.settings.headline_milestone, analysis.milestone_day)
    shown = table.head(_MOST_ROWS)
    caption = en.GROUPS_CAPTION.format(per=analysis.per_100)
    if len(table) > _MOST_ROWS:
        caption += f" {en.GROUPS_FIRST.format(most=_MOST_ROWS, all=len(table))}"
    return Figure(
        key=key,
        title=f"Alive {analysis.per_100} at {when}, by {word}",
        finding=finding,
        caption=caption,
        draw=partial(groups_figure, shown, axis=f"Alive {analysis.per_100}"),
        table=_table(analysis, table, key, name, heading),
    )


def _alike(count: int, word: str) -> str:
    """Say that groups came out alike, to the whole number; nothing where there is but one."""
    if count == 1:
        return ""
    every = "both" if count == 2 else "all"
    return f" at {every} sites" if word == "site" else f" of {every} {word}"


def _table(analysis: Analysis, table: pd.DataFrame, key: str, name: str, heading: str) -> Table:
    told = "planted" in table and bool(table["planted"].notna().all())
    counts = [*(("planted",) if told else ()), *(c for c in ("watched", "alive", "n_plots") if c in table)]
    noted = "note" in table and table["note"].astype(str).str.strip().any()
    names = {"planted": "Planted", "watched": "Watched", "alive": "Alive", "n_plots": "Plots"}
    fields = (
        words(heading, name),
        *alive(analysis.basis),
        *(numbers(names[column], column) for column in counts),
        *((NOTE,) if noted else ()),
    )
    made = written(f"{key}-table", f"Survival by {heading.lower()}", table, fields)
    return replace(shortened(made, _FILES[key]), note=_watched(table, told, analysis.basis is Basis.FOUND))


def _watched(table: pd.DataFrame, told: bool, found_first: bool) -> str:
    """Say what watched means, and how many were planted and never watched."""
    if "watched" not in table:
        return ""
    words = en.WATCHED_FOUND if found_first else en.WATCHED
    if not told:
        return f"{words} {en.PLANTED_UNKNOWN.format(by=table.columns[0])}"
    missed = float(table["planted"].sum() - table["watched"].sum())
    if missed <= 0:
        return words
    never = en.NOT_AMONG if found_first else en.NOT_WATCHED
    return f"{words} {never.format(seedlings=counted(missed, 'seedling was', 'seedlings were'))}"
