"""A finished drawing with its texts put into other words."""

from __future__ import annotations

from collections.abc import Callable

from matplotlib.text import Text

from survivor.figures.style import Drawing


def relabelled(drawing: Drawing, words: Callable[[str], str]) -> Drawing:
    """Put every text of a drawing through ``words``; the drawing is changed and returned.

    Texts are of their length in the layout; words that differ much in length may not fit.
    """
    for part in drawing.findobj(Text):
        if isinstance(part, Text) and words(part.get_text()) != part.get_text():
            part.set_text(words(part.get_text()))
    return drawing
