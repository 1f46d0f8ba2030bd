"""The plan file (TOML) as frozen, strict models: what is asked of the coming season, and with what means."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from itertools import product
from pathlib import Path
from typing import Annotated, Final, Literal

from pydantic import AfterValidator, BeforeValidator, Field, model_validator

from survivor.arguments import must_be
from survivor.errors import PlanError
from survivor.files.faults import named_here, named_once
from survivor.files.toml import read_toml
from survivor.settings import DrySeason, works_of_pair
from survivor.settings.base import Currency, Day, Strict, Text
from survivor.words import listed

_FEWEST_METHODS: Final = 2  # to compare
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


class About(Strict):
    """Name of the season, where its random numbers come from, and what day it is."""

    name: Text
    seed: int = Field(default=1, ge=0)
    as_of: PlanDay | None = Field(default=None, description="without it nothing is called late")
    studies: int = Field(default=300, ge=20, le=100_000, description="simulated seasons at each size")
    note: str = ""


class Question(Strict):
    """The difference that the season must be able to show, and when."""

    usual_practice: Text = Field(description="the preparation that every other one is compared with")
    survival_per_100: Per100 = Field(gt=0, lt=100, description="expected under the usual practice")
    smallest_difference: Annotated[float, BeforeValidator(_not_so_slight)] = Field(
        gt=0, lt=100, description="per 100 planted: the smallest that matters"
    )
    milestone: Text = Field(default="12 months", description="name of the day that the question is for")
    day: int = Field(default=365, gt=0, le=_MOST_DAYS, description="days since planting")
    power_per_100: Per100 = Field(
        default=80.0, gt=5, lt=100, description="how many of 100 such seasons should show the difference"
    )

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

    plot_sd: float | None = Field(
        default=None, ge=0, le=3, description="standard deviation of the log hazard"
    )
    plot_correlation: float | None = Field(default=None, ge=0, lt=1, description="of two seedlings of a plot")
    site_sd: float = Field(default=0.0, ge=0, le=3, description="standard deviation of the log hazard")
    from_study: Text | None = Field(default=None, description="a study folder, relative to this file")

    @model_validator(mode="after")
    def _told_once(self) -> Variation:
        values = [
            name for name in ("plot_sd", "plot_correlation", "from_study") if getattr(self, name) is not None
        ]
        if len(values) != 1:
            raise ValueError(
                "give one of plot_sd, plot_correlation and from_study, "
                + (f"not {' and '.join(values)}" if values else "as it decides how many plots are needed")
            )
        return self


class Costs(Strict):
    """What plots and tagged seedlings cost, visits included, and what there is to spend."""

    currency: Currency
    budget: float = Field(gt=0)
    per_plot: float = Field(ge=0, description="to set out, mark and prepare")
    per_plot_visit: float = Field(default=0.0, ge=0)
    per_tag: float = Field(ge=0, description="a tagged seedling: plant, tag, planting")
    per_tag_visit: float = Field(default=0.0, ge=0)
    source: str = ""

    @model_validator(mode="after")
    def _something_costs(self) -> Costs:
        if not self.per_tag + self.per_tag_visit > 0 or not self.per_plot + self.per_plot_visit > 0:
            raise ValueError("a plot and a tag must each cost something, or there is no best split")
        return self


class Sizes(Strict):
    """Sizes that are settled already; what is left out is worked out."""

    sites: int | None = Field(default=None, ge=1, description="where they are not named yet")
    plots_per_method: int | None = Field(default=None, ge=2)
    seedlings_per_plot: int | None = Field(default=None, ge=1, le=1000)
    fewest_seedlings: int = Field(default=5, ge=1, description="in a plot, when the split is looked for")
    most_seedlings: int = Field(default=50, ge=2, le=1000)
    unequal_plots: float = Field(
        default=0.0, ge=0, le=2, description="SD of seedlings a plot over their mean"
    )

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
    planted: PlanDay = Field(description="planned or done")
    blocks: int | None = Field(default=None, ge=1, description="without it as many as its share of the plots")
    cannot: tuple[str, ...] = Field(default=(), description="names of methods, or of works")
    why: str = Field(default="", description="such as steep ground, standing trees")


class Visit(Strict):
    """A visit of the calendar: so many days after planting, or tied to a dry season."""

    name: Text
    day: int | None = Field(default=None, ge=0, le=_MOST_DAYS)
    dry_season: Literal["before", "after"] | None = None
    which: int = Field(default=1, ge=1, le=20, description="first dry season, second, ...")
    margin_days: int = Field(
        default=14, ge=0, le=_MOST_DAYS, description="before it starts, or after it ends"
    )
    window_days: int = Field(default=14, ge=0, le=_MOST_DAYS, description="either side")

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
    in_dry_season: bool = Field(
        default=False, description="done in the dry season before planting, while soil is dry"
    )
    always: bool = Field(default=False, description="part of every season, whatever the methods")
    breaks_ground: bool | None = Field(
        default=None, description="without it as the usual work of that name, else by the words of its name"
    )
    before_ground: bool = Field(default=False, description="must be done before any ground is broken")
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
    species: tuple[Text, ...] = Field(default=(), description="as evenly as can be, in every plot")


class Factorial(Strict):
    """Works that are each tried with and without, in every combination, beside one base preparation."""

    works: tuple[Text, ...] = Field(
        min_length=2, max_length=4, description="each with and without: 2 works make 4 preparations"
    )
    whole_plots: tuple[Text, ...] = Field(
        default=(), description="of these, the ones done to whole plots, such as rip lines; others within"
    )
    whole_plot_sd: float = Field(
        default=0.0, ge=0, le=3, description="standard deviation of whole plots on the log hazard"
    )
    interactions: tuple[Text, ...] = Field(
        default=(), description='pairs asked about beforehand, such as ["rip x mulch mat"]'
    )

    @model_validator(mode="after")
    def _of_these_works(self) -> Factorial:
        for pair in self.interactions:
            parts = works_of_pair(pair)
            if len(parts) != 2 or not set(parts) <= set(self.works):
                raise ValueError(f'"{pair}" is no pair of the works; write two of them, as "rip x mulch mat"')
        absent = [work for work in self.whole_plots if work not in self.works]
        if absent:
            raise ValueError(f"{absent[0]} of whole_plots is none of the works")
        if len(self.whole_plots) == len(self.works):
            raise ValueError("whole_plots holds every work, so none is left within whole plots")
        return self

    @property
    def pairs(self) -> tuple[tuple[str, str], ...]:
        """Pairs asked about beforehand."""
        return tuple((first, second) for first, second in map(works_of_pair, self.interactions))

    def sets(self) -> list[tuple[str, ...]]:
        """Every set of the works, that of none first, whole plots together."""
        order = [*self.whole_plots, *(work for work in self.works if work not in self.whole_plots)]
        found = [
            {work for work, got in zip(order, line, strict=True) if got}
            for line in product((False, True), repeat=len(order))
        ]
        return [tuple(work for work in self.works if work in own) for own in found]


def set_name(base: str, works: Sequence[str]) -> str:
    """Name a preparation of a factorial: the base with these works."""
    return f"{base}, {listed(list(works))}" if works else base


class Plan(Strict):
    """A whole plan file."""

    plan: About
    question: Question
    variation: Variation
    costs: Costs | None = None
    sizes: Sizes = Sizes()
    layout: Layout = Layout()
    dry_season: DrySeason | None = None
    methods: tuple[Method, ...] = Field(min_length=1)
    sites: tuple[Site, ...] = ()
    visits: tuple[Visit, ...] = Field(default=(), description="without any the usual ones")
    works: tuple[Work, ...] = Field(default=(), description="besides or instead of the usual ones")
    factorial: Factorial | None = Field(
        default=None, description="works in every combination; [[methods]] is then the base alone"
    )

    @model_validator(mode="after")
    def _every_combination(self) -> Plan:
        """Write out the preparations of a factorial, of which the file gives the base."""
        asked, given = self.factorial, len(self.methods)
        if asked is None:
            if given < _FEWEST_METHODS:
                raise ValueError(f"[[methods]]: at least {_FEWEST_METHODS} are needed, and there is {given}")
            return self
        if given != 1:
            raise ValueError(
                "with [factorial] give one [[methods]], the base: its combinations with the works are made "
                "from it"
            )
        (base,) = self.methods
        every = tuple(
            Method(name=set_name(base.name, own), works=(*base.works, *own)) for own in asked.sets()
        )
        object.__setattr__(self, "methods", every)  # frozen from here on
        sized = bool(self.sites) and all(site.blocks is not None for site in self.sites)
        if self.sizes.plots_per_method is None and not sized:
            raise ValueError(
                "with [factorial] say how many blocks there are to be: [sizes] plots_per_method = 6, or "
                "blocks = ... at each site"
            )
        return self

    @model_validator(mode="after")
    def _names_agree(self) -> Plan:
        for table in ("methods", "sites", "visits", "works"):
            named_once(table, [entry.name.casefold() for entry in getattr(self, table)])
        methods = [method.name for method in self.methods]
        named_here(("question", "usual_practice"), self.question.usual_practice, "[[methods]]", methods)
        words = sorted({*methods, *(work for method in self.methods for work in method.works)})
        for number, site in enumerate(self.sites):
            for at, word in enumerate(site.cannot):
                named_here(("sites", number, "cannot", at), word, "methods and works", words)
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


def read_plan(path: str | Path) -> Plan:
    """Read a plan file.

    Parameters
    ----------
    path
        The file; a past study that it names is found relative to it.

    Raises
    ------
    PlanError
        When there is no such file, it is not TOML or of another kind, or a key or value in it is not known;
        every fault is listed with its line, key, value and what to do.
    """
    mend = 'give for example survivor.plan("winter/plan.toml")'
    must_be(path, str | Path, "the name of a plan file", "path", PlanError, mend)
    return read_toml(Path(path), Plan, "plan", PlanError)


def plan_folder(path: Path) -> str:
    """Name of the folder, within that of the reports, of what is worked out from a plan file."""
    named = path.resolve()
    return f"{named.parent.name}-plan" if named.stem == "plan" else named.stem
