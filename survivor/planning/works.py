"""Lead times of the works of preparation, as data.

Common practice, no source: a start for the local timetable, to be written over in the
plan file. Days before planting; negative days are after it. What a product label, a
permit or a local code says comes first, and no rate is ever given.
"""

from __future__ import annotations

import re
from typing import Final

from survivor.planning.planfile import Work

COMMON: Final = "common practice, no source"


_GROUND: Final = re.compile(
    r"\b(rip|auger|mound|scalp|stak|peg|dig|dug|drill|plough|plow|disc|cultivat|excavat|hole|fenc|trench|post)"
)


_A_WEEK: Final = 7


def _work(name: str, earliest: int, latest: int, condition: str = "", **more: bool) -> Work:
    return Work(
        name=name,
        earliest_days_before=earliest,
        latest_days_before=latest,
        condition=condition,
        source=COMMON,
        **more,
    )


USUAL_WORKS: Final = (
    _work("landholder agreement", 540, 240, "in writing, an untreated comparison included", always=True),
    _work(
        "heritage and vegetation checks",
        400,
        120,
        "before any ground is broken",
        always=True,
        before_ground=True,
    ),
    _work("order of plants", 400, 240, "by species and provenance", always=True),
    _work(
        "plans of buried services",
        120,
        14,
        "before any ground is broken; plans lapse, so ask again where works start later",
        always=True,
        before_ground=True,
    ),
    _work("weed control a year ahead", 400, 300, "while weeds grow; as the label and local rules say"),
    _work("fallow", 365, 180, "kept free of weeds; mind bare ground on slopes"),
    _work(
        "rip line",
        300,
        60,
        "while soil is dry enough to shatter, on the contour; settled by rain before planting",
        in_dry_season=True,
        breaks_ground=True,
    ),
    _work("mound", 240, 60, "after ripping; settled by rain before planting", breaks_ground=True),
    _work("scalp", 30, 0, "while soil is moist", breaks_ground=True),
    _work("knockdown", 60, 14, "while weeds grow; waiting period as the label says"),
    _work("spot spray", 60, 7, "while weeds grow; waiting period as the label says"),
    _work("strip spray", 60, 7, "while weeds grow; waiting period as the label says"),
    _work("pre-emergent", 30, 1, "on bare moist soil, before weeds come up; as the label says"),
    _work("auger hole", 21, 0, "while soil is moist, so that the wall is not glazed", breaks_ground=True),
    _work("mulch mat", 0, -14, "right after planting"),
    _work("guard", 0, -14, "right after planting; its stakes break ground", breaks_ground=True),
    _work("watering", 0, -7, "right after planting"),
    _work("follow-up weed control", -60, -150, "before the first dry season; keep off the plants"),
)


def breaks_ground(work: Work) -> bool:
    """Tell whether a work breaks ground: as it says, else by the words of its name."""
    if work.breaks_ground is not None:
        return work.breaks_ground
    return _GROUND.search(work.name.casefold()) is not None


def cleared(first: int, last: int, ground: int) -> tuple[int, int]:
    """Move a check's days so that it ends a week before ground may first be broken.

    Parameters
    ----------
    first, last
        Days on which the check may be begun and must be done, on any scale that rises with time.
    ground
        First day on which ground may be broken, on the same scale.

    Returns
    -------
    tuple of int
        The same days where they end in time; else moved earlier whole, since the check takes as long.
    """
    late = max(0, last - (ground - _A_WEEK))
    return first - late, last - late
