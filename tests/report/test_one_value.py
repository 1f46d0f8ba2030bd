"""One quantity has one value: every number that a sentence prints is that of one cell, or of the study file.

Over the demo's cohorts and a season of it, a real planting (pines, Stat2Data) and thirty generated studies,
over the report, the annex, the officer's sheet, the findings and their captions.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import pytest

from survivor.analysis import Analysis
from survivor.report.arrangement import ANNEX, OFFICER, REPORT
from survivor.sentences import Name, Names, Sentence, Value, sentences_of
from tests.once import analysed
from tests.report.demo import DATASETS
from tests.report.generated import pines, write_generated
from tests.report.walking import Tables, sentences

GENERATED = 30
_NUMBER = re.compile(r"\d+(?:,\d{3})*(?:\.\d+)?")
#: Numbers of a template are words of the field: of 100, a CI of 95 %, for 10 cm, p at 0.05, 20 draws.
_WORDS = {"100", "95", "10", "50", "0.05", "0", "1", "20", "56"}
#: Counts, days and lengths of the records, and what the study file sets: in no table of results.
_GIVEN = {
    *("target", "smallest", "wanted", "put_in", "preparations", "plots", "sites", "plants", "read", "used"),
    *("number", "pairs", "first", "last", "top", "deaths", "dry", "most", "worst", "unknown", "lowest"),
    *("shown", "all"),  # rounds of visits in a table, and in the records
}


def _studies(folder: Path) -> dict[str, Path]:
    return {
        "tagged": DATASETS / "tagged",
        "counts": DATASETS / "counts",
        "season of 2021": DATASETS / "seasons" / "season-2021",
        "pines": pines(folder / "pines"),
    }


def every(analysis: Analysis) -> Iterator[Sentence]:
    """Give every sentence of the documents and of the findings."""
    for document in (REPORT, ANNEX, OFFICER):
        yield from sentences(document.of(analysis))
    for finding in analysis.findings:
        yield from sentences_of(finding.text)


def check(analysis: Analysis) -> None:
    tables, printed, found = Tables(analysis), {}, 0
    for sentence in every(analysis):
        for number in _NUMBER.findall(re.sub(r"\{\w+\}", "", sentence.template)):
            assert number in _WORDS, sentence.template
        for place, part in sentence.parts.items():
            if not isinstance(part, Value):
                assert isinstance(part, Name | Names | str)
                continue
            if part.cell is None:
                under_other_rule = "Then {estimate}" in sentence.template or "unknown" in sentence.template
                under_other_rule |= (
                    "With {rule}" in sentence.template or "of plants followed" in sentence.template
                )
                assert place in _GIVEN or under_other_rule, (place, str(sentence))
                continue
            found += 1
            held = float(tables.at(part.cell))
            same = held == pytest.approx(part.number, rel=1e-9, nan_ok=True)
            assert same, (part, held, str(sentence))
            if _NUMBER.search(part.text):
                bare = part.text.replace(" more", "").replace(" fewer", "").lstrip("+−")
                printed.setdefault((part.cell, part.scale), {})[bare.removeprefix("95 % CI ")] = str(sentence)
    twice = {cell: texts for cell, texts in printed.items() if len({_first(text) for text in texts}) > 1}
    assert twice == {}
    assert found or all(finding.estimate is None for finding in analysis.findings)
    _same_in_every_table(analysis, tables)


def _first(text: str) -> str:
    """Read the first number of a text without its money sign."""
    written = _NUMBER.search(text)
    assert written is not None
    return written[0]


def _same_in_every_table(analysis: Analysis, tables: Tables) -> None:
    """What is in two tables is the same in both: findings are rows of the tables that they are made from."""
    held = tables.tables
    for finding in analysis.findings:
        if finding.estimate is None:
            continue
        row = None
        if finding.key == " against ".join(finding.methods) or finding.key == "headline":
            rows = held["contrasts"]
            row = rows[(rows["method"].astype(str) == finding.methods[0])].iloc[0]
        elif finding.key in ("total", "stocking"):
            unit = held["in_all"]["unit"] == "plants"
            row = held["in_all"][unit if finding.key == "total" else ~unit].iloc[0]
        elif finding.key == "payoff":
            rows = held["payoff"].rename(columns={"cost_per_established": "estimate"}).drop(columns="method")
            row = rows[rows["estimate"] == finding.estimate].iloc[0]
        if row is not None:
            for name in ("estimate", "lower", "upper"):
                assert row[name] == pytest.approx(getattr(finding, name), rel=1e-12, nan_ok=True), finding.key


@pytest.mark.parametrize(
    "name",
    [
        *(pytest.param(name, marks=pytest.mark.slow) for name in ("tagged", "season of 2021")),
        "counts",
        "pines",
    ],
)
def test_every_number_is_that_of_its_cell_and_the_same_wherever_it_stands(name: str, tmp_path: Path) -> None:
    check(analysed(_studies(tmp_path)[name]))


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(GENERATED))
def test_so_it_is_in_generated_studies(seed: int, tmp_path: Path) -> None:
    check(analysed(write_generated(tmp_path, seed)))
