"""What all tests share: how hypothesis and the processes run, and a browser for those that look at a page."""

from __future__ import annotations

import gc
from collections.abc import Generator, Iterator
from typing import TYPE_CHECKING, Any

import pytest
from hypothesis import settings

if TYPE_CHECKING:
    from playwright.sync_api import Browser

# Seconds depend on the machine, so no example of hypothesis has a deadline.
settings.register_profile("unhurried", parent=settings.default, deadline=None)
settings.load_profile("unhurried")

#: Folders whose tests share fixtures that take long to make.
TOGETHER = ("tests/guideline/", "tests/seasons/")
#: Long tests that share nothing but what is made once a run.
APART = (
    "tests/calibration/",
    "tests/report/test_pages.py",
    "tests/cli/test_broken_off.py",
    "tests/records/test_fuzz.py",
    "tests/records/test_layouts.py",
)
#: Begun first, so that no process is left with long tests at the end.
FIRST = (
    *APART,
    *TOGETHER,
    "tests/records/test_folding.py",
    "tests/records/test_mutating.py",
    "tests/programme/",
    "tests/proposing/",
    "tests/report/test_browser.py",
    "tests/report/test_one_value.py",
    "tests/analysis/",
)


@pytest.hookimpl(wrapper=True)
def pytest_collection() -> Generator[None, object, object]:
    """Look for nothing to let go among what is imported and collected, and seldom afterwards."""
    gc.disable()
    try:
        return (yield)
    finally:
        # Not gc.freeze: Hypothesis asks who refers to its generator, and what is frozen is not told of.
        gc.set_threshold(50_000, 50, 100)
        gc.enable()


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Put long tests first."""
    items.sort(key=lambda item: not item.nodeid.startswith(FIRST))


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_make_scheduler(config: pytest.Config, log: Any) -> Any:
    """Keep the tests of a module in one process, so that its fixtures are made once."""
    from xdist.scheduler import LoadScopeScheduling

    class ByFixtures(LoadScopeScheduling):
        def _split_scope(self, nodeid: str) -> str:
            if nodeid.startswith(TOGETHER):
                return "guideline and seasons"
            return nodeid if nodeid.startswith(APART) else nodeid.partition("::")[0]

    config.option.loadscopereorder = False  # in the order in which they are collected
    return ByFixtures(config, log)


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    """A browser for the pages of a report or guideline; only tests that need one ask for it."""
    from tests.document.browsing import open_browser

    yield from open_browser()


@pytest.fixture(scope="session", autouse=True)
def made_once(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> None:
    """Let the processes of a run share what takes long to make."""
    from tests.once import share_in

    own = tmp_path_factory.getbasetemp()
    share_in(own.parent if hasattr(request.config, "workerinput") else own)


@pytest.fixture
def read_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """Let what loads a study be given what was read before from the same files."""
    from tests.once import study_of

    monkeypatch.setattr("survivor.study.load", study_of)
