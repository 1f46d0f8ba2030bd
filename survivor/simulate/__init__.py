"""Cohorts with known truth, drawn from stated parameters.

A seedling of plot p dies at the first time its cumulative hazard passes an
exponential draw::

    H(t) = H0(t) * exp(method + species + radius + site + method at that site + plot)

``H0`` is piecewise linear: one constant hazard from planting to the first dry
season, one for the first dry season, and so on. Death is seen only at the next
visit at which the seedling is found. Four paths share one draw: tidy frames
(:func:`draw_records`), risk intervals for calibration (:func:`draw_intervals`),
bare arrays (:func:`draw_watched`) and the truth that both estimate (:func:`true_effects`).
"""

from __future__ import annotations

from survivor.simulate.cohort import (
    Cohort,
    Truth,
    average_survival,
    hazard_knots,
    normal_nodes,
    season_cuts,
    true_dose,
    true_effects,
)
from survivor.simulate.drawing import Drawn, Watched, draw_intervals, draw_records, draw_watched

__all__ = [
    "Cohort",
    "Drawn",
    "Truth",
    "Watched",
    "average_survival",
    "draw_intervals",
    "draw_records",
    "draw_watched",
    "hazard_knots",
    "normal_nodes",
    "season_cuts",
    "true_dose",
    "true_effects",
]
