"""What every table of the study file shares: strictness, and the kinds of value."""

from __future__ import annotations

import datetime as dt
import re
from typing import TYPE_CHECKING, Annotated, Any, Final, cast

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, ValidationError

from survivor.errors import StudyFileError
from survivor.files.days import read_day
from survivor.files.faults import faults_in_words

if TYPE_CHECKING:
    from pydantic._internal._model_construction import ModelMetaclass as _Class
else:
    _Class = type(BaseModel)  # the class of the library's models has no public name

_MOST_NAMED: Final = 4  # fields that a mend names


class _Told(_Class):
    """Says what is wrong with the values that a table is made of, as a file that holds it would be told."""

    def __call__(cls, *values: Any, **named: Any) -> Any:
        model = cast("type[BaseModel]", cls)
        if values:
            raise StudyFileError(
                "a value is given without its name",
                where=cls.__name__,
                mend=f"name each: {', '.join(list(model.model_fields)[:_MOST_NAMED])}",
            )
        try:
            return super().__call__(**named)
        except ValidationError as fault:
            faults, more = faults_in_words(fault, model, named, {})
            rest = [f"and {more:,} more"] if more else []
            raise StudyFileError(
                "\n  ".join([*faults, *rest]), where=cls.__name__, mend=f"help({cls.__name__}) has its fields"
            ) from fault


class Strict(BaseModel, metaclass=_Told):
    """A table of the study file: frozen, and no key or type but those named.

    The description of each field is its line in the data dictionary
    (`survivor.settings.dictionary`), so it is written for the field officer.

    Raises
    ------
    StudyFileError
        When it is made of values that it cannot hold; each is named with what it may be.
    """

    model_config = ConfigDict(frozen=True, extra="forbid", strict=True)


_YEARS = (1800, 2200)  # as of the days in sheets


def _iso_day(text: str) -> str:
    """Read a day as year-month-day, or with its month as a word; in figures 3/4/2022 may be two days."""
    iso = re.fullmatch(r"\d{4}-\d\d-\d\d", text, re.ASCII) is not None
    day = read_day(text)[0] if iso or re.search(r"[^\W\d_]{3}", text) else None
    if day is not None:
        return day
    if iso and not _YEARS[0] <= int(text[:4]) <= _YEARS[1]:
        raise ValueError(f'"{text}" is not a day between {_YEARS[0]} and {_YEARS[1]}; correct the year')
    raise ValueError(
        f'"{text}" is not a day; write it as year-month-day, such as "2022-05-31", or with its month as a '
        'word, such as "31 May 2022"'
    )


def _month_and_day(text: str) -> str:
    try:
        if not re.fullmatch(r"\d\d-\d\d", text):
            raise ValueError(text)
        dt.date.fromisoformat(f"2024-{text}")  # a leap year, so that 02-29 is a day
    except ValueError as error:
        raise ValueError(
            f'"{text}" is not a month and a day; write it as month-day, such as "12-01" for 1 December'
        ) from error
    return text


_LONGEST_CURRENCY = 24  # letters that fit beside an amount in a figure


def _short(text: str) -> str:
    if len(text) > _LONGEST_CURRENCY:
        raise ValueError(
            f"{len(text)} letters do not fit beside an amount; write it in {_LONGEST_CURRENCY} at most, "
            'such as "dollars"'
        )
    return text


Text = Annotated[str, Field(min_length=1)]
Day = Annotated[str, AfterValidator(_iso_day)]
MonthDay = Annotated[str, AfterValidator(_month_and_day)]
Currency = Annotated[str, Field(min_length=1), AfterValidator(_short)]
