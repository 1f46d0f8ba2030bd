"""The frames that the records hand on: intervals, plots and visits in their final columns."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Final

import numpy as np
import pandas as pd

from survivor.arrays import Codes
from survivor.files.cells import day_texts, is_text
from survivor.intervals import in_order_of, row_codes, season_words
from survivor.records.plots import PlotTable
from survivor.records.problems import Source
from survivor.records.times import size_by
from survivor.records.words import COLUMN_WORDS, PRIVATE_WORDS
from survivor.settings import Settings
from survivor.vocabulary import DRY_SEASON, FIRST_PLANTING, INTERVAL_COLUMNS, PLOT_KEY, State

_VISIT_COLUMNS: Final = (
    "site",
    "block",
    "plot",
    "tag",
    "species",
    "cohort",
    "method",
    "visit",
    "date",
    "day",
)
_MEASURED: Final = ("height_cm", "cause", "weed_cover", "vigour", "browsing", "observer", "notes")
INTERVAL_ORDER: Final = ("site", "block", "plot", "tag", "species", "cohort", "planted_date", "start_day")


def intervals_frame(table: pd.DataFrame, traits: Sequence[str], settings: Settings) -> pd.DataFrame:
    """Order the columns and rows of the risk intervals and type them.

    Parameters
    ----------
    table
        One row a stretch with all columns.
    traits
        Columns that follow `survivor.vocabulary.INTERVAL_COLUMNS`.
    settings
        The study file: the usual practice comes first among the methods (where none is
        named, or no plot holds it, the method with most plots), and the dry season, where
        it gives one, is the last column.
    """
    out = table.assign(method=pd.Categorical(table["method"], categories=methods_in_order(table, settings)))
    order = in_order_of(table, INTERVAL_ORDER)
    return in_columns(out.iloc[order].reset_index(drop=True), traits, settings)


def in_columns(table: pd.DataFrame, traits: Sequence[str], settings: Settings) -> pd.DataFrame:
    """Order the columns of risk intervals, the dry season the last where the study file gives one."""
    out = table[[*INTERVAL_COLUMNS, *traits]]
    if settings.dry_season is None:
        return out
    return out.assign(**{DRY_SEASON: season_words(settings.dry_season.start, settings.dry_season.end)})


def methods_in_order(table: pd.DataFrame, settings: Settings) -> list[str]:
    """Name the preparations of some intervals, the usual practice first (`intervals_frame`)."""
    there = set(table["method"].unique())
    methods = [method.name for method in settings.methods] or sorted(there)
    usual = settings.design.usual_practice
    ordered = ([usual] if usual is not None else []) + [method for method in methods if method != usual]
    present = [method for method in ordered if method in there]
    if usual not in present and present:
        # With no usual practice among them, the method with most plots is compared with: it is told best.
        first = row_codes([table[word] for word in (*PLOT_KEY, "method")], in_order=False)[1]
        plots = table["method"].iloc[first].value_counts()
        most = max(present, key=lambda method: plots[method])
        present = [most, *(method for method in present if method != most)]
    return present


def with_facts(stretches: pd.DataFrame, entries: pd.DataFrame, traits: Sequence[str]) -> pd.DataFrame:
    """Join the facts of each seedling (or group counted) to its stretches, and date them.

    Parameters
    ----------
    stretches
        entry, start_day, stop_day, at_risk, died.
    entries
        One row a seedling or group, indexed by entry.
    traits
        Facts besides keys, species, preparation and radius.
    """
    facts = [*PLOT_KEY, "tag", "species", "method", "weed_free_radius_m", "cohort", "planted_date", *traits]
    told = entries[facts].reindex(stretches["entry"]).set_axis(stretches.index)
    table = pd.concat([stretches.drop(columns="entry"), told], axis=1)
    for edge in ("start", "stop"):
        table[f"{edge}_date"] = table["planted_date"] + pd.to_timedelta(table[f"{edge}_day"], unit="D")
    return table


def planted_by_plot(table: PlotTable | None, rows: pd.DataFrame) -> pd.Series[float]:
    """Seedlings planted in each plot, by its name; blank where no sheet tells."""
    if table is not None and table.planted["planted"].notna().any():
        return table.planted.groupby("name")["planted"].sum(min_count=1)
    return rows.groupby("name")["planted"].max().astype(float)


def planted_by_entry(table: PlotTable | None, rows: pd.DataFrame) -> pd.Series[float]:
    """Seedlings planted of each group counted, from the plot sheet; blank where it does not tell.

    Numbers by plot and counts by species do not fit: which species were planted
    how often is then not told.
    """
    first = rows[rows["cohort"] == FIRST_PLANTING]
    if table is None or table.planted["planted"].isna().all():
        return pd.Series(np.nan, index=pd.Index(first["entry"].unique(), name="entry"))
    groups = first.drop_duplicates("entry").set_index("entry")
    by_species = table.planted.assign(species=table.planted["species"].str.casefold())
    told = by_species.set_index(["name", "species"])["planted"]
    key = pd.MultiIndex.from_arrays([groups["name"], groups["species"].str.casefold()])
    number = pd.Series(told.reindex(key).to_numpy(dtype=float), index=groups.index)
    whole = table.planted.groupby("name")["planted"].sum(min_count=1)
    return number.where(groups["species"] != "", groups["name"].map(whole))


def plots_frame(
    table: PlotTable | None, entries: pd.DataFrame, traits: Sequence[str], *, tagged: bool
) -> pd.DataFrame:
    """Make the plot table that is handed on.

    Parameters
    ----------
    table
        The plot sheet's, where there is one.
    entries
        Seedlings or groups counted, with the facts of their plots.
    traits
        Columns that explain survival.
    tagged
        Whether entries are seedlings. Their number is the number planted where all
        of a plot were tagged at planting and no sheet tells it.
    """
    first = entries[entries["cohort"] == FIRST_PLANTING]
    if table is not None:
        listed = table.plots.reindex(table.planted["name"]).set_axis(table.planted.index)
        plots = pd.concat([table.planted, listed], axis=1)
        told = first.drop_duplicates("name").set_index("name")
        dates = plots["name"].map(told["planted_date"])
        plots["planted_date"] = plots["planted_date"].fillna(dates)
        for word in PLOT_KEY:  # a key that only the visits tell
            if (plots[word] == "").any():
                own = plots["name"].map(told[word])
                plots[word] = plots[word].where(plots[word] != "", own).fillna("")
    else:
        by = ["name"] if tagged else ["name", "species"]
        private = [word for word in PRIVATE_WORDS if word in first.columns]
        facts = ["method", "weed_free_radius_m", *traits, *private]
        codes, places = row_codes([first[word] for word in by], in_order=False)
        groups = first.groupby(codes)
        plots = first.iloc[places][[*by, *PLOT_KEY]].reset_index(drop=True)
        plots["planted_date"] = groups["planted_date"].first()
        for fact in facts:
            plots[fact] = _single(first[fact], codes)
        plots["planted"] = plots["name"].map(_tags(first)) if tagged else groups["planted"].max()
    if not tagged and table is not None and plots["planted"].isna().all():  # only the visits tell it
        plots["planted"] = plots["name"].map(first.groupby("name")["planted"].sum(min_count=1))
    if tagged and table is not None and plots["planted"].isna().any():
        alone = ~plots["name"].duplicated(keep=False)
        plots["planted"] = plots["planted"].fillna(plots["name"].map(_tags(first)).where(alone))
    has_species = "species" in plots.columns and (plots["species"] != "").any()
    private = [word for word in PRIVATE_WORDS if word in plots.columns]
    columns = [
        *PLOT_KEY,
        *(["species"] if has_species else []),
        "method",
        "planted_date",
        "planted",
        "weed_free_radius_m",
        *traits,
        *(word for word in private if word not in traits),
    ]
    kept = plots[[word for word in columns if word in plots.columns]]
    by_place = [*PLOT_KEY, *(["species"] if has_species else [])]
    return kept.iloc[in_order_of(kept, by_place)].reset_index(drop=True)


def _tags(first: pd.DataFrame) -> pd.Series[float]:
    """Seedlings of each plot, by its name, where all of them were tagged at planting."""
    all_tagged = first.groupby("name")["at_planting"].all()
    return size_by(first, "name").where(all_tagged).astype(float)


def _single(fact: pd.Series[Any], codes: Codes) -> pd.Series[Any]:
    """Take the one value of each group; blank where it differs within it."""
    text = is_text(fact)
    told = fact.where(fact != "") if text else fact
    groups = told.groupby(codes)
    single = groups.first().where(groups.nunique() == 1)
    return single.fillna("") if text else single


def visits_frame(
    rows: pd.DataFrame, sources: Sequence[Source], bookkeeping: Sequence[str], *, tagged: bool
) -> pd.DataFrame:
    """Make the tidy visits that are handed on: keys, what was said, where it stood.

    Parameters
    ----------
    rows
        Visit records that are not excluded.
    sources
        Where they came from.
    bookkeeping
        Columns that are of no use outside, and traits (which the plots tell).
    tagged
        Whether a record is of a seedling, with a state, or of a plot, with a count.
    """
    value = ["state"] if tagged else ["alive", "planted"]
    rows = rows.assign(
        file=np.array([source.file for source in sources], dtype=object)[rows["source"]],
        sheet=np.array([source.sheet for source in sources], dtype=object)[rows["source"]],
    )
    rows["visit"] = rows["visit"].where(rows["visit"] != "", day_texts(rows["date"]))
    if tagged:
        rows["state"] = rows["state"].where(rows["state"] != "", str(State.NOT_VISITED))
    rows["day"] = (rows["date"] - rows["planted_date"]).dt.days
    counts = [] if tagged else ["dead", "infill"]
    out = (*_VISIT_COLUMNS, *value, "file", "sheet", "row", *bookkeeping)
    own = [word for word in rows.columns if word not in COLUMN_WORDS and word not in out]
    measured = [
        word
        for word in (*counts, *_MEASURED, *own)
        if word in rows.columns and rows[word].notna().any() and (rows[word] != "").any()
    ]
    columns = [*_VISIT_COLUMNS, *value, *measured, "file", "sheet", "row"]
    by = ["site", "block", "plot", "tag", "species", "cohort", "date", "row"]
    return rows[columns].iloc[in_order_of(rows, by)].reset_index(drop=True)


def likely_causes(deaths: pd.DataFrame, visits: pd.DataFrame) -> pd.Series[Any]:
    """Likely cause of each death as the first visit that told one has it; "not recorded" where none did.

    Parameters
    ----------
    deaths
        Risk intervals of tagged seedlings.
    visits
        Tidy visits, with ``cause``.
    """
    key = ["site", "block", "plot", "tag", "cohort"]
    told = visits[visits["cause"].notna() & (visits["cause"].astype(str) != "")]
    first = told.sort_values("date", kind="stable").drop_duplicates(key)[[*key, "cause"]]
    joined = deaths[key].merge(first, on=key, how="left")["cause"].fillna("not recorded")
    return joined.set_axis(deaths.index)
