"""A study file proposed from the sheets of a folder: what each seems to be, to be looked through."""

from __future__ import annotations

import re
from collections.abc import Collection, Iterable, Iterator, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Final

import pandas as pd

from survivor.errors import RecordsError, StudyFileError
from survivor.files.cells import DateOrder
from survivor.files.headers import NOT_USED, match_columns, squeezed
from survivor.files.kinds import TEXT_ENDINGS, WORKBOOK_ENDINGS
from survivor.files.looks import looks_told
from survivor.files.sheets import (
    Grid,
    Whole,
    as_text,
    hidden_sheets,
    read_whole,
    sheet_names,
)
from survivor.progress import counted_off
from survivor.records.copies import copies
from survivor.records.days_told import days_elsewhere
from survivor.records.grouping import with_groups_told
from survivor.records.guess import Guess
from survivor.records.guessing import guess_table, with_days
from survivor.records.sheet_days import first_planting
from survivor.records.states_met import states_met
from survivor.records.tables import Part, tables_of
from survivor.records.titles import site_of
from survivor.records.work_names import DIARY_WORDS, is_known, work_name
from survivor.settings import STUDY_FILE
from survivor.settings.questions import MARK, Rank, quoted
from survivor.settings.questions import asked as question
from survivor.words import counted

_RAIN: Final = frozenset({"rain", "rainmm", "rainfall", "rainfallmm", "rainfallamountmillimetres"})
_MONTH: Final = r"(?:jan|feb|mar|apr|may|jun|jul|aug|sep|oct|nov|dec)[a-z]*"
_WAYS: Final[dict[DateOrder, re.Pattern[str]]] = {
    "day-first": re.compile(rf"\b\d{{1,2}}(?:st|nd|rd|th)? (?:of )?{_MONTH}\b", re.IGNORECASE),
    "month-first": re.compile(rf"\b{_MONTH} \d{{1,2}}(?:(?:st|nd|rd|th)\b|,? 20\d\d)", re.IGNORECASE),
}
_MOST_SHEETS, _MOST_HEADERS = 3, 8  # that a refusal speaks of
_FEW: Final = 2  # cells of a row that is no record


def propose_study(folder: Path, beside: Collection[tuple[str, str]] = ()) -> str:
    """Propose a study file for the sheets of a folder.

    Parameters
    ----------
    folder
        Holds at least one sheet.
    beside
        File and sheet of what is known to hold no records, such as rain.

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
    parts, remarks = _parts(folder, beside)
    guesses = _guesses(parts, remarks)
    visits = _visits(guesses)
    if not visits:
        raise StudyFileError(
            "no sheet here seems to hold visits: none has a column for the plot and one for the state of "
            "seedlings or the number alive" + "".join(f"; {own}" for own in (*_lacking(guesses), *remarks)),
            where=str(folder),
            mend="head the columns Site, Plot, Prep, Tag and the days of the visits, or Planted and Alive; "
            "`survivor demo DIR` writes examples",
        )
    older = copies(visits)
    visits = [guess for guess in visits if id(guess) not in older]
    visits = _with_sites(visits)
    diaries = {id(guess.part): own for guess in guesses if (own := _as_diary(guess)) is not None}
    guesses = [diaries.get(id(guess.part), guess) for guess in guesses]
    plots = [guess for guess in guesses if guess.role == "plots" and id(guess.part) not in diaries][:1]
    visits = [_of_known_sites(guess, plots) for guess in visits]
    visits = _with_preparations(visits, plots)
    visits = _with_groups(visits, plots)
    visits = _with_days(visits, [*plots, *(guess for guess in guesses if guess.role == "other")])
    visits = [replace(own, grid=_looks_told(folder, own)) for own in visits]
    text = _written(folder, guesses, visits, plots, remarks, older)
    works = [
        _table("works.diary", "[works.diary]   # what was done, where and when", d) for d in diaries.values()
    ]
    return "\n".join([text, *works[0]]) if works else text


def _looks_told(folder: Path, guess: Guess) -> Grid:
    return looks_told(folder / guess.sheet.file, guess.grid, guess.values, turned=guess.sheet.turned)


def _lacking(guesses: Sequence[Guess]) -> Iterator[str]:
    """Say of each sheet what was understood in it, and what it lacks to hold visits."""
    for guess in guesses[:_MOST_SHEETS]:
        grid, matched = guess.grid, guess.matched
        known = [f"{grid.header[at[0]]!r} is the {word}" for word, at in matched.positions.items()]
        lacks = [word for word in ("plot", "method") if not matched.has(word)]
        lacks += ["tag and its states, or a number alive at each visit"]
        others = [repr(head) for head in grid.header if head and head not in " ".join(known)]
        yield (
            f"{grid.place}: {', '.join(known) or 'no header is known'}; no {', no '.join(lacks)}"
            + (f", which one of {', '.join(others[:_MOST_HEADERS])} may be" if others else "")
        )


def _as_diary(guess: Guess) -> Guess | None:
    """Read a table as a works diary, where a column tells works that are known, and one their day."""
    if guess.holds_visits:
        return None
    words = tuple(DIARY_WORDS)
    matched = match_columns(guess.grid, {}, words, DIARY_WORDS, key="works.diary", lenient=words[6:])
    if not (matched.has("work") and matched.has("date")):
        return None
    own = replace(guess, matched=matched, role="other", fill_down=())
    works = [work for work in own.texts_of("work").unique() if work]
    known = sum(is_known(work_name(work, {})) for work in works)
    return own if 2 * known >= len(works) > 0 else None


def _parts(folder: Path, beside: Collection[tuple[str, str]]) -> tuple[list[Part], list[str]]:
    """Read every table of every sheet; and remarks on those that cannot be read."""
    parts: list[Part] = []
    remarks: list[str] = []
    for file in sorted(folder.iterdir()):
        if file.suffix.lower() not in TEXT_ENDINGS + WORKBOOK_ENDINGS or file.name.startswith(("~$", ".")):
            continue
        try:
            names = sheet_names(file)
            remarks += [
                f"Not used: {file.name}, sheet {name}, which is hidden in the workbook"
                for name in hidden_sheets(file)
            ]
        except RecordsError as fault:
            remarks.append(f"{file.name} was not understood: {fault.what}")
            continue
        for name in names:
            if (file.name, name if len(names) > 1 else "") in beside:
                continue
            try:
                whole = read_whole(file, name=file.name, sheet=name or None)
                alone = len(names) == 1
                parts += tables_of(whole, None if alone else name, file.stem if alone else name)
            except RecordsError as fault:
                place = f"{file.name}, sheet {name}" if name else file.name
                remarks.append(f"{place} was not understood: {fault.what}")
    return parts, remarks


def _guesses(parts: Sequence[Part], remarks: list[str]) -> list[Guess]:
    guesses: list[Guess] = []
    for part in counted_off(parts, "table"):
        # A name or a title may tell the site where a workbook has several sheets, or a sheet several tables.
        several = part.sheet is not None or part.area is not None
        try:
            guesses.append(guess_table(part, several))
        except RecordsError as fault:
            whole = part.whole
            place = f"{whole.file}, sheet {whole.sheet}" if whole.sheet else whole.file
            remarks.append(f"{place} was not understood: {fault.what}")
    orders: set[DateOrder] = {guess.order for guess in guesses if guess.order is not None} or _habit(parts)
    # What the other sheets of the folder tell holds for one that tells nothing.
    order = orders.pop() if len(orders) == 1 else None
    first = _first_planted(guesses)
    if order is None and first is None:
        return guesses
    return [
        guess_table(guess.part, guess.part.sheet is not None or guess.part.area is not None, order, first)
        if guess.asked or any(visit.day is None and visit.date is None for visit in guess.visits)
        else guess
        for guess in guesses
    ]


def _first_planted(guesses: Sequence[Guess]) -> pd.Timestamp | None:
    days = [
        first_planting(guess.grid, guess.matched, guess.order, guess.every_row.get("planted_date"))
        for guess in guesses
    ]
    return min((day for day in days if day is not None), default=None)


def _habit(parts: Sequence[Part]) -> set[DateOrder]:
    """Order in which the crew writes days whose month is a word: 13 October, or October 13th."""
    texts = {
        text for part in parts for column in part.whole.rows for text in map(as_text, part.whole.rows[column])
    }
    return {order for order, way in _WAYS.items() if any(way.search(text) for text in texts)}


def _visits(guesses: Sequence[Guess]) -> list[Guess]:
    """Sheets of visits of one kind; seedlings go before counts."""
    tagged = [guess for guess in guesses if guess.role == "tagged"]
    return tagged or [guess for guess in guesses if guess.role == "counts"]


def _with_sites(visits: Sequence[Guess]) -> list[Guess]:
    """Name the site of each of several files by its title or its name, where no column tells it."""
    without = [g for g in visits if not g.matched.has("site") and "site" not in g.every_row]
    if len(visits) < 2 or len(without) != len(visits) or any("visit" in g.every_row for g in visits):
        return list(visits)
    stems = [guess.part.name for guess in visits]
    if len(set(stems)) < len(stems):
        return list(visits)
    shared = _shared_words(stems)
    named = []
    for guess, stem in zip(visits, stems, strict=True):
        own = " ".join(word for word in re.split(r"[\s_]+", stem) if word.casefold() not in shared)
        site = site_of(guess, several=True, own=own or stem)
        named.append(replace(guess, every_row={**guess.every_row, **({"site": site} if site else {})}))
    sites = [guess.every_row.get("site") for guess in named]
    return named if len(set(sites)) == len(sites) else list(visits)


def _with_preparations(visits: Sequence[Guess], plots: Sequence[Guess]) -> list[Guess]:
    """Take the names of sheets for preparations where a column tells the site and none the preparation."""
    names = [guess.part.name.strip() for guess in visits]
    of_sites = all(guess.matched.has("site") for guess in visits)
    told = any(guess.matched.has("method") or "method" in guess.every_row for guess in (*visits, *plots))
    of_visits = any({"visit", "date"} & guess.every_row.keys() for guess in visits)
    if len(visits) < 2 or len(set(names)) < len(names) or not of_sites or told or of_visits:
        return list(visits)
    return [
        replace(guess, every_row={**guess.every_row, "method": name})
        for guess, name in zip(visits, names, strict=True)
    ]


def _with_groups(visits: Sequence[Guess], plots: Sequence[Guess]) -> list[Guess]:
    """Look for a column of sites, and of preparations, where nothing else in the folder tells them."""
    told = {
        word
        for word in ("site", "method")
        if any(own.matched.has(word) for own in (*visits, *plots))
        or len({own.every_row[word] for own in visits if word in own.every_row}) > 1
    }
    return [with_groups_told(guess, told) for guess in visits]


def _of_known_sites(guess: Guess, plots: Sequence[Guess]) -> Guess:
    """Take the name of a sheet for a site only where the sheet of plots, if it tells sites, knows it."""
    sites = {squeezed(site) for own in plots if own.matched.has("site") for site in own.texts_of("site")}
    if not sites or squeezed(guess.every_row.get("site", "")) in sites:
        return guess
    return replace(guess, every_row={word: own for word, own in guess.every_row.items() if word != "site"})


def _shared_words(names: Sequence[str]) -> set[str]:
    words = [{word.casefold() for word in re.split(r"[\s_]+", name)} for name in names]
    return set.intersection(*words)


def _with_days(visits: Sequence[Guess], others: Sequence[Guess]) -> list[Guess]:
    """Give visits, and plantings, the days that stand on another sheet or beside the table."""
    sites = _sites([*visits, *others])
    orders = {guess.order for guess in (*visits, *others)} - {None}
    shared = orders.pop() if len(orders) == 1 else None
    told: dict[str, dict[str, str]] = {}
    for guess in others:
        if guess.role == "other":
            for name, days in days_elsewhere(guess.part.whole, sites, guess.order or shared).items():
                told.setdefault(name, {}).update(days)
    out = []
    for guess in visits:
        own = days_elsewhere(_beside(guess), sites, guess.order or shared)
        out.append(with_days(guess, {**told, **own}))
    return out


def _beside(guess: Guess) -> Whole:
    """Leave the records out of a sheet: its titles, and rows of few cells below."""
    whole = guess.part.whole
    filled = (whole.rows.map(as_text) != "").sum(axis=1)
    return replace(whole, rows=whole.rows[filled <= _FEW])


def _sites(guesses: Iterable[Guess]) -> list[str]:
    named: dict[str, None] = {}
    for guess in guesses:
        if guess.matched.has("site") or "site" in guess.every_row:
            named |= dict.fromkeys(site for site in guess.texts_of("site").unique() if site)
    return list(named)


# ---- written down -----------------------------------------------------------------------


def _written(
    folder: Path,
    guesses: Sequence[Guess],
    visits: Sequence[Guess],
    plots: Sequence[Guess],
    remarks: Sequence[str],
    older: dict[int, Guess],
) -> str:
    compared = any(guess.matched.has("method") or "method" in guess.every_row for guess in (*visits, *plots))
    wide = any(guess.visits for guess in visits)
    planted_told = any(guess.matched.has("planted") for guess in (*visits, *plots)) or any(
        visit.planted is not None for guess in visits for visit in guess.visits
    )
    lines = [
        "[study]",
        f"name = {quoted(folder.resolve().name)}",
        'purpose = "compare preparations"'
        if compared
        else 'purpose = "check a target"   # no column of methods',
        '# as_of = "2024-09-30"   # the day on which the records were closed',
        "",
        "[records]",
        f'kind = "{visits[0].role}"',
        *(['shape = "wide"'] if wide else []),
    ]
    used = {id(guess.part) for guess in (*plots, *visits)}
    used |= {id(guess.part) for guess in guesses if guess.matched.has("work")}
    unused = [guess for guess in guesses if id(guess.part) not in used]
    left_out = [_named(guess) for guess in unused if _may_stay_out(guess, visits, older)]
    if left_out:
        lines.append(f"not_read = [{', '.join(map(quoted, dict.fromkeys(left_out)))}]   # why: see the end")
    lines += ["", *_copies(guesses, older)]
    of_their_own = len(visits) > 1
    shared = _shared(visits) if of_their_own else []
    if shared:
        lines += ["[records.columns]   # in all sheets of visits", *shared, ""]
    for guess in plots:
        lines += _table("records.plots", "[records.plots]", guess)
    # A key on a sheet of its own holds for all; one beside a table for that sheet.
    keys = [text for guess in guesses if guess.role == "other" for text in guess.texts]
    for guess in visits:
        if guess.counted != "alive" and not planted_told:
            guess = replace(guess, counted="alive")  # nothing can be reckoned from it: it is refused
        lines += _table("records.sheets", "[[records.sheets]]", guess, shared)
        if guess.role == "tagged":
            lines += _words(guess, (*guess.titles, *guess.texts, *keys))
        if guess.visits:
            lines += _wide(guess, "records.sheets.visits" if of_their_own else "records.visits")
    lines += [f"# Not used: {_why_not(guess, older)}" for guess in unused]
    lines += [f"# {' '.join(remark.split())}" for remark in remarks]
    return "\n".join(lines).rstrip() + "\n"


def _named(guess: Guess) -> str:
    return guess.sheet.sheet or guess.sheet.file


def _may_stay_out(guess: Guess, visits: Sequence[Guess], older: dict[int, Guess]) -> bool:
    """Tell whether a table with plots or seedlings is a summary of those that are read."""
    if id(guess) in older:
        return False  # it is asked about
    read = {squeezed(plot) for own in visits for plot in own.texts_of("plot")}
    own_plots = {squeezed(plot) for plot in guess.texts_of("plot")}
    return visits[0].role == "tagged" and guess.role == "counts" and bool(read & own_plots)


def _copies(guesses: Sequence[Guess], older: dict[int, Guess]) -> list[str]:
    """Ask which of two sheets with the same plants is read."""
    lines: dict[str, None] = {}
    for guess in (guess for guess in guesses if id(guess) in older):
        other = older[id(guess)]
        apart = guess.sheet.file != other.sheet.file
        own, whole = (one.sheet.file if apart else _named(one) for one in (guess, other))
        instead = f"in place of {whole}"
        lines |= dict.fromkeys(
            [
                f'{quoted(own)} = "not read"   # {whole} alone is read: {_size(other)}',
                f"{quoted(own)} = {quoted(instead)}   # {_size(guess)}: if it is the newer one",
            ]
        )
    if not lines:
        return []
    text = (
        "these hold the same plants as another sheet, with the same states as far as they go. Which is read? "
        "Without an answer the copy is not."
    )
    return ["[records.copies]", *question(Rank.COPIES, text, list(lines)), ""]


def _size(guess: Guess) -> str:
    when = f", {counted(len(guess.visits), 'visit')}" if guess.visits else ""
    return counted(len(guess.grid.cells), "row") + when


def _shared(visits: Sequence[Guess]) -> list[str]:
    """Lines on columns that are the same in all sheets of visits: written once."""
    first, *others = ([line for line in _columns(guess) if not line.startswith("#")] for guess in visits)
    return [line for line in first if all(line in other for other in others)]


def _table(name: str, head: str, guess: Guess, shared: Sequence[str] = ()) -> list[str]:
    columns = [line for line in _columns(guess) if line not in shared]
    lines = [head, *_cut(guess)]
    if any(line.startswith(MARK) or not line.startswith("#") for line in columns):
        lines += ["", f"[{name}.columns]"]
    lines += columns
    if guess.every_row or _day_untold(guess):
        lines += ["", f"[{name}.every_row]   # from the title or the name of the sheet"]
        lines += [f"{word} = {quoted(value)}" for word, value in guess.every_row.items()]
    if _day_untold(guess):
        lines += question(
            Rank.VISITS,
            "on which day was this visit? No column and no title tells it, and nothing is read without it.",
            ['date = ""   # year-month-day, such as 2022-05-31'],
        )
    if guess.planted_by_site:
        lines += ["", f"[{name}.planted_by_site]   # from a title, or another sheet"]
        lines += [f"{quoted(site)} = {quoted(day)}" for site, day in guess.planted_by_site.items()]
    return [*lines, ""]


def _day_untold(guess: Guess) -> bool:
    long = guess.holds_visits and not guess.visits
    return long and not guess.matched.has("date") and "date" not in guess.every_row


_LAID: Final = {
    "turned": "the plots lie across, and the visits down the side",
    "sections": "lines of one cell head the rows below them",
    "ticked": 'a mark in one of several columns tells the state: they are one, headed "State"',
}


def _cut(guess: Guess) -> list[str]:
    """Say where the table stands and how its cells are read."""
    sheet = guess.sheet
    lines = [f"file = {quoted(sheet.file)}"]
    if sheet.sheet is not None:
        lines.append(f"sheet = {quoted(sheet.sheet)}")
    if sheet.area is not None:
        lines.append(f"area = {quoted(sheet.area)}   # one of several tables of the sheet")
    lines += [f"{word} = true   # {meant}" for word, meant in _LAID.items() if getattr(sheet, word)]
    if sheet.skip_rows:
        lines.append(f"skip_rows = {sheet.skip_rows}")
    if sheet.header_rows != 1:
        lines.append(f"header_rows = {sheet.header_rows}")
    if guess.order is not None:
        lines.append(f'date_order = "{guess.order}"')
    elif guess.asked:
        lines += question(
            Rank.DATE_ORDER,
            "what does 3/4/2022 mean? No date of the sheet tells, and those that may be two days wait.",
            ['date_order = "day-first"   # 3 April', 'date_order = "month-first"   # 4 March'],
        )
    if guess.assumed:
        lines.append(f"assumed = [{', '.join(map(quoted, guess.assumed))}]")
    if guess.counted != "alive":
        lines.append(f'counted = "{guess.counted}"   # or one of: alive, alive per cent, dead to date, ...')
    if guess.fill_down:
        lines.append(f"fill_down = [{', '.join(map(quoted, guess.fill_down))}]   # a blank means as above")
    return lines


_WHICH: Final = {
    "site": (Rank.SITE, "all plots are of one site", "the site"),
    "method": (Rank.METHOD, "no preparations are compared", "the preparation"),
}


def _columns(guess: Guess) -> list[str]:
    table = guess.matched.table
    used = table[(table["how"] != NOT_USED) & (table["column"] != "")]
    headers: dict[str, list[str]] = {}
    for header, ours in zip(used["header"], used["column"], strict=True):
        headers.setdefault(_column_word(guess, ours), []).append(quoted(header))
    joined = {word: ", ".join(own) for word, own in headers.items()}
    lines = [
        f"{word} = {joined[word] if len(own) == 1 else f'[{joined[word]}]'}" for word, own in headers.items()
    ]
    if guess.holds_visits and not guess.matched.has("plot"):
        parts = [word for word in ("block", "method") if guess.matched.has(word)]
        parts_of_plot = [guess.grid.header[guess.matched.positions[word][0]] for word in parts]
        if parts_of_plot:
            lines.append(
                f"plot = [{', '.join(map(quoted, parts_of_plot))}]   # no column tells the plot: is it these?"
            )
    for word, places in guess.may_be.items():
        rank, text, called = _WHICH[word]
        lines += question(
            rank,
            f"which column tells {called}? None is headed so. Without an answer {text}.",
            [f"{word} = {quoted(guess.grid.header[place])}" for place in places],
        )
    days = {guess.grid.header[p] for visit in guess.visits for p in set(visit.places) - set(visit.beside)}
    days |= {guess.grid.header[place] for place in guess.alone}
    other = [header for header in table.loc[table["column"] == "", "header"] if header and header not in days]
    return [*lines, "# not understood: " + ", ".join(map(quoted, other))] if other else lines


def _column_word(guess: Guess, word: str) -> str:
    """In a long sheet of dead, their column is the one that is counted."""
    dead = guess.role == "counts" and not guess.visits and not guess.matched.has("alive")
    return "alive" if dead and word == "dead" else word


def _words(guess: Guess, beside: Sequence[str]) -> list[str]:
    told, _ = states_met(guess, beside)
    if not told:
        return []
    lines = ["[records.sheets.states]   # as the key, or the sheet itself, tells"]
    return [*lines, *(f"{quoted(word)} = {quoted(state)}" for word, state in told.items()), ""]


def _wide(guess: Guess, table: str) -> list[str]:
    lines = []
    headers = guess.grid.header
    for visit in guess.visits:
        header = headers[visit.value]
        name = header if visit.species is None else _without(header, visit.species)
        lines += [f"[[{table}]]", f"name = {quoted(name)}", f"state = {quoted(header)}"]
        if visit.species is not None:
            lines.append(f"species = {quoted(visit.species)}")
        if visit.planted is not None:
            lines.append(f"planted = {quoted(headers[visit.planted])}")
        if visit.height is not None:
            lines.append(f"height = {quoted(headers[visit.height])}")
        if visit.cause is not None:
            lines.append(f"cause = {quoted(headers[visit.cause])}")
        if visit.date is not None:
            lines += [f"date_header = {quoted(headers[visit.date])}", ""]
            continue
        if (by_site := guess.days_by_site.get(visit.value)) is not None:
            pairs = ", ".join(f"{quoted(site)} = {quoted(day)}" for site, day in by_site.items())
            lines += [f"date_by_site = {{ {pairs} }}", ""]
            continue
        if visit.day:
            lines += [f'date = "{visit.day}"', ""]
            continue
        text = "on which days were the visits? Their headers do not tell, and nothing is read without them."
        line = f'date = ""   # {" ".join(name.split())}: year-month-day, such as 2022-05-31'
        lines += [*question(Rank.VISITS, text, [line]), ""]
    if guess.alone:
        named = ", ".join(quoted(headers[place]) for place in guess.alone)
        lines += [
            f"# Left out, heights of a day without one column of its own that tells what lived: {named}.",
            "# To read them, give the day its own [[records.visits]] with name, date and height,",
            "# and write under [rules]: measured_means_alive = true, if a plant that was measured was alive.",
            "",
        ]
    return lines


def _without(header: str, species: str) -> str:
    return re.sub(re.escape(species), "", header, flags=re.IGNORECASE).strip(" /-") or header


def _why_not(guess: Guess, older: dict[int, Guess]) -> str:
    place = " ".join(guess.grid.place.split())
    if id(guess) in older:
        return f"{place}: an older copy of {older[id(guess)].grid.place}, it seems"
    if {squeezed(header) for header in guess.grid.header} & _RAIN:
        return f"{place}: rain, it seems; see [[gauges]] in the data dictionary of survivor demo"
    if guess.role == "other":
        return f"{place}: neither visits nor plots, it seems"
    called = {"tagged": "seedlings", "counts": "counts of plots", "plots": "plots"}
    return f"{place}: {called[guess.role]}, it seems; one kind of sheets is read"
