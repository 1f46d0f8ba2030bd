"""A command that is killed, or whose disk is full, leaves every file whole: as it was, or as it was to be."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from tests.cli.breaking import CASES

KILLED, FULL = 20, 4  # times for each of fourteen commands: 280 kills, 56 full disks
OWN_DISKS = ("unshare", "--mount", "--map-root-user")


def has_own_disks() -> bool:
    """Whether this machine lets a process have disks of its own, of any size."""
    try:
        asked = [*OWN_DISKS, "mount", "-t", "tmpfs", "tmpfs", "/mnt"]
        return subprocess.run(asked, capture_output=True, check=False).returncode == 0
    except OSError:
        return False


def broken_off(folder: Path, name: str, how: str, times: int, seed: int) -> str:
    if how == "full" and not has_own_disks():
        pytest.skip("no disk of its own is given to a process here")
    breaking = [sys.executable, "-W", "ignore", "-m", "tests.cli.breaking", name, how, times, seed, folder]
    before = OWN_DISKS if how == "full" else ()
    ended = subprocess.run([*before, *map(str, breaking)], capture_output=True, text=True, check=False)
    assert ended.returncode == 0, ended.stderr
    print(ended.stdout)
    return ended.stdout


@pytest.mark.slow
@pytest.mark.skipif(sys.platform != "linux", reason="copies of a process that is at work")
@pytest.mark.parametrize(("name", "how"), [("matches", "full"), ("layout", "killed")])
def test_a_command_that_is_broken_off_leaves_every_file_whole(tmp_path, name, how):
    broken_off(tmp_path, name, how, 2, seed=1)


@pytest.mark.slow
@pytest.mark.skipif(sys.platform != "linux", reason="copies of a process that is at work")
@pytest.mark.parametrize(("how", "times"), [("killed", KILLED), ("full", FULL)])
@pytest.mark.parametrize("name", CASES)
def test_commands_broken_off_at_many_moments_leave_every_file_whole(tmp_path, name, how, times):
    broken_off(tmp_path, name, how, times, seed=2)
