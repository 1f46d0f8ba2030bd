"""Thousands of mutated sheets and of mutated study, plan, guideline and gauge files, and what came of them.

``python -m tests.records.mutations LOG [SHEETS] [FILES] [MINUTES]`` (10,000, 2,000, no end) makes them in one
process, as many as fit into so many minutes of the clock, says every ten seconds how far it is, and writes
``mutations.md`` and ``mutated_files.md`` beside this file; with 0 of one kind its table stays as it is.
LOG keeps a line for each: with the same one it goes on where it stopped. Its status is 1 where one failed.
"""

from __future__ import annotations

import json
import math
import random
import resource
import sys
import tempfile
import time
import traceback
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import Any

import pandas as pd

from tests.files.kinds import KINDS as TOML_KINDS
from tests.files.mutating import Season, a_mutated_file, why_of_gauge
from tests.records.mutating import KINDS, MEGABYTES, SECONDS, Outcome, Slip, outcome, why

SHEETS = tuple(f"sheet, {kind}" for kind in KINDS)
OF_SEASON, GAUGE = "study file of a season", "rain gauge"
FILES = (*TOML_KINDS, OF_SEASON, GAUGE)
NAMED, UNNAMED = ("cell", "row", "column", "named"), ("silent", "matches", "elsewhere")
_SAID_EVERY = 10.0  # seconds
HEAD = """\
# Mutated {what}

`python -m tests.records.mutations LOG` makes {made},
and writes this anew. A failure is a traceback, more than {seconds:g} s of the processor, a refusal without a
mend, or a record without its account. Named: a problem names the cell, row or column of what was changed.
"""
MADE = {
    "sheets": "10,000 sheets of a season, each with one slip (`mutating.py`)",
    "files": "2,000 study, plan, guideline and gauge files (`../files/mutating.py`)",
}
FOOT = """
{total:,} of {asked:,} mutations, in one process of at most {memory:.0f} MB (bound: {most} MB).
"""
FOOT_OF_FILES = """\
Study files, plans and guidelines have one to five slips. Those that are read say what they say: whether a
change is meant nobody can tell, so they count as read. A gauge has one slip.
"""

Line = dict[str, Any]


def run(log: Path, sheets: int, files: int, minutes: float = math.inf) -> None:
    """Make so many of each, in turns by their shares, until the time is over; those in the log are made."""
    kept = lines_in(log)
    made = [sum(line["of"] in names for line in kept) for names in (SHEETS, FILES)]
    began = said = time.monotonic()
    with tempfile.TemporaryDirectory() as held, log.open("a", encoding="utf-8") as out:
        season = Season(Path(held))
        (season.folder / "apart").mkdir()
        while (made[0] < sheets or made[1] < files) and time.monotonic() - began < 60 * minutes:
            behind = made[0] >= sheets or (made[1] < files and made[1] * sheets < made[0] * files)
            line = file_line(season, made[1]) if behind else sheet_line(made[0])
            line["megabytes"] = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024
            made[behind] += 1
            out.write(json.dumps(line) + "\n")
            out.flush()
            if time.monotonic() - said > _SAID_EVERY:
                said = time.monotonic()
                told = f"{made[0]:,} of {sheets:,} sheets, {made[1]:,} of {files:,} files"
                print(told, file=sys.stderr, flush=True)


def lines_in(log: Path) -> list[Line]:
    return [json.loads(line) for line in log.read_text(encoding="utf-8").splitlines()] if log.exists() else []


def sheet_line(number: int) -> Line:
    """Make one mutated sheet."""
    place = number % len(KINDS)

    def make() -> Line:
        found = outcome(KINDS[place], number)
        return {"seen": found.seen, "seconds": found.seconds, "slip": list(found.slip)}

    return _tried(make, SHEETS[place], number)


def file_line(season: Season, number: int) -> Line:
    """Make one mutated study, plan, guideline or gauge file."""
    kind = FILES[number % len(FILES)]
    drawn = random.Random(f"{kind} {number}")

    def make() -> Line:
        if kind == GAUGE:
            slip, seen, seconds = season.mutated_gauge(drawn)
            return {"seen": seen, "seconds": seconds, "slip": list(slip)}
        if kind == OF_SEASON:
            seen, seconds = season.mutated_study(drawn)
        else:
            seen, seconds = a_mutated_file(kind, season.folder / "apart", drawn)
        return {"seen": seen, "seconds": seconds}

    return _tried(make, kind, number)


def _tried(make: Callable[[], Line], of: str, number: int) -> Line:
    """Make one; whatever is raised is kept."""
    try:
        return {"of": of, "number": number, **make()}
    except Exception as fault:
        at = traceback.extract_tb(fault.__traceback__)[-1]
        said = " ".join(f"{type(fault).__name__}: {fault} ({at.name}, line {at.lineno})".split())
        return {"of": of, "number": number, "seen": "failed", "seconds": 0.0, "fault": said[:300]}


def text_of(what: str, lines: list[Line], asked: int) -> Iterator[str]:
    """Write the table of the sheets, or of the files; then each change that no problem names, and why."""
    kinds = SHEETS if what == "sheets" else FILES
    lines = [line for line in lines if line["of"] in kinds]
    table = pd.DataFrame(lines)
    yield HEAD.format(what=what, made=MADE[what], seconds=SECONDS)
    yield "| mutated | made | failed | refused | read, the same | changed | of these named, % | slowest, s |"
    yield "|---|---|---|---|---|---|---|---|"
    for of in kinds:
        own = table[table["of"] == of]
        seen = own["seen"].value_counts().to_dict()
        named = sum(seen.get(kind, 0) for kind in NAMED)
        changed = named + sum(seen.get(kind, 0) for kind in UNNAMED)
        same = seen.get("same", 0) + seen.get("read", 0)
        share = f"{100 * named / changed:.1f}" if changed else "-"
        told = f"{len(own):,} | {seen.get('failed', 0)} | {seen.get('refused', 0):,} | {same:,} | {changed:,}"
        yield f"| {of} | {told} | {share} | {own['seconds'].max():.2f} |"
    yield FOOT.format(total=len(table), asked=asked, memory=table["megabytes"].max(), most=MEGABYTES)
    if what == "files":
        yield FOOT_OF_FILES
    yield from (
        f"Failed: {line['of']} {line['number']}: {line['fault']}\n" for line in lines if "fault" in line
    )
    for of in kinds:
        unnamed = [line for line in lines if line["of"] == of and line["seen"] in UNNAMED]
        if unnamed or what == "sheets":
            yield f"## {of}: changes that no problem names\n"
            yield from _unnamed(unnamed)
            yield ""


def _unnamed(lines: Sequence[Line]) -> Iterator[str]:
    yield "| what was done | under | from | to | why it cannot be seen |"
    yield "|---|---|---|---|---|"
    told = [(line["of"], line["seen"], Slip(*line["slip"][:2], tuple(line["slip"][2]), *line["slip"][3:]))
            for line in lines]  # fmt: skip
    for of, seen, slip in sorted(told, key=lambda one: (one[1], one[2].how, one[2].headers, one[2].row)):
        reason = why_of_gauge(slip) if of == GAUGE else why(Outcome(KINDS[SHEETS.index(of)], slip, seen, 0.0))
        place = ", ".join(slip.headers) if len(slip.headers) < 3 else "all"
        texts = [place, _shown(slip.was), _shown(slip.became), reason or "SHOULD BE SEEN"]
        yield f"| {slip.how}, row {slip.row or 'all'} | {' | '.join(texts)} |"


def _shown(text: str) -> str:
    own = "".join(sign if sign.isprintable() else "\N{REPLACEMENT CHARACTER}" for sign in text[:24])
    return f"`{own.replace('|', '/').replace('`', '')}`" if own else ""


def main(log: str, sheets: int = 10_000, files: int = 2_000, minutes: float = math.inf) -> int:
    run(Path(log), sheets, files, minutes)
    lines = lines_in(Path(log))
    for what, asked, name in (("sheets", sheets, "mutations.md"), ("files", files, "mutated_files.md")):
        if asked:
            text = "\n".join(text_of(what, lines, asked)).rstrip() + "\n"
            Path(__file__).with_name(name).write_text(text, encoding="utf-8")
            print(text)
    return int(
        any("fault" in line for line in lines) or max(line["megabytes"] for line in lines) >= MEGABYTES
    )


if __name__ == "__main__":
    own = sys.argv[1:]
    sys.exit(main(own[0], *map(int, own[1:3]), *map(float, own[3:4])))
