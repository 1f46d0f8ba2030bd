"""All gauges of a study: their readings, what is wrong with them, and an account of each file."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import pandas as pd

from survivor.errors import SeasonError
from survivor.season.gauge import GaugeRecord, read_gauge
from survivor.settings import Gauge
from survivor.vocabulary import ACCOUNT_COLUMNS, PROBLEM_COLUMNS, Severity

_UNREADABLE = "gauge-unreadable"


@dataclass(frozen=True)
class Gauges:
    """Gauges read.

    Attributes
    ----------
    records
        Readings by the name of the gauge, in the order of the study file; a gauge
        whose file cannot be read is absent and has a problem.
    problems, accounts
        ``survivor.vocabulary.PROBLEM_COLUMNS`` and ``ACCOUNT_COLUMNS``; one account a file.
    """

    records: dict[str, GaugeRecord]
    problems: pd.DataFrame
    accounts: pd.DataFrame


def read_gauges(folder: Path, gauges: tuple[Gauge, ...]) -> Gauges:
    """Read every gauge of a study; a file that cannot be read is a problem, not an end.

    Parameters
    ----------
    folder
        Where the gauge files are.
    gauges
        As the study file names them.
    """
    found: dict[str, GaugeRecord] = {}
    problems: list[pd.DataFrame] = []
    accounts: list[tuple[object, ...]] = []
    for gauge in gauges:
        try:
            record = read_gauge(folder / gauge.file, gauge)
        except SeasonError as fault:
            row = (_UNREADABLE, Severity.CHECK, gauge.file, "", "", "", gauge.name, fault.what, fault.mend)
            problems.append(pd.DataFrame([row], columns=list(PROBLEM_COLUMNS)))
            accounts.append((gauge.file, "", "", "rain gauge", "set aside", fault.what, _UNREADABLE))
            continue
        found[gauge.name] = record
        problems.append(record.problems)
        days = record.daily["rain_mm"].notna()
        said = f"{int(days.sum())} days of rain known, {int((~days).sum())} in the file and not known"
        accounts.append((record.file, "", "", "rain gauge", "used", said, ""))
    filled = [table for table in problems if not table.empty]
    return Gauges(
        found,
        pd.concat(filled, ignore_index=True) if filled else pd.DataFrame(columns=list(PROBLEM_COLUMNS)),
        pd.DataFrame(accounts, columns=list(ACCOUNT_COLUMNS)),
    )
