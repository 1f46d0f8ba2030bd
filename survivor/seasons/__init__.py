"""Seasons together: studies taken in once each, their estimates pooled, and one model of all records."""

from survivor.seasons.season import Season, join_seasons, take_in
from survivor.seasons.together import SeasonsTogether, pool_seasons

__all__ = ["Season", "SeasonsTogether", "join_seasons", "pool_seasons", "take_in"]
