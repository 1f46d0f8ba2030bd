"""Tables as they come: pandas of any kind of column, polars, Arrow, Dask; taken as a copy of one's own.

Text may come as Python objects, as pandas' ``string`` or ``str``, or as Arrow; numbers as
NumPy's, as pandas' nullable ones or as Arrow's; ``died`` as True and False. All that the
statistics read is one kind of each: text as objects, numbers as NumPy's, blanks as NaN; in
large tables the names of places and tags as categories. A
table of another library is read through Narwhals. The table given is never changed, nor
does changing it later change what was made of it.
"""

from __future__ import annotations

import threading
from collections.abc import Collection, Iterator, Sequence
from contextlib import contextmanager
from decimal import Decimal
from numbers import Integral, Real
from typing import Any, Final

import numpy as np
import pandas as pd
from pandas.api.types import union_categoricals

from survivor.arrays import Codes
from survivor.errors import IntervalsError
from survivor.intervals import row_codes

_MANY: Final = 20_000  # rows from which names of places are kept as codes
_PLACES: Final = ("site", "block", "plot", "tag")
_COUNTS: Final = ("at_risk", "died")
_NUMBERS: Final = ("start_day", "stop_day", *_COUNTS)
_LONGEST: Final = 40  # rows of one seedling that are compared; one with more stands for itself
#: A pandas DataFrame, or any eager table that Narwhals reads.
Table = Any
_SHARING: Final = "mode.copy_on_write"
_before: list[bool] = []  # one for each that shares at present: what held before it
_alone: Final = threading.Lock()


@contextmanager
def tables_share() -> Iterator[None]:
    """Let pandas' tables share the columns that they do not change, in less time and memory.

    It holds for all of the program, so that it ends when the last of several threads is done.
    """
    if int(pd.__version__.split(".")[0]) > 2:  # always so
        yield
        return
    with _alone:
        _before.append(_before[-1] if _before else pd.get_option(_SHARING))
        pd.set_option(_SHARING, True)
    try:
        yield
    finally:
        with _alone:
            was = _before.pop()
            if not _before:
                pd.set_option(_SHARING, was)


def own_frame(table: Table, apart: Collection[str] = ()) -> pd.DataFrame:
    """Copy a table of risk intervals into a pandas frame whose columns are of plain kinds.

    Parameters
    ----------
    table
        A pandas DataFrame, an eager table that Narwhals reads (polars, Arrow, Modin, cuDF), or a
        Dask DataFrame: of each of its partitions one seedling is taken for each history.
    apart
        Columns that are asked for; where the tag is, every seedling is kept.

    Raises
    ------
    IntervalsError
        When it is no table, or two columns have one name.
    """
    if hasattr(table, "__dask_graph__") and hasattr(table, "to_delayed"):
        table = _from_partitions(table, together="tag" not in apart)
    frame = _from_other(table) if not isinstance(table, pd.DataFrame) else table
    _refuse_twice(frame)
    coded = _places_in_codes(frame)  # read once where they are, and not copied before
    copied = (frame.drop(columns=list(coded)) if coded else frame).copy()
    for place, name in enumerate(frame.columns):
        if name in coded:
            copied.insert(place, name, coded[name])
            continue
        plain = _plain(column := copied[name])
        if plain.dtype == object:
            plain = _as_numbers(plain, whole=name in _NUMBERS)
        if name == "died" and plain.dtype == bool:
            plain = plain.astype(np.int64)
        if plain is not column:
            copied[name] = plain
    return copied


def same_histories(unit: Codes, content: Codes) -> tuple[Codes, Codes, Codes]:
    """Tell which units have the same rows.

    Parameters
    ----------
    unit
        Unit of each row, 0 to U - 1, rows of a unit in one order and together.
    content
        One integer for each content that a row may have.

    Returns
    -------
    history, first, place
        History of each unit, 0 to H - 1; the first unit of each history; place of each row in its unit.
    """
    size = np.bincount(unit)
    place = np.arange(len(unit)) - np.repeat(np.cumsum(size) - size, size)
    longest = min(int(size.max(initial=1)), _LONGEST)
    told = place < longest
    rows = np.full((len(size), longest + 1), -1, dtype=np.int64)
    rows[unit[told], place[told]] = content[told]
    rows[:, longest] = np.where(size > longest, np.arange(len(size)), -1)  # a longer one is like no other
    history, first = row_codes(rows.T + 1)
    return history, first, place


def _from_partitions(table: Table, together: bool) -> pd.DataFrame:
    """Read a Dask table a partition at a time, seedlings of one history together."""
    import dask

    lazy: Any = dask
    parts = table.to_delayed()
    if not together or not {"tag", "plot", *_COUNTS} <= set(table.columns):
        return _stacked(lazy.compute(*parts))
    read = lazy.compute(*(lazy.delayed(_one_a_history)(part) for part in parts))
    # Where a plot lies in several partitions, so may a seedling: its plants are left as they are.
    seen = pd.concat([plots for _, plots in read], ignore_index=True)
    split = seen[seen.duplicated(keep=False)].drop_duplicates()
    if split.empty:
        return _stacked([frame for frame, _ in read])
    again = lazy.compute(*(lazy.delayed(_one_a_history)(part, split) for part in parts))
    return _stacked([frame for frame, _ in again])


def _one_a_history(
    part: pd.DataFrame, alone: pd.DataFrame | None = None
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Take one seedling for each history of a plot, with the number that it stands for; and the plots.

    Parameters
    ----------
    part
        Risk intervals.
    alone
        Plots of which every seedling is kept.
    """
    keys = [name for name in _PLACES[:3] if name in part.columns]
    place = part[keys].astype(object)
    part = part.reset_index(drop=True)
    plots = place.drop_duplicates().reset_index(drop=True)
    if part.empty:
        return part, plots
    who = [name for name in (*_PLACES, "cohort", "planted_date") if name in part.columns]
    part = part.sort_values([*who, "start_day"], kind="stable", ignore_index=True)
    unit = _numbered(part, who)
    alike = [name for name in part.columns if name != "tag"]
    content = _numbered(part, alike)
    if alone is not None:
        whole = pd.MultiIndex.from_frame(part[keys].astype(object)).isin(pd.MultiIndex.from_frame(alone))
        content = np.where(whole, len(part) + unit, content)
    history, first, _ = same_histories(unit, content)
    number = np.bincount(history)
    kept = np.zeros(len(history), dtype=bool)
    kept[first] = True
    mine = kept[unit]
    times = number[history[unit[mine]]]
    rows = part[mine]
    return rows.assign(**{name: rows[name].to_numpy() * times for name in _COUNTS}), plots


def _numbered(rows: pd.DataFrame, columns: list[str]) -> Codes:
    """Give each distinct row of some columns a number, in the order in which they come."""
    groups = rows.groupby(columns, sort=False, dropna=False, observed=True)
    return np.asarray(groups.ngroup(), dtype=np.intp)


def _stacked(parts: Sequence[pd.DataFrame]) -> pd.DataFrame:
    """Put partitions below each other; names held as categories stay so, in the order of the first."""
    filled = [part for part in parts if len(part)] or list(parts[:1])
    coded = [name for name in filled[0].columns if isinstance(filled[0][name].dtype, pd.CategoricalDtype)]
    table = pd.concat([part.drop(columns=coded) for part in filled], ignore_index=True)
    joined = {name: union_categoricals([part[name] for part in filled]) for name in coded}
    return table.assign(**joined)[list(filled[0].columns)]


def _refuse_twice(frame: pd.DataFrame) -> None:
    twice = frame.columns[frame.columns.duplicated()]
    if len(twice):
        raise IntervalsError(
            f"two columns are called {twice[0]}",
            where="risk intervals",
            mend="leave one of them out, or rename it",
        )


def _places_in_codes(frame: pd.DataFrame) -> dict[Any, pd.Series[Any]]:
    """Columns of places and tags of a large table that hold text, as categories."""
    if len(frame) < _MANY:
        return {}
    plain = {name: _plain(frame[name]) for name in _PLACES if name in frame.columns}
    return {name: _in_codes(column) for name, column in plain.items() if column.dtype == object}


def _in_codes(column: pd.Series[Any]) -> pd.Series[Any]:
    """Give names of many rows as categories: texts are read once a run of equal ones, codes ever after."""
    names = column.to_numpy()
    new = np.concatenate([[True], np.asarray(names[1:] != names[:-1], dtype=bool)])
    begins = np.flatnonzero(new)
    levels = pd.Index(names[begins])
    # Nobody reads tags in order, and there may be a million, most of them in one run of rows.
    in_order = column.name != "tag"
    if in_order or not levels.is_unique or levels.hasnans:
        try:
            codes, texts = pd.factorize(names[begins], sort=in_order)
        except TypeError:  # texts and numbers together have no order
            return column.copy()
        levels = pd.Index(texts)
    else:
        codes = np.arange(len(levels))
    every = np.repeat(codes.astype(np.int32), np.diff(np.append(begins, len(names))))
    return pd.Series(pd.Categorical.from_codes(every, levels), column.index, name=column.name)


def _from_other(table: Table) -> pd.DataFrame:
    """Read a table of another library, column by column."""
    import narwhals.stable.v1 as nw
    from narwhals.exceptions import DuplicateError

    try:
        read = nw.from_native(table, eager_only=True)
    except TypeError:
        lazy = "; call .collect() first" if hasattr(table, "collect") else ""
        raise IntervalsError(
            f"risk intervals are a table (pandas, polars or Arrow), not {type(table).__name__}{lazy}",
            where="risk intervals",
            mend="give study.first_plants, or a table with start_day, stop_day, at_risk and died",
        ) from None
    except DuplicateError as fault:
        raise IntervalsError(
            f"two columns have one name: {str(fault).splitlines()[-1].strip(' -')}",
            where="risk intervals",
            mend="leave one of them out, or rename it",
        ) from None
    columns: dict[str, Any] = {}
    for name in read.columns:
        column = read[name]
        if isinstance(column.dtype, nw.Enum):
            levels = column.cat.get_categories().to_list()
            columns[name] = pd.Categorical(column.to_list(), categories=levels)
        elif (
            name in _PLACES and isinstance(column.dtype, nw.String | nw.Categorical) and len(column) >= _MANY
        ):
            columns[name] = _coded_in_arrow(column)
        elif column.dtype.is_numeric() and not column.is_null().any():
            columns[name] = column.to_numpy()
        else:
            columns[name] = column.to_list()
    return pd.DataFrame(columns)


def _coded_in_arrow(column: Any) -> Any:
    """Take the names of many rows as codes, without a text for every row; as texts where Arrow is absent."""
    try:
        arrow = column.to_arrow()
    except (ImportError, ModuleNotFoundError):
        return column.to_list()
    arrow = arrow.combine_chunks() if hasattr(arrow, "combine_chunks") else arrow
    coded = arrow if hasattr(arrow, "dictionary") else arrow.dictionary_encode()
    levels = pd.Index(coded.dictionary.to_pylist(), dtype=object)
    codes = coded.indices.cast("int64").fill_null(-1).to_numpy(zero_copy_only=False)
    order = levels.argsort()
    rank = np.empty(len(levels) + 1, dtype=np.int32)
    rank[order], rank[-1] = np.arange(len(levels)), -1
    return pd.Categorical.from_codes(rank[codes], levels[order]).remove_unused_categories()


def _as_numbers(column: pd.Series[Any], whole: bool) -> pd.Series[Any]:
    """Give numbers that Python keeps one by one (Decimal, fractions, floats) as NumPy's.

    Other columns stay as they are; so do whole numbers, which may be names, but where ``whole`` says not.
    """
    own = column[column.notna()]
    if own.empty or not isinstance(own.iloc[0], Real | Decimal):
        return column
    if not all(isinstance(value, Real | Decimal) for value in own):
        return column
    if not whole and all(isinstance(value, Integral) for value in own):
        return column
    values = [np.nan if blank else float(value) for value, blank in zip(column, column.isna(), strict=True)]
    return pd.Series(values, column.index, name=column.name)


def _plain(column: pd.Series[Any]) -> pd.Series[Any]:
    """Give a column as text of objects, numbers of NumPy, or as it is."""
    if isinstance(column.dtype, pd.SparseDtype):
        column = column.astype(column.dtype.subtype)
    if isinstance(column.dtype, pd.IntervalDtype):
        column = column.astype("category")
    dtype = column.dtype
    if isinstance(dtype, pd.CategoricalDtype):
        levels = dtype.categories
        if isinstance(levels.dtype, pd.IntervalDtype):  # pd.cut: each band is a name
            return column.cat.rename_categories(levels.astype(str).tolist())
        if isinstance(levels.dtype, np.dtype):
            return column
        return column.cat.rename_categories(pd.Index(levels.tolist(), dtype=_kind_of(levels)))
    if not isinstance(dtype, pd.api.extensions.ExtensionDtype):
        return column
    if isinstance(dtype, pd.ArrowDtype):
        return _from_arrow(column)
    if pd.api.types.is_string_dtype(dtype):
        return _objects(column)
    if pd.api.types.is_bool_dtype(dtype):
        return _objects(column) if column.isna().any() else column.astype(bool)
    if pd.api.types.is_numeric_dtype(dtype):
        if column.isna().any() or pd.api.types.is_float_dtype(dtype):
            return pd.Series(column.to_numpy(dtype=float, na_value=np.nan), column.index, name=column.name)
        return column.astype(np.int64)
    return column


def _from_arrow(column: pd.Series[Any]) -> pd.Series[Any]:
    """Give an Arrow column as the kinds of its values."""
    kind = column.dtype.kind
    if kind in "iuf" and not column.isna().any():
        return column.astype(np.int64 if kind in "iu" else np.float64)
    if kind in "iuf":
        return pd.Series(column.to_numpy(dtype=float, na_value=np.nan), column.index, name=column.name)
    if kind == "b" and not column.isna().any():
        return column.astype(bool)
    if kind == "M":
        return column.astype("datetime64[ns]")
    text = str(column.dtype)
    if text.startswith("date"):
        return pd.to_datetime(_objects(column))
    if text.startswith("dictionary"):
        return _objects(column).astype("category")
    return _objects(column)


def _kind_of(levels: pd.Index[Any]) -> Any:
    return object if pd.api.types.is_string_dtype(levels.dtype) else levels.dtype.type


def _objects(column: pd.Series[Any]) -> pd.Series[Any]:
    plain = column.astype(object)
    return plain.where(plain.notna(), np.nan)
