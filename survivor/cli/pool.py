"""``survivor pool STUDY STUDY ...``: several seasons together."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

import typer

from survivor.cli.progress import steps

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
        Literal["cr2", "hartung-knapp", "normal"],
        typer.Option(help="Kind of limits; all are in other-limits.csv. Normal ones are too narrow."),
    ] = "cr2",
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
    _only_studies(studies)
    with steps("Reading") as say:
        from survivor.files.writing import writing
        from survivor.pooling.limits import Pooling
        from survivor.seasons import pool_seasons, take_in
        from survivor.seasons.wording import POOLED, write_together
        from survivor.study import load

        folder = out if out is not None else Path("reports") / "pooled"
        loaded = []
        for study in studies:
            say(f"Reading {study}")
            loaded.append(load(study))
        with writing(folder, POOLED) as place:
            found = pool_seasons(
                take_in(loaded),
                milestone=milestone,
                unit=by,
                pooling=Pooling(method, limits),
                trait=trait,
                say=say,
            )
            written = write_together(found, place)
    typer.echo(_in_words(found))
    typer.echo(f"Page: {written[0]}")
    typer.echo(f"Beside it: {len(written) - 1} files, tables and figures")


def _in_words(found: SeasonsTogether) -> str:
    from survivor.seasons import english as en
    from survivor.seasons.units import RAIN_DECILE
    from survivor.seasons.wording import told_in_words

    lines = [*told_in_words(found)]
    if found.differing and not found.trends:
        lines.append(en.ASK.format(unit=found.unit, trait=RAIN_DECILE))
    return "\n".join(lines)


def _only_studies(studies: list[Path]) -> None:
    """Raise where something named is no study folder, as happens with a star in the shell.

    Raises
    ------
    PoolingError
        Naming what it is, and the study folders among the rest.
    """
    from survivor.errors import PoolingError
    from survivor.settings.models import STUDY_FILE
    from survivor.words import first_few, typed

    def is_study(path: Path) -> bool:
        return (path / STUDY_FILE).is_file() or (path.is_file() and path.suffix.lower() == ".toml")

    # A guideline file is TOML as well; a file that is named beside folders is no season.
    folders = [path for path in studies if (path / STUDY_FILE).is_file()]
    wrong = [path for path in studies if not is_study(path) or (folders and path.is_file())]
    if wrong and folders:
        raise PoolingError(
            f"not a study folder: {first_few(wrong, 3)}",
            where="pool",
            mend="name only the season folders: " + typed("survivor", "pool", *folders),
        )
    if wrong and not wrong[0].is_dir() and wrong[0].exists():
        raise PoolingError(
            "not a study folder", where=str(wrong[0]), mend="name only folders that hold a study.toml"
        )
