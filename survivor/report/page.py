"""The report as one HTML file that needs nothing else: no network, no script, no fonts of its own."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from survivor.abreast import side_by_side
from survivor.errors import ReportError
from survivor.figures.style import COLOURS, Size, styled
from survivor.figures.svg import to_svg
from survivor.report.content import report_of
from survivor.report.content.elements import Figure, Report, Section
from survivor.report.document import DOCUMENT, document_of
from survivor.report.schema import SCHEMA, published
from survivor.report.summary import SUMMARY, summary_of
from survivor.report.tables import FOLDER, findings_json, write_tables
from survivor.report.workbook import WORKBOOK, workbook_of

if TYPE_CHECKING:
    from survivor.analysis.result import Analysis

PAGE: Final = "report.html"
FINDINGS: Final = "findings.json"


@dataclass(frozen=True)
class Pictures:
    """Every figure of a report as SVG, by its key: for a wide page, and for a telephone."""

    wide: Mapping[str, str]
    narrow: Mapping[str, str]


def pictures_of(report: Report) -> Pictures:
    """Draw every figure of a report, once for each width."""
    return Pictures(wide=_drawn(report, "wide"), narrow=_drawn(report, "narrow"))


def _drawn(report: Report, size: Size) -> dict[str, Markup]:
    figures = _figures(report)
    drawn = side_by_side(lambda figure: picture(figure, size), figures)
    return {figure.key: svg for figure, svg in zip(figures, drawn, strict=True)}


def _figures(report: Report) -> list[Figure]:
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
    drawn = pictures_of(report) if pictures is None else pictures
    environment = Environment(
        loader=PackageLoader("survivor.report", "templates"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
    )
    environment.globals["kind"] = _kind
    environment.globals["drawn"] = drawn
    template = environment.get_template("page.html.j2")
    style, _, _ = (
        environment.loader.get_source(environment, "page.css") if environment.loader else ("", "", "")
    )
    return template.render(report=report, colours=COLOURS, style=Markup(style))


def picture(figure: Figure, size: Size) -> Markup:
    """Draw a figure for one width of page, as SVG that may stand in the page as it is."""
    name = figure.key if size == "wide" else f"{figure.key}-{size}"
    with styled():
        drawing = figure.draw(size)
        # to_svg escapes what it is given and matplotlib escapes the letters it draws.
        return Markup(to_svg(drawing, f"figure-{name}", figure.title, figure.finding))


def _kind(block: object) -> str:
    return type(block).__name__.lower()


def write_report(analysis: Analysis, folder: Path) -> tuple[Path, ...]:
    """Write the report in every form: page, document, workbook, summary, findings and tables.

    Parameters
    ----------
    analysis
        A season, analysed.
    folder
        Made where it does not exist.

    Returns
    -------
    tuple of Path
        The page first, then ``report.pdf``, ``report.xlsx``, ``summary.txt``, ``findings.json`` and
        its schema, then ``tables/*.csv``.

    Raises
    ------
    ReportError
        When the folder cannot be written to.
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
        forms = report_forms(analysis)
        for name, content in forms.items():
            (folder / name).write_bytes(content)
        tables = write_tables(analysis, folder / FOLDER)
    except OSError as error:
        raise ReportError(
            f"the report could not be written: {error.strerror or error}",
            where=folder.name,
            mend="name a folder that you may write to, with room on its disk",
        ) from error
    return (*(folder / name for name in forms), *tables)


def report_forms(analysis: Analysis) -> dict[str, bytes]:
    """Return a report in every form that is one file, by its name; the page first."""
    report = report_of(analysis)
    wide = _drawn(report, "wide")
    figures = _figures(report)
    pieces: list[Callable[[], Any]] = [
        partial(document_of, report, wide),
        partial(workbook_of, analysis),
        *(partial(picture, figure, "narrow") for figure in figures),
    ]
    document, workbook, *narrow = side_by_side(lambda make: make(), pieces)
    of_a_telephone = {figure.key: svg for figure, svg in zip(figures, narrow, strict=True)}
    return {
        PAGE: page_of(report, Pictures(wide, of_a_telephone)).encode(),
        DOCUMENT: document,
        WORKBOOK: workbook,
        SUMMARY: summary_of(analysis, report).encode(),
        FINDINGS: findings_json(analysis).encode(),
        SCHEMA: published().encode(),
    }


def sections_of(report: Report) -> Iterator[Section]:
    """Go through every section and its parts in reading order."""
    for section in (report.answer, *report.sections):
        yield section
        yield from section.parts
