"""Tables of the study file about what a report lists besides the answers, and what it may show."""

from __future__ import annotations

import re
from typing import Annotated

from pydantic import AfterValidator, Field

from survivor.settings.base import Day, Strict, Text

_INITIALS = re.compile(r"(\w\.? ?){1,4}")


def _initials(text: str) -> str:
    if not _INITIALS.fullmatch(text):
        raise ValueError(
            f'"{text}" is more than initials; write up to four letters, such as "K.L.": a shared report '
            "names nobody"
        )
    return text.strip()


class Heights(Strict):
    """The height that a living plant has to have reached, told with survival."""

    at_least_cm: float = Field(
        gt=0, le=5000, description="height in cm; the report gives the share alive and at least so high"
    )
    milestone: Text | None = Field(
        default=None, description="name of the milestone; without it that of the report's first screen"
    )


class PhotoPoint(Strict):
    """A place from which photographs are taken again and again."""

    name: Text = Field(description="what the photo point is called")
    site: Text | None = Field(default=None, description="site, spelt as in the records")
    date: Day | None = Field(default=None, description="day of the photograph")
    file: Text | None = Field(default=None, description="file of the photograph; the report gives its name")
    note: str = Field(default="", description="a few words, such as which way it looks")
    latitude: float | None = Field(
        default=None, ge=-90, le=90, description="degrees, south negative; shown where [privacy] allows it"
    )
    longitude: float | None = Field(
        default=None, ge=-180, le=180, description="degrees, west negative; shown where [privacy] allows it"
    )


class Correction(Strict):
    """A correction made in the records after they were first written."""

    date: Day = Field(description="day on which it was made")
    what: Text = Field(description="what was changed, and into what")
    why: Text = Field(description="why it was changed")
    who: Annotated[str, AfterValidator(_initials)] | None = Field(
        default=None, description="initials of who changed it, up to four letters"
    )


class Privacy(Strict):
    """What a shared report may show."""

    show_landholders: bool = Field(default=False, description="whether a report names landholders")
    show_coordinates: bool = Field(default=False, description="whether a report gives coordinates")
    show_places: bool = Field(
        default=True,
        description="whether a report names sites and gauges; else they are Site 1, Site 2 and Gauge 1 "
        "in all of it, and files go by number",
    )
