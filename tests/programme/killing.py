"""A process of a local cluster, killed."""

from __future__ import annotations

import signal

import psutil


def kill_a_worker() -> None:
    """Kill one process of the cluster that this process has opened."""
    workers = [
        child
        for child in psutil.Process().children(recursive=True)
        if "spawn_main" in " ".join(child.cmdline())
    ]
    assert workers, "no process of the cluster was found"
    workers[0].send_signal(signal.SIGKILL)
