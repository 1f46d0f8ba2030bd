"""Problems found in the records, and what becomes of each record.

A finding is kept per record, so that every record can be accounted for; findings
of one cause (all records of an unknown plot) carry a common group and are printed
as one problem.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cache
from string import Formatter
from typing import Any, Final, TypeAlias

import numpy as np
import pandas as pd

from survivor.arrays import Codes, factorized, furthest
from survivor.files.cells import DateOrder, day_texts, number_texts
from survivor.intervals import in_order_of, row_codes
from survivor.records.codes import CODES
from survivor.records.english import MESSAGES, OfTag
from survivor.vocabulary import ACCOUNT_COLUMNS, PROBLEM_COLUMNS

FINDING_COLUMNS: Final = ("record", "source", "row", "code", "word", "value", "what", "mend", "group", "tag")
NOWHERE: Final = -1
FIRST: Final = "date-order"  # the problem whose mend mends many others
LONGEST_TEXT: Final = 1000
_LONGEST_VALUE: Final = 120
_FEW_ROWS: Final = 500  # that are joined sooner than told apart
SAID: Final = "_said"  # behind the name of a column: what stood in the cell
LINE: Final = "line"  # what a record of the study file is called
WORKS_ROW: Final = "works row"  # what a record of the works diary is called

USED: Final = "used"
SET_ASIDE: Final = "excluded"
LISTED: Final = "listed"

Texts: TypeAlias = "pd.Series[Any]"  # one text a row
Group: TypeAlias = (
    "str | Texts | Callable[[pd.DataFrame], Texts]"  # of all, of each row, or made of those at fault
)


@dataclass(frozen=True)
class Source:
    """Where records came from: a sheet, or one visit of a wide sheet.

    Attributes
    ----------
    file, sheet
        As printed in problems and accounts.
    record
        What one record of it is called in the accounts, such as ``visit row``.
    headers
        Our word -> the header over it, for the column of a problem.
    date_order
        What the study file says of it: ``day-first``, ``month-first`` or nothing.
    counted
        What its counts are of: ``alive``, ``alive per cent``, ``dead to date`` ...
    """

    file: str
    sheet: str
    record: str
    headers: dict[str, str] = field(default_factory=dict)
    date_order: DateOrder = None
    counted: str = "alive"


@cache
def none_found() -> pd.DataFrame:
    """Make a table of findings without rows."""
    return pd.DataFrame({name: pd.Series(dtype=object) for name in FINDING_COLUMNS})


def find(
    rows: pd.DataFrame,
    wrong: pd.Series[bool],
    code: str,
    word: str,
    *,
    message: str = "",
    group: Group = "",
    **said: object,
) -> pd.DataFrame:
    """Make one finding of each row that is wrong.

    Parameters
    ----------
    rows
        Records with the columns record, source and row.
    wrong
        Which of them; index as ``rows``.
    code
        A code of `survivor.records.codes`.
    word
        Our word for the column concerned.
    message
        Which of `survivor.records.english.MESSAGES`; default: the one of the code.
    group
        Findings with the same group are printed as one problem.
    said
        What stands in the places of the message: one value, or one a row. A place that is not named
        here is the word, or the column of ``rows`` of its name. ``value`` is what stands in the cell,
        whether the message has it or not; default: the column ``word`` of ``rows``, in the sheet's own
        words where they are kept (`SAID`).
    """
    if not wrong.to_numpy().any():
        return none_found()
    chosen = rows[wrong]
    own = next((name for name in (word + SAID, word) if name in rows.columns), None)
    value = said.get("value", rows[own] if own is not None else pd.Series("", index=rows.index))
    assert isinstance(value, pd.Series), "a text a row"
    places = {"word": word, **said, "value": value}
    what, mend = MESSAGES[message or code]
    found: dict[str, str | Texts] = {
        "record": chosen["record"],
        "source": chosen["source"],
        "row": chosen["row"],
        "code": code,
        "word": word,
        "value": _shown(value[wrong]),
        "what": _filled(what, places, rows, wrong),
        "mend": _filled(mend, places, rows, wrong),
        "group": group if isinstance(group, str) else _of_wrong(group, wrong, chosen).astype(str),
        "tag": chosen["tag"] if isinstance(what, OfTag) else "",
    }
    # Arrays of one order: a frame of columns would look each of their rows up.
    return pd.DataFrame({name: own if isinstance(own, str) else own.array for name, own in found.items()})


def _of_wrong(
    said: Texts | Callable[[pd.DataFrame], Texts], wrong: pd.Series[bool], chosen: pd.DataFrame
) -> Texts:
    return said[wrong] if isinstance(said, pd.Series) else said(chosen)


def _filled(
    message: str, places: Mapping[str, object], rows: pd.DataFrame, wrong: pd.Series[bool]
) -> str | Texts:
    """Fill in the places of a message, once where they are alike for all rows."""
    names = dict.fromkeys(name for _, name, _, _ in Formatter().parse(message) if name)
    values = {name: places[name] if name in places else rows[name] for name in names}
    of_rows = {name: _shown(own[wrong]) for name, own in values.items() if isinstance(own, pd.Series)}
    if not of_rows:
        return message.format(**values)
    write = cache(lambda *texts: message.format(**{**values, **dict(zip(of_rows, texts, strict=True))}))
    return pd.Series(list(map(write, *of_rows.values())), index=rows.index[wrong], dtype=object)


def joined(*parts: pd.Series[Any], fold: Callable[[str], str] = str) -> Texts:
    """Join the texts of each row by "|"; rows that are alike share one text, however many they are."""
    if len(parts[0]) < _FEW_ROWS:
        texts = [map(str, part) if part.dtype == object else part.astype(str) for part in parts]
        return pd.Series(list(map(fold, map("|".join, zip(*texts, strict=True)))), parts[0].index, object)
    codes, first = row_codes(parts, in_order=False)
    columns = [part.iloc[first].astype(str) for part in parts]
    distinct = np.array([fold("|".join(words)) for words in zip(*columns, strict=True)], dtype=object)
    return pd.Series(distinct[codes], index=parts[0].index, dtype=object)


def whole_visit(rows: pd.DataFrame) -> Texts:
    """Name the visit of each record within its sheet: what holds for all of it is said once."""
    return joined(rows["source"], rows["visit"])


def numbered(*parts: pd.Series[Any]) -> Codes:
    """Give each row the place of its text, as `joined` makes it, among all texts in order."""
    codes, first = row_codes(parts, in_order=False)
    texts = joined(*(part.iloc[first] for part in parts)).to_numpy()
    return np.asarray(np.unique(texts, return_inverse=True)[1][codes], dtype=np.intp)


def say(code: str, word: str = "", *, source: int = NOWHERE, value: str = "", **said: object) -> pd.DataFrame:
    """Make one finding that is of no single record; ``said`` as for `find`."""
    what, mend = (text.format(word=word, value=value, **said) for text in MESSAGES[code])
    row = (NOWHERE, source, NOWHERE, code, word, value, what, mend, "", "")
    return pd.DataFrame([row], columns=list(FINDING_COLUMNS))


def gather(*found: pd.DataFrame) -> pd.DataFrame:
    """Join tables of findings, in order."""
    filled = [table for table in found if len(table)]
    if len(filled) == 1:
        return filled[0].reset_index(drop=True)
    return pd.concat(filled, ignore_index=True) if filled else none_found()


def set_aside(found: pd.DataFrame) -> np.ndarray[Any, Any]:
    """Name the records that a finding excludes."""
    if found.empty:
        return found["record"].to_numpy()
    aside = np.array([CODES[code].fate == SET_ASIDE for code in found["code"]], dtype=bool)
    records = found["record"].to_numpy()
    return np.asarray(records[aside & (records != NOWHERE)])


def _shown(values: Texts) -> Texts:
    if pd.api.types.is_datetime64_any_dtype(values):
        return day_texts(values)
    if pd.api.types.is_float_dtype(values):
        return number_texts(values)
    if values.dtype == object:
        texts = np.array(list(map(str, values)), dtype=object)
        texts[values.isna().to_numpy()] = ""
        return pd.Series(texts, index=values.index, dtype=object)
    shown: Texts = values.astype(str).astype(object)
    shown[values.isna().to_numpy()] = ""
    return shown


def problem_table(found: pd.DataFrame, sources: Sequence[Source]) -> pd.DataFrame:
    """Print findings: one problem a group, with file, sheet, row and column as in the sheet.

    Returns
    -------
    DataFrame
        `survivor.vocabulary.PROBLEM_COLUMNS`, the gravest first, then as found in
        the sheets; ``row`` is blank for a problem of no single record.
    """
    return print_problems(causes_of(found, sources), sources)


def causes_of(found: pd.DataFrame, sources: Sequence[Source]) -> pd.DataFrame:
    """Join findings of one cause: the first of each, with key, count, top and foot (rows), and one_file.

    Parameters
    ----------
    found, sources
        As in `problem_table`.
    """
    if found.empty:
        columns = (*FINDING_COLUMNS, "key", "count", "top", "foot", "one_file")
        return pd.DataFrame({name: pd.Series(dtype=object) for name in columns})
    found = _worded(found.iloc[in_order_of(found, ["source", "row"])].reset_index(drop=True))
    # A row of a wide sheet is a record a visit; what is wrong with the row is one problem.
    own = found["source"].to_numpy(dtype=int)
    file, sheet = (  # the last of each is of no source
        pd.Series(np.array([*told, ""], dtype=object)[own])
        for told in ([one.file for one in sources], [f"{one.file}|{one.sheet}" for one in sources])
    )
    lone = found[found["group"].to_numpy(dtype=object) == ""]
    place = lone["row"].astype(str).where(lone["row"] >= 0, lone.index.to_series().astype(str) + "-")
    key = found["code"] + "\n" + found["group"]
    key[lone.index] = joined(
        lone["code"], sheet[lone.index], place, lone["word"], lone["value"], lone["what"]
    )
    number, first = row_codes([key], in_order=False)
    row, in_file = found["row"].to_numpy(dtype=np.int64), factorized(file)[0]
    top, foot = (furthest(how, row, number, first) for how in (np.minimum, np.maximum))
    one_file = np.ones(len(first), dtype=bool)
    one_file[number[in_file != in_file[first][number]]] = False
    return found.iloc[first].assign(
        key=key.iloc[first], count=np.bincount(number), top=top, foot=foot, one_file=one_file
    )


def join_causes(parts: Iterable[pd.DataFrame]) -> pd.DataFrame:
    """Join the causes (`causes_of`) of several parts of the records, each with the same sources."""
    filled = [part for part in parts if not part.empty]
    if len(filled) < 2:
        return filled[0] if filled else causes_of(none_found(), ())
    both = pd.concat(filled, ignore_index=True).sort_values(["source", "row"], kind="stable")
    groups = both.groupby("key", sort=False)
    first = groups.head(1).set_index("key", drop=False)
    first["count"], first["top"], first["foot"] = (
        groups["count"].sum(), groups["top"].min(), groups["foot"].max(),
    )  # fmt: skip
    first["one_file"] = groups["one_file"].all() & (groups["source"].nunique() == 1)
    return first.reset_index(drop=True)


def print_problems(causes: pd.DataFrame, sources: Sequence[Source]) -> pd.DataFrame:
    """Print causes (`causes_of`), as `problem_table` says."""
    if causes.empty:
        return pd.DataFrame({name: pd.Series(dtype=_problem_dtype(name)) for name in PROBLEM_COLUMNS})
    first = causes.copy()
    first["what"] = [
        what if count == 1 or (one and low == high) else f"{what} ({_span(count, one, low, high, in_study)})"
        for what, count, one, low, high, in_study in zip(
            first["what"],
            first["count"],
            first["one_file"],
            first["top"],
            first["foot"],
            [place >= 0 and sources[place].record == LINE for place in first["source"]],
            strict=True,
        )
    ]
    table = _printed(first, sources)
    table["value"] = table["value"].map(lambda text: shortened(text, _LONGEST_VALUE))
    table["what"], table["mend"] = table["what"].map(shortened), table["mend"].map(shortened)
    gravity = table["severity"].map({"stop": 0, "check": 1, "note": 2})
    table["gravity"] = gravity.where(table["code"] != FIRST, -1)
    order = in_order_of(table, ["gravity", "code", "file", "sheet", "row"])
    return table[list(PROBLEM_COLUMNS)].iloc[order].reset_index(drop=True)


def finding_table(found: pd.DataFrame, sources: Sequence[Source]) -> pd.DataFrame:
    """List every finding at its own cell, where `problem_table` joins those of one cause.

    Returns
    -------
    DataFrame
        `survivor.vocabulary.PROBLEM_COLUMNS`; row and column as in the sheet, ``row`` blank
        for what is of no single record.
    """
    return _printed(_worded(found), sources).reset_index(drop=True)


def _worded(found: pd.DataFrame) -> pd.DataFrame:
    """Name the tag behind what is said of a seedling."""
    if (found["tag"].to_numpy(dtype=object) == "").all():
        return found
    what = [
        f"{text} (tag {tag})" if tag else text for text, tag in zip(found["what"], found["tag"], strict=True)
    ]
    return found.assign(what=np.array(what, dtype=object))


def _printed(found: pd.DataFrame, sources: Sequence[Source]) -> pd.DataFrame:
    """Lay findings out as problems, each at its own cell."""
    nowhere = Source("", "", "")
    source = [sources[place] if place >= 0 else nowhere for place in found["source"].astype(int).tolist()]
    row = found["row"].to_numpy(dtype=np.int64)
    texts = {
        **{word: list(map(str, found[word])) for word in ("code", "value", "what", "mend")},
        "severity": [str(CODES[code].severity) for code in found["code"]],
        "file": [own.file for own in source],
        "sheet": [own.sheet for own in source],
        "column": [own.headers.get(word, word) for own, word in zip(source, found["word"], strict=True)],
    }
    columns: dict[str, Any] = {word: np.array(own, dtype=object) for word, own in texts.items()}
    columns["row"] = pd.arrays.IntegerArray(np.maximum(row, 0), row < 0)
    return pd.DataFrame(columns, index=found.index, columns=list(PROBLEM_COLUMNS))


def shortened(text: str, longest: int = LONGEST_TEXT) -> str:
    """Cut a text that a cell of many pages has made too long to read."""
    return text if len(text) <= longest else f"{text[: longest - 1]}\N{HORIZONTAL ELLIPSIS}"


def _span(count: int, one_file: bool, top: int, foot: int, in_study: bool) -> str:
    if in_study:
        return f"{count} times, lines {top} to {foot}"
    return f"{count} records" + (f", rows {top} to {foot}" if one_file else "")


def _problem_dtype(name: str) -> str:
    return "Int64" if name == "row" else "object"


def account_table(records: pd.DataFrame, found: pd.DataFrame, sources: Sequence[Source]) -> pd.DataFrame:
    """Say of every record read what became of it.

    Parameters
    ----------
    records
        record, source, row; one row a record read.
    found
        All findings. The gravest fate of a record's findings is its fate, the
        first finding with that fate its reason; without any the record is used.
    sources
        Where the records came from.

    Returns
    -------
    DataFrame
        `survivor.vocabulary.ACCOUNT_COLUMNS`, one row a record read.
    """
    own = found[found["record"] != NOWHERE]
    rank = own["code"].map(lambda code: {SET_ASIDE: 0, LISTED: 1, USED: 2}[CODES[code].fate])
    worst = own.assign(rank=rank).sort_values("rank", kind="stable").drop_duplicates("record")
    number, codes = pd.factorize(worst["code"])
    at = records["record"].map(pd.Series(number + 1, index=worst["record"])).fillna(0).to_numpy(dtype=int)
    reasons = ["in the risk intervals", *(CODES[own].reason for own in codes)]
    code, fate, reason = (
        np.array(told, dtype=object)[at]
        for told in (["", *codes], [USED, *(CODES[own].fate for own in codes)], reasons)
    )
    source = records["source"].to_numpy(dtype=int)
    file, sheet, record = (
        np.array([getattr(own, name) for own in sources], dtype=object)[source]
        for name in ("file", "sheet", "record")
    )
    reason[(record == WORKS_ROW) & (at == 0)] = "among the works of its plots"
    record = np.where(code == "total-row", "total row", record)
    row = records["row"].to_numpy(dtype=int)
    told = (file, sheet, row, record, fate, reason, code)
    return pd.DataFrame(dict(zip(ACCOUNT_COLUMNS, told, strict=True)))
