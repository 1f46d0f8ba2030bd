"""What they died of: likely causes by period, unknowns kept."""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING

import pandas as pd

from survivor.figures.causes import UNKNOWN, causes_figure
from survivor.figures.style import Drawing, Size
from survivor.figures.words import number
from survivor.report.content.elements import Column, Figure, Paragraph, Section, Table, missing
from survivor.report.content.reasons import why
from survivor.report.content.wording import counted

if TYPE_CHECKING:
    from survivor.analysis.result import Analysis

KEY = "losses"
HEADING = "What they died of"


def losses(analysis: Analysis) -> Section:
    """Return deaths by likely cause and period."""
    table = analysis.causes
    if table.empty:
        return missing(KEY, HEADING, why(analysis, "cause", otherwise="No cause of death is recorded"))
    named = table.assign(cause=table["cause"].astype(str), period=table["period"].astype(str))
    total = float(named["deaths"].sum())
    unknown = float(named.loc[named["cause"].str.lower().isin(UNKNOWN), "deaths"].sum())
    by_period = named.groupby("period", sort=False)["deaths"].sum()
    worst = str(by_period.idxmax())
    finding = f"{counted(total, 'death')} with a period; most ({number(float(by_period.max()))}) in: {worst}."
    text = (
        f"A cause is the observer's likeliest one, seen at the visit after the death. Of "
        f"{counted(total, 'death')}, "
        f"{number(unknown)} have no known cause; they stay unknown and are not shared out."
    )
    figure = Figure(
        key="causes",
        title="Deaths by likely cause and period",
        finding=finding,
        caption="Bars: seedlings found dead, all preparations together; hatched: cause not known.",
        draw=partial(_draw, named),
        table=_table(named),
    )
    return Section(KEY, HEADING, (Paragraph(text), figure))


def _draw(table: pd.DataFrame, size: Size) -> Drawing:
    return causes_figure(table, size=size)


def _table(table: pd.DataFrame) -> Table:
    most = table.groupby("cause")["deaths"].sum()
    # Most deaths first, as in the picture; what is not known last.
    causes = sorted(most.index, key=lambda cause: (cause.lower() in UNKNOWN, -float(most[cause]), cause))
    counts = table.groupby(["method", "period", "cause"], observed=True)["deaths"].sum()
    pairs = table[["method", "period"]].astype(str).drop_duplicates().itertuples(index=False, name=None)
    known = {
        tuple(str(part) for part in key): float(value)
        for key, value in counts.items()
        if isinstance(key, tuple)
    }
    rows = tuple(
        (method, period, *(number(known.get((method, period, cause), 0.0)) for cause in causes))
        for method, period in pairs
    )
    columns = (
        Column("Preparation"),
        Column("Period"),
        *(Column(cause or "not recorded", numeric=True) for cause in causes),
    )
    return Table("causes-table", "Deaths by preparation, period and likely cause", columns, rows, row_heads=2)
