"""Heights told with survival: alive and of a set height, never the height of survivors alone."""

from __future__ import annotations

from survivor.analysis.result import Analysis
from survivor.document.elements import Paragraph, Section, missing, numbers, written
from survivor.report import english as en
from survivor.report.columns import LIMITS, METHOD, NOTE, PLOTS
from survivor.words import number, per_100, per_100_limits

KEY = "heights"
HEADING = "Alive, by height"


def heights(analysis: Analysis) -> tuple[Section, ...]:
    """Return the share alive and of the set height; nothing where no height was measured."""
    table = analysis.heights
    if table.empty:
        said = _not_told(analysis)
        return (missing(KEY, HEADING, said),) if said else ()
    first = table.iloc[0]
    height, day = number(float(first["at_least_cm"])), number(float(first["at_day"]))
    tall = f"Alive and at least {height} cm, {analysis.per_100}"
    fields = (
        METHOD,
        numbers(tall, "estimate", write=per_100),
        numbers(LIMITS, "lower", "upper", write=per_100_limits),
        numbers("Fate known", "known"),
        numbers("Alive", "alive"),
        numbers("Measured", "measured"),
        numbers(f"At least {height} cm", "tall"),
        PLOTS,
        NOTE,
    )
    caption = f"{tall}, on day {day} ({first['milestone']})"
    made = written("heights-table", caption, table, fields, note=en.HEIGHTS_NOTE)
    return (Section(KEY, HEADING, (Paragraph(en.HEIGHTS_WHY), made)),)


def _not_told(analysis: Analysis) -> str:
    visits = analysis.records.visits
    measured = "height_cm" in visits and bool(visits["height_cm"].notna().any())
    asked = analysis.settings.heights
    if asked is None:
        return en.HEIGHTS_NOT_SET.format(why=en.HEIGHTS_WHY) if measured else ""
    if not measured or analysis.settings.records.kind != "tagged":
        return en.HEIGHTS_NONE
    name = asked.milestone or analysis.settings.headline_milestone.name
    return en.HEIGHTS_NOT_REACHED.format(milestone=name)
