"""Visit records made ready for their histories: facts of the plot joined, days counted, visits told apart."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Final

import numpy as np
import pandas as pd

from survivor.arrays import Codes, furthest
from survivor.files.cells import holds
from survivor.intervals import row_codes
from survivor.records.checks import plots as check_plots
from survivor.records.checks import visits as check_visits
from survivor.records.checks.beside import (
    check_causes,
    check_growth,
    check_lone_plots,
    check_round_days,
    check_rounds,
)
from survivor.records.checks.blanks import blank_untold, first_gone
from survivor.records.checks.cells import check_heights
from survivor.records.checks.names import check_no_name, check_species
from survivor.records.checks.order import OTHER_DATE, OTHER_PLANTED, PLANTED_SOURCE, check_slips
from survivor.records.checks.plots import entry_name, entry_parts
from survivor.records.checks.sense import check_years
from survivor.records.checks.tags import check_shared_tags, check_unmatched_tags, one_tag
from survivor.records.checks.visits import check_observers
from survivor.records.plots import DATES, PlotTable, follow, locate, one_fact, planting_days
from survivor.records.problems import (
    SAID,
    Source,
    Texts,
    find,
    gather,
    joined,
    numbered,
    set_aside,
    whole_visit,
)
from survivor.records.replants import check_replants, replants_apart
from survivor.records.tidy import Tidy, one_spelling
from survivor.records.times import LIKE, TIMES
from survivor.records.words import COLUMN_WORDS, RADIUS_WORDS, TRAIT_WORDS
from survivor.settings import Settings
from survivor.vocabulary import FIRST_PLANTING, PLOT_KEY, State

_BOOKKEEPING: Final = (
    "record",
    "source",
    "line",
    "total",
    "note",
    "replant",
    "date_unread",
    OTHER_DATE,
    OTHER_PLANTED,
    PLANTED_SOURCE,
)
_PLACE: Final = (
    "name", "entry", "row", "state" + SAID, *_BOOKKEEPING, "planted_first", "planted_until", TIMES, LIKE,
)  # fmt: skip
# Columns that only the way to the intervals needs.
WORKINGS: Final = (
    *_PLACE, "label", "day", "turn", "blank", "says", "number", "at_planting", "turn_before",
    "alive", "dead", "death",
)  # fmt: skip
PATCH_RADIUS: Final = "patch_radius_m"  # of the weed-free patch as a visit found it
SAYS: Final = (State.ALIVE, State.DEAD, State.MISSING, State.NOT_FOUND, State.REPLANTED, State.DOUBTFUL)


@dataclass(frozen=True)
class Whole:
    """What is known of all records, where those that are looked at are some of them.

    Attributes
    ----------
    usual
        Of each of our words the spellings of all records, the commonest first.
    tags
        Tags of the seedlings that some of the records stand for (`survivor.records.times.LIKE`); None where
        every record is of one seedling.
    """

    usual: Mapping[str, Sequence[str]] = field(default_factory=dict)
    tags: pd.DataFrame | None = None


ALL: Final = Whole()


@dataclass(frozen=True)
class Ready:
    """Visit records that can be used.

    Attributes
    ----------
    rows
        One row a record that says something: name and entry (texts that name the
        plot and the seedling or the group counted), the keys and facts, visit,
        date, day (since planting), turn (0, 1, ...: which visit of the plot), and
        state and blank, or alive. ``blank`` tells a blank that the study file
        takes as dead.
    traits
        Columns that explain survival and go into the intervals.
    silent
        Records that say nothing of survival, with the same columns as far as they
        have them.
    found
        Findings; what they excluded is not in ``rows``.
    """

    rows: pd.DataFrame
    traits: tuple[str, ...]
    silent: pd.DataFrame
    found: pd.DataFrame


def prepare(
    visits: Tidy,
    table: PlotTable | None,
    sources: Sequence[Source],
    settings: Settings,
    closed: dt.date,
    whole: Whole = ALL,
) -> Ready:
    """Make the visit records ready.

    Parameters
    ----------
    visits
        Typed visit records.
    table
        The plot table, where there is a plot sheet.
    sources
        Where all records came from.
    settings
        The study file.
    closed
        The day after which no record can be true.
    whole
        What all records tell, where these are some of them.

    Raises
    ------
    RecordsError
        When plots cannot be distinguished.
    """
    kind = settings.records.kind
    found = [visits.found]
    rows = _those(visits.rows, ~visits.rows["total"])
    traits: tuple[str, ...] = ()

    def kept(rows: pd.DataFrame, more: list[pd.DataFrame]) -> pd.DataFrame:
        found.extend(more)
        return left(rows, gather(*more))

    if kind == "tagged":
        rows, apart = replants_apart(rows)
        found += [
            apart,
            check_unmatched_tags(rows),
            check_shared_tags(rows, whole.tags),
            check_replants(rows),
        ]
        rows = left(rows, found[-1])
    rows, names = left(rows, found[0]), visits.rows[list(PLOT_KEY)] if kind == "counts" else None
    read = visits.rows["record"] if kind == "counts" else None
    del visits  # a large season's cells are let go as soon as others stand in their place
    if rows.empty:
        return Ready(rows, traits, rows, gather(*found))
    rows, more = _spelt(rows, settings, table, whole.usual)
    found += [*more, check_no_name(rows)]
    if table is None:
        rows = _with_entry(rows.assign(name=check_plots.plot_name(rows)))
        rows = kept(*_own_facts(rows, sources, settings))
    else:
        rows = kept(*_facts_of_plots(rows, table, sources, settings))
    if rows.empty:
        return Ready(rows, traits, rows, gather(*found))
    rows = kept(*_planting(_with_entry(rows), settings, closed))
    found += [check_heights(rows, sources), check_years(rows[rows["cohort"] == FIRST_PLANTING])]
    found += [check_lone_plots(rows), check_growth(rows), check_causes(rows)]
    if names is not None and read is not None:
        aside = read.isin(set_aside(gather(*found)))
        found.append(check_rounds(rows, frozenset(check_plots.plot_name(names[aside]))))
    rows, traits, more = _traits(rows, table)
    found.extend(more)
    rows = kept(*(_what_seedlings_say(rows, settings) if kind == "tagged" else _what_counts_say(rows)))
    silent, rows = rows[~rows["says"]], _those(rows, rows["says"])
    if not rows.empty:
        rows, more = _days(rows, settings, closed, sources)
        found.extend(more)
    done = [word for word in _BOOKKEEPING if word in rows.columns and word not in ("record", "source")]
    rows, silent = (part.drop(columns=done, errors="ignore") for part in (rows, silent))
    return Ready(rows.reset_index(drop=True), traits, silent, gather(*found))


def left(rows: pd.DataFrame, found: pd.DataFrame) -> pd.DataFrame:
    """Rows that no finding excludes."""
    lost = set_aside(found)
    return _those(rows, ~rows["record"].isin(lost)) if len(lost) else rows


def _those(rows: pd.DataFrame, kept: pd.Series[bool]) -> pd.DataFrame:
    return rows if kept.all() else rows[kept]


def _spelt(
    rows: pd.DataFrame, settings: Settings, table: PlotTable | None, usual: Mapping[str, Sequence[str]]
) -> tuple[pd.DataFrame, list[pd.DataFrame]]:
    rows = rows.assign()
    told = {theirs: ours for sheet in settings.records.sheets for theirs, ours in sheet.species.items()}
    listed = [] if table is None else [name for name in table.planted["species"].unique() if name]
    words = ["species"] if table is not None else [*PLOT_KEY, "species"]
    if not settings.methods and (table is None or (table.plots["method"] == "").all()):
        words.append("method")  # else the study file or the plot sheet says how it is spelt
    found = []
    for word in words:
        of_species = word == "species"
        before = (*reversed(usual.get(word, ())), *(listed if of_species else ()))  # the last one counts
        rows[word], wrong = one_spelling(rows, word, told if of_species else None, before)
        found.append(wrong)
    rows["tag"], alike = one_tag(rows, settings.rules.tags_alike)
    return rows, [*found, check_species(rows), alike]


def _with_entry(rows: pd.DataFrame) -> pd.DataFrame:
    """Tell the seedling (or the group counted together) of each record by a number, in order of the names."""
    return rows.assign(entry=numbered(*entry_parts(rows)))


def _facts_of_plots(
    rows: pd.DataFrame, table: PlotTable, sources: Sequence[Source], settings: Settings
) -> tuple[pd.DataFrame, list[pd.DataFrame]]:
    place = settings.records.plots.file if settings.records.plots else "plot sheet"
    rows, located = locate(rows, table, place)
    followed = follow(rows, table, table.found)
    rows = left(rows, gather(located, followed)).assign()
    facts = ["method", "weed_free_radius_m", *DATES, "source", *table.traits]
    of_plot = table.plots[facts].reindex(rows["name"]).set_axis(rows.index)
    if (table.plots["method"] == "").all() and (rows["method"] != "").any():
        rows["method"], unknown, two = check_plots.methods_of_visits(
            _with_entry(rows),
            settings.methods,
            settings.rules.preparation_of,
            sources,
        )
    else:
        method, unknown = of_plot["method"], gather()
        two = check_plots.check_method_of_sheet(rows, method, settings.methods)
        rows["method"] = method
    # What a visit tells of the patch is how it was then; the plot sheet tells how it was prepared.
    then, odd = check_plots.radius_in_metres(rows, sources, mixed=settings.rules.metres_in_centimetres)
    if then.notna().any():
        rows[PATCH_RADIUS] = then
    rows = rows.drop(columns=[word for word in RADIUS_WORDS if word in rows.columns])
    rows["weed_free_radius_m"] = of_plot["weed_free_radius_m"]
    for trait in table.traits:
        rows[trait] = of_plot[trait]
    first = rows["cohort"] == FIRST_PLANTING
    own = rows["planted_date"]
    plot_first, plot_last = (of_plot[word] for word in DATES)
    differs = find(
        rows,
        first & own.notna() & plot_last.notna() & ((own < plot_first) | (own > plot_last)),
        "planting-date-differs",
        "planted_date",
        listed=plot_last,
        group=rows["name"],
    )
    rows["planted_until"] = rows["planted_until"].where(plot_last.isna())
    rows[OTHER_PLANTED] = rows[OTHER_PLANTED].where(plot_last.isna(), rows["name"].map(table.other_planted))
    rows[PLANTED_SOURCE] = of_plot["source"].where(plot_last.notna() & first)
    rows["planted_first"] = plot_first.where(first, own).fillna(own)
    rows["planted_date"] = plot_last.where(first, own).fillna(own)
    return rows, [located, followed, unknown, two, odd, differs]


def _own_facts(
    rows: pd.DataFrame, sources: Sequence[Source], settings: Settings
) -> tuple[pd.DataFrame, list[pd.DataFrame]]:
    """Facts of plots and seedlings where the visits themselves tell them."""
    rows = rows.assign()
    rows["method"], unknown, differs = check_plots.methods_of_visits(
        rows, settings.methods, settings.rules.preparation_of, sources
    )
    radius, wrong = check_plots.radius_in_metres(rows, sources, mixed=settings.rules.metres_in_centimetres)
    rows = rows.drop(columns=[word for word in RADIUS_WORDS if word in rows.columns])
    if radius.groupby(rows["entry"]).nunique().max() > 1:
        rows[PATCH_RADIUS] = radius
    rows["weed_free_radius_m"] = radius
    rows["weed_free_radius_m"], twice = one_fact(rows, rows["entry"], "weed_free_radius_m", entry_name)
    return rows, [unknown, differs, wrong, twice]


def _planting(
    rows: pd.DataFrame, settings: Settings, closed: dt.date
) -> tuple[pd.DataFrame, list[pd.DataFrame]]:
    """Planting days: of the plot for the first planting, of the plant itself for infill."""
    first = rows["cohort"] == FIRST_PLANTING
    planted, several = planting_days(_those(rows, first), settings.rules)
    if "planted_first" in rows.columns:  # the plot sheet's, and noted there
        planted["planted_first"] = rows.loc[first, "planted_first"].fillna(planted["planted_first"])
        several = pd.Series(False, index=planted.index)
    found = [
        check_plots.check_planting_dates(planted, closed, several=several, needed=True),
        check_plots.check_seasons(planted),
    ]
    if first.all():
        return planted, found
    infill = rows[~first].assign(planted_first=rows.loc[~first, "planted_date"])
    undated = infill["planted_date"].isna()
    found.append(find(infill, undated, "infill-no-date", "planted_date", group=entry_name))
    return pd.concat([planted, infill]).sort_index(), found


def _traits(
    rows: pd.DataFrame, table: PlotTable | None
) -> tuple[pd.DataFrame, tuple[str, ...], list[pd.DataFrame]]:
    rows = rows.assign()
    of_plots = table.traits if table is not None else ()
    told = [
        word
        for word in rows.columns
        if word not in (*of_plots, *_PLACE, PATCH_RADIUS)
        and (word in TRAIT_WORDS or word not in COLUMN_WORDS)
    ]
    carried, found = [], []
    for word in told:
        values, differs = one_fact(rows, rows["entry"], word, entry_name)
        if differs.empty or word in TRAIT_WORDS:
            rows[word] = values
            carried.append(word)
            found.append(differs)
    return rows, (*of_plots, *carried), found


def _what_seedlings_say(rows: pd.DataFrame, settings: Settings) -> tuple[pd.DataFrame, list[pd.DataFrame]]:
    """Apply the study file's rules for heights and blanks; list what says nothing."""
    rules = settings.rules
    measured = (rows["state"] == "") & rows["height_cm"].notna() & rules.measured_means_alive
    alive = find(rows, measured, "measured-alive", "height_cm", group=whole_visit)
    if measured.any():
        rows = rows.assign(state=rows["state"].where(~measured, str(State.ALIVE)))
    after_planting = (rows["state"] == "") & rows["date"].notna() & (rows["date"] > rows["planted_date"])
    taken = gather()
    if rules.blank == "alive" and after_planting.any():
        lives = after_planting & (rows["date"] < first_gone(rows))
        taken = find(rows, lives, "blank-alive", "state", group=whole_visit)
        rows = rows.assign(state=rows["state"].where(~lives, str(State.ALIVE)))
    blank = after_planting & (rules.blank == "dead")
    says = rows["state"].isin([str(state) for state in SAYS])
    says |= blank
    if not holds(rows["state"], "").any():
        silent = find(rows, ~says, "not-visited", "state", message="blank-not-visited", group=whole_visit)
        return rows.assign(blank=blank, says=says), [alive, taken, silent]
    place = whole_visit(rows)
    of_site = joined(place, rows["site"])
    whole = (
        (rows["state"] == "") & ~says.groupby(of_site).transform("any") & says.groupby(place).transform("any")
    )
    site = find(rows, whole, "site-blank", "state", group=of_site)
    untold = blank_untold(rows, says & (rules.blank == "not visited"), place)
    silent = find(
        rows,
        ~says & ~whole & ~rows["record"].isin(untold["record"]),
        "not-visited",
        "state",
        message="blank-not-visited",
        group=place,
    )
    return rows.assign(blank=blank, says=says), [alive, taken, site, untold, silent]


def _what_counts_say(rows: pd.DataFrame) -> tuple[pd.DataFrame, list[pd.DataFrame]]:
    says = rows["alive"].notna()
    silent = find(
        rows,
        ~says,
        "not-visited",
        "alive",
        message="not-counted",
        group=whole_visit,
    )
    return rows.assign(says=says), [silent]


def _days(
    rows: pd.DataFrame, settings: Settings, closed: dt.date, sources: Sequence[Source]
) -> tuple[pd.DataFrame, list[pd.DataFrame]]:
    """Check the days, tell the visits of each plot apart and number them."""
    kind = settings.records.kind
    found = [check_slips(rows, closed, sources)]
    rows = left(rows, found[0])
    found.append(check_visits.check_days(rows, closed))
    rows = left(rows, found[-1])
    order = [visit.name for visit in settings.records.visits]
    found.append(check_visits.check_order(rows, order))
    rows = left(rows, found[-1])
    label, spread = check_visits.name_visits(rows)
    rows = rows.assign(label=label)
    said = _those(rows, ~rows["blank"]) if kind == "tagged" else rows
    value, noun = ("state", "tag") if kind == "tagged" else ("alive", "plot")
    again = check_observers(said, ["entry", "label"], value, noun)
    rows, said = (_once(table, again) for table in (rows, said))
    found += [spread, again]
    for keys in (["entry", "label"], ["entry", "date"]):
        twice = check_visits.check_twice(said, keys, value, noun)
        found.append(twice)
        said, rows = (_once(left(table, twice), twice) for table in (said, rows))
    day = (rows["date"] - rows["planted_date"]).dt.days.clip(lower=0)
    rows = rows.assign(turn=_turns(rows), day=day)
    return rows, [*found, check_round_days(rows)]


def _turns(rows: pd.DataFrame) -> Codes:
    """Give each visit its number within its plot, by its last day; those of one day as they are called."""
    own, first = row_codes([rows["name"], rows["label"]])
    last = furthest(np.maximum, rows["date"].to_numpy(), own, first)
    name = row_codes([rows["name"]])[0][first]
    turn = np.empty(len(first), dtype=np.intp)
    turn[np.lexsort((last, name))] = np.arange(len(first)) - np.searchsorted(name, name)
    return turn[own]


def _once(rows: pd.DataFrame, found: pd.DataFrame) -> pd.DataFrame:
    """Leave out records that stand there a second time, by the same hand or another."""
    if found.empty:
        return rows
    again: Texts | Any = found.loc[found["code"].isin(["repeated-record", "second-observer"]), "record"]
    return rows[~rows["record"].isin(again)]
