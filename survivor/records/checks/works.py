"""Checks of the works diary: works that stand on the wrong side of planting, and departures from the plan.

The plan of a plot is the list of works of its preparation in the study file. A check never mends: a
work on the wrong side of planting keeps its day, and counts as done late.
"""

from __future__ import annotations

import datetime as dt
from typing import Any, Final

import pandas as pd

from survivor.files.cells import number_texts
from survivor.records.problems import find, gather, joined, none_found, say
from survivor.records.work_names import AFTER, BEFORE
from survivor.vocabulary import PLOT_KEY
from survivor.words import counted, first_few

DEPARTURE_COLUMNS: Final = (*PLOT_KEY, "method", "work", "planned", "what", "day", "usual_day")
DONE, NOT_DONE, NOT_TOLD, LATE, OTHER_TIME, UNPLANNED = (
    "done", "not done", "nothing told of the plot", "done late", "done at another time",
    "done and not planned",
)  # fmt: skip
_DEEPEST_CM: Final = 200.0
_WIDEST_CM: Final = 1000.0
_LONG_BEFORE: Final = 3 * 366  # days before planting from which a day is looked at before it is believed
_ANOTHER_TIME: Final = 31  # days from when most plots of the preparation at the site got the work
_MOST_ALIKE: Final = 0.75  # share of those plots that has to lie together for the others to stand apart
_MOST_NAMED: Final = 12  # plots that one problem names
_FEWEST: Final = 5  # plots with a day, for a usual day


def check_cells(rows: pd.DataFrame, closed: dt.date) -> list[pd.DataFrame]:
    """Find works without a day or in the future, and depths and widths that nothing can have.

    Parameters
    ----------
    rows
        Rows of the diary, typed.
    closed
        The day after which no record can be true.
    """
    found = [
        find(rows, rows["date"].isna() & ~rows["date_unread"].astype(bool), "work-undated", "date"),
        find(rows, rows["date"] > pd.Timestamp(closed), "work-in-future", "date", closed=closed),
    ]
    for word, most in (("depth_cm", _DEEPEST_CM), ("width_cm", _WIDEST_CM)):
        found.append(
            find(
                rows,
                (rows[word] <= 0) | (rows[word] > most),
                "impossible-measure",
                word,
                message="impossible-length",
                length=word.removesuffix("_cm"),
                most=most,
            )
        )
    return found


def without_impossible(rows: pd.DataFrame) -> pd.DataFrame:
    """Blank the depths and widths that nothing can have."""
    most = {"depth_cm": _DEEPEST_CM, "width_cm": _WIDEST_CM}
    return rows.assign(
        **{word: rows[word].where(rows[word].between(0, top, "right")) for word, top in most.items()}
    )


def check_days(spread: pd.DataFrame, rows: pd.DataFrame) -> tuple[list[Any], pd.DataFrame]:
    """Find works on the wrong side of planting, or years from it.

    Parameters
    ----------
    spread
        One row a plot and row of the diary, with ``day`` since planting.
    rows
        One row a row of the diary.

    Returns
    -------
    aside, found
        Records that are not used until mended; findings.
    """
    late = spread["work"].isin(BEFORE) & (spread["day"] > 0)
    early = spread["work"].isin(AFTER) & (spread["day"] <= 0)
    long_before = spread["day"] < -_LONG_BEFORE
    of_late, of_early, of_long = (
        rows["record"].isin(spread.loc[wrong, "record"]) for wrong in (late, early, long_before)
    )
    found = gather(
        find(rows, of_late, "work-after-planting", "date"),
        find(rows, of_early, "work-before-planting", "date"),
        find(rows, of_long, "work-long-before", "date"),
    )
    return rows.loc[of_early, "record"].tolist(), found


def check_repeated(spread: pd.DataFrame, rows: pd.DataFrame) -> pd.DataFrame:
    """Find rows that tell of their plots what another row tells of them already."""
    key = [*PLOT_KEY, "work", "date", "pass"]
    again = spread.duplicated(key)
    every = again.groupby(spread["record"]).all()
    return find(rows, rows["record"].isin(every.index[every]), "repeated-work", "work")


def check_silent(silent: pd.DataFrame, rows: pd.DataFrame) -> pd.DataFrame:
    """Say which planned works the diary does not speak of anywhere."""
    return gather(*(say("work-not-in-diary", "work", value=str(work)) for work in silent["work"].unique()))


def no_departures() -> pd.DataFrame:
    """Lay out departures where there are none."""
    return pd.DataFrame(columns=list(DEPARTURE_COLUMNS))


def departures(
    planned: pd.DataFrame, rows: pd.DataFrame, places: pd.DataFrame
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Compare what was planned for each plot with what the diary says was done.

    Parameters
    ----------
    planned
        site, block, plot, method, work: works that the diary speaks of at all.
    rows
        What the diary says of each plot.
    places
        One row a plot.

    Returns
    -------
    table, found
        Of every plot and work that was planned or done: `DEPARTURE_COLUMNS`. ``what`` is done, not
        done, nothing told of the plot, done late, done at another time, or done and not planned;
        ``day`` is the first, from planting; ``usual_day`` that of most plots of the preparation at the site.
    """
    keys = [*PLOT_KEY, "method", "work"]
    first = rows.sort_values("day", kind="stable").drop_duplicates(keys)[[*keys, "day"]]
    both = planned[keys].assign(planned=True).merge(first.assign(done=True), how="outer", on=keys)
    both["planned"] = both["planned"].eq(True)
    both["done"] = both["done"].eq(True)
    # What is done round plants that stand already is no part of a preparation, unless it says so.
    later = both["work"].isin(AFTER) | ((both["day"] > 0) & ~both["work"].isin(BEFORE))
    both = both[both["planned"] | ~later]
    group = both[both["done"]].groupby(["site", "method", "work"])["day"]
    middle = group.transform("median")
    together = ((both["day"] - middle).abs() <= _ANOTHER_TIME).where(both["done"] & both["day"].notna())
    share = together.astype(float).groupby([both["site"], both["method"], both["work"]]).transform("mean")
    number = group.transform("count").reindex(both.index)
    usual = middle.where((share >= _MOST_ALIKE) & (number >= _FEWEST)).reindex(both.index)
    what = pd.Series(DONE, index=both.index, dtype=object)
    what = what.mask(both["planned"] & ((both["day"] - usual).abs() > _ANOTHER_TIME), OTHER_TIME)
    what = what.mask(both["work"].isin(BEFORE) & (both["day"] > 0), LATE)
    what = what.mask(~both["planned"], UNPLANNED).mask(~both["done"], NOT_DONE)
    without = _without_any(planned, rows, places)
    what = what.mask(_keys(both).isin(_keys(without)), NOT_TOLD)
    table = both.assign(what=what, usual_day=usual)[list(DEPARTURE_COLUMNS)]
    table = table.sort_values(list(DEPARTURE_COLUMNS[:5]), kind="stable").reset_index(drop=True)
    return table, gather(*_said(table), _plots_without(without))


def _keys(rows: pd.DataFrame) -> pd.Series[Any]:
    return joined(*(rows[word] for word in PLOT_KEY))


def _label(row: Any) -> str:
    return " ".join(str(part) for part in (row.site, row.block, row.plot) if str(part))


_CODES: Final = {
    NOT_DONE: "work-not-done",
    OTHER_TIME: "work-at-other-time",
    UNPLANNED: "work-not-planned",
}


def _said(table: pd.DataFrame) -> list[pd.DataFrame]:
    """Say of each plot where it departs from its plan; of many plots alike together."""
    found = []
    for (what, method, work), group in table[table["what"].isin(_CODES)].groupby(
        ["what", "method", "work"], sort=False
    ):
        labels = [_label(row) for row in group.itertuples()]
        days = [_days_apart(row) for row in group.itertuples()] if what == OTHER_TIME else [""] * len(labels)
        if len(labels) > _MOST_NAMED:
            labels, days = [f"{counted(len(labels), 'plot')}: {first_few(labels, 5)}"], [""]
        for label, day in zip(labels, days, strict=True):
            found.append(say(_CODES[str(what)], "work", value=label, work=work, method=method, days=day))
    return found


def _days_apart(row: Any) -> str:
    own, usual = (_from_planting(float(day)) for day in (row.day, row.usual_day))
    return f" ({own}, usually {usual})"


def _from_planting(day: float) -> str:
    side = "before" if day <= 0 else "after"
    return f"{number_texts(pd.Series([abs(day)]))[0]} days {side} planting"


def _without_any(planned: pd.DataFrame, rows: pd.DataFrame, places: pd.DataFrame) -> pd.DataFrame:
    """List the plots that should have some work and of which the diary has no row."""
    own = places.assign(plot_key=_keys(places))
    due = own["plot_key"].isin(_keys(planned)) if len(planned) else pd.Series(False, index=own.index)
    seen = own["plot_key"].isin(_keys(rows)) if len(rows) else pd.Series(False, index=own.index)
    return own[due & ~seen]


def _plots_without(plots: pd.DataFrame) -> pd.DataFrame:
    if plots.empty:
        return none_found()
    return gather(
        *(
            say("plot-without-works", "plot", value=_label(row), method=row.method)
            for row in plots.itertuples()
        )
    )
