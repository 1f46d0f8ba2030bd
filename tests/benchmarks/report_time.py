"""Seconds and peak memory of each demo report from a cold start.

Run ``python -m tests.benchmarks.report_time``. Each report is made in a process of its
own, as ``survivor report`` does it; the figures are printed, not tested.
"""

from __future__ import annotations

import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

DATASETS = Path(__file__).parents[2] / "datasets"
_REPORT = "import sys; from survivor.cli import main; sys.argv = ['survivor', *sys.argv[1:]]; main()"
# Peak memory is kept for all children together, so each report is measured by a parent of its own.
_MEASURED = "from tests.benchmarks.report_time import measured; import sys; measured(sys.argv[1])"


def measured(study: str) -> None:
    """Make one report in a process of its own; print its seconds, processor seconds and peak memory."""
    with tempfile.TemporaryDirectory() as folder:
        began = time.perf_counter()
        subprocess.run(
            [sys.executable, "-c", _REPORT, "report", study, "--out", folder],
            check=True,
            capture_output=True,
        )
        seconds = time.perf_counter() - began
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    megabytes = used.ru_maxrss / 1024  # kilobytes on Linux
    print(
        f"{Path(study).name:10} {seconds:6.1f} s, {used.ru_utime + used.ru_stime:6.1f} s of processor, "
        f"{megabytes:5.0f} MB at most"
    )


if __name__ == "__main__":
    for cohort in sorted(path for path in DATASETS.iterdir() if path.is_dir()):
        subprocess.run([sys.executable, "-c", _MEASURED, str(cohort)], check=True)
