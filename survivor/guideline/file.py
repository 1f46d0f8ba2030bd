"""The guideline file (TOML) as frozen, strict models."""

from __future__ import annotations

from typing import Literal

from pydantic import Field, model_validator

from survivor.evidence.finding import Grade
from survivor.settings.base import Day, MonthDay, Strict, Text

AdviceWord = Literal["advised", "worth a trial", "not advised"]


class About(Strict):
    """What the guideline is called, which version this is, and what it is told for."""

    name: Text
    version: int = Field(ge=1)
    dated: Day  # ISO; printed, never taken from the clock
    district: str = ""
    milestone: Text = "12 months"
    smallest_difference: float = Field(default=5.0, gt=0, lt=100)  # per 100 planted, worth having
    radius_gain: float = Field(default=1.0, gt=0)  # per 100 planted per 10 cm
    planting_day: MonthDay | None = None  # usual day of planting, for the calendar
    seed: int = Field(default=1, ge=0)
    note: str = ""


class SeasonTaken(Strict):
    """A study that the advice rests on, and the version from which it does."""

    study: Text  # folder or study file, relative to the guideline file
    name: str = ""  # as the page calls it; default: the folder
    since: int = Field(default=1, ge=1)


class Ground(Strict):
    """A kind of ground: which plots lie on it, by their own words, and how much is planted there."""

    name: Text
    where: dict[str, tuple[str, ...]] = Field(min_length=1)  # column of the plots = words that belong here
    plants_a_year: int | None = Field(default=None, ge=0)


class Row(Strict):
    """A row of the rule: gives its advice where all that it asks for holds. The first that holds counts."""

    gives: AdviceWord
    seasons: int = Field(default=1, ge=1)  # at least
    sites: int = Field(default=1, ge=1)  # at least, that hold both preparations
    plots: int = Field(default=3, ge=3)  # at least, in the arm that has fewer
    limits: Literal["sites like these", "any"] = "any"
    estimate_at_least: float | None = None  # difference per 100 planted
    estimate_at_most: float | None = None
    lower_at_least: float | None = None  # lower 95 % limit, per 100 planted
    upper_at_most: float | None = None
    p_adjusted_under: float | None = Field(default=None, gt=0, le=1)
    seasons_agree: bool = False  # every season's own difference goes the same way
    costs_more: bool = False  # and costs more per plant than the usual practice
    grade_at_least: Grade = "slight"


class Practice(Strict):
    """Local practice without data here: what is done, and who says so."""

    ground: Text
    preparation: Text
    says: Text
    source: Text


class Lead(Strict):
    """A line of the calendar: what is due how long before planting (negative: after)."""

    what: Text
    earliest_days_before: int
    latest_days_before: int
    breaks_ground: bool | None = None  # None: as the usual work of that name, else by its words
    condition: str = ""
    source: Text

    @model_validator(mode="after")
    def _in_order(self) -> Lead:
        if self.earliest_days_before < self.latest_days_before:
            raise ValueError("earliest_days_before >= latest_days_before must hold")
        return self


class GuidelineFile(Strict):
    """A whole guideline file."""

    guideline: About
    seasons: tuple[SeasonTaken, ...] = Field(min_length=1)
    ground: tuple[Ground, ...] = Field(min_length=1)
    rule: tuple[Row, ...] = ()  # none: the usual rule, printed with the advice
    practice: tuple[Practice, ...] = ()
    calendar: tuple[Lead, ...] = ()  # added to what the works of the preparations ask for

    @model_validator(mode="after")
    def _names_agree(self) -> GuidelineFile:
        names = [ground.name for ground in self.ground]
        if len(set(names)) < len(names):
            raise ValueError("two kinds of ground have the same name")
        for each in self.practice:
            if each.ground not in names:
                raise ValueError(
                    f"practice speaks of {each.ground!r}, which is no kind of ground of this file"
                )
        late = [season.study for season in self.seasons if season.since > self.guideline.version]
        if late:
            raise ValueError(
                f"{late[0]} comes in with a later version than this one: raise version, or lower its since"
            )
        if not any(season.since == 1 for season in self.seasons):
            raise ValueError("no season has since = 1, so the first version would rest on nothing")
        return self
