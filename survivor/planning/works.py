"""Lead times of the works of preparation, as data.

Common practice, no source: a start for the local timetable, to be written over in the
plan file. Days before planting; negative days are after it. What a product label, a
permit or a local code says comes first, and no rate is ever given.
"""

from __future__ import annotations

from typing import Final

from survivor.planning.planfile import Work

COMMON: Final = "common practice, no source"


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
    _work("heritage and vegetation checks", 400, 120, "before any ground is broken", always=True),
    _work("order of plants", 400, 240, "by species and provenance", always=True),
    _work("plans of buried services", 120, 14, "before any ground is broken", always=True),
    _work("weed control a year ahead", 400, 300, "while weeds grow; as the label and local rules say"),
    _work("fallow", 365, 180, "kept free of weeds; mind bare ground on slopes"),
    _work(
        "rip line",
        300,
        60,
        "while soil is dry enough to shatter, on the contour; settled by rain before planting",
        in_dry_season=True,
    ),
    _work("mound", 240, 60, "after ripping; settled by rain before planting"),
    _work("scalp", 30, 0, "while soil is moist"),
    _work("knockdown", 60, 14, "while weeds grow; waiting period as the label says"),
    _work("spot spray", 60, 7, "while weeds grow; waiting period as the label says"),
    _work("strip spray", 60, 7, "while weeds grow; waiting period as the label says"),
    _work("pre-emergent", 30, 1, "on bare moist soil, before weeds come up; as the label says"),
    _work("auger hole", 21, 0, "while soil is moist, so that the wall is not glazed"),
    _work("mulch mat", 0, -14, "right after planting"),
    _work("guard", 0, -14, "right after planting"),
    _work("watering", 0, -7, "right after planting"),
    _work("follow-up weed control", -60, -150, "before the first dry season; keep off the plants"),
)
