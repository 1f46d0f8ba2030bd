"""A season analysed: models, effects, money and findings from its records."""

from survivor.analysis.result import Analysis
from survivor.analysis.run import analyse

__all__ = ["Analysis", "analyse"]
