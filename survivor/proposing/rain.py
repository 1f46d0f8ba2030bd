"""Rain and weather among the files of a folder, proposed as gauges."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from survivor.errors import RecordsError, SeasonError
from survivor.files import cells
from survivor.files.headers import squeezed
from survivor.files.sheets import read_rows, sheet_names
from survivor.season.daily import NoYearError, SeveralColumnsError
from survivor.season.gauge import IN_MONDAY, GaugeRecord, read_gauge
from survivor.season.weather import read_weather
from survivor.settings import Gauge, Weather
from survivor.settings.questions import Rank, asked, quoted

_WEEKEND: Final = ("weekend", "w/e", "saturday", "sunday")
_SUMMED: Final = re.compile(r"cumul|total|to date|sum\b|average|mean|normal", re.IGNORECASE)
_UNIT: Final = re.compile(r"\(?\bmm\b\)?|\b(?:rain(?:fall)?|gauge)\b", re.IGNORECASE)
_FEWEST_DAYS: Final = 20  # of a file of rain


@dataclass(frozen=True)
class RainFile:
    """A sheet of rain.

    Attributes
    ----------
    file, sheet
        Where it is; ``sheet`` is None where the file has one only.
    gauge
        What the study file is to say of it.
    record
        Its readings; None where the year of its first month is asked for.
    weekends_told
        Whether a title or remark speaks of weekends.
    """

    file: str
    sheet: str | None
    gauge: Gauge
    record: GaugeRecord | None
    weekends_told: bool

    @property
    def blank_weekends(self) -> bool:
        """Whether weekends are blank, and Mondays read."""
        return self.record is not None and "rain-weekends" in set(self.record.problems["code"])


def rain_files(files: Sequence[Path]) -> list[RainFile]:
    """Find the sheets that hold rain, as lists or as month grids."""
    found = []
    for file in files:
        try:
            names = sheet_names(file)
        except RecordsError:
            continue  # whoever reads the records says so
        for name in names:
            sheet = name if len(names) > 1 else None
            found += _rain(file, Gauge(name=sheet or file.stem, file=file.name, sheet=sheet))
    return found


def _rain(file: Path, gauge: Gauge) -> list[RainFile]:
    """Read a sheet of one gauge, or of several beside each other under headings of their own."""
    try:
        own = _one_gauge(file, gauge)
    except SeveralColumnsError as fault:
        if fault.word != "rain_mm" or any(map(_SUMMED.search, fault.rivals)):
            return []
        names = {head: " ".join(_UNIT.sub(" ", head).split()) or head for head in fault.rivals}
        columns = [
            gauge.model_copy(update={"name": name, "columns": {"rain_mm": head}})
            for head, name in names.items()
        ]
        return [own for each in columns if (own := _one_gauge(file, each)) is not None]
    return [own] if own is not None else []


def _one_gauge(file: Path, gauge: Gauge) -> RainFile | None:
    sheet = gauge.sheet
    try:
        record = read_gauge(file, gauge)
    except NoYearError:
        return RainFile(file.name, sheet, gauge, None, weekends_told=False)
    except SeveralColumnsError:
        raise
    except SeasonError:  # no rain
        return None
    known = record.daily["rain_mm"].notna()
    if record.daily.loc[known, "days_covered"].sum() < _FEWEST_DAYS:
        return None
    rows = read_rows(file, sheet=sheet)
    texts = {text.casefold() for column in rows for text in cells.texts(rows[column]).unique()}
    told = any(word in text for text in texts for word in _WEEKEND)
    return RainFile(file.name, sheet, gauge, record, told)


def weather_files(files: Sequence[Path]) -> list[str]:
    """Name the files of daily temperature or evapotranspiration."""
    found = []
    for file in files:
        try:
            read_weather(file, Weather(gauge="any", file=file.name, latitude=0))
        except (SeasonError, RecordsError):  # no weather
            continue
        found.append(file.name)
    return found


def gauge_lines(rain: Sequence[RainFile], weather: Sequence[str], sites: Sequence[str]) -> Iterator[str]:
    """Write the tables of gauges; what a blank weekend means, and whose a gauge is, is asked."""
    for own in rain:
        yield from ["[[gauges]]", f"name = {quoted(own.gauge.name)}", f"file = {quoted(own.file)}"]
        if own.sheet is not None:
            yield f"sheet = {quoted(own.sheet)}"
        if own.gauge.columns:
            yield f"columns = {{ rain_mm = {quoted(own.gauge.columns['rain_mm'])} }}"
        if own.record is None:
            text = "in which year is the first month of this grid of rain? Without it no rain is read."
            yield from asked(Rank.RAIN, f"{own.file}: {text}", ["year = 0   # such as 2024"])
        if own.blank_weekends and own.weekends_told:
            yield f'weekends = "{IN_MONDAY}"   # as the sheet says'
        elif own.blank_weekends:
            yield from asked(
                Rank.RAIN,
                f"{own.file}: what does a blank Saturday or Sunday mean? Rain and dry spells are told by it.",
                [
                    f'weekends = "{IN_MONDAY}"   # Monday\'s reading is of the whole weekend',
                    'weekends = "not read"   # nobody read it, and Monday\'s is of one day',
                ],
            )
        named = [site for site in sites if squeezed(site) == squeezed(own.gauge.name)]
        if named and len(rain) > 1:
            yield f"sites = [{quoted(named[0])}]   # as its heading, or its name, says"
        elif len(rain) > 1:
            listed = ", ".join(map(quoted, sites))
            yield from asked(
                Rank.RAIN,
                "whose gauge is it? Each site's rain is that of its gauge.",
                [f"sites = [{listed}]   # leave those that it stands for; {own.gauge.name}"],
            )
        yield ""
    for file in weather:
        yield from [
            "# Daily temperature: with it, and the latitude of the place, soil water is reckoned. To use it:",
            "# [[weather]]",
            f"# gauge = {quoted(rain[0].gauge.name if rain else 'name of a gauge')}",
            f"# file = {quoted(file)}",
            "# latitude = -36.5   # degrees, south negative",
            "",
        ]
