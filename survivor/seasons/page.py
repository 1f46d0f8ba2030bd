"""Several seasons together as a page: the pooled answer, and that of one model of all records beside it."""

from __future__ import annotations

from functools import partial
from typing import Any, Final

import numpy as np
import pandas as pd

from survivor.document.elements import (
    Figure,
    Listing,
    Paragraph,
    Report,
    Section,
    Table,
    Terms,
    headed,
    numbers,
    of_row,
    words,
    written,
)
from survivor.figures.pooling import pooled_figure
from survivor.pooling.result import NEW_NOTE, TELLS_NOTHING, Coming, tells_nothing, within_scale
from survivor.seasons import english as en
from survivor.seasons.together import Key, SeasonsTogether
from survivor.sentences import Names, Text, say
from survivor.vocabulary import PER_100
from survivor.words import NONE, alive_limits, chance, counted, difference, listed, sentence

PAGE: Final = "pooled.html"


def page_of_seasons(found: SeasonsTogether, sentences: tuple[Text, ...]) -> Report:
    """Return the page, the answer first.

    Parameters
    ----------
    found
        Seasons, pooled.
    sentences
        Every comparison in words, and then what the trait asked for says.
    """
    # Those of a comparison that is pooled stand beside its picture.
    drawn = [key for key in found.pooled if key[2] == PER_100 and np.isfinite(_row(found, key)["lower"])]
    pictured = ["", *(method for method, _, _ in drawn)]
    units = found.units[(found.units["scale"] == PER_100) & ~found.units["method"].isin(pictured)]
    alone = [_units("units", units, found.unit)] if len(units) else []
    seasons = list(dict.fromkeys(found.units["season"].astype(str)))
    return Report(
        title=en.TITLE.format(seasons=counted(len(seasons), "season")),
        about=(en.ABOUT.format(when=found.milestone, seasons=listed(seasons)),),
        answer=Section(
            "answer",
            en.ANSWER,
            (Listing(tuple(line for line in sentences if line)), Paragraph(f"{en.HOW} {en.HOW_READ}")),
        ),
        sections=(
            Section("together", en.TOGETHER, (together_table(found), Paragraph(en.HOW_ONE_MODEL))),
            Section(
                "seasons",
                f"{found.unit.capitalize()} by {found.unit}",
                (*(_picture(found, key) for key in drawn), *alone),
            ),
            *_same_sites(found),
            Section("methods", "Methods", (Listing(tuple(map(sentence, found.checks))),)),
            Section(
                "provenance", "Data and provenance", (Terms(tuple(found.provenance.items()), code=True),)
            ),
        ),
        subject="establishment survival, several seasons",
        called="page",
        made_from="the season folders",
    )


def together_table(found: SeasonsTogether) -> Table:
    """Return each comparison over the seasons, in a new one, and by one model of all records."""
    told = found.table[found.table["scale"] == PER_100]
    joint = within_scale(found.joint[found.joint["scale"] == PER_100], "scale")
    alone = {(row["method"], row["against"]): _size(row) for row in joint.to_dict("records")}
    units = f"{found.unit}s"
    fields = (
        words("Preparation", "method"),
        words("Against", "against"),
        of_row(f"Over the {units} (95 % CI)", _size, numeric=True),
        of_row(f"In a new {found.unit} like these", lambda row: str(Coming.of_row(row, units)), numeric=True),
        of_row("p, adjusted (Holm)", _p_words, numeric=True),
        of_row(
            "One model of all records, these seasons only (95 % CI)",
            lambda row: alone.get((row["method"], row["against"]), NONE),
            numeric=True,
        ),
        numbers(units.capitalize(), "n_units"),
    )
    note = f"{en.TABLE_NOTE} {NEW_NOTE.format(unit=found.unit, units=units)}"
    return written("together-table", en.TOGETHER_CAPTION, told, fields, note=note)


def _same_sites(found: SeasonsTogether) -> tuple[Section, ...]:
    """Return survival at the sites of more than one season, season beside season; nothing where none is."""
    table = found.same_sites
    if table.empty:
        return ()
    seasons = list(dict.fromkeys(table["season"].astype(str)))
    cells = {
        (str(row["site"]), str(row["method"]), str(row["season"])): alive_limits(
            *(float(row[name]) for name in ("estimate", "lower", "upper"))
        )
        for row in table.to_dict("records")
    }
    pairs = list(dict.fromkeys((site, method) for site, method, _ in cells))
    rows = tuple(
        (site, method, *(cells.get((site, method, season), NONE) for season in seasons))
        for site, method in pairs
    )
    columns = headed("Site", "Preparation", numeric=seasons)
    sites = Names(tuple(dict.fromkeys(table["site"].astype(str))))
    shown = Table("same-sites-table", en.AGAIN_CAPTION, columns, rows, row_heads=2)
    text = say(en.AGAIN_WHAT, when=found.milestone, sites=sites)
    return (Section("same-sites", en.AGAIN, (Paragraph(text), shown)),)


def _units(key: str, units: pd.DataFrame, unit: str) -> Table:
    fields = (
        words("Preparation", "method"),
        words(unit.capitalize(), "unit"),
        of_row("Difference per 100 (95 % CI)", _size, numeric=True),
        numbers("Plots", "n_plots"),
        words("Note", "reason"),
    )
    return written(f"{key}-table", f"Each {unit} alone, limits by plot", units, fields, row_heads=2)


def _picture(found: SeasonsTogether, key: Key) -> Figure:
    row = _row(found, key)
    draw = partial(pooled_figure, *found.drawn(key), key[2], new_name=f"a new {found.unit}")
    method, against, scale = key
    own = found.units[(found.units["scale"] == scale) & (found.units["method"] == method)]
    name = f"pooled-{list(found.pooled).index(key)}"
    return Figure(
        key=name,
        title=f"{method} against {against}",
        finding=en.PICTURE.format(unit=found.unit, size=_size(row)),
        caption=en.PICTURE_CAPTION,
        draw=draw,
        table=_units(name, own, found.unit),
    )


def _row(found: SeasonsTogether, key: Key) -> dict[Any, Any]:
    table = found.table
    own = table[(table["method"] == key[0]) & (table["against"] == key[1]) & (table["scale"] == key[2])]
    return dict(own.iloc[0])


def _size(row: dict[Any, Any]) -> str:
    """Write an estimate with its limits, or that they tell nothing."""
    if not np.isfinite(row["estimate"]):
        return NONE
    said, span = difference(float(row["estimate"]), float(row["lower"]), float(row["upper"]))
    return f"{said} ({TELLS_NOTHING if tells_nothing(row, 'lower', 'upper') else span})"


def _p_words(row: dict[Any, Any]) -> str:
    return NONE if not np.isfinite(row["p_adjusted"]) else chance(float(row["p_adjusted"]))
