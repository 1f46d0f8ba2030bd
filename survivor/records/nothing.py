"""Records of which none can be used: why that is, and the empty tables that stand for them."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Final

import pandas as pd

from survivor.errors import RecordsError
from survivor.records.problems import LINE, Source, problem_table
from survivor.vocabulary import PLOT_KEY, Severity

_TEXTS: Final = ("name", *PLOT_KEY, "tag", "species", "method", "cohort")
_NUMBERS: Final = ("start_day", "stop_day", "at_risk", "died")
_DAYS: Final = ("planted_date", "start_date", "stop_date")
_NOT_BEGUN: Final = "planting-in-future"
_LATER: Final = "fill in the sheet of each visit when it is made, then check again"


def why_nothing(found: pd.DataFrame, sources: Sequence[Source], study: str, *, filled: bool) -> RecordsError:
    """Say why no record can be used, the commonest cause first.

    Parameters
    ----------
    found
        All findings.
    sources
        Where the records came from.
    study
        Name of the study.
    filled
        Whether any visit record tells a state or a count, right or wrong.
    """
    problems = problem_table(found, sources)
    stopped = problems.loc[problems["severity"] == Severity.STOP]
    file = next((source.file for source in reversed(sources) if source.record != LINE), study)
    if not filled and len(stopped) and (stopped["code"] == _NOT_BEGUN).all():
        first = stopped["value"].astype(str).min()
        return RecordsError(
            f"the season has not begun: planting is set for {first}, and no visit is filled in yet",
            where=file,
            mend=f"{_LATER}; if planting was earlier, correct its date",
        )
    if not filled:
        return RecordsError(
            "no visit is filled in yet, so there is nothing to analyse", where=study, mend=_LATER
        )
    times = stopped["code"].map(stopped["code"].value_counts())
    # The commonest cause first: it is the one that left nothing.
    often = stopped.loc[times.sort_values(ascending=False, kind="stable").index].drop_duplicates("code")
    lines = "".join(
        f"\n    {p.file} row {p.row}, {p.column}: {p.value!r}: {p.what}; {p.mend}" for p in often.itertuples()
    )
    return RecordsError(
        "no record can be used, so there is nothing to analyse",
        where=study,
        mend=f"begin with these:{lines}"
        if lines
        else "give at least two visits of a plot, or planting and one visit",
    )


def no_rows(traits: Sequence[str]) -> pd.DataFrame:
    """Make an empty table with every column of risk intervals and of what they are made of.

    Parameters
    ----------
    traits
        Columns that would explain survival.
    """
    columns: dict[str, pd.Series[Any]] = {word: pd.Series(dtype=object) for word in (*_TEXTS, *traits)}
    columns |= {word: pd.Series(dtype="int64") for word in _NUMBERS}
    columns |= {word: pd.Series(dtype="datetime64[ns]") for word in _DAYS}
    columns |= {word: pd.Series(dtype=float) for word in ("planted", "weed_free_radius_m")}
    columns["at_planting"] = pd.Series(dtype=bool)
    return pd.DataFrame(columns)
