"""Tables of the study file that say what was designed, and what was promised for when.

Tables of the study file about what a report lists besides the answers, and what it may show.
"""

from __future__ import annotations

import re
from typing import Annotated, Literal

from pydantic import AfterValidator, Field, model_validator

from survivor.settings.base import Day, MonthDay, Strict, Text

_SLIGHTEST = 0.5  # per 100 planted; a smaller one is a share written for a number per 100


def _per_100(value: float) -> float:
    if 0 < value <= 1:
        raise ValueError(
            f"{value:g} of 100 planted is next to none alive; the number is per 100 planted: write "
            f"{100 * value:g} if {100 * value:g} of 100 was promised"
        )
    return value


def _no_share(value: float) -> float:
    if 0 < value < _SLIGHTEST:
        raise ValueError(
            f"{value:g} per 100 planted is too small to be meant; the number is per 100 planted: write "
            f"{100 * value:g} if {100 * value:g} of 100 is meant"
        )
    return value


class Design(Strict):
    """How plots were placed and preparations chosen; what words the report may use."""

    allocation: Literal["random within blocks", "by choice", "not recorded"] = Field(
        default="not recorded", description="how the preparation of each plot was chosen"
    )
    plots_placed: Literal["random", "by choice", "not recorded"] = Field(
        default="not recorded", description="how the places of the plots were chosen"
    )
    strata: tuple[str, ...] = Field(
        default=("site",),
        description='columns within which preparations are compared: ["site"], or ["site", "block"] where '
        "preparations were allocated at random within blocks",
    )
    usual_practice: Text | None = Field(
        default=None,
        description="the preparation that every other one is compared with; without it the one "
        "with most plots",
    )
    radius_measured: Literal["at planting", "after planting"] | None = Field(
        default=None, description="when the weed-free radius was measured"
    )
    smallest_difference: Annotated[float, AfterValidator(_no_share)] = Field(
        default=5.0, gt=0, lt=100, description="smallest difference that matters, per 100 planted"
    )
    radius_gain: float = Field(
        default=1.0,
        ge=0.05,
        le=50,
        description="smallest gain that matters per 10 cm of weed-free radius, per 100 planted",
    )
    reason_for_choice: str = Field(default="", description="why each preparation was chosen where it was")


class DrySeason(Strict):
    """Month and day on which the dry season starts and ends."""

    start: MonthDay = Field(description="first day")
    end: MonthDay = Field(description="last day")


class Milestone(Strict):
    """A named day of the seedling's life and the visit window round it."""

    name: Text = Field(description="what the report calls it")
    day: int = Field(gt=0, description="days since planting")
    window_days: int = Field(
        default=30, ge=0, description="how many days before or after it a visit still counts for it"
    )

    @model_validator(mode="after")
    def _window_before_the_day(self) -> Milestone:
        if self.window_days >= self.day:
            raise ValueError(
                f"window_days = {self.window_days} reaches back to planting, since day = {self.day}; "
                "both are in days: give a shorter window or a later day"
            )
        return self


class Target(Strict):
    """What was promised: survival of planted at a milestone."""

    survival_per_100: Annotated[float, AfterValidator(_per_100)] = Field(
        gt=0, lt=100, description="survivors promised per 100 planted, such as 70"
    )
    milestone: Text = Field(description="name of the milestone for which it was promised")


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


class Reporting(Strict):
    """Who did the work and for whom, and how it was decided: what a report of a trial owes its readers."""

    done_by: str = Field(
        default="", description="who planted, monitored and wrote: an organisation, or a role"
    )
    funded_by: str = Field(default="", description="who paid for the planting and the monitoring")
    contact: str = Field(default="", description="whom to ask, as the report may print it")
    interests: str = Field(default="", description='interests of those who did it, or "none"')
    date: Day | None = Field(default=None, description="day of the report")
    licence: str = Field(default="", description="terms on which report and records may be used again")
    allocation: str = Field(
        default="", description="how the preparation of each plot was drawn or chosen, and by whom"
    )
    departures: str = Field(
        default="", description='plots that did not get what was drawn, and why, or "none"'
    )
    sample_size: str = Field(default="", description="why so many plots")
    decided_before: str = Field(
        default="",
        description="whether milestone, comparison and rule for missing plants were fixed before the records "
        "were seen, and where that is written down",
    )
    observers: str = Field(
        default="", description="whether those who looked at plants knew the preparation of the plot"
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
