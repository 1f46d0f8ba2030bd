"""``survivor pool STUDY STUDY ...``: several seasons together."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

import typer

if TYPE_CHECKING:
    from survivor.seasons import SeasonsTogether


def pool(
    studies: Annotated[
        list[Path], typer.Argument(metavar="STUDY STUDY ...", help="Study folders, one a season.")
    ],
    by: Annotated[
        Literal["season", "site"],
        typer.Option(help="What counts as one unit: a season, or a site of a season."),
    ] = "season",
    method: Annotated[
        Literal["reml", "dl", "pm", "fixed"],
        typer.Option(help="How the variance between units is estimated; fixed: there is none."),
    ] = "reml",
    limits: Annotated[
        Literal["hartung-knapp", "normal"], typer.Option(help="Kind of limits; normal ones are too narrow.")
    ] = "hartung-knapp",
    milestone: Annotated[
        str | None, typer.Option(help="Milestone to tell it for; default: the first study's headline.")
    ] = None,
    trait: Annotated[
        str | None,
        typer.Option(help="Also ask whether the answer goes with this: 'rain decile', texture, ..."),
    ] = None,
    out: Annotated[
        Path | None, typer.Option(help="Folder for tables and figures; default: reports/pooled.")
    ] = None,
) -> None:
    """Pool what several seasons say of each preparation, and say what a new season may show."""
    from rich.console import Console

    console = Console(stderr=True)
    with console.status("Reading") as status:

        def say(step: str) -> None:
            status.update(step)
            if not console.is_terminal:
                console.print(step, highlight=False)

        from survivor.seasons import pool_seasons, take_in
        from survivor.seasons.writing import write_together
        from survivor.study import load

        loaded = []
        for study in studies:
            say(f"Reading {study}")
            loaded.append(load(study))
        found = pool_seasons(
            take_in(loaded), milestone=milestone, unit=by, method=method, limits=limits, trait=trait, say=say
        )
        written = write_together(found, out if out is not None else Path("reports") / "pooled")
    typer.echo(_in_words(found))
    typer.echo(f"Wrote {len(written)} files to {written[0].parent}")


def _in_words(found: SeasonsTogether) -> str:
    from survivor.seasons.wording import sentences

    return "\n".join([*sentences(found), "", *found.checks])
