"""How fast the desk is: ``python -m tests.benchmarks.desk [FILE]`` prints its table, and writes it into FILE.

Clock and processor seconds; the processor's are those of the desk's own process, and hold on a busy machine.
"""

from __future__ import annotations

import http.cookiejar
import os
import re
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
import urllib.parse
import urllib.request
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import xlsxwriter

from survivor.planning.folder import write_blank
from tests.desk.opened import DATASETS, sent_by

STUDIES, LOOKED_AT, SEEDLINGS, VISITS = 40, 6, 2_000, 5
ROUNDS: Final = 3
_TICKS: Final = os.sysconf("SC_CLK_TCK")
_BEGIN, _END = "<!-- desk -->", "<!-- desk end -->"


@dataclass(frozen=True)
class Line:
    """One line of the table; times in seconds, memory in MB."""

    what: str
    aim: str
    clock: str
    processor: str


class Desk:
    """A desk in a process of its own, and a reader of it."""

    def __init__(self, folder: Path) -> None:
        self.begun = time.perf_counter()
        command = [sys.executable, "-m", "survivor", "desk", str(folder), "--no-browser"]
        pipe, alone = subprocess.PIPE, {**os.environ, "PYTHONUNBUFFERED": "1"}
        self.process = subprocess.Popen(command, stdout=pipe, text=True, env=alone)
        assert self.process.stdout is not None
        found = re.search(r"http://\S+", self.process.stdout.readline())
        assert found
        jar = urllib.request.HTTPCookieProcessor(http.cookiejar.CookieJar())
        self._opener: Any = urllib.request.build_opener(jar)
        self._opener.open(found[0]).read()
        self.origin = found[0].partition("/enter")[0]

    def get(self, path: str) -> str:
        return str(self._opener.open(self.origin + path).read().decode())

    def post(self, path: str, typed: dict[str, str]) -> str:
        body = urllib.parse.urlencode(typed).encode()
        asked = urllib.request.Request(self.origin + path, body, {"Origin": self.origin})
        return str(self._opener.open(asked).read().decode())

    def processor(self) -> float:
        """Seconds of the processor that the desk's own process has taken."""
        parts = Path(f"/proc/{self.process.pid}/stat").read_text().rpartition(")")[2].split()
        return (int(parts[11]) + int(parts[12])) / _TICKS

    def memory(self) -> float:
        """MB that the desk's own process holds."""
        told = Path(f"/proc/{self.process.pid}/status").read_text()
        return int(re.findall(r"VmRSS:\s+(\d+)", told)[0]) / 1024

    def timed(self, ask: Callable[[], object]) -> tuple[float, float]:
        """Return clock and processor seconds of something asked."""
        clock, processor = time.perf_counter(), self.processor()
        ask()
        return time.perf_counter() - clock, self.processor() - processor

    def close(self) -> None:
        self.process.send_signal(2)
        self.process.wait(20)


def at_95(values: list[float]) -> float:
    """Return the 95th of 100 ordered values."""
    return statistics.quantiles(values, n=100, method="inclusive")[94]


def large(home: Path) -> None:
    """Write a workbook of 10,000 records: a row a seedling, a column a visit; one word is not known."""
    home.mkdir()
    book = xlsxwriter.Workbook(home / "seen.xlsx")
    sheet = book.add_worksheet("Visits")
    days = ["14/8/2023", "18/10/2023", "12/12/2023", "9/2/2024", "4/4/2024"][:VISITS]
    sheet.write_row(0, 0, ["Site", "Plot", "Tag", "Species", "Prep", "Planted", *days])
    for row in range(SEEDLINGS):
        plot = row // 20
        died = row % 7
        states = ["OK" if visit < died else ("gone" if row % 50 == 0 else "dead") for visit in range(VISITS)]
        prep = ("rip", "auger", "spray")[plot % 3]
        facts = [f"Site {plot % 5}", f"P{plot}", f"T{row}", "wattle", prep, "1/6/2023"]
        sheet.write_row(row + 1, 0, [*facts, *states])
    book.close()
    subprocess.run(
        [sys.executable, "-m", "survivor", "new", home.name, "--from-sheets"],
        cwd=home.parent, check=True, capture_output=True,
    )  # fmt: skip


def measured(folder: Path) -> Iterator[Line]:
    """Fill a folder with studies, and measure the desk on it."""
    for number in range(STUDIES):
        shutil.copytree(DATASETS / "counts", folder / f"season {number:02}")
    shutil.copytree(DATASETS / "seasons", folder / "all")
    write_blank(folder / "winter")
    large(folder / "large")
    desk = Desk(folder)
    try:
        desk.get("/")
        yield Line(
            f"start to the first page, {STUDIES} studies", "1.5", f"{time.perf_counter() - desk.begun:.2f}",
            f"{desk.processor():.2f}",
        )  # fmt: skip
        places = [f"season%20{number:02}" for number in range(LOOKED_AT)]
        first = [desk.timed(lambda place=place: desk.get(f"/sheets/{place}")) for place in places]
        yield _line("the first look at a season, its 2,735 seedlings read, p95", "", first)
        rooms = ["/", "/plan/winter/plan.toml", "/guideline/all/guideline.toml"]
        rooms += [
            f"/{room}/{place}" for room in ("sheets", "about", "problems", "report") for place in places
        ]
        for room in rooms:
            desk.get(room)
        asked = [desk.timed(lambda room=room: desk.get(room)) for _ in range(ROUNDS) for room in rooms]
        yield _line(f"a room, {len(asked)} times, {STUDIES} studies in the folder, p95", "0.2", asked)
        yield _line("re-reading 10,000 records after an answer, the longest", "2", list(_answered(desk)), max)
        time.sleep(2)
        yield Line("memory after all of this, MB", "400", f"{desk.memory():.0f}", "")
    finally:
        desk.close()


def _answered(desk: Desk) -> Iterator[tuple[float, float]]:
    """Say of a word what it means, this and that in turn, and wait for the page that shows it."""
    page = desk.get("/sheets/large")
    for turn in range(ROUNDS):
        form = next(part for part in page.split("<form")[1:] if 'value="records.sheets.0"' in part)
        typed = sent_by("<form" + form.partition("</form>")[0])
        word = next(name for name, value in typed.items() if name.startswith("word.") and value == "gone")
        typed[word.replace("word", "state")] = ("dead", "missing")[turn % 2]
        yield desk.timed(lambda typed=typed: desk.post("/sheets/large", typed))
        page = desk.get("/sheets/large")


def _line(
    what: str, aim: str, times: list[tuple[float, float]], of: Callable[[list[float]], float] = at_95
) -> Line:
    clocks, processors = ([each[place] for each in times] for place in (0, 1))
    return Line(what, aim, f"{of(clocks):.2f}", f"{of(processors):.2f}")


def main() -> None:
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place) / "seasons"
        folder.mkdir()
        lines = ["| what | aim | clock | processor |", "|---|---|---|---|"]
        for line in measured(folder):
            lines.append(f"| {line.what} | {line.aim} | {line.clock} | {line.processor} |")
            sys.stdout.write(lines[-1] + "\n")
    load = f"Load of the machine meanwhile: {os.getloadavg()[1]:.1f} programs for {os.cpu_count()} cores."
    sys.stdout.write(load + "\n")
    if len(sys.argv) > 1:
        file = Path(sys.argv[1])
        before, _, rest = file.read_text(encoding="utf-8").partition(_BEGIN)
        table = "\n".join(["", "", *lines, "", load, ""])
        text = f"{before}{_BEGIN}{table}\n{_END}{rest.partition(_END)[2]}"
        file.write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main()
