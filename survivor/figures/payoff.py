"""Costs and orders: of an established plant, break-even, chance of the best value, plants to order."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.lines import Line2D

from survivor.figures.rows import Chart, Row, Steps
from survivor.figures.style import (
    WIDTHS,
    Drawing,
    Size,
    axes_or_new,
    blank,
    legend_below,
    lines,
    name_ends,
    styled,
    wrapped,
)
from survivor.words import (
    cost_limits,
    heading_of_limits,
    level_of,
    limits,
    money,
    plants,
    plants_limits,
    range_words,
)

_STEPS: Final = (0.5, *(unit * tens for tens in (1, 10, 100, 1000) for unit in (1, 2, 5)), 10_000.0)
_LETTERS: Final = 26  # on a line of a name
_FALLBACK: Final = 50_000.0
_LINE, _BEST = 1.2, 3.0  # widths of a line, and where its method is the best at the estimates


def draw_payoff(table: pd.DataFrame, ax: Axes | None = None) -> Axes:
    """Draw cost per established plant, lowest first.

    Parameters
    ----------
    table
        ``method, cost_per_established, lower, upper, currency``.
    ax
        Axes to draw on; a new figure's where none is given.

    Returns
    -------
    matplotlib.axes.Axes
    """
    return _payoff(table).draw(ax)


def _payoff(table: pd.DataFrame) -> Chart:
    rows = []
    for line in table.sort_values("cost_per_established", kind="stable").to_dict("records"):
        name = str(line["method"])
        cost, low, high = (float(line[column]) for column in ("cost_per_established", "lower", "upper"))
        beside = (f"{money(cost, str(line['currency']))} ({cost_limits(low, high)})",)
        rows.append(Row(name, cost, low, high, beside=beside))
    heading = f"Cost per living plant\n({range_words(level_of(table))})"
    return _amounts(rows, heading, f"Cost per living plant{_in_currency(table)}")


def draw_break_even(table: pd.DataFrame, ax: Axes | None = None) -> Axes:
    """Draw the break-even cost of each preparation with its limits; a cross is what it costs.

    Parameters
    ----------
    table
        ``method, against, break_even, lower, upper, cost_per_plant, currency``.
    ax
        Axes to draw on; a new figure's where none is given.

    Returns
    -------
    matplotlib.axes.Axes
    """
    return _break_even(table).draw(ax)


def break_even_figure(table: pd.DataFrame, *, size: Size = "wide") -> Drawing:
    """Return the break-even costs as a figure."""
    return _break_even(table).figure(size)


def _break_even(table: pd.DataFrame) -> Chart:
    rows = []
    for line in table.to_dict("records"):
        level, low, high, cost = (
            float(line[name]) for name in ("break_even", "lower", "upper", "cost_per_plant")
        )
        currency = str(line["currency"])
        written = f"{money(level, currency)} ({limits(low, high, 2)})" if math.isfinite(level) else "not told"
        beside = (f"{written}; {money(cost, currency)}",)
        rows.append(Row(str(line["method"]), level, low, high, beside=beside, cross=cost))
    heading = f"Break-even cost per plant\n({range_words(level_of(table))}); its cost"
    return _amounts(rows, heading, f"Cost per plant planted{_in_currency(table)}")


def draw_stems(table: pd.DataFrame, ax: Axes | None = None) -> Axes:
    """Draw plants needed per hectare under each preparation.

    Parameters
    ----------
    table
        ``method, plants_needed, lower, upper``.
    ax
        Axes to draw on; a new figure's where none is given.

    Returns
    -------
    matplotlib.axes.Axes
    """
    rows = _plant_rows(table, "method", "plants_needed")
    return _amounts(rows, heading_of_limits("Plants per hectare", table), "Plants to plant per hectare").draw(
        ax
    )


def draw_order(table: pd.DataFrame, ax: Axes | None = None) -> Axes:
    """Draw infill to order at each site.

    Parameters
    ----------
    table
        ``site, to_order, lower, upper``.
    ax
        Axes to draw on; a new figure's where none is given.

    Returns
    -------
    matplotlib.axes.Axes
    """
    rows = _plant_rows(table, "site", "to_order")
    return _amounts(rows, heading_of_limits("Plants to order", table), "Infill plants to order").draw(ax)


def _plant_rows(table: pd.DataFrame, name: str, value: str) -> list[Row]:
    rows = []
    for line in table.to_dict("records"):
        middle, low, high = (float(line[column]) for column in (value, "lower", "upper"))
        # Rounded up, as in the table beside it.
        written = f"{plants(middle)} ({plants_limits(low, high)})" if math.isfinite(middle) else "not told"
        rows.append(Row(str(line[name]), middle, low, high, beside=(written,)))
    return rows


def _amounts(rows: Sequence[Row], heading: str, axis: str) -> Chart:
    """Return rows on an axis of amounts from zero, in some ten steps of a round size."""
    values = [v for row in rows for v in (row.estimate, row.lower, row.upper, row.cross) if math.isfinite(v)]
    top = max(values, default=1.0)
    step = next((float(step) for step in _STEPS if top / step <= 10), _FALLBACK)
    return Chart(rows, (heading,), axis, Steps(step, step, (0.0, math.inf), (0.0,)))


def _in_currency(table: pd.DataFrame) -> str:
    currency = str(table["currency"].iloc[0]).strip() if "currency" in table and len(table) else ""
    return f" ({currency})" if currency else ""


def draw_value(table: pd.DataFrame, ax: Axes | None = None) -> Axes:
    """Draw the chance of the best value of each method; the line is thick where it is the best.

    Parameters
    ----------
    table
        ``worth, method, probability`` (0 to 1), ``best``, ``currency``.
    ax
        Axes to draw on; a new figure's where none is given.

    Returns
    -------
    matplotlib.axes.Axes
    """
    with styled():
        return _value_on(axes_or_new(ax), table, None, "wide")


def value_figure(table: pd.DataFrame, *, usual: str | None = None, size: Size = "wide") -> Drawing:
    """Return the chance of the best value as a figure."""
    with styled():
        under = 0.2 * sum(len(wrapped(str(name), _LETTERS)) for name in table["method"].unique())
        under = under if size == "narrow" else 0.0
        figure = blank(WIDTHS[size], (3.0 if size == "wide" else 2.6) + under)
        _value_on(figure.add_subplot(), table, usual, size)
        return figure


def _value_on(ax: Axes, table: pd.DataFrame, usual: str | None, size: Size) -> Axes:
    names = list(dict.fromkeys(table["method"].astype(str)))
    looks = lines(names, usual)
    ends = []
    for name, look in looks.items():
        own = table[table["method"].astype(str) == name].sort_values("worth", kind="stable")
        worth, chance = own["worth"].to_numpy(dtype=float), 100 * own["probability"].to_numpy(dtype=float)
        ax.plot(worth, chance, color=look.colour, linestyle=look.dash, linewidth=_LINE, zorder=3)
        best = own["best"].to_numpy(dtype=bool)
        if best.any():
            ax.plot(worth, np.where(best, chance, np.nan), color=look.colour, linewidth=_BEST, zorder=4)
        ends.append(("\n".join(wrapped(name, _LETTERS)), float(worth[-1]), float(chance[-1]), look.colour))
    ax.set_ylim(-3, 103)
    ax.set_yticks([0, 25, 50, 75, 100])
    ax.set_xlim(float(table["worth"].min()), float(table["worth"].max()))
    ax.grid(axis="y")
    if size == "wide":
        name_ends(ax, ends, 0.09)
    else:
        marks = [Line2D([], [], color=look.colour, linestyle=look.dash) for look in looks.values()]
        legend_below(ax, marks, ["\n".join(wrapped(name, _LETTERS)) for name in names], 0.2)
    whose = "an established plant" if size == "wide" else "a plant"
    ax.set_xlabel(f"Worth of {whose}{_in_currency(table)}", loc="left")
    ax.set_ylabel("Chance of the best value, in 100")
    return ax
