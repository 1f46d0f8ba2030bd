"""Survival over time, each preparation observed and standardised, and the weed-free radius."""

from __future__ import annotations

import math
from dataclasses import replace
from functools import partial
from typing import TYPE_CHECKING, Any

import pandas as pd

from survivor.analysis.clock import clock_of
from survivor.analysis.models import first_plants
from survivor.document.elements import Figure, Paragraph, Section, numbers, words, written
from survivor.evidence.grading import LEAST_DF
from survivor.figures.curves import Backdrop, curves_figure
from survivor.report.pages import english as en
from survivor.report.pages.answer import in_annex
from survivor.report.pages.values import comparisons, joined, named, usual
from survivor.report.radius import metres, radius_figure
from survivor.report.reasons import is_random, usual_practice, why
from survivor.report.survival import preparations_in_order
from survivor.sentences import Sentence, Value, cell, say
from survivor.vocabulary import SIGNIFICANCE
from survivor.words import NONE, difference, number, per_100, per_100_limits, plain

if TYPE_CHECKING:
    from survivor.analysis.result import Analysis
    from survivor.effects.dose import Dose
    from survivor.evidence import Finding

_MUCH_FILLED = 50.0  # of 100 plants averaged over


def over_time(analysis: Analysis) -> Section:
    """Return the curves, and when most deaths were found."""
    curves = analysis.survival.curves
    if curves is None or curves.table.empty:
        return Section(
            "curves", en.OVER_TIME, (Paragraph(why(analysis, "curves", "No curve could be drawn")),)
        )
    table = curves.table.rename(columns={curves.table.columns[0]: "method"})
    table = table.assign(method=table["method"].astype(str))
    intervals, read = first_plants(analysis.records.intervals), analysis.milestone_day
    window = float(analysis.settings.headline_milestone.window_days)
    clock = clock_of(intervals, curves, analysis.settings.dry_season, read, window)
    backdrop = Backdrop(clock.dry, clock.visits, read, usual_practice(analysis))
    order = preparations_in_order(analysis)
    deaths = _deaths(analysis)
    figure = Figure(
        key="curves",
        title=en.CURVES_TITLE,
        finding=deaths or say(en.STEPS),
        caption=say(en.CURVES_CAPTION, dry=en.CURVES_DRY if not clock.dry.empty else ""),
        draw=partial(curves_figure, table, backdrop, order=tuple(order), per=analysis.per_100),
        table=None,
    )
    return Section("curves", en.OVER_TIME, (figure,))


def _deaths(analysis: Analysis) -> Sentence | None:
    """Say in which period most deaths were found; nothing where deaths have no period."""
    causes = analysis.described.causes
    if causes.empty:
        return None
    by_period = causes.groupby(causes["period"].astype(str), sort=False)["deaths"].sum()
    worst, total = str(by_period.idxmax()), float(by_period.sum())
    return say(
        en.DEATHS,
        worst=Value(number(float(by_period.max())), float(by_period.max())),
        deaths=Value(number(total), total),
        period=worst,
    )


def each(analysis: Analysis) -> Section:
    """Return the table of preparations: observed, standardised, difference, strength of evidence."""
    observed = analysis.survival.observed
    if observed.empty:
        return Section(
            "preparations", en.EACH_HEADING, (Paragraph(why(analysis, "season", en.NOTHING_OBSERVED)),)
        )
    told = {one.methods[0]: one for one in comparisons(analysis)}
    rows = []
    for row in observed.to_dict("records"):
        one = told.get(str(row["method"]))
        gap = en.USUAL_PRACTICE if row["method"] == usual(analysis) else NONE
        if one is not None and one.estimate is not None and one.grade != "not answered":
            size, ends = difference(one.estimate, one.lower or 0.0, one.upper or 0.0)
            gap = f"{size} ({ends})"
        elif one is not None:
            gap = en.NOT_COMPARED_HERE
        rows.append({**row, "gap": gap, "strength": _strength(one)})
    frame = pd.DataFrame(rows)
    order = frame["estimate"].fillna(-1.0).sort_values(ascending=False, kind="stable").index
    frame = frame.loc[order]
    filled = frame["filled_in"].astype(float)
    share = bool((filled > _MUCH_FILLED).any())
    fields = [
        words(en.PREPARATION, "method"),
        numbers(en.OBSERVED, "alive_per_100_planted", write=per_100),
        numbers(en.STANDARDISED, "estimate", "lower", "upper", write=_with_limits),
        *([numbers(en.FILLED_IN, "filled_in")] if share else []),
        *([numbers(en.DIFFERENCE, "gap", write=str), words(en.EVIDENCE, "strength")] if told else []),
    ]
    apart = [
        str(row["method"]) for row in frame.to_dict("records") if not math.isfinite(float(row["estimate"]))
    ]
    note = joined(
        say(en.EACH if is_random(analysis) else en.EACH_CHOSEN),
        say(en.OF_MANY) if any(map(_left_open, told.values())) else None,
        say(en.FILLED) if share else None,
        say(en.APART, names=named(apart)) if apart and analysis.survival.by_method is not None else None,
    )
    made = written("preparations-table", en.EACH_CAPTION.format(per=analysis.per_100), frame, fields)
    return Section("preparations", en.EACH_HEADING, (replace(made, note=note),))


def _left_open(one: Finding) -> bool:
    """Whether only the number of comparisons leaves a difference open: its own interval leaves out zero."""
    ends = (one.lower, one.upper)
    own = None not in ends and (one.lower or 0.0) * (one.upper or 0.0) > 0
    return own and one.reading == "not enough evidence to say"


def _strength(one: Finding | None) -> str:
    if one is None:
        return NONE
    return one.grade or en.NOT_ENOUGH


def _with_limits(estimate: float, lower: float, upper: float) -> str:
    return f"{per_100(estimate)} ({per_100_limits(lower, upper)})" if math.isfinite(estimate) else NONE


def radius(analysis: Analysis) -> tuple[Section, ...]:
    """Return how survival went with the radius of the weed-free patch; nothing where there is no response.

    What the report does not say names it then.
    """
    dose = analysis.radius.response
    if dose is None:
        return ()
    more = in_annex(en.RADIUS_MORE, "radius")
    if dose.table.empty:
        reason = dose.checks[0] if dose.checks else why(analysis, "radius", en.NO_RADII, alone=True)
        said = Paragraph((say(en.RADIUS_NONE, reason=reason),), see=more)
        return (Section("radius", en.RADIUS_HEADING, (said,)),)
    drawn = radius_figure(analysis, dose)
    picture = replace(drawn, caption=say(en.RADIUS_CAPTION), table=None)
    words_of = Paragraph(_radius_words(analysis, dose), see=more)
    return (Section("radius", en.RADIUS_HEADING, (words_of, picture)),)


def _radius_words(analysis: Analysis, dose: Dose) -> tuple[Sentence, ...]:
    line, stops, found = dose.along_line, dose.stops_paying, []
    clear = line is not None and (line.lower > 0 or line.upper < 0)
    if line is not None and clear:
        down = line.estimate < 0
        near, far = sorted((abs(line.lower), abs(line.upper)))
        at: dict[str, Any] = {"what": "gain along a straight line"}
        few = float(dose.table["df"].min()) < LEAST_DF
        words_of = (en.RADIUS_WIDER, en.RADIUS_NARROWER, en.RADIUS_WIDER_FEW, en.RADIUS_NARROWER_FEW)
        found.append(
            say(
                words_of[2 * few + down],
                gain=Value(
                    number(abs(line.estimate), 1),
                    line.estimate,
                    cell("radius_answer", "estimate", **at),
                    -1.0 if down else 1.0,
                ),
                per=analysis.per_100,
                first=Value(metres(line.from_m), line.from_m, cell("radius_answer", "from_m", **at)),
                last=Value(metres(line.to_m), line.to_m, cell("radius_answer", "to_m", **at)),
                span=Value(
                    f"{number(near, 1)} to {number(far, 1)}", line.lower, cell("radius_answer", "lower", **at)
                ),
            )
        )
        if down:
            found.append(say(en.RADIUS_REVERSED))
        if dose.shape == "spline" and dose.line_p_value > SIGNIFICANCE:
            found.append(say(en.RADIUS_CURVE))
    else:
        found.append(say(en.RADIUS_OPEN))
    if stops is not None and stops.value is not None and stops.lower is not None and stops.upper is not None:
        at = {"what": "radius from which more stops paying"}
        found.append(
            say(
                en.RADIUS_STOPS,
                radius=Value(metres(stops.value), stops.value, cell("radius_answer", "estimate", **at)),
                gain=Value(plain(stops.gain), stops.gain),
                span=Value(f"{number(stops.lower, 2)} to {number(stops.upper, 2)} m", stops.lower),
            )
        )
    elif clear:
        found.append(say(en.RADIUS_NO_STOP))
    return (*found, say(en.RADIUS_CHOSEN))
