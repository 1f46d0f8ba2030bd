"""Raw records to tidy ones: typed columns, our words, findings on cells."""

from __future__ import annotations

import difflib
import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final, Literal

import numpy as np
import pandas as pd

from survivor.files import cells
from survivor.files.headers import BY_STUDY_FILE, FORGIVING, MATCH_COLUMNS, NOT_USED, SAME_WORD
from survivor.progress import counted_off
from survivor.records.checks import cells as check
from survivor.records.checks import order as check_order
from survivor.records.problems import SAID, Source, Texts, find, gather, none_found, say
from survivor.records.sheets import VISIT_WORDS, RawSheet
from survivor.records.times import LIKE, TIMES, times_of
from survivor.records.times import often as how_often
from survivor.records.words import (
    COHORT_WORDS,
    COUNT_WORDS,
    DATE_WORDS,
    KEY_WORDS,
    MEASURE_WORDS,
    RADIUS_WORDS,
    STATE_WORDS,
    folded_name,
    folded_works,
    spoken,
    trait_name,
)
from survivor.vocabulary import FIRST_PLANTING

UNREADABLE: Final = "?"  # a word that nobody has explained
BLANK: Final = ""

_REPLANT: Final = re.compile(
    r"replant|replaced|replacement|new (?:plant|seedling)|infill|in place of|refill", re.IGNORECASE
)
_LATER: Final = re.compile(
    r"\b(?:not|no|needs?|should|could|to be|must|will|for)\b.{0,12}(?:replant|replac|infill|refill)",
    re.IGNORECASE,
)
_NUMBERS: Final = frozenset({"1", "0", "true", "false"})  # read as alive and dead
_SHORTEST_WORD: Final = 4  # of a state that a slip is looked for; shorter ones are near to too much
_ALIKE: Final = 0.75

_LENGTHS: Final = ("depth_cm", "depth_m", "width_cm", "width_m")  # of a work
_TEXT: Final = ("site", "block", "plot", "tag", "species", "method", "visit", "cause")


@dataclass(frozen=True)
class Tidy:
    """Typed records.

    Attributes
    ----------
    rows
        record, source, row, total, and one typed column a word.
    found
        Findings on cells.
    sources
        Where the records came from; ``source`` is an index into it.
    matches
        file, sheet, header, column, how; one row a header, and one a word for a state.
    """

    rows: pd.DataFrame
    found: pd.DataFrame
    sources: tuple[Source, ...]
    matches: pd.DataFrame


def tidy_plots(raw: RawSheet, kind: str) -> Tidy:
    """Type the plot sheet; ``kind`` is "tagged" or "counts"."""
    # Where seedlings are tagged, the number planted only helps to check the tags.
    rows, found = _typed(raw, raw.words, measures=("planted",) if kind == "tagged" else ())
    found += [check.check_keys(rows, ["plot"])]
    return _put_together(raw, rows, found, raw.matches)


def tidy_visits(raw: RawSheet, kind: str) -> Tidy:
    """Type a sheet of visits; ``kind`` is "tagged" or "counts"."""
    # In a sheet of seedlings, infill is a word about the seedling; in one of plots, a count.
    told_by = "infill" if kind == "tagged" and "cohort" not in raw.words else "cohort"
    words = [word for word in raw.words if word not in (told_by, "state")]
    # What the answer does not rest on is a measure: a fault in it leaves the record in use.
    rows, found = _typed(raw, words, measures=("planted",) if kind == "tagged" else ("dead",))
    shown: list[tuple[str, str, str, str, str]] = []
    if kind == "tagged":
        rows["state"], wrong = _states(raw, shown)
        if "state" in raw.cells.columns:
            rows["state" + SAID] = cells.texts(raw.cells["state"])
        found.append(wrong)
    rows["cohort"] = FIRST_PLANTING
    if told_by in raw.words:
        rows["cohort"], wrong = _cohorts(raw, told_by, shown)
        found.append(wrong)
    rows = _with_all_columns(rows, kind)
    if kind == "tagged":
        found.append(check.check_heights_of_dead(rows))
        beside = [cells.texts(raw.cells[word]) for word in ("state", "notes") if word in raw.cells.columns]
        rows["replant"] = np.any([cells.of_each(text, _speaks_of_replanting) for text in beside], axis=0)
    says = rows["state"] != BLANK if kind == "tagged" else rows["alive"].notna()
    keys = ["plot", "tag"] if kind == "tagged" else ["plot"]
    if (rows["site"] != BLANK).any():  # else the plot sheet may tell the site
        keys.append("site")
    found += [
        check.check_keys(rows, keys),
        check.check_blank_dates(rows, rows["date_unread"], says),
    ]
    matches = raw.matches
    if shown:
        words_shown = pd.DataFrame(shown, columns=list(MATCH_COLUMNS))
        matches = pd.concat([matches, words_shown], ignore_index=True)
    return _put_together(raw, rows, found, matches)


def tidy_diary(raw: RawSheet) -> Tidy:
    """Type the works diary; a length in metres is brought to centimetres."""
    rows, found = _typed(raw, raw.words, measures=_LENGTHS)
    absent: dict[str, Any] = {
        word: BLANK for word in (*KEY_WORDS, "method", "soil_state") if word not in rows.columns
    }
    absent |= {word: float("nan") for word in ("pass", *_LENGTHS) if word not in rows.columns}
    rows = rows.assign(**absent)
    for length in ("depth", "width"):
        rows[f"{length}_cm"] = rows[f"{length}_cm"].fillna(100 * rows[f"{length}_m"])
    if "date" not in rows.columns:
        rows["date"] = pd.NaT
    rows["date"] = rows["date"].astype("datetime64[ns]")
    others = [*_LENGTHS[1::2], check_order.OTHER_DATE]
    rows = rows.drop(columns=[word for word in others if word in rows.columns])
    return _put_together(raw, rows, found, raw.matches)


def _speaks_of_replanting(text: str) -> bool:
    return _REPLANT.search(text) is not None and _LATER.search(text) is None


def _put_together(
    raw: RawSheet, rows: pd.DataFrame, found: list[pd.DataFrame], matches: pd.DataFrame
) -> Tidy:
    totals = rows.loc[rows["total"], "record"]
    on_records = gather(*found)
    if len(on_records):
        on_records = on_records[~on_records["record"].isin(totals)]
    said = [say("how-read", source=0, how=how) for how in raw.said]
    said += [say("assumed", source=0, assumed=what) for what in raw.sheet.assumed]
    return Tidy(
        rows,
        gather(*said, on_records, check.check_totals(rows)),
        raw.sources,
        matches,
    )


def _typed(
    raw: RawSheet, words: Sequence[str], measures: Sequence[str] = ()
) -> tuple[pd.DataFrame, list[pd.DataFrame]]:
    stands = [word for word in (TIMES, LIKE) if word in raw.cells.columns]
    rows = raw.cells[["record", "source", "row", "line", "total", "note", *stands]]
    columns: dict[str, Any] = {"date_unread": pd.Series(False, index=rows.index)}
    found: list[pd.DataFrame] = []
    swapped = check_order.order_that_fits(
        {word: raw.cells[word] for word in words if word in DATE_WORDS}, raw.sheet.date_order, times_of(rows)
    )
    for word in counted_off(words, f"{len(rows):,} rows of {raw.sources[0].file}, column"):
        column = raw.cells[word]
        # A fault in a cell that holds for all visits of a row is one problem.
        group = "" if word in VISIT_WORDS else _of_line(word)
        if word in DATE_WORDS:
            columns[word], faults = cells.dates(column, raw.sheet.date_order)
            if swapped is not None:
                either = cells.is_two_way(column)
                found.append(check_order.check_date_order(rows, word, cells.texts(column), either, swapped))
                columns[word], faults = (
                    columns[word].where(~either),
                    faults.where(~either, check_order.DATE_ORDER),
                )
            found.append(check.check_dates(rows, word, cells.texts(column), faults, group))
            if word == "date":
                columns[check_order.OTHER_DATE] = check_order.in_other_order(column, raw.sheet.date_order)
                columns["date_unread"] = faults.isin(
                    (cells.AMBIGUOUS, cells.NOT_A_DATE, check_order.DATE_ORDER)
                )
            if word == "planted_date":
                columns[check_order.OTHER_PLANTED] = check_order.in_other_order(column, raw.sheet.date_order)
        elif word in COUNT_WORDS and word not in measures:
            values, faults = cells.numbers(column)
            share = word == "alive" and raw.sheet.counted == "alive per cent"
            if share:
                values, faults = cells.shares(values, faults)
            whole = values.round() if share else values  # a share may be a broken number
            whole, wrong = check.check_counts(rows, word, cells.texts(column), whole, faults, group)
            columns[word] = values.where(whole.notna())
            found.append(wrong)
        elif word in (*COUNT_WORDS, *MEASURE_WORDS, *RADIUS_WORDS, *_LENGTHS, "pass"):
            unit: Literal["cm", "m"] = "cm" if word.endswith("_cm") else "m"
            of_length = word in (*RADIUS_WORDS, *_LENGTHS)
            values, faults = cells.lengths(column, unit) if of_length else cells.numbers(column)
            texts = cells.texts(column)
            columns[word], wrong = check.check_measures(rows, word, texts, values, faults, group)
            found.append(wrong)
        else:
            columns[word] = cells.texts(column)
    for trait in raw.own:
        columns[trait_name(trait)] = _trait_values(cells.texts(raw.cells[trait]))
    rows = pd.concat([rows, pd.DataFrame(columns, index=rows.index)], axis=1)
    if "height_m" in rows.columns:
        metres = rows["height_m"] * 100
        rows["height_cm"] = rows["height_cm"].fillna(metres) if "height_cm" in rows.columns else metres
        rows = rows.drop(columns="height_m")
    return rows, found


def _of_line(word: str) -> Callable[[pd.DataFrame], Texts]:
    return lambda rows: rows["line"].astype(str) + word


def _trait_values(column: pd.Series[Any]) -> pd.Series[Any]:
    """Numbers where every filled cell is one, else text."""
    values, faults = cells.numbers(column)
    return values if (faults == "").all() and values.notna().any() else column


def _with_all_columns(rows: pd.DataFrame, kind: str) -> pd.DataFrame:
    absent: dict[str, Any] = {word: BLANK for word in _TEXT if word not in rows.columns}
    numbers = (
        ("alive", "dead", "planted", "infill", "height_cm") if kind == "counts" else ("planted", "height_cm")
    )
    absent |= {word: float("nan") for word in numbers if word not in rows.columns}
    days = ("planted_date", "planted_until", check_order.OTHER_DATE, check_order.OTHER_PLANTED)
    absent |= {word: np.datetime64("NaT", "ns") for word in days if word not in rows.columns}
    return pd.concat([rows, pd.DataFrame(absent, index=rows.index)], axis=1)


def _states(
    raw: RawSheet, shown: list[tuple[str, str, str, str, str]]
) -> tuple[pd.Series[Any], pd.DataFrame]:
    if "state" not in raw.cells.columns:  # heights only, by a rule of the study file
        return pd.Series(BLANK, index=raw.cells.index, dtype=object), gather()
    words = cells.texts(raw.cells["state"])
    values = _meanings(words, raw.sheet.states, STATE_WORDS, raw, "state", shown)
    unknown = values == UNREADABLE
    asked, meant = _states_meant(words[unknown], raw.sheet.states)
    own_words = {spoken(theirs) for theirs in raw.sheet.states}
    scores = own_words or any(word.isdigit() for word in words[unknown].unique())
    numbers = _NUMBERS - own_words if scores else frozenset[str]()
    bare = cells.of_each(words, lambda word: spoken(word) in numbers)
    number = find(raw.cells, bare, "state-number", "state", value=words, read=values, group=words)
    found = find(
        raw.cells,
        unknown,
        "unknown-state",
        "state",
        value=words,
        asked=words.map(asked),
        meant=words.map(meant),
    )
    return values, gather(number, found)


def _states_meant(unknown: pd.Series[Any], told: Mapping[str, str]) -> tuple[dict[str, str], dict[str, str]]:
    """Give the question and the first mend for words that look like a slip for one state only."""
    ours = {spoken(theirs): str(state) for state, words in STATE_WORDS.items() for theirs in words}
    ours |= {spoken(theirs): state for theirs, state in told.items()}
    known = [theirs for theirs in ours if len(theirs) >= _SHORTEST_WORD]
    asked, mends = {}, {}
    for word in unknown.unique():
        near = difflib.get_close_matches(spoken(word), known, n=3, cutoff=_ALIKE)
        states = {ours[theirs] for theirs in near}
        if len(states) == 1:  # a word near to two states is left to those who wrote it
            (state,) = states
            asked[word] = f"; did you mean {state}?"
            mends[word] = f"write {state} in the sheet if that is meant; else "
    return asked, mends


def _cohorts(
    raw: RawSheet, word: str, shown: list[tuple[str, str, str, str, str]]
) -> tuple[pd.Series[Any], pd.DataFrame]:
    words = cells.texts(raw.cells[word])
    values = _meanings(words, {}, COHORT_WORDS, raw, word, shown)
    found = find(
        raw.cells, values == UNREADABLE, "unknown-cohort", word, value=words, group=raw.cells["line"]
    )
    return values.where(values != BLANK, FIRST_PLANTING), found


def _meanings(
    column: pd.Series[Any],
    told: Mapping[str, str],
    known: Mapping[Any, Sequence[str]],
    raw: RawSheet,
    word: str,
    shown: list[tuple[str, str, str, str, str]],
) -> pd.Series[Any]:
    """Their words to ours, shown in ``shown``; "" for a blank, "?" for a word not known."""
    forgiving_told = {spoken(theirs): ours for theirs, ours in told.items()}
    forgiving = {spoken(theirs): str(ours) for ours, words in known.items() for theirs in words}
    meaning: dict[str, str] = {}
    for theirs in column.unique():
        key = spoken(theirs)
        if theirs in told or key in forgiving_told:
            meaning[theirs], how = told.get(theirs, forgiving_told.get(key, "")), BY_STUDY_FILE
        elif theirs == BLANK:
            meaning[theirs] = BLANK
            continue
        elif key in forgiving:
            meaning[theirs] = forgiving[key]
            how = SAME_WORD if theirs == forgiving[key] else FORGIVING
        else:
            meaning[theirs], how = UNREADABLE, NOT_USED
        source = raw.sources[0]
        ours = "" if how == NOT_USED else meaning[theirs]
        shown.append((source.file, source.sheet, f"{source.headers.get(word, word)}: {theirs}", ours, how))
    return column.map(meaning)


def stack(parts: Sequence[Tidy], after: Sequence[Tidy | None] = ()) -> Tidy:
    """Put the records of several sheets under each other, numbering records and sources anew.

    Parameters
    ----------
    parts
        The sheets.
    after
        Records and sources that come before; the numbers go on from theirs.
    """
    before = [tidy for tidy in after if tidy is not None]
    first_record, first_source = (
        sum(len(getattr(tidy, part)) for tidy in before) for part in ("rows", "sources")
    )
    rows, found, records, lines = [], [], first_record, 0
    sources: list[Source] = []
    for part in parts:
        shift = first_source + len(sources)
        numbers = {"record": records, "source": shift, "line": lines}
        moved = {word: part.rows[word] + more for word, more in numbers.items() if more}
        rows.append(part.rows.assign(**moved) if moved else part.rows)
        lines = int(rows[-1]["line"].max()) + 1 if len(part.rows) else lines
        if len(part.found):
            record = part.found["record"]
            of_all = record.where(record < 0, record + records)
            found.append(part.found.assign(source=part.found["source"] + shift, record=of_all))
        sources += part.sources
        records += len(part.rows)
    table = pd.concat(rows, ignore_index=True)
    for name in table.columns if len(parts) > 1 else ():
        if cells.is_text(table[name]):  # a column that one of the sheets lacks is blank there
            table[name] = table[name].where(table[name].notna(), BLANK)
    matches = pd.concat([part.matches for part in parts], ignore_index=True)
    return Tidy(table, gather(*found), tuple(sources), matches)


def one_spelling(
    rows: pd.DataFrame, word: str, told: Mapping[str, str] | None = None, listed: Sequence[str] = ()
) -> tuple[pd.Series[Any], pd.DataFrame]:
    """Give words that differ in case and spaces only one spelling, the commonest; and say so.

    Parameters
    ----------
    rows
        Records with the column ``word``.
    told
        Their word -> ours, from the study file: applied first.
    listed
        Spellings of another sheet, which go before the commonest.
    """
    ours_for = {" ".join(theirs.split()).casefold(): ours for theirs, ours in (told or {}).items()}
    fold = folded_works if word == "method" else folded_name if word in KEY_WORDS else str.casefold
    best = {fold(ours): ours for ours in (*listed, *ours_for.values())}
    often = [str(spelling) for spelling in how_often(rows, word).index]
    for spelling in often:
        best.setdefault(fold(spelling), spelling)
    meaning = {s: best[fold(ours_for.get(s.casefold(), s))] for s in often}
    if all(spelling == ours for spelling, ours in meaning.items()):
        return rows[word], none_found()
    values = rows[word].map(meaning)
    by_rule = cells.of_each(rows[word], lambda text: text.casefold() in ours_for)
    other = pd.Series(values.to_numpy() != rows[word].to_numpy(), index=rows.index)
    found = find(rows, other & ~by_rule, "spelling", word, read=values, group=rows[word])
    return values, gather(found, check.check_renamed(rows, word, values, by_rule))
