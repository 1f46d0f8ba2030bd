"""Pieces of a seedling's life over which the baseline hazard is held constant.

Sites planted in different months meet the dry season at different ages, so the
default pieces follow the calendar: planting to the first dry season, the first
dry season, after it, and so on, with boundaries in days since each plot's own
planting. Pieces in days since planting are the alternative.
"""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from itertools import islice, pairwise
from typing import Any, Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from survivor.arguments import amount, count, several
from survivor.arrays import Codes, Floats
from survivor.errors import ModelError
from survivor.intervals import dry_seasons, sum_by
from survivor.vocabulary import DRY_SEASON, PLANTED
from survivor.words import month_day

_SEASON: Final = re.compile(r"(0[1-9]|1[0-2])-(0[1-9]|[12]\d|3[01]) to (0[1-9]|1[0-2])-(0[1-9]|[12]\d|3[01])")
_MOST_VISIT_PIECES = 12
_QUANTILE_PIECES = 5
_MOST_SEASON_PIECES = 21
# A piece is joined to a neighbour when the visits hardly tell them apart: the smallest
# eigenvalue of the scaled information on the pieces were the hazard constant.
_LEAST_SEPARATION = 0.02
_LEAST_BESIDE_LEVELS = 1e-3  # the same once levels of strata are allowed for: less leaves hardly anything


@dataclass(frozen=True)
class DayPieces:
    """Pieces with the same boundaries for every plot, in days since planting.

    ``cuts`` are the inner boundaries; the last piece is open.

    Raises
    ------
    ModelError
        When these are no days, not above 0, or do not rise.

    Examples
    --------
    >>> survivor.fit(intervals, "method", pieces=survivor.DayPieces((180.0,))).checks[0]
    'baseline pieces as given: day 0 to 180; after day 180'
    """

    cuts: tuple[float, ...]

    def __post_init__(self) -> None:
        mend = "give days since planting that rise, for example DayPieces((180.0,))"
        cuts = several(self.cuts, "cuts", ModelError, mend)
        for before, cut in pairwise([0.0, *cuts]):
            amount(cut, "cuts", ModelError, mend, above=before)

    @property
    def names(self) -> tuple[str, ...]:
        """One name a piece."""
        edges = ["0", *(f"{cut:g}" for cut in self.cuts)]
        closed = [f"day {a} to {b}" for a, b in pairwise(edges)]
        return (*closed, f"after day {edges[-1]}")

    def boundaries(self, rows: pd.DataFrame) -> Floats:
        """Inner boundaries for each row, shape (rows, pieces - 1)."""
        return np.broadcast_to(np.asarray(self.cuts, dtype=float), (len(rows), len(self.cuts)))


@dataclass(frozen=True)
class SeasonPieces:
    """Pieces that follow the dry seasons; rows need a ``planted_date``.

    Parameters
    ----------
    start, end
        Month and day (``MM-DD``) of the first and last day of the dry season.
    count
        How many pieces are kept apart; the last is open.

    Raises
    ------
    ModelError
        When a month and day or the count is none, or rows to fit have no ``planted_date``.
    """

    start: str
    end: str
    count: int

    def __post_init__(self) -> None:
        if not _SEASON.fullmatch(f"{self.start} to {self.end}"):
            raise ModelError(
                f"{self.start!r} to {self.end!r} is no season",
                where="start, end",
                mend='write months and days, for example SeasonPieces("12-01", "03-31", 3)',
            )
        most = f"give a whole number from 1 to {_MOST_SEASON_PIECES}"
        if count(self.count, "count", ModelError, most) > _MOST_SEASON_PIECES:
            raise ModelError(f"{self.count} pieces are too many", where="count", mend=most)

    @property
    def names(self) -> tuple[str, ...]:
        """One name a piece."""
        words = [
            "first",
            "second",
            "third",
            "fourth",
            "fifth",
            "sixth",
            "seventh",
            "eighth",
            "ninth",
            "tenth",
        ]
        names = ["planting to the first dry season"]
        for word in words:
            names += [f"{word} dry season", f"after the {word} dry season"]
        return tuple(names[: self.count])

    def boundaries(self, rows: pd.DataFrame) -> Floats:
        """Inner boundaries for each row, shape (rows, pieces - 1), in days since planting.

        Raises
        ------
        ModelError
            When a row has no ``planted_date``.
        """
        if PLANTED not in rows.columns or rows[PLANTED].isna().any():
            raise ModelError(
                "season pieces need a planting date for every row",
                where=f"column {PLANTED}",
                mend=f"give {PLANTED}, or pieces= in days since planting",
            )
        planted, inverse = np.unique(_days(rows[PLANTED]), return_inverse=True)
        opens = [_opens(day, self.start, self.end, self.count) for day in planted.astype(object)]
        table = np.array(opens, dtype=float)
        table = table.reshape(len(planted), self.count - 1)
        return table[inverse]


@lru_cache(maxsize=10_000)
def _opens(planted: dt.date, start: str, end: str, count: int) -> tuple[int, ...]:
    """Inner boundaries of the pieces of one planting date, in days since then."""
    days: list[int] = []
    # A planting made inside a dry season has an empty first piece.
    for first, last in islice(dry_seasons(planted, start, end), count // 2):
        days += [max(0, (first - planted).days), (last - planted).days + 1]
    return tuple(days[: count - 1])


def _days(dates: pd.Series[Any]) -> NDArray[np.datetime64]:
    """Planting dates as days; a table read from a file has them as text, year first."""
    # pandas looks through a column of dates row by row before it leaves it as it is.
    known = pd.api.types.is_datetime64_dtype(dates)
    read = dates if known else pd.to_datetime(dates, format="ISO8601", errors="coerce")
    if read.isna().any():
        row = dates.index[read.isna()][0]
        raise ModelError(
            f"{dates[read.isna()].iloc[0]!r} is no date with the year first",
            where=f"row {row}, column {PLANTED}",
            mend="write dates as 2024-05-31, or read the column with pandas.to_datetime",
        )
    return read.to_numpy().astype("datetime64[D]")  # asked of pandas at once, it would go day by day


@dataclass(frozen=True)
class Merged:
    """Pieces of which some were joined or left silent.

    ``group[k]`` is the new piece of old piece ``k``, or -1 where nobody can have died
    in it, or none need: the likelihood is highest where the hazard there is zero.
    ``emptied`` names pieces in which deaths may lie but none need. Where the pieces were
    chosen here these were joined to a neighbour; ``given`` ones stay, without a hazard.
    """

    base: DayPieces | SeasonPieces
    group: tuple[int, ...]
    emptied: tuple[str, ...] = ()
    given: bool = False
    begins: float = 0.0  # nobody was watched before: the hazard of then is nobody's to tell

    @property
    def names(self) -> tuple[str, ...]:
        """One name a piece that has a hazard; joined pieces carry both ends of their names."""
        return joined_names(self.base.names, self.group)

    @property
    def silent(self) -> tuple[str, ...]:
        """Names of the pieces whose hazard is zero, since nobody can have died there."""
        none = (name for name, new in zip(self.base.names, self.group, strict=True) if new < 0)
        return tuple(name for name in none if name not in self.emptied)

    def lengths(self, rows: pd.DataFrame, start: Floats, stop: Floats) -> Floats:
        """Days of each row's (start, stop] spent in each piece with a hazard, shape (rows, pieces)."""
        begun = np.maximum(start, self.begins)
        return _sum_pieces(_overlap(self.base.boundaries(rows), begun, stop), self.group)

    def said(self) -> tuple[str, ...]:
        """Sentences on what was joined and what was left silent."""
        sentences = []
        if self.silent:
            sentences.append(f"nobody died in these pieces, so their hazard is 0: {'; '.join(self.silent)}")
        if self.emptied:
            done = "their hazard is taken as 0" if self.given else "each was joined to a neighbour"
            sentences.append(
                "deaths may lie in these pieces but none need, and the records are likeliest with none, so "
                f"{done}: {'; '.join(self.emptied)}"
            )
        if len(self.names) + sum(new < 0 for new in self.group) < len(self.base.names):
            sentences.append(
                "pieces were joined to a neighbour, since the visits hardly tell their hazards apart; pieces "
                f"used: {'; '.join(self.names)}"
            )
        return tuple(sentences)


def joined_names(names: Sequence[str], group: Sequence[int] | Codes) -> tuple[str, ...]:
    """Names of groups 0, 1, ...: that of their one member, or those of their first and last."""
    joined = []
    for new in range(max(group) + 1):
        parts = [name for name, old in zip(names, group, strict=True) if old == new]
        joined.append(parts[0] if len(parts) == 1 else f"{parts[0]} ... {parts[-1]}")
    return tuple(joined)


def _sum_pieces(full: Floats, group: Sequence[int]) -> Floats:
    merged: Floats = np.zeros((len(full), max(group) + 1))
    for old, new in enumerate(group):
        if new >= 0:
            merged[:, new] += full[:, old]
    return merged


def _overlap(boundaries: Floats, start: Floats, stop: Floats) -> Floats:
    rows, inner = boundaries.shape
    edges = np.empty((rows, inner + 2))
    edges[:, 0] = 0.0
    edges[:, 1:-1] = boundaries
    edges[:, -1] = np.inf
    low = np.maximum(edges[:, :-1], start[:, None])
    high = np.minimum(edges[:, 1:], stop[:, None])
    return np.asarray(np.maximum(high - low, 0.0))


def choose_pieces(
    frame: pd.DataFrame,
    pieces: Sequence[float] | SeasonPieces | DayPieces | None,
    stratum: NDArray[np.intp] | None = None,
) -> tuple[Merged, tuple[str, ...]]:
    """Decide the pieces for a table of risk intervals, and say how.

    Parameters
    ----------
    frame
        Risk intervals.
    pieces
        Boundaries in days, ready pieces, or None: the visits where all was planted on
        one day and the visits are few; else the dry seasons where the table carries
        them (columns ``dry_season``, as ``12-01 to 03-31``, and ``planted_date``); else the
        visits where they are few, else quintiles of the deaths.
    stratum
        Stratum of each row, 0 to S - 1; strata have a level each, of which the visits must
        tell the pieces apart as well.

    Returns
    -------
    pieces, said
        The pieces, without those in which nobody can have died and with those joined
        that the visits hardly tell apart; and sentences that say so.
    """
    base, said = _unmerged(frame, pieces)
    start = frame["start_day"].to_numpy(float)
    stop = frame["stop_day"].to_numpy(float)
    overlap = _overlap(base.boundaries(frame), start, stop)
    at_risk, died = frame["at_risk"].to_numpy(float), frame["died"].to_numpy(float)
    group = _merge(overlap, at_risk, died)
    if stratum is not None:
        group = _merge_beside_levels(overlap, at_risk, died, stratum, group)
    chosen = Merged(base, group, given=pieces is not None, begins=float(start.min()))
    return chosen, (said, *chosen.said())


def _unmerged(
    frame: pd.DataFrame, pieces: Sequence[float] | SeasonPieces | DayPieces | None
) -> tuple[DayPieces | SeasonPieces, str]:
    if isinstance(pieces, SeasonPieces | DayPieces):
        return pieces, f"baseline pieces as given: {'; '.join(pieces.names)}"
    last = float(frame["stop_day"].max())
    if pieces is not None:
        cuts = _given(pieces, last)
        if not cuts:
            return DayPieces(cuts), "one constant hazard for the whole season, as given"
        return DayPieces(cuts), f"baseline pieces with boundaries at days {', '.join(f'{c:g}' for c in cuts)}"
    stops = np.unique(frame["stop_day"].to_numpy(float))
    visits = DayPieces(tuple(float(day) for day in stops[:-1]))
    few = len(stops) <= _MOST_VISIT_PIECES
    if few and PLANTED in frame.columns and frame[PLANTED].nunique(dropna=False) == 1:
        return visits, "baseline pieces are the visits"
    season, lacking = _dry_season(frame)
    if season is not None:
        start, end = season
        sentence = f"baseline pieces follow the dry season ({month_day(start)} to {month_day(end)})"
        return _seasons(frame, start, end, last), sentence
    if few:
        return visits, f"baseline pieces are the visits; {lacking}"
    deaths = np.repeat(frame["stop_day"].to_numpy(float), frame["died"].to_numpy(int))
    inner = np.unique(
        np.quantile(deaths, np.linspace(0, 1, _QUANTILE_PIECES + 1)[1:-1], method="inverted_cdf")
    )
    cuts = tuple(float(day) for day in inner if day < last)
    days = ", ".join(f"{day:g}" for day in cuts)
    return DayPieces(cuts), f"baseline pieces hold about equal numbers of deaths (days {days}); {lacking}"


def _given(pieces: Sequence[float], last: float) -> tuple[float, ...]:
    """Boundaries as somebody gave them; one that is no day within the records is refused."""
    mend = f"give days after 0 and before the last visit (day {last:g}), for example pieces=[{last / 2:.0f}]"
    if isinstance(pieces, str):
        raise ModelError(f"{pieces!r} is no list of days", where="pieces", mend=mend)
    cuts = []
    for cut in several(pieces, "pieces", ModelError, mend):
        try:
            day = float(cut)
        except (TypeError, ValueError):
            raise ModelError(f"{cut!r} is no day", where="pieces", mend=mend) from None
        if not 0 < day < last:
            raise ModelError(f"day {day:g} bounds no piece of the records", where="pieces", mend=mend)
        cuts.append(day)
    return tuple(sorted(set(cuts)))


def _dry_season(frame: pd.DataFrame) -> tuple[tuple[str, str] | None, str]:
    """First and last day of the one dry season of all rows, or what a table lacks for it to be followed."""
    mend = 'give columns planted_date and dry_season (as "12-01 to 03-31"), or pieces='
    if DRY_SEASON not in frame.columns:
        return None, f"no column {DRY_SEASON} tells when it is dry: {mend}"
    named = frame[DRY_SEASON].drop_duplicates()
    blank = named.isna() | (named == "")
    for row, value in named[~blank].items():
        if not _SEASON.fullmatch(str(value)):
            raise ModelError(
                f"{value!r} is no dry season",
                where=f"row {row}, column {DRY_SEASON}",
                mend='write its first and last day, month before day, as "12-01 to 03-31", or give pieces=',
            )
    if blank.any() or len(named) > 1:
        what = "some rows have no" if blank.any() else "rows differ in their"
        return None, f"{what} {DRY_SEASON}, so none is followed: {mend}"
    if PLANTED not in frame.columns or frame[PLANTED].isna().any():
        return None, f"planting dates are not in all rows, so the dry season is not followed: {mend}"
    start, end = str(named.iloc[0]).split(" to ")
    return (start, end), ""


def _seasons(frame: pd.DataFrame, start: str, end: str, last: float) -> SeasonPieces:
    """As many pieces as the visits reach into."""
    most = SeasonPieces(start, end, min(_MOST_SEASON_PIECES, 3 + 2 * int(last // 365)))
    opens = most.boundaries(frame)
    reached = (opens < frame["stop_day"].to_numpy(float)[:, None]).any(axis=0)
    return SeasonPieces(start, end, 1 + int(reached.sum()))


def _merge(days: Floats, at_risk: Floats, died: Floats) -> tuple[int, ...]:
    """Leave out pieces without deaths, and join neighbours until the visits tell them apart.

    ``days`` (rows, pieces) each interval spends in each piece; ``at_risk`` and ``died``
    (rows,). Under one constant hazard the information on the log hazards of pieces j
    and k is the sum over intervals of at_risk * days_j * days_k / days.
    """
    deaths = (died / days.sum(axis=1)) @ days

    def told(pieces: Floats) -> Floats:
        whole = pieces.sum(axis=1)
        seen = whole > 0
        information = pieces[seen].T @ ((at_risk[seen] / whole[seen])[:, None] * pieces[seen])
        scale = np.sqrt(np.diag(information))
        return np.asarray(information / np.outer(scale, scale))

    group = _numbered(np.where(deaths > 0, np.arange(days.shape[1]), -1))
    return _joined_until_apart(days, deaths, group, told, _LEAST_SEPARATION)


def _merge_beside_levels(
    days: Floats, at_risk: Floats, died: Floats, stratum: NDArray[np.intp], group: tuple[int, ...]
) -> tuple[int, ...]:
    """Join further neighbours where levels of the strata leave too little to tell pieces apart by.

    Sites visited on days of their own give as many pieces as there are visits in all, and
    then no more intervals than pieces. As in ``_merge``, with the level of each stratum
    swept out of the share of an interval's hazard that lies in each piece; that all
    pieces rise together is the levels' own business.
    """
    deaths = (died / days.sum(axis=1)) @ days

    def told(pieces: Floats) -> Floats:
        whole = pieces.sum(axis=1)
        seen = whole > 0
        weight, codes = at_risk[seen] * whole[seen], stratum[seen]
        share = pieces[seen] / whole[seen, None]
        total = np.maximum(np.bincount(codes, weight), 1e-300)
        within = share - (sum_by(codes, weight[:, None] * share) / total[:, None])[codes]
        scale = np.sqrt(weight @ share**2)
        together = np.outer(scale, scale) / (scale @ scale)
        return np.asarray((within / scale).T @ (weight[:, None] * (within / scale)) + together)

    return _joined_until_apart(days, deaths, group, told, _LEAST_BESIDE_LEVELS)


def _joined_until_apart(
    days: Floats, deaths: Floats, group: tuple[int, ...], told: Callable[[Floats], Floats], least: float
) -> tuple[int, ...]:
    """Join pieces until no eigenvalue of the information that is ``told`` of them is below ``least``."""
    while max(group) > 0:
        values, vectors = np.linalg.eigh(told(_sum_pieces(days, group)))
        if values[0] >= least:
            break
        own = _sum_pieces(deaths[None], group)[0]
        group = _join(group, int(np.argmax(np.abs(vectors[:, 0]))), own)
    return group


def _numbered(marks: NDArray[np.intp]) -> tuple[int, ...]:
    """Give the pieces that are left the numbers 0, 1, ... in order; -1 stays."""
    order = {int(mark): place for place, mark in enumerate(np.unique(marks[marks >= 0]))}
    return tuple(order.get(int(mark), -1) for mark in marks)


def neighbour(weak: int, own: Floats) -> int:
    """Give the neighbour with fewer deaths, of those in order; the earlier of two."""
    beside = [place for place in (weak - 1, weak + 1) if 0 <= place < len(own)]
    return min(beside, key=lambda place: float(own[place]))


def _join(group: tuple[int, ...], weak: int, own: Floats) -> tuple[int, ...]:
    """Join a piece to the neighbour with fewer deaths."""
    partner = neighbour(weak, own)
    low, high = sorted((weak, partner))
    marks = np.array([low if new == high else new for new in group], dtype=np.intp)
    return _numbered(marks)


def absorb(pieces: Merged, weak: int, lengths: Floats, died: Floats) -> Merged:
    """Join a piece whose hazard runs to zero to its neighbour with fewer deaths, or leave it without one.

    Parameters
    ----------
    pieces, weak
        Pieces, and the place of the one among those with a hazard.
    lengths, died
        Days in each piece with a hazard and deaths of each row, shapes (n, K) and (n,).
    """
    emptied = (*pieces.emptied, pieces.names[weak])
    if pieces.given:
        left = _numbered(np.array([-1 if new == weak else new for new in pieces.group], dtype=np.intp))
        return replace(pieces, group=left, emptied=emptied)
    own = (died / np.maximum(lengths.sum(axis=1), 1e-300)) @ lengths
    return replace(pieces, group=_join(pieces.group, weak, own), emptied=emptied)
