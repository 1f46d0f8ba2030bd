"""``survivor new DIR``: a blank study folder, or a study file for the sheets that are there."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from collections.abc import Sequence

    from survivor.files.days import DateOrder
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
    from survivor.proposing.unused import unused
    from survivor.settings import STUDY_FILE
    from survivor.settings.questions import questions_in
    from survivor.words import typed

    file = folder / STUDY_FILE
    if not (ask and file.is_file()):
        with steps("Looking through the sheets"):
            text = propose(folder)
        write_proposal(folder, text)
        typer.echo(f"Wrote {file}: what each sheet seems to be; look it through, every line can be changed.")
    if ask:
        _ask(file)
    with steps("Reading the records"):
        read = what_is_read(folder)
    for number, question in enumerate(questions_in(file.read_text(encoding="utf-8")), start=1):
        typer.echo(f"  {number}. {question.text}")
    typer.echo(read)
    for left_out in unused(folder, file.read_text(encoding="utf-8")):
        typer.echo(f"Not used: {left_out}")
    if questions_in(file.read_text(encoding="utf-8")):
        typer.echo(f"Next: {typed('survivor', 'new', folder, '--ask')} asks these here")
    typer.echo(f"Then: {typed('survivor', 'check', folder)}")


def _ask(file: Path) -> None:
    """Ask here what a study file leaves open, and keep the answers in it."""
    from survivor.proposing.answering import apart, order_in
    from survivor.settings.questions import answered, questions_in
    from survivor.words import counted

    text = file.read_text(encoding="utf-8")
    asked, order = questions_in(text), order_in(text)
    typer.echo(
        f"{counted(len(asked), 'question')}; Enter leaves one open. A day may be written as in the sheets.\n"
    )
    answers: dict[int, str] = {}
    others: list[str] = []
    try:
        for place, question in enumerate(asked, start=1):
            typer.echo(f"{place} of {len(asked)}. {question.text}")
            answers |= _answers(question, order, others)
    finally:  # whoever stops midway keeps what was said
        _keep(file, text, apart(answered(text, answers), others))


def _keep(file: Path, before: str, text: str) -> None:
    """Write an answered study file, which has to be as it was when the questions were asked."""
    from survivor.errors import WritingError
    from survivor.files.lock import held
    from survivor.files.writing import write_whole

    with held(file.parent):
        if file.read_text(encoding="utf-8") != before:
            raise WritingError(
                "somebody changed this file while the questions were asked",
                where=str(file),
                mend="answer them again; the answers were not written",
            )
        write_whole(file, text.encode(), "the answers")


def _answers(question: Question, order: DateOrder, others: list[str]) -> dict[int, str]:
    """Ask one question, part by part; parts that are alike are asked once.

    Spellings that are preparations of their own are added to ``others``.
    """
    from survivor.proposing.answering import of_states, on_preparations
    from survivor.settings.questions import PLANTED_AT, answers_to

    if on_preparations(question):
        return _spellings(question, others)
    if of_states(question):
        return _states(question)
    planted = ""

    def said(part: tuple[Line, ...]) -> str:
        nonlocal planted
        if planted and part[0].said.startswith(PLANTED_AT):
            return ""  # all sites share the day that was just given
        value = _one(part, order)
        planted = value if part[0].key == "planted_date" else planted
        return value

    return answers_to(question, said)


def _yes(text: str) -> bool:
    from survivor.proposing.answering import is_yes

    return is_yes(typer.prompt(f"   {text} [y/N]", default="n", show_default=False))


def _spellings(question: Question, others: list[str]) -> dict[int, str]:
    """Ask whether names are spellings of one preparation: of all at once, or of each by itself."""
    import json

    from survivor.proposing.answering import is_yes, preparations

    groups = preparations(question)
    lines = [line for group in groups for line in group]
    also = {id(group): line for group in groups for line in group if line.key == "also"}
    for line in (line for line in lines if line.key in ("name", "also")):
        typer.echo(f"   {'' if line.key == 'name' else '   also: '}{line.value}")
    said = typer.prompt("   all right? y or n (then one by one)", default="", show_default=False).strip()
    if is_yes(said):
        return {line.place: line.value for line in lines}
    if not said:
        return {}
    right: list[str] = []
    for group in (group for group in groups if id(group) in also):
        name = next(json.loads(line.value) for line in group if line.key == "name")
        spelt = ", ".join(json.loads(also[id(group)].value))
        (right if _yes(f"{name}, also {spelt}: right?") else others).append(also[id(group)].value)
    if not right:  # every spelling is one of its own, as without an answer
        others.clear()
        return {}
    return {line.place: line.value for line in lines if line.key != "also" or line.value in right}


def _states(question: Question) -> dict[int, str]:
    """Ask what words mean: once for all spellings of one, and once for all that are written in doubt."""
    import json

    from survivor.proposing.answering import alike
    from survivor.settings.questions import offered

    given: dict[int, str] = {}
    for group in alike([part for part in question.parts if not part[0].is_head]):
        lines = group.lines
        if group.in_doubt and len(lines) > 1:
            if _yes(f"{group.words}: are these doubtful, neither alive nor dead until somebody looks again?"):
                given |= dict.fromkeys((line.place for line in lines), '"doubtful"')
                continue
            parts = [[line] for line in lines]
        else:
            parts = [list(lines)]
        for part in parts:
            cells = " + ".join(line.said.partition(":")[0] for line in part)
            typer.echo(f"   {', '.join(json.loads(line.key) for line in part)}   {cells}")
            if value := _offered(offered(part[0])):
                given |= dict.fromkeys((line.place for line in part), value)
    heads = [part[0].place for part in question.parts if part[0].is_head]
    return given | dict.fromkeys(heads if given else [], "")


def _offered(words: Sequence[str]) -> str:
    """Ask for one of several words, as TOML; nothing where it is left open."""
    import json

    typer.echo("   " + "  ".join(f"{number} {word}" for number, word in enumerate(words, start=1)))
    said = _number(len(words))
    return json.dumps(words[said - 1]) if said else ""


def _one(part: tuple[Line, ...], order: DateOrder) -> str:
    """Ask for one line: one of several, one of the words that its remark offers, or what fits its example."""
    from survivor.proposing.answering import is_yes, typed_as
    from survivor.settings.questions import EMPTY, offered

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
        return _offered(words)
    shown = f" [{line.value}]" if line.value != EMPTY else ""
    while typed := typer.prompt(
        f"   {line.key}{shown} ({line.said})", default="", show_default=False
    ).strip():
        if is_yes(typed) and line.value != EMPTY:
            return line.value
        answer = typed_as(line, typed, order)
        if answer.value:
            if answer.read_as:
                typer.echo(f"      {answer.read_as}")
            return answer.value
        typer.echo(f"   {answer.why}; or Enter to leave it open")
    return ""


def _number(most: int) -> int:
    """Ask for a number up to ``most``; 0 where the question is left open."""
    while True:
        said = typer.prompt("   number", default="", show_default=False).strip()
        if not said:
            return 0
        if said.isdigit() and 1 <= int(said) <= most:
            return int(said)
        typer.echo(f"   a number from 1 to {most}, or Enter to leave it open")
