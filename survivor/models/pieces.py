"""Pieces of a seedling's life over which the baseline hazard is held constant.

Sites planted in different months meet the dry season at different ages, so the
default pieces follow the calendar: planting to the first dry season, the first
dry season, after it, and so on, with boundaries in days since each plot's own
planting. Pieces in days since planting are the alternative.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from survivor.errors import ModelError

Floats = NDArray[np.float64]

_MOST_VISIT_PIECES = 12
_QUANTILE_PIECES = 5
_MOST_SEASON_PIECES = 21
# A piece is merged when the deaths cannot tell its hazard from its neighbours':
# the smallest eigenvalue of the scaled overlap of death intervals with pieces.
_LEAST_SEPARATION = 0.02


@dataclass(frozen=True)
class DayPieces:
    """Pieces with the same boundaries for every plot, in days since planting.

    ``cuts`` are the inner boundaries; the last piece is open.
    """

    cuts: tuple[float, ...]

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
    """

    start: str
    end: str
    count: int

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
        """Inner boundaries for each row, shape (rows, pieces - 1), in days since planting."""
        if "planted_date" not in rows.columns or rows["planted_date"].isna().any():
            raise ModelError(
                "season pieces need a planting date for every row",
                where="column planted_date",
                mend="give planted_date, or pieces= in days since planting",
            )
        planted, inverse = np.unique(rows["planted_date"].to_numpy("datetime64[D]"), return_inverse=True)
        table = np.array([self._one(pd.Timestamp(day)) for day in planted], dtype=float)
        table = table.reshape(len(planted), self.count - 1)
        found: Floats = table[inverse]
        return found

    def _one(self, planted: pd.Timestamp) -> list[float]:
        days: list[float] = []
        year = planted.year - 1
        while len(days) < self.count - 1:
            first = _month_day(year, self.start)
            last = _month_day(year if self.end >= self.start else year + 1, self.end)
            year += 1
            if last < planted.date():
                continue
            # A planting made inside a dry season has an empty first piece.
            opens = max(0, (first - planted.date()).days)
            days += [float(opens), float((last - planted.date()).days + 1)]
        return days[: self.count - 1]


def _month_day(year: int, text: str) -> dt.date:
    month, day = (int(part) for part in text.split("-"))
    if (month, day) == (2, 29):
        return dt.date(year, 3, 1) - dt.timedelta(days=1)
    return dt.date(year, month, day)


@dataclass(frozen=True)
class Merged:
    """Pieces of which some were joined: ``group[k]`` is the new piece of old piece ``k``."""

    base: DayPieces | SeasonPieces
    group: tuple[int, ...]

    @property
    def names(self) -> tuple[str, ...]:
        """One name a piece; joined pieces carry both ends of their names."""
        names = self.base.names
        joined = []
        for new in range(max(self.group) + 1):
            parts = [name for name, old in zip(names, self.group, strict=True) if old == new]
            joined.append(parts[0] if len(parts) == 1 else f"{parts[0]} ... {parts[-1]}")
        return tuple(joined)

    def lengths(self, rows: pd.DataFrame, start: Floats, stop: Floats) -> Floats:
        """Days of each row's (start, stop] spent in each piece, shape (rows, pieces)."""
        full = _overlap(self.base.boundaries(rows), start, stop)
        merged = np.zeros((len(full), max(self.group) + 1))
        for old, new in enumerate(self.group):
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
    return np.maximum(high - low, 0.0)


def choose_pieces(
    frame: pd.DataFrame, pieces: Sequence[float] | SeasonPieces | DayPieces | None
) -> tuple[Merged, tuple[str, ...]]:
    """Decide the pieces for a table of risk intervals, and say how.

    Parameters
    ----------
    frame
        Risk intervals.
    pieces
        Boundaries in days, ready pieces, or None: the dry seasons where the table
        carries them (``frame.attrs["dry_season"]`` and ``planted_date``), else the
        visit days where there are few, else quintiles of the deaths.

    Returns
    -------
    pieces, said
        The pieces after joining those whose hazard the deaths cannot tell from
        their neighbours', and sentences that say what was chosen and joined.
    """
    base, said = _unmerged(frame, pieces)
    start = frame["start_day"].to_numpy(float)
    stop = frame["stop_day"].to_numpy(float)
    died = frame["died"].to_numpy(float)
    has_death = died > 0
    overlap = _overlap(base.boundaries(frame[has_death]), start[has_death], stop[has_death])
    group = _merge(overlap / overlap.sum(axis=1, keepdims=True), died[has_death])
    merged = Merged(base, group)
    sentences = [said]
    if len(merged.names) < len(base.names):
        sentences.append(
            f"{len(base.names) - len(merged.names)} piece(s) joined to a neighbour, since the deaths cannot "
            f"tell their hazards apart; pieces used: {'; '.join(merged.names)}"
        )
    return merged, tuple(sentences)


def _unmerged(
    frame: pd.DataFrame, pieces: Sequence[float] | SeasonPieces | DayPieces | None
) -> tuple[DayPieces | SeasonPieces, str]:
    if isinstance(pieces, SeasonPieces | DayPieces):
        return pieces, f"baseline pieces as given: {'; '.join(pieces.names)}"
    last = float(frame["stop_day"].max())
    if pieces is not None:
        cuts = tuple(sorted({float(cut) for cut in pieces if 0 < float(cut) < last}))
        return DayPieces(cuts), f"baseline pieces with boundaries at days {', '.join(f'{c:g}' for c in cuts)}"
    season = frame.attrs.get("dry_season")
    if season and "planted_date" in frame.columns and frame["planted_date"].notna().all():
        return _seasons(frame, season["start"], season["end"], last), (
            f"baseline pieces follow the dry season ({season['start']} to {season['end']}, month-day)"
        )
    stops = np.unique(frame["stop_day"].to_numpy(float))
    if len(stops) <= _MOST_VISIT_PIECES:
        return DayPieces(tuple(float(day) for day in stops[:-1])), "baseline pieces are the visits"
    deaths = np.repeat(frame["stop_day"].to_numpy(float), frame["died"].to_numpy(int))
    inner = np.unique(
        np.quantile(deaths, np.linspace(0, 1, _QUANTILE_PIECES + 1)[1:-1], method="inverted_cdf")
    )
    cuts = tuple(float(day) for day in inner if day < last)
    return DayPieces(
        cuts
    ), f"baseline pieces hold about equal numbers of deaths (days {', '.join(map(str, cuts))})"


def _seasons(frame: pd.DataFrame, start: str, end: str, last: float) -> SeasonPieces:
    """As many pieces as the visits reach into."""
    most = SeasonPieces(start, end, min(_MOST_SEASON_PIECES, 3 + 2 * int(last // 365)))
    opens = most.boundaries(frame)
    reached = (opens < frame["stop_day"].to_numpy(float)[:, None]).any(axis=0)
    return SeasonPieces(start, end, 1 + int(reached.sum()))


def _merge(share: Floats, died: Floats) -> tuple[int, ...]:
    """Join neighbours until the deaths tell every piece's hazard from the others'."""
    group = list(range(share.shape[1]))
    while max(group) > 0:
        merged = np.zeros((len(share), max(group) + 1))
        for old, new in enumerate(group):
            merged[:, new] += share[:, old]
        own = died @ merged
        gram = merged.T @ (died[:, None] * merged)
        scale = np.sqrt(np.maximum(np.diag(gram), 1e-300))
        least, vectors = np.linalg.eigh(gram / np.outer(scale, scale))
        weak = _without_deaths(own)
        if weak is None:
            if least[0] >= _LEAST_SEPARATION:
                break
            weak = int(np.argmax(np.abs(vectors[:, 0])))
        group = _join(group, weak, own)
    return tuple(group)


def _without_deaths(own: Floats) -> int | None:
    empty = np.flatnonzero(own < 1e-9)
    return int(empty[0]) if len(empty) else None


def _join(group: list[int], weak: int, own: Floats) -> list[int]:
    last = max(group)
    if weak == 0:
        partner = 1
    elif weak == last:
        partner = weak - 1
    else:
        partner = weak - 1 if own[weak - 1] <= own[weak + 1] else weak + 1
    low = min(weak, partner)
    return [old if old <= low else old - 1 for old in group]


def join_piece(pieces: Merged, weak: int) -> Merged:
    """Join one more piece to its neighbour (used when its hazard runs to zero)."""
    own = np.ones(max(pieces.group) + 1)
    return Merged(pieces.base, tuple(_join(list(pieces.group), weak, own)))
