"""A guideline to files: the page, the two-page PDF, tables, what to try next, and the version's record."""

from __future__ import annotations

from pathlib import Path
from typing import Final

from survivor.guideline.content import content_of
from survivor.guideline.document import guideline_pdf
from survivor.guideline.making import Guideline
from survivor.guideline.nextplan import plan_text
from survivor.guideline.record import record_path, record_text
from survivor.report.files import write_files
from survivor.report.page import page_of

PAGE: Final = "guideline.html"
DOCUMENT: Final = "guideline.pdf"


def write_guideline(guideline: Guideline, folder: Path, *, issue: bool = True) -> tuple[Path, ...]:
    """Write everything.

    Parameters
    ----------
    guideline
        Made.
    folder
        Made where it does not exist.
    issue
        Keep the record of this version beside the guideline file: what it said is then
        held to, and later versions are compared with it.

    Returns
    -------
    tuple of Path
        The page first, then the PDF, tables, ``plan.toml`` and the record.

    Raises
    ------
    ReportError
        When a folder cannot be written to.
    """
    content = content_of(guideline)
    files: dict[str, str | bytes] = {
        PAGE: page_of(content),
        DOCUMENT: guideline_pdf(guideline),
        "advice.csv": guideline.table.to_csv(index=False, lineterminator="\n"),
        "try-next.csv": guideline.next.to_csv(index=False, lineterminator="\n"),
    }
    plan = plan_text(guideline, folder)
    if plan:
        files["plan.toml"] = plan
    written = write_files(folder, files, "the guideline")
    if not issue:
        return written
    title = guideline.file.guideline.name
    record = record_path(guideline.path, title, guideline.version.number)
    kept = {record.name: record_text(guideline.version, title, guideline.path)}
    return (*written, *write_files(record.parent, kept, "the record of this version"))
