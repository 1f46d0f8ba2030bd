"""The risk-interval table: what every curve and model reads.

One row is a group of ``at_risk`` seedlings seen alive at ``start_day`` and looked
at again at ``stop_day``, of which ``died`` were found dead. Days count from
planting; the convention is (start, stop]: a seedling found dead at ``stop_day``
died after ``start_day`` and on or before ``stop_day``.

A frame with ``start_day, stop_day, at_risk, died`` alone is a valid table; the
other columns (``survivor.vocabulary.INTERVAL_COLUMNS``) are used where present. Last
comes ``dry_season``, where one is known: its first and last day as ``12-01 to 03-31``, one
text that no spreadsheet takes for a date. Models place the pieces of their baseline by it.
"""

from __future__ import annotations

import calendar
import datetime as dt
from collections.abc import Iterable, Iterator, Sequence
from itertools import count
from numbers import Real
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import sparse
from scipy.special import gammaln

from survivor.arguments import several
from survivor.arrays import Codes, Floats, factorized
from survivor.errors import IntervalsError, SurvivorError
from survivor.vocabulary import INTERVAL_KEYS, PLOT_KEY

NEEDED = ("start_day", "stop_day", "at_risk", "died")
ENTRY_GROUP = (*INTERVAL_KEYS, "species", "method", "cohort", "planted_date")


_MOST_CODES = 2**62  # combined codes stay within 64 bits
_WHOLE = 1e-9  # how far a count may lie from a whole number by rounding
_MANY = 20_000  # rows from which it pays to join single seedlings
_SINGLE = 1.5  # mean number at risk up to which rows are taken as single seedlings
_PADDED = 4  # how many times rows may grow when runs of them are made equally long
_SMALL = 300  # rows up to which looking each up in a dictionary is quicker than a table of pandas
_FEW = 5_000  # rows up to which sorting them is quicker than a table of their values


def dry_seasons(planted: dt.date, start: str, end: str) -> Iterator[tuple[dt.date, dt.date]]:
    """First and last day of the dry seasons from the first that is not over at planting, without end.

    ``start`` and ``end`` are ``MM-DD``; 29 February is the 28th where there is none.
    """
    for year in count(planted.year - 1):
        last = _on(year + (end < start), end)
        if last >= planted:
            yield _on(year, start), last


def _on(year: int, month_day: str) -> dt.date:
    month, day = (int(part) for part in month_day.split("-"))
    return dt.date(year, month, min(day, calendar.monthrange(year, month)[1]))


def season_words(start: str, end: str) -> str:
    """Write a dry season as the column ``dry_season`` holds it, its days as ``MM-DD``."""
    return f"{start} to {end}"


_MOST = 2.0**53  # of whole numbers: beyond it neighbours are one to a computer


def check_intervals(frame: pd.DataFrame) -> None:
    """Raise unless ``frame`` is a risk-interval table.

    Parameters
    ----------
    frame
        Risk intervals; times in days since planting, counts in seedlings.

    Raises
    ------
    IntervalsError
        Naming the first row and column that break a rule: it is no table, a needed
        column is absent, a time or count is blank or not finite, a count is not whole or beyond all counting,
        stop is not after start, counts are negative, nobody is at risk, more died than
        were at risk, or two rows of one tag overlap.
    """
    if not isinstance(frame, pd.DataFrame):
        raise IntervalsError(
            f"risk intervals are a pandas DataFrame, not {type(frame).__name__}",
            where="risk intervals",
            mend="give study.first_plants, or a DataFrame with start_day, stop_day, at_risk and died",
        )
    absent = [name for name in NEEDED if name not in frame.columns]
    if absent:
        raise IntervalsError(
            f"these columns are needed and absent: {', '.join(absent)}",
            where="risk intervals",
            mend="give start_day and stop_day in days since planting, at_risk and died as counts",
        )
    if frame.empty:
        raise IntervalsError(
            "there is no risk interval", where="risk intervals", mend="see the problems in the records"
        )
    for name in NEEDED:
        if not pd.api.types.is_numeric_dtype(frame[name]) or frame[name].dtype.kind == "c":
            strange = frame[name].map(lambda value: not isinstance(value, Real))
            if frame[name].dtype == object and strange.any():
                _refuse(frame, strange, name, "the column is not numeric", "give numbers")
            raise IntervalsError("the column is not numeric", where=f"column {name}", mend="give numbers")
        if frame[name].dtype.kind in "iu" and isinstance(frame[name].dtype, np.dtype):
            continue  # none of these is blank, endless or parted
        _refuse(frame, frame[name].isna(), name, "the value is blank", "give a number or leave the row out")
        endless = frame[name].abs() == np.inf
        mend = "give the day or count that was seen; a seedling alive at its last visit just ends there"
        _refuse(frame, endless, name, "the value is not finite", mend)
        if name not in NEEDED[2:]:
            continue
        parted = (frame[name] - frame[name].round()).abs() > _WHOLE
        _refuse(frame, parted, name, "a count of seedlings is whole", "give whole seedlings, not shares")
    start, stop = frame["start_day"], frame["stop_day"]
    _refuse(frame, start < 0, "start_day", "the interval starts before planting", "count days from planting")
    _refuse(
        frame,
        stop <= start,
        "stop_day",
        "the interval does not stop after it starts",
        "check the visit dates",
    )
    _refuse(
        frame, frame["at_risk"] > _MOST, "at_risk", "more than can be counted", "give seedlings as counted"
    )
    _refuse(frame, frame["at_risk"] <= 0, "at_risk", "nobody is at risk", "leave the row out")
    _refuse(frame, frame["died"] < 0, "died", "a negative count", "give a count of 0 or more")
    _refuse(
        frame, frame["died"] > frame["at_risk"], "died", "more died than were at risk", "check the counts"
    )
    if "tag" in frame.columns:
        _refuse_overlap(frame)


def _refuse(frame: pd.DataFrame, wrong: pd.Series[bool], column: str, what: str, mend: str) -> None:
    if wrong.any():
        label = frame.index[wrong.to_numpy()][0]
        value = frame.loc[label, column]
        raise IntervalsError(f"{what}: {value}", where=f"row {label}, column {column}", mend=mend)


def _refuse_overlap(frame: pd.DataFrame) -> None:
    keys = [frame[name] for name in (*INTERVAL_KEYS, "cohort") if name in frame.columns]
    start, stop = (frame[name].to_numpy(dtype=float) for name in ("start_day", "stop_day"))
    tagged = ~blank_names(frame["tag"])
    first = new_runs(keys)
    same = np.concatenate([~first[1:], [False]])
    order: slice | Codes = slice(None)
    if not _together(keys, first) or (same[:-1] & (start[1:] < start[:-1])).any():
        codes = row_codes(keys, in_order=False)[0]
        order = np.lexsort((start, codes))
        same = np.concatenate([np.diff(codes[order]) == 0, [False]])
    begins, ends = start[order], stop[order]
    overlap = np.concatenate([[False], same[:-1] & (begins[1:] < ends[:-1])]) & tagged[order]
    if overlap.any():
        ordered = frame.iloc[order]
        wrong = pd.Series(overlap, index=ordered.index)
        _refuse(ordered, wrong, "start_day", "two intervals of one tag overlap", "look for a tag used twice")


def new_runs(columns: Sequence[pd.Series[Any]]) -> NDArray[np.bool_]:
    """Whether a row differs from the row before in some column; True for the first row."""
    new = np.zeros(len(columns[0]), dtype=bool)
    new[:1] = True
    for column in columns:
        new[1:] |= _differs(column)
    return new


def _differs(column: pd.Series[Any]) -> NDArray[np.bool_]:
    """Whether each value but the first differs from the one before; a blank is like a blank."""
    if isinstance(column.dtype, pd.CategoricalDtype):
        array = column.cat.codes.to_numpy()
    elif pd.api.types.is_extension_array_dtype(column.dtype):
        array = pd.factorize(column)[0]
    else:
        array = column.to_numpy()
    try:
        new: NDArray[np.bool_] = np.asarray(array[1:] != array[:-1], dtype=bool)
    except TypeError:  # a missing value cannot be compared
        return np.asarray(np.diff(pd.factorize(column)[0]) != 0)
    if array.dtype == object:  # nor is one without a value like itself
        turns = np.flatnonzero(new) + 1
        both = pd.isna(array[turns]) & pd.isna(array[turns - 1])
        new[turns[both] - 1] = False
    return new


def refuse_blank_places(
    frame: pd.DataFrame, kind: type[SurvivorError], *columns: str | Sequence[str] | None
) -> None:
    """Raise where some rows name no plot, site or other place asked for: together they would count as one.

    Parameters
    ----------
    frame
        Risk intervals.
    kind
        Class of the error.
    columns
        As asked for as cluster and strata; None: none. One that is absent is left to whoever reads it.
    """
    asked = [name for some in columns if some is not None for name in whole_names(frame, some)[0]]
    for name in dict.fromkeys(asked):
        if name not in frame.columns:
            continue
        blank = blank_names(frame[name]) if name in ("site", "plot") else frame[name].isna().to_numpy()
        if blank.any() and not blank.all():
            rows = int(blank.sum())
            raise kind(
                f"{rows} row{'s' if rows != 1 else ''} of {len(frame)} have no {name}, the first in row "
                f"{frame.index[blank][0]}",
                where=f"column {name}",
                mend=f"fill in the {name}, or leave those rows out; together they would count as one {name}",
            )


def blank_names(column: pd.Series[Any]) -> NDArray[np.bool_]:
    """Whether each value is absent or an empty text, shape (n,)."""
    begins = np.flatnonzero(new_runs([column]))
    values = column.iloc[begins]
    blank = values.isna().to_numpy() | (values == "").to_numpy(dtype=bool, na_value=False)
    return np.repeat(blank, np.diff(np.append(begins, len(column))))


def _run_codes(columns: Sequence[pd.Series[Any]], begins: Codes) -> tuple[Codes, Codes]:
    """Codes of the rows at which runs begin, and the places of their first."""
    return row_codes([column.iloc[begins] for column in columns], in_order=False)


def _together(columns: Sequence[pd.Series[Any]], new: NDArray[np.bool_]) -> bool:
    """Whether rows alike in some columns stand one after the other; ``new`` from ``new_runs``."""
    begins = np.flatnonzero(new)
    return len(_run_codes(columns, begins)[1]) == len(begins)


def _distinct(columns: Sequence[pd.Series[Any]]) -> int:
    """Count the distinct rows of some columns."""
    return len(_run_codes(columns, np.flatnonzero(new_runs(columns)))[1])


def group_codes(frame: pd.DataFrame, columns: Sequence[str]) -> tuple[Codes, pd.DataFrame]:
    """Give each distinct combination of ``columns`` one integer, in sorted order.

    Returns
    -------
    codes, levels
        ``codes`` has one integer a row; ``levels`` one row a group. A blank is a
        level of its own, so no row is dropped.
    """
    codes, first = row_codes([frame[name] for name in columns])
    return codes, pd.DataFrame({name: frame[name].array.take(first) for name in columns})


def row_codes(
    columns: Iterable[pd.Series[Any] | NDArray[Any]], *, in_order: bool = True
) -> tuple[Codes, Codes]:
    """Give each distinct row of some columns one integer.

    Grouping a frame does the same at many times the cost where rows are few, as in
    simulation and where a model is fitted again and again.

    Parameters
    ----------
    columns
        Of equal length n.
    in_order
        Number rows as the columns sort, the first column first and blanks last; else as
        they come.

    Returns
    -------
    codes, first
        Shape (n,); and the place of the first row of each code.
    """
    key, size = np.zeros(0, dtype=np.int64), 1
    for place, column in enumerate(columns):
        codes, count = _value_codes(column, in_order)
        if place and size * count > _room(key):
            key, size = _dense(key, size, size * count > _MOST_CODES)
        if place:
            key = key * count
            key += codes
        else:
            key = codes
        size *= count
    few = len(key) <= _FEW
    if not few and _rises(key):
        every = np.arange(len(key))
        return every, every
    if not few and size <= _room(key):
        return _by_table(key, size, in_order)
    if not in_order or not few:
        codes, values = pd.factorize(key)
        # Codes come in the order of their first rows: each of those is the highest so far.
        highest = np.maximum.accumulate(codes)
        first = np.flatnonzero(np.concatenate([[True], highest[1:] > highest[:-1]])[: len(codes)])
        if in_order:
            order = np.argsort(values)
            codes, first = _ranks(order)[codes], first[order]
    else:
        _, first, codes = np.unique(key, return_index=True, return_inverse=True)
    return codes.astype(np.intp, copy=False), first.astype(np.intp, copy=False)


def in_order_of(frame: pd.DataFrame, columns: Iterable[str]) -> Codes:
    """Give the places of the rows as they sort by some columns, equal ones as they stand and blanks last."""
    return np.argsort(row_codes([frame[name] for name in columns])[0], kind="stable")


def _room(key: NDArray[np.int64]) -> int:
    """Size up to which a table of all keys there may be is quicker than looking each up."""
    return 4 * len(key)


def _rises(key: NDArray[np.int64]) -> bool:
    """Whether every key is above the one before, so that none comes twice."""
    return all(bool((part[1:] > part[:-1]).all()) for part in (key[:_FEW], key))


def _by_table(key: NDArray[np.int64], size: int, in_order: bool) -> tuple[Codes, Codes]:
    """Codes and first rows of keys below ``size``, by a table of the first row of each."""
    table = np.full(size, -1, dtype=np.intp)
    table[key[::-1]] = np.arange(len(key) - 1, -1, -1)
    there = np.flatnonzero(table >= 0)
    first = table[there]
    order = np.arange(len(first)) if in_order else np.argsort(first)
    table[there] = _ranks(order)
    return table[key], first[order]


def _ranks(order: Codes) -> Codes:
    """Place of each in an order."""
    rank = np.empty(len(order), dtype=np.intp)
    rank[order] = np.arange(len(order))
    return rank


def _value_codes(column: pd.Series[Any] | NDArray[Any], in_order: bool) -> tuple[NDArray[Any], int]:
    """Integer of each value, blanks the last of all, and how many integers there may be."""
    found: NDArray[Any]
    if isinstance(column, pd.Series) and isinstance(column.dtype, pd.CategoricalDtype):
        found, known = column.cat.codes.to_numpy(dtype=np.int64), len(column.cat.categories)
    elif (whole := _whole_numbers(column)) is not None:
        return whole, int(whole.max()) + 1
    elif len(column) <= _SMALL and (sorted_few := _few_codes(column)) is not None:
        return sorted_few
    else:
        codes, values = factorized(column, sort=in_order)
        found, known = codes.astype(np.int64, copy=False), len(values)
    blank = found < 0
    if blank.any():
        found = np.where(blank, known, found)
    return found, known + 1


def _few_codes(column: pd.Series[Any] | NDArray[Any]) -> tuple[NDArray[Any], int] | None:
    """Codes of a short column of texts, numbers or days, as they sort; None for all else."""
    if not isinstance(column.dtype, np.dtype):
        return None
    plain = np.asarray(column)
    if plain.dtype.kind == "O":
        values = plain.tolist()
        if any(type(value) is not str for value in values):
            return None
        place = {text: number for number, text in enumerate(sorted(set(values)))}
        return np.array([place[value] for value in values], dtype=np.int64), len(place) + 1
    if plain.dtype.kind not in "iufM":
        return None
    distinct, codes = np.unique(plain, return_inverse=True)  # with a blank the last of all
    blank = len(distinct) > 0 and bool(pd.isna(distinct[-1]))
    return codes.astype(np.int64, copy=False), len(distinct) + (not blank)


def _whole_numbers(column: pd.Series[Any] | NDArray[Any]) -> NDArray[np.int64] | None:
    """Small whole numbers from 0 up, as most days and codes are; None for all else."""
    plain = isinstance(column.dtype, np.dtype) and column.dtype.kind in "iuf"
    values = np.asarray(column) if plain else np.empty(0)
    if len(values) <= _FEW or not 0 <= values.min() <= values.max() <= len(values):
        return None
    whole = values.astype(np.int64, copy=False)
    if values.dtype.kind == "f" and not np.array_equal(whole, values):
        return None
    return whole


def _dense(key: NDArray[np.int64], size: int, needed: bool = True) -> tuple[NDArray[np.int64], int]:
    """Give keys below ``size`` numbers without gaps, in order; large ones only where ``needed``."""
    if size <= _room(key):
        there = np.zeros(size, dtype=bool)
        there[key] = True
        rank = np.cumsum(there) - 1
        return rank[key], int(rank[-1]) + 1
    if not needed:
        return key, size
    values, codes = np.unique(key, return_inverse=True)
    return codes.astype(np.int64), len(values)


def cluster_columns(frame: pd.DataFrame, cluster: str | Sequence[str]) -> list[str]:
    """Columns that name a cluster: ``plot`` means site, block and plot where present."""
    asked, absent = whole_names(frame, cluster)
    if absent or not asked:
        raise IntervalsError(
            f"the intervals have no column {', '.join(absent) or cluster!r} to tell clusters apart",
            where="risk intervals",
            mend="name a column of the table as cluster, or cluster=None where rows are independent",
        )
    return asked


def whole_names(frame: pd.DataFrame, columns: str | Sequence[str]) -> tuple[list[str], list[str]]:
    """Columns asked for, a plot or block with the columns that its label repeats across; those absent."""
    asked = several(columns, "columns", IntervalsError, "give the name of a column, or a list of names")
    strange = [name for name in asked if not isinstance(name, str)]
    if strange:
        raise IntervalsError(
            f"{strange[0]!r} is no name of a column", where="columns", mend="give names of columns, as text"
        )
    # Site and block go with the label, which repeats across them; without it they are no plot.
    if asked == ["plot"]:
        asked = [*(name for name in PLOT_KEY[:2] if name in frame.columns), "plot"]
    elif asked == ["block"]:
        asked = [*(name for name in PLOT_KEY[:1] if name in frame.columns), "block"]
    return asked, [name for name in asked if name not in frame.columns]


def entries(frame: pd.DataFrame) -> pd.DataFrame:
    """Rows at which each group of seedlings entered: the plants that the table speaks of.

    ``at_risk`` summed over these rows is the number of seedlings. Tagged plants
    enter once each; counts enter once per plot, species, method and planting.
    """
    return frame[_entered(frame)]


def _entered(frame: pd.DataFrame) -> NDArray[np.bool_]:
    keys = [name for name in ENTRY_GROUP if name in frame.columns]
    start = frame["start_day"].to_numpy(dtype=float)
    columns = [frame[name] for name in keys]
    if columns and _together(columns, new := new_runs(columns)):
        first, codes = np.minimum.reduceat(start, np.flatnonzero(new)), np.cumsum(new) - 1
    else:
        codes = row_codes(columns, in_order=False)[0] if keys else np.zeros_like(start, int)
        first = np.full(codes.max(initial=-1) + 1, np.inf)
        np.minimum.at(first, codes, start)
    return np.asarray(start == first[codes])


def tally(frame: pd.DataFrame) -> dict[str, int]:
    """Count seedlings, deaths, plots and sites of a table.

    Returns
    -------
    dict
        ``seedlings, died, plots, sites``; plots and sites are 0 where no column tells.
    """
    plot_keys = [name for name in PLOT_KEY if name in frame.columns]
    return {
        "seedlings": int(frame["at_risk"].to_numpy()[_entered(frame)].sum()),
        "died": int(frame["died"].sum()),
        "plots": _distinct([frame[name] for name in plot_keys]) if "plot" in plot_keys else 0,
        "sites": _distinct([frame["site"]]) if "site" in frame.columns else 0,
    }


def sum_by(codes: Codes, values: NDArray[Any], count: int = 0) -> NDArray[np.float64]:
    """Sum ``values``, shape (n,) or (n, q), over equal ``codes``: max(count, largest code + 1) rows."""
    if values.ndim == 1:
        return np.asarray(np.bincount(codes, weights=values, minlength=count), dtype=np.float64)
    sums = np.zeros((max(count, int(codes.max(initial=-1)) + 1), values.shape[1]))
    for place, column in enumerate(values.T):
        sums[:, place] = np.bincount(codes, weights=column, minlength=len(sums))
    return sums


def sums_of(codes: Codes, count: int) -> sparse.csr_array:
    """Matrix that sums rows by code, shape (count, n): for sums of many columns."""
    every = np.arange(len(codes))
    return sparse.csr_array((np.ones(len(codes)), (codes, every)), shape=(count, len(codes)))


def running(values: NDArray[np.float64], sizes: Codes) -> NDArray[np.float64]:
    """Sum ``values``, shape (n,) or (n, q), up to each row, anew for each run of ``sizes`` rows."""
    width = int(sizes.max())
    if width * len(sizes) > _PADDED * len(values):
        return np.concatenate([np.cumsum(run, axis=0) for run in np.split(values, np.cumsum(sizes)[:-1])])
    # Runs of much the same length: one sum of all of them, the short filled up with noughts.
    run = np.repeat(np.arange(len(sizes)), sizes)
    place = np.arange(len(values)) - np.repeat(np.cumsum(sizes) - sizes, sizes)
    filled = np.zeros((len(sizes), width, *values.shape[1:]))
    filled[run, place] = values
    return np.asarray(np.cumsum(filled, axis=1)[run, place])


def less_means(values: Floats, codes: Codes) -> Floats:
    """Values, shape (n,) or (n, q), less their mean over equal ``codes``."""
    number = np.maximum(np.bincount(codes), 1.0)
    return np.asarray(values - (sum_by(codes, values).T / number).T[codes])


def log_ways(number: Floats, counted: Floats, weight: Floats | None = None) -> float:
    """Binomial constant of a log-likelihood: the sum over rows of the log of ``number`` over ``counted``."""
    ways = gammaln(number + 1) - gammaln(counted + 1) - gammaln(number - counted + 1)
    return float(np.sum(ways if weight is None else weight * ways))


def alike(frame: pd.DataFrame, columns: Sequence[str]) -> tuple[pd.DataFrame, Codes, Codes]:
    """Join rows alike in ``columns``, ``start_day`` and ``stop_day``, where rows are of tagged seedlings.

    Nothing that a likelihood or a score by cluster reads is lost when ``columns`` hold all
    that the model reads. A table of counts, or one of few rows, is left as it is.

    Parameters
    ----------
    frame
        Risk intervals, n rows.
    columns
        Names of columns to keep apart.

    Returns
    -------
    frame, first, code
        Joined rows with these columns and the counts; the place of the first row of each in
        ``frame``; and the place of each row of ``frame`` among the joined, shape (n,).
    """
    count, at_risk = len(frame), frame["at_risk"].to_numpy(dtype=float)
    tagged = "tag" in frame.columns and not blank_names(frame["tag"][:1]).any()
    single = tagged or at_risk.sum() <= _SINGLE * count
    if count < _MANY or not single:
        return frame, np.arange(count), np.arange(count)
    traits = [frame[name] for name in dict.fromkeys(columns) if name not in NEEDED]
    key = [frame[name].to_numpy() for name in ("start_day", "stop_day")]  # few values: the first to read
    if traits:
        # Seedlings of a plot stand together in most tables: their names are read once a run.
        new = new_runs(traits)
        begins = np.flatnonzero(new)
        codes = _run_codes(traits, begins)[0]
        key.append(np.repeat(codes, np.diff(np.append(begins, count))))
    code, first = row_codes(key, in_order=False)
    joined = frame[[column.name for column in traits] + ["start_day", "stop_day"]].iloc[first]
    sums = {name: sum_by(code, frame[name].to_numpy(dtype=float)) for name in ("at_risk", "died")}
    return joined.assign(**sums), first, code


def collapse_rows(
    key: NDArray[Any], at_risk: NDArray[np.float64], died: NDArray[np.float64]
) -> tuple[Codes, NDArray[np.float64], NDArray[np.float64]]:
    """Sum counts over equal integer keys, on arrays.

    Parameters
    ----------
    key
        One integer a row; rows with the same key are alike in all that matters.
    at_risk, died
        Counts, one a row.

    Returns
    -------
    first, at_risk, died
        Index of one row for each distinct key (keys in sorted order) and the sums.
    """
    _, first, inverse = np.unique(key, return_index=True, return_inverse=True)
    count = len(first)
    return (first.astype(np.intp), sum_by(inverse, at_risk, count), sum_by(inverse, died, count))
