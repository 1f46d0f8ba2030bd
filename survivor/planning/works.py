"""Lead times of the works of preparation, as data.

Common practice, no source: a start for the local timetable, to be written over in the
plan file. Days before planting; negative days are after it. What a product label, a
permit or a local code says comes first, and no rate is ever given.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Final, TypeAlias

from survivor.planning.planfile import Work
from survivor.report.content.cautions import breaks_ground as by_its_words

Span: TypeAlias = tuple[int, int]  # first and last day, on any scale that rises with time

COMMON: Final = "common practice, no source"
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


def known_works(own: Iterable[Work]) -> dict[str, Work]:
    """Return lead times by name in small letters: the usual ones, a file's own over them."""
    known = {work.name.casefold(): work for work in USUAL_WORKS}
    for work in own:
        usual = known.get(work.name.casefold())
        known[work.name.casefold()] = work if usual is None else _kept_safe(work, usual)
    return known


def _kept_safe(work: Work, usual: Work) -> Work:
    """Keep what the usual work is known for: new days do not make a check one to leave out."""
    ground = usual.breaks_ground if work.breaks_ground is None else work.breaks_ground
    return work.model_copy(
        update={
            "always": work.always or usual.always,
            "before_ground": work.before_ground or usual.before_ground,
            "breaks_ground": ground,
        }
    )


def breaks_ground(work: Work) -> bool:
    """Tell whether a work breaks ground: as it says, else by the words of its name."""
    if work.breaks_ground is not None:
        return work.breaks_ground
    return by_its_words(work.name)


def checks_first(works: Iterable[Work], spans: Mapping[str, Span], planted: int) -> dict[str, Span]:
    """Move the checks that come before broken ground so that they end a week before it may be broken.

    Parameters
    ----------
    works
        Of one site or guideline.
    spans
        Days on which each may be begun and must be done, by name in small letters.
    planted
        Day of planting on the same scale: planting breaks ground as well.

    Returns
    -------
    dict
        The same works. A check that ends in time keeps its days; else it is moved earlier whole,
        since it takes as long.
    """
    asked = list(works)
    ground = min([spans[work.name.casefold()][0] for work in asked if breaks_ground(work)] + [planted])
    found = dict(spans)
    for work in asked:
        if work.before_ground:
            first, last = spans[work.name.casefold()]
            late = max(0, last - (ground - _A_WEEK))
            found[work.name.casefold()] = first - late, last - late
    return found
