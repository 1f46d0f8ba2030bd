"""The works of every plot: from the rows of the diary, or from the preparations where there is none.

A row of the diary may be of one plot, or of all plots of a preparation, a block or a site. A work that
a preparation is said to hold, and of which no row of the diary speaks anywhere, is taken as done as
planned, on a day that nobody knows.
"""

from __future__ import annotations

import datetime as dt
import difflib
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from typing import Any, Final

import numpy as np
import pandas as pd

from survivor.arrays import Codes
from survivor.records.checks import works as check
from survivor.records.problems import Texts, find, gather, none_found, set_aside
from survivor.records.tidy import Tidy
from survivor.records.words import folded_name, folded_works
from survivor.records.work_names import WORK_WORDS, like_known, soil_state, work_name
from survivor.settings import Method, Settings
from survivor.vocabulary import PLOT_KEY

WORK_COLUMNS: Final = (
    *PLOT_KEY, "method", "work", "date", "day", "pass", "soil", "depth_cm", "width_cm", "told_by",
    "file", "sheet", "row",
)  # fmt: skip
PLAN: Final = "preparation"  # what tells a work that the diary does not
DIARY: Final = "diary"
_ALL: Final = frozenset(("", "all", "all plots", "every plot", "whole", "whole site", "all of it"))
_ALIKE: Final = 0.8


@dataclass(frozen=True)
class PlotWorks:
    """What was done to every plot.

    Attributes
    ----------
    rows
        One row a plot and work: `WORK_COLUMNS`. ``day`` counts from planting, negative before it;
        ``told_by`` is ``diary`` or ``preparation``; blank where not known.
    departures
        As `survivor.records.checks.works.departures`.
    found
        Findings on the rows of the diary, and on plots and preparations.
    """

    rows: pd.DataFrame
    departures: pd.DataFrame
    found: pd.DataFrame


def no_works() -> PlotWorks:
    """Make the works of plots of which nothing is told."""
    return PlotWorks(pd.DataFrame(columns=list(WORK_COLUMNS)), check.no_departures(), none_found())


def plot_works(plots: pd.DataFrame, diary: Tidy | None, settings: Settings, closed: dt.date) -> PlotWorks:
    """Tell the works of every plot.

    Parameters
    ----------
    plots
        The plot table, as `survivor.records.Records.plots`.
    diary
        Its typed rows; None: there is none.
    settings
        The study file: the works of the preparations.
    closed
        The day after which no record can be true.
    """
    places = plots.drop_duplicates(list(PLOT_KEY)).reset_index(drop=True)
    planned = planned_works(places, settings)
    if diary is None:
        rows = _as_planned(planned)
        return PlotWorks(rows, check.no_departures(), none_found())
    known, found = _readable(diary, settings, closed)
    spread, unknown = _spread(known, places, settings.methods)
    aside, wrong = check.check_days(spread, known)
    again = check.check_repeated(spread, known)
    listed = again["record"].unique()
    rows = spread[~spread["record"].isin([*aside, *listed])]
    source = {n: own for n, own in enumerate(diary.sources)}
    first = int(diary.rows["source"].min()) if len(diary.rows) else 0
    own = [source[int(place) - first] for place in rows["source"]]
    rows = rows.assign(
        told_by=DIARY, file=[one.file for one in own], sheet=[one.sheet for one in own]
    ).rename(columns={"soil_state": "soil"})
    silent = planned[~planned["work"].isin(rows["work"])]
    named = check.check_silent(silent, rows)
    told = planned[~planned.index.isin(silent.index)]
    apart, departed = check.departures(told, rows, places)
    parts = [part for part in (rows[list(WORK_COLUMNS)], _as_planned(silent)) if len(part)]
    rows = pd.concat(parts) if parts else _as_planned(planned.head(0))
    rows = rows.sort_values([*PLOT_KEY, "date", "work"], kind="stable").reset_index(drop=True)
    return PlotWorks(rows, apart, gather(found, unknown, wrong, again, named, departed))


def planned_works(places: pd.DataFrame, settings: Settings) -> pd.DataFrame:
    """List the works of the preparation of each plot: site, block, plot, method, work."""
    told = settings.works.words if settings.works is not None else {}
    of_method = {m.name: dict.fromkeys(work_name(work, told) for work in m.works) for m in settings.methods}
    rows = [
        (*place, method, work)
        for *place, method in zip(*(places[word] for word in (*PLOT_KEY, "method")), strict=True)
        for work in of_method.get(str(method), ())
    ]
    return pd.DataFrame(rows, columns=[*PLOT_KEY, "method", "work"])


def _as_planned(planned: pd.DataFrame) -> pd.DataFrame:
    number = len(planned)
    told: dict[str, Any] = {
        "told_by": PLAN,
        "soil": "",
        "file": "",
        "sheet": "",
        "row": np.full(number, None),
    }
    told |= {word: np.full(number, np.nan) for word in ("day", "pass", "depth_cm", "width_cm")}
    told["date"] = np.full(number, np.datetime64("NaT", "ns"))
    return pd.DataFrame({**planned, **told}, index=planned.index, columns=list(WORK_COLUMNS))


def _readable(diary: Tidy, settings: Settings, closed: dt.date) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Name the works and the soil of the rows that can be used; one row a row of the diary."""
    rows = diary.rows[~diary.rows["total"]]
    told = settings.works.words if settings.works is not None else {}
    as_read = rows["work"]
    names = {text: work_name(text, told) for text in as_read.unique()}
    like = {text: like_known(name) for text, name in names.items() if text}
    states = rows["soil_state"].map({text: soil_state(text) for text in rows["soil_state"].unique()})
    place = rows[[*PLOT_KEY, "method"]]
    nowhere = pd.Series((place == "").all(axis=1), index=rows.index)
    found = [
        diary.found,
        find(rows, nowhere, "work-without-place", "plot"),
        find(rows, as_read == "", "work-unnamed", "work"),
        find(
            rows,
            as_read.map(lambda text: bool(like.get(text))),
            "work-spelling",
            "work",
            like=as_read.map(like),
            group=as_read,
        ),
        find(
            rows,
            as_read.map(lambda text: text != "" and not like[text] and names[text] not in WORK_WORDS),
            "work-own-word",
            "work",
            known=", ".join(WORK_WORDS),
            group=as_read,
        ),
        find(rows, states.isna(), "soil-state-unknown", "soil_state"),
        *check.check_cells(rows, closed),
    ]
    rows = rows.assign(work=as_read.map(names), soil_state=states.fillna(""))
    together = gather(*found)
    kept = rows[~rows["record"].isin(set_aside(together))]
    return check.without_impossible(kept), together


def _spread(
    rows: pd.DataFrame, places: pd.DataFrame, methods: Sequence[Method]
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Give each row of the diary to the plots that it is of."""
    folded = {word: places[word].astype(str).map(folded_name).to_numpy() for word in PLOT_KEY}
    spelling = {folded_works(s): folded_works(m.name) for m in methods for s in (*m.also, m.name)}
    folded["method"] = places["method"].astype(str).map(folded_works).to_numpy()

    @cache
    def plots_of(site: str, block: str, plot: str, method: str) -> tuple[Codes, str]:
        """Find the plots that such a row is of, or why it is of none."""
        here = np.ones(len(places), dtype=bool)
        for word, told in (("site", site), ("block", block)):
            if told and told.casefold() not in _ALL:
                here &= folded[word] == folded_name(told)
        one = plot.casefold() not in _ALL
        if one:
            here &= folded["plot"] == folded_name(plot)
        elif method:
            asked = folded_works(method)
            here &= folded["method"] == spelling.get(asked, asked)
        chosen = np.flatnonzero(here)
        if one and len(chosen) > 1:
            return chosen[:0], "several plots have this label"
        if not len(chosen):
            return chosen, "no such plot is in the records" if one else "no plot of the records is there"
        return chosen, ""

    told = [plots_of(*place) for place in rows[[*PLOT_KEY, "method"]].itertuples(index=False, name=None)]
    why = {index: reason for index, (_, reason) in zip(rows.index, told, strict=True) if reason}
    chosen = np.concatenate([np.empty(0, dtype=np.intp), *(plots for plots, _ in told)])
    whose = np.repeat(np.arange(len(rows)), [len(plots) for plots, _ in told])
    lost = pd.Series(rows.index.isin(list(why)), index=rows.index)
    found = _nowhere(rows, lost, why, places)
    spread = rows.iloc[whose].drop(columns=[*PLOT_KEY, "method"]).reset_index(drop=True)
    at = places.iloc[chosen][[*PLOT_KEY, "method", "planted_date"]].reset_index(drop=True)
    at["method"] = at["method"].astype(object)
    out = pd.concat([at, spread], axis=1)
    out["day"] = (out["date"] - out["planted_date"]).dt.days.astype(float)
    return out, found


def _nowhere(
    rows: pd.DataFrame, lost: pd.Series[bool], why: dict[Any, str], places: pd.DataFrame
) -> pd.DataFrame:
    reasons: Texts = pd.Series(
        rows.index.map(lambda index: why.get(index, "")), index=rows.index, dtype=object
    )
    labels = [str(label) for label in places["plot"].unique()]
    near = rows["plot"].map(
        {
            text: f"; did you mean {close[0]}?"
            for text in rows.loc[lost, "plot"].unique()
            if (close := difflib.get_close_matches(text, labels, n=1, cutoff=_ALIKE)) and close[0] != text
        }
    )
    shown = rows[[*PLOT_KEY, "method"]].apply(lambda row: " ".join(part for part in row if part), axis=1)
    return find(rows, lost, "work-nowhere", "plot", value=shown, why=reasons, near=near)
