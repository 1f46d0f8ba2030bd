"""What the standard deviations of effects maximise: the full or a restricted likelihood.

Maximum likelihood takes the strata levels and coefficients as if they were known, and
so finds too little variation between groups where many were estimated from few
groups. The restricted likelihood is the profile likelihood of the standard deviations
less half the log determinant of the information of everything else, at the modes of
the effects: the adjusted profile likelihood of Cox and Reid (1987), Journal of the
Royal Statistical Society B 49, 1-39, which for normal outcomes is REML.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy import optimize

from survivor.errors import ModelError
from survivor.models.mixed_likelihood import Information, Likelihood
from survivor.models.mixed_solver import Solution, solve_from
from survivor.models.quadrature import Nodes
from survivor.models.row_terms import Floats

Mask = NDArray[np.bool_]

_NOTHING = 1e-3  # a standard deviation below this is none
_SMALL = 0.2  # one below this is compared with none
_EQUAL = 1e-4  # log-likelihoods this close are as good
_LARGEST = 8.0
_STEP = 0.003  # of differences in the log of a standard deviation
_POLISH = 3


@dataclass(frozen=True)
class Objective:
    """A likelihood to maximise over everything, with standard deviations free or held."""

    likely: Likelihood
    nodes: tuple[Nodes, ...]
    names: tuple[str, ...]
    strata: int
    restricted: bool

    @property
    def work(self) -> int:
        """Rows times quadrature nodes: what one evaluation costs."""
        nodes = int(np.prod([len(rule[0]) for rule in self.nodes]))
        return nodes * sum(len(block.stratum) for block in self.likely.blocks)

    def value(self, found: Solution) -> float:
        """Give what is maximised, with the binomial constant."""
        return found.log_likelihood + found.adjustment

    def best(self, start: Solution, free: Mask) -> Solution:
        """Maximise over the free standard deviations and all else; no information is computed."""
        if not self.restricted:
            return self._plain(start, free)
        held = self._held(start, start.sd)
        if not free.any():
            return held
        levels = np.flatnonzero(free)
        first = np.log(np.clip(start.sd[levels], 0.05, _LARGEST))
        found = optimize.minimize(
            lambda log_sd: -self.value(self._held(held, self._with(held, levels, log_sd))),
            first,
            method="Nelder-Mead",
            bounds=[(np.log(_NOTHING), np.log(_LARGEST))] * len(levels),
            options={"xatol": 1e-3, "fatol": 1e-7, "initial_simplex": _simplex(first)},
        ).x
        best = self._held(held, self._with(held, levels, found))
        for level in levels[np.exp(found) < _SMALL]:
            # Near zero the likelihood is flat in the log of a standard deviation.
            zero = self._held(best, np.where(np.arange(len(best.sd)) == level, 0.0, best.sd))
            if self.value(zero) > self.value(best) - _EQUAL:
                rest = free & (np.arange(len(free)) != level)
                found_zero = self.best(zero, rest)
                at_zero = found_zero.at_zero | (free & ~rest)
                return replace(found_zero, at_zero=at_zero)
        for _ in range(_POLISH):
            slope, curve = self._differences(held, levels, found)
            if np.linalg.eigvalsh(curve)[0] <= 0:
                break
            found = found + np.clip(np.linalg.solve(curve, slope), -0.05, 0.05)
        return replace(self._held(held, self._with(held, levels, found)), free=free)

    def informed(self, found: Solution) -> Solution:
        """Add the inverse information of the means and the free standard deviations."""
        free = found.free
        ready = self.likely.evaluate(found.at, self.nodes)
        raw: Information | None = self.likely.information(found.at, self.nodes, free, ready.peaks)
        if self.restricted and raw is not None and free.any():
            levels = np.flatnonzero(free)
            _, curve = self._differences(found, levels, np.log(found.sd[levels]))
            raw = _replaced(raw, curve / np.outer(found.sd[levels], found.sd[levels]))
        bread = None if raw is None else raw.inverse()
        if bread is None:
            raise ModelError(
                "the restricted likelihood has no proper maximum",
                where="mixed model",
                mend="use restricted=False, or fewer terms or random effects",
            )
        return replace(found, bread=bread)

    def _plain(self, start: Solution, free: Mask) -> Solution:
        return solve_from(self.likely, self.nodes, start.at, free, self.names, self.strata, information=False)

    def _held(self, start: Solution, sd: Floats) -> Solution:
        """Maximise over everything but the standard deviations."""
        moved = replace(start, at=replace(start.at, sd=sd))
        found = self._plain(moved, np.zeros(len(sd), dtype=bool))
        ready = self.likely.evaluate(found.at, self.nodes)
        bread, _ = self.likely.scoring(found.at, ready.peaks)
        size = float(np.log(bread.level).sum() - np.linalg.slogdet(bread.common)[1])
        return replace(found, adjustment=-size / 2, at_zero=start.at_zero)

    def _with(self, found: Solution, levels: NDArray[np.intp], log_sd: Floats) -> Floats:
        sd = found.sd.copy()
        sd[levels] = np.exp(log_sd)
        return sd

    def _differences(self, near: Solution, levels: NDArray[np.intp], at: Floats) -> tuple[Floats, Floats]:
        """Slope, and minus the curvature, of what is maximised, in the logs of standard deviations."""
        count = len(levels)
        moves = _STEP * np.eye(count)

        def value(log_sd: Floats) -> float:
            return self.value(self._held(near, self._with(near, levels, log_sd)))

        middle = value(at)
        high, low = ([value(at + sign * move) for move in moves] for sign in (1, -1))
        slope = (np.array(high) - np.array(low)) / (2 * _STEP)
        curve = np.diag((2 * middle - np.array(high) - np.array(low)) / _STEP**2)
        for i in range(count):
            for j in range(i):
                corners = [a * b * value(at + a * moves[i] + b * moves[j]) for a in (1, -1) for b in (1, -1)]
                curve[i, j] = curve[j, i] = -sum(corners) / (4 * _STEP**2)
        return slope, curve


def _simplex(first: Floats) -> Floats:
    found: Floats = np.vstack([first, first + 0.3 * np.eye(len(first))])
    return found


def _replaced(raw: Information, curve: Floats) -> Information | None:
    """Put the curvature of the restricted likelihood where that of the full one stands.

    After everything else is eliminated the standard deviations have information ``curve``.
    """
    size = len(raw.common) - len(curve)
    means = Information(raw.level, raw.across[:, :size], raw.common[:size, :size]).inverse()
    if means is None:
        return None
    cross = np.vstack([raw.across[:, size:], raw.common[:size, size:]])
    common = raw.common.copy()
    common[size:, size:] = curve + np.hstack(means.times(cross.T)) @ cross
    return replace(raw, common=common)
