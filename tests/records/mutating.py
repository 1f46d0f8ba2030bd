"""One slip in a sheet at a time: what it changes in the answer, and whether a problem names its cell.

``python -m tests.records.mutations`` makes thousands of them and writes the shares.
"""

from __future__ import annotations

import datetime as dt
import random
import resource
import tempfile
import time
from collections import Counter
from collections.abc import Iterable, Iterator
from functools import cache
from pathlib import Path
from typing import NamedTuple

from survivor.errors import SurvivorError
from survivor.records import Records, read_records
from survivor.settings import read_settings
from tests.records.sheetfiles import as_csv, as_ods, as_xlsx

Rows = list[list[str]]

SECONDS, MEGABYTES = 5.0, 500
KINDS = ("tagged", "counts")
FORMS = {".csv": as_csv, ".xlsx": as_xlsx, ".ods": as_ods}
PLANTED = dt.date(2022, 6, 1)
VISITS = (40, 150, 300, 372)
METHODS = ("spray only", "spray and rip", "spray and auger", "mulch mat")
SPECIES = ("blackwood", "drooping sheoak", "river red gum")
SITES = ("Tarn Hollow", "Rise", "Long Flat")
STUDY = """
[study]
name = "Slips"
purpose = "compare preparations"
as_of = "2023-12-31"
[records]
kind = "{kind}"
[[records.sheets]]
file = "visits{ending}"
{rules}
[design]
usual_practice = "spray only"
"""
ODD = [
    " ", "?", "-", "x", "n/a", "85%", "0.85", "-5", "1e9", "1e400", "0012", "12.0", "03/04/2022", "44652",
    "2022-13-45", "TRUE", "NaN", "inf", "é", "\x1b[31m", "=1+1", "#N/A", "\u202eabc", "a" * 300, "1,5",
    "2032-01-01", "1999-01-01", "9999-12-31", "dead", "NF", "0", "infill", "<b>", "|", "see notes",
]  # fmt: skip


class Slip(NamedTuple):
    """What was changed: in which row of the file (1 is the header; 0 is all), under which headers."""

    how: str
    row: int
    headers: tuple[str, ...]
    was: str
    became: str


class Outcome(NamedTuple):
    """What became of one mutated sheet: "same", "refused", "cell", "row", "column", "elsewhere", "silent"."""

    kind: str
    slip: Slip
    seen: str
    seconds: float


@cache
def base(kind: str) -> Rows:
    """A season as it could be: plots that differ, seedlings that die, heights that grow."""
    drawn = random.Random(11)
    rows: Rows = []
    plots = [(site, f"P{number + 1}", method) for site in SITES for number, method in enumerate(METHODS * 2)]
    for site, plot, method in plots:
        fixed = [
            site,
            plot,
            method,
            f"{drawn.choice((0.4, 0.45, 0.5, 0.6))}",
            f"{drawn.choice(('loam', 'clay'))}",
            str(PLANTED),
        ]
        for tag in range(3 if kind == "tagged" else 1):
            dies, height, alive = drawn.randrange(9), drawn.randrange(20, 35), 50
            species = drawn.choice(SPECIES)
            for number, days in enumerate(VISITS):
                day = str(PLANTED + dt.timedelta(days=days + len(site) % 3))
                height += drawn.randrange(1, 12)
                alive -= drawn.randrange(0, 6)
                state = "dead" if number >= dies else "alive"
                if kind == "tagged":
                    cause = drawn.choice(("browsing", "drought", "")) if number == dies else ""
                    tall = str(height) if state == "alive" else ""
                    own = [f"{site[0]}{plot}-{tag}", species, str(number + 1), day, state, tall, cause]
                else:
                    own = ["50", str(number + 1), day, str(alive), "0"]
                rows.append([*fixed, *own, f"observer {1 + number % 2}", ""])
    own = ["tag", "species", "visit", "date", "state", "height_cm", "cause"]
    own = own if kind == "tagged" else ["planted", "visit", "date", "alive", "infill"]
    return [
        [
            "site",
            "plot",
            "method",
            "weed_free_radius_m",
            "texture",
            "planted_date",
            *own,
            "observer",
            "notes",
        ],
        *rows,
    ]


def slipped(table: Rows, drawn: random.Random) -> tuple[Rows, Slip]:
    """Change one thing in a sheet as slips, tools and ill will do."""
    table = [list(row) for row in table]
    row, column = drawn.randrange(1, len(table)), drawn.randrange(len(table[0]) - 1)
    act = drawn.choices((slip_of_cell, slip_of_row, slip_of_column), (80, 10, 10))[0]
    return table, act(table, row, column, drawn)


def slip_of_cell(table: Rows, row: int, column: int, drawn: random.Random) -> Slip:
    how, was = drawn.choice(("another row's", "digit", "letter", "odd", "blank")), table[row][column]
    table[row][column] = cell(was, how, [each[column] for each in table[1:]], drawn)
    return Slip(f"cell: {how}", row + 1, (table[0][column],), was, table[row][column])


def slip_of_row(table: Rows, row: int, _: int, drawn: random.Random) -> Slip:
    how, was = drawn.choice(("again", "drop", "blank row", "shift")), "|".join(table[row])
    at = row + 1
    if how == "again":
        table.append(list(table[row]))
        at = len(table)
    elif how == "drop":
        del table[row]
    elif how == "blank row":
        table.insert(row, [""] * len(table[0]))
    else:
        table[row] = ["", *table[row][:-1]]
    return Slip(f"row: {how}", at, tuple(table[0]), was, "")


def slip_of_column(table: Rows, row: int, column: int, drawn: random.Random) -> Slip:
    how = drawn.choice(("header slip", "no header", "gone", "swapped", "one word"))
    other = drawn.randrange(len(table[0]) - 1)
    header, was, became = table[0][column], table[row][column], ""
    headers = (header, table[0][other]) if how == "swapped" else (header,)
    if how == "header slip":
        became = table[0][column] = cell(header, "letter", [], drawn)
    elif how == "no header":
        table[0][column] = ""
    elif how == "gone":
        for each in table:
            del each[column]
    elif how == "swapped":
        for each in table[1:]:
            each[column], each[other] = each[other], each[column]
    else:
        became = drawn.choice(ODD)
        for each in table[1:]:
            each[column] = became
    return Slip(f"column: {how}", 0, headers, was, became)


def cell(was: str, how: str, others: Rows | list[str], drawn: random.Random) -> str:
    """Change one cell: to that of another row, by a digit, by a letter, to something odd, to nothing."""
    if how == "another row's":
        return str(drawn.choice(sorted(set(map(str, others)))))
    if how == "digit" and any(sign.isdigit() for sign in was):
        at = drawn.choice([place for place, sign in enumerate(was) if sign.isdigit()])
        new = drawn.choice(("", was[at] * 2, str(drawn.randrange(10)), was[at] + "."))
        return was[:at] + new + was[at + 1 :]
    if how in ("digit", "letter") and was:
        at = drawn.randrange(len(was))
        new = drawn.choice(("", was[at] * 2, was[at].swapcase(), drawn.choice("aeiost "), " " + was[at]))
        return was[:at] + new + was[at + 1 :]
    return drawn.choice(ODD) if how == "odd" else ""


def read(kind: str, table: Rows, ending: str) -> Records:
    rules = '[rules]\ntagged = "at planting"' if kind == "tagged" else ""
    with tempfile.TemporaryDirectory() as held:
        folder = Path(held)
        study = STUDY.format(kind=kind, ending=ending, rules=rules)
        (folder / "study.toml").write_text(study, encoding="utf-8")
        (folder / f"visits{ending}").write_bytes(FORMS[ending](table))
        return read_records(folder, read_settings(folder))


def answer(records: Records) -> str:
    """All that an analysis of the records reads of them, as one text."""
    held = []
    visits = records.visits
    if "cause" in visits:  # told of the dead only
        visits = visits.assign(cause=visits["cause"].where(visits["state"].astype(str) != "alive", ""))
    for frame, columns in (
        (records.intervals, list(records.intervals.columns)),
        (
            records.plots,
            ["site", "plot", "method", "planted_date", "planted", "weed_free_radius_m", "texture"],
        ),
        (visits, ["site", "plot", "tag", "day", "height_cm", "cause"]),
    ):
        there = frame[[column for column in columns if column in frame]].astype(str)
        held.append(there.sort_values(list(there.columns)).to_csv(index=False))
    return "\n".join(held)


def pointed(records: Records) -> Counter[tuple[str, str, str, str]]:
    """Every cell that a finding names: code, row, column, what is wrong."""
    found = records.findings
    return Counter(
        zip(
            found["code"],
            found["row"].astype(str),
            found["column"].astype(str),
            found["what"].astype(str),
            strict=True,
        )
    )


@cache
def of_base(kind: str) -> tuple[str, Counter[tuple[str, str, str, str]], frozenset[tuple[str, str]]]:
    records = read(kind, base(kind), ".csv")
    return answer(records), pointed(records), frozenset(matched(records))


def matched(records: Records) -> Iterator[tuple[str, str]]:
    return zip(records.matches["header"].astype(str), records.matches["column"].astype(str), strict=True)


def drawn_slip(kind: str, seed: int) -> tuple[Rows, Slip, str]:
    """Draw a mutated sheet, what its slip is, and the form that it is written in."""
    drawn = random.Random(f"{kind} {seed}")
    table, slip = slipped(base(kind), drawn)
    return table, slip, drawn.choices(list(FORMS), (8, 1, 1))[0]


def outcome(kind: str, seed: int) -> Outcome:
    """Make one mutated sheet, read it, and say what its slip came to."""
    table, slip, ending = drawn_slip(kind, seed)
    began = time.process_time()
    try:
        records = read(kind, table, ending)
    except SurvivorError as fault:
        if not (fault.what and fault.mend):
            raise
        return Outcome(kind, slip, "refused", time.process_time() - began)
    seconds = time.process_time() - began
    assert seconds < SECONDS
    rows = sum(any(value.strip() for value in row) for row in table[1:])
    assert records.accounts["row"].nunique() == rows, slip
    return Outcome(kind, slip, what_was_seen(kind, records, slip), seconds)


def what_was_seen(kind: str, records: Records, slip: Slip) -> str:
    was, known, matches = of_base(kind)
    if answer(records) == was:
        return "same"
    if named := where_named(pointed(records) - known, slip):
        return named
    return "matches" if slip.row == 0 and frozenset(matched(records)) != matches else "silent"


def where_named(new: Iterable[tuple[str, str, str, str]], slip: Slip) -> str:
    """Say what of a slip new problems (code, row, column, what is wrong) name; empty where there are none."""
    cells = {(row, column) for _, row, column, _ in new}
    if any(row == str(slip.row) and column in slip.headers for row, column in cells):
        return "cell"
    if any(row == str(slip.row) for row, _ in cells):
        return "row"
    if any(column in slip.headers for _, column in cells):
        return "column"
    return "elsewhere" if cells else ""


WHY = {
    "alive": "as many could have been alive",
    "height_cm": "the plant could have been as tall, or nobody measured it",
    "cause": "it could have died of that",
    "date": "the visit could have been on that day",
    "state": "it could have been in that state",
    "species": "it could have been of that species",
    "infill": "as many could have been planted later",
    "texture": "the ground could be of that texture",
    "weed_free_radius_m": "the patch could be as wide",
    "method": "the plot could have been prepared so",
    "planted": "as many could have been planted",
    "planted_date": "it could have been planted on that day",
}


WORDS = ("site", "plot", "species", "texture", "cause")  # any word can stand in them


def why(found: Outcome) -> str:
    """Say why a silent change cannot be seen; empty where it should have been."""
    how = found.slip.how
    if found.seen != "silent":
        return "another cell is named" if found.seen == "elsewhere" else "shown in the list of columns read"
    if how in ("column: gone", "column: no header", "column: header slip"):
        return "what is not there leaves no trace"
    if how == "row: drop":
        return "a record that is not there leaves no trace"
    if how == "column: swapped" and set(found.slip.headers) <= {*WORDS, "observer"}:
        return "either column could say what the other does"
    if how == "column: one word" and found.slip.headers[0] in (*WORDS, "height_cm"):
        return "every row could say so"
    if how in ("cell: another row's", "cell: digit", "cell: letter", "cell: blank", "cell: odd"):
        return WHY.get(found.slip.headers[0], "")
    return ""


def that_differ(number: int) -> tuple[int, ...]:
    """Of so many seeds those whose slip is the first under its header, in its form or to its odd text."""
    met: set[tuple[str, ...]] = set()
    seeds = []
    for seed in range(number):
        kind = KINDS[seed % 2]
        _, slip, ending = drawn_slip(kind, seed)
        own = {(kind, slip.how, header) for header in slip.headers} | {(slip.how, ending)}
        own |= {(slip.how, slip.became)} if slip.became in ODD else set()
        if not own <= met:
            seeds.append(seed)
            met |= own
    return tuple(seeds)


def many(seeds: Iterable[int]) -> tuple[Counter[str], list[Outcome]]:
    """Make mutated sheets: what was seen, and every change whose cell is not named."""
    seen: Counter[str] = Counter()
    unnamed = []
    for seed in seeds:
        found = outcome(KINDS[seed % 2], seed)
        seen[found.seen] += 1
        if found.seen in ("silent", "matches", "elsewhere"):
            unnamed.append(found)
    return seen, unnamed


def lines_of(seen: Counter[str], unnamed: list[Outcome]) -> Iterator[str]:
    """Say each change whose cell no problem names, with the reason; then the shares."""
    for found in sorted(unnamed, key=lambda each: (each.seen, each.kind, each.slip.how, each.slip.headers)):
        slip = found.slip
        change = f"{slip.was[:40]!r} to {slip.became[:40]!r}"
        where = f"row {slip.row}, {', '.join(slip.headers)[:40]}"
        yield f"{found.seen} | {found.kind} | {slip.how} | {where} | {change} | {why(found)}"
    changed = sum(seen.values()) - seen["same"] - seen["refused"]
    named = seen["cell"] + seen["row"] + seen["column"]
    memory = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024
    yield (
        f"{sum(seen.values())} sheets: {dict(seen)}; {changed} change the answer, of {named} "
        f"({100 * named / max(changed, 1):.1f} in 100) a problem names the cell, row or column; {memory} MB"
    )
