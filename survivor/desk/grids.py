"""Sheets as a page shows them: cells that are filled from above, and what the name of the sheet may tell."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from survivor.records.shown import Shown

Row = tuple[int, tuple[tuple[str, bool], ...]]


@dataclass(frozen=True)
class Grid:
    """A sheet on a page.

    Attributes
    ----------
    shown
        The sheet as it stands and as it is understood.
    rows
        Number in the sheet, and of each cell its text and whether that stands further above.
    site
        Site of every row, where the study file says one; else "".
    named
        What the sheet is called.
    """

    shown: Shown
    rows: tuple[Row, ...]
    site: str
    named: str

    @classmethod
    def of(cls, shown: Shown) -> Grid:
        """Make the grid of a sheet."""
        sheet = shown.sheet
        named = sheet.sheet or Path(sheet.file).stem
        return cls(shown, tuple(_filled(shown)), str(sheet.every_row.get("site", "")), named)


def _filled(shown: Shown) -> Iterator[Row]:
    """Give the rows, blank cells of columns that are filled down with what stands above them."""
    down = {place for place, column in enumerate(shown.columns) if column.word in shown.sheet.fill_down}
    above: dict[int, str] = {}
    for number, texts in shown.rows.items():
        cells = []
        for place, text in enumerate(texts):
            filled = place in down and not text and bool(above.get(place))
            cells.append((above[place] if filled else text, filled))
            if text:
                above[place] = text
        yield number, tuple(cells)


def site_chosen(grid: Grid, form: Mapping[str, object]) -> str:
    """Return the site of every row that a form says: that of the sheet's name, or the one that is typed."""
    typed = str(form.get("site", "")).strip()
    was_named, is_named = grid.site == grid.named, bool(form.get("site_named"))
    if is_named and not was_named:
        return grid.named
    if was_named and not is_named and typed == grid.site:
        return ""
    return typed
