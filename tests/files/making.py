"""A program that writes two versions of a folder in turn, until it is killed: FOLDER, and which way."""

from __future__ import annotations

import sys
from pathlib import Path

from survivor.files import writing as module
from survivor.files.writing import writing

OLD = {f"t/{number}": f"old {number} " * 200 for number in range(5)} | {"page": "old " * 5000}
NEW = {f"t/{number}": f"new {number} " * 200 for number in range(2, 8)} | {"page": "new " * 7000}


def put(folder: Path, files: dict[str, str], what: str = "the report", **how) -> tuple[Path, ...]:
    with writing(folder, what, **how) as place:
        return place.write(files)


if __name__ == "__main__":
    if sys.argv[2] == "one by one":
        module._exchanged = lambda stage, folder: False
    print("begun", flush=True)
    while True:
        for version in (NEW, OLD):
            put(Path(sys.argv[1]), version)
