"""``survivor check STUDY``: what is wrong with the records, and the mend."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    import pandas as pd

_OWN = re.compile(r" \((tag |[\d,]+ records|[\d,]+ times)[^()]*\)$")
_SHOWN = 5  # rows named for each kind of problem; --all names every one


def check(
    study: Annotated[Path, typer.Argument(metavar="STUDY", help="A study folder, or its study file.")],
    out: Annotated[
        Path | None, typer.Option(help="Write every problem and the account of every record here.")
    ] = None,
    every: Annotated[bool, typer.Option("--all", help="Name every row, not only the first few.")] = False,
) -> None:
    """Read the records and say what is wrong with them, worst first, each with its mend."""
    from survivor.study import load
    from survivor.vocabulary import Severity

    loaded = load(study)
    problems, accounts = loaded.problems, loaded.accounts
    typer.echo(f"{loaded.settings.study.name}: {_many(len(accounts), 'record')} read")
    for line in _fates(accounts):
        typer.echo(line)
    for severity, heading in (
        (Severity.STOP, "Mend these first: the records are not used until it is done"),
        (Severity.CHECK, "Please look: these were used, or set aside, by the rule that is stated"),
        (Severity.NOTE, "Worth knowing: nothing to mend if it is right"),
    ):
        for line in _kinds(problems[problems["severity"] == severity], heading, every):
            typer.echo(line)
    typer.echo("\n" + _matched(loaded.matches))
    if out is not None:
        out.mkdir(parents=True, exist_ok=True)
        problems.to_csv(out / "problems.csv", index=False, lineterminator="\n")
        accounts.to_csv(out / "accounts.csv", index=False, lineterminator="\n")
        typer.echo(f"\nWrote {out / 'problems.csv'} and {out / 'accounts.csv'}")
    stops = int((problems["severity"] == Severity.STOP).sum())
    looks = int((problems["severity"] == Severity.CHECK).sum())
    typer.echo("\n" + _next(stops, looks, study))
    if stops:
        raise typer.Exit(1)


def _next(stops: int, looks: int, study: Path) -> str:
    if stops:
        aside = "that problem" if stops == 1 else f"those {stops:,} problems"
        return (
            f"Next: mend the {_many(stops, 'problem')} under 'Mend these first', in your sheets or in the "
            f"study file, then run survivor check {study} again.\n"
            f"Without the records of {aside}, the rest can be analysed: survivor report {study}"
        )
    look = f" {_many(looks, 'problem')} to look at first, under 'Please look'." if looks else ""
    return f"Nothing stops the answer.{look} Next: survivor report {study}"


def _many(number: int, noun: str) -> str:
    return f"{number:,} {noun}{'' if number == 1 else 's'}"


def _fates(accounts: pd.DataFrame) -> Iterator[str]:
    """How many records were used, and why the others were not."""
    called = {"used": "used", "set aside": "set aside until mended", "listed": "listed, tell nothing more"}
    for fate, words in called.items():
        of_fate = accounts[accounts["fate"] == fate]
        if of_fate.empty:
            continue
        yield f"  {len(of_fate):,} {words}{'' if fate == 'used' else ':'}"
        if fate != "used":
            for reason, number in of_fate["reason"].value_counts().items():
                yield f"    {number:,}: {reason}"


def _kinds(problems: pd.DataFrame, heading: str, every: bool) -> Iterator[str]:
    """Each kind of problem once: what it is, where, and what to do."""
    if problems.empty:
        return
    text = problems.astype(object).where(problems.notna(), "").astype(str)  # a whole file has no row
    kinds = [group for _, group in text.groupby(["code", "file", "sheet"], sort=False)]
    yield f"\n{heading} ({_many(len(problems), 'problem')} of {_many(text['code'].nunique(), 'kind')})"
    for group in kinds:
        yield from _kind(group, every)


def _kind(group: pd.DataFrame, every: bool) -> Iterator[str]:
    """One kind of problem in one sheet: one line where all say the same, and the first few rows."""
    rows: list[dict[str, str]] = [
        {str(k): str(v) for k, v in row.items()} for row in group.to_dict("records")
    ]
    first, shown = rows[0], rows if every else rows[:_SHOWN]
    more = f"{len(rows) - len(shown):,} more: --all shows them, --out FOLDER writes them"
    said = [_parted(row["what"]) for row in rows]
    if len(rows) > 1 and len({what for what, _ in said}) == 1:
        yield f"  {first['code']}, {len(rows):,} times: {said[0][0]}."
        where = ", ".join(
            part for part in (first["file"], first["sheet"] and f"sheet {first['sheet']}") if part
        )
        places = [
            _spot(row) + ("" if row["value"] and row["value"] in extra else extra)
            for row, (_, extra) in zip(shown, said, strict=False)
        ]
        yield f"    {where}: " + "; ".join([*places, *([f"and {more}"] if len(rows) > len(shown) else [])])
    else:
        yield f"  {first['code']}" + (f", {len(rows):,} times:" if len(rows) > 1 else ":")
        for row in shown:
            yield f"    {_place(row)}: {row['what']}."
        if len(rows) > len(shown):
            yield f"    ... and {more}"
    for mend in dict.fromkeys(row["mend"] for row in shown):
        yield f"    What to do: {mend}"


def _parted(what: str) -> tuple[str, str]:
    """Part what is wrong from what tells one problem from the next: its tag, or how many records."""
    found = _OWN.search(what)
    return (what, "") if found is None else (what[: found.start()], found[0])


def _matched(matches: pd.DataFrame) -> str:
    lines = ["Columns as understood (correct them in the study file where wrong):"]
    for row in matches.astype(str).to_dict("records"):
        target = row["column"] or "not used"
        lines.append(f"  {row['file']}: {row['header']!r} -> {target} ({row['how']})")
    return "\n".join(lines)


def _place(row: dict[str, str]) -> str:
    """File, sheet, row, column and value of a problem, as far as it has them."""
    named = [row["file"], row["sheet"] and f"sheet {row['sheet']}", _spot(row)]
    return ", ".join(part for part in named if part)


def _spot(row: dict[str, str]) -> str:
    """Row, column and value of a problem; a study file has lines and keys."""
    of_study = row["file"].endswith(".toml")
    spot = [row["row"] and f"{'line' if of_study else 'row'} {row['row']}"]
    spot.append(row["column"] if of_study or not row["column"] else f"column {row['column']}")
    return ", ".join(part for part in spot if part) + (f" [{row['value']}]" if row["value"] else "")
