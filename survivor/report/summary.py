"""The season in a few plain lines, to paste into a funder's form; the published shape of its findings."""

from __future__ import annotations

import textwrap
from importlib.resources import files
from typing import Final

from survivor.analysis.result import Analysis
from survivor.document.elements import Figure, Listing, Paragraph, Report, Section
from survivor.sentences import plain_text
from survivor.words import sentence

SUMMARY: Final = "summary.txt"
WIDTH: Final = 88
SEASON: Final = "season"
HOLDS: Final = ("design", "radius", SEASON, "cost", "limits", "next")  # sections, after the answer


def summary_of(analysis: Analysis, report: Report) -> str:
    """Return the summary as text: the sentences of the report, without its tables and pictures.

    Parameters
    ----------
    analysis
        A season, analysed.
    report
        The report made of it.
    """
    held = [section for section in report.sections if section.key in HOLDS]
    lines = [report.title, *map(sentence, report.about), ""]
    for section in (report.answer, *held):
        lines += [section.heading, *lines_of(section), ""]
    made_with = f"survivor {analysis.provenance.get('survivor', '')}".strip()
    lines.append(
        f"CI: confidence interval, by plot. Made with {made_with} from the records named in the annex."
    )
    return "\n".join(_wrapped(line) for line in lines) + "\n"


def lines_of(section: Section) -> list[str]:
    """Write the paragraphs and lists of a section, and of the season what its picture says."""
    found: list[str] = []
    for block in section.blocks:
        if isinstance(block, Figure) and section.key == SEASON:
            found.append(plain_text(block.finding))
        if isinstance(block, Paragraph):
            found.append(f"{block.label}. {block.plain}" if block.label else block.plain)
        elif isinstance(block, Listing):
            found += [f"- {plain_text(item)}" for item in block.items]
    return found


def _wrapped(line: str) -> str:
    later = "  " if line.startswith("- ") else ""
    return textwrap.fill(line, WIDTH, subsequent_indent=later, break_long_words=False, break_on_hyphens=False)


SCHEMA: Final = "findings.schema.json"


def published() -> str:
    """Return the schema as it is published with the package."""
    return files("survivor.report").joinpath(SCHEMA).read_text(encoding="utf-8")
