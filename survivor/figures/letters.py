"""Letters that the type of a document holds, and what is done with those that it does not.

A name may have letters that DejaVu lacks (Chinese, emoji). Where a typeface installed on the machine has
them, it is used for them; the others are shown by a mark, and named, so that nothing is lost in silence.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cache
from typing import Final

from survivor.figures.style import font_folder

MARK: Final = "\N{REPLACEMENT CHARACTER}"
FACES: Final = ("DejaVuSans.ttf", "DejaVuSans-Bold.ttf", "DejaVuSans-Oblique.ttf", "DejaVuSerif.ttf")
_UNSEEN: Final = ("Cc", "Cf", "Zs", "Zl", "Zp")  # kinds of characters that show nothing
_MOST_NAMED: Final = 12


@dataclass(frozen=True)
class Letters:
    """Letters that the document's own type lacks: ``elsewhere`` some installed type has, ``nowhere`` none."""

    elsewhere: frozenset[str] = frozenset()
    nowhere: frozenset[str] = frozenset()

    def shown(self, text: str) -> str:
        """Put a mark in place of each letter that no type has."""
        return text.translate({ord(letter): MARK for letter in self.nowhere})

    @property
    def said(self) -> str:
        """Name the letters that no type has, in a sentence; empty where there are none."""
        if not self.nowhere:
            return ""
        named = [f"U+{ord(letter):04X}" for letter in sorted(self.nowhere)]
        more = f" and {len(named) - _MOST_NAMED} more" if len(named) > _MOST_NAMED else ""
        return (
            f"No type on the machine that made this document has these characters, shown as {MARK}: "
            f"{', '.join(named[:_MOST_NAMED])}{more}. The page of the same name shows them."
        )


def letters_of(texts: Iterable[str]) -> Letters:
    """Find the letters of some texts that the document's type lacks.

    Parameters
    ----------
    texts
        All that will be set.
    """
    lacking = {letter for text in texts for letter in text} - _own()
    lacking = {letter for letter in lacking if unicodedata.category(letter) not in _UNSEEN}
    if not lacking:
        return Letters()
    there = {letter for letter in lacking if ord(letter) in _installed()}
    return Letters(frozenset(there), frozenset(lacking - there))


@cache
def _own() -> frozenset[str]:
    """Characters that every face of the document's type has."""
    held = [set(_charmap(str(font_folder() / face))) for face in FACES]
    return frozenset(map(chr, set.intersection(*held)))


@cache
def _installed() -> frozenset[int]:
    """Code points that some typeface of the machine has."""
    from matplotlib.font_manager import findSystemFonts

    letters: set[int] = set()
    for file in findSystemFonts():
        letters |= set(_charmap(file))
    return frozenset(letters)


def _charmap(file: str) -> Mapping[int, int]:
    from matplotlib.ft2font import FT2Font

    try:
        return FT2Font(file).get_charmap()
    except (RuntimeError, OSError):  # a file that is no outline type, such as one of bitmaps
        return {}
