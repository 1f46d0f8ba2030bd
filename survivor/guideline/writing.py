"""A guideline to files: the page, the two-page PDF, tables, what to try next, and the version's record."""

from __future__ import annotations

from pathlib import Path
from typing import Final

from survivor.errors import ReportError
from survivor.guideline.content import content_of
from survivor.guideline.document import guideline_pdf
from survivor.guideline.making import Guideline
from survivor.guideline.nextplan import plan_text
from survivor.guideline.record import record_path, record_text
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
    texts = {
        PAGE: page_of(content),
        "advice.csv": guideline.table.to_csv(index=False, lineterminator="\n"),
        "try-next.csv": guideline.next.to_csv(index=False, lineterminator="\n"),
    }
    plan = plan_text(guideline, folder)
    if plan:
        texts["plan.toml"] = plan
    document = guideline_pdf(guideline)
    title = guideline.file.guideline.name
    record = record_path(guideline.path, title, guideline.version.number)
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for name, text in texts.items():
            (folder / name).write_text(text, encoding="utf-8", newline="\n")
        (folder / DOCUMENT).write_bytes(document)
        if issue:
            record.parent.mkdir(parents=True, exist_ok=True)
            record.write_text(
                record_text(guideline.version, title, guideline.path), encoding="utf-8", newline="\n"
            )
    except OSError as error:
        raise ReportError(
            f"the guideline could not be written: {error.strerror or error}",
            where=folder.name,
            mend="name a folder that you may write to, with room on its disk",
        ) from error
    names = [PAGE, DOCUMENT, *[name for name in texts if name != PAGE]]
    return (*(folder / name for name in names), *((record,) if issue else ()))
