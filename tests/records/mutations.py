"""Thousands of mutated sheets and of mutated study, plan, guideline and gauge files, and what came of them.

``python -m tests.records.mutations [SHEETS] [FILES] [MINUTES]`` (10,000, 2,000, no end) makes them in one
process, as many as fit into so many minutes of the clock, says every ten seconds how far it is, and writes
``mutations.md`` beside this file. Its status is 1 where one of them failed.
"""

from __future__ import annotations

import math
import random
import resource
import sys
import tempfile
import time
import traceback
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path

from tests.files.kinds import KINDS as TOML_KINDS
from tests.files.test_toml_fuzz import Season, a_mutated_file
from tests.records.mutating import KINDS, MEGABYTES, SECONDS, Outcome, outcome, why

TABLE = Path(__file__).with_name("mutations.md")
SHEETS = "sheet, "
OF_SEASON, GAUGE = "study file of a season", "rain gauge"
KINDS_OF_FILE = (*TOML_KINDS, OF_SEASON, GAUGE)
NAMED, UNNAMED = ("cell", "row", "column", "named"), ("silent", "matches", "elsewhere")
_SAID_EVERY = 10.0  # seconds
HEAD = """\
# Mutated sheets and files

`python -m tests.records.mutations` makes 10,000 sheets of a season with one slip each (`mutating.py`), and
2,000 study, plan, guideline and gauge files with one to five (`../files/test_toml_fuzz.py`), and writes this
anew. A failure is a traceback, more than {seconds:g} s of the processor, a refusal without a mend, or a
record without its account. Named: a problem names the cell, row or column of what was changed.
"""
FOOT = """
{total:,} of {asked:,} mutations, in one process of at most {memory:.0f} MB (bound: {most} MB). Study files,
plans and guidelines that are read say what they say: whether a change is meant nobody can tell, so they count
as read. A gauge is another without a word where the amount could have fallen, or where a day is left out and
the study file says that such days are dry.
"""


@dataclass
class Tally:
    """What came of mutations of one kind."""

    seen: Counter[str] = field(default_factory=Counter)
    slowest: float = 0.0
    failed: list[str] = field(default_factory=list)
    unnamed: list[Outcome] = field(default_factory=list)

    @property
    def made(self) -> int:
        return sum(self.seen.values())

    def take(self, make: Callable[[], tuple[str, float]], whose: str) -> None:
        """Make one; whatever is raised is kept, with what it was of."""
        try:
            seen, seconds = make()
        except Exception as fault:
            at = traceback.extract_tb(fault.__traceback__)[-1]
            said = f"{whose}: {type(fault).__name__}: {fault} ({at.name}, line {at.lineno})"
            self.failed.append(" ".join(said.split())[:300])
            seen, seconds = "failed", 0.0
        self.seen[seen] += 1
        self.slowest = max(self.slowest, seconds)


def run(sheets: int, files: int, minutes: float = math.inf) -> dict[str, Tally]:
    """Make so many of each, in turns by their shares, until the time is over."""
    found = {name: Tally() for name in (*(SHEETS + kind for kind in KINDS), *KINDS_OF_FILE)}
    began = said = time.monotonic()
    made = {"sheets": 0, "files": 0}
    with tempfile.TemporaryDirectory() as held:
        folder = Path(held)
        season = Season(folder)
        (folder / "apart").mkdir()
        while sum(made.values()) < sheets + files and time.monotonic() - began < 60 * minutes:
            which = "files" if made["files"] * sheets < made["sheets"] * files or sheets == 0 else "sheets"
            number = made[which]
            made[which] += 1
            if which == "sheets":
                _sheet(found[SHEETS + KINDS[number % 2]], number)
            else:
                _file(found, season, number)
            if time.monotonic() - said > _SAID_EVERY:
                said = time.monotonic()
                print(_so_far(found, made, sheets, files), file=sys.stderr, flush=True)
    return found


def _so_far(found: dict[str, Tally], made: dict[str, int], sheets: int, files: int) -> str:
    failed = sum(len(tally.failed) for tally in found.values())
    return f"{made['sheets']:,} of {sheets:,} sheets, {made['files']:,} of {files:,} files, {failed} failed"


def _sheet(tally: Tally, seed: int) -> None:
    def make() -> tuple[str, float]:
        found = outcome(KINDS[seed % 2], seed)
        if found.seen in UNNAMED:
            tally.unnamed.append(found)
        return found.seen, found.seconds

    tally.take(make, f"sheet {seed}")


def _file(found: dict[str, Tally], season: Season, number: int) -> None:
    kind = KINDS_OF_FILE[number % len(KINDS_OF_FILE)]
    drawn = random.Random(f"{kind} {number}")

    def make() -> tuple[str, float]:
        if kind in TOML_KINDS:
            return a_mutated_file(kind, season.folder / "apart", drawn)
        return season.mutated(drawn, of_study=kind == OF_SEASON)

    found[kind].take(make, f"{kind} {number}")


def text_of(found: dict[str, Tally], asked: int) -> Iterator[str]:
    """Write the table, then every change that no problem names, with the reason."""
    yield HEAD.format(seconds=SECONDS)
    yield "| mutated | made | failed | refused | read, the same | changed | of these named, % | slowest, s |"
    yield "|---|---|---|---|---|---|---|---|"
    for name, tally in found.items():
        seen = tally.seen
        named = sum(seen[kind] for kind in NAMED)
        changed = named + sum(seen[kind] for kind in UNNAMED)
        same = seen["same"] if changed or seen["same"] else seen["read"]
        share = f"{100 * named / changed:.1f}" if changed else "-"
        told = (
            f"{tally.made:,} | {len(tally.failed)} | {seen['refused']:,} | {same:,} | {changed:,} | {share}"
        )
        yield f"| {name} | {told} | {tally.slowest:.2f} |"
    memory = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    total = sum(tally.made for tally in found.values())
    yield FOOT.format(total=total, asked=asked, memory=memory, most=MEGABYTES)
    for name, tally in found.items():
        yield from (f"\nFailed: {fault}" for fault in tally.failed)
        if tally.unnamed:
            yield f"\n## {name}: changes that no problem names\n"
            yield from _unnamed(tally.unnamed)


def _unnamed(found: list[Outcome]) -> Iterator[str]:
    yield "| what was done | under | from | to | why it cannot be seen |"
    yield "|---|---|---|---|---|"
    for each in sorted(found, key=lambda one: (one.seen, one.slip.how, one.slip.headers, one.slip.row)):
        slip = each.slip
        place = ", ".join(slip.headers) if len(slip.headers) < 3 else "all"
        texts = [place, _shown(slip.was), _shown(slip.became), why(each) or "SHOULD BE SEEN"]
        yield f"| {slip.how}, row {slip.row or 'all'} | {' | '.join(texts)} |"


def _shown(text: str) -> str:
    own = "".join(sign if sign.isprintable() else "\N{REPLACEMENT CHARACTER}" for sign in text[:24])
    return f"`{own.replace('|', '/').replace('`', '')}`" if own else ""


def main(sheets: int = 10_000, files: int = 2_000, minutes: float = math.inf) -> int:
    found = run(sheets, files, minutes)
    text = "\n".join(text_of(found, sheets + files)) + "\n"
    TABLE.write_text(text, encoding="utf-8")
    print(text)
    return int(any(tally.failed for tally in found.values()))


if __name__ == "__main__":
    own = sys.argv[1:]
    sys.exit(main(*map(int, own[:2]), *map(float, own[2:3])))
