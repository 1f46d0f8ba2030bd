"""A month grid of rain whose every day anybody can reckon again."""

from __future__ import annotations

import calendar
import datetime as dt

FIRST, LAST = dt.date(2023, 7, 1), dt.date(2024, 3, 31)
MONTHS = [(2023, month) for month in range(7, 13)] + [(2024, month) for month in range(1, 4)]
DAYS = [FIRST + dt.timedelta(days=n) for n in range((LAST - FIRST).days + 1)]
# A number for a day that anybody can reckon again.
READINGS = {day: f"{n % 7 + n % 3 / 10:.1f}" if n % 5 else "tr" for n, day in enumerate(DAYS)}
TOTAL = sum(float(text) for text in READINGS.values() if text != "tr")


def grid(headers: list[str], titles: list[str], weekends: bool = True) -> list[list[str]]:
    rows = [[title, *[""] * len(MONTHS)] for title in titles]
    rows.append(["Day", *headers])
    for day in range(1, 32):
        cells = []
        for year, month in MONTHS:
            held = day <= calendar.monthrange(year, month)[1]
            text = READINGS[dt.date(year, month, day)] if held else ""
            cells.append("" if held and not weekends and dt.date(year, month, day).weekday() > 4 else text)
        rows.append([str(day), *cells])
    return [*rows, ["Total", *["1.0"] * len(MONTHS)]]


NAMED = [calendar.month_abbr[month] for _, month in MONTHS]
WITH_YEARS = [f"{calendar.month_abbr[month]}-{year % 100}" for year, month in MONTHS]
