"""A study file proposed from the sheets of a folder: what each seems to be, to be looked through."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Final, Literal

import pandas as pd

from survivor.errors import RecordsError, StudyFileError
from survivor.records import cells
from survivor.records.matching import FORGIVING, NOT_USED, SAME_WORD, Matched, match_columns
from survivor.records.reading import TEXT_ENDINGS, WORKBOOK_ENDINGS, Grid, read_grid, sheet_names
from survivor.records.sheets import VISIT_WORDS
from survivor.records.visit_columns import VisitColumns, visit_columns
from survivor.records.words import COLUMN_WORDS, DATE_WORDS, PLOT_SHEET_WORDS, VISIT_SHEET_WORDS, squeezed
from survivor.settings import STUDY_FILE, Sheet

Role = Literal["tagged", "counts", "plots", "other"]

_LAYOUTS: Final = ((0, 1), (0, 2), (1, 1), (1, 2), (2, 1), (2, 2), (3, 1))  # rows above the header, of it
_FEWEST_VISITS: Final = 2
_RAIN: Final = frozenset({"rain", "rainmm", "rainfall", "rainfallmm", "rainfallamountmillimetres"})


@dataclass(frozen=True)
class _Guess:
    """What one sheet seems to be."""

    sheet: Sheet
    grid: Grid
    matched: Matched
    role: Role
    visits: tuple[VisitColumns, ...]  # of a wide sheet
    alone: tuple[int, ...]  # its columns of heights of no such visit
    order: cells.DateOrder
    asked: bool  # days that only the order tells, and nothing tells the order


def propose_study(folder: Path) -> str:
    """Propose a study file for the sheets of a folder.

    Parameters
    ----------
    folder
        Holds at least one sheet.

    Returns
    -------
    str
        A study file; what has to be decided by a person stands in it as a remark.

    Raises
    ------
    StudyFileError
        When there is a study file already, or no sheet with seedlings or plots.
    """
    try:
        known = folder.is_dir()
    except OSError:  # a name that no folder can have
        known = False
    if not known:
        raise StudyFileError(
            "there is no such folder", where=str(folder), mend="name the folder that holds your sheets"
        )
    if (folder / STUDY_FILE).exists():
        raise StudyFileError(
            f"{STUDY_FILE} is there already",
            where=str(folder),
            mend=f"survivor check {folder} says how its sheets are understood; --write-matches saves it",
        )
    files = sorted(folder.iterdir())
    files = [file for file in files if file.suffix.lower() in TEXT_ENDINGS + WORKBOOK_ENDINGS]
    guesses: list[_Guess] = []
    remarks: list[str] = []
    for file in files:
        if file.name.startswith(("~$", ".")):
            continue
        try:
            names = sheet_names(file)
            guesses += [_guess(file, name or None, len(names) > 1) for name in names]
        except RecordsError as fault:
            remarks.append(f"{file.name} was not understood: {fault.what}")
    visits = _visits(guesses)
    if not visits:
        raise StudyFileError(
            "no sheet here seems to hold visits: none has a column for the plot and one for the state of "
            "seedlings or the number alive" + (f" ({'; '.join(remarks)})" if remarks else ""),
            where=str(folder),
            mend="`survivor demo DIR` writes examples; `survivor new DIR` a blank study with its headers",
        )
    return _written(folder, guesses, visits, remarks)


def _visits(guesses: Sequence[_Guess]) -> list[_Guess]:
    """Sheets of visits of one kind and shape; seedlings go before counts."""
    for role in ("tagged", "counts"):
        found = [guess for guess in guesses if guess.role == role]
        long = [guess for guess in found if not guess.visits]
        if found:
            return long or found[:1]
    return []


def _guess(file: Path, name: str | None, several: bool) -> _Guess:
    best: tuple[int, _Guess] | None = None
    fault: RecordsError | None = None
    for skip, rows in _LAYOUTS:
        sheet = Sheet(file=file.name, sheet=name if several else None, skip_rows=skip, header_rows=rows)
        try:
            grid = read_grid(file, name=file.name, sheet=name, skip_rows=skip, header_rows=rows)
            score, guess = _as_read(grid, sheet)
        except RecordsError as error:
            fault = fault or error
            continue
        if best is None or score > best[0]:
            best = (score, guess)
    if best is None:
        assert fault is not None
        raise fault
    return best[1]


def _as_read(grid: Grid, sheet: Sheet) -> tuple[int, _Guess]:
    """Guess the role of a sheet read so, and score how much of it is understood."""
    visits, alone = visit_columns(grid.header)
    tagged, counts, plots = (
        _matched(grid, sheet, words)
        for words in (VISIT_SHEET_WORDS["tagged"], VISIT_SHEET_WORDS["counts"], PLOT_SHEET_WORDS)
    )
    wide = visits if len(visits) >= _FEWEST_VISITS else ()
    role: Role
    if tagged.has("tag") and (tagged.has("state") or wide):
        role, matched = "tagged", tagged
    elif counts.has("plot") and (counts.has("alive") or wide):
        role, matched = "counts", counts
    elif plots.has("plot") and (plots.has("method") or plots.has("planted_date") or plots.has("planted")):
        role, matched, wide = "plots", plots, ()
    else:
        role, matched, wide = "other", plots, ()
    if matched.has("state") or matched.has("alive"):
        wide = ()
    if wide:  # what a visit says stands in its own columns
        words = [word for word in VISIT_SHEET_WORDS[role] if word not in VISIT_WORDS]
        matched = _matched(grid, sheet, words)
    order, asked = _order(grid, matched)
    guess = _Guess(sheet, grid, matched, role, wide, alone if wide else (), order, asked)
    return len(matched.positions) + len(wide) - (role == "other"), guess


def _matched(grid: Grid, sheet: Sheet, words: Sequence[str]) -> Matched:
    """Match the columns; one headed Planted that holds days tells the planting date, not a number."""
    matched = match_columns(grid, sheet, words, key="records.sheets")
    if "planted_date" not in words or matched.has("planted_date"):
        return matched
    known = {squeezed(word) for word in ("planted", *COLUMN_WORDS["planted"])}
    dated = [p for p, header in enumerate(grid.header) if squeezed(header) in known and _days(grid.cells[p])]
    if len(dated) != 1:
        return matched
    table = matched.table.copy()
    table.loc[dated[0], ["column", "how"]] = ["planted_date", FORGIVING]
    others = {word: places for word, places in matched.positions.items() if dated[0] not in places}
    return replace(matched, positions={**others, "planted_date": (dated[0],)}, table=table)


def _days(column: pd.Series[Any]) -> bool:
    """Tell whether every filled cell of a column is a day, and not a number that could be one."""
    filled = column[cells.texts(column) != ""]
    if filled.empty or cells.numbers(filled)[0].notna().any():
        return False
    return any(cells.dates(filled, order)[0].notna().all() for order in ("day-first", "month-first"))


def _order(grid: Grid, matched: Matched) -> tuple[cells.DateOrder, bool]:
    """Order of day and month where some day can be read in one order only; else whether to ask for it."""
    columns = [grid.cells[place] for word in DATE_WORDS for place in matched.positions.get(word, ())]
    two_way = [column[cells.is_two_way(column)] for column in columns]
    if not any(len(column) for column in two_way):
        return None, False
    unread = {
        order: sum(int(cells.dates(column, order)[0].isna().sum()) for column in two_way)
        for order in ("day-first", "month-first")
    }
    if unread["day-first"] == 0 and unread["month-first"] > 0:
        return "day-first", False
    if unread["month-first"] == 0 and unread["day-first"] > 0:
        return "month-first", False
    return None, True


# ---- written down -----------------------------------------------------------------------


def _written(
    folder: Path, guesses: Sequence[_Guess], visits: Sequence[_Guess], remarks: Sequence[str]
) -> str:
    plots = [guess for guess in guesses if guess.role == "plots"][:1]
    compared = any(guess.matched.has("method") for guess in (*visits, *plots))
    wide = bool(visits[0].visits)
    lines = [
        "# Proposed by survivor from the sheets in this folder. Look it through: every line can be changed.",
        "# Lines that start with # are remarks. Next: survivor check " + folder.name,
        "",
        "[study]",
        f"name = {_text(folder.resolve().name)}",
        'purpose = "compare preparations"'
        if compared
        else 'purpose = "check a target"   # no column of methods',
        '# as_of = "2024-09-30"   # the day on which the records were closed',
        "",
        "[records]",
        f'kind = "{visits[0].role}"',
        *(['shape = "wide"'] if wide else []),
        "",
    ]
    for guess in plots:
        lines += _table("records.plots", "[records.plots]", guess)
    for guess in visits:
        lines += _table("records.sheets", "[[records.sheets]]", guess)
    if wide:
        lines += _wide(visits[0])
    lines += [
        "[rules]",
        '# tagged = "at planting"   # or "at first sighting": when the tags went in',
        '# planted_date = "2022-06-15"   # where no sheet gives the planting day',
        "",
        "# When does the dry season start and end (month-day)? Its rain is told by it.",
        "# [dry_season]",
        '# start = "12-01"',
        '# end = "03-31"',
        "",
    ]
    used = {id(guess) for guess in (*plots, *visits)}
    unused = [guess for guess in guesses if id(guess) not in used]
    lines += [f"# Not used: {_why_not(guess)}" for guess in unused]
    lines += [f"# {' '.join(remark.split())}" for remark in remarks]
    return "\n".join(lines).rstrip() + "\n"


def _table(name: str, head: str, guess: _Guess) -> list[str]:
    sheet = guess.sheet
    lines = [head, f"file = {_text(sheet.file)}"]
    if sheet.sheet is not None:
        lines.append(f"sheet = {_text(sheet.sheet)}")
    if sheet.skip_rows:
        lines.append(f"skip_rows = {sheet.skip_rows}")
    if sheet.header_rows != 1:
        lines.append(f"header_rows = {sheet.header_rows}")
    if guess.order is not None:
        lines.append(f'date_order = "{guess.order}"')
    elif guess.asked:
        lines.append(
            '# date_order = "day-first"   # or "month-first": the sheet does not tell, so you are asked'
        )
    table = guess.matched.table
    found = table[table["how"].isin([FORGIVING, SAME_WORD])]
    lines += ["", f"[{name}.columns]"]
    lines += [
        f"{ours} = {_text(header)}" for header, ours in zip(found["header"], found["column"], strict=True)
    ]
    days = {guess.grid.header[place] for visit in guess.visits for place in visit.places}
    days |= {guess.grid.header[place] for place in guess.alone}
    other = [
        header for header in table.loc[table["how"] == NOT_USED, "header"] if header and header not in days
    ]
    if other:
        lines.append("# not understood: " + ", ".join(map(_text, other)))
    return [*lines, ""]


def _wide(guess: _Guess) -> list[str]:
    lines = []
    headers = guess.grid.header
    for visit in guess.visits:
        header = headers[visit.value]
        lines += ["[[records.visits]]", f"name = {_text(header)}", f"state = {_text(header)}"]
        if visit.height is not None:
            lines.append(f"height = {_text(headers[visit.height])}")
        if visit.cause is not None:
            lines.append(f"cause = {_text(headers[visit.cause])}")
        asked = '# date = "2022-05-31"   # the header does not tell the day: put it here'
        lines += [f'date = "{visit.day}"' if visit.day else asked, ""]
    if guess.alone:
        named = ", ".join(_text(headers[place]) for place in guess.alone)
        lines += [
            f"# Left out, heights of a day without one column of its own that tells what lived: {named}.",
            "# To read them, give the day its own [[records.visits]] with name, date and height,",
            "# and write under [rules]: measured_means_alive = true, if a plant that was measured was alive.",
            "",
        ]
    return lines


def _why_not(guess: _Guess) -> str:
    place = " ".join(guess.grid.place.split())
    if {squeezed(header) for header in guess.grid.header} & _RAIN:
        return f"{place}: rain, it seems; see [[gauges]] in the data dictionary of survivor demo"
    if guess.role == "other":
        return f"{place}: neither visits nor plots, it seems"
    called = {"tagged": "seedlings", "counts": "counts of plots", "plots": "plots"}
    return f"{place}: {called[guess.role]}, it seems; one kind and shape of sheets is read"


def _text(text: str) -> str:
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")
