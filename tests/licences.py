"""Licences of everything that a plain install brings, from what the packages say; and where they are written.

``python -m tests.licences`` writes the table into DEVELOPERS.md.
"""

from __future__ import annotations

import re
import tomllib
from importlib.metadata import PackageNotFoundError, distribution
from pathlib import Path

from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

GUIDE = Path(__file__).parents[1] / "DEVELOPERS.md"
BEGIN, END = "<!-- licences: begin -->", "<!-- licences: end -->"
# A package whose metadata hold the whole text, or name it otherwise than the others -> what its text is.
TEXTS = {"matplotlib": "Matplotlib (PSF-like)"}
NAMES = {
    "MIT License": "MIT",
    "BSD License": "BSD",
    "Apache Software License": "Apache-2.0",
    "ISC License (ISCL)": "ISC",
    "Python Software Foundation License": "PSF-2.0",
}


def closure() -> set[str]:
    """Names of every package that a plain install brings here."""
    project = tomllib.loads((GUIDE.parent / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    found: set[str] = set()
    waiting = list(project["dependencies"])
    while waiting:
        needed = Requirement(waiting.pop())
        name = canonicalize_name(needed.name)
        if name in found or (needed.marker is not None and not needed.marker.evaluate({"extra": ""})):
            continue
        try:
            waiting += distribution(name).requires or ()
        except PackageNotFoundError:  # of another system
            continue
        found.add(name)
    return found


def licence_of(name: str) -> str:
    """Name the licence of a package in a few words; empty where it says none."""
    told = distribution(name).metadata
    classed = [
        line.rpartition(" :: ")[2] for line in told.get_all("Classifier") or () if line.startswith("License")
    ]
    short = told.get("License-Expression") or (told.get("License") or "").strip()
    if name in TEXTS:
        return TEXTS[name]
    if not short or "\n" in short or len(short) > 80:
        short = " and ".join(NAMES.get(line, line) for line in classed if line != "OSI Approved")
    return NAMES.get(short, short)


def table() -> str:
    rows = [f"| {name} | {licence_of(name)} |" for name in sorted(closure())]
    return "\n".join(["| package | licence |", "|---|---|", *rows])


def written() -> str:
    """Return the table that stands in the guide."""
    found = re.search(rf"{BEGIN}\n(.*?)\n{END}", GUIDE.read_text(encoding="utf-8"), re.DOTALL)
    return found[1] if found is not None else ""


if __name__ == "__main__":
    text = GUIDE.read_text(encoding="utf-8")
    GUIDE.write_text(
        text.replace(f"{BEGIN}\n{written()}\n{END}", f"{BEGIN}\n{table()}\n{END}"), encoding="utf-8"
    )
