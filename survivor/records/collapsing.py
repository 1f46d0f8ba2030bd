"""Seedlings of a plot with one history held as one, and how many they are: what a register keeps.

Two seedlings are alike where their plot, species, cohort, facts and every visit are: what was seen on
which day, the likely cause, and whether they were as high as the study file asks. One stands for all.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Final

import numpy as np
import pandas as pd

from survivor.arrays import Codes, factorized
from survivor.errors import RecordsError
from survivor.files.cells import is_text
from survivor.frames import same_histories
from survivor.intervals import ENTRY_GROUP, row_codes
from survivor.records import tagged
from survivor.records.frames import INTERVAL_ORDER, in_columns, likely_causes, with_facts
from survivor.records.prepare import PATCH_RADIUS
from survivor.records.renaming import Words, in_words, ordered
from survivor.records.summing import one_a_past
from survivor.records.tagged import Histories, Missing, Unknown
from survivor.records.times import TIMES
from survivor.settings import Rules, Settings
from survivor.vocabulary import PLANTS

Rule = tuple[Missing, Unknown]
_HISTORY: Final = ("visit", "date", "turn", "state", "blank", "says", "cause")
_OF_PLACE: Final = ("weed_cover", PATCH_RADIUS)
_OF_ONE: Final = ("observer", "notes", "vigour", "browsing")  # told of one seedling, and not of those like it


def rules_kept(rules: Rules) -> tuple[Rule, ...]:
    """List the rules for missing plants and lost tags that an analysis asks for, as reported first."""
    other: Missing = "unknown" if rules.missing == "dead" else "dead"
    return (
        (rules.missing, "censored"), (other, "censored"), (rules.missing, "dead"), (rules.missing, "alive"),
    )  # fmt: skip


@dataclass(frozen=True)
class Kept:
    """What stands in place of the histories of single seedlings.

    Attributes
    ----------
    under
        Risk intervals by rule (`rules_kept`), the reported one left out; texts as categories.
    sizes
        As `survivor.records.Records.sizes`.
    rules
        As `survivor.records.Records.rules`.
    problems
        How many problems there are of each code, also of those that are not listed.
    deaths
        Deaths with the likely cause of each, as risk intervals of tagged seedlings with the column ``cause``;
        None of counts.
    plants
        As `survivor.records.Records.plants`, of tagged seedlings; None of counts.
    lost
        As `survivor.records.Records.sites_with_lost_plants`.
    """

    under: Mapping[Rule, pd.DataFrame]
    sizes: Mapping[str, int]
    rules: pd.DataFrame
    problems: pd.Series[int]
    deaths: pd.DataFrame | None = None
    plants: pd.DataFrame | None = None
    lost: tuple[str, ...] = ()

    def renamed(self, words: Words, order: Sequence[str]) -> Kept:
        """Return the same under other names (`survivor.records.Records.renamed`)."""
        under = {
            rule: packed(ordered(in_words(unpacked(table), words), order))
            for rule, table in self.under.items()
        }
        deaths = None if self.deaths is None else in_words(self.deaths, words)
        plants = None if self.plants is None else ordered(in_words(self.plants, words), ("site", "method"))
        return replace(self, under=under, deaths=deaths, plants=plants, lost=tuple(map(words, self.lost)))

    def intervals(self, rule: Rule) -> pd.DataFrame:
        """Give the risk intervals under a rule that is not the reported one.

        Raises
        ------
        RecordsError
            When it is none of those kept.
        """
        if rule not in self.under:
            raise RecordsError(
                "a register is kept under the rules that a report asks for, one changed at a time",
                where=f"missing {rule[0]}, unknown {rule[1]}",
                mend="change [rules] missing in the study file, and load it again",
            )
        return unpacked(self.under[rule])


@dataclass(frozen=True)
class Alike:
    """Records of one seedling for each history, and how many seedlings have it.

    Attributes
    ----------
    rows
        Their records, with the column ``plants``.
    number
        How many seedlings, by entry.
    """

    rows: pd.DataFrame
    number: pd.Series[int]


def alike(rows: pd.DataFrame, traits: Iterable[str], at_least_cm: float | None) -> Alike:
    """Keep the records of one seedling for each history.

    Parameters
    ----------
    rows
        Visit records, those that say nothing of survival too: entry, name, facts and `_HISTORY`.
    traits
        Columns that explain survival.
    at_least_cm
        Height that the study file asks about; None: none.
    """
    codes, entries = pd.factorize(rows["entry"])
    order = np.argsort(codes, kind="stable")
    rows, codes = rows.iloc[order], codes[order]
    facts = ("name", "species", "cohort", "method", "planted_date", "weed_free_radius_m", *traits)
    columns = [rows[name] for name in dict.fromkeys((*facts, *_HISTORY)) if name in rows.columns]
    columns += [rows[name].notna() for name in ("height_cm", *_OF_PLACE) if name in rows.columns]
    if at_least_cm is not None and "height_cm" in rows.columns:
        columns.append(rows["height_cm"] >= at_least_cm)
    row_code = row_codes([_comparable(column) for column in columns], in_order=False)[0]
    history, first, place = same_histories(codes, row_code)
    opening = np.concatenate([[True], codes[1:] != codes[:-1]])
    times = rows[TIMES].to_numpy()[opening] if TIMES in rows.columns else None
    number: pd.Series[int] = pd.Series(np.bincount(history, times).astype(int), index=entries[first])
    rows = _means(rows, history[codes], place)
    kept = np.zeros(len(history), dtype=bool)
    kept[first] = True
    rows = rows[kept[codes]].drop(columns=list(_OF_ONE), errors="ignore")
    return Alike(rows.assign(**{PLANTS: rows["entry"].map(number)}), number)


def _comparable(column: pd.Series[Any]) -> pd.Series[Any] | Codes:
    """Give a column that tells rows apart; texts are compared once, and a blank is an empty text."""
    if column.dtype != object:
        return column
    codes, values = factorized(column, use_na_sentinel=False)
    texts = np.array(["" if pd.isna(value) else str(value) for value in values], dtype=object)
    return np.asarray(pd.factorize(texts)[0][codes], dtype=np.intp)


def _means(rows: pd.DataFrame, history: np.ndarray[Any, Any], place: np.ndarray[Any, Any]) -> pd.DataFrame:
    """Give a height the mean of those that it stands for, and what is of the plot the mean of its visit."""
    more = {}
    if "height_cm" in rows.columns:
        more["height_cm"] = rows["height_cm"].groupby([history, place]).transform("mean")
    for name in (name for name in _OF_PLACE if name in rows.columns and not is_text(rows[name])):
        by = [rows["name"], rows["cohort"], rows["visit"], rows["date"].where(rows["visit"] == "")]
        mean = rows[name].groupby(by, dropna=False).transform("mean")
        more[name] = mean.where(rows[name].notna())
    return rows.assign(**more)


def intervals_of(
    past: Histories, kept: Alike, traits: tuple[str, ...], settings: Settings
) -> tuple[dict[Rule, pd.DataFrame], dict[str, int]]:
    """Make the risk intervals under each rule (`rules_kept`), a row a past and stretch; and `sizes`.

    Parameters
    ----------
    past
        Histories of all seedlings.
    kept
        The seedlings that stand for all.
    traits
        Columns that explain survival.
    settings
        The study file.
    """
    number, visits = kept.number, kept.rows
    # Numbers in the order of the rows to be made.
    own_entries = past.entries[past.entries.index.isin(number.index)]
    number = number.reindex(own_entries.sort_values(list(INTERVAL_ORDER[:-1]), kind="stable").index)
    place = pd.Series(np.arange(len(number)), index=number.index)
    rows = past.rows.assign(entry=past.rows["entry"].map(place))
    rows = rows[rows["entry"].notna()].reset_index(drop=True).astype({"entry": np.int64})
    own = replace(past, rows=rows, entries=own_entries.set_axis(place.reindex(own_entries.index).to_numpy()))
    times = number.to_numpy()
    facts = packed(_facts(own.entries.sort_index(), traits, settings), but=("tag",))
    told = [facts[name] for name in facts.columns if name != "tag"]
    if "cause" in visits.columns and bool((visits["cause"].fillna("") != "").any()):
        told.append(likely_causes(own.entries.sort_index(), visits))
    alike = row_codes(told, in_order=False)[0]
    made: dict[Rule, pd.DataFrame] = {}
    counted: dict[str, int] = {}
    rules = rules_kept(settings.rules)
    for rule, followed in zip(rules, tagged.follow_each(own, rules), strict=True):
        counted = counted or tagged.sizes(own, followed, number.reset_index(drop=True))
        of_each = times[followed.intervals["entry"]]
        stretches = followed.intervals.assign(at_risk=of_each, died=followed.intervals["died"] * of_each)
        table = with_facts(one_a_past(stretches, alike), facts, traits)
        made[rule] = packed(in_columns(table, traits, settings), but=("tag",))
    return made, counted


def _facts(entries: pd.DataFrame, traits: Sequence[str], settings: Settings) -> pd.DataFrame:
    """Take what risk intervals tell of a seedling; a preparation not of the study file is blank."""
    facts = entries[list(dict.fromkeys((*ENTRY_GROUP, "weed_free_radius_m", *traits)))]
    known = {*(method.name for method in settings.methods), settings.design.usual_practice}
    if not settings.methods:
        return facts
    return facts.assign(method=facts["method"].where(facts["method"].isin(known)))


def packed(frame: pd.DataFrame, but: Sequence[str] = ()) -> pd.DataFrame:
    """Hold texts as categories: a table that is kept beside others."""
    coded = {
        str(name): frame[name].cat.remove_unused_categories() for name in frame.select_dtypes("category")
    }
    texts = [name for name in frame.columns if frame[name].dtype == object and name not in but]
    return frame.assign(**coded, **{name: _as_categories(frame[name]) for name in texts})


def _as_categories(column: pd.Series[Any]) -> pd.Series[Any]:
    codes, texts = factorized(column, sort=True)
    return pd.Series(pd.Categorical.from_codes(codes, pd.Index(texts)), column.index)


def unpacked(frame: pd.DataFrame, but: Sequence[str] = ("method",)) -> pd.DataFrame:
    """Give texts held as categories as texts; the preparations of intervals keep their order."""
    coded = [name for name in frame.select_dtypes("category") if name not in but]
    return frame.assign(**{str(name): frame[name].astype(object) for name in coded})
