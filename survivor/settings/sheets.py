"""Tables of the study file that say where the records are and how they are read."""

from __future__ import annotations

from collections import Counter
from typing import Annotated, Any, Final, Literal

from pydantic import AfterValidator, Field, model_validator

from survivor.settings.base import Day, Strict, Text

_State = Literal["alive", "dead", "missing", "not found", "not visited", "replanted", "doubtful"]


def _words_that_say_so(states: dict[str, _State]) -> dict[str, _State]:
    """Refuse words that turn the answer round: a blank that lives or died, and alive for dead."""
    for word, state in states.items():
        plain = word.strip().casefold()
        if not plain and state in ("alive", "dead"):
            raise ValueError(
                f'a blank is no word for {state}; write blank = "{state}" under [rules], which lists each'
            )
        if (plain, state) in (("alive", "dead"), ("dead", "alive")):
            raise ValueError(f'"{word}" is read as {state}; name each word for what it says')
    return states


_States = Annotated[dict[str, _State], AfterValidator(_words_that_say_so)]

_IN_PLACE: Final = "in place of "


class Visit(Strict):
    """A visit of a wide sheet: its date, and the header(s) of its columns."""

    name: Text = Field(description="name of the visit")
    date: Day | None = Field(
        default=None, description="day of the visit; without it a date column or the header holds it"
    )
    date_header: Text | None = Field(
        default=None, description="header of a column with the date of this visit in each row"
    )
    date_by_site: dict[str, Day] = Field(
        default={}, description="site = day of this visit there, where each site has its own"
    )
    state: Text | None = Field(
        default=None, description="header of the column of states, or of counts of the living"
    )
    species: Text | None = Field(
        default=None, description="species that the column of counts is of, where each has its own"
    )
    planted: Text | None = Field(
        default=None, description="header of the column with the number planted of that species"
    )
    height: Text | None = Field(default=None, description="header of a column of heights")
    cause: Text | None = Field(default=None, description="header of a column with the cause of death")


class Sheet(Strict):
    """One file of records and how its columns and words map to ours.

    What is not given is matched forgivingly and shown.
    """

    file: Text = Field(description="name of the file (CSV, XLSX, ODS or Parquet), relative to the study file")
    sheet: Text | None = Field(
        default=None, description="sheet of a workbook; without it the first filled one"
    )
    field_sheet: bool = Field(
        default=False,
        description="whether survivor wrote it for a visit: it is read by its own headings, a row a visit, "
        "whatever is said for all sheets",
    )
    area: Text | None = Field(
        default=None,
        pattern=r"^[A-Z]{1,3}[1-9]\d*:[A-Z]{1,3}[1-9]\d*$",
        description='cells of the table, such as "A3:H40", where the sheet holds several; without it all',
    )
    turned: bool = Field(
        default=False, description="whether the plots lie across and the visits down the side"
    )
    sections: bool = Field(
        default=False,
        description="whether lines with one cell head the rows below them, such as the plot or the site; its "
        'parts are columns headed "section 1", "section 2"',
    )
    ticked: bool = Field(
        default=False,
        description="whether a state is told by which of several columns, such as Alive and Dead, is "
        'ticked; they are one column headed "State", behind what their headers share',
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
    planted_by_site: dict[str, Day] = Field(
        default={}, description="site = planting day of its plots, where no column tells it"
    )
    counted: Literal["alive", "alive per cent", "dead to date", "dead since the last visit"] = Field(
        default="alive",
        description="what the counts are of; of all but the living the number planted has to be told",
    )
    assumed: tuple[str, ...] = Field(
        default=(),
        description="what was taken so without being told: survivor check asks; take out what is right",
    )
    fill_down: tuple[str, ...] = Field(
        default=(), description="survivor's words whose blank cells mean as above, such as site and plot"
    )
    visits: tuple[Visit, ...] = Field(
        default=(), description="the visits of this wide sheet, where its columns are its own"
    )
    states: _States = Field(
        default={}, description="your word for the state of a seedling = one of the seven states"
    )
    species: dict[str, str] = Field(default={}, description="a spelling of a species = the name to use")


def _with_shared(sheet: Sheet, shared: dict[str, dict[str, Any]]) -> dict[str, dict[str, Any]]:
    """Return what all sheets share with what one says itself, which goes before."""
    return {word: {**own, **getattr(sheet, word)} for word, own in shared.items()}


class Records(Strict):
    """Where the visits are and what shape they have."""

    kind: Literal["tagged", "counts"] = Field(
        description='"tagged": a row tells of one seedling; "counts": of a plot'
    )
    shape: Literal["long", "wide"] = Field(
        default="long",
        description='"long": a row a visit; "wide": a column, or more, a visit, in sheets that name visits',
    )
    sheets: tuple[Sheet, ...] = Field(min_length=1, description="the file or files of visits")
    visits: tuple[Visit, ...] = Field(default=(), description="the visits of a wide sheet, in order")
    not_read: tuple[str, ...] = Field(
        default=(), description="sheets with seedlings or plots that are not meant to be read, such as copies"
    )
    copies: dict[str, str] = Field(
        default={},
        description='a sheet (or file) that is a copy of another = "not read", or "in place of" and the name '
        "of the other",
    )
    columns: dict[str, str | tuple[str, ...]] = Field(
        default={}, description="as in [records.sheets.columns], for all sheets of visits"
    )
    states: _States = Field(default={}, description="as in [records.sheets.states], for all sheets of visits")
    species: dict[str, str] = Field(
        default={}, description="as in [records.sheets.species], for all sheets of visits"
    )
    plots: Sheet | None = Field(
        default=None, description="the file with one row a plot: preparation, planting date, radius, ground"
    )

    @model_validator(mode="after")
    def _no_sheet_twice(self) -> Records:
        """Refuse a sheet that is named twice with the same words: each of its records would be read twice."""
        often = Counter(map(repr, self.sheets))
        for sheet in self.sheets:
            if often[repr(sheet)] > 1:
                own = f", sheet {sheet.sheet}" if sheet.sheet else ""
                raise ValueError(f'"{sheet.file}"{own} is named twice under [[records.sheets]]; take one out')
        return self

    @model_validator(mode="after")
    def _what_holds_for_all_sheets(self) -> Records:
        """Give every sheet what is written once for all of them; what a sheet says itself goes before."""
        shared = {word: getattr(self, word) for word in ("columns", "states", "species")}
        merged = tuple(
            sheet
            if sheet.field_sheet
            else sheet.model_copy(
                update={word: {**own, **getattr(sheet, word)} for word, own in shared.items()}
            )
            for sheet in self.sheets
        )
        object.__setattr__(self, "sheets", merged)  # frozen from here on
        return self

    @model_validator(mode="after")
    def _copies_in_place_of_others(self) -> Records:
        """Read a copy where it is said to be read in place of another sheet, or file."""
        sheets = self.sheets
        for copy, said in self.copies.items():
            if said == "not read":
                continue
            other = said.removeprefix(_IN_PLACE)
            word = next((w for w in ("sheet", "file") if any(getattr(s, w) == other for s in sheets)), None)
            if word is None or not said.startswith(_IN_PLACE):
                raise ValueError(
                    f'{copy!r} under copies has to be "not read", or "{_IN_PLACE}" and the name of a sheet '
                    f"or file that is read; it is {said!r}"
                )
            sheets = tuple(
                sheet.model_copy(update={word: copy}) if getattr(sheet, word) == other else sheet
                for sheet in sheets
            )
        object.__setattr__(self, "sheets", sheets)
        return self

    @property
    def passed_over(self) -> frozenset[str]:
        """Names of sheets that are not meant to be read: copies, and what a copy is read in place of."""
        replaced = (said.removeprefix(_IN_PLACE) for said in self.copies.values())
        return frozenset({*self.not_read, *self.copies, *replaced})

    @model_validator(mode="after")
    def _wide_sheets_name_their_visits(self) -> Records:
        if (self.visits or any(sheet.visits for sheet in self.sheets)) and self.shape != "wide":
            raise ValueError('visits are named for wide sheets only; set shape = "wide" or remove them')
        return self


class Rules(Strict):
    """How records are read where practice differs. The defaults are the careful ones."""

    missing: Literal["dead", "unknown"] = Field(
        default="dead", description="what became of a plant gone from its position"
    )
    blank: Literal["not visited", "dead", "alive"] = Field(
        default="not visited",
        description="what a blank state means; dead where no sighting follows, alive where the plant was not "
        "found dead before; a blank count is never zero",
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
        description='what to do with a count that rises without infill: exclude and report it, or "mend": '
        "raise the earlier count",
    )
    tags_alike: Literal["report", "join"] = Field(
        default="report",
        description="what to do with tags of a plot that are probably one, such as 0740 and 0740.0: "
        'list them, or "join": take them as one seedling',
    )
    preparation_of: Literal["plot", "plant"] = Field(
        default="plot",
        description="whose the preparation is: with plot, a plot whose rows tell several is excluded",
    )
    metres_in_centimetres: bool = Field(
        default=False,
        description="whether a weed-free radius below 3 in a column of centimetres is written in metres; "
        "else it is left blank",
    )
    planted_date: Day | None = Field(default=None, description="planting day where no sheet gives one")
    planted_by_site: dict[str, Day] = Field(
        default={}, description="site = planting day where no sheet gives one; goes before planted_date"
    )


class Works(Strict):
    """The works diary, and what was settled about works before the records were seen."""

    diary: Sheet | None = Field(
        default=None, description="the sheet with a row a work; without it the works of [[methods]] stand"
    )
    words: dict[str, str] = Field(
        default={}, description="a word of the diary = the work to use, such as knockdown or rip"
    )
    interactions: tuple[str, ...] = Field(
        default=(), description='pairs of works of which it was asked beforehand, such as ["rip x mound"]'
    )
    whole_plots: Text | None = Field(
        default=None,
        description="column of the plot sheet that names the whole plots, such as rip lines, where some "
        "works were allocated to whole plots and others to the plots within them",
    )
    allocated: dict[str, Literal["random within blocks", "by choice", "not recorded"]] = Field(
        default={},
        description="a work = how it was chosen which plots got it, where that is not as [design] says",
    )

    @model_validator(mode="after")
    def _pairs_are_of_two(self) -> Works:
        for pair in self.interactions:
            if len(works_of_pair(pair)) != 2:
                raise ValueError(
                    f'"{pair}" in interactions is no pair; write two works, such as "rip x mound"'
                )
        return self


def works_of_pair(pair: str) -> tuple[str, ...]:
    """Part a pair such as ``rip x mound`` into its works."""
    return tuple(part.strip() for part in pair.split(" x ") if part.strip())
