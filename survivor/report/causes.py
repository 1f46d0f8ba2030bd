"""What they died of: likely causes by period, unknowns kept."""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING

import pandas as pd

from survivor.document.elements import Column, Figure, Paragraph, Section, Table, missing
from survivor.figures.causes import UNKNOWN, causes_figure
from survivor.report import english as en
from survivor.report.reasons import why
from survivor.sentences import Value, say
from survivor.words import counted, number

if TYPE_CHECKING:
    from survivor.analysis.result import Analysis

KEY = "losses"
HEADING = "What they died of"


def causes_of_death(analysis: Analysis) -> Section:
    """Return deaths by likely cause and period."""
    table = analysis.described.causes
    if table.empty:
        return missing(KEY, HEADING, why(analysis, "causes", "No cause of death is recorded"))
    named = table.assign(cause=table["cause"].astype(str), period=table["period"].astype(str))
    total = float(named["deaths"].sum())
    unknown = float(named.loc[named["cause"].str.lower().isin(UNKNOWN), "deaths"].sum())
    by_period = named.groupby("period", sort=False)["deaths"].sum()
    worst = str(by_period.idxmax())
    deaths = Value(counted(total, "death"), total)
    most = Value(number(float(by_period.max())), float(by_period.max()))
    finding = say(en.CAUSES_FINDING, deaths=deaths, most=most, worst=worst)
    left = say(en.CAUSES_UNKNOWN, deaths=deaths, unknown=Value(number(unknown), unknown))
    text = (say(en.CAUSES), left)
    figure = Figure(
        key="causes",
        title="Deaths by likely cause and period",
        finding=finding,
        caption=en.CAUSES_CAPTION,
        draw=partial(causes_figure, named),
        table=_table(named),
    )
    return Section(KEY, HEADING, (Paragraph(text), figure))


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
