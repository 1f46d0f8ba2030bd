"""The study file (TOML) as frozen, strict models.

A key that is not known is an error, not a silence: ``sede = 4`` is refused with
the place, the value and the mend. Paths in a study file are relative to it.
"""

from __future__ import annotations

import datetime as dt
import tomllib
from pathlib import Path
from typing import Annotated, Literal

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, ValidationError, model_validator

from survivor.errors import StudyFileError

STUDY_FILE = "study.toml"
DEPLETION_FRACTION = 0.5  # FAO-56 ch. 8: common to many plants
PATCH_COEFFICIENT = 0.4  # FAO-56 table 12: as for young or leafless trees without ground cover
WEED_COEFFICIENT = 1.0  # grass that covers the ground is what the reference is of

MonthDay = Annotated[str, Field(pattern=r"^(0[1-9]|1[0-2])-(0[1-9]|[12]\d|3[01])$")]
Text = Annotated[str, Field(min_length=1)]


def _iso_day(text: str) -> str:
    try:
        dt.date.fromisoformat(text)
    except ValueError as error:
        raise ValueError(f"{text!r} is not a day; write it as year-month-day, such as 2022-05-31") from error
    return text


Day = Annotated[str, AfterValidator(_iso_day)]


class _Strict(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", strict=True)


class About(_Strict):
    """What the season was monitored for, and how it is named in the report."""

    name: Text
    purpose: Literal["compare preparations", "check a target", "follow a trend"] = "compare preparations"
    seed: int = 1
    as_of: Day | None = None  # ISO date on which the records were closed; default: the last visit
    note: str = ""


class Sheet(_Strict):
    """One file of records and how its columns and words map to ours.

    ``columns`` maps our word to their header (several headers are joined with
    a comma, for a method that two columns tell together; a word that is not ours
    is carried as a trait under that name). ``every_row`` gives what the whole file
    shares and no column tells, such as its site. ``states`` and ``species`` map
    their word to ours. What is not given is matched forgivingly and shown.
    """

    file: Text
    sheet: Text | None = None
    skip_rows: int = Field(default=0, ge=0)  # rows above the header, such as a title
    header_rows: int = Field(default=1, ge=1, le=4)
    date_order: Literal["day-first", "month-first"] | None = None
    columns: dict[str, str | tuple[str, ...]] = {}
    every_row: dict[str, str] = {}
    states: dict[str, Literal["alive", "dead", "missing", "not found", "not visited"]] = {}
    species: dict[str, str] = {}


class Visit(_Strict):
    """A visit of a wide sheet: its date, and the header(s) of its columns."""

    name: Text
    date: Day | None = None  # ISO; None: a date column or the header holds it
    date_header: Text | None = None  # header of a column with the date of this visit
    state: Text | None = None  # header of the state or count column
    height: Text | None = None  # header of a height column
    cause: Text | None = None  # header of a column with the cause of death


class Records(_Strict):
    """Where the visits are and what shape they have."""

    kind: Literal["tagged", "counts"]
    shape: Literal["long", "wide"] = "long"
    sheets: tuple[Sheet, ...] = Field(min_length=1)
    visits: tuple[Visit, ...] = ()
    plots: Sheet | None = None  # one row a plot: method, planting date, radius, traits

    @model_validator(mode="after")
    def _wide_sheets_name_their_visits(self) -> Records:
        if self.visits and self.shape != "wide":
            raise ValueError('visits are named for wide sheets only; set shape = "wide" or remove them')
        return self


class Rules(_Strict):
    """How records are read where practice differs. The defaults are the careful ones."""

    missing: Literal["dead", "unknown"] = "dead"
    blank: Literal["not visited", "dead"] = "not visited"
    measured_means_alive: bool = False  # a height without a state means alive at that visit
    tagged: Literal["at planting", "at first sighting"] | None = (
        None  # None: told from the records, and noted
    )
    count_rises: Literal["report", "mend"] = "report"
    planted_date: Day | None = None  # ISO; where no sheet gives one


class Design(_Strict):
    """How plots were placed and preparations chosen; what words the report may use."""

    allocation: Literal["random within blocks", "by choice", "not recorded"] = "not recorded"
    plots_placed: Literal["random", "by choice", "not recorded"] = "not recorded"
    strata: tuple[str, ...] = ("site",)
    usual_practice: Text | None = None
    radius_measured: Literal["at planting", "after planting"] | None = None
    smallest_difference: float = Field(default=5.0, gt=0, lt=100)  # per 100 planted, worth having
    radius_gain: float = Field(default=1.0, gt=0)  # per 100 planted per 10 cm
    reason_for_choice: str = ""


class DrySeason(_Strict):
    """Month and day on which the dry season starts and ends, as ``MM-DD``."""

    start: MonthDay
    end: MonthDay


class Milestone(_Strict):
    """A named day of the seedling's life and the visit window round it."""

    name: Text
    day: int = Field(gt=0)
    window_days: int = Field(default=30, ge=0)


class Target(_Strict):
    """What was promised: survival of planted at a milestone."""

    survival_per_100: float = Field(gt=0, lt=100)
    milestone: Text


class Gauge(_Strict):
    """A rain gauge file and the sites it stands for."""

    name: Text
    file: Text
    sites: tuple[str, ...] = ()  # empty: all sites
    missing_days: Literal["not read", "zero"] = "not read"
    columns: dict[str, str] = {}


class Weather(_Strict):
    """Daily temperature, or evapotranspiration, for the sites of a rain gauge."""

    gauge: Text  # name of the rain gauge whose sites it stands for
    file: Text
    latitude: float | None = Field(default=None, ge=-90, le=90)  # degrees, south negative
    elevation_m: float | None = Field(default=None, ge=-430, le=8900)
    wind_height_m: float = Field(default=2.0, gt=0.1, le=100)  # at which wind was measured
    method: Literal["supplied", "penman-monteith", "hargreaves"] | None = None  # None: the best it can
    columns: dict[str, str] = {}


class Texture(_Strict):
    """Water held by a soil, m3 per m3: drained, and when plants can draw no more."""

    field_capacity: float = Field(gt=0, lt=1)
    wilting_point: float = Field(ge=0, lt=1)

    @model_validator(mode="after")
    def _holds_water(self) -> Texture:
        if self.wilting_point >= self.field_capacity:
            raise ValueError("wilting_point < field_capacity must hold")
        return self


class Soil(_Strict):
    """How soil water is reckoned where there is weather; see ``survivor.season.soil.Patch``."""

    root_depth_m: float = Field(default=0.5, gt=0, le=5)
    root_radius_m: float | None = Field(default=None, gt=0, le=10)  # None: the weed-free patch
    depletion_fraction: float = Field(default=DEPLETION_FRACTION, gt=0, lt=1)
    patch_coefficient: float = Field(default=PATCH_COEFFICIENT, ge=0, le=2)
    weed_coefficient: float = Field(default=WEED_COEFFICIENT, ge=0, le=2)
    texture: Text | None = None  # for plots whose sheet gives none
    textures: dict[str, Texture] = {}  # a word of the sheets, and the water that soil holds


class Cost(_Strict):
    """Cost of a method per plant, with the range the user gives."""

    per_plant: float = Field(ge=0)
    low: float | None = Field(default=None, ge=0)
    high: float | None = Field(default=None, ge=0)

    @model_validator(mode="after")
    def _range_holds_the_cost(self) -> Cost:
        low = self.per_plant if self.low is None else self.low
        high = self.per_plant if self.high is None else self.high
        if not low <= self.per_plant <= high:
            raise ValueError("low <= per_plant <= high must hold")
        return self


class Method(_Strict):
    """A preparation: its name as the report prints it, its works, spellings and cost."""

    name: Text
    works: tuple[str, ...] = ()
    also: tuple[str, ...] = ()  # other spellings found in the sheets
    cost: Cost | None = None


class Costs(_Strict):
    """Where the costs come from."""

    currency: Text
    year: int = Field(ge=1900, le=2200)
    source: Text


class Planted(_Strict):
    """Plants put in at a site and of a species in the whole planting, not in the plots."""

    site: Text
    plants: int = Field(ge=0)
    species: Text | None = None


class Privacy(_Strict):
    """What a shared report may show."""

    show_landholders: bool = False
    show_coordinates: bool = False


class Settings(_Strict):
    """A whole study file."""

    study: About
    records: Records
    rules: Rules = Rules()
    design: Design = Design()
    dry_season: DrySeason | None = None
    milestones: tuple[Milestone, ...] = (Milestone(name="12 months", day=365, window_days=30),)
    headline: Text | None = None  # name of the headline milestone; default: the first
    target: Target | None = None
    gauges: tuple[Gauge, ...] = ()
    weather: tuple[Weather, ...] = ()
    soil: Soil = Soil()
    methods: tuple[Method, ...] = ()
    costs: Costs | None = None
    planted: tuple[Planted, ...] = ()
    privacy: Privacy = Privacy()

    @model_validator(mode="after")
    def _names_agree(self) -> Settings:
        names = [m.name for m in self.milestones]
        if len(set(names)) < len(names):
            raise ValueError("two milestones have the same name")
        for asked in (self.headline, self.target.milestone if self.target else None):
            if asked is not None and asked not in names:
                raise ValueError(f"milestone {asked!r} is not among the milestones {names}")
        beside = [w.gauge for w in self.weather]
        if len(set(beside)) < len(beside):
            raise ValueError("two weather files stand beside one gauge")
        if absent := set(beside) - {g.name for g in self.gauges}:
            raise ValueError(f"weather stands beside {min(absent)!r}, which is no gauge of this file")
        known = [m.name for m in self.methods]
        if len(set(known)) < len(known):
            raise ValueError("two methods have the same name")
        usual = self.design.usual_practice
        if usual is not None and known and usual not in known:
            raise ValueError(f"usual_practice {usual!r} is not among the methods {known}")
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


def find_study_file(path: str | Path) -> Path:
    """Return the study file for a folder or for the file itself.

    Raises
    ------
    StudyFileError
        When there is neither.
    """
    given = Path(path)
    found = given / STUDY_FILE if given.is_dir() else given
    if not found.is_file():
        raise StudyFileError(
            "no study file here",
            where=str(given),
            mend=f"name a folder that holds {STUDY_FILE}, or the study file itself; "
            "`survivor demo DIR` writes an example to start from",
        )
    return found


def read_settings(path: str | Path) -> Settings:
    """Read a study file.

    Parameters
    ----------
    path
        The study file, or the folder that holds ``study.toml``.

    Raises
    ------
    StudyFileError
        When the file is not TOML, or a key or value in it is not known; every
        fault is listed with its place, its value and the mend.
    """
    file = find_study_file(path)
    try:
        raw = tomllib.loads(file.read_text(encoding="utf-8"))
    except UnicodeDecodeError as error:
        raise StudyFileError(
            "the study file is not text in UTF-8", where=file.name, mend="save it again as UTF-8 text"
        ) from error
    except tomllib.TOMLDecodeError as error:
        raise StudyFileError(
            f"the study file is not valid TOML: {error}",
            where=file.name,
            mend='check that line for a missing quote, bracket or "=" sign',
        ) from error
    try:
        # Through JSON mode so that TOML arrays become the tuples of the frozen models.
        return Settings.model_validate_json(_as_json(raw))
    except ValidationError as error:
        raise StudyFileError(
            _faults_in_words(error),
            where=file.name,
            mend="correct the lines named above; the keys are listed in the data dictionary "
            "of the demo studies",
        ) from error


def _as_json(raw: dict[str, object]) -> str:
    import json

    def iso(value: object) -> str:
        if isinstance(value, dt.date | dt.datetime):
            return value.isoformat()
        raise TypeError(f"{value!r} has no place in a study file")

    return json.dumps(raw, default=iso)


def _faults_in_words(error: ValidationError) -> str:
    lines = []
    for fault in error.errors(include_url=False):
        place = ".".join(str(part) for part in fault["loc"]) or "the file as a whole"
        if fault["type"] == "extra_forbidden":
            lines.append(f"{place} = {fault['input']!r} is not a key that survivor knows")
        elif fault["type"] == "missing":
            lines.append(f"{place} is needed and is not there")
        else:
            text = fault["msg"].removeprefix("Value error, ")
            found = "" if fault["type"] == "value_error" else f", not {fault['input']!r}"
            lines.append(f"{place}: {text}{found}")
    return f"{len(lines)} fault(s) in the study file:\n  " + "\n  ".join(lines)
