"""lifelines as tests call it: where it is not installed (it does not allow pandas 3) they are skipped."""

from __future__ import annotations

from typing import Any

import pytest


def CoxPHFitter() -> Any:
    return pytest.importorskip("lifelines").CoxPHFitter()


def KaplanMeierFitter() -> Any:
    return pytest.importorskip("lifelines").KaplanMeierFitter()


def multivariate_logrank_test(*columns: Any, **options: Any) -> Any:
    return pytest.importorskip("lifelines.statistics").multivariate_logrank_test(*columns, **options)


def median_survival_times(curve: Any) -> Any:
    return pytest.importorskip("lifelines.utils").median_survival_times(curve)
