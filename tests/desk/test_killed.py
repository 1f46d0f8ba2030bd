"""A save or a run that is killed at any moment leaves each file as it was, or as it was to be."""

import contextlib
import os
import random
import shutil
import signal
import subprocess
import sys
import time
import tomllib
from pathlib import Path

import pytest

from survivor.study import load
from tests.desk.opened import DATASETS

TIMES = 20
SAVE = """
import os
import sys
from pathlib import Path
from survivor.desk.study_file import study_in
other = study_in(Path(sys.argv[2]))
other.change({("study", "name"): "loads what a save needs"}, other.mark())
while sys.stdin.readline():
    saver = os.fork()
    if saver == 0:
        kept = study_in(Path(sys.argv[1]))
        print(os.getpid(), flush=True)
        for number in range(1, 100_000):
            note = "x" * (number % 50) * 1000
            kept.change({("study", "name"): f"season {number}", ("study", "note"): note}, kept.mark())
            print("saved", flush=True)
    print("ended by", os.waitstatus_to_exitcode(os.waitpid(saver, 0)[1]), flush=True)
"""


@pytest.mark.slow
@pytest.mark.skipif(sys.platform == "win32", reason="no such signal")
def test_a_study_file_is_whole_whenever_a_save_is_killed(tmp_path: Path):
    home, other = tmp_path / "counts", tmp_path / "other"
    for folder in (home, other):
        shutil.copytree(DATASETS / "counts", folder)
    moments = random.Random(4)
    seen = set()
    run, pipe = [sys.executable, "-c", SAVE, str(home), str(other)], subprocess.PIPE
    with subprocess.Popen(run, stdin=pipe, stdout=pipe, stderr=subprocess.DEVNULL, text=True) as savers:
        assert savers.stdin is not None
        assert savers.stdout is not None
        for _ in range(TIMES):
            savers.stdin.write("go\n")
            savers.stdin.flush()
            saver = int(savers.stdout.readline())
            for _ in range(moments.randint(0, 4)):
                assert savers.stdout.readline() == "saved\n"
            time.sleep(moments.uniform(0, 0.1))
            os.kill(saver, signal.SIGKILL)
            ended = next(line for line in savers.stdout if line != "saved\n")
            assert ended == f"ended by {-signal.SIGKILL}\n"
            tables = tomllib.loads((home / "study.toml").read_text(encoding="utf-8"))
            seen.add(tables["study"]["name"])
            assert len(tables["records"]["sheets"]) == 1
    assert len(seen) > 3  # some were killed after a save, some before the first


# --- a run -----------------------------------------------------------------------------------------------

STUDY = """[study]
name = "North"
purpose = "check a target"
as_of = "2025-01-01"
note = "{note}"
[records]
kind = "counts"
[[records.sheets]]
file = "seen.csv"
[target]
survival_per_100 = 70
milestone = "12 months"
"""
# Reports are made by a copy of a process that has loaded everything, so that no moment is spent on loading.
RUN = """
import os, sys
from pathlib import Path
from survivor.study import load
home, out = map(Path, sys.argv[1:])
load(home).report(out)
print("ready", flush=True)
for line in sys.stdin:
    run = os.fork()
    if run == 0:
        load(home).report(out)
        os._exit(0)
    print(run, flush=True)
    print(os.waitpid(run, 0)[1], flush=True)
"""


def counted(home: Path) -> None:
    home.mkdir()
    visits = (("2023-10-01", 18), ("2024-06-01", 14))
    rows = [
        f"{site},{site}{plot},20,2023-06-01,{day},{alive - plot}"
        for site in "NSW"
        for plot in (1, 2, 3)
        for day, alive in visits
    ]
    (home / "seen.csv").write_text("\n".join(["Site,Plot,Planted,Planted date,Date,Alive", *rows]) + "\n")


def files_of(folder: Path) -> dict[str, bytes]:
    """Every file that a reader may open, the writer's own left out."""
    return {
        str(path.relative_to(folder)): path.read_bytes()
        for path in folder.rglob("*")
        if path.is_file() and not any(part.startswith(".") for part in path.relative_to(folder).parts)
    }


@pytest.mark.slow
@pytest.mark.skipif(sys.platform == "win32", reason="no such signal")
def test_a_run_that_is_killed_leaves_every_file_whole(tmp_path: Path):
    """At twenty random moments; the two versions differ by a note that stands in the documents."""
    home, out = tmp_path / "north", tmp_path / "reports"
    counted(home)
    wanted = {}
    for note in ("first", "second"):
        (home / "study.toml").write_text(STUDY.format(note=note))
        load(home).report(tmp_path / note)
        wanted[note] = files_of(tmp_path / note)
    assert wanted["first"] != wanted["second"]
    pipe = subprocess.PIPE
    command = [sys.executable, "-c", RUN, str(home), str(out)]
    runs = subprocess.Popen(command, stdin=pipe, stdout=pipe, stderr=subprocess.DEVNULL, text=True)
    assert runs.stdin is not None
    assert runs.stdout is not None
    assert runs.stdout.readline() == "ready\n"
    moments, ends = random.Random(5), set()
    for turn in range(TIMES):
        note = ("first", "second")[turn % 2]
        (home / "study.toml").write_text(STUDY.format(note=note))
        print("go", file=runs.stdin, flush=True)
        run = int(runs.stdout.readline())
        time.sleep(moments.uniform(0.05, 1.2))
        with contextlib.suppress(ProcessLookupError):
            os.kill(run, signal.SIGKILL)
        ends.add(int(runs.stdout.readline()))
        found = files_of(out)
        assert found.keys() == wanted["first"].keys()
        for name, content in found.items():
            assert content in (wanted["first"][name], wanted["second"][name]), name
        assert load(home).settings.study.note == note
    assert signal.SIGKILL in ends
    runs.stdin.close()
    runs.stdout.close()
    assert runs.wait(20) == 0
    load(home).report(out)  # a lock that was left behind stops nobody
    assert files_of(out) == wanted[note]
    assert [path.name for path in out.iterdir() if path.name.startswith(".survivor-new")] == []
