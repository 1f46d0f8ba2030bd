"""Where a baseline hazard without a shape can jump: the innermost intervals of risk intervals.

Between two neighbouring days on which some interval starts or stops, where the hazard
falls changes nothing. Going right across such a day an interval with deaths may be
left (worse: its deaths can no longer be told of there) or entered (better), and so may
intervals with survivors (the other way round, since a hazard there costs them). Where
a crossing is for the better only, no hazard is ever put before it; where it is for the
worse only, none after it. What remains are the innermost intervals of Peto (1973,
Applied Statistics 22, 86-91) and Turnbull (1976, Journal of the Royal Statistical
Society B 38, 290-295), here for late entry, counts and columns that change along a
seedling's life as well: survivors alike in columns and stratum are counted together.

Where an interval with deaths can be had at no cost, since nobody was seen alive after
it, the hazard there is infinite: everybody still alive dies.
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace

import numpy as np

from survivor.arrays import Codes, Flags, Floats
from survivor.intervals import row_codes, sum_by

_SAME = 1e-9  # counts that differ by less are equal


@dataclass(frozen=True)
class Watched:
    """Risk intervals on arrays, n rows.

    ``columns`` (n, q); ``stratum`` codes 0 to S - 1; ``start``, ``stop`` days;
    counts ``at_risk``, ``died``; ``cluster`` codes.
    """

    columns: Floats
    stratum: Codes
    start: Floats
    stop: Floats
    at_risk: Floats
    died: Floats
    cluster: Codes

    def pick(self, rows: Flags | Codes) -> Watched:
        """Only these rows."""
        return Watched(*(getattr(self, each.name)[rows] for each in fields(self)))

    def kinds(self) -> Codes:
        """Code of each row's stratum and columns."""
        return row_codes([self.stratum, *self.columns.T], in_order=False)[0]

    def joined(self, codes: Codes, first: Codes) -> Watched:
        """Rows of one code as one, like the first of them."""
        at_risk, died = (sum_by(codes, counts, len(first)) for counts in (self.at_risk, self.died))
        return replace(self.pick(first), at_risk=at_risk, died=died)


@dataclass(frozen=True)
class Innermost:
    """Innermost intervals (left, right] in days, in order, and rows with what they reach over.

    Attributes
    ----------
    left, right
        Shape (J,).
    rows
        Equal rows joined; those that tell nothing left out.
    first, last
        Row i reaches over the innermost intervals ``first[i]`` to ``last[i]``, one at least.
    endless
        Intervals (left, right] with an infinite hazard, shape (E, 2).
    """

    left: Floats
    right: Floats
    rows: Watched
    first: Codes
    last: Codes
    endless: Floats


def innermost_of(rows: Watched) -> Innermost:
    """Find the innermost intervals of some rows and arrange the rows along them."""
    endless = []
    while True:
        left, right, free = _blocks(rows)
        if not free.any():
            break
        for begin, end in zip(left[free], right[free], strict=True):
            endless.append((begin, end))
            # Whoever died in an interval over it was sure to; nobody was seen to live through it.
            rows = rows.pick(~((rows.start < end) & (end <= rows.stop)))
    first = np.searchsorted(right, rows.start, side="right")
    last = np.searchsorted(right, rows.stop, side="right") - 1
    kept = first <= last
    return _joined(rows.pick(kept), first[kept], last[kept], left, right, np.array(endless).reshape(-1, 2))


def _joined(
    rows: Watched, first: Codes, last: Codes, left: Floats, right: Floats, endless: Floats
) -> Innermost:
    codes, one = row_codes([rows.kinds(), first, last, rows.cluster], in_order=False)
    return Innermost(left, right, rows.joined(codes, one), first[one], last[one], endless)


def _blocks(rows: Watched) -> tuple[Floats, Floats, Flags]:
    """Find the ends of the innermost intervals, and which of them cost nothing."""
    days = np.unique(np.concatenate([rows.start, rows.stop]))
    start, stop = np.searchsorted(days, rows.start), np.searchsorted(days, rows.stop)
    count = len(days)
    dead, lived = rows.died > 0, rows.at_risk - rows.died
    entered = np.bincount(start[dead], minlength=count)
    left_behind = np.bincount(stop[dead], minlength=count)
    # Survivors of each kind that enter less those that leave, on the days on which they do not balance.
    kinds = rows.kinds()
    places = np.concatenate([kinds * count + start, kinds * count + stop])
    moves, inverse = np.unique(places, return_inverse=True)
    change = sum_by(inverse, np.concatenate([lived, -lived]), len(moves))
    dearer = np.bincount(moves[change > _SAME] % count, minlength=count) > 0
    cheaper = np.bincount(moves[change < -_SAME] % count, minlength=count) > 0
    better, worse = (entered > 0) | cheaper, (left_behind > 0) | dearer
    # Days that change nothing join what lies on both sides of them.
    bounds = np.flatnonzero(better | worse)
    better, worse = better[bounds], worse[bounds]
    deaths = np.cumsum(entered - left_behind)[bounds[:-1]]
    cost = np.cumsum(np.bincount(start, lived, count) - np.bincount(stop, lived, count))[bounds[:-1]]
    # Between bounds b and b + 1: kept where what lies before is no better for all, nor what lies after.
    kept = better[:-1] & worse[1:] & (deaths > 0)
    ends = days[bounds]
    return ends[:-1][kept], ends[1:][kept], cost[kept] < _SAME
