"""Slips in study, plan, guideline and gauge files, and what comes of reading them: plain words, at once."""

from __future__ import annotations

import datetime as dt
import random
import time
from collections.abc import Callable
from functools import cache, partial
from pathlib import Path

import pandas as pd

from survivor.errors import SurvivorError
from survivor.season.gauge import GaugeRecord, Gauges, is_provisional, read_gauges
from survivor.study import load
from tests.files.kinds import KINDS
from tests.records.mutating import Rows, Slip, slip_of_cell, slip_of_column, slip_of_row, where_named
from tests.writing import small_season

SECONDS = 5.0
WORDS = [
    "nan", "inf", "-inf", "1e400", "-1", "0", "9" * 20, "9" * 400, "true", '""', '"nan"', "[]", "{}", "[[]]",
    "1979-05-27", "0001-01-01", "9999-12-31", "07:32:00",
    '"\\u0000"', '"\\u001b[2J"', '"\\u202e"', "'''", '"""',
    "a.b.c", "[a]", "[[a]]", "# x", "=", "\\", "\x00", "\ufeff", "é", "🚜", '"../../x.csv"', '"/etc/passwd"',
    '"=1+1"', '"a" * 9', "1_000", "0x1F", "1e-400", "5000000000", '"2022-02-30"', '"13-45"', '"99-99"',
]  # fmt: skip
GAUGE_HEADERS = ["date", "rain (mm)", "days covered", "quality"]
CELLS = [
    "", "-", "nan", "inf", "1e999",
    "9999-12-31", "0001-01-01", "1922-06-01", "2922-06-01", "31/31/2022", "-5",
    "9" * 400, "trace", "12,5", '"', "\x00", "🚜", "=1+1", "#N/A", "2022-06-01", "\r", "\n", ",,,", ";",
]  # fmt: skip


def mutated(text: str, drawn: random.Random) -> str:
    """Change lines of a TOML file as slips, tools and ill will do."""
    lines = text.splitlines()
    for _ in range(drawn.choice((1, 1, 1, 2, 5))):
        at = drawn.randrange(len(lines))
        key, equals, _ = lines[at].partition("=")
        how = drawn.randrange(8)
        if how == 0 and equals:
            lines[at] = f"{key}= {drawn.choice(WORDS)}"
        elif how == 1:
            del lines[at]
        elif how == 2:
            lines.insert(at, lines[drawn.randrange(len(lines))])
        elif how == 3:
            lines.insert(at, f"{drawn.choice(('x', 'seed', 'name', 'file', 'a.b'))} = {drawn.choice(WORDS)}")
        elif how == 4 and lines[at]:
            place = drawn.randrange(len(lines[at]))
            lines[at] = lines[at][:place] + drawn.choice(WORDS) + lines[at][place + 1 :]
        elif how == 5:
            other = drawn.randrange(len(lines))
            lines[at], lines[other] = lines[other], lines[at]
        elif how == 6 and lines[at]:
            place = drawn.randrange(len(lines[at]))
            lines[at] = lines[at][:place] + lines[at][place + 1 :]
        else:
            lines.insert(at, f"[{drawn.choice(('x', 'study', 'records', '[methods]', 'a.b', ''))}]")
        lines = lines or [""]
    return "\n".join(lines) + "\n"


@cache
def gauge() -> Rows:
    """Three years as a gauge book has them: a row a day, seven of ten dry, the last month provisional."""
    drawn, first, last = random.Random(3), dt.date(2021, 1, 1), dt.date(2023, 12, 31)
    rows = [list(GAUGE_HEADERS)]
    for number in range((last - first).days + 1):
        day = first + dt.timedelta(days=number)
        amount = f"{drawn.expovariate(1 / 6):.1f}" if drawn.random() < 0.3 else "0.0"
        rows.append([str(day), amount, "1", "checked" if day < dt.date(2023, 12, 1) else "provisional"])
    return rows


def slipped_gauge(drawn: random.Random) -> tuple[str, Slip]:
    """Change one thing in the gauge's file, whose cells are joined with commas as they stand."""
    table = [list(row) for row in gauge()]
    row, column = drawn.randrange(1, len(table)), drawn.randrange(len(table[0]))
    act = drawn.choices(
        (slip_of_cell, slip_of_row, slip_of_column, _odd_cell, _days_dropped), (40, 15, 10, 30, 5)
    )[0]
    slip = act(table, row, column, drawn)
    return "\n".join(",".join(cells) for cells in table) + "\n", slip


def _odd_cell(table: Rows, row: int, column: int, drawn: random.Random) -> Slip:
    was, table[row][column] = table[row][column], drawn.choice(CELLS)
    return Slip("cell: odd", row + 1, (table[0][column],), was, table[row][column])


def _days_dropped(table: Rows, row: int, _: int, drawn: random.Random) -> Slip:
    number, was = drawn.randrange(2, 40), ",".join(table[row])
    del table[row : row + number]
    return Slip("rows: many dropped", row + 1, tuple(table[0]), was, "")


def is_plain(read: Callable[[], object]) -> tuple[str, float]:
    """Read, or refused with a mend, in time; anything else that is raised fails. Which, and the seconds."""
    began = time.process_time()
    refusal = None
    try:
        read()
    except SurvivorError as said:
        refusal = said
    seconds = time.process_time() - began
    assert seconds < SECONDS
    assert refusal is None or refusal.mend
    assert "\x1b" not in str(refusal)
    assert len(str(refusal)) < 40_000
    return ("read" if refusal is None else "refused"), seconds


def a_mutated_file(kind: str, folder: Path, drawn: random.Random) -> tuple[str, float]:
    """Mutate one study file, plan or guideline, and read it."""
    file = folder / f"{kind}.toml"
    file.write_bytes(mutated(KINDS[kind].text, drawn).encode("utf-8", "surrogateescape"))
    return is_plain(partial(KINDS[kind].read, file))


class Season:
    """A whole season in a folder, whose study file or gauge is mutated; every record has one account."""

    def __init__(self, folder: Path) -> None:
        small_season(folder)
        self.folder = folder
        self.study = (folder / "study.toml").read_text(encoding="utf-8")
        self.study += '\n[[gauges]]\nname = "g"\nfile = "rain.csv"\nmissing_days = "zero"\n'
        self.gauge = "\n".join(",".join(cells) for cells in gauge()) + "\n"
        self.records = (folder / "visits.csv").read_text(encoding="utf-8").count("\n") - 1
        self._write(self.study, self.gauge)
        self.whole = self.found = load(folder)

    def _write(self, study: str, gauge: str) -> None:
        (self.folder / "study.toml").write_text(study, encoding="utf-8")
        (self.folder / "rain.csv").write_text(gauge, encoding="utf-8")

    def _read(self) -> None:
        self.found = load(self.folder)
        own = self.found.accounts[self.found.accounts["file"] == "visits.csv"]
        one_sheet = len(self.found.settings.records.sheets) == 1
        assert len(own) >= self.records or not one_sheet or own["row"].min() > 2

    def mutated_study(self, drawn: random.Random) -> tuple[str, float]:
        """Mutate the study file and read the season: read or refused, and the seconds."""
        self._write(mutated(self.study, drawn), self.gauge)
        return is_plain(self._read)

    def mutated_gauge(self, drawn: random.Random) -> tuple[Slip, str, float]:
        """Mutate the gauge and read the season: the slip, what was seen of it, and the seconds."""
        text, slip = slipped_gauge(drawn)
        self._write(self.study, text)
        found = []
        seen, seconds = is_plain(lambda: found.append(self._gauges()))
        return slip, seen if seen != "read" else self._seen_of(slip, *found), seconds

    def _gauges(self) -> Gauges:
        """Read the gauge as the study does; the records beside it are the same every time."""
        found = read_gauges(self.folder, self.whole.settings.gauges)
        assert list(found.accounts["file"]) == ["rain.csv"]
        return found

    def _seen_of(self, slip: Slip, gauges: Gauges) -> str:
        if "g" not in gauges.records:
            assert gauges.problems["mend"].all()
            return "refused"  # the file as a whole, with its reason
        if _read_of(gauges.records["g"]).equals(_read_of(self.whole.gauges.records["g"])):
            return "same"
        known = {(code, column, what) for code, _, column, what in _pointed(self.whole.gauges)}
        new = [each for each in _pointed(gauges) if (each[0], *each[2:]) not in known]
        # A column is named by the header that it has now.
        now = (
            (slip.became or "(no header)",)
            if slip.how in ("column: header slip", "column: no header")
            else ()
        )
        return where_named(new, slip._replace(headers=(*slip.headers, *now))) or "silent"


def _read_of(record: GaugeRecord) -> pd.DataFrame:
    """All that an analysis reads of a gauge: of the quality, whether a day is provisional."""
    return record.daily.assign(quality=is_provisional(record.daily["quality"]))


def _pointed(gauges: Gauges) -> list[tuple[str, str, str, str]]:
    """Every cell of the gauge that a problem names: code, row, column, what is wrong."""
    own = gauges.records["g"].problems
    return [tuple(map(str, each)) for each in own[["code", "row", "column", "what"]].to_numpy()]


def why_of_gauge(slip: Slip) -> str:
    """Say why a silent change of a gauge cannot be seen; empty where it should have been."""
    last = len(gauge())
    if slip.became in ("\r", "\n"):
        return "the next row is named, of which this one makes a second"
    if slip.how.startswith("row") and (slip.row == 2 or slip.row >= last - 40):
        return "a record may begin or end on any day"
    if slip.headers[0] == "rain (mm)" and slip.row:
        if not slip.became.strip("-"):
            return "a blank was not read; the account of the file counts such days"
        return "as much could have fallen that day"
    return ""
