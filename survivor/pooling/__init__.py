"""Seasons and sites together: pooled estimates, how far units differ, and what a new one may show.

Pure statistics of estimates and their standard errors; nothing here knows where they came from.
"""

from survivor.pooling.pool import pool
from survivor.pooling.regression import PooledTrend, pool_by
from survivor.pooling.result import Pooled

__all__ = ["Pooled", "PooledTrend", "pool", "pool_by"]
