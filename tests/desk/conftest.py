from collections.abc import Iterator
from pathlib import Path

import pytest
from starlette.testclient import TestClient

from tests.desk.opened import Opened, with_seasons


@pytest.fixture
def desk(tmp_path: Path) -> Opened:
    folder = tmp_path / "seasons"
    folder.mkdir()
    return Opened(with_seasons(folder))


@pytest.fixture
def client(desk: Opened) -> Iterator[TestClient]:
    with desk.browser() as browser:
        yield browser
