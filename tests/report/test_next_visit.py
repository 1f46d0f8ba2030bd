"""The officer's next visit: only milestones that are still ahead, of plots that nobody has seen for them."""

from __future__ import annotations

from types import SimpleNamespace
from typing import cast

import pandas as pd
import pytest

from survivor.analysis import Analysis
from survivor.document.elements import Listing
from survivor.records.accounts import sites_with_lost_plants
from survivor.report.officer import next_visit
from survivor.settings.design import Milestone
from tests.report.making import build

PLANTED = pd.Timestamp("2022-06-15")
DUE = "12 months: visit {plots} between {first} 2023 and 15 July 2023."
NONE_DUE = "No milestone of the study file is still ahead, so no visit is due for one."


def visited(ages: dict[str, tuple[int, ...]], closed: str | None, lost: tuple[str, ...] = ()) -> Analysis:
    """Return an analysis of plots by the ages at which they were seen; ``lost``: not found when last seen."""
    rows = [
        {
            "site": "Ombry", "block": "1", "plot": plot, "tag": plot, "cohort": "planting", "day": age,
            "date": PLANTED + pd.Timedelta(days=age),
            "state": "not found" if plot in lost and age == max(seen) else "alive",
        }
        for plot, seen in ages.items()
        for age in seen
    ]  # fmt: skip
    made = build()
    study = made.settings.study.model_copy(update={"as_of": closed})
    year = Milestone(name="12 months", day=365, window_days=30)
    settings = made.settings.model_copy(update={"study": study, "milestones": (year,)})
    visits = pd.DataFrame(rows)
    records = SimpleNamespace(visits=visits, sites_with_lost_plants=sites_with_lost_plants(visits))
    return cast(Analysis, SimpleNamespace(records=records, settings=settings))


def items(analysis: Analysis) -> list[str]:
    block = next_visit(analysis).blocks[0]
    assert isinstance(block, Listing)
    return [str(item) for item in block.items]


# Day 365 is 15 June 2023; the window of 30 days is 16 May to 15 July.
@pytest.mark.parametrize(
    ("ages", "closed", "said"),
    [
        ({"a": (40, 120), "b": (41,)}, None, DUE.format(plots="each plot", first="16 May")),
        ({"a": (40, 360), "b": (41,)}, None, DUE.format(plots="1 of 2 plots", first="10 June")),
        ({"a": (40, 360), "b": (370,)}, None, NONE_DUE),
        ({"a": (40,), "b": (41,)}, "2023-09-30", NONE_DUE),  # the window has passed, seen or not
        ({"a": (40,), "b": (41,)}, "2023-06-01", DUE.format(plots="each plot", first="1 June")),
    ],
)  # fmt: skip
def test_a_visit_is_due_only_where_it_can_still_be_made(
    ages: dict[str, tuple[int, ...]], closed: str | None, said: str
) -> None:
    assert items(visited(ages, closed)) == [said]


def test_plants_are_looked_for_again_where_they_were_not_found_when_last_looked_for() -> None:
    again = "Look again for plants that were not found, at Ombry, before their tags fade."
    assert items(visited({"a": (40, 360)}, None, lost=("a",)))[-1] == again
    assert items(visited({"a": (40, 360)}, None)) == [NONE_DUE]
