"""``survivor report STUDY``: the evaluation report."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer


def report(
    study: Annotated[Path, typer.Argument(metavar="STUDY", help="A study folder, or its study file.")],
    out: Annotated[
        Path | None,
        typer.Option(help="Folder for the report; default: reports/ and the study folder's name."),
    ] = None,
) -> None:
    """Analyse the season and write the report: page, PDF, workbook, summary, findings and tables."""
    from rich.console import Console

    from survivor.settings import find_study_file

    console = Console(stderr=True)
    with console.status("Reading the records") as status:

        def say(step: str) -> None:
            status.update(step)
            if not console.is_terminal:
                console.print(step, highlight=False)

        from survivor.study import load

        say("Reading the records")
        loaded = load(study)
        folder = out if out is not None else Path("reports") / find_study_file(study).resolve().parent.name
        written = loaded.report(folder, say=say)
    findings = loaded.analysis.findings
    # What was asked first, and always what became of the comparison and of the target.
    asked = [finding for finding in findings if finding.key in ("headline", "target")]
    for finding in dict.fromkeys([*findings[:1], *asked]):
        unsaid = "Cannot be said: " if finding.grade == "unanswered" else ""
        typer.echo(f"{finding.question} {unsaid}{finding.answer}")
    from survivor.report.content.answer import records_words

    typer.echo(records_words(loaded.records))
    typer.echo(f"Report: {written[0]}")
    others = "report.pdf, report.xlsx, summary.txt, findings.json and the tables as CSV"
    typer.echo(f"Beside it: {len(written) - 1} files ({others})")
