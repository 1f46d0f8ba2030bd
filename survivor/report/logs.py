"""Lists of the study file that a report carries: photo points and corrections, as tables."""

from __future__ import annotations

from pathlib import PurePosixPath, PureWindowsPath
from typing import TYPE_CHECKING

import pandas as pd

if TYPE_CHECKING:
    from survivor.settings import Settings

PHOTO_COLUMNS = ("name", "site", "date", "file", "note", "latitude", "longitude")
CORRECTION_COLUMNS = ("date", "who", "what", "why")


def photo_table(settings: Settings) -> pd.DataFrame:
    """Return the photo points by site, name and date: file names without their folders.

    Coordinates are columns of their own, which a shared report leaves out unless the study file
    allows them.
    """
    rows = [
        (
            point.name,
            point.site or "",
            point.date or "",
            _file_name(point.file or ""),
            point.note,
            point.latitude,
            point.longitude,
        )
        for point in settings.photo_points
    ]
    table = pd.DataFrame(rows, columns=list(PHOTO_COLUMNS))
    if not settings.privacy.show_coordinates or table[["latitude", "longitude"]].isna().all(axis=None):
        table = table.drop(columns=["latitude", "longitude"])
    return table.sort_values(["site", "name", "date"], kind="stable").reset_index(drop=True)


def correction_table(settings: Settings) -> pd.DataFrame:
    """Return the corrections of the records in the order of their days."""
    rows = [(each.date, each.who or "", each.what, each.why) for each in settings.corrections]
    table = pd.DataFrame(rows, columns=list(CORRECTION_COLUMNS))
    return table.sort_values("date", kind="stable").reset_index(drop=True)


def _file_name(file: str) -> str:
    """Return the name of a file without its folders, whichever way they are written."""
    return PureWindowsPath(PurePosixPath(file).name).name
