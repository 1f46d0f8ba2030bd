"""The plot table: one row a plot, and the plot of each visit record."""

from __future__ import annotations

import datetime as dt
import difflib
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import pandas as pd

from survivor.arrays import furthest
from survivor.errors import RecordsError
from survivor.files.cells import holds, is_text
from survivor.intervals import row_codes
from survivor.records.checks import plots as check
from survivor.records.checks.order import OTHER_DATE, OTHER_PLANTED
from survivor.records.checks.sense import check_planted_column
from survivor.records.codes import CODES
from survivor.records.problems import SET_ASIDE, Source, Texts, find, gather, joined, none_found, set_aside
from survivor.records.sheets import by_site
from survivor.records.tidy import Tidy, one_spelling
from survivor.records.words import PRIVATE_WORDS, RADIUS_WORDS
from survivor.settings import Rules, Settings
from survivor.vocabulary import PLOT_KEY

_PLAIN: Final = (
    "record",
    "source",
    "row",
    "line",
    "total",
    "note",
    "date_unread",
    "species",
    "planted",
    "notes",
    "observer",
)
_MOST_PROPOSALS: Final = 20  # looking for a label like another takes time
DATES: Final = ("planted_first", "planted_date")


@dataclass(frozen=True)
class PlotTable:
    """What the plot sheet tells.

    Attributes
    ----------
    plots
        One row a plot, indexed by its name (site, block and plot, without case):
        record, source, row, site, block, plot, method ("" unknown), planted_first,
        planted_date (the last planting day), weed_free_radius_m, traits.
    planted
        name, species ("" where the sheet does not tell), planted: seedlings planted.
    records
        record, name: every row of the plot sheet and its plot.
    traits
        Columns that explain survival and go into the intervals.
    found
        Findings; records excluded take their plot with them.
    other_planted
        Planting day of each plot under the other order of day and month; NaT where it
        reads the same.
    """

    plots: pd.DataFrame
    planted: pd.DataFrame
    records: pd.DataFrame
    traits: tuple[str, ...]
    found: pd.DataFrame
    other_planted: pd.Series[Any]


def plot_table(sheet: Tidy, sources: Sequence[Source], settings: Settings, closed: dt.date) -> PlotTable:
    """Make the plot table of the plot sheet.

    Parameters
    ----------
    sheet
        The plot sheet; what was found on its cells goes with its plots.
    sources
        Where all records came from.
    settings
        The study file.
    closed
        The day after which no record can be true.
    """
    keyless = sheet.found.loc[sheet.found["code"] == "blank-key", "record"]
    rows = sheet.rows[~sheet.rows["total"] & ~sheet.rows["record"].isin(keyless)]
    rows, spelling = _spelt(rows, settings)
    other = rows.get(OTHER_PLANTED, pd.Series(pd.NaT, index=rows.index, dtype="datetime64[ns]"))
    rows = rows.drop(columns=[word for word in (OTHER_DATE, OTHER_PLANTED) if word in rows.columns])
    told = (rows["method"] != "").any()  # else the visits tell it, or nobody
    rows["method"], unknown = check.match_methods(rows if told else rows.iloc[:0], settings.methods)
    rows["method"] = rows["method"].fillna("")
    rows["weed_free_radius_m"], radius = check.radius_in_metres(
        rows, sources, mixed=settings.rules.metres_in_centimetres
    )
    rows = rows.drop(columns=[word for word in RADIUS_WORDS[1:] if word in rows.columns])
    rows, several = planting_days(rows, settings.rules)
    name = check.plot_name(rows)
    repeated, differs = _told_twice(rows, name)
    found = [
        sheet.found,
        *spelling,
        unknown,
        radius,
        repeated,
        differs,
        check.check_planting_dates(rows, closed, several=several, needed=False),
        check.check_seasons(rows),
        check_planted_column(rows),
    ]
    traits = [
        word for word in rows.columns if word not in (*_PLAIN, *PLOT_KEY, "method", *DATES, "planted_until")
    ]
    for word in (*traits, "weed_free_radius_m"):
        rows[word], wrong = one_fact(rows, name, word, check.plot_name)
        found.append(wrong)
    kept = rows[~rows["record"].isin(repeated["record"])].assign(name=name)
    plots = kept.drop_duplicates("name").set_index("name")
    planted = kept[["name", "species", "planted"]].reset_index(drop=True)
    if len(plots) < len(kept):
        planted = planted.groupby(["name", "species"], sort=False)["planted"].sum(min_count=1).reset_index()
    carried = tuple(word for word in traits if word not in (*PRIVATE_WORDS, "weed_free_radius_m"))
    dropped = [
        word
        for word in ("total", "note", "date_unread", "line", "species", "planted")
        if word in plots.columns
    ]
    records = pd.DataFrame({"record": rows["record"], "name": name})
    return PlotTable(
        plots.drop(columns=dropped), planted, records, carried, gather(*found), other.groupby(name).max()
    )


def _spelt(rows: pd.DataFrame, settings: Settings) -> tuple[pd.DataFrame, list[pd.DataFrame]]:
    rows = rows.assign()
    for word in (*PLOT_KEY, "species", "method"):
        if word not in rows.columns:
            rows[word] = ""
    if "planted" not in rows.columns:
        rows["planted"] = float("nan")
    found = []
    told = settings.records.plots.species if settings.records.plots else {}
    for word in ("site", "species", *(() if settings.methods else ("method",))):
        rows[word], spelling = one_spelling(rows, word, told if word == "species" else None)
        found.append(spelling)
    return rows, found


def planting_days(rows: pd.DataFrame, rules: Rules) -> tuple[pd.DataFrame, pd.Series[bool]]:
    """Give each row the first and the last planting day of its plot.

    Parameters
    ----------
    rows
        Records with site, block, plot, and planted_date, planted_until where told.
    rules
        With the day, of each site or of all, where no sheet gives one.

    Returns
    -------
    rows, several
        With planted_first and planted_date (the last day, from which days count);
        and whether the plot was planted on several days.
    """
    days = [word for word in ("planted_date", "planted_until") if word not in rows.columns]
    rows = rows.assign(**dict.fromkeys(days, np.datetime64("NaT", "ns")))
    last = rows["planted_until"].fillna(rows["planted_date"])
    first = rows["planted_date"].fillna(last)
    plot, begins = row_codes([check.plot_name(rows)], in_order=False)
    rows["planted_first"] = furthest(np.fmin, first.to_numpy(), plot, begins)[plot]
    rows["planted_date"] = furthest(np.fmax, last.to_numpy(), plot, begins)[plot]
    for word in DATES if rules.planted_by_site else ():
        rows[word] = rows[word].fillna(pd.to_datetime(by_site(rows["site"], rules.planted_by_site)))
    if rules.planted_date is not None:
        for word in DATES:
            rows[word] = rows[word].fillna(pd.Timestamp(rules.planted_date))
    return rows, (rows["planted_first"] < rows["planted_date"]).fillna(False)


def _told_twice(rows: pd.DataFrame, name: Texts) -> tuple[pd.DataFrame, pd.DataFrame]:
    if not name.duplicated().any():
        return none_found(), none_found()
    same = rows.drop(columns=["record", "row", "line", "source"]).assign(name=name)
    again = same.astype(str).duplicated()
    repeated = find(rows, again, "repeated-plot", "plot")
    key = joined(name, rows["species"])
    twice = key.where(~again).duplicated(keep=False) & ~again
    methods = rows["method"].where(rows["method"] != "").groupby(name).transform("nunique") > 1
    differs = find(
        rows, (twice | methods) & ~again, "plot-differs", "plot", at=_rows_of(rows, name), group=name
    )
    return repeated, differs


def _rows_of(rows: pd.DataFrame, name: Texts) -> Texts:
    """Name the rows of each plot where they are few: `, in rows 3, 9`; "" where there are many."""
    told = rows["row"].astype(str).groupby(name).agg(list)
    return name.map({plot: f", in rows {', '.join(at)}" for plot, at in told.items() if len(at) <= 6}).fillna(
        ""
    )


def one_fact(
    rows: pd.DataFrame, key: pd.Series[Any], word: str, called: Callable[[pd.DataFrame], Texts]
) -> tuple[pd.Series[Any], pd.DataFrame]:
    """Blank a fact of a plot (or plant) that its rows tell in two ways; carry it to all of them.

    Parameters
    ----------
    rows
        Records with the column ``word``.
    key
        Tells those of a plot.
    word
        The fact.
    called
        Names the plots of records at fault.
    """
    if not key.duplicated().any():
        return (rows[word].fillna("") if is_text(rows[word]) else rows[word]), none_found()
    told = rows[word].where(rows[word] != "") if is_text(rows[word]) else rows[word]
    differs = told.groupby(key).transform("nunique") > 1
    found = find(rows, differs, "fact-differs", word, group=lambda wrong: called(wrong) + word)
    first = told.groupby(key).transform("first").where(~differs)
    return (first.fillna("") if is_text(rows[word]) else first), found


def locate(visits: pd.DataFrame, table: PlotTable, place: str) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Find the plot of each visit record in the plot table.

    A key that only one of the two sheets has (a block, say) is taken from it, where
    the others tell one plot.

    Parameters
    ----------
    visits
        Visit records with site, block and plot.
    table
        The plot table.
    place
        What to call the plot sheet in an error.

    Returns
    -------
    visits, found
        The records with site, block and plot spelt as in the plot sheet and the
        column ``name`` ("" where the plot is not in it); findings.

    Raises
    ------
    RecordsError
        When the sheets share no key by which plots can be told apart.
    """
    if (visits["source"] == visits["source"].iloc[0]).all():
        return _located(visits, table, place)
    filled = {word: ~holds(visits[word], "") for word in PLOT_KEY}
    told = pd.DataFrame({word: own for word, own in filled.items() if own.any()})
    told = told.groupby(visits["source"]).any()
    if len(told.drop_duplicates()) > 1:  # a sheet with a site beside one without
        kinds = visits["source"].map(told.apply(tuple, axis="columns"))
        parts = [_located(own, table, place) for _, own in visits.groupby(kinds, sort=False)]
        return pd.concat([part for part, _ in parts]).loc[visits.index], gather(*[own for _, own in parts])
    return _located(visits, table, place)


def _located(visits: pd.DataFrame, table: PlotTable, place: str) -> tuple[pd.DataFrame, pd.DataFrame]:
    plots = table.plots
    shared = [word for word in PLOT_KEY if (plots[word] != "").any() and not holds(visits[word], "").all()]
    by_key = _joined(plots, shared or PLOT_KEY)
    if "plot" not in shared or (by_key.duplicated().mean() > 0.5 and len(by_key) > 2):
        raise RecordsError(
            "the labels of the plots repeat, and plot sheet and visits share no column that tells them apart",
            where=place,
            mend="give both sheets the columns site, block and plot",
        )
    names = pd.Series(by_key.index, index=by_key.to_numpy())
    names = names[~names.index.duplicated(keep=False)]
    keys = _joined(visits, shared)
    name = keys.map(names).fillna("")
    alike = _labels_apart(visits, name, shared)
    name = name.where(~alike, "")
    lost = (name == "") & (visits["plot"] != "")
    unknown = _unknown_plots(visits[lost], keys[lost], by_key) if lost.any() else none_found()
    out = visits.assign(name=name)
    listed = plots[list(PLOT_KEY)].reindex(name).set_axis(visits.index).fillna("")
    spelt = []
    for word in PLOT_KEY:
        as_listed = listed[word]
        as_listed = as_listed.where(~holds(as_listed, ""), visits[word])
        spelt.append(_other_spelling(visits, word, as_listed))
        out[word] = as_listed
    return out, gather(unknown, *spelt)


def _other_spelling(visits: pd.DataFrame, word: str, listed: Texts) -> pd.DataFrame:
    other = pd.Series(listed.to_numpy() != visits[word].to_numpy(), index=visits.index)
    return find(
        visits,
        other & ~holds(visits[word], ""),
        "spelling",
        word,
        message="spelling-of-plot-sheet",
        read=listed,
        group=visits[word],
    )


def _joined(rows: pd.DataFrame, words: Sequence[str]) -> Texts:
    return joined(*(rows[word] for word in words), fold=lambda text: f"{text.casefold()}|")


def _as_read(rows: pd.DataFrame) -> Texts:
    words = [word for word in PLOT_KEY if (rows[word] != "").any()]
    return pd.Series([" ".join(parts) for parts in rows[words].to_numpy()], index=rows.index, dtype=object)


def _labels_apart(visits: pd.DataFrame, name: Texts, shared: Sequence[str]) -> pd.Series[bool]:
    """Tell records whose plot the plot sheet cannot tell from another (same label, other site)."""
    alone = [word for word in PLOT_KEY if word not in shared and not holds(visits[word], "").all()]
    if not alone:
        return pd.Series(False, index=visits.index)
    places = _joined(visits, alone).groupby(name).transform("nunique")
    return (places > 1) & (name != "")


def _unknown_plots(lost: pd.DataFrame, keys: Texts, by_key: Texts) -> pd.DataFrame:
    return find(
        lost,
        pd.Series(True, index=lost.index),
        "unknown-plot",
        "plot",
        value=_as_read(lost),
        why=_why_unknown(keys, by_key),
        near=_closest(keys, by_key),
        group=keys,
    )


def _why_unknown(keys: Texts, by_key: Texts) -> Texts:
    several = keys.isin(by_key[by_key.duplicated(keep=False)])
    return several.map(
        {True: "several plots of the plot sheet have this label", False: "the plot is not in the plot sheet"}
    )


def _closest(keys: Texts, by_key: Texts) -> Texts:
    known = [str(key) for key in by_key.unique()]
    proposals = {}
    for key in keys.unique()[:_MOST_PROPOSALS]:
        close = difflib.get_close_matches(str(key), known, n=1, cutoff=0.8)
        proposals[key] = (
            f"; did you mean {close[0].strip('|').replace('|', ' ')}?" if close and close[0] != key else ""
        )
    return keys.map(proposals).fillna("")


def follow(visits: pd.DataFrame, table: PlotTable, found: pd.DataFrame) -> pd.DataFrame:
    """Set the visits of a plot aside together with its row of the plot sheet.

    Parameters
    ----------
    visits
        Located visit records.
    table
        The plot table.
    found
        Findings on the plot sheet; the visits join the problem of their plot.
    """
    if not len(set_aside(found)):
        return none_found()
    fatal = found[found["code"].map(lambda code: CODES[code].fate) == SET_ASIDE]
    fatal = fatal.merge(table.records, on="record")
    fatal_by_name = fatal.drop_duplicates("name").set_index("name")
    lost = visits["name"].isin(fatal_by_name.index)
    parts = [
        find(
            visits,
            lost & (visits["name"].map(fatal_by_name["code"]) == code),
            str(code),
            "plot",
            message="plot-excluded",
            group=visits["name"].map(fatal_by_name["group"]).fillna(""),
        )
        for code in fatal_by_name["code"].unique()
    ]
    return gather(*parts)
