"""One look for every figure: colours by their use, dashes, markers, type sizes.

A colour is named by what it is for. In a page each name becomes a style variable
(see :mod:`survivor.figures.svg`), so that one drawing serves a light page, a dark
page and a print; elsewhere the light value is drawn as it stands. Nothing is told
by colour alone: methods differ by dash, marker and a label beside the line too.
The look is a theme of seaborn with our own values over it.
"""

from __future__ import annotations

import math
import textwrap
import warnings
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final, Literal

import matplotlib as mpl
import seaborn as sns
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.font_manager import FontProperties
from matplotlib.textpath import text_to_path

from survivor.figures.colours import COLOURS

Drawing = Figure
Size = Literal["wide", "narrow"]

#: Width of a figure in inches: a column of text, or the screen of a telephone.
WIDTHS: Final[dict[Size, float]] = {"wide": 5.9, "narrow": 2.85}


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

#: Points, of every letter: a page shows a figure at 1.8 times its size, so they are as large as its words.
BODY: Final = 9.2
_BESIDE_PANELS: Final = 56.0  # points of a figure's width that its axis takes
_LEAST_LETTERS: Final = 8


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
    compared = [name for name in methods if name != usual]
    looks = {name: _LINES[i % len(_LINES)] for i, name in enumerate(compared)}
    return {name: looks.get(name, USUAL_LINE) for name in methods}


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
    "xtick.labelsize": BODY,
    "ytick.labelsize": BODY,
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
        palette = [line.colour for line in _LINES]
        sns.set_theme(context="paper", style="ticks", palette=palette, color_codes=False, rc=_RC)
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
    return textwrap.wrap(text, width=width, break_long_words=True, max_lines=3, placeholder=" …") or [""]


@contextmanager
def only_measured() -> Iterator[None]:
    """Let matplotlib say nothing of letters that its type lacks: it only measures; a page has its own."""
    with warnings.catch_warnings():
        warnings.filterwarnings("ignore", message=r"Glyph .* missing from font")
        yield


@only_measured()
def titled(name: str, size: Size, columns: int) -> str:
    """Break the title of a panel so that no line is wider than the panel, of so many beside each other."""
    room = (72 * WIDTHS[size] - _BESIDE_PANELS) / columns - 2
    letters = FontProperties(family=_RC["font.family"], weight="bold", size=BODY)
    most = int(room / (0.5 * BODY))
    while most > _LEAST_LETTERS and any(
        text_to_path.get_text_width_height_descent(line, letters, ismath=False)[0] > room
        for line in wrapped(name, most)
    ):
        most -= 1
    return "\n".join(wrapped(name, most))


def note(
    ax: Axes,
    text: str,
    at: tuple[Any, Any],
    shift: tuple[float, float] = (0, 0),
    *,
    colour: str = INK,
    **look: Any,
) -> None:
    """Write words beside a place of a drawing.

    Parameters
    ----------
    at
        The place, in data; in what ``xycoords`` says where it is given.
    shift
        How far from there, right and up, in points.
    colour
        Of the words.
    look
        Whatever else matplotlib's annotations take, such as ``ha`` and ``va``: which part of the
        words stands there.
    """
    usual: dict[str, Any] = {"fontsize": BODY, "textcoords": "offset points", "annotation_clip": False}
    usual |= {"ha": "left", "va": "center"}
    ax.annotate(text, at, xytext=shift, color=colour, **(usual | look))


def name_ends(ax: Axes, ends: Sequence[tuple[str, float, float, str]], gap: float, shift: float = 6) -> None:
    """Write names right of the ends of lines, moved apart: ``(words, x, y, colour)`` each.

    ``gap``: least distance between two names, as a share of the height of the axes.
    """
    low, high = ax.get_ylim()
    places = spread([y for _, _, y, _ in ends], gap * (high - low), low, high)
    for (words, x, _, colour), place in zip(ends, places, strict=True):
        note(ax, words, (x, place), (shift, 0), colour=colour)


def legend_below(ax: Axes, marks: Sequence[Any], names: Sequence[str], down: float) -> None:
    """Name each mark under the axes, ``down`` (a share of their height), where no room is beside them."""
    place: dict[str, Any] = {"loc": "upper left", "bbox_to_anchor": (-0.02, -down), "borderaxespad": 0}
    ax.legend(marks, names, frameon=False, fontsize=BODY, labelcolor=INK, **place)


def panels(names: Sequence[str], size: Size, height: float, axis: str) -> tuple[Drawing, dict[str, Axes]]:
    """Return a figure with a panel a name, all on the same axes of days after planting.

    Parameters
    ----------
    names
        Titles, in the order of the panels.
    size
        Three panels a row, or two.
    height
        Of a panel without its title, in inches.
    axis
        What stands along the side.
    """
    columns = 2 if len(names) == 4 else min(3 if size == "wide" else 2, max(len(names), 1))
    rows = math.ceil(len(names) / columns)
    titles = [titled(name, size, columns) for name in names]
    tallest = max((title.count("\n") + 1 for title in titles), default=1)
    figure = blank(WIDTHS[size], rows * (height + 0.13 * tallest) + 0.35)
    grid = list(figure.subplots(rows, columns, sharex=True, sharey=True, squeeze=False).flat)
    for place, (ax, title) in enumerate(zip(grid, titles, strict=False)):
        ax.set_title(title, fontsize=BODY)
        # Panels above an unfilled row still need their days.
        ax.xaxis.set_tick_params(labelbottom=place + columns >= len(names))
    for ax in grid[len(names) :]:
        ax.set_visible(False)
    # Right of the words along the side, which may reach down to the corner.
    beside = 1.6 * BODY / (72 * WIDTHS[size])
    figure.supxlabel("Days after planting", x=beside, ha="left", color=QUIET, fontsize=BODY)
    figure.supylabel(axis, color=QUIET, fontsize=BODY)
    return figure, dict(zip(names, grid, strict=False))


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


def font_folder() -> Path:
    """Return the folder of the typefaces that come with matplotlib; no other need be installed."""
    return Path(mpl.get_data_path()) / "fonts" / "ttf"
