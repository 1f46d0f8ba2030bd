"""Curvature learnt from the steps of a climb, where the information is a poor guide to it.

The expected information of a table may be far from the curvature of its likelihood:
intervals that reach over most of a seedling's life, or a penalty. Scoring then creeps.
Limited-memory BFGS mends the inverse information by how the slope fell along the last
steps, without a matrix of its own.

Source: Nocedal and Wright (2006), Numerical Optimization, section 7.2.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from survivor.models.clusters import Bread

Floats = NDArray[np.float64]
Steps = tuple[tuple[Floats, Floats], ...]  # (how the parameters moved, how the slope fell)

_MEMORY = 10


def learn(steps: Steps, moved: Floats, fell: Floats) -> Steps:
    """Add a step; one along which the slope rose teaches nothing and is left out."""
    if float(fell @ moved) <= 1e-8 * float(np.linalg.norm(fell) * np.linalg.norm(moved)):
        return steps
    return (*steps[1 - _MEMORY :], (moved, fell))


def times(bread: Bread, contrasts: Floats, steps: Steps = ()) -> Floats:
    """Rows of ``contrasts`` (m, p) times the inverse curvature: the bread, changed by what steps taught."""
    found, shares = contrasts, []
    for moved, fell in reversed(steps):
        share = found @ moved / (fell @ moved)
        found = found - share[:, None] * fell
        shares.append(share)
    found = np.hstack(bread.times(found))
    for (moved, fell), share in zip(steps, reversed(shares), strict=True):
        found = found + (share - found @ fell / (fell @ moved))[:, None] * moved
    return found
