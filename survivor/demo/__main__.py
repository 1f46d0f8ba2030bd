"""Write the demo cohorts, or the example reports that are made of them.

``python -m survivor.demo FOLDER`` and ``python -m survivor.demo reports [DATASETS OUT]``.
"""

from __future__ import annotations

import sys
from pathlib import Path

from survivor.demo import write_demo
from survivor.demo.examples import write_examples


def main(arguments: list[str]) -> int:
    """Write into the folder named, over what stands there, and list what was written."""
    if arguments[:1] == ["reports"] and len(arguments) in (1, 3):
        datasets, out = arguments[1:] or ("datasets", "reports/examples")
        for path in write_examples(datasets, out):
            print(path)
        return 0
    if len(arguments) != 1:
        print(
            "Name one folder to write into: python -m survivor.demo FOLDER; or make the example reports of "
            "datasets/ into reports/examples/: python -m survivor.demo reports",
            file=sys.stderr,
        )
        return 2
    for path in write_demo(Path(arguments[0]), overwrite=True):
        print(path)
    return 0


sys.exit(main(sys.argv[1:]))
