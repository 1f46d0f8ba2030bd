"""``survivor programme FOLDER``: every study below a folder, together."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from survivor.cli.progress import steps

if TYPE_CHECKING:
    from survivor.programme import Programme


def programme(
    folder: Annotated[Path, typer.Argument(metavar="FOLDER", help="Every study below it is taken.")],
    out: Annotated[
        Path | None, typer.Option(help="Folder for the page; default: reports/ and the folder's name.")
    ] = None,
    milestone: Annotated[
        str | None, typer.Option(help="Milestone to tell it for; default: that of most studies.")
    ] = None,
    ground: Annotated[
        str | None, typer.Option(help="Column of the plot sheets with the kind of ground, such as texture.")
    ] = None,
    workers: Annotated[
        int | None, typer.Option(min=1, help="Processes of this machine; default: one a core.")
    ] = None,
    scheduler: Annotated[
        str | None,
        typer.Option(metavar="ADDRESS", help="Dask scheduler whose machines see the same folder."),
    ] = None,
) -> None:
    """Check, analyse and pool every study below a folder: one page, PDF and workbook."""
    import os

    with steps("Looking for studies") as say:
        from survivor.files.writing import writing
        from survivor.programme import write_programme
        from survivor.programme.cluster import Cluster
        from survivor.programme.running import put_together, take_studies
        from survivor.programme.writing import NAMES, PAGE, WHAT, is_written
        from survivor.words import counted

        home = out if out is not None else Path("reports") / folder.resolve().name
        cores = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1
        with writing(home, WHAT, of=folder, names=NAMES) as place:
            taken = take_studies(
                folder,
                milestone=milestone,
                cluster=Cluster(workers or cores, scheduler),
                say=say,
                warn=lambda text: typer.echo(text, err=True),
            )
            as_it_was = ground is None and is_written(taken.records, home)
            if not as_it_was:
                say(f"Putting {counted(len(taken.records), 'study', 'studies')} together")
                made = put_together(taken, ground)
                say("Writing")
                written = write_programme(made, place)
    if as_it_was:
        typer.echo("Nothing has changed since the page was written.")
        typer.echo(f"Page: {home / PAGE}")
        return
    for line in _told(made):
        typer.echo(line)
    typer.echo(f"Page: {written[0]}")
    typer.echo(f"Beside it: {', '.join(path.name for path in written[1:3])}, and {len(written) - 4} tables")


def _told(made: Programme) -> list[str]:
    """Say the answer, and for whoever keeps the studies which were left out and why in full."""
    from survivor.programme.page import lead
    from survivor.sentences import plain_text

    left = made.of_state("not used")
    lines = [plain_text(sentences) for sentences in lead(made)]
    if left:
        lines.append(f"Not used: {len(left)} of {len(made.records)}. In full, for you alone:")
    return [*lines, *(f"  {record.folder}: {' '.join(record.detail.split())}" for record in left)]
