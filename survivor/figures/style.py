"""One look for every figure: colours by their use, dashes, markers, type sizes.

A colour is named by what it is for. In a page each name becomes a style variable
(see :mod:`survivor.figures.svg`), so that one drawing serves a light page, a dark
page and a print; elsewhere the light value is drawn as it stands. Nothing is told
by colour alone: methods differ by dash, marker and a label beside the line too.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any, Final, Literal

import matplotlib as mpl
from matplotlib.axes import Axes
from matplotlib.figure import Figure

Drawing = Figure
Size = Literal["wide", "narrow"]

#: Width of a figure in inches: a column of text, or the screen of a telephone.
WIDTHS: Final[dict[Size, float]] = {"wide": 6.8, "narrow": 3.5}


@dataclass(frozen=True)
class Colour:
    """A colour for one use, on a light page and on a dark one (both as ``#rrggbb``)."""

    light: str
    dark: str


# Every light value must differ from the others: the page finds a use by its value.
COLOURS: Final[dict[str, Colour]] = {
    "ink": Colour("#1c2522", "#e4e9e5"),
    "quiet": Colour("#56615c", "#a9b4ae"),
    "rule": Colour("#d3d9d5", "#39423e"),
    "paper": Colour("#fdfdfb", "#151a18"),
    "accent": Colour("#0d5f58", "#6cc7b8"),
    "usual": Colour("#74807a", "#939f99"),
    "dry": Colour("#efdfb6", "#4b4020"),
    "drywords": Colour("#6f561a", "#d9bd78"),
    "worth": Colour("#e2e8ee", "#2b353d"),
    "target": Colour("#8a3b1c", "#eb9c78"),
    "line2": Colour("#9a4a12", "#e59b62"),
    "line3": Colour("#4f3d8f", "#b3a4ee"),
    "line4": Colour("#1f6fa3", "#7dbde8"),
    "line5": Colour("#97316a", "#ea92c4"),
    "line6": Colour("#5d5b12", "#c9c56a"),
}

INK, QUIET, RULE, PAPER = (COLOURS[name].light for name in ("ink", "quiet", "rule", "paper"))
ACCENT, USUAL = COLOURS["accent"].light, COLOURS["usual"].light
DRY, DRY_WORDS = COLOURS["dry"].light, COLOURS["drywords"].light
WORTH, TARGET = COLOURS["worth"].light, COLOURS["target"].light


@dataclass(frozen=True)
class Line:
    """How one method's line looks: colour, dash and marker together tell it apart."""

    colour: str
    dash: Any
    marker: str


_LINES: Final = (
    Line(ACCENT, "solid", "o"),
    Line(COLOURS["line2"].light, (0, (6, 2)), "s"),
    Line(COLOURS["line3"].light, (0, (2, 1.5)), "D"),
    Line(COLOURS["line4"].light, (0, (8, 2, 2, 2)), "^"),
    Line(COLOURS["line5"].light, (0, (4, 1.5, 1, 1.5, 1, 1.5)), "v"),
    Line(COLOURS["line6"].light, (0, (10, 3)), "P"),
)
USUAL_LINE: Final = Line(USUAL, (0, (3, 1.5)), "o")

BODY: Final = 8.5  # points; a page shows a figure about 1.4 times as large
SMALL: Final = 7.5


def lines(methods: Sequence[str], usual: str | None = None) -> dict[str, Line]:
    """Give each method a line of its own; the usual practice is always grey.

    Parameters
    ----------
    methods
        Names in the order drawn.
    usual
        Name of the usual local practice, if one is named.

    Returns
    -------
    dict of str to Line
    """
    others = [name for name in methods if name != usual]
    found = {name: _LINES[i % len(_LINES)] for i, name in enumerate(others)}
    return {name: found.get(name, USUAL_LINE) for name in methods}


_RC: Final[dict[Any, Any]] = {
    "svg.fonttype": "none",  # text stays text: searchable, read aloud, in the page's own face
    "svg.hashsalt": "survivor",  # the same drawing gives the same bytes
    "text.parse_math": False,  # a dollar sign in a site's name is a dollar sign
    "text.usetex": False,
    "font.family": "DejaVu Sans",
    "font.size": BODY,
    "text.color": INK,
    "figure.facecolor": "none",
    "savefig.facecolor": "none",
    "axes.facecolor": "none",
    "figure.max_open_warning": 0,
    "axes.edgecolor": QUIET,
    "axes.labelcolor": QUIET,
    "axes.labelsize": BODY,
    "axes.titlecolor": INK,
    "axes.titlesize": BODY,
    "axes.titleweight": "bold",
    "axes.titlelocation": "left",
    "axes.linewidth": 0.7,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.axisbelow": True,
    "axes.unicode_minus": True,
    "axes.formatter.useoffset": False,
    "grid.color": RULE,
    "grid.linewidth": 0.6,
    "xtick.color": QUIET,
    "ytick.color": QUIET,
    "xtick.labelsize": SMALL,
    "ytick.labelsize": SMALL,
    "xtick.major.width": 0.7,
    "ytick.major.width": 0.7,
    "xtick.major.size": 3.0,
    "ytick.major.size": 3.0,
    "lines.linewidth": 1.6,
    "lines.solid_capstyle": "butt",
    "hatch.linewidth": 0.6,
    "hatch.color": QUIET,
    "figure.constrained_layout.h_pad": 0.03,
    "figure.constrained_layout.w_pad": 0.03,
}


@contextmanager
def styled() -> Iterator[None]:
    """Draw in this package's style inside the block, and in the caller's after it."""
    with mpl.rc_context():
        mpl.rcdefaults()
        mpl.rcParams.update(_RC)
        yield


def blank(width: float, height: float) -> Drawing:
    """Return an empty figure that no window or global list holds on to.

    Parameters
    ----------
    width, height
        In inches.
    """
    return Figure(figsize=(width, height), layout="constrained")


def axes_or_new(ax: Axes | None, width: float = 6.4, height: float = 3.8) -> Axes:
    """Return ``ax``, or Axes of a new figure that a notebook will show."""
    if ax is not None:
        return ax
    import matplotlib.pyplot as plt

    return plt.subplots(figsize=(width, height), layout="constrained")[1]


def wrapped(text: str, width: int) -> list[str]:
    """Break a name into lines of at most ``width`` letters; never returns an empty list."""
    import textwrap

    return textwrap.wrap(text, width=width, break_long_words=True, max_lines=3, placeholder=" …") or [""]


def spread(places: Sequence[float], gap: float, low: float, high: float) -> list[float]:
    """Move label places apart so that none is nearer to the next than ``gap``.

    Parameters
    ----------
    places
        Wanted places, in any order.
    gap
        Least distance between two labels, same unit.
    low, high
        Places stay inside these where there is room for all.

    Returns
    -------
    list of float
        In the order given.
    """
    order = sorted(range(len(places)), key=lambda i: places[i])
    moved = [min(max(places[i], low), high) for i in order]
    for i in range(1, len(moved)):
        moved[i] = max(moved[i], moved[i - 1] + gap)
    if moved and moved[-1] > high:
        moved[-1] = high
        for i in range(len(moved) - 2, -1, -1):
            moved[i] = min(moved[i], moved[i + 1] - gap)
    out = [0.0] * len(places)
    for rank, i in enumerate(order):
        out[i] = moved[rank]
    return out
