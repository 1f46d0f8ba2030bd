"""The made-up season of ``making.py``, its report and its page, made once."""

from __future__ import annotations

import pytest

from survivor.analysis import Analysis
from survivor.document.elements import Report
from survivor.document.page import page_of
from survivor.report.arrangement import ANNEX, REPORT
from tests.report.making import build


@pytest.fixture(scope="session")
def analysis() -> Analysis:
    """Preparations chosen, not drawn: the commonest season."""
    return build()


@pytest.fixture(scope="session")
def report(analysis: Analysis) -> Report:
    """The report of that season."""
    return REPORT.of(analysis)


@pytest.fixture(scope="session")
def annex(analysis: Analysis) -> Report:
    """Its annex."""
    return ANNEX.of(analysis)


@pytest.fixture(scope="session")
def page(report: Report) -> str:
    """The page of the report."""
    return page_of(report)


@pytest.fixture(scope="session")
def annex_page(annex: Report) -> str:
    """The page of its annex."""
    return page_of(annex)
