"""Tables of the study file that say where the records are and how they are read."""

from __future__ import annotations

from typing import Literal

from pydantic import Field, model_validator

from survivor.settings.base import Day, Strict, Text


class Sheet(Strict):
    """One file of records and how its columns and words map to ours.

    What is not given is matched forgivingly and shown.
    """

    file: Text = Field(description="name of the file (CSV, XLSX, ODS or Parquet), relative to the study file")
    sheet: Text | None = Field(
        default=None, description="sheet of a workbook; without it the first filled one"
    )
    skip_rows: int = Field(default=0, ge=0, description="rows above the header, such as a title")
    header_rows: int = Field(
        default=1, ge=1, le=4, description='rows of headers; with 2, a header is "upper / lower"'
    )
    date_order: Literal["day-first", "month-first"] | None = Field(
        default=None,
        description="what 03/04/2022 means in this file: 3 April (day-first) or 4 March (month-first)",
    )
    columns: dict[str, str | tuple[str, ...]] = Field(
        default={},
        description="survivor's word = the header in your file, or a list of headers to join; a word of your "
        "own is carried along under that name",
    )
    every_row: dict[str, str] = Field(
        default={}, description="survivor's word = what all rows share and no column tells, such as the site"
    )
    states: dict[str, Literal["alive", "dead", "missing", "not found", "not visited"]] = Field(
        default={}, description="your word for the state of a seedling = one of the five states"
    )
    species: dict[str, str] = Field(default={}, description="a spelling of a species = the name to use")


class Visit(Strict):
    """A visit of a wide sheet: its date, and the header(s) of its columns."""

    name: Text = Field(description="name of the visit")
    date: Day | None = Field(
        default=None, description="day of the visit; without it a date column or the header holds it"
    )
    date_header: Text | None = Field(
        default=None, description="header of a column with the date of this visit in each row"
    )
    state: Text | None = Field(
        default=None, description="header of the column of states, or of counts of the living"
    )
    height: Text | None = Field(default=None, description="header of a column of heights")
    cause: Text | None = Field(default=None, description="header of a column with the cause of death")


class Records(Strict):
    """Where the visits are and what shape they have."""

    kind: Literal["tagged", "counts"] = Field(
        description='"tagged": a row tells of one seedling; "counts": of a plot'
    )
    shape: Literal["long", "wide"] = Field(
        default="long", description='"long": a row a visit; "wide": a column, or more, a visit'
    )
    sheets: tuple[Sheet, ...] = Field(min_length=1, description="the file or files of visits")
    visits: tuple[Visit, ...] = Field(default=(), description="the visits of a wide sheet, in order")
    plots: Sheet | None = Field(
        default=None, description="the file with one row a plot: preparation, planting date, radius, ground"
    )

    @model_validator(mode="after")
    def _wide_sheets_name_their_visits(self) -> Records:
        if self.visits and self.shape != "wide":
            raise ValueError('visits are named for wide sheets only; set shape = "wide" or remove them')
        return self


class Rules(Strict):
    """How records are read where practice differs. The defaults are the careful ones."""

    missing: Literal["dead", "unknown"] = Field(
        default="dead", description="what became of a plant gone from its position"
    )
    blank: Literal["not visited", "dead"] = Field(
        default="not visited", description="what a blank state means; a blank count is never zero"
    )
    measured_means_alive: bool = Field(
        default=False, description="whether a height without a state means alive at that visit"
    )
    tagged: Literal["at planting", "at first sighting"] | None = Field(
        default=None,
        description="when the tags went in. At planting: survival counts from day 0. At first sighting: "
        "plants that died before they were tagged are not in the records, so each is followed only from the "
        "day it was first seen. Without it this is told plant by plant (as many tags as "
        "planted, or seen within 14 days), and survivor check asks",
    )
    count_rises: Literal["report", "mend"] = Field(
        default="report",
        description='what to do with a count that rises without infill: set it aside and list it, or "mend": '
        "raise the earlier count",
    )
    tags_alike: Literal["report", "join"] = Field(
        default="report",
        description="what to do with tags of a plot that are probably one, such as 0740 and 0740.0: "
        'list them, or "join": take them as one seedling',
    )
    preparation_of: Literal["plot", "plant"] = Field(
        default="plot",
        description="whose the preparation is: with plot, a plot whose rows tell several is set aside",
    )
    planted_date: Day | None = Field(default=None, description="planting day where no sheet gives one")
