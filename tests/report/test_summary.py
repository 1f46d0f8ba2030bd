"""The plain text for a funder's form."""

from __future__ import annotations

from types import SimpleNamespace

from survivor.report.content import report_of
from survivor.report.summary import WIDTH, summary_of


def test_it_answers_in_the_order_asked_and_in_plain_lines(analysis: SimpleNamespace) -> None:
    text = summary_of(analysis, report_of(analysis))
    joined = " ".join(text.split())
    for finding in analysis.findings:
        if finding.key in ("headline", "target", "payoff"):
            assert " ".join(finding.answer.split()).rstrip(".") in joined
            assert f"How sure: {finding.grade}" in joined
    for reason in analysis.cannot:
        assert " ".join(reason.split()).rstrip(".")[1:] in joined
    assert text.isprintable() or "\n" in text
    assert max(len(line) for line in text.splitlines() if " " in line) <= WIDTH
    assert not set(text) & set("<>{}*#|")
