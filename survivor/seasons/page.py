"""Several seasons together as a page: the pooled answer, and that of one model of all records beside it."""

from __future__ import annotations

from functools import partial
from typing import Any, Final

import numpy as np
import pandas as pd

from survivor.document.elements import (
    Block,
    Column,
    Figure,
    Listing,
    Paragraph,
    Report,
    Section,
    Table,
    Terms,
)
from survivor.figures.pooling import pooled_figure
from survivor.pooling.result import TELLS_NOTHING, tells_nothing, within_scale
from survivor.seasons import english as en
from survivor.seasons.together import Key, SeasonsTogether
from survivor.sentences import Names, Text, say
from survivor.vocabulary import PER_100
from survivor.words import (
    NONE,
    counted,
    difference,
    difference_digits,
    limits,
    listed,
    number,
    per_100,
    per_100_limits,
    sentence,
)

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
    drawn = {key[0] for key in found.pooled if key[2] == PER_100 and np.isfinite(_row(found, key)["lower"])}
    units = found.units[(found.units["scale"] == PER_100) & ~found.units["method"].isin(["", *drawn])]
    seasons = list(dict.fromkeys(found.units["season"].astype(str)))
    pictures = [
        _picture(found, key)
        for key in found.pooled
        if key[2] == PER_100 and np.isfinite(_row(found, key)["lower"])
    ]
    return Report(
        title=en.TITLE.format(seasons=counted(len(seasons), "season")),
        about=(en.ABOUT.format(when=found.milestone, seasons=listed(seasons)),),
        answer=Section(
            "answer",
            en.ANSWER,
            (Listing(tuple(line for line in sentences if line)), Paragraph(en.HOW)),
        ),
        sections=(
            Section("together", en.TOGETHER, (together_table(found), Paragraph(en.HOW_ONE_MODEL))),
            Section(
                "seasons",
                f"{found.unit.capitalize()} by {found.unit}",
                (*pictures, *([_units("units", units, found.unit)] if len(units) else [])),
            ),
            *_same_sites(found),
            Section("methods", "Methods", tuple(_checks(found))),
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
    joint = found.joint[found.joint["scale"] == PER_100].set_index(["method", "against"])
    rows = []
    for row in told.to_dict("records"):
        pair = (row["method"], row["against"])
        alone = (
            within_scale(joint.loc[[pair]].assign(scale=PER_100), "scale") if pair in joint.index else None
        )
        rows.append(
            (
                str(row["method"]),
                str(row["against"]),
                _size(row),
                _span(row, "new_lower", "new_upper"),
                NONE if alone is None else _size(alone.iloc[0].to_dict()),
                number(float(row["n_units"])),
            )
        )
    columns = (
        Column("Preparation"),
        Column("Against"),
        Column(f"Over the {found.unit}s (95 % CI)", numeric=True),
        Column(f"In a new {found.unit} like these", numeric=True),
        Column("One model of all records, these seasons only (95 % CI)", numeric=True),
        Column(f"{found.unit.capitalize()}s", numeric=True),
    )
    return Table("together-table", en.TOGETHER_CAPTION, columns, tuple(rows), note=en.TABLE_NOTE)


def _same_sites(found: SeasonsTogether) -> tuple[Section, ...]:
    """Return survival at the sites of more than one season, season beside season; nothing where none is."""
    table = found.same_sites
    if table.empty:
        return ()
    seasons = list(dict.fromkeys(table["season"].astype(str)))
    cells = {
        (str(row["site"]), str(row["method"]), str(row["season"])): per_100(float(row["estimate"]))
        + f" ({per_100_limits(float(row['lower']), float(row['upper']))})"
        for row in table.to_dict("records")
    }
    pairs = list(dict.fromkeys((site, method) for site, method, _ in cells))
    rows = tuple(
        (site, method, *(cells.get((site, method, season), NONE) for season in seasons))
        for site, method in pairs
    )
    columns = (
        Column("Site"),
        Column("Preparation"),
        *(Column(season, numeric=True) for season in seasons),
    )
    sites = Names(tuple(dict.fromkeys(table["site"].astype(str))))
    shown = Table("same-sites-table", en.AGAIN_CAPTION, columns, rows, row_heads=2)
    text = say(en.AGAIN_WHAT, when=found.milestone, sites=sites)
    return (Section("same-sites", en.AGAIN, (Paragraph(text), shown)),)


def _units(key: str, units: pd.DataFrame, unit: str) -> Table:
    rows = tuple(
        (str(row["method"]), str(row["unit"]), _size(row), number(float(row["n_plots"])), str(row["reason"]))
        for row in units.to_dict("records")
    )
    columns = (
        Column("Preparation"),
        Column(unit.capitalize()),
        Column("Difference per 100 (95 % CI)", numeric=True),
        Column("Plots", numeric=True),
        Column("Note"),
    )
    return Table(f"{key}-table", f"Each {unit} alone, limits by plot", columns, rows, row_heads=2)


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


def _span(row: dict[Any, Any], lower: str, upper: str) -> str:
    if not np.isfinite(row[lower]):
        return NONE
    if tells_nothing(row, lower, upper):
        return TELLS_NOTHING
    low, high = float(row[lower]), float(row[upper])
    return limits(low, high, difference_digits(low, high), sign=True)


def _checks(found: SeasonsTogether) -> list[Block]:
    return [Listing(tuple(map(sentence, found.checks)))]
