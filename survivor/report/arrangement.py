"""What each of the three documents holds, in which order, and how long the report may be: as data."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Final

from survivor.analysis.result import Analysis
from survivor.document.elements import Link, Report, Section
from survivor.report import (
    appendix,
    causes,
    cautions,
    checklist,
    comparing,
    costs,
    groups,
    heights,
    methods,
    officer,
    patch,
    planting,
    planting_years,
    questions,
    radius,
    rain,
    survival,
    totals,
    works,
)
from survivor.report.pages import answer, money, parts, people, plants, season, values, work
from survivor.words import dates

MOST_PAGES: Final = 4
MOST_WORDS: Final = 1500

Made = Section | Iterable[Section]


@dataclass(frozen=True)
class Document:
    """One of the documents: its file, what it is called, and its sections in reading order.

    ``opens`` is what stands before all else; ``sections`` make one section or several, or none.
    """

    file: str
    called: str
    title: str
    opens: Callable[[Analysis], Section]
    sections: tuple[Callable[[Analysis], Made], ...]
    contents: bool = True

    def of(self, analysis: Analysis) -> Report:
        """Make the document of an analysis."""
        found: list[Section] = []
        for make in self.sections:
            made = make(analysis)
            found.extend([made] if isinstance(made, Section) else made)
        name = analysis.settings.study.name
        return Report(
            title=name if not self.title else f"{self.title}: {name}",
            about=about(analysis),
            answer=self.opens(analysis),
            sections=tuple(found),
            subject="establishment survival",
            called=self.called,
            contents=self.contents,
            beside=tuple(Link(words, file) for words, file in BESIDE if file != self.file),
            origin="#provenance" if self is ANNEX else f"{ANNEX.file}#provenance",
        )


def about(analysis: Analysis) -> tuple[str, ...]:
    """Return the line under a title: what it is of, how much, and when it was planted."""
    lines = [f"Establishment survival at {values.when(analysis)}", *work.design_in_a_word(analysis)]
    lines.append(questions.extent(analysis))
    planted = analysis.records.plots.get("planted_date")
    if planted is not None and planted.notna().any():
        lines.append(f"planted {dates(planted)}")
    return tuple(lines)


REPORT: Final = Document(
    "report.html",
    "report",
    "",
    answer.answer,
    (
        work.done,
        work.limits,
        work.following,
        plants.over_time,
        plants.each,
        parts.paid,
        plants.radius,
        season.season,
        money.costs,
        people.how_many,
        people.about,
    ),
    contents=False,
)

ANNEX: Final = Document(
    "annex.html",
    "annex",
    "Annex",
    questions.questions,
    (
        planting.planting,
        survival.survival_curves,
        totals.stages,
        totals.alive_in_all,
        planting_years.planting_years,
        heights.heights,
        comparing.comparison,
        works.works,
        radius.radius,
        patch.patch,
        rain.season,
        groups.species,
        groups.sites,
        causes.causes_of_death,
        costs.costs,
        methods.cannot,
        methods.workings,
        checklist.checklist,
        methods.account,
        lambda analysis: planting.corrections(analysis.settings),
        lambda analysis: planting.photo_points(analysis.settings),
        cautions.cautions,
        methods.provenance,
        appendix.appendix,
    ),
)

OFFICER: Final = Document(
    "officer.html",
    "officer's sheet",
    "Officer's sheet",
    officer.to_do,
    (officer.records, officer.infill, officer.next_visit, officer.headers),
)

BESIDE: Final = (
    ("Report (4 pages)", REPORT.file),
    ("Annex: methods, tables, records", ANNEX.file),
    ("Officer's sheet", OFFICER.file),
    ("Workbook of all tables", "report.xlsx"),
)
