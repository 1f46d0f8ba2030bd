"""``survivor check STUDY``: what is wrong with the records, and the mend."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from survivor.study import Study


def check(
    study: Annotated[Path, typer.Argument(metavar="STUDY", help="A study folder, or its study file.")],
    out: Annotated[
        Path | None, typer.Option(help="Write every problem and the account of every record here.")
    ] = None,
    every: Annotated[bool, typer.Option("--all", help="Name every row, not only the first few.")] = False,
    html: Annotated[
        Path | None, typer.Option("--html", metavar="FILE", help="Write what is said as one HTML page.")
    ] = None,
    xlsx: Annotated[
        Path | None,
        typer.Option("--xlsx", metavar="FILE", help="Write a workbook: your sheets with the cells marked."),
    ] = None,
    write_matches: Annotated[
        bool,
        typer.Option(
            "--write-matches", help="Save the columns and states as understood in the study file, to correct."
        ),
    ] = False,
) -> None:
    """Read the records and say what is wrong with them, worst first, each with its mend."""
    import pandas as pd

    from survivor.cli.large import free_memory, too_large
    from survivor.cli.progress import steps
    from survivor.files.content import read_once
    from survivor.report.checked.text import lines_of_check, next_step
    from survivor.season.gauge import UNREADABLE_FILES
    from survivor.study import files_of, load
    from survivor.vocabulary import Severity

    # What is marked is what was read; tables share what they don't change, in half the memory.
    with read_once(), pd.option_context("mode.copy_on_write", True):
        with steps("Reading the records"):
            for line in too_large(files_of(study), report=False, free=free_memory()):
                typer.echo(line, err=True)
            loaded = load(study)
        listed = loaded.problems if every else loaded.records.first_problems
        severities = listed["severity"]
        stops = int((severities == Severity.STOP).sum())
        looks = int((severities == Severity.CHECK).sum())
        nothing = loaded.records.nothing
        unreadable = list(listed.loc[listed["code"].isin(UNREADABLE_FILES), "file"])
        last = "\n" + next_step(nothing, stops, looks, study, unreadable)
        for line in lines_of_check(loaded.records, loaded.settings.study.name, every=every, below=last):
            typer.echo(line)
        if write_matches:
            from survivor.records.saving import save_matches

            findings = loaded.records.findings
            unknown = findings.loc[findings["code"] == "unknown-state", "value"].value_counts()
            words = {str(word): int(times) for word, times in unknown.items()}
            typer.echo("\n" + save_matches(loaded.path, loaded.matches, words))
        for line in _written(loaded, out, html, xlsx):
            typer.echo(line)
    typer.echo(last)
    if stops or nothing is not None:
        raise typer.Exit(1)


def _written(loaded: Study, out: Path | None, html: Path | None, xlsx: Path | None) -> Iterator[str]:
    """Write what was asked for, and say where it is."""
    from survivor.files.writing import csv_text, refuse_inputs, writing

    made: list[tuple[Path, Callable[[], str | bytes]]] = []
    if out is not None:
        made.append((out / "problems.csv", partial(csv_text, loaded.problems)))
        made.append((out / "accounts.csv", partial(csv_text, loaded.accounts)))
    if html is not None:
        from survivor.report.checked.page import page_of_check

        made.append((html, partial(page_of_check, loaded.records, loaded.provenance)))
    if xlsx is not None:
        from survivor.report.checked.workbook import workbook_of_check

        made.append((xlsx, partial(workbook_of_check, loaded.records, loaded.path.parent)))
    refuse_inputs([path for path, _ in made], loaded.files)
    for path, make in made:
        with writing(path.parent, "the check", as_one=False, names=[path.name]) as place:
            place.write({path.name: make()})
    if made:
        yield "\nWrote " + " and ".join(str(path) for path, _ in made)
