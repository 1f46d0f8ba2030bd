"""The season in a few plain lines, to paste into a funder's form."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from typing import TYPE_CHECKING, Final

from survivor.report.content.answer import sure_of
from survivor.report.content.wording import sentence

if TYPE_CHECKING:
    from survivor.analysis.result import Analysis
    from survivor.evidence import Finding
    from survivor.report.content.elements import Report

SUMMARY: Final = "summary.txt"
WIDTH: Final = 88
FIRST: Final = ("headline", "target", "alive", "total", "stocking", "payoff", "radius", "rain")


def summary_of(analysis: Analysis, report: Report) -> str:
    """Return the summary as text: the answers in the order asked, how sure each is, what cannot be said.

    Parameters
    ----------
    analysis
        A season, analysed.
    report
        Its report: the title and the lines under it.
    """
    by_key = {finding.key: finding for finding in analysis.findings}
    asked = [by_key[key] for key in FIRST if key in by_key]
    lines = [report.title, *map(sentence, report.about), ""]
    for finding in asked:
        lines += [finding.question, f"{sentence(finding.answer)} {_sure(finding, analysis.findings)}", ""]
    if analysis.cannot:
        lines += ["What cannot be said", *(f"- {sentence(reason)}" for reason in analysis.cannot), ""]
    made_with = f"survivor {analysis.provenance.get('survivor', '')}".strip()
    lines.append(
        f"Limits are two-sided 95 %, by plot. Made with {made_with} from the records named in the report."
    )
    return "\n".join(_wrapped(line) for line in lines) + "\n"


def _sure(finding: Finding, findings: Sequence[Finding]) -> str:
    held = [reason for reason in finding.reasons if finding.grade != "firm"]
    return f"{sure_of(finding, findings)}: {finding.grade}" + (f" ({'; '.join(held)})." if held else ".")


def _wrapped(line: str) -> str:
    later = "  " if line.startswith("- ") else ""
    return textwrap.fill(line, WIDTH, subsequent_indent=later, break_long_words=False, break_on_hyphens=False)
