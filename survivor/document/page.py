"""A report as one HTML file that needs nothing else: no network, no script, no fonts of its own."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Final

from jinja2 import Environment, PackageLoader, StrictUndefined, Template
from markupsafe import Markup

from survivor.document.elements import Figure, Report, Section, Table
from survivor.figures.colours import COLOURS
from survivor.figures.style import Size, styled
from survivor.figures.svg import to_svg
from survivor.parallel import side_by_side
from survivor.sentences import NEW_LINE, Sentence, Text, runs_of, sentences_of

PHONE_LETTERS: Final = 34  # a wider table is a card a row on a telephone
TABLET_LETTERS: Final = 60  # and a wider one in a narrow window too
SCREEN_LETTERS: Final = 100  # a wider one wraps its numbers and may be moved sideways, by keyboard too
_TOGETHER: Final = 16  # rows of a table that is not parted between two sheets of paper


@dataclass(frozen=True)
class Pictures:
    """Every figure of a report as SVG, by its key: for a wide page, and for a telephone."""

    wide: Mapping[str, str]
    narrow: Mapping[str, str]


def pictures_of(report: Report) -> Pictures:
    """Draw every figure of a report, once for each width."""
    return Pictures(wide=drawn(report, "wide"), narrow=drawn(report, "narrow"))


def drawn(report: Report, size: Size) -> dict[str, Markup]:
    """Draw every figure of a report for one width of page, by its key."""
    figures = figures_of(report)
    svgs = side_by_side(lambda figure: picture(figure, size), figures)
    return {figure.key: svg for figure, svg in zip(figures, svgs, strict=True)}


def figures_of(report: Report) -> list[Figure]:
    """List the figures of a report in reading order."""
    return [block for section in sections_of(report) for block in section.blocks if isinstance(block, Figure)]


def page_of(report: Report, pictures: Pictures | None = None) -> str:
    """Return the whole page as text; the same report gives the same text.

    Parameters
    ----------
    report
        What is said.
    pictures
        Its figures where they are drawn already.
    """
    style = files("survivor.document").joinpath("templates", "page.css").read_text(encoding="utf-8")
    drawings = pictures_of(report) if pictures is None else pictures
    return _template().render(report=report, drawn=drawings, colours=COLOURS, style=Markup(style))


@cache
def _template() -> Template:
    """Compile the page once; that takes longer than to fill it in."""
    environment = Environment(
        loader=PackageLoader("survivor.document", "templates"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
    )
    environment.globals["kind"] = lambda block: type(block).__name__.lower()
    environment.globals["runs"] = runs_of
    environment.globals["lines"] = lines_of
    environment.globals["moved"] = SCREEN_LETTERS
    environment.globals["rows_together"] = _TOGETHER
    environment.filters["breadth"] = breadth_of
    return environment.get_template("page.html.j2")


def breadth_of(table: Table) -> str:
    """Return the class of a table by the width under which each of its rows becomes a card."""
    if table.letters > SCREEN_LETTERS:
        return " broad widest"
    if table.letters > TABLET_LETTERS:
        return " broad"
    return " middling" if table.letters > PHONE_LETTERS else ""


def lines_of(text: Text) -> list[Text]:
    """Return the lines of a meaning: what stands after a line break is a quieter line."""
    if isinstance(text, str):
        return [*text.split("\n")]
    lines: list[tuple[Sentence, ...]] = [()]
    for one in sentences_of(text):
        if one == NEW_LINE:
            lines.append(())
        else:
            lines[-1] += (one,)
    return [*lines]


def picture(figure: Figure, size: Size) -> Markup:
    """Draw a figure for one width of page, as SVG that may stand in the page as it is."""
    name = figure.key if size == "wide" else f"{figure.key}-{size}"
    with styled():
        drawing = figure.draw(size=size)
        # to_svg escapes what it is given and matplotlib escapes the letters it draws.
        return Markup(to_svg(drawing, f"figure-{name}", figure.title, figure.described))


def sections_of(report: Report) -> Iterator[Section]:
    """Go through every section and its parts in reading order."""
    for section in (report.answer, *report.sections):
        yield section
        yield from section.parts
