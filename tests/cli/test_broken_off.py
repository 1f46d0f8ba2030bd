"""A command that is killed, or whose disk is full, leaves every file whole: as it was, or as it was to be."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from collections.abc import Iterator

import pytest

from tests.cli.breaking import CASES

# Times for each of fourteen commands: 140 kills, half just before a change and half by the clock, and 42 full
# disks, each drawn from a part of its own of the changes, the time and the room.
KILLED, FULL = 10, 3
OWN_DISKS = ("unshare", "--mount", "--map-root-user")


def has_own_disks() -> bool:
    """Whether this machine lets a process have disks of its own, of any size."""
    try:
        asked = [*OWN_DISKS, "mount", "-t", "tmpfs", "tmpfs", "/mnt"]
        return subprocess.run(asked, capture_output=True, check=False).returncode == 0
    except OSError:
        return False


@pytest.fixture(scope="module")
def own_disks() -> bool:
    return has_own_disks()


@pytest.fixture(scope="module")
def breaking(own_disks: bool) -> Iterator[subprocess.Popen[str]]:
    """A process that has loaded the package, each command in a copy of it."""
    command = [*(OWN_DISKS if own_disks else ()), sys.executable, "-W", "ignore", "-m", "tests.cli.breaking"]
    with subprocess.Popen(
        command,
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        env={**os.environ, "OPENBLAS_NUM_THREADS": "1"},  # as the command line has it
    ) as running:
        yield running
        running.stdin.close()


@pytest.mark.slow
@pytest.mark.skipif(sys.platform != "linux", reason="copies of a process that is at work")
@pytest.mark.parametrize("name", CASES)
def test_commands_broken_off_at_many_moments_leave_every_file_whole(tmp_path, name, breaking, own_disks):
    times = [f"killed={KILLED}", *([f"full={FULL}"] if own_disks else [])]
    breaking.stdin.write(json.dumps([name, "2", str(tmp_path), *times]) + "\n")
    breaking.stdin.flush()
    said = []
    for line in breaking.stdout:
        said.append(line)
        if line.startswith("ended "):
            break
    print(*said, sep="")
    assert said[-1:] == ["ended 0\n"], "".join(said)
    if not own_disks:
        pytest.skip("killed only: no disk of its own is given to a process here")
