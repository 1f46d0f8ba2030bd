"""The documents of demo studies and of others, made once a run."""

from __future__ import annotations

from pathlib import Path
from tempfile import TemporaryDirectory

from survivor.analysis import Analysis
from survivor.report.forms import report_forms
from survivor.study import load
from tests.once import analysed, digest_of, once

DATASETS = Path(__file__).parents[2] / "datasets"


def forms_of(folder: Path) -> dict[str, bytes]:
    """Return a study's report in every form that is one file."""
    return once(f"forms {digest_of(folder)}", lambda: report_forms(analysed(folder)))


def wholly_analysed(cohort: str) -> Analysis:
    """Return the analysis of a demo cohort with every re-randomised allocation that a report has."""
    return once(f"wholly analysed {cohort}", lambda: load(DATASETS / cohort).analyse())


def reported(cohort: str) -> dict[str, bytes]:
    """Return every file of a demo cohort's report, made by the whole of the work."""

    def make() -> dict[str, bytes]:
        with TemporaryDirectory() as folder:
            study = load(DATASETS / cohort)
            study.__dict__["analysis"] = wholly_analysed(cohort)
            study.report(folder)
            return files_of(Path(folder))

    return once(f"reported {cohort}", make)


def files_of(folder: Path) -> dict[str, bytes]:
    """Return what each file below a folder holds, by its name there."""
    return {str(file.relative_to(folder)): file.read_bytes() for file in folder.rglob("*") if file.is_file()}
