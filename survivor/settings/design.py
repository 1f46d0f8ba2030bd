"""Tables of the study file that say what was designed, and what was promised for when."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import AfterValidator, Field, model_validator

from survivor.settings.base import MonthDay, Strict, Text

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
        "preparations were drawn by lot within blocks",
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
        default=5.0, gt=0, lt=100, description="smallest difference worth having, per 100 planted"
    )
    radius_gain: float = Field(
        default=1.0,
        ge=0.05,
        le=50,
        description="smallest gain worth having per 10 cm of weed-free radius, per 100 planted",
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
