"""Survival per method, site or species with its limits, and differences between preparations."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import Any, Final

import pandas as pd
from matplotlib.axes import Axes

from survivor.figures.rows import Chart, Look, Row, Steps
from survivor.figures.style import Drawing, Size
from survivor.vocabulary import PER_100, REFUSED
from survivor.words import (
    NONE,
    alive_limits,
    cost_limits,
    difference,
    heading_of_limits,
    money,
    number,
    plain,
)

BETWEEN_SITES = "between sites only"

_ALIVE: Final = Steps(10, 40, (0, 100))
_SURVIVAL: Final = "Alive per 100"
_LONGEST_ON_AXIS: Final = 24  # letters
_DIFFERENCE: Final = "Difference per 100"
_MORE: Final = "More alive per 100"
_MARKERS: Final = ("o", "s", "D", "^", "v", "P")


def difference_steps(*also: float) -> Steps:
    """Return the axis of differences per 100: zero is always on it."""
    return Steps(5, 20, (-100, 100), (0.0, *also))


def difference_chart(
    rows: Sequence[Row], headings: tuple[str, ...], axis: str, short_axis: str, smallest: float | None
) -> Chart:
    """Return rows on an axis of differences per 100, those less than matters shaded."""
    edge = smallest or 0.0
    band = None if smallest is None else (-smallest, smallest, f"less than matters ({plain(smallest)})")
    return Chart(rows, headings, axis, difference_steps(-edge, edge), short_axis, 0, band)


def draw_survival(table: pd.DataFrame, ax: Axes | None = None) -> Axes:
    """Draw survival per group, best first.

    Parameters
    ----------
    table
        First column the group; ``estimate, lower, upper`` per 100 planted.
    ax
        Axes to draw on; a new figure's where none is given.

    Returns
    -------
    matplotlib.axes.Axes
    """
    return _survival(table, PER_100).draw(ax)


def survival_figure(
    table: pd.DataFrame,
    costs: pd.DataFrame | None = None,
    *,
    usual: str | None = None,
    target: float | None = None,
    size: Size = "wide",
    per: str = PER_100,
) -> Drawing:
    """Return the first picture of a report: survival per method, best first, cost beside it.

    Parameters
    ----------
    table
        As for :func:`draw_survival`, with a column ``method``; where it has ``observed`` (alive per 100,
        nothing standardised), that is marked with a cross, and a row may have no estimate.
    costs
        ``method, cost_per_established, lower, upper, currency``; None where costs are not known.
    usual
        The usual practice, drawn grey.
    target
        Survival promised, per 100 planted, if it was promised for this day.
    size
        For a page, or for a telephone.
    per
        What survival is of: per 100 planted, or found.
    """
    chart = _survival(table, per)
    if target is not None:
        steps = replace(_ALIVE, also=(target,))
        chart = replace(chart, target=(target, f"target {plain(target)}"), steps=steps)
    crosses = pd.Series(math.nan, table["method"].astype(str))
    if "observed" in table:
        crosses = pd.Series(table["observed"].to_numpy(dtype=float), table["method"].astype(str))
    prices: dict[str, str] = {}
    if costs is not None and not costs.empty:
        prices = _prices(costs)
        chart = replace(chart, headings=(*chart.headings, "Cost of a living\nplant (range)"))
    rows = []
    for row in chart.rows:
        if not math.isfinite(row.estimate):
            row = replace(row, beside=("not standardised",))
        under = ["usual practice"] if row.label == usual else []
        price = prices.get(row.label, NONE)
        if prices and size == "wide" and math.isfinite(row.estimate):
            row = replace(row, beside=(*row.beside, price))
        elif price != NONE:
            under.append(f"{price} each")  # a telephone has no room for it beside
        look: Look = "usual" if row.label == usual else "main"
        rows.append(replace(row, look=look, under=", ".join(under), cross=float(crosses[row.label])))
    return replace(chart, rows=rows).figure(size)


def _survival(table: pd.DataFrame, per: str) -> Chart:
    group = str(table.columns[0])
    ordered = table.sort_values("estimate", ascending=False, kind="stable")
    rows = [_alive(str(line[group]), line) for line in ordered.to_dict("records")]
    days = {float(day) for day in table["at_day"].dropna()} if "at_day" in table else set()
    when = f", {number(days.pop())} days after planting" if len(days) == 1 else ""
    return Chart(rows, (heading_of_limits(_SURVIVAL, table),), f"Alive {per}{when}", _ALIVE)


def _alive(label: str, line: Any) -> Row:
    value, lower, upper = (float(line[name]) for name in ("estimate", "lower", "upper"))
    return Row(label, value, lower, upper, beside=(alive_limits(value, lower, upper),))


def _prices(costs: pd.DataFrame) -> dict[str, str]:
    """Write the cost per established plant of each method with its range."""
    prices = {}
    for line in costs.to_dict("records"):
        amount = money(float(line["cost_per_established"]), str(line["currency"]))
        span = cost_limits(float(line["lower"]), float(line["upper"]))
        prices[str(line["method"])] = f"{amount} ({span})" if amount != NONE else NONE
    return prices


def groups_figure(table: pd.DataFrame, *, size: Size = "wide", axis: str = f"Alive {PER_100}") -> Drawing:
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
    group = str(table.columns[0])
    base = "watched" if "watched" in table else "planted"
    rows = []
    for line in table.to_dict("records"):
        row = _alive(str(line[group]), line)
        total = number(float(line[base]))
        counts = f"{number(float(line['alive']))} of {total}" if "alive" in line else total
        rows.append(replace(row, look="ink", beside=(*row.beside, counts)))
    heading = f"Alive of\n{base}" if "alive" in table else base.capitalize()
    return Chart(rows, (heading_of_limits(_SURVIVAL, table), heading), axis, _ALIVE).figure(size)


def draw_contrasts(table: pd.DataFrame, ax: Axes | None = None, smallest: float | None = None) -> Axes:
    """Draw differences from the method compared against, with zero as a line.

    Parameters
    ----------
    table
        ``method, against, basis, estimate, lower, upper`` (per 100 planted), ``reason``.
        A comparison between sites only is drawn hollow and dashed; a refused one
        says so in words.
    ax
        Axes to draw on; a new figure's where none is given.
    smallest
        The smallest difference that matters, per 100 planted; shaded.

    Returns
    -------
    matplotlib.axes.Axes
    """
    return _contrasts(table, smallest, PER_100).draw(ax)


def contrasts_figure(
    table: pd.DataFrame,
    *,
    smallest: float | None = None,
    size: Size = "wide",
    per: str = PER_100,
) -> Drawing:
    """Return differences from the usual practice, the smallest one that matters shaded.

    ``per`` as for :func:`survival_figure`.
    """
    return _contrasts(table, smallest, per).figure(size)


def _contrasts(table: pd.DataFrame, smallest: float | None, per: str) -> Chart:
    rows = []
    for line in table.to_dict("records"):
        row = difference_row(str(line["method"]), line)
        basis = line.get("basis")
        if basis == REFUSED:
            row = replace(row, estimate=math.nan, beside=("not compared",), under="not compared")
        elif basis == BETWEEN_SITES:
            row = replace(row, look="hollow", under=BETWEEN_SITES)
        rows.append(row)
    against = table["against"].unique()
    named = f"“{against[0]}”" if len(against) == 1 else "the second method named"
    # A long name has no room beside the axis; the caption has it.
    than = f" than {named}" if len(named) <= _LONGEST_ON_AXIS else ""
    axis, short = f"More (+) or fewer (−) alive {per}{than}", f"Difference in plants alive {per}"
    return difference_chart(rows, (heading_of_limits(_DIFFERENCE, table),), axis, short, smallest)


def difference_row(label: str, line: Any, marks: Sequence[Sequence[float]] = ()) -> Row:
    """Return the row of a difference per 100; ``marks`` as :func:`survivor.words.difference` has them."""
    value, lower, upper = (float(line[name]) for name in ("estimate", "lower", "upper"))
    written, span = difference(value, lower, upper, marks=marks)
    return Row(label, value, lower, upper, beside=(f"{written} ({span})" if math.isfinite(value) else NONE,))


def agreement_figure(table: pd.DataFrame, *, size: Size = "wide", per: str = PER_100) -> Drawing:
    """Return the difference of each method as each model has it, one row a model.

    Parameters
    ----------
    table
        ``model, method, against, estimate, lower, upper`` (per 100 planted).
    size
        For a page, or for a telephone.
    per
        As for :func:`survival_figure`.
    """
    models = list(dict.fromkeys(table["model"].astype(str)))
    rows = []
    for method in dict.fromkeys(table["method"].astype(str)):
        for line in table[table["method"].astype(str) == method].to_dict("records"):
            row = difference_row(method, line)
            if size == "narrow" and not math.isfinite(row.estimate):
                row = replace(row, label=f"{method}: no answer")
            model = str(line["model"])
            marker = _MARKERS[models.index(model) % len(_MARKERS)]
            rows.append(replace(row, look="ink", under=model, marker=marker))
    axis = f"Difference in plants alive {per}"
    headings = (heading_of_limits(_DIFFERENCE, table),)
    return Chart(rows, headings, axis, difference_steps(), no_difference=0).figure(size)


def advice_figure(
    table: pd.DataFrame, smallest: float, marks: Sequence[Sequence[float]] = (), *, size: Size = "wide"
) -> Drawing:
    """Return every difference of a guideline with its limits, its advice beside it in words.

    Parameters
    ----------
    table
        ``ground, preparation, advice, estimate, lower, upper`` (per 100 planted), ``new_season_lower,
        new_season_upper`` where a new season has limits; one row at least.
    smallest
        The smallest difference that matters, shaded.
    marks
        What the rule holds an estimate, a lower and an upper limit to.
    size
        For a page, or for a telephone.
    """
    rows = []
    for line in table.to_dict("records"):
        row, advice = difference_row(str(line["preparation"]), line, marks), str(line["advice"])
        ends = [line.get(f"new_season_{end}") for end in ("lower", "upper")]
        low, high = (math.nan if end is None else float(end) for end in ends)
        rows.append(replace(row, beside=(*row.beside, advice), under=str(line["ground"]), coming=(low, high)))
    return against_usual(rows, (heading_of_limits(_DIFFERENCE, table), "Advice"), smallest).figure(size)


def against_usual(rows: Sequence[Row], headings: tuple[str, ...], smallest: float) -> Chart:
    """Return rows of differences from the usual practice."""
    axis = f"More (+) or fewer (−) alive {PER_100} than the usual practice"
    return difference_chart(rows, headings, axis, f"Difference in plants alive {PER_100}", smallest)


def works_figure(table: pd.DataFrame, smallest: float, *, size: Size = "wide", per: str = PER_100) -> Drawing:
    """Return what each work adds, the smallest difference that matters shaded.

    Parameters
    ----------
    table
        ``work, estimate, lower, upper`` (per 100 planted), ``under`` (quieter words under the name); one
        row at least. The order is kept.
    smallest
        The smallest difference that matters.
    size
        For a page, or for a telephone.
    per
        What survival is of: per 100 planted, or found.
    """
    rows = [
        replace(difference_row(str(line["work"]), line), under=str(line["under"]))
        for line in table.to_dict("records")
    ]
    short = f"More (+) or fewer (−) alive {per}"
    heading = heading_of_limits(_MORE, table)
    return difference_chart(rows, (heading,), f"{short} than without it", short, smallest).figure(size)
