"""A sheet read as most tests read one: at once, with its header apart from its body."""

from __future__ import annotations

from pathlib import Path

from survivor.files.sheets import Grid, read_whole


def read_grid(
    path: Path, *, name: str = "", sheet: str | None = None, skip_rows: int = 0, header_rows: int = 1
) -> Grid:
    """Read one sheet, and part its header from its body."""
    return read_whole(path, name=name, sheet=sheet).cut(skip_rows, header_rows)
