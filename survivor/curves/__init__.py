"""Survival curves: Kaplan-Meier, Turnbull, life table, with limits by plot."""

from survivor.curves.estimate import curve
from survivor.curves.result import Curves
from survivor.curves.steps import Step

__all__ = ["Curves", "Step", "curve"]
