"""The plain text for a funder's form."""

from __future__ import annotations

from survivor.analysis import Analysis
from survivor.report.arrangement import REPORT
from survivor.report.summary import HOLDS, WIDTH, lines_of, summary_of
from tests.report.making import SITES


def test_it_holds_the_sentences_of_the_report_in_plain_lines(analysis: Analysis) -> None:
    report = REPORT.of(analysis)
    text = summary_of(analysis, report)
    joined = " ".join(text.split())
    for section in (report.answer, *(s for s in report.sections if s.key in HOLDS)):
        for line in lines_of(section):
            assert " ".join(line.split()) in joined
    assert max(len(line) for line in text.splitlines() if " " in line) <= WIDTH
    for site in SITES:  # as their people write them
        joined = joined.replace(site, "")
    assert not set(joined) & set("<>{}*#|")
