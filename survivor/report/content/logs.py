"""What stands beside the records: photo points, and corrections made in the records."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pandas as pd

from survivor.figures.words import NONE
from survivor.report.content.elements import Column, Paragraph, Section, Table
from survivor.report.content.wording import counted, date
from survivor.report.logs import correction_table, photo_table

if TYPE_CHECKING:
    from survivor.settings import Settings


def photo_points(settings: Settings) -> tuple[Section, ...]:
    """List the photo points; nothing where the study file names none."""
    table = photo_table(settings)
    if table.empty:
        return ()
    words = {"latitude": "Latitude", "longitude": "Longitude"}
    columns = (
        Column("Photo point"),
        Column("Site"),
        Column("Photographed"),
        Column("File"),
        Column("Note"),
        *(Column(words[name], numeric=True) for name in table.columns if name in words),
    )
    rows = tuple(
        (
            str(row["name"]),
            str(row["site"]) or NONE,
            date(row["date"]) if row["date"] else NONE,
            str(row["file"]) or NONE,
            str(row["note"]) or NONE,
            *(NONE if pd.isna(row[name]) else f"{row[name]:.5f}" for name in table.columns if name in words),
        )
        for row in table.to_dict("records")
    )
    text = (
        f"{counted(float(len(rows)), 'photograph')} from photo points, listed; the pictures themselves go "
        "beside this report."
    )
    made = Table("photo-points-table", "Photographs by point and date", columns, rows)
    return (Section("photo-points", "Photo points", (Paragraph(text), made)),)


def corrections(settings: Settings) -> Section:
    """Return the log of corrections; a sentence where the study file lists none."""
    table = correction_table(settings)
    heading = "Corrections log"
    if table.empty:
        said = "The study file lists no correction of the records ([[corrections]])."
        return Section("corrections", heading, (Paragraph(said),))
    columns = (Column("Day"), Column("By"), Column("What was changed"), Column("Why"))
    rows = tuple(
        (date(row["date"]), str(row["who"]) or NONE, str(row["what"]), str(row["why"]))
        for row in table.to_dict("records")
    )
    made = Table("corrections-table", "Corrections of the records", columns, rows)
    text = f"{counted(float(len(rows)), 'correction')} made in the records after they were first written."
    return Section("corrections", heading, (Paragraph(text), made))
