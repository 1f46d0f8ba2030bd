"""Commands broken off again and again, by a kill or by a full disk, and what is left of the files.

``python -m tests.cli.breaking CASE SEED FOLDER killed=16 full=4``: CASE is one of `CASES`, then how often it
is broken off by which of the two. The command is run whole once; then copies of this process, in which all
is loaded and what is long was worked out already, run it to where they are broken off. That makes hundreds
of real kills cheap. Without arguments the same words are read from its input, a line each, and each line is
done in a copy of a process that has loaded the package once.
"""

from __future__ import annotations

import gc
import importlib
import json
import os
import pkgutil
import random
import shutil
import signal
import subprocess
import sys
import time
import traceback
from collections.abc import Callable
from pathlib import Path
from typing import Any, NamedTuple

import survivor
from tests.cli.running import held
from tests.planning.making import small_plan
from tests.writing import small_season

PLAN = "blank/plan.toml"
GUIDELINE = """
[guideline]
name = "Small (invented)"
version = 1
dated = "2024-01-01"
[[seasons]]
study = "study"
[[ground]]
name = "all"
where = { site = ["site 0", "site 1", "site 2"] }
"""


class Case(NamedTuple):
    """What a command is run on, how, what is worked out once, what it is told, and what it does without."""

    prepare: Callable[[Path], None]
    arguments: tuple[str, ...]
    long: tuple[str, ...] = ()
    said: str = ""
    without: str = ""


def nothing(folder: Path) -> None:
    folder.joinpath("home", "Desktop").mkdir(parents=True)


def season(folder: Path) -> None:
    small_season(folder / "study")
    sheet = small_season(folder / "later") / "visits.csv"  # the same a year on
    text = sheet.read_text(encoding="utf-8").replace("2022-", "2023-").replace("2021-", "2022-")
    sheet.write_text(text, encoding="utf-8")


def changed(folder: Path) -> None:
    """A study that says more than when it was last written from."""
    file = folder / "study" / "study.toml"
    text = file.read_text(encoding="utf-8").replace("A small season", "A season")
    file.write_text(text, encoding="utf-8")


def done_before(name: str) -> Callable[[Path], None]:
    """As of a case that was run on the season before it changed."""

    def prepare(folder: Path) -> None:
        season(folder)
        (folder / "guideline.toml").write_text(GUIDELINE, encoding="utf-8")
        assert run(CASES[name], folder) in (0, 1)
        changed(folder)
        sheet = folder / "study" / "visits.csv"
        lines = sheet.read_text(encoding="utf-8").splitlines(keepends=True)
        sheet.write_text("".join(lines[:-3]), encoding="utf-8")
        later = GUIDELINE.replace("version = 1", "version = 2")
        (folder / "guideline.toml").write_text(later, encoding="utf-8")

    return prepare


def unmatched(folder: Path) -> None:
    season(folder)
    file = folder / "study" / "study.toml"
    file.write_text(file.read_text(encoding="utf-8").replace("\r", ""), encoding="utf-8")


def sheets_only(folder: Path) -> None:
    small_season(folder / "study")
    (folder / "study" / "study.toml").unlink()


def proposed(folder: Path) -> None:
    sheets_only(folder)
    assert run(CASES["new from sheets"], folder) == 0


def blank(folder: Path) -> None:
    assert run(CASES["new"], folder) == 0


def planned(folder: Path) -> None:
    blank(folder)
    assert run(CASES["plan"], folder) == 0
    file = folder / PLAN
    text = file.read_text(encoding="utf-8").replace("My season, planned", "Our season, planned", 1)
    file.write_text(text, encoding="utf-8")


def laid(folder: Path) -> None:
    from survivor.planning.folder import write_folder
    from survivor.planning.layout import draw_layout

    plan = small_plan()
    write_folder(plan, draw_layout(plan, 4, 3), folder / "season")
    file = folder / "season" / "study.toml"  # which every sheet names at its head
    text = file.read_text(encoding="utf-8").replace("Winter 2022", "Winter of 2022")
    file.write_text(text, encoding="utf-8")


PROPOSED = "survivor.proposing.proposal.propose", "survivor.proposing.reading.what_is_read"
PROGRAMME = (
    *(f"survivor.programme.running.{name}" for name in ("answers_of", "put_together")),
    *(f"survivor.programme.writing.{name}" for name in ("pictures_of", "page_of", "document_of")),
)
POOLED = "survivor.study.load", "survivor.seasons.wording.page_of", "survivor.seasons.wording.to_svg"
CASES = {
    "new": Case(nothing, ("new", "blank")),
    "new from sheets": Case(sheets_only, ("new", "study", "--from-sheets"), PROPOSED),
    "new asking": Case(proposed, ("new", "study", "--ask"), PROPOSED, said="1\n1\n1\n12-01\n03-31\n"),
    "demo": Case(nothing, ("demo", "demo"), ("survivor.demo._cohorts",)),
    "check": Case(
        done_before("check"),
        ("check", "study", "--out", "out", "--html", "page.html", "--xlsx", "marked.xlsx"),
        (
            "survivor.study.load",
            "survivor.report.checked.page.page_of_check",
            "survivor.report.checked.workbook.workbook_of_check",
        ),
    ),
    "matches": Case(unmatched, ("check", "study", "--write-matches"), ("survivor.study.load",)),
    "report": Case(
        done_before("report"),
        ("report", "study"),
        (
            "survivor.study.load",
            "survivor.study.Study.analyse",
            "survivor.report.forms.report_forms",
            "survivor.report.forms.tables_of",
        ),
    ),
    "plan": Case(
        planned,
        ("plan", PLAN, "--studies", "20"),
        ("survivor.planning.run.plan", "survivor.planning.page.page_of"),
    ),
    "layout": Case(
        blank,
        ("layout", PLAN, "--out", "laid", "--plots", "4", "--seedlings", "4"),
        ("survivor.planning.folder.folder_files",),
    ),
    "sheets": Case(laid, ("sheets", "season")),
    "pool": Case(done_before("pool"), ("pool", "study", "later"), ("survivor.seasons.pool_seasons", *POOLED)),
    "guideline": Case(
        done_before("guideline"),
        ("guideline", "guideline.toml"),
        (
            "survivor.guideline.make_guideline",
            *(f"survivor.guideline.writing.{name}" for name in ("page_of", "guideline_pdf", "plan_text")),
        ),
    ),
    # Without its processes for the studies, which are done in the one that is killed.
    "programme": Case(
        done_before("programme"),
        ("programme", "."),
        PROGRAMME,
        without="survivor.programme.cluster.Cluster",
    ),
    "shortcut": Case(nothing, ("desk", ".", "--shortcut")),
}
# What changes a file: a process killed just before it leaves the disk as it then is.
CHANGES = ("os.rename", "os.remove", "os.mkdir", "os.rmdir", "os.truncate", "shutil.rmtree", "os.chmod")


def run(case: Case, folder: Path, watch: Callable[[str, Any], None] | None = None) -> int:
    """Run a command in a copy of this process; return its status, as a shell would."""
    child = os.fork()
    if child == 0:
        os._exit(within(case, folder, watch))
    return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])


def within(case: Case, folder: Path, watch: Callable[[str, Any], None] | None = None) -> int:
    """Run a command in this process, which then is of no use for anything else."""
    from survivor.cli import main

    os.chdir(folder)
    os.environ["HOME"] = str(folder / "home")
    log = os.open(folder.parent / f"said-{folder.name}", os.O_CREAT | os.O_WRONLY | os.O_TRUNC)
    said = os.open(folder.parent / "asked", os.O_CREAT | os.O_RDWR | os.O_TRUNC)
    os.write(said, case.said.encode())
    os.lseek(said, 0, os.SEEK_SET)
    for own, number in ((said, 0), (log, 1), (log, 2)):
        os.dup2(own, number)
    sys.stdin, sys.stdout, sys.stderr = (
        open(number, mode, encoding="utf-8", closefd=False)  # noqa: SIM115
        for number, mode in enumerate("rww")
    )
    sys.argv = ["survivor", *case.arguments]
    if watch is not None:
        sys.addaudithook(watch)
    try:
        main()
    except SystemExit as left:
        return left.code if isinstance(left.code, int) else int(left.code is not None)
    except BaseException:
        traceback.print_exc()
        return 99
    return 0


def place_of(name: str) -> tuple[Any, str]:
    """Find the module or class that holds something, and its name there."""
    module, _, attribute = name.rpartition(".")
    try:
        return importlib.import_module(module), attribute
    except ModuleNotFoundError:
        module, _, owner = module.rpartition(".")
        return getattr(importlib.import_module(module), owner), attribute


def keep(name: str) -> None:
    """Let a function be worked out once for each text, and for the files of each folder, that it is given."""
    place, attribute = place_of(name)
    real, found = getattr(place, attribute), {}

    def once(*arguments: Any, **named: Any) -> Any:
        texts = tuple(each for each in arguments if isinstance(each, str))
        folders = [each for each in arguments if isinstance(each, Path) and each.is_dir()]
        of = (texts, *((each, *held(each).items()) for each in folders))
        if of not in found:
            found[of] = real(*arguments, **named)
        return found[of]

    setattr(place, attribute, once)


def is_whole(found: dict[str, bytes], before: dict[str, bytes], after: dict[str, bytes]) -> None:
    """Every file is as it was, or as it was to be; what stays is there."""
    gone = before.keys() - found.keys() - (before.keys() - after.keys())
    assert not gone, f"gone: {gone}"
    half = [name for name in found if found[name] not in (before.get(name), after.get(name))]
    assert not half, f"neither of the two versions: {half}"


class Changes:
    """Counts what a process changes on disk, and kills it just before a change, if it is told which."""

    def __init__(self, last: int = -1, told: int | None = None) -> None:
        self.number, self.last, self.told = 0, last, told

    def __call__(self, event: str, arguments: Any) -> None:
        flags = arguments[2] if event == "open" and isinstance(arguments[2], int) else 0
        if flags & (os.O_WRONLY | os.O_RDWR) or event in CHANGES:
            self.number += 1
            if self.told is not None:
                os.pwrite(self.told, str(self.number).encode(), 0)
            if self.number == self.last:
                os.kill(os.getpid(), signal.SIGKILL)


def killed(case: Case, folder: Path, at: float, seconds: float, changes: int, by_time: bool) -> None:
    """Kill a command when this share of its time is over, or just before a change at this share of them."""
    if not by_time:
        run(case, folder, Changes(1 + int(at * changes)))
        return
    child = os.fork()
    if child == 0:
        os._exit(within(case, folder))
    time.sleep(1.1 * at * seconds)
    os.kill(child, signal.SIGKILL)
    os.waitpid(child, 0)


def filled(case: Case, folder: Path, room: int) -> None:
    """Run a command on a disk with so much room left, and then with all that it needs."""
    disk = folder.parent
    state = os.statvfs(disk)
    filler = disk / "filler"
    with filler.open("wb") as opened:
        os.posix_fallocate(opened.fileno(), 0, max(1, state.f_bavail * state.f_frsize - room))
    status = run(case, folder)
    filler.unlink()
    told = (disk / f"said-{folder.name}").read_text(encoding="utf-8")
    assert "Traceback" not in told, told
    assert status in (0, 1, 2), (status, told)
    # What is said goes to a file of the same disk, and may be lost with the rest.
    assert status != 2 or not told or "could not be written" in told or "No space" in told, told


def main(name: str, seed: int, root: Path, times: dict[str, int]) -> None:
    case = CASES[name]
    if "full" in times:  # then disks can be had, and one that is memory has nothing to wait for
        subprocess.run(["mount", "-t", "tmpfs", "tmpfs", root], check=True)
    before, here = root / "before", root / "disk" / "work"
    here.mkdir(parents=True)
    if case.without:
        place, attribute = place_of(case.without)
        setattr(place, attribute, lambda *_: None)
    case.prepare(here)
    shutil.copytree(here, before)  # not moved: a report knows of which place it is
    was = held(here)
    for each in case.long:
        keep(each)
    own = (os.getcwd(), os.environ.get("HOME"), [os.dup(number) for number in range(3)])
    status = within(case, here)  # here, so that all is loaded and worked out
    gc.freeze()  # what copies do not look through stays one with theirs
    os.chdir(own[0])
    for number, kept in enumerate(own[2]):
        os.dup2(kept, number)
    assert status in (0, 1), (here.parent / "said-work").read_text(encoding="utf-8")
    after = held(here)
    assert was != after
    shutil.rmtree(here)
    counted = os.open(root / "changes", os.O_CREAT | os.O_RDWR)
    shutil.copytree(before, here)
    began = time.monotonic()
    assert run(case, here, Changes(told=counted)) == status
    seconds = time.monotonic() - began
    assert held(here) == after, "the copies do the same"
    changes = int(os.pread(counted, 20, 0))
    most = sum(len(content) for content in after.values()) + 2**16
    for how, number in times.items():
        drawn = random.Random(f"{name} {how} {seed}")
        seen = {"as it was": 0, "as it was to be": 0, "between": 0}
        for turn in range(number):
            at = (turn + drawn.random()) / number  # drawn from each part in turn, so that none is left out
            shutil.rmtree(here.parent)
            here.parent.mkdir()
            if how == "full":
                subprocess.run(["mount", "-t", "tmpfs", "-o", "size=64m", "tmpfs", here.parent], check=True)
            shutil.copytree(before, here)
            if how == "full":
                filled(case, here, int(at * most))
            else:
                killed(case, here, at, seconds, changes, by_time=turn % 2 == 1)
            found = held(here)
            is_whole(found, was, after)
            seen["as it was" if found == was else "as it was to be" if found == after else "between"] += 1
            again = run(case, here)
            told = (here.parent / "said-work").read_text(encoding="utf-8")
            # A command that never writes over anything refuses where it had ended already.
            assert again in (0, 1) or (found == after and again == 2), told
            # Answers are kept one by one: the next run asks what is open, and takes other lines of them.
            assert case.said or held(here) == after, told
            # What a killed run had not put in its place goes with the next one that writes there.
            assert again == 2 or not list(here.rglob(".*survivor-new*")), "what was not whole is left behind"
            if how == "full":
                subprocess.run(["umount", here.parent], check=True)
        print(f"{name}, {how} {number} times: {seen}; {changes} changes, {seconds:.2f} s", flush=True)


def asked(words: list[str]) -> None:
    name, seed, root, *times = words
    numbers = {how: int(number) for how, number in (each.split("=") for each in times)}
    main(name, int(seed), Path(root).resolve(), numbers)


def serve() -> None:
    """Do what each line of the input asks in a copy of this process; say the status that each ends with."""
    for module in pkgutil.walk_packages(survivor.__path__, "survivor."):
        if not module.name.endswith("__main__"):
            importlib.import_module(module.name)
    gc.freeze()
    for line in sys.stdin:
        child = os.fork()
        if child == 0:
            try:
                asked(json.loads(line))
            except BaseException:
                traceback.print_exc()
                os._exit(1)
            os._exit(0)
        print("ended", os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]), flush=True)


if __name__ == "__main__":
    if sys.argv[1:]:
        asked(sys.argv[1:])
    else:
        serve()
