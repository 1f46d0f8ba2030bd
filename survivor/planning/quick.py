"""A simulated season analysed on arrays: the numbers of the whole way, without its tables.

The whole way (a table of risk intervals, ``fit_grouped``, ``contrasts``) spends most of its
time on tables that a simulation throws away. Here plots by visits are two arrays, and the
same parts are called on them: pieces, likelihood, covariance by plot and the difference
standardised over blocks. A season that these do not settle goes the whole way.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from survivor.effects.limits import t_test
from survivor.errors import EffectError, ModelError
from survivor.intervals import sum_by
from survivor.models.grouped import covariance_by
from survivor.models.grouped_survival import GroupedCells
from survivor.models.likelihood import NoFiniteBaseline, Rows, Solution, solve
from survivor.models.pieces import Merged, choose_pieces, silence
from survivor.models.separation import separation
from survivor.simulate import Cohort, Watched

Floats = NDArray[np.float64]
Codes = NDArray[np.intp]


@dataclass(frozen=True)
class Told:
    """What a season tells of the difference: p-value, and size per 100; blank where it tells nothing."""

    p_value: float
    difference: float


NOTHING = Told(np.nan, np.nan)
# A handful of seedlings under a huge spread of plots can leave an information that has no inverse.
NO_ANSWER = (ModelError, EffectError, np.linalg.LinAlgError)


def analysed_quickly(cohort: Cohort, season: Watched, day: int) -> Told | None:
    """Analyse a season of two methods in blocks of a plot each.

    Parameters
    ----------
    cohort
        What it was drawn from; its second method is compared with its first.
    season
        Plots by visits.
    day
        The milestone, in days since planting.

    Returns
    -------
    Told or None
        None where the estimate has no finite value: the season needs the whole way.
    """
    plot, visit = np.nonzero(season.at_risk > 0)
    rows = _Rows.of(cohort, season, plot, visit)
    if day > rows.stop.max() or not season.died.any():
        return NOTHING
    blocks = int(season.block.max()) + 1
    deaths = sum_by(rows.block, rows.died, blocks)
    survivors = sum_by(rows.block, rows.at_risk - rows.died, blocks)
    known = (deaths > 0) & (survivors > 0)
    if not known.any():
        return NOTHING
    used = rows.pick(known[rows.block])
    kept = np.flatnonzero(known)
    stratum = np.searchsorted(kept, used.block).astype(np.intp)
    frame = used.frame(cohort)
    pieces, _ = choose_pieces(frame, None, stratum)
    try:
        fitted = _fitted(used, frame, pieces, stratum)
        if fitted is None:
            return None
        data, pieces, solution = fitted
        levels, codes = np.unique(used.plot, return_inverse=True)
        covariance = covariance_by(codes.astype(np.intp), len(levels), data, solution, "CR2")
    except NoFiniteBaseline:
        return None
    except NO_ANSWER:
        return NOTHING
    cells = _cells(cohort, season, pieces, known, (deaths > 0) & (survivors == 0), day)
    by_piece = cells.by_piece(solution.level, solution.alpha, solution.beta)
    # Plots are of one size and every block holds both methods: each block counts alike.
    weights = np.repeat([-1.0, 1.0], blocks) / blocks
    gradient = weights @ cells.derivative(by_piece, len(solution.level))
    estimate = np.array([weights @ cells.alive(by_piece)])
    error = np.sqrt(np.maximum(covariance.covariance_of(gradient).diagonal(), 0.0))
    p_value = float(t_test(estimate, error, covariance.degrees(gradient))[0])
    return NOTHING if np.isnan(p_value) else Told(p_value, 100 * float(estimate[0]))


@dataclass(frozen=True)
class _Rows:
    """Risk intervals on arrays, one a plot and visit at whose start anyone was alive."""

    plot: Codes
    block: Codes
    method: Codes
    site: Codes
    start: Floats
    stop: Floats
    at_risk: Floats
    died: Floats

    @classmethod
    def of(cls, cohort: Cohort, season: Watched, plot: Codes, visit: Codes) -> _Rows:
        site = season.site[plot]
        days = np.concatenate([np.zeros((cohort.sites, 1)), season.days], axis=1)
        return cls(
            plot,
            season.block[plot],
            season.method[plot],
            site,
            days[site, visit],
            days[site, visit + 1],
            season.at_risk[plot, visit].astype(float),
            season.died[plot, visit].astype(float),
        )

    def pick(self, rows: NDArray[np.bool_]) -> _Rows:
        return _Rows(*(getattr(self, name)[rows] for name in self.__dataclass_fields__))

    def frame(self, cohort: Cohort) -> pd.DataFrame:
        """Make the table that pieces are chosen from."""
        found = pd.DataFrame(
            {
                "planted_date": _planted(cohort)[self.site],
                "start_day": self.start,
                "stop_day": self.stop,
                "at_risk": self.at_risk,
                "died": self.died,
            }
        )
        if cohort.dry_season is not None:
            found.attrs["dry_season"] = {"start": cohort.dry_season[0], "end": cohort.dry_season[1]}
        return found


def _fitted(
    used: _Rows, frame: pd.DataFrame, pieces: Merged, stratum: Codes
) -> tuple[Rows, Merged, Solution] | None:
    """Maximise the likelihood; None where the difference between methods has no finite estimate."""

    def data() -> Rows:
        lengths = pieces.lengths(frame, used.start, used.stop)
        return Rows(
            used.method[:, None].astype(float), lengths, stratum, used.at_risk, used.died, ("method",)
        )

    rows = data()
    lived = used.at_risk - used.died
    if separation(rows.columns, rows.lengths > 0, stratum, used.died, lived) is not None:
        return None
    while (solution := solve(rows)).runaway is not None:
        pieces = silence(pieces, solution.runaway)
        rows = data()
    return rows, pieces, solution


def _cells(
    cohort: Cohort,
    season: Watched,
    pieces: Merged,
    known: NDArray[np.bool_],
    lost: NDArray[np.bool_],
    day: int,
) -> GroupedCells:
    """Every block under the first method, then every block under the second."""
    blocks = len(known)
    site = np.zeros(blocks, dtype=np.intp)
    site[season.block] = season.site
    planted = pd.DataFrame({"planted_date": _planted(cohort)[np.tile(site, 2)]})
    lengths = pieces.lengths(planted, np.zeros(2 * blocks), np.full(2 * blocks, float(day)))
    kept = np.flatnonzero(known)
    place = np.searchsorted(kept, np.where(known, np.arange(blocks), kept[0])).astype(np.intp)
    return GroupedCells(
        np.repeat([0.0, 1.0], blocks)[:, None],
        lengths,
        np.tile(place, 2),
        np.tile(known, 2),
        np.tile(lost, 2),
    )


def _planted(cohort: Cohort) -> NDArray[np.datetime64]:
    turns = [cohort.planted[site % len(cohort.planted)] for site in range(cohort.sites)]
    return np.array(turns, dtype="datetime64[ns]")
