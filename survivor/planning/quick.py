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

from survivor.arrays import Codes, Floats
from survivor.errors import EffectError, ModelError
from survivor.intervals import season_words, sum_by
from survivor.limits import t_test
from survivor.models.cells import ALIVE, DEAD, Cells
from survivor.models.likelihood import NoFiniteBaseline, Rows, Solution, covariance_by, solve
from survivor.models.pieces import Merged, absorb, choose_pieces
from survivor.models.separation import separation
from survivor.simulate.cohort import Cohort
from survivor.simulate.drawing import Watched, planted_days
from survivor.vocabulary import DRY_SEASON


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
    finite = (deaths > 0) & (survivors > 0)
    if not finite.any():
        return NOTHING
    used = rows.pick(finite[rows.block])
    place = np.where(deaths == 0, ALIVE, DEAD).astype(np.intp)
    place[finite] = np.arange(finite.sum())
    stratum = place[used.block]
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
    cells = _cells(cohort, season, pieces, place, day)
    by_piece = cells.by_piece(solution.parameters)
    # Plots are of one size and every block holds both methods: each block counts alike.
    weights = np.repeat([-1.0, 1.0], blocks) / blocks
    gradient = cells.gradient(weights[None], by_piece, len(solution.level))
    estimate = np.array([weights @ cells.alive(by_piece)])
    errors = covariance.errors(gradient)
    p_value = float(t_test(estimate, errors.std_error, errors.df)[0])
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
        rows = pd.DataFrame(
            {
                "planted_date": planted_days(cohort)[self.site],
                "start_day": self.start,
                "stop_day": self.stop,
                "at_risk": self.at_risk,
                "died": self.died,
            }
        )
        if cohort.dry_season is not None:
            rows[DRY_SEASON] = season_words(*cohort.dry_season)
        return rows


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
    while (solution := solve(rows)).divergent is not None:
        pieces = absorb(pieces, solution.divergent, rows.lengths, used.died)
        rows = data()
    return rows, pieces, solution


def _cells(cohort: Cohort, season: Watched, pieces: Merged, place: Codes, day: int) -> Cells:
    """Every block under the first method, then every block under the second."""
    blocks = len(place)
    site = np.zeros(blocks, dtype=np.intp)
    site[season.block] = season.site
    planted = pd.DataFrame({"planted_date": planted_days(cohort)[np.tile(site, 2)]})
    lengths = pieces.lengths(planted, np.zeros(2 * blocks), np.full(2 * blocks, float(day)))
    return Cells(np.repeat([0.0, 1.0], blocks)[:, None], lengths, np.tile(place, 2), np.arange(2 * blocks))
