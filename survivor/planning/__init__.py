"""Before the season: how large it must be, what goes where, when it is visited, and the field sheets."""

from __future__ import annotations

from survivor.planning.layout import Layout, draw_layout
from survivor.planning.planfile import Plan, read_plan
from survivor.planning.run import SeasonPlan, plan

__all__ = ["Layout", "Plan", "SeasonPlan", "draw_layout", "plan", "read_plan"]
