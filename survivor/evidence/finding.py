"""One answer with everything that a reader needs to weigh it."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any, Literal

import pandas as pd

Grade = Literal["firm", "fair", "slight", "unanswered"]
VerdictWord = Literal["met", "not met", "not shown"]


@dataclass(frozen=True)
class Finding:
    """A question and its answer.

    Attributes
    ----------
    key
        Short name, the same in every season.
    question
        As a reader would ask it.
    answer
        One sentence, with number, unit, limits and n.
    estimate, lower, upper
        In ``unit``; None where there is none. Limits are two-sided 95 %.
    unit
        For example ``per 100 planted``.
    milestone, at_day
        The milestone's name and the days since planting used.
    methods
        The methods compared, in the order of the difference.
    n_seedlings, n_plots, n_sites
        What the answer rests on.
    checks
        What was noticed on the way, in sentences.
    cost
        What it costs, in words, or None.
    grade
        ``firm``, ``fair``, ``slight`` or ``unanswered``.
    reasons, raise_it
        Why the grade is no higher, and what would raise it.
    verdict
        On a target only: ``met``, ``not met`` or ``not shown``.
    """

    key: str
    question: str
    answer: str
    estimate: float | None
    lower: float | None
    upper: float | None
    unit: str
    milestone: str
    at_day: float
    methods: tuple[str, ...] = ()
    n_seedlings: int = 0
    n_plots: int = 0
    n_sites: int = 0
    checks: tuple[str, ...] = ()
    cost: str | None = None
    grade: Grade = "unanswered"
    reasons: tuple[str, ...] = ()
    raise_it: tuple[str, ...] = ()
    verdict: VerdictWord | None = None

    def as_record(self) -> dict[str, Any]:
        """Return the finding as plain values, tuples as lists, ready for JSON."""
        return {
            name: list(value) if isinstance(value, tuple) else value for name, value in asdict(self).items()
        }

    @property
    def table(self) -> pd.DataFrame:
        """The finding as a table of one row."""
        record = {
            name: "; ".join(value) if isinstance(value, list) else value
            for name, value in self.as_record().items()
        }
        return pd.DataFrame([record])

    def __str__(self) -> str:
        return f"{self.answer} [{self.grade}]"

    def _repr_html_(self) -> str:
        return str(self.table.T.to_html(header=False))
