"""Survival over time, each preparation observed and standardised, and the weed-free radius."""

from __future__ import annotations

import math
from dataclasses import replace
from functools import partial
from typing import Final

import pandas as pd

from survivor.analysis.clock import clock_of
from survivor.analysis.models import first_plants
from survivor.analysis.result import Analysis
from survivor.document.elements import Figure, Paragraph, Section, numbers, words, written
from survivor.effects.dose import Dose
from survivor.effects.plateau import metres
from survivor.evidence.finding import Finding
from survivor.evidence.grading import LEAST_DF
from survivor.figures.curves import Backdrop, curves_figure
from survivor.report.pages import english as en
from survivor.report.pages.answer import in_annex
from survivor.report.pages.values import comparisons, has_species, joined, named, usual
from survivor.report.pages.values import finding as finding_of
from survivor.report.radius import radius_figure
from survivor.report.reasons import is_random, usual_practice, why
from survivor.report.survival import preparations_in_order
from survivor.sentences import Name, Sentence, Value, cell, say
from survivor.vocabulary import SIGNIFICANCE
from survivor.words import NONE, alive_limits, difference, number, per_100, plain

_MUCH_FILLED = 50.0  # of 100 plants averaged over
_REVERSED = 5.0  # per 100: two that lie so far apart in one order as observed, in the other standardised


def over_time(analysis: Analysis) -> Section:
    """Return the curves, and when most deaths were found."""
    curves = analysis.survival.curves
    if curves is None or curves.table.empty:
        none = why(analysis, "curves", "No curve could be drawn")
        return Section("curves", en.OVER_TIME, (Paragraph(none),))
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
        caption=say(en.CURVES_CAPTION),
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
        none = why(analysis, "season", en.NOTHING_OBSERVED)
        return Section("preparations", en.EACH_HEADING, (Paragraph(none),))
    told = {one.methods[0]: one for one in comparisons(analysis)}
    rows = []
    for row in observed.to_dict("records"):
        one = told.get(str(row["method"]))
        gap = en.USUAL_PRACTICE if row["method"] == usual(analysis) else NONE
        if one is not None and one.estimate is not None and one.grade != "not answered":
            size, ends = difference(*one.size)
            gap = f"{size} ({ends})"
        elif one is not None:
            gap = en.NOT_COMPARED_HERE
        rows.append({**row, "gap": gap, "strength": _strength(one)})
    frame = pd.DataFrame(rows)
    order = frame["estimate"].fillna(-1.0).sort_values(ascending=False, kind="stable").index
    frame = frame.loc[order]
    filled = frame["filled_in"].astype(float)
    share = bool((filled > _MUCH_FILLED).any())
    standardised = bool(frame["estimate"].astype(float).notna().any())
    fields = [
        words(en.PREPARATION, "method"),
        numbers(en.OBSERVED, "alive_per_100_planted", write=per_100),
        *([_STANDARDISED] if standardised else []),
        *([numbers(en.FILLED_IN, "filled_in")] if share else []),
        *([numbers(en.DIFFERENCE, "gap", write=str), words(en.EVIDENCE, "strength")] if told else []),
    ]
    apart = [
        str(row["method"]) for row in frame.to_dict("records") if not math.isfinite(float(row["estimate"]))
    ]
    unknown = float(frame["unknown"].astype(float).sum())
    same = en.SITES_SPECIES if has_species(analysis) else en.SITES
    note = joined(
        say(en.EACH_OBSERVED) if unknown > 0 else None,
        say(en.EACH if is_random(analysis) else en.EACH_CHOSEN, same=same) if standardised else None,
        say(en.EACH_PAIR) if told and share else None,
        *_reversed(frame),
        say(en.OF_MANY) if any(map(_left_open, told.values())) else None,
        say(en.FILLED) if share else None,
        say(en.APART, names=named(apart)) if apart and analysis.survival.by_method is not None else None,
    )
    caption = (en.EACH_CAPTION if told else en.EACH_CAPTION_ALONE).format(per=analysis.per_100)
    made = written("preparations-table", caption, frame, fields)
    return Section("preparations", en.EACH_HEADING, (replace(made, note=note),))


def _reversed(frame: pd.DataFrame) -> list[Sentence]:
    """Name the two that standing at other sites puts in the other order, as observed and standardised."""
    known = frame[frame["estimate"].astype(float).notna()]
    rows = known.sort_values("estimate", ascending=False, kind="stable").to_dict("records")
    seen = "alive_per_100_planted"
    gaps = [
        (float(low[seen]) - float(high[seen]), low, high)
        for place, high in enumerate(rows)
        for low in rows[place + 1 :]
        if float(high["estimate"]) - float(low["estimate"]) >= _REVERSED
    ]
    size, first, second = max(gaps, key=lambda gap: gap[0], default=(0.0, {}, {}))
    if size < _REVERSED:
        return []
    return [say(en.EACH_TURNED, first=Name(str(first["method"])), second=Name(str(second["method"])))]


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
    return alive_limits(estimate, lower, upper) if math.isfinite(estimate) else NONE


_STANDARDISED: Final = numbers(en.STANDARDISED, "estimate", "lower", "upper", write=_with_limits)


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
    words_of = Paragraph(_radius_words(analysis, dose), see=more)
    if not _clear(dose):  # a curve would be read as an answer; the annex has it
        return (Section("radius", en.RADIUS_HEADING, (words_of,)),)
    picture = replace(radius_figure(analysis, dose), caption=say(en.RADIUS_CAPTION), table=None)
    return (Section("radius", en.RADIUS_HEADING, (words_of, picture)),)


def _clear(dose: Dose) -> bool:
    line = dose.along_line
    return line is not None and (line.lower > 0 or line.upper < 0)


def _open_line(dose: Dose) -> list[Sentence]:
    """Say what a straight line gives where it is not clear which way it goes; nothing without an interval."""
    line = dose.along_line
    if line is None or not math.isfinite(line.lower) or float(dose.table["df"].min()) < LEAST_DF:
        return []
    size, span = difference(line.estimate, line.lower, line.upper)
    gain, ends = _on_line("estimate", line.estimate, size), _on_line("lower", line.lower, span)
    return [say(en.RADIUS_LINE, gain=gain, span=ends)]


def _on_line(column: str, value: float, text: str, scale: float = 1.0) -> Value:
    """Write a number of the straight line along the radius, with the cell that it is from."""
    return Value(text, value, cell("radius_answer", column, what="gain along a straight line"), scale)


def _radius_words(analysis: Analysis, dose: Dose) -> tuple[Sentence, ...]:
    line, stops, found, clear = dose.along_line, dose.stops_paying, [], _clear(dose)
    if line is not None and clear:
        down = line.estimate < 0
        near, far = sorted((abs(line.lower), abs(line.upper)))
        few = float(dose.table["df"].min()) < LEAST_DF
        words_of = (en.RADIUS_WIDER, en.RADIUS_NARROWER, en.RADIUS_WIDER_FEW, en.RADIUS_NARROWER_FEW)
        found.append(
            say(
                words_of[2 * few + down],
                gain=_on_line(
                    "estimate", line.estimate, number(abs(line.estimate), 1), -1.0 if down else 1.0
                ),
                per=analysis.per_100,
                first=_on_line("from_m", line.from_m, metres(line.from_m)),
                last=_on_line("to_m", line.to_m, metres(line.to_m)),
                span=_on_line("lower", line.lower, f"{number(near, 1)} to {number(far, 1)}"),
            )
        )
        if down:
            found.append(say(en.RADIUS_REVERSED))
        if dose.shape == "spline" and dose.line_p_value > SIGNIFICANCE:
            found.append(say(en.RADIUS_CURVE))
    else:
        found.append(say(en.RADIUS_OPEN))
        found += _open_line(dose)
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
    one = finding_of(analysis, "radius")
    graded = clear and one is not None and one.grade not in (None, "not answered")
    chosen = say(en.RADIUS_CHOSEN, strength=one.strength) if graded and one else say(en.RADIUS_CHOSEN_BARE)
    return (*found, chosen)
