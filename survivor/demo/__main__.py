"""Write the demo cohorts: ``python -m survivor.demo FOLDER``."""

from __future__ import annotations

import sys
from pathlib import Path

from survivor.demo import write_demo


def main(arguments: list[str]) -> int:
    """Write into the folder named, over what stands there, and list what was written."""
    if len(arguments) != 1:
        print("Name one folder to write into: python -m survivor.demo FOLDER", file=sys.stderr)
        return 2
    for path in write_demo(Path(arguments[0]), overwrite=True):
        print(path)
    return 0


sys.exit(main(sys.argv[1:]))
