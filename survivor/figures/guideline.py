"""Advice drawn: the difference that each preparation made on each kind of ground."""

from __future__ import annotations

from collections.abc import Hashable, Mapping, Sequence
from typing import Any

import pandas as pd

from survivor.figures.rows import (
    Layout,
    Row,
    draw_rows,
    mark_band,
    mark_nought,
    rows_figure,
    set_range,
)
from survivor.figures.style import WIDTHS, Drawing, Size, styled
from survivor.figures.words import difference, number


def advice_figure(
    table: pd.DataFrame, smallest: float, marks: Sequence[Sequence[float]] = (), *, size: Size = "wide"
) -> Drawing:
    """Return every difference with its limits, its advice beside it in words.

    Parameters
    ----------
    table
        ``ground, preparation, advice, estimate, lower, upper`` (per 100 planted); one row at least.
    smallest
        The smallest difference worth having, shaded.
    marks
        What the rule holds an estimate, a lower and an upper limit to.
    size
        For a page, or for a telephone.
    """
    headings = ("Difference per 100\n(95 % limits)", "Advice")
    with styled():
        rows = [_row(line, marks) for line in table.to_dict("records")]
        axis = "More (+) or fewer (−) alive per 100 planted than the usual practice"
        if size == "narrow":
            axis = "Difference in plants alive per 100 planted"
        layout = Layout(size=size, headings=headings, axis=axis)
        figure, ax = rows_figure(rows, layout, WIDTHS[size])
        values = [float(v) for name in ("estimate", "lower", "upper") for v in table[name].dropna()]
        set_range(ax, [*values, -smallest, smallest], 5, 20, (-100, 100))
        draw_rows(rows, ax, layout)
        mark_band(ax, -smallest, smallest, f"less than worth having ({number(smallest)})")
        mark_nought(ax, 0, len(rows), size)
        return figure


def _row(line: Mapping[Hashable, Any], marks: Sequence[Sequence[float]]) -> Row:
    known = pd.notna(line["estimate"])
    nothing = float("nan")
    estimate, lower, upper = (
        float(line[name]) if known else nothing for name in ("estimate", "lower", "upper")
    )
    said, span = difference(estimate, lower, upper, marks=marks)
    advice = str(line["advice"])
    return Row(
        str(line["preparation"]),
        estimate,
        lower,
        upper,
        look="main" if advice in ("advised", "not advised") else "hollow",
        beside=(f"{said} ({span})" if known else "–", advice),
        under=str(line["ground"]),
    )
