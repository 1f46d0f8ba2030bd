"""A save that is killed at any moment leaves the study file as it was, or as it was to be."""

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
