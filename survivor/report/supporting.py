"""Appendix, supplementary: the randomisation test, periods of the season, days alive."""

from __future__ import annotations

import math
from functools import partial

import pandas as pd

from survivor.analysis.result import Analysis
from survivor.document.elements import (
    Block,
    Figure,
    Listing,
    Paragraph,
    Section,
    missing,
    numbers,
    places,
    words,
    written,
)
from survivor.figures.hazards import residuals_figure
from survivor.models.clusters import WaldTest
from survivor.models.randomisation import MOST_EXACT
from survivor.report import appendix_english as en
from survivor.report.columns import AGAINST, LIMITS, METHOD, PLOTS, SITES, P, days, ratio
from survivor.report.reasons import is_random, not_held, why
from survivor.sentences import Name, say
from survivor.vocabulary import SIGNIFICANCE, Basis
from survivor.words import chance, limits, number, sentence

_MANY_LAYOUTS = 1e6


def lot(analysis: Analysis) -> tuple[Section, ...]:
    """Return the randomisation p; nothing where plots were not allocated at random."""
    if not is_random(analysis):
        return ()
    found = analysis.supporting.permutation
    if found is None:
        return (unmade(analysis, "lot", "Randomisation test", "permutation"),)
    text = f"{en.LOT} {en.LOT_P} {en.LOT_RESTS}"
    table = found.table
    adjusted: dict[str, float] = {}
    if analysis.comparing.against is not None:
        pairs = analysis.comparing.against.table
        adjusted = dict(zip(pairs["method"].astype(str), pairs["p_adjusted"].astype(float), strict=True))
    table = table.assign(model_p=table["method"].astype(str).map(adjusted).astype(float))
    fields = (
        METHOD,
        AGAINST,
        numbers("Deaths beyond those expected", "statistic", write=places(1, sign=True)),
        numbers("Allocations possible", "layouts", write=_layouts),
        numbers("Randomisation p", "p_value", write=chance),
        numbers("Smallest p possible", "smallest_p", write=chance),
        numbers("Randomisation p, adjusted", "p_adjusted", write=chance),
        numbers("Model p, adjusted", "model_p", write=chance),
    )
    note = en.LOT_NOTE
    drawn = table[table["how"].astype(str).str.contains("random")]
    if not drawn.empty:
        tried = number(float(drawn["tried"].max()))
        drawn_words = en.LOT_DRAWN.format(most=number(MOST_EXACT), tried=tried, seed=found.seed)
        note = " ".join([note, drawn_words, en.LOT_FORMULA, en.LOT_ROUGH])
    blocks: list[Block] = [Paragraph(text), written("lot-table", "Randomisation p", table, fields, 2, note)]
    reasons = [
        en.LOT_REASON.format(method=row["method"], reason=row["reason"])
        for row in table.to_dict("records")
        if row["reason"]
    ]
    said = tuple(sentence(text) for text in (*reasons, *found.checks))
    if said:
        blocks.append(Listing(said))
    return (Section("lot", "Randomisation test", tuple(blocks)),)


def _layouts(count: float) -> str:
    return "over a million" if count > _MANY_LAYOUTS else number(count)


def periods(analysis: Analysis) -> Section:
    """Return ratios of hazards by period, their test, and the residuals of the Cox model."""
    heading = "Did the ratio stay the same over the season?"
    found = analysis.supporting.hazards
    if found is None:
        return unmade(analysis, "periods", heading, "hazards")
    usual = str(found.table["against"].iloc[0])
    named = Name(usual)
    text = [say(en.PERIODS, usual=named), say(en.PERIODS_HERE, usual=named)]
    if analysis.basis is Basis.FOUND:
        text.append(say(en.PERIODS_LATE))
    ordered = found.table.sort_values("method", kind="stable")
    ratios = ratio("Hazard ratio", "hazard_ratio")
    fields = (METHOD, words("Period", "period"), *ratios, numbers("Deaths, about", "deaths"))
    apart = not_held(analysis, [*found.table["method"], usual])
    note = f"{en.PERIODS_NOTE.format(variance=found.variance)} {apart}".strip()
    blocks: list[Block] = [
        Paragraph(tuple(text)),
        Paragraph(_same_ratio(found.test)),
        written("periods-table", "Hazard ratios by period", ordered, fields, 2, note),
    ]
    if found.checks:
        blocks.append(Listing(tuple(sentence(check) for check in found.checks)))
    if not analysis.supporting.residuals.empty:
        blocks.append(_residuals(analysis.supporting.residuals))
    return Section("periods", heading, tuple(blocks))


def _same_ratio(test: WaldTest) -> str:
    if not math.isfinite(test.p_value):
        return en.PERIODS_NO_TEST
    said = en.PERIODS_TEST.format(
        f=number(test.statistic, 2), df1=number(test.df1), df2=number(test.df2), p=chance(test.p_value)
    )
    return (en.PERIODS_DIFFER if test.p_value < SIGNIFICANCE else en.PERIODS_OPEN).format(test=said)


def _residuals(frame: pd.DataFrame) -> Figure:
    fields = (
        METHOD,
        numbers("Days after planting", "first_day", "last_day", write=days),
        numbers("Deaths in the round, all preparations", "deaths"),
        numbers("Hazard ratio, roughly", "estimate", write=_exponential),
        numbers("Over all rounds", "overall", write=_exponential),
    )
    many = frame[frame["deaths"] >= frame["deaths"].max() / 4]
    ranges = many.groupby("method", sort=False)["estimate"].agg(["min", "max"])
    widest = (ranges["max"] - ranges["min"]).idxmax()
    low, high = (_exponential(float(ranges.loc[widest, end])) for end in ("min", "max"))
    return Figure(
        key="residuals",
        title="Hazard ratio of each round of visits",
        finding=say(en.RESIDUALS, method=Name(str(widest)), low=low, high=high),
        caption=en.RESIDUALS_CAPTION,
        draw=partial(residuals_figure, frame),
        table=written("residuals-table", "Hazard ratio of each round of visits", frame, fields),
    )


def _exponential(value: float) -> str:
    return number(math.exp(value), 2)


def days_alive(analysis: Analysis) -> Section:
    """Return restricted means by preparation, and their differences."""
    heading = "Mean days alive"
    found = analysis.supporting.mean_days
    if found is None:
        return unmade(analysis, "days-alive", heading, "mean_days")
    day = number(found.day)
    text = en.MEAN_DAYS.format(day=day)
    means = (
        METHOD,
        numbers(f"Mean days alive of {day}", "estimate", "note", write=_or_why),
        numbers(LIMITS, "lower", "upper", write=limits),
        PLOTS,
    )
    differences = (
        METHOD,
        AGAINST,
        numbers("Difference in days", "estimate", "reason", write=partial(_or_why, sign=True)),
        numbers(LIMITS, "lower", "upper", write=partial(limits, sign=True)),
        P,
        PLOTS,
        SITES,
    )
    caption, note = "Differences in mean days alive", en.MEAN_DAYS_NOTE
    blocks = (
        Paragraph(text),
        written("days-alive-table", "Mean days alive, observed", found.table, means),
        written("days-differ-table", caption, found.differences, differences, 2, note),
    )
    return Section("days-alive", heading, blocks)


def _or_why(value: float, reason: str, *, sign: bool = False) -> str:
    """Write a number, or why there is none."""
    return reason or number(value, sign=sign)


def unmade(analysis: Analysis, key: str, heading: str, part: str) -> Section:
    """Return a section that says why its part could not be made."""
    return missing(key, heading, why(analysis, part, en.NO_PAIR))
