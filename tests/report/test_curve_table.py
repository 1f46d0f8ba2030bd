"""The table and caption of the curves: the milestone has its column, and counts are set beside the answer."""

from __future__ import annotations

import re

import pytest

from survivor.analysis import Analysis
from survivor.document.elements import Figure, Paragraph, Section, Table
from survivor.report.survival import survival_curves
from tests.analysis.seasons import write
from tests.once import analysed


def visits(site: int, plot: int) -> tuple[int, ...]:
    """The last visit is after the milestone, within its window; one plot was not visited then."""
    return (60, 200, 340) if (site, plot) == (0, 1) else (60, 200, 332, 384 + site)


def deaths(method: str, plot: int) -> tuple[int, int]:
    return (1, 4 + plot) if method == "usual" else (2, 1 + plot % 2)


@pytest.fixture(scope="module")
def season(tmp_path_factory: pytest.TempPathFactory) -> Analysis:
    return analysed(write(tmp_path_factory.mktemp("season"), visits, deaths=deaths))


@pytest.fixture(scope="module")
def section(season: Analysis) -> Section:
    return survival_curves(season)


def tables(section: Section) -> list[Table]:
    inside = [block.table for block in section.blocks if isinstance(block, Figure)]
    return [t for t in inside if t is not None] + [b for b in section.blocks if isinstance(b, Table)]


@pytest.mark.slow
def test_the_milestone_has_a_column_in_both_tables(season: Analysis, section: Section) -> None:
    curves = season.survival.curves
    assert curves is not None
    for table in tables(section):
        heads = [column.heading for column in table.columns]
        place = next(i for i, head in enumerate(heads) if _holds(head, 365))
        if table.key == "curves-table":
            read = curves.read(365).set_index("method")["survival"]
            for row in table.rows:
                assert row[place].split(" ")[0] == f"{100 * read[row[0]]:.0f}"


def test_no_two_notes_put_the_same_visits_on_different_days(section: Section) -> None:
    notes = [
        block.plain for block in section.blocks if isinstance(block, Paragraph) and block.kind == "small"
    ]
    assert any("the visit nearest to day 365 is taken as made on it" in note for note in notes)
    spans = [
        (int(a), int(b)) for note in notes for a, b in re.findall(r"days? (\d+)(?: to (\d+))?", note) if b
    ]
    assert (340, 387) not in spans
    assert all(b - a <= 15 for a, b in spans)


def _holds(heading: str, day: int) -> bool:
    days = [int(number) for number in re.findall(r"\d+", heading)]
    return bool(days) and days[0] <= day <= days[-1]
