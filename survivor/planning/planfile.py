"""The plan file (TOML) as frozen, strict models: what is asked of the coming season, and with what means."""

from __future__ import annotations

import datetime as dt
from typing import Annotated, Final, Literal

from pydantic import AfterValidator, BeforeValidator, Field, model_validator

from survivor.settings import DrySeason
from survivor.settings.base import Day, Strict, Text
from survivor.settings.nearest import meant

_WINDOW_DAYS: Final = 30  # of a milestone, either side
_SLIGHTEST: Final = 0.5  # difference per 100 planted; a smaller one is a share written for it
_MOST_DAYS: Final = 36_525  # a century
_YEARS: Final = (1900, 2200)  # a slip of the pen lies outside


def _within_reach(day: str) -> str:
    if not _YEARS[0] <= int(day[:4]) <= _YEARS[1]:
        raise ValueError(f"{day} is not a day of the years {_YEARS[0]} to {_YEARS[1]}; is the year mistyped?")
    return day


def _not_a_share(value: object, slightest: float = 1.0) -> object:
    """Refuse a share of 1 where a number per 100 is asked for; one so small is of no use to a plan."""
    if isinstance(value, float) and 0 < value < slightest:
        raise ValueError(f"{value:g} per 100 is too small to be meant; did you mean {100 * value:g}?")
    return value


def _not_so_slight(value: object) -> object:
    """Refuse a share for a difference, as a study file does."""
    return _not_a_share(value, _SLIGHTEST)


Per100 = Annotated[float, BeforeValidator(_not_a_share)]
PlanDay = Annotated[Day, AfterValidator(_within_reach)]


class Disagreement(ValueError):
    """Two places of a plan file do not agree; ``place`` is the path of the one to look at."""

    def __init__(self, text: str, place: tuple[str | int, ...]) -> None:
        super().__init__(text)
        self.place = place


class About(Strict):
    """Name of the season, where its random numbers come from, and what day it is."""

    name: Text
    seed: int = Field(default=1, ge=0)
    as_of: PlanDay | None = None  # ISO; without it nothing is called late
    studies: int = Field(default=300, ge=20, le=100_000)  # simulated seasons at each size
    note: str = ""


class Question(Strict):
    """The difference that the season must be able to show, and when."""

    usual_practice: Text
    survival_per_100: Per100 = Field(gt=0, lt=100)  # expected under the usual practice
    smallest_difference: Annotated[float, BeforeValidator(_not_so_slight)] = Field(
        gt=0, lt=100
    )  # per 100 planted, worth having
    milestone: Text = "12 months"
    day: int = Field(default=365, gt=0, le=_MOST_DAYS)
    power_per_100: Per100 = Field(default=80.0, gt=5, lt=100)

    @model_validator(mode="after")
    def _room_for_the_difference(self) -> Question:
        if self.survival_per_100 + self.smallest_difference >= 100:
            raise ValueError("survival_per_100 + smallest_difference must be under 100")
        return self

    @property
    def window_days(self) -> int:
        """Days either side of the milestone within which a visit tells of it."""
        return min(_WINDOW_DAYS, self.day - 1)


class Variation(Strict):
    """How much plots and sites differ: stated, or taken from a past study."""

    plot_sd: float | None = Field(default=None, ge=0, le=3)  # standard deviation of the log hazard
    plot_correlation: float | None = Field(default=None, ge=0, lt=1)  # of two seedlings of a plot
    site_sd: float = Field(default=0.0, ge=0, le=3)  # standard deviation of the log hazard
    from_study: Text | None = None  # a study folder, relative to this file

    @model_validator(mode="after")
    def _told_once(self) -> Variation:
        told = [
            name for name in ("plot_sd", "plot_correlation", "from_study") if getattr(self, name) is not None
        ]
        if len(told) != 1:
            raise ValueError(
                "give one of plot_sd, plot_correlation and from_study, "
                + (f"not {' and '.join(told)}" if told else "as it decides how many plots are needed")
            )
        return self


class Costs(Strict):
    """What plots and tagged seedlings cost, visits included, and what there is to spend."""

    currency: Text
    budget: float = Field(gt=0)
    per_plot: float = Field(ge=0)  # to set out, mark and prepare
    per_plot_visit: float = Field(default=0.0, ge=0)
    per_tag: float = Field(ge=0)  # a tagged seedling: plant, tag, planting
    per_tag_visit: float = Field(default=0.0, ge=0)
    source: str = ""

    @model_validator(mode="after")
    def _something_costs(self) -> Costs:
        if not self.per_tag + self.per_tag_visit > 0 or not self.per_plot + self.per_plot_visit > 0:
            raise ValueError("a plot and a tag must each cost something, or there is no best split")
        return self


class Sizes(Strict):
    """Sizes that are settled already; what is left out is worked out."""

    sites: int | None = Field(default=None, ge=1)  # where they are not named yet
    plots_per_method: int | None = Field(default=None, ge=2)
    seedlings_per_plot: int | None = Field(default=None, ge=1, le=1000)
    fewest_seedlings: int = Field(default=5, ge=1)  # in a plot, when the split is looked for
    most_seedlings: int = Field(default=50, ge=2, le=1000)
    unequal_plots: float = Field(default=0.0, ge=0, le=2)  # SD of seedlings a plot over their mean

    @model_validator(mode="after")
    def _in_order(self) -> Sizes:
        if self.fewest_seedlings > self.most_seedlings:
            raise ValueError("fewest_seedlings <= most_seedlings must hold")
        return self


class Method(Strict):
    """A preparation and the works it consists of."""

    name: Text
    works: tuple[str, ...] = ()


class Site(Strict):
    """A site: when it is planted, how many blocks it has, and what cannot be done there."""

    name: Text
    planted: PlanDay  # ISO; planned or done
    blocks: int | None = Field(default=None, ge=1)  # None: as many as its share of the plots
    cannot: tuple[str, ...] = ()  # names of methods, or of works
    why: str = ""  # such as steep ground, standing trees


class Visit(Strict):
    """A visit of the calendar: so many days after planting, or tied to a dry season."""

    name: Text
    day: int | None = Field(default=None, ge=0, le=_MOST_DAYS)
    dry_season: Literal["before", "after"] | None = None
    which: int = Field(default=1, ge=1, le=20)  # first dry season, second, ...
    margin_days: int = Field(default=14, ge=0, le=_MOST_DAYS)  # before it starts, or after it ends
    window_days: int = Field(default=14, ge=0, le=_MOST_DAYS)  # either side

    @model_validator(mode="after")
    def _one_rule(self) -> Visit:
        if (self.day is None) == (self.dry_season is None):
            raise ValueError('give either day = ... or dry_season = "before" or "after"')
        return self


class Work(Strict):
    """Lead time of one work, in days before planting (negative: after it)."""

    name: Text
    earliest_days_before: int = Field(ge=-_MOST_DAYS, le=_MOST_DAYS)
    latest_days_before: int = Field(ge=-_MOST_DAYS, le=_MOST_DAYS)
    in_dry_season: bool = False  # done in the dry season before planting, while soil is dry
    always: bool = False  # part of every season, whatever the methods
    breaks_ground: bool | None = None  # None: as the usual work of that name, else by the words of its name
    before_ground: bool = False  # must be done before any ground is broken
    condition: str = ""
    source: str = "as the plan file gives it"

    @model_validator(mode="after")
    def _in_order(self) -> Work:
        if self.earliest_days_before < self.latest_days_before:
            raise ValueError("earliest_days_before >= latest_days_before must hold")
        return self


class Layout(Strict):
    """How tags are numbered and which species are planted."""

    tags: Literal["unique in the study", "unique in the plot"] = "unique in the study"
    first_tag: int = Field(default=1, ge=0)
    tag_digits: int = Field(default=4, ge=2, le=9)
    species: tuple[Text, ...] = ()  # as evenly as can be, in every plot


class Plan(Strict):
    """A whole plan file."""

    plan: About
    question: Question
    variation: Variation
    costs: Costs | None = None
    sizes: Sizes = Sizes()
    layout: Layout = Layout()
    dry_season: DrySeason | None = None
    methods: tuple[Method, ...] = Field(min_length=2)
    sites: tuple[Site, ...] = ()
    visits: tuple[Visit, ...] = ()  # none: the usual ones
    works: tuple[Work, ...] = ()  # besides or instead of the usual ones

    @model_validator(mode="after")
    def _names_agree(self) -> Plan:
        for what, named in (
            ("methods", [each.name for each in self.methods]),
            ("sites", [each.name for each in self.sites]),
            ("visits", [each.name for each in self.visits]),
            ("works", [each.name for each in self.works]),
        ):
            folded = [name.casefold() for name in named]
            for at, name in enumerate(folded):
                if name in folded[:at]:
                    raise Disagreement(f"two {what} have the same name, {named[at]!r}", (what, at, "name"))
        known = [method.name for method in self.methods]
        if self.question.usual_practice not in known:
            usual = self.question.usual_practice
            raise Disagreement(
                f"usual_practice {usual!r} is not among the methods {known}{meant(usual, known)}",
                ("question", "usual_practice"),
            )
        words = {*known, *(work for method in self.methods for work in method.works)}
        for at, site in enumerate(self.sites):
            if absent := [word for word in site.cannot if word not in words]:
                raise Disagreement(
                    f"{site.name} cannot take {absent[0]!r}, which is no method or work of this plan"
                    + meant(absent[0], sorted(words)),
                    ("sites", at, "cannot"),
                )
        if any(visit.dry_season for visit in self.visits) and self.dry_season is None:
            raise ValueError("a visit is tied to the dry season, and [dry_season] is not given")
        if not self.sites and self.sizes.sites is None:
            raise ValueError("name the sites, [[sites]], or say how many there will be: [sizes] sites = 6")
        if self.sites and self.sizes.sites not in (None, len(self.sites)):
            raise ValueError(f"[sizes] sites = {self.sizes.sites}, and {len(self.sites)} are named")
        return self

    @property
    def n_sites(self) -> int:
        """Sites, named or only counted."""
        return len(self.sites) or self.sizes.sites or 1

    @property
    def comparisons(self) -> int:
        """Comparisons against the usual practice."""
        return len(self.methods) - 1

    @property
    def today(self) -> dt.date | None:
        """The day on which the plan is read; None where the file does not say."""
        return dt.date.fromisoformat(self.plan.as_of) if self.plan.as_of else None
