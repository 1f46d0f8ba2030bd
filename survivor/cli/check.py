"""``survivor check STUDY``: what is wrong with the records, and the mend."""

from __future__ import annotations

from collections.abc import Hashable, Mapping
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
    for row in matches.astype(str).to_dict("records"):
        target = row["column"] or "not used"
        lines.append(f"  {row['file']}: {row['header']!r} -> {target} ({row['how']})")
    return "\n".join(lines)


def _print_problems(problems: pd.DataFrame, heading: str) -> None:
    if problems.empty:
        return
    typer.echo(f"\n{heading} ({len(problems)})")
    for code, group in _as_text(problems).groupby("code", sort=False):
        typer.echo(f"  {code}: {len(group)}")
        for row in group.head(_SHOWN).to_dict("records"):
            typer.echo(f"    {_place(row)}: {row['what']}. What to do: {row['mend']}")
        if len(group) > _SHOWN:
            typer.echo(f"    ... and {len(group) - _SHOWN} more; --out FOLDER writes them all")


def _as_text(problems: pd.DataFrame) -> pd.DataFrame:
    """Every cell as text, blanks empty: a problem of a whole file has no row."""
    text: pd.DataFrame = problems.astype(object).where(problems.notna(), "").astype(str)
    return text


def _place(row: Mapping[Hashable, str]) -> str:
    """File, sheet, row, column and value of a problem, as far as it has them."""
    named = [row["file"]]
    named += [f"{word} {row[word]}" for word in ("sheet", "row", "column") if row[word]]
    return ", ".join(part for part in named if part) + (f" [{row['value']}]" if row["value"] else "")
