"""Survival at each site or of each species, with limits: rows in the order given."""

from __future__ import annotations

import pandas as pd

from survivor.figures.rows import Layout, Row, draw_rows, rows_figure, set_range
from survivor.figures.style import WIDTHS, Drawing, Size, styled
from survivor.figures.words import number, per_100, per_100_limits


def groups_figure(
    table: pd.DataFrame, *, size: Size = "wide", axis: str = "Alive per 100 planted"
) -> Drawing:
    """Return one row a site or species.

    Parameters
    ----------
    table
        First column the group; ``watched`` or ``planted``, and ``alive`` where known
        (seedlings), ``estimate, lower, upper`` (per 100 planted). The order is kept: sites are not ranked.
    size
        For a page, or for a telephone.
    axis
        Words of the axis.
    """
    with styled():
        group = str(table.columns[0])
        base = "watched" if "watched" in table else "planted"
        rows = []
        for record in table.to_dict("records"):
            value, lower, upper = (float(record[name]) for name in ("estimate", "lower", "upper"))
            total = number(float(record[base]))
            counted = f"{number(float(record['alive']))} of {total}" if "alive" in record else total
            rows.append(
                Row(
                    label=str(record[group]),
                    estimate=value,
                    lower=lower,
                    upper=upper,
                    look="ink",
                    beside=(f"{per_100(value)} ({per_100_limits(lower, upper)})", counted),
                )
            )
        count = f"Alive of\n{base}" if "alive" in table else base.capitalize()
        layout = Layout(size=size, headings=("Alive per 100\n(95 % limits)", count), axis=axis)
        figure, ax = rows_figure(rows, layout, WIDTHS[size])
        values = [float(v) for v in [*table["lower"], *table["upper"], *table["estimate"]]]
        set_range(ax, values, 10, 40, (0, 100))
        draw_rows(rows, ax, layout)
        return figure
