"""The check of the records as text: what was read, what is wrong with it, how it was understood."""

from __future__ import annotations

import textwrap
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Final

import pandas as pd

from survivor.errors import SurvivorError, UnusableError
from survivor.files.headers import BY_STUDY_FILE
from survivor.records import Records
from survivor.records.accounts import HEADINGS, Kind, following_words, kinds_of, number_by, records_read
from survivor.records.words import foreign, of_words
from survivor.vocabulary import Severity
from survivor.words import counted, first_few, full_stop, sentence, typed

# A page of screen, unless every problem is asked for.
_PAGE_LINES, _PAGE_WIDTH = 40, 80


@dataclass(frozen=True)
class _Detail:
    """How much is shown: kinds of problems in full, rows named for each, names of a list."""

    kinds: int
    rows: int
    names: int


# From much to little: the first that fits a page is shown.
_DETAILS: Final = (
    _Detail(8, 3, 12), _Detail(8, 2, 12), _Detail(8, 1, 12), _Detail(6, 1, 12), _Detail(5, 1, 8),
    _Detail(4, 1, 8), _Detail(3, 1, 6), _Detail(3, 1, 4), _Detail(2, 1, 4), _Detail(1, 1, 4),
    _Detail(1, 1, 2), _Detail(0, 0, 2),
)  # fmt: skip
UNKNOWN_WORD = "unknown-state"


def lines_of_check(records: Records, name: str, *, every: bool, below: str = "") -> list[str]:
    """Say what was read, every kind of problem with its mend, worst first, and how columns were understood.

    Parameters
    ----------
    records
        As read.
    name
        Of the study.
    every
        Name every row, not only the first few, and also what may follow from another problem. Without it
        all fits a page of screen.
    below
        What is printed below, on the same page.
    """
    if every:
        most = len(records.problems)
        return list(_lines(records, name, _Detail(most, most, most), every=True))
    room = _PAGE_LINES - screen_lines(below)
    lines: list[str] = []
    for detail in _DETAILS:
        lines = list(_lines(records, name, detail, every=False))
        if sum(map(screen_lines, lines)) <= room:
            break
    return lines


def screen_lines(text: str) -> int:
    """Count the lines that a text takes on a screen of 80 columns."""
    return sum(len(textwrap.wrap(line, _PAGE_WIDTH)) or 1 for line in text.split("\n")) if text else 0


def _lines(records: Records, name: str, detail: _Detail, *, every: bool) -> Iterator[str]:
    yield f"{name}: {counted(records_read(records.accounts), 'record')} read"
    yield from _fates(records.accounts, every)
    yield from _plants(records.plants)
    problems = records.problems if every else records.first_problems
    room = detail.kinds
    for severity, heading in HEADINGS.items():
        kinds = kinds_of(problems, severity)
        yield from _of_severity(kinds, heading, replace(detail, kinds=room), every)
        room = max(0, room - len(kinds))
    if len(records.problems) > len(problems):
        yield full_stop(following_words(records.problems, problems) + "; --all lists them")
    yield from _rules(records.rules, detail.names)
    yield "\n" + _matched(records.matches, every, detail.names)


def next_step(
    nothing: SurvivorError | None, stops: int, looks: int, study: Path, unreadable: Sequence[str] = ()
) -> str:
    """Say what comes next; the causes themselves are listed above.

    ``unreadable``: files of rain or weather, each of which one of the ``stops`` is about.
    """
    lead = f"{sentence(nothing.what)}\n" if nothing is not None else ""
    if nothing is not None and not isinstance(nothing, UnusableError):
        return f"{lead}Next: {nothing.mend}: {typed('survivor', 'check', study)}"
    if not stops:
        look = f" {counted(looks, 'problem')} to look at first, under 'Please look'." if looks else ""
        return f"Nothing stops the answer.{look} Next: {typed('survivor', 'report', study)}"
    mend = (
        f"{lead}Next: correct the {counted(stops, 'problem')} under 'Correct these first', in your sheets or "
        f"in the study file, then run {typed('survivor', 'check', study)} again.\n"
        f"Your sheets with those cells marked: {typed('survivor', 'check', study, '--xlsx', 'FILE')}"
    )
    if nothing is not None:
        return mend
    others = stops - len(unreadable)
    aside = "that problem" if others == 1 else f"those {others:,} problems"
    without = [f"the records of {aside}"] * bool(others) + [first_few(unreadable, 3)] * bool(unreadable)
    report = typed("survivor", "report", study)
    return f"{mend}\nWithout {' and '.join(without)}, the rest can be analysed: {report}"


def _fates(accounts: pd.DataFrame, every: bool) -> Iterator[str]:
    """How many records were used, and why the others were not."""
    called = {
        "used": "used",
        "excluded": "excluded until corrected",
        "listed": "that tell nothing more",
    }
    numbers = number_by(accounts)
    if not every:
        yield "  " + "; ".join(
            f"{numbers[fate]:,} {word}" for fate, word in called.items() if fate in numbers
        )
        return
    for fate, words in called.items():
        of_fate = accounts[accounts["fate"] == fate]
        if of_fate.empty:
            continue
        yield f"  {records_read(of_fate):,} {words}{'' if fate == 'used' else ':'}"
        if fate != "used":
            for reason, number in _most_first(number_by(of_fate, "reason")).items():
                yield f"    {number:,}: {reason}"


def _most_first(numbers: pd.Series[int]) -> pd.Series[int]:
    return numbers.sort_values(ascending=False, kind="stable")


def _plants(plants: pd.DataFrame) -> Iterator[str]:
    """Say how many plants the records tell of, and how many of them were put in for others."""
    first, later = int(plants["first_plants"].sum()), int(plants["replants"].sum())
    if first and later:
        yield f"  plants: {first + later:,} put in, {first:,} first plants and {counted(later, 'replant')}"
    elif first:
        yield f"  plants: {first:,} put in, no replant among them"


def _of_severity(kinds: list[Kind], heading: str, detail: _Detail, every: bool) -> Iterator[str]:
    """Each kind of problem once: what it is, where, and what to do; where there is no room, by its name."""
    if not kinds:
        return
    number = sum(len(kind.spots) for kind in kinds)
    named = "" if every or kinds[0].severity != Severity.NOTE else "; see --all"
    yield f"\n{heading} ({counted(number, 'problem')} of {counted(len(kinds), 'kind')}{named})"
    if kinds[0].severity == Severity.NOTE and not every:
        yield f"  {first_few(map(_in_short, kinds), detail.names)}"
        return
    room = detail.kinds
    for kind in kinds[:room]:
        yield from _kind(kind, len(kind.spots) if every else detail.rows, detail.names)
    if kinds[room:]:
        yield f"  {first_few(map(_in_short, kinds[room:]), detail.names)}: --all says what each is"


def _in_short(kind: Kind) -> str:
    return f"{kind.code} ({len(kind.spots):,})"


def _times(kind: Kind) -> str:
    return f", {len(kind.spots):,} times" if len(kind.spots) > 1 else ""


def _kind(kind: Kind, most: int, words: int) -> Iterator[str]:
    """One kind of problem: what it is, the first few rows, and what to do about them."""
    number = len(kind.spots)
    more = f"{number - most:,} more: --all shows them"
    where = f" ({kind.where})" if kind.where and number > 1 else ""
    if kind.code == UNKNOWN_WORD and number > 1 and most < number:
        yield from _words(kind, words)
        return
    if kind.what:
        others = [f"and {more}"] if number > most else []
        sheet = f"{kind.where}: " if len(kind.sheets) == 1 else ""
        spots = sheet + "; ".join([*kind.spots[:most], *others])
        yield f"  {kind.code}{_times(kind)}: {full_stop(kind.what)} {spots}"
    elif number == 1:
        yield f"  {kind.code}: {kind.spots[0]}"
    else:
        yield f"  {kind.code}{_times(kind)}{where}:"
        for place in kind.spots[:most]:
            yield f"    {place}"
        if number > most:
            yield f"    ... and {more}"
    for mend in dict.fromkeys(kind.mends[:most]):
        yield f"    What to do: {mend}"


def _words(kind: Kind, most: int) -> Iterator[str]:
    """Words that nobody has explained, each once, with its number of cells."""
    often = Counter(kind.values)
    listed = first_few([f"{word} ({counted(n, 'cell')})" for word, n in often.most_common()], most)
    cells = counted(len(kind.spots), "cell")
    yield f"  {kind.code}, {cells}: {counted(len(often), 'word')} not known: {listed}."
    yield (
        "    What to do: say once for all sheets what each means, in the study file under [records.states] "
        "(survivor new STUDY --ask asks; check --write-matches writes the lines to fill in)"
    )


def _rules(rules: pd.DataFrame, most: int) -> Iterator[str]:
    """Say what the study file allows to be mended, and how many records it touched."""
    if rules.empty:
        return
    yield "\nCorrected or read by a rule of the study file:"
    for row in rules.head(most).to_dict("records"):
        yield f"  {row['rule']}: {row['what']}, {counted(row['records'], 'record')}"
    if len(rules) > most:
        yield f"  and {counted(len(rules) - most, 'rule')} more: --all lists them"


def _matched(matches: pd.DataFrame, every: bool, most: int) -> str:
    """Show what columns and words were taken for: together, or one by one."""
    own = foreign(matches).astype(str)
    if every:
        lead = (
            "Columns as understood (correct them in the study file where wrong; --write-matches saves them):"
        )
        lines = [
            f"  {row['file']}{', sheet ' + row['sheet'] if row['sheet'] else ''}: {row['header']!r} -> "
            f"{row['column'] or 'not used'} ({row['how']})"
            for row in own.to_dict("records")
        ]
        return "\n".join([lead, *lines])
    words = of_words(own)
    columns = own[~words & (own["header"] != "")]
    told = columns[columns["how"] == BY_STUDY_FILE]
    sheets = len(told[["file", "sheet"]].drop_duplicates())
    lines = []
    if sheets:
        lines.append(
            f"  as the study file says: {counted(len(told), 'column')} of {counted(sheets, 'sheet')}"
        )
    guessed = columns[(columns["how"] != BY_STUDY_FILE) & (columns["column"] != "")]
    pairs = dict.fromkeys(f"{row.header!r} -> {row.column} ({row.how})" for row in guessed.itertuples())
    lines += [f"  {first_few(pairs, most)}"] * bool(pairs)
    meant: dict[str, dict[str, None]] = {}
    for header, ours in own.loc[words & (own["column"] != ""), ["header", "column"]].to_numpy():
        meant.setdefault(ours, {})[header.rpartition(": ")[2]] = None
    listed = "; ".join(f"{first_few(theirs, most)} -> {ours}" for ours, theirs in meant.items())
    lines += [f"  words: {listed}"] * bool(meant)
    unused = dict.fromkeys(map(repr, columns.loc[columns["column"] == "", "header"]))
    lines += [f"  not used: {first_few(unused, most)}"] if unused else []
    return "\n".join(["Columns as understood (--all lists them; --write-matches saves them):", *lines])
