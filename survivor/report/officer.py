"""The officer's sheet: what to look at in the records, infill to reach what was promised, the next visit."""

from __future__ import annotations

import pandas as pd

from survivor.analysis.result import Analysis
from survivor.document.elements import (
    Listing,
    Paragraph,
    Section,
    Table,
    numbers,
    shortened,
    table_of,
    words,
    written,
)
from survivor.report import english as en
from survivor.report import orders
from survivor.report.questions import records_words, to_look_at
from survivor.vocabulary import FIRST_PLANTING, PLOT_KEY, State
from survivor.words import (
    cost_limits,
    counted,
    date,
    estimated_beside,
    listed,
    number,
    plants,
    plants_limits,
    sentence,
)


def to_do(analysis: Analysis) -> Section:
    """Return what became of the records, and what there is to do, in a few lines."""
    looks = to_look_at(analysis.records)
    problems = en.PROBLEMS.format(problems=counted(looks, "problem")) if looks else ""
    items = tuple(filter(None, (records_words(analysis.records), problems)))
    return Section("to-do", "What needs doing", (Listing(items),))


def records(analysis: Analysis) -> Section:
    """Return the problems in the records by kind, with what to do."""
    none = analysis.records.problems.empty
    block = Paragraph(en.NO_PROBLEM) if none else _problem_table(analysis)
    return Section("problems", "What to look at in the records", (block,))


def infill(analysis: Analysis) -> tuple[Section, ...]:
    """Return infill to reach what was promised with its cost, and infill to order site by site."""
    return (*_to_reach(analysis), *orders.infill_sections(analysis))


def _to_reach(analysis: Analysis) -> tuple[Section, ...]:
    table = analysis.totals.to_reach
    if table.empty:
        return ()
    alive_at = en.REACH_ALIVE.format(when=table["alive_at"].iloc[0])
    fields = (
        words("To reach", "goal"),
        numbers("Plants wanted", "wanted"),
        numbers(alive_at, "alive", "alive_lower", "alive_upper", write=_with_ends),
        numbers("Infill alive", "infill_alive"),
        numbers("Infill to plant (95 % CI)", "infill", "lower", "upper", write=_ordered),
        numbers("Cost", "cost_low", "cost_high", "currency", write=cost_limits),
    )
    lives = float(table["lives"].iloc[0])
    share = en.REACH_ALL if lives >= 1 else en.REACH_SHARE.format(share=number(100 * lives))
    note = en.REACH_NOTE.format(share=share)
    made = written("to-reach-table", "Infill to reach what was promised", table, fields, note=note)
    return (Section("to-reach", "Infill to reach what was promised", (made,)),)


def _with_ends(estimate: float, lower: float, upper: float) -> str:
    written, low, high = estimated_beside((estimate, lower, upper))
    return f"{written} ({low} to {high})"


def _ordered(estimate: float, lower: float, upper: float) -> str:
    return f"{plants(estimate)} ({plants_limits(lower, upper)})"


def next_visit(analysis: Analysis) -> Section:
    """Return which milestones are still to come, and between which days their visits fall."""
    plots = _planted(analysis)
    seen = analysis.records.visits.get("date", pd.Series([pd.NaT]))
    now = pd.Timestamp(analysis.settings.records_closed or seen.max())
    items: list[str] = []
    for milestone in sorted(analysis.settings.milestones, key=lambda one: one.day):
        if plots.empty:
            break
        ages = plots["seen"].map(
            lambda seen, m=milestone: any(abs(age - m.day) <= m.window_days for age in seen)
        )
        first, last = (
            plots["planted"] + pd.Timedelta(days=milestone.day + sign * milestone.window_days)
            for sign in (-1, 1)
        )
        due = ~ages & (last > now)
        if due.any():
            span = {"first": date(max(first[due].min(), now)), "last": date(last[due].max())}
            some = en.SOME_PLOTS.format(due=number(due.sum()), plots=counted(len(plots), "plot"))
            left = en.EACH_PLOT if due.all() else some
            items.append(en.VISIT.format(milestone=milestone.name, plots=left, **span))
    if not items:
        items.append(en.NO_DAYS if plots.empty else en.NO_VISIT)
    sites = analysis.records.sites_with_lost_plants
    if sites:
        items.append(en.LOOK_AGAIN.format(sites=listed(sites)))
    return Section("next-visit", "Next visit", (Listing(tuple(items)),))


def _planted(analysis: Analysis) -> pd.DataFrame:
    """One row a plot whose planting day is known: that day, and its ages at the visits made."""
    visits = analysis.records.visits
    if not {"date", "day"} <= set(visits):
        return pd.DataFrame()
    known = visits[visits["date"].notna() & visits["day"].notna()]
    if "cohort" in known:
        known = known[known["cohort"].astype(str) == FIRST_PLANTING]
    made = (
        known["alive"].notna() if "alive" in known else known["state"].astype(str) != State.NOT_VISITED.value
    )
    first = known[made]
    days = pd.to_timedelta(first["day"].astype(float), unit="D")
    rows = first.assign(planted=pd.to_datetime(first["date"]) - days).groupby(list(PLOT_KEY), sort=False)
    return rows.agg(planted=("planted", "first"), seen=("day", set)).reset_index()


def headers(analysis: Analysis) -> tuple[Section, ...]:
    """Return how the headers of the sheets were read; nothing where there were none."""
    if analysis.records.matches.empty:
        return ()
    return (Section("headers", "How the headers were read", (_matches(analysis),)),)


def _problem_table(analysis: Analysis) -> Table:
    frame = analysis.records.problems
    order = {"stop": 0, "check": 1, "note": 2}
    counts = (
        frame.assign(severity=frame["severity"].astype(str))
        .groupby(["severity", "code"], sort=False, as_index=False)
        .agg(count=("what", "size"), what=("what", "first"), mend=("mend", "first"))
    )
    counts = counts.assign(rank=counts["severity"].map(order).fillna(3)).sort_values(
        ["rank", "count"], ascending=[True, False], kind="stable"
    )
    shown = counts[["severity", "count", "what", "mend"]].assign(
        severity=counts["severity"].map(en.SEVERITY),
        what=counts["what"].map(sentence),
        mend=counts["mend"].map(sentence),
    )
    headings = ["Severity", "Cases", "First case", "What to do"]
    return table_of("problems-table", "Problems by kind", headings, shown, en.PROBLEMS_NOTE)


def _matches(analysis: Analysis) -> Table:
    frame = analysis.records.matches
    names = [name for name in ("file", "sheet", "header", "column", "how") if name in frame]
    if "sheet" in names and not frame["sheet"].astype(str).str.strip().any():
        names.remove("sheet")
    heads = {
        "file": "File",
        "sheet": "Sheet",
        "header": "Header",
        "column": "Read as",
        "how": "How it was matched",
    }
    table = table_of("matches", "How the headers were read", [heads[n] for n in names], frame[names])
    return shortened(table, "matches.csv")
