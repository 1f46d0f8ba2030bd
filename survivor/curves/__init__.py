"""Survival curves: Kaplan-Meier, Turnbull, life table, with limits by plot."""

from survivor.curves.estimate import curve
from survivor.curves.result import Curves, Step

__all__ = ["Curves", "Step", "curve"]
