"""Heights told with survival: alive and of a set height, never the height of survivors alone."""

from __future__ import annotations

from typing import TYPE_CHECKING

from survivor.figures.words import number, per_100, per_100_limits
from survivor.report.content.elements import Column, Paragraph, Section, Table
from survivor.report.content.wording import sentence

if TYPE_CHECKING:
    from survivor.analysis.result import Analysis

KEY = "heights"
HEADING = "Alive and grown"
_WHY = (
    "Heights of the living alone are not compared: where the weak have died the rest look tall. What is told "
    "is how many of the plants put in are alive and have the set height."
)


def heights(analysis: Analysis) -> tuple[Section, ...]:
    """Return the share alive and of the set height; nothing where no height was measured."""
    table = analysis.heights
    if table.empty:
        said = _not_told(analysis)
        return (Section(KEY, HEADING, (Paragraph(said, kind="note", label="No answer"),)),) if said else ()
    first = table.iloc[0]
    height, day = number(float(first["at_least_cm"])), number(float(first["at_day"]))
    tall = f"Alive and at least {height} cm, per 100 planted"
    columns = (
        Column("Preparation"),
        Column("So high, per 100 planted", numeric=True),
        Column("95 % limits", numeric=True),
        Column("Fate known", numeric=True),
        Column("Alive", numeric=True),
        Column("Measured", numeric=True),
        Column("So high", numeric=True),
        Column("Plots", numeric=True),
        Column("Note"),
    )
    rows = tuple(
        (
            str(row["method"]),
            per_100(float(row["estimate"])),
            per_100_limits(float(row["lower"]), float(row["upper"])),
            *(number(float(row[name])) for name in ("known", "alive", "measured", "tall", "n_plots")),
            sentence(str(row["note"])),
        )
        for row in table.to_dict("records")
    )
    note = (
        "As counted: the share alive of the plants whose fate is known, times the share of the measured that "
        "are so high; a living plant not measured is taken to be like those measured under its preparation. "
        "Sites and species are not evened out, and species grow at different paces. Limits by leaving out "
        "one plot at a time."
    )
    made = Table("heights-table", f"{tall}, on day {day} ({first['milestone']})", columns, rows, note=note)
    return (Section(KEY, HEADING, (Paragraph(_WHY), made)),)


def _not_told(analysis: Analysis) -> str:
    visits = analysis.records.visits
    measured = "height_cm" in visits and bool(visits["height_cm"].notna().any())
    asked = analysis.settings.heights
    if asked is None:
        return (
            f"Heights were measured, and the study file sets none to tell with survival. {_WHY} Add "
            "[heights] at_least_cm to the study file."
            if measured
            else ""
        )
    if not measured or analysis.settings.records.kind != "tagged":
        return "The study file sets a height, and the records hold no height of tagged seedlings."
    name = asked.milestone or analysis.settings.headline_milestone.name
    return f"The visits have not reached {name}, for which the study file sets a height."
