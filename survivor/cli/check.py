"""``survivor check STUDY``: what is wrong with the records, and the mend."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    import pandas as pd

_SHOWN = 5  # rows printed for each kind of problem; the whole list goes to --out


def check(
    study: Annotated[Path, typer.Argument(metavar="STUDY", help="A study folder, or its study file.")],
    out: Annotated[
        Path | None, typer.Option(help="Write every problem and the account of every record here.")
    ] = None,
) -> None:
    """Read the records and say what is wrong with them, worst first, each with its mend."""
    from survivor.study import load
    from survivor.vocabulary import Severity

    loaded = load(study)
    problems, accounts = loaded.problems, loaded.accounts
    typer.echo(f"{loaded.settings.study.name}: {len(accounts)} records read")
    for fate, count in accounts["fate"].value_counts(sort=False).items():
        typer.echo(f"  {count} {fate}")
    typer.echo(_matched(loaded.matches))
    for severity, heading in (
        (Severity.STOP, "Stops these records from being used: mend these first"),
        (Severity.CHECK, "Used or set aside by a rule: please look"),
        (Severity.NOTE, "Worth knowing"),
    ):
        _print_problems(problems[problems["severity"] == severity], heading)
    if out is not None:
        out.mkdir(parents=True, exist_ok=True)
        problems.to_csv(out / "problems.csv", index=False, lineterminator="\n")
        accounts.to_csv(out / "accounts.csv", index=False, lineterminator="\n")
        typer.echo(f"Wrote {out / 'problems.csv'} and {out / 'accounts.csv'}")
    stops = int((problems["severity"] == Severity.STOP).sum())
    if stops:
        typer.echo(f"{stops} record problem(s) to mend; the rest can be analysed: survivor report {study}")
        raise typer.Exit(1)
    typer.echo(f"Nothing stops the answer. Next: survivor report {study}")


def _matched(matches: pd.DataFrame) -> str:
    lines = ["Columns as understood (correct them in the study file where wrong):"]
    for row in matches.itertuples(index=False):
        target = row.column if row.column else "not used"
        lines.append(f"  {row.file}: {row.header!r} -> {target} ({row.how})")
    return "\n".join(lines)


def _print_problems(problems: pd.DataFrame, heading: str) -> None:
    if problems.empty:
        return
    typer.echo(f"\n{heading} ({len(problems)})")
    for code, group in problems.groupby("code", sort=False):
        typer.echo(f"  {code}: {len(group)}")
        for row in group.head(_SHOWN).itertuples(index=False):
            place = ", ".join(
                part
                for part in (
                    str(row.file),
                    f"sheet {row.sheet}" if row.sheet else "",
                    f"row {row.row}" if row.row else "",
                    f"column {row.column}" if row.column else "",
                )
                if part
            )
            value = f" [{row.value}]" if str(row.value) else ""
            typer.echo(f"    {place}{value}: {row.what}. {row.mend}")
        if len(group) > _SHOWN:
            typer.echo(f"    ... and {len(group) - _SHOWN} more; --out FOLDER writes them all")
