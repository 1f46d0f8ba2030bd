"""The whole study file, and its tables about the study, methods, costs and planting."""

from __future__ import annotations

import datetime as dt
from typing import Literal

from pydantic import Field, model_validator

from survivor.files.faults import Disagreement, named_here, named_once
from survivor.settings.base import Day, Strict, Text
from survivor.settings.costs import Cost, CostLine, Costs, Infill, Spacing, Stocking
from survivor.settings.design import (
    Correction,
    Design,
    DrySeason,
    Heights,
    Milestone,
    PhotoPoint,
    Privacy,
    Reporting,
    Target,
)
from survivor.settings.season import Gauge, Soil, Weather
from survivor.settings.sheets import Records, Rules, Works

STUDY_FILE = "study.toml"


class About(Strict):
    """What the season was monitored for, and how it is named in the report."""

    name: Text = Field(description="title of the report")
    purpose: Literal["compare preparations", "check a target", "follow a trend"] = Field(
        default="compare preparations", description="what the season was monitored for"
    )
    seed: int = Field(
        default=1, description="start of every random number, so that a report can be made again"
    )
    as_of: Day | None = Field(
        default=None,
        description="day on which the records were closed; without it today: no later date is true",
    )
    outside: bool = Field(
        default=False, description="whether files that lie outside the study's folder may be read"
    )
    note: str = Field(default="", description="a sentence printed in the report")


class Method(Strict):
    """A preparation: its name as the report prints it, its works, spellings and cost."""

    name: Text = Field(description="the name that the report prints")
    works: tuple[str, ...] = Field(default=(), description="the works it is made of")
    also: tuple[str, ...] = Field(default=(), description="other spellings found in the sheets")
    cost: Cost | None = Field(default=None, description="what it costs per plant, all in one")
    costs: tuple[CostLine, ...] = Field(
        default=(), description="what it costs, line by line, in place of cost; the lines add up"
    )
    spacing: Spacing | None = Field(default=None, description="its own spacing; without it that of [spacing]")

    @model_validator(mode="after")
    def _costed_once(self) -> Method:
        if self.cost is not None and self.costs:
            raise ValueError(f'"{self.name}" has both cost and [[methods.costs]]; keep one of them')
        return self

    @property
    def costed(self) -> bool:
        """Whether the file says what it costs; lines that all preparations share are not enough."""
        return self.cost is not None or bool(self.costs)


class Planted(Strict):
    """Plants put in at a site and of a species in the whole planting, not in the plots."""

    site: Text = Field(description="site, spelt as in the records")
    plants: int = Field(ge=0, description="plants put in there over the whole planting, plots or not")
    species: Text | None = Field(
        default=None, description="species, spelt as in the records; none: all together"
    )
    hectares: float | None = Field(
        default=None, gt=0, le=100_000, description="hectares planted at the site, all species; once a site"
    )


class Settings(Strict):
    """A whole study file."""

    study: About = Field(description="the study")
    records: Records = Field(description="where the records are")
    rules: Rules = Field(default=Rules(), description="how records are read")
    design: Design = Field(default=Design(), description="how the season was designed")
    dry_season: DrySeason | None = Field(default=None, description="first and last day of the dry season")
    milestones: tuple[Milestone, ...] = Field(
        default=(Milestone(name="12 months", day=365, window_days=30),),
        min_length=1,
        description='the days answered for; without any "12 months", day 365, window 30 days',
    )
    headline: Text | None = Field(
        default=None, description="name of the milestone of the report's first screen; without it the first"
    )
    target: Target | None = Field(default=None, description="what was promised")
    gauges: tuple[Gauge, ...] = Field(default=(), description="rain gauges")
    weather: tuple[Weather, ...] = Field(default=(), description="temperature beside a gauge")
    soil: Soil = Field(default=Soil(), description="how soil water is reckoned")
    methods: tuple[Method, ...] = Field(
        default=(),
        description="the preparations; once any is given, one that is not among them is a fault; without "
        "any, every spelling in the sheets is a preparation of its own",
    )
    works: Works | None = Field(default=None, description="the works diary")
    costs: Costs | None = Field(default=None, description="where the costs come from")
    spacing: Spacing | None = Field(default=None, description="how far apart plants stand")
    infill: Infill | None = Field(default=None, description="what infill costs")
    stocking: Stocking | None = Field(default=None, description="how many living stems are wanted")
    planted: tuple[Planted, ...] = Field(
        default=(), description="plants of the whole planting, by site and species"
    )
    heights: Heights | None = Field(default=None, description="the height told with survival")
    photo_points: tuple[PhotoPoint, ...] = Field(default=(), description="photo points that the report lists")
    corrections: tuple[Correction, ...] = Field(
        default=(), description="corrections of the records that the report lists"
    )
    report: Reporting = Field(
        default=Reporting(), description="who did it and for whom, and how it was decided; all optional"
    )
    privacy: Privacy = Field(default=Privacy(), description="what a shared report may show")

    @model_validator(mode="after")
    def _names_agree(self) -> Settings:
        milestones, gauges, methods = (
            [entry.name for entry in tables] for tables in (self.milestones, self.gauges, self.methods)
        )
        for table, names in (("milestones", milestones), ("gauges", gauges), ("methods", methods)):
            named_once(table, names)
        for place, asked in (
            (("headline",), self.headline),
            (("target", "milestone"), self.target.milestone if self.target else None),
            (("heights", "milestone"), self.heights.milestone if self.heights else None),
        ):
            named_here(place, asked, "[[milestones]]", milestones)
        if methods:
            named_here(("design", "usual_practice"), self.design.usual_practice, "[[methods]]", methods)
        for number, weather in enumerate(self.weather):
            beside = ("weather", number, "gauge")
            named_here(beside, weather.gauge, "[[gauges]]", gauges)
            if weather.gauge in [earlier.gauge for earlier in self.weather[:number]]:
                raise Disagreement(beside, "has another [[weather]] file beside it; keep one of them")
        areas = [(number, line.site) for number, line in enumerate(self.planted) if line.hectares is not None]
        for earlier, (number, site) in enumerate(areas):
            if site in [before for _, before in areas[:earlier]]:
                again = ("planted", number, "hectares")
                raise Disagreement(again, f'is given a second time for "{site}"; give hectares once a site')
        planted, closed = self.rules.planted_date, self.study.as_of
        if planted is not None and closed is not None and planted > closed:
            later = f'is after [study] as_of = "{closed}"; correct one of them'
            raise Disagreement(("rules", "planted_date"), later)
        for site, day in self.rules.planted_by_site.items():
            if closed is not None and day > closed:
                later = f'is after [study] as_of = "{closed}"; correct one of them'
                raise Disagreement(("rules", "planted_by_site", site), later)
        return self

    @model_validator(mode="after")
    def _costs_can_be_brought_to_a_plant(self) -> Settings:
        shared = self.costs.lines if self.costs is not None else ()
        for method in self.methods:
            if not method.costed:
                continue
            spacing = method.spacing or self.spacing
            for line in (*shared, *method.costs):
                _can_be_per_plant(line, method.name, spacing)
        own = self.costs.currency if self.costs is not None else None
        for line in (*shared, *(line for method in self.methods for line in method.costs)):
            if line.currency is not None and line.currency != own:
                named = f'[costs] currency = "{own}"' if own is not None else "there is no [costs] currency"
                raise ValueError(
                    f'the cost line "{line.name}" is in {line.currency} and {named}; bring all costs to one '
                    "currency: survivor knows no rates of exchange"
                )
        return self

    @property
    def headline_milestone(self) -> Milestone:
        """The milestone that the first screen of the report answers for."""
        if self.headline is None:
            return self.milestones[0]
        return next(m for m in self.milestones if m.name == self.headline)

    @property
    def records_closed(self) -> dt.date | None:
        """The day after which no record can be true; None where the file does not say."""
        return dt.date.fromisoformat(self.study.as_of) if self.study.as_of else None


def _can_be_per_plant(line: CostLine, method: str, spacing: Spacing | None) -> None:
    if line.per == "hectare" and spacing is None:
        raise ValueError(
            f'"{line.name}" of "{method}" is paid per hectare: add [spacing] with row_m and in_row_m, or '
            "stems_per_hectare, so that it can be shared among the plants"
        )
    if line.per == "km" and (spacing is None or spacing.metres_per_plant is None):
        raise ValueError(
            f'"{line.name}" of "{method}" is paid per km of rip line: add in_row_m, the metres from plant to '
            "plant, under [spacing]"
        )
