"""``survivor check STUDY``: what is wrong with the records, and the mend."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    import pandas as pd

    from survivor.errors import SurvivorError
    from survivor.records.kinds import Kind
    from survivor.study import Study

_SHOWN = 5  # rows named for each kind of problem; --all names every one


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
    from survivor.records.kinds import HEADINGS, kinds_of
    from survivor.study import load
    from survivor.vocabulary import Severity

    loaded = load(study)
    problems, accounts = loaded.problems, loaded.accounts
    typer.echo(f"{loaded.settings.study.name}: {_many(len(accounts), 'record')} read")
    for line in _fates(accounts):
        typer.echo(line)
    for severity, heading in HEADINGS.items():
        for line in _said(kinds_of(problems, severity), heading, every):
            typer.echo(line)
    for line in _rules(loaded.records.rules):
        typer.echo(line)
    typer.echo("\n" + _matched(loaded.matches))
    if write_matches:
        from survivor.records.saving import save_matches

        typer.echo("\n" + save_matches(loaded.path, loaded.matches))
    for line in _written(loaded, out, html, xlsx):
        typer.echo(line)
    stops = int((problems["severity"] == Severity.STOP).sum())
    looks = int((problems["severity"] == Severity.CHECK).sum())
    nothing = loaded.records.nothing
    typer.echo("\n" + (_next(stops, looks, study) if nothing is None else _nothing(nothing, stops, study)))
    if stops or nothing is not None:
        raise typer.Exit(1)


def _written(loaded: Study, out: Path | None, html: Path | None, xlsx: Path | None) -> Iterator[str]:
    """Write what was asked for, and say where it is."""
    from survivor.errors import ReportError

    made: dict[Path, bytes] = {}
    if out is not None:
        for name, table in (("problems.csv", loaded.problems), ("accounts.csv", loaded.accounts)):
            made[out / name] = table.to_csv(index=False, lineterminator="\n").encode()
    if html is not None:
        from survivor.report.checked import page_of_check

        made[html] = page_of_check(loaded.records, loaded.provenance).encode()
    if xlsx is not None:
        from survivor.report.checked import workbook_of_check

        made[xlsx] = workbook_of_check(loaded.records, loaded.path.parent)
    for path, content in made.items():
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_bytes(content)
        except OSError as fault:
            raise ReportError(
                f"the file could not be written: {fault.strerror or fault}",
                where=str(path),
                mend="name a file in a folder that you may write to, and close it if it is open",
            ) from fault
    if made:
        yield "\nWrote " + " and ".join(map(str, made))


def _nothing(why: SurvivorError, stops: int, study: Path) -> str:
    """Say that nothing can be analysed, and what to do; the causes themselves are listed above."""
    said = f"{why.what[:1].upper()}{why.what[1:]}.\n"
    if not why.mend.startswith("begin with"):
        return f"{said}Next: {why.mend}: survivor check {study}"
    return (
        f"{said}Next: mend the {_many(stops, 'problem')} under 'Mend these first', in your sheets or in the "
        f"study file, then run survivor check {study} again.\n"
        f"Your sheets with those cells marked: survivor check {study} --xlsx FILE"
    )


def _next(stops: int, looks: int, study: Path) -> str:
    if stops:
        aside = "that problem" if stops == 1 else f"those {stops:,} problems"
        return (
            f"Next: mend the {_many(stops, 'problem')} under 'Mend these first', in your sheets or in the "
            f"study file, then run survivor check {study} again.\n"
            f"Your sheets with those cells marked: survivor check {study} --xlsx FILE\n"
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


def _said(kinds: list[Kind], heading: str, every: bool) -> Iterator[str]:
    """Each kind of problem once: what it is, where, and what to do."""
    if not kinds:
        return
    number = sum(len(kind.spots) for kind in kinds)
    yield f"\n{heading} ({_many(number, 'problem')} of {_many(len({k.code for k in kinds}), 'kind')})"
    for kind in kinds:
        yield from _kind(kind, len(kind.spots) if every else _SHOWN)


def _kind(kind: Kind, most: int) -> Iterator[str]:
    """One kind of problem in one sheet: one line where all say the same, and the first few rows."""
    from survivor.records.kinds import sentence

    # A wide row is a record a visit: its cell at fault is one place.
    number, places = len(kind.spots), tuple(dict.fromkeys(kind.spots))
    shown = places[:most]
    more = f"{len(places) - len(shown):,} more: --all shows them, --out FOLDER writes them"
    if kind.what:
        yield f"  {kind.code}, {number:,} times: {sentence(kind.what)}"
        others = [f"and {more}"] if len(places) > len(shown) else []
        yield f"    {kind.where}: " + "; ".join([*shown, *others])
    else:
        yield f"  {kind.code}" + (f", {number:,} times:" if number > 1 else ":")
        for place in shown:
            yield f"    {place}"
        if len(places) > len(shown):
            yield f"    ... and {more}"
    for mend in dict.fromkeys(kind.mends[:most]):
        yield f"    What to do: {mend}"


def _rules(rules: pd.DataFrame) -> Iterator[str]:
    """Say what the study file allows to be mended, and how many records it touched."""
    if rules.empty:
        return
    yield "\nMended or read by a rule of the study file:"
    for row in rules.to_dict("records"):
        yield f"  {row['rule']}: {row['what']}, {_many(row['records'], 'record')}"


def _matched(matches: pd.DataFrame) -> str:
    """Show every match: those of the study file together, the others one by one."""
    from survivor.records.matching import foreign

    lines = [
        "Columns as understood (correct them in the study file where wrong; --write-matches saves them):"
    ]
    told: dict[str, list[str]] = {}
    for row in foreign(matches).astype(str).to_dict("records"):
        match = f"{row['header']!r} -> {row['column'] or 'not used'}"
        if row["how"] == "study file":
            told.setdefault(row["file"], []).append(match)
        else:
            lines.append(f"  {row['file']}: {match} ({row['how']})")
    lines[1:1] = [f"  {file}, as the study file says: {'; '.join(found)}" for file, found in told.items()]
    return "\n".join(lines)
