"""The same plants under two names: a season counted twice would be taken for agreement.

Found by what was planted where and when, and by what became of it, whatever the files
are called: a copy saved again, with a column more or a word spelt otherwise, is the same
season still.
"""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from itertools import combinations
from typing import Final

import numpy as np
import pandas as pd

from survivor.errors import PoolingError
from survivor.vocabulary import PLOT_KEY

_DAYS: Final = 14  # plants of one plot put in within two weeks are one planting
_LEAST_ALIKE: Final = 4  # plots with one history under two names
_SHARE: Final = 0.5  # of the plots, or tags, of the season that has fewer
_SHOWN: Final = 3
_LEAST_TAGS: Final = 32


def refuse_counted_twice(seasons: Mapping[str, pd.DataFrame]) -> None:
    """Raise when two seasons hold the same plants.

    Parameters
    ----------
    seasons
        Risk intervals of first plants by name of season.

    Raises
    ------
    PoolingError
        Naming the two seasons and what they share.
    """
    for (first, one), (second, other) in combinations(seasons.items(), 2):
        said = same_plants(one, other)
        if said:
            raise PoolingError(
                f"they hold the same plants: {said}. A season counted twice would look like two that agree",
                where=f"{first} and {second}",
                mend="leave one of them out; where a season was watched on, take the later records only",
            )


def same_plants(one: pd.DataFrame, other: pd.DataFrame) -> str:
    """Say what two tables of risk intervals share; empty where they are different plants."""
    return _same_plots(one, other) or _same_tags(one, other) or _same_histories(one, other)


def are_copies(one: pd.DataFrame, other: pd.DataFrame) -> bool:
    """Whether two tables hold the same plants, where nobody is there to be asked.

    Among hundreds of studies some have sites of one name, planted in one fortnight. Their plots are the
    same only where most of those of one name also had one preparation and as many plants.
    """
    shared = _shared_plots(one, other)
    alike = (shared["method"] == shared["method_other"]) & (shared["entered"] == shared["entered_other"])
    most = bool(len(shared)) and float(alike.mean()) > _SHARE
    return most or bool(_same_tags(one, other) or _same_histories(one, other))


def marks_of(frame: pd.DataFrame) -> tuple[str, ...]:
    """Return digests of what `are_copies` looks for: two tables that it finds to be one share a mark.

    Among hundreds of studies only those that share a mark have to be looked at. Tables that share one
    need not be the same plants.

    Parameters
    ----------
    frame
        Risk intervals of first plants.
    """
    if frame.empty:
        return ()
    plots = _plots(frame)
    keys = [name for name in PLOT_KEY if name in plots.columns]
    fortnight = (plots["planted"] - pd.Timestamp(0)).dt.days // _DAYS
    places = plots[[*keys, "method"]].agg("|".join, axis=1)
    marks = {
        _mark("plot", place, float(number), float(when + after))
        for place, number, when in zip(places, plots["entered"], fortnight, strict=True)
        for after in (0, 1)
    }
    marks |= {
        _mark("history", history)
        for history in _histories(frame)
        if len(history) > 2 and sum(line[2] for line in history) > 2
    }
    # Of two samples that share most of their members, the least digests are shared as well.
    return (*sorted(marks), *sorted(_mark("tag", *key) for key in _tags(frame) or ())[:_LEAST_TAGS])


def _mark(*parts: object) -> str:
    return hashlib.sha256(repr(parts).encode()).hexdigest()[:16]


def _plain(words: pd.Series[str]) -> pd.Series[str]:
    """Letters and figures only, small: what differs beyond that is another name."""
    return words.astype(str).str.casefold().str.replace(r"[^0-9a-z]+", "", regex=True)


def _plots(frame: pd.DataFrame) -> pd.DataFrame:
    keys = [name for name in PLOT_KEY if name in frame.columns]
    plain = pd.DataFrame({name: _plain(frame[name]) for name in keys})
    plain["label"] = frame[keys].astype(str).agg(", ".join, axis=1)
    plain["planted"] = pd.to_datetime(frame["planted_date"]) if "planted_date" in frame.columns else pd.NaT
    plain["method"] = _plain(frame["method"]) if "method" in frame.columns else ""
    plain["entered"] = _entered(frame, plain[[*keys, "planted"]])
    return plain.drop_duplicates([*keys, "planted"])


def _entered(frame: pd.DataFrame, plots: pd.DataFrame) -> pd.Series[float]:
    """Most plants of the plot of each row that any day of watching began with."""
    by = [plots[name] for name in plots.columns]
    watched = frame["at_risk"].groupby([*by, frame["start_day"]], dropna=False).transform("sum")
    return watched.groupby(by, dropna=False).transform("max")


def _shared_plots(one: pd.DataFrame, other: pd.DataFrame) -> pd.DataFrame:
    """Join plots of one site, block and label, planted within two weeks; the other's end in ``_other``."""
    first, second = _plots(one), _plots(other)
    keys = [name for name in PLOT_KEY if name in first.columns and name in second.columns]
    both = first.merge(second, on=keys or "label", suffixes=("", "_other"))
    if "plot" not in keys or "site" not in keys:
        both = both[:0]
    apart = (both["planted"] - both["planted_other"]).abs() <= pd.Timedelta(days=_DAYS)
    # Without a planting date on either side the name of the plot has to do.
    unknown = both["planted"].isna() & both["planted_other"].isna()
    return both[apart | unknown]


def _same_plots(one: pd.DataFrame, other: pd.DataFrame) -> str:
    """Say which plots have one site, block and label, and were planted within two weeks."""
    shared = _shared_plots(one, other)["label"].drop_duplicates().tolist()
    if not shared:
        return ""
    few = "; ".join(shared[:_SHOWN]) + (" ..." if len(shared) > _SHOWN else "")
    plots = "1 plot" if len(shared) == 1 else f"{len(shared)} plots"
    return f"{plots} of the same site and label planted within {_DAYS} days of each other ({few})"


def _same_tags(one: pd.DataFrame, other: pd.DataFrame) -> str:
    """Look for tags of one species, planting date and fate, whatever the plots are called."""
    first, second = _tags(one), _tags(other)
    if first is None or second is None:
        return ""
    shared, least = len(first & second), min(len(first), len(second))
    if least < 20 or shared <= _SHARE * least:
        return ""
    return (
        f"{shared} of {least} tags have the same planting date, species and fate, under other names of plots"
    )


def _tags(frame: pd.DataFrame) -> set[tuple[object, ...]] | None:
    """Return tag, species, planting day and fate of every tagged plant; None where there are no tags."""
    names = [name for name in ("tag", "species", "planted_date") if name in frame.columns]
    if "tag" not in names or "planted_date" not in names:
        return None
    tagged = frame[frame["tag"].astype(str) != ""]
    # Tags numbered from 1 in every season collide by chance, but not with the death too.
    died = tagged.groupby("tag")["died"].transform("sum")
    last = tagged.groupby("tag")["stop_day"].transform("max")
    return set(zip(*(tagged[name].astype(str) for name in names), died, last, strict=True))


def _same_histories(one: pd.DataFrame, other: pd.DataFrame) -> str:
    """Look for plots with the same counts on the same days, whatever they are called."""
    first, second = _histories(one), _histories(other)
    telling = {history for history in first if len(history) > 2 and sum(line[2] for line in history) > 2}
    shared, least = len(telling & second), min(len(first), len(second))
    if shared < _LEAST_ALIKE or shared <= _SHARE * least:
        return ""
    return f"{shared} of {least} plots have the same counts on the same days, under other names"


def _histories(frame: pd.DataFrame) -> set[tuple[tuple[float, float, float], ...]]:
    keys = [name for name in PLOT_KEY if name in frame.columns]
    by_visit = frame.groupby([*keys, "stop_day"], sort=True, observed=True)[["at_risk", "died"]].sum()
    lines = by_visit.reset_index()
    values = lines[["stop_day", "at_risk", "died"]].to_numpy(dtype=float)
    groups = lines.groupby(keys, sort=False, observed=True).indices
    return {tuple(map(tuple, values[np.sort(rows)].tolist())) for rows in groups.values()}
