"""How people watch tagged seedlings: what a visit writes down, and what it cannot.

Takes seedlings whose day of death is known and gives the words on the field
sheets: plots not reached, tags not found, plants gone, plants called dead that
reshoot, dead plants no longer looked for after two visits.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from survivor.arrays import Flags

ALIVE, DEAD, MISSING, NOT_FOUND, BLANK = "A", "D", "M", "NF", ""

Words = NDArray[np.str_]


@dataclass(frozen=True)
class Habits:
    """Chances of what makes records untidy, per seedling per visit unless stated.

    Parameters
    ----------
    plot_missed
        Chance that a plot is not reached at a visit.
    rows_left_out
        Chance that a plot not reached has no rows at all, rather than blank ones.
    blank
        Chance that one seedling's state is left blank.
    not_found, lost
        Chance that a tag is not found, and that it then is never found again.
    gone
        Chance that a plant found dead is gone, its position found.
    reshoot
        Chance that a living plant is called dead, to be found alive at the next visit.
    """

    plot_missed: float = 0.03
    rows_left_out: float = 0.4
    blank: float = 0.006
    not_found: float = 0.010
    lost: float = 0.5
    gone: float = 0.18
    reshoot: float = 0.004


@dataclass(frozen=True)
class Seen:
    """What was written: a word a seedling a visit, and whether there is a row for it."""

    words: Words  # (seedlings, visits)
    listed: Flags  # (seedlings, visits)
    plot_missed: Flags  # (seedlings, visits)


def watch(
    death_day: NDArray[np.float64],
    visit_day: NDArray[np.int64],
    plot: NDArray[np.intp],
    habits: Habits,
    rng: np.random.Generator,
) -> Seen:
    """Write down the states of seedlings at their visits.

    Parameters
    ----------
    death_day
        Day of death of each seedling since planting; (seedlings,).
    visit_day
        Day of each visit; (seedlings, visits).
    plot
        One integer a plot; (seedlings,).
    habits
        The chances.
    rng
        Where the chances are drawn from.
    """
    shape = visit_day.shape
    alive = death_day[:, None] > visit_day
    words = np.where(alive, ALIVE, DEAD).astype("U2")
    words[~alive & np.logical_or.accumulate(~alive & (rng.random(shape) < habits.gone), axis=1)] = MISSING

    alive_next = np.concatenate([alive[:, 1:], np.zeros((shape[0], 1), dtype=bool)], axis=1)
    words[alive & alive_next & (rng.random(shape) < habits.reshoot)] = DEAD

    not_found = rng.random(shape) < habits.not_found
    lost = np.logical_or.accumulate(not_found & (rng.random(shape) < habits.lost), axis=1)
    words[not_found | lost] = NOT_FOUND
    words[rng.random(shape) < habits.blank] = BLANK

    missed = (rng.random((int(plot.max()) + 1, shape[1])) < habits.plot_missed)[plot]
    no_rows = (rng.random((int(plot.max()) + 1, shape[1])) < habits.rows_left_out)[plot]
    words[missed] = BLANK
    return Seen(words, _still_looked_for(words) & ~(missed & no_rows), missed)


def _still_looked_for(words: Words) -> Flags:
    """Tell which rows are written: none after two visits in a row without live tissue."""
    looked = np.ones(words.shape, dtype=bool)
    gone = np.isin(words, (DEAD, MISSING))
    for visit in range(2, words.shape[1]):
        looked[:, visit] = looked[:, visit - 1] & ~(gone[:, visit - 1] & gone[:, visit - 2])
    return looked


def heights(
    words: Words, visit_day: NDArray[np.int64], yearly_cm: NDArray[np.float64], rng: np.random.Generator
) -> Words:
    """Heights of the living (cm, to the highest live tip); a few are not measured.

    Parameters
    ----------
    words, visit_day
        States and days; (seedlings, visits).
    yearly_cm
        Usual growth of each seedling's species in a year; (seedlings,).
    """
    start = rng.normal(24.0, 4.0, len(words))
    pace = yearly_cm * np.exp(rng.normal(0.0, 0.3, len(words)))
    tall = start[:, None] + pace[:, None] * visit_day / 365.25 + rng.normal(0.0, 2.0, words.shape)
    measured = (words == ALIVE) & (rng.random(words.shape) > 0.02)
    return np.where(measured, np.maximum(5.0, tall.round()).astype(int).astype(str), "")


def causes(words: Words, month: NDArray[np.int64], rng: np.random.Generator) -> Words:
    """One likely cause at the visit at which a plant is first called dead or gone.

    Parameters
    ----------
    words
        States; (seedlings, visits).
    month
        Month of each visit, 1 to 12; (seedlings, visits).
    """
    gone = np.isin(words, (DEAD, MISSING))
    first = gone & (np.cumsum(gone, axis=1) == 1)
    after_dry = np.isin(month, (1, 2, 3, 4, 5))
    luck = rng.random(words.shape)
    told = np.select(
        [
            luck < 0.25,
            luck < np.where(after_dry, 0.72, 0.38),
            luck < np.where(after_dry, 0.84, 0.62),
            luck < 0.90,
        ],
        ["unknown", "drought", "weeds", "browsing"],
        default="frost",
    )
    told = np.where(after_dry & (told == "frost"), "insects", told)
    told = np.where(words == MISSING, np.where(luck < 0.6, "unknown", "browsing"), told)
    return np.where(first, told, "")


def weed_cover(
    words: Words, visit_day: NDArray[np.int64], radius_m: NDArray[np.float64], rng: np.random.Generator
) -> Words:
    """Weed cover in the weed-free patch, in steps of 5 %, told for plants that were looked at.

    Parameters
    ----------
    words, visit_day
        States and days; (seedlings, visits).
    radius_m
        Weed-free radius at planting of each seedling's plot; (seedlings,).
    """
    growing_back = 8.0 + 62.0 * (1 - np.exp(-visit_day / 300.0)) - 30.0 * (radius_m[:, None] - 0.5)
    cover = growing_back + rng.normal(0.0, 9.0, words.shape)
    stepped = (np.clip(cover, 0, 95) / 5).round() * 5
    told = np.isin(words, (ALIVE, DEAD))
    return np.where(told, stepped.astype(int).astype(str), "")
