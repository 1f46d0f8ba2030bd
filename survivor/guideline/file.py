"""The guideline file (TOML) as frozen, strict models."""

from __future__ import annotations

from pathlib import Path
from typing import Literal

from pydantic import Field, model_validator

from survivor.errors import GuidelineError
from survivor.evidence.finding import Grade
from survivor.files.faults import Disagreement, named_here, named_once
from survivor.files.toml import read_toml
from survivor.settings.base import Day, MonthDay, Strict, Text

AdviceWord = Literal["advised", "worth a trial", "not advised"]


class About(Strict):
    """What the guideline is called, which version this is, and what it is told for."""

    name: Text
    version: int = Field(ge=1)
    dated: Day = Field(description="printed, never taken from the clock")
    district: str = ""
    milestone: Text = "12 months"
    smallest_difference: float = Field(
        default=5.0, gt=0, lt=100, description="per 100 planted: the smallest that matters"
    )
    radius_gain: float = Field(default=1.0, gt=0, description="per 100 planted per 10 cm")
    planting_day: MonthDay | None = Field(default=None, description="usual day of planting, for the calendar")
    seed: int = Field(default=1, ge=0)
    note: str = ""


class SeasonTaken(Strict):
    """A study that the advice rests on, and the version from which it does."""

    study: Text = Field(description="folder or study file, relative to the guideline file")
    name: str = Field(default="", description="as the page calls it; default: the folder")
    since: int = Field(default=1, ge=1)


class Ground(Strict):
    """A kind of ground: which plots lie on it, by their own words, and how much is planted there."""

    name: Text
    where: dict[str, tuple[str, ...]] = Field(
        min_length=1, description="column of the plots = words that belong here"
    )
    plants_a_year: int | None = Field(default=None, ge=0)


class Row(Strict):
    """A row of the rule: gives its advice where all that it asks for holds. The first that holds counts."""

    gives: AdviceWord
    seasons: int = Field(default=1, ge=1, description="at least so many")
    sites: int = Field(default=1, ge=1, description="at least, that hold both preparations")
    plots: int = Field(default=3, ge=3, description="at least, in the arm that has fewer")
    limits: Literal["seasons like these", "any"] = "any"
    estimate_at_least: float | None = Field(default=None, description="difference per 100 planted")
    estimate_at_most: float | None = None
    lower_at_least: float | None = Field(default=None, description="lower 95 % limit, per 100 planted")
    upper_at_most: float | None = None
    p_adjusted_under: float | None = Field(default=None, gt=0, le=1)
    seasons_agree: bool = Field(default=False, description="every season's own difference goes the same way")
    costs_more: bool = Field(default=False, description="and costs more per plant than the usual practice")
    grade_at_least: Grade | None = Field(
        default=None, description="without it also where there is not enough evidence to say"
    )


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
    breaks_ground: bool | None = Field(
        default=None, description="without it as the usual work of that name, else by its words"
    )
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
    rule: tuple[Row, ...] = Field(default=(), description="without any the usual rule; it is printed")
    practice: tuple[Practice, ...] = ()
    calendar: tuple[Lead, ...] = Field(
        default=(), description="added to what the works of the preparations ask for"
    )

    @model_validator(mode="after")
    def _names_agree(self) -> GuidelineFile:
        grounds = [ground.name for ground in self.ground]
        named_once("ground", grounds)
        for number, practice in enumerate(self.practice):
            named_here(("practice", number, "ground"), practice.ground, "kinds of ground", grounds)
        for number, season in enumerate(self.seasons):
            if season.since > self.guideline.version:
                place = ("seasons", number, "since")
                raise Disagreement(place, "is a later version than this one: raise version, or lower since")
        if not any(season.since == 1 for season in self.seasons):
            raise ValueError("no season has since = 1, so the first version would rest on nothing")
        return self


def read_guideline(path: str | Path) -> GuidelineFile:
    """Read a guideline file.

    Raises
    ------
    GuidelineError
        When there is no such file, it is not TOML or of another kind, or a key or value in it is not known;
        every fault is listed with its line, key, value and what to do.
    """
    return read_toml(Path(path), GuidelineFile, "guideline", GuidelineError)
