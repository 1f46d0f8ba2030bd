"""What stands in a folder of reports: the last answer, its day, and what it was made of."""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Iterable
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any, Final

from survivor.desk.named import digest_of
from survivor.files.writing import write_whole

FINDINGS: Final = "findings.json"
OF_FILE: Final = "sha256 of "


@dataclass(frozen=True)
class Made:
    """A report that was made.

    Attributes
    ----------
    headline
        Its first answer.
    day
        On which it was made.
    digests
        Of the files that it was made of.
    """

    headline: str
    day: str
    digests: frozenset[str]

    def is_of_others(self, files: Iterable[Path]) -> bool:
        """Whether it was made of other files than these as they are now."""
        return bool(self.digests) and self.digests != {digest_of(file) for file in files if file.is_file()}


def made_of(folder: Path) -> Made | None:
    """Return the report in a folder; None where there is none that can be read."""
    file = folder / FINDINGS
    try:
        state = file.stat()
        return _made(file, state.st_mtime_ns, state.st_size)
    except (OSError, ValueError, KeyError, TypeError, AttributeError):
        return None


def keep_findings(folder: Path, kept: Path) -> None:
    """Keep the findings of a report before the next one takes its place."""
    file = folder / FINDINGS
    if file.is_file():
        write_whole(kept / FINDINGS, file.read_bytes(), "what the last report says")


@lru_cache(maxsize=512)
def _made(file: Path, changed: int, size: int) -> Made:
    told: dict[str, Any] = json.loads(file.read_text(encoding="utf-8"))
    first = next((finding["answer"] for finding in told["findings"] if finding["answer"]), "")
    digests = {value for name, value in told["provenance"].items() if name.startswith(OF_FILE)}
    day = dt.datetime.fromtimestamp(changed / 1e9)
    return Made(str(first), f"{day.day} {day:%B %Y, %H:%M}", frozenset(digests))
