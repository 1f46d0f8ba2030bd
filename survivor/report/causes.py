"""What they died of: likely causes by period, unknowns kept."""

from __future__ import annotations

import math
from functools import partial

import pandas as pd

from survivor.analysis.result import Analysis
from survivor.document.elements import Figure, Paragraph, Section, Table, headed, missing
from survivor.figures.causes import UNKNOWN, causes_figure
from survivor.report import english as en
from survivor.report.reasons import why
from survivor.sentences import Value, say
from survivor.words import counted, number

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
        table=_table(named, _watched(analysis)),
    )
    return Section(KEY, HEADING, (Paragraph(text), figure))


def _watched(analysis: Analysis) -> dict[str, float]:
    observed = analysis.survival.observed
    if observed.empty:
        return {}
    return dict(zip(observed["method"].astype(str), observed["watched"].astype(float), strict=True))


def _table(table: pd.DataFrame, watched: dict[str, float]) -> Table:
    """Return deaths of each preparation by cause, with their sum and the plants analysed."""
    most = table.groupby("cause")["deaths"].sum()
    # Most deaths first, as in the picture; what is not known last.
    causes = sorted(most.index, key=lambda cause: (cause.lower() in UNKNOWN, -float(most[cause]), cause))
    counts = table.astype({"method": str}).pivot_table(
        index="method", columns="cause", values="deaths", aggfunc="sum", fill_value=0.0, sort=False
    )
    rows = tuple(
        (
            str(method),
            *(number(float(counts.loc[method, cause])) for cause in causes),
            number(float(counts.loc[method].sum())),
            number(watched.get(str(method), math.nan)),
        )
        for method in counts.index
    )
    named = [cause or "not recorded" for cause in causes]
    columns = headed("Preparation", numeric=(*named, "All deaths", "Analysed"))
    return Table("causes-table", "Deaths by preparation and likely cause", columns, rows, note=en.CAUSES_NOTE)
