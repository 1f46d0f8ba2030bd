"""``survivor new DIR``: a blank study folder, or a study file for the sheets that are there."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from survivor.settings.questions import Line, Question


def new(
    folder: Annotated[Path, typer.Argument(metavar="DIR", help="Folder to write the study to.")],
    from_sheets: Annotated[
        bool, typer.Option("--from-sheets", help="Propose a study file for the sheets that are in DIR.")
    ] = False,
    ask: Annotated[
        bool,
        typer.Option("--ask", help="Ask here what the sheets do not tell, or a study file leaves open."),
    ] = False,
) -> None:
    """Write a blank study folder, all explained; or propose a study file for the sheets in a folder."""
    if from_sheets or ask:
        _propose(folder, ask)
        return
    from survivor.planning.folder import write_blank
    from survivor.words import typed

    written = write_blank(folder)
    typer.echo(
        f"Wrote {', '.join(path.name for path in written)} to {folder}. There are no records in it yet."
    )
    typer.echo(f"  before planting: change plan.toml, then {typed('survivor', 'plan', folder / 'plan.toml')}")
    typer.echo(f"  with records:    fill plots.csv and visits.csv, then {typed('survivor', 'check', folder)}")


def _propose(folder: Path, ask: bool) -> None:
    from survivor.cli.progress import steps
    from survivor.proposing.proposal import propose, write_proposal
    from survivor.proposing.reading import what_is_read
    from survivor.settings import STUDY_FILE
    from survivor.settings.questions import questions_in
    from survivor.words import counted, typed

    file = folder / STUDY_FILE
    if not (ask and file.is_file()):
        with steps("Looking through the sheets"):
            text = propose(folder)
        write_proposal(folder, text)
        typer.echo(f"Wrote {file}: what each sheet seems to be; look it through, every line can be changed.")
    if ask:
        text = file.read_text(encoding="utf-8")
        asked = questions_in(text)
        typer.echo(f"{counted(len(asked), 'question')}; Enter leaves one open.\n")
        answers: dict[int, str] = {}
        try:
            for place, question in enumerate(asked, start=1):
                typer.echo(f"{place} of {len(asked)}. {question.text}")
                answers |= _answers(question)
        finally:  # whoever stops midway keeps what was said
            _keep(file, text, answers)
    with steps("Reading the records"):
        read = what_is_read(folder)
    for number, question in enumerate(questions_in(file.read_text(encoding="utf-8")), start=1):
        typer.echo(f"  {number}. {question.text}")
    typer.echo(read)
    if questions_in(file.read_text(encoding="utf-8")):
        typer.echo(f"Next: {typed('survivor', 'new', folder, '--ask')} asks these here")
    typer.echo(f"Then: {typed('survivor', 'check', folder)}")


def _keep(file: Path, text: str, answers: dict[int, str]) -> None:
    """Write what was answered to the study file, which has to be as it was when the questions were asked."""
    from survivor.errors import WritingError
    from survivor.files.lock import held
    from survivor.files.writing import write_whole
    from survivor.settings.questions import answered

    with held(file.parent):
        if file.read_text(encoding="utf-8") != text:
            raise WritingError(
                "somebody changed this file while the questions were asked",
                where=str(file),
                mend="answer them again; the answers were not written",
            )
        write_whole(file, answered(text, answers).encode(), "the answers")


def _answers(question: Question) -> dict[int, str]:
    """Ask one question, part by part; parts that are alike are asked once."""
    from survivor.settings.questions import answers_to

    if any(line.key == "[[methods]]" for part in question.parts for line in part):
        return _all_or_none(question)
    return answers_to(question, _one)


def _all_or_none(question: Question) -> dict[int, str]:
    """Ask whether lines that belong together are right."""
    for part in question.parts:
        if part[0].key in ("name", "also"):
            typer.echo(f"   {'' if part[0].key == 'name' else '   also: '}{part[0].value}")
    said = typer.prompt("   right? [y/N]", default="n", show_default=False).strip().casefold()
    return {part[0].place: part[0].value for part in question.parts} if said.startswith("y") else {}


def _one(part: tuple[Line, ...]) -> str:
    """Ask for one line: one of several, one of the words that its remark offers, or what fits its example."""
    import json

    from survivor.settings.questions import EMPTY, offered, unfit

    if len(part) > 1:
        for number, line in enumerate(part, start=1):
            value = line.value.strip('"')
            typer.echo(f"   {number}  {value}" + (f": {line.said}" if line.said else ""))
        said = _number(len(part))
        return part[said - 1].value if said else ""
    (line,) = part
    words = offered(line)
    if words:
        typer.echo(f"   {line.key}   {line.said.partition(':')[0]}")
        typer.echo("   " + "  ".join(f"{number} {word}" for number, word in enumerate(words, start=1)))
        said = _number(len(words))
        return json.dumps(words[said - 1]) if said else ""
    shown = f" [{line.value}]" if line.value != EMPTY else ""
    while typed := typer.prompt(
        f"   {line.key}{shown} ({line.said})", default="", show_default=False
    ).strip():
        if typed.casefold() in ("y", "yes") and line.value != EMPTY:
            return line.value
        if not (why := unfit(line, typed)):
            break
        typer.echo(f"   {why}; or Enter to leave it open")
    if not typed:
        return ""
    if line.value.startswith("["):
        return json.dumps([word.strip() for word in typed.split(",")], ensure_ascii=False)
    return typed if line.value.isdigit() else json.dumps(typed, ensure_ascii=False)


def _number(most: int) -> int:
    """Ask for a number up to ``most``; 0 where the question is left open."""
    while True:
        said = typer.prompt("   number", default="", show_default=False).strip()
        if not said:
            return 0
        if said.isdigit() and 1 <= int(said) <= most:
            return int(said)
        typer.echo(f"   a number from 1 to {most}, or Enter to leave it open")
