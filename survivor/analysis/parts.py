"""A part of the analysis is made, or there is a reason why not: a value, never raised past the report."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Final, TypeVar

import pandas as pd

from survivor.errors import SurvivorError
from survivor.words import sentence

Made = TypeVar("Made")

# What each part is called where its reason is printed; a part without one says it in its reason.
_SUBJECTS: Final = {
    "curves": "Survival curves",
    "models": "No model of survival by method",
    "survival": "Survival by method",
    "comparing": "Comparison with the usual practice",
    "all_pairs": "All pairs",
    "confounding": "Methods by site",
    "radius": "Weed-free radius",
    "radius_held_equal": "Preparations at the same weed-free radius",
    "costs": "Cost per established plant",
    "costs_in_seasons": "Cost in a dry and in a wet season",
    "stems_needed": "Plants to put in for the stems wanted",
    "infill_order": "Infill to order",
    "totals": "Survival of the planting",
    "target": "Target",
}
# Their reason stands in their own section, or is an answer itself.
_IN_PLACE: Final = frozenset(
    (
        "radius_by_method",
        "mean_days",
        "hazards",
        "residuals",
        "within_between",
        "sensitivity",
        "like_sites",
        "permutation",
        "rain",
    )
)


@dataclass(frozen=True)
class Reason:
    """Why a part could not be made.

    Attributes
    ----------
    part
        Name of the part, as in ``Analysis.unmade``.
    what
        The reason, without a full stop.
    what_to_do
        What would make the part possible; may be empty.
    subject
        What the part is called; empty where ``what`` says so itself.
    """

    part: str
    what: str
    what_to_do: str = ""
    subject: str = ""

    @property
    def text(self) -> str:
        """The reason in sentences, with what it is the reason of."""
        named = f"{self.subject}: {self.what}" if self.subject else self.what
        return " ".join(filter(None, (sentence(named), sentence(self.what_to_do))))

    @property
    def alone(self) -> str:
        """The reason in sentences, to stand where its subject has been named."""
        return " ".join(filter(None, (sentence(self.what), sentence(self.what_to_do))))


def reason(part: str, what: str, what_to_do: str = "") -> Reason:
    """Give the reason under the name that its part has in print."""
    return Reason(part, what, what_to_do, _SUBJECTS.get(part, ""))


def attempt(part: str, make: Callable[[], Made]) -> Made | Reason:
    """Make a part, or say why it cannot be made."""
    try:
        return make()
    except SurvivorError as fault:
        return reason(part, fault.what, fault.mend or "")


def no_rows(*columns: str) -> Callable[[], pd.DataFrame]:
    """Return a maker of empty tables with these columns."""
    return lambda: pd.DataFrame(columns=list(columns))


class Unmade(dict[str, Reason]):
    """Reasons by part, in the order met: the only place where they are kept."""

    def keep(self, made: Made | Reason) -> Made | None:
        """Return a part that was made; of one that was not, keep the reason and return None."""
        if not isinstance(made, Reason):
            return made
        self.setdefault(made.part, made)
        return None

    def attempt(self, part: str, make: Callable[[], Made | Reason]) -> Made | None:
        """Make a part; where it cannot be made, keep the reason and return None."""
        return self.keep(attempt(part, make))

    def keep_all(self, reasons: Iterable[Reason]) -> None:
        """Keep the reasons of several parts."""
        for why in reasons:
            self.keep(why)

    def texts(self, *parts: str) -> tuple[str, ...]:
        """Write the reasons of these parts, each once; of all parts that are answers where none is named."""
        named = parts or tuple(part for part in self if part not in _IN_PLACE)
        return tuple(dict.fromkeys(self[part].text for part in named if part in self))
