"""Example reports of the demo cohorts (``reports/examples/``)."""

from __future__ import annotations

from pathlib import Path
from typing import Final

from survivor.errors import DemoError
from survivor.files.writing import write_whole

COHORTS: Final = ("tagged", "counts")
KEPT: Final = (
    "report.html", "report.pdf", "annex.html", "officer.html", "report.xlsx", "summary.txt", "findings.json"
)  # fmt: skip


def write_examples(datasets: str | Path, out: str | Path) -> list[Path]:
    """Write the report of each demo cohort that is committed as an example.

    Parameters
    ----------
    datasets
        The folder with the demo cohorts, such as ``datasets``.
    out
        Where the reports go, a folder a cohort; other files there are left alone.

    Returns
    -------
    list of Path
        Every file kept: report, annex, officer's sheet, workbook, summary and findings.

    Raises
    ------
    DemoError
        When a cohort is not there.
    """
    from survivor.report.forms import report_forms
    from survivor.study import load

    written = []
    for name in COHORTS:
        study = Path(datasets) / name
        if not study.is_dir():
            raise DemoError(
                f"the demo cohort {name} is not in {datasets}",
                mend="write it first: python -m survivor.demo datasets",
            )
        forms = report_forms(load(study).analysis)
        folder = Path(out) / name
        for form in KEPT:
            write_whole(folder / form, forms[form], "the example")
            written.append(folder / form)
    return written
