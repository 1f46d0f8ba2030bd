"""A figure as SVG text that stands inside a page: named, described, with ids of its own.

Matplotlib numbers the parts of every figure alike (``figure_1``, ``axes_1``), and
ids must be unique in a page, so each is prefixed with the figure's name. Colours
become style variables with the light value as the fallback.
"""

from __future__ import annotations

import io
import re
import textwrap
from html import escape
from typing import Final

from matplotlib.backends.backend_svg import FigureCanvasSVG
from matplotlib.text import Text

from survivor.figures.colours import COLOURS
from survivor.figures.style import Drawing, only_measured, styled

_NAME: Final = re.compile(r"^[a-z][a-z0-9-]*$")
_LEAST_LETTERS: Final = 12  # of a line of the words of an axis
_USE: Final = {colour.light: name for name, colour in COLOURS.items()}


def to_svg(figure: Drawing, name: str, title: str, description: str) -> str:
    """Return the figure as one ``<svg>`` element.

    Parameters
    ----------
    figure
        Drawn inside :func:`survivor.figures.style.styled`.
    name
        Prefix of every id: small letters, figures and hyphens; unique in the page.
    title
        What the figure is, for a reader who can't see it.
    description
        What it shows: the finding in a sentence.

    Returns
    -------
    str
        Without XML declaration, metadata or outside address. The same figure gives
        the same bytes.
    """
    if not _NAME.match(name):
        raise ValueError(f"a figure's name is small letters, figures and hyphens, not {name!r}")
    raw = io.StringIO()
    with styled(), only_measured():
        _arrange(figure)
        figure.savefig(raw, format="svg", transparent=True, metadata={"Date": None, "Creator": None})
    text = raw.getvalue()
    body = text[text.index("<svg") :]
    head, inner = body.split(">", 1)
    view = re.search(r'viewBox="([^"]+)"', head)
    assert view is not None, "matplotlib writes a viewBox"
    inner = re.sub(r"<metadata>.*?</metadata>\s*", "", inner, flags=re.DOTALL)
    inner = re.sub(r'<style type="text/css">.*?</style>\s*', "", inner, flags=re.DOTALL)
    inner = re.sub(r"<!--.*?-->\s*|<defs>\s*</defs>\s*", "", inner, flags=re.DOTALL)
    # Inside tags only: what stands between them is the records' own words.
    inner = re.sub(r"<[^>]*>", lambda tag: _rounded(_with_variables(_with_own_ids(tag[0], name))), inner)
    inner = re.sub(r"\n\s*", "\n", inner).strip()
    start = (
        f'<svg viewBox="{view[1]}" role="img" aria-labelledby="{name}-title" aria-describedby="{name}-desc" '
        'style="stroke-linejoin:round;stroke-linecap:butt" focusable="false">'
    )
    named = f'<title id="{name}-title">{escape(title)}</title>'
    described = f'<desc id="{name}-desc">{escape(description)}</desc>'
    return "\n".join([start, named, described, inner, ""])


def _arrange(figure: Drawing) -> None:
    """Give the parts of a figure their places once; saving would draw it all once more to do so."""
    layout = figure.get_layout_engine()
    if layout is None:
        return
    FigureCanvasSVG(figure)  # letters are measured as they will be drawn
    layout.execute(figure)
    if any([_in_lines(ax.xaxis.label, figure) for ax in figure.axes]):
        layout.execute(figure)
    figure.set_layout_engine(None)


def _in_lines(label: Text, figure: Drawing) -> bool:
    """Break the words of an axis where they would run out of the figure; whether they were broken."""
    if not label.get_text():
        return False
    box = label.get_window_extent()
    if box.x1 <= figure.bbox.width:
        return False
    letters = int(len(label.get_text()) * (figure.bbox.width - box.x0) / box.width)
    label.set_text("\n".join(textwrap.wrap(label.get_text(), max(letters, _LEAST_LETTERS))))
    return True


def _with_own_ids(tag: str, name: str) -> str:
    tag = re.sub(r' id="([^"]+)"', rf' id="{name}-\1"', tag)
    tag = re.sub(r' (?:xlink:)?href="#([^"]+)"', rf' href="#{name}-\1"', tag)
    return re.sub(r"url\(#([^)]+)\)", rf"url(#{name}-\1)", tag)


def _with_variables(tag: str) -> str:
    def variable(match: re.Match[str]) -> str:
        value = match[2].lower()
        return f"{match[1]}var(--{_USE[value]}, {value})" if value in _USE else match[0]

    return re.sub(r"((?:fill|stroke|stop-color): ?)(#[0-9a-fA-F]{6})", variable, tag)


def _rounded(tag: str) -> str:
    """Keep two places: a hundredth of a point can't be seen, and six cost half the bytes."""
    return re.sub(r"-?\d+\.\d{3,}", lambda number: f"{float(number[0]):.2f}".rstrip("0").rstrip("."), tag)
