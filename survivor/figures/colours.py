"""Every colour by its use, on a light page and a dark one: drawings, pages and documents share them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final


@dataclass(frozen=True)
class Colour:
    """A colour for one use, on a light page and on a dark one (both as ``#rrggbb``)."""

    light: str
    dark: str


# Every light value must differ from the others: the page finds a use by its value.
COLOURS: Final[dict[str, Colour]] = {
    "ink": Colour("#1c2522", "#e4e9e5"),
    "quiet": Colour("#4e5853", "#a9b4ae"),
    "rule": Colour("#d3d9d5", "#39423e"),
    "paper": Colour("#fdfdfb", "#151a18"),
    "accent": Colour("#0d5f58", "#6cc7b8"),
    "usual": Colour("#74807a", "#939f99"),
    "dry": Colour("#efdfb6", "#4b4020"),
    "drywords": Colour("#5a440e", "#d9bd78"),
    "worth": Colour("#e2e8ee", "#2b353d"),
    "target": Colour("#8a3b1c", "#eb9c78"),
    "line2": Colour("#9a4a12", "#e59b62"),
    "line3": Colour("#4f3d8f", "#b3a4ee"),
    "line4": Colour("#1f6fa3", "#7dbde8"),
    "line5": Colour("#97316a", "#ea92c4"),
    "line6": Colour("#5d5b12", "#c9c56a"),
}
