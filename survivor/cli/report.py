"""``survivor report STUDY``: the evaluation report."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from survivor.cli.large import free_memory, long_report, too_large
from survivor.cli.progress import steps

if TYPE_CHECKING:
    from survivor.study import Study


def report(
    study: Annotated[Path, typer.Argument(metavar="STUDY", help="A study folder, or its study file.")],
    out: Annotated[
        Path | None,
        typer.Option(help="Folder for the report; default: reports/ and the study folder's name."),
    ] = None,
    verify: Annotated[
        Path | None,
        typer.Option(metavar="FOLDER", help="Write nothing: is the report in FOLDER still that of STUDY?"),
    ] = None,
) -> None:
    """Analyse the season and write the report: page, PDF, workbook, summary, findings and tables."""
    from survivor.settings import find_study_file

    with steps("Reading the records") as say:
        from survivor.study import files_of, load

        say("Reading the records")
        for line in too_large(files_of(study), report=True, free=free_memory()):
            typer.echo(line, err=True)
        loaded = load(study)
        for line in long_report(len(loaded.records.plots)):
            typer.echo(line, err=True)
        if verify is not None:
            wrong = _wrong(loaded, verify, say)
        else:
            own = Path("reports") / find_study_file(study).resolve().parent.name
            written = loaded.report(out if out is not None else own, say=say)
    if verify is None:
        for line in _told(loaded, written):
            typer.echo(line)
        return
    for line in wrong:
        typer.echo(line)
    if wrong:
        raise typer.Exit(2)
    typer.echo("The report is as it was written, from files that are as they were, with the findings of now.")


def _wrong(loaded: Study, folder: Path, say: Callable[[str], None]) -> list[str]:
    """Say in what a report is not what would be made now; the analysis is only made where nothing else is."""
    from survivor.report.tables import findings_json
    from survivor.report.verify import findings_differ, not_as_written, provenance_differs, told_in

    told = told_in(folder)
    wrong = [*not_as_written(folder), *provenance_differs(told, loaded.as_shown().provenance)]
    return wrong or findings_differ(folder, findings_json(loaded.analyse(say)))


def _told(loaded: Study, written: Sequence[Path]) -> Iterator[str]:
    """Say what was asked first, how many records it rests on, and where the report is."""
    from survivor.report.arrangement import REPORT
    from survivor.report.questions import records_words
    from survivor.report.summary import lines_of

    yield from lines_of(REPORT.opens(loaded.analysis))
    yield records_words(loaded.records)
    yield f"Report: {written[0]}"
    others = "annex.html, officer.html, both PDFs, report.xlsx, summary.txt, findings.json, the tables as CSV"
    yield f"Beside it: {len(written) - 1} files ({others})"
