"""One table of one sheet as it is understood: where it stands, what its columns and its titles tell."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any, Literal

import pandas as pd

from survivor.files import cells
from survivor.files.headers import Matched
from survivor.files.sheets import Grid
from survivor.records.tables import Part
from survivor.records.visit_columns import VisitColumns
from survivor.settings import Sheet

Role = Literal["tagged", "counts", "plots", "other"]


@dataclass(frozen=True)
class Guess:
    """What one table of one sheet seems to be.

    Attributes
    ----------
    sheet, part, grid, matched
        How it is cut, and what its columns were taken for.
    role
        "tagged" and "counts" hold visits, "plots" a row a plot, "other" neither.
    visits, alone
        Visits of a wide sheet, and its columns of heights of no such visit.
    order, asked
        Order of day and month; whether it has days that only it tells, and nothing tells it.
    every_row, planted_by_site
        What its name and its titles say of all its rows, and of the planting days of its sites.
    fill_down
        Words whose blank cells mean as above.
    titles, texts
        Texts above its table, and beside or below it.
    counted
        What its counts are of; "" where that has to be asked.
    """

    sheet: Sheet
    part: Part
    grid: Grid
    matched: Matched
    role: Role
    visits: tuple[VisitColumns, ...]
    alone: tuple[int, ...]
    order: cells.DateOrder
    asked: bool
    every_row: dict[str, str]
    fill_down: tuple[str, ...]
    titles: tuple[str, ...]
    texts: tuple[str, ...]
    counted: str = "alive"
    planted_by_site: dict[str, str] = field(default_factory=dict)
    days_by_site: dict[int, dict[str, str]] = field(default_factory=dict)  # place of a visit -> site -> day
    assumed: tuple[str, ...] = ()
    may_be: dict[str, tuple[int, ...]] = field(default_factory=dict)  # our word -> columns that may tell it

    @property
    def holds_visits(self) -> bool:
        """Whether it is a sheet of visits."""
        return self.role in ("tagged", "counts")

    @property
    def values(self) -> list[int]:
        """Places of the columns that tell states or counts."""
        words = ("state",) if self.role == "tagged" else ("alive", "dead")
        of_words = [self.matched.positions[word] for word in words if word in self.matched.positions]
        return [visit.value for visit in self.visits] or list(of_words[0] if of_words else ())

    def texts_of(self, word: str) -> pd.Series[Any]:
        """Texts of one of our words in every row, filled down where they are written once."""
        every = self.every_row.get(word, "")
        places = self.matched.positions.get(word, ())
        if not places:
            return pd.Series(every, index=self.grid.cells.index, dtype=object)
        text = cells.texts(self.grid.cells[places[0]])
        return text.where(text != "").ffill().fillna("") if word in self.fill_down else text
