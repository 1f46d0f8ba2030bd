"""What every table of the study file shares: strictness, and the kinds of value."""

from __future__ import annotations

import datetime as dt
import re
from typing import Annotated

from pydantic import AfterValidator, BaseModel, ConfigDict, Field


class Strict(BaseModel):
    """A table of the study file: frozen, and no key or type but those named.

    The description of each field is its line in the data dictionary
    (`survivor.settings.dictionary`), so it is written for the field officer.
    """

    model_config = ConfigDict(frozen=True, extra="forbid", strict=True)


def _iso_day(text: str) -> str:
    try:
        dt.date.fromisoformat(text)
    except ValueError as error:
        raise ValueError(
            f'"{text}" is not a day; write it as year-month-day, such as "2022-05-31"'
        ) from error
    return text


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
