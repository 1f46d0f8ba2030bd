"""The README's Python, run as it stands, gives the numbers of the report."""

import re
from pathlib import Path

import pytest

from survivor.study import Study
from tests.report.demo import wholly_analysed

ROOT = Path(__file__).parents[2]


@pytest.fixture(scope="module")
def blocks():
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    return re.findall(r"```python\n(.*?)```", text, flags=re.DOTALL)


@pytest.mark.slow
def test_the_analysts_page_runs_and_agrees_with_the_report(blocks, tmp_path, monkeypatch):
    (tmp_path / "datasets").symlink_to(ROOT / "datasets")
    monkeypatch.chdir(tmp_path)
    # The whole analysis of that study is made once, for those who look at its report too.
    whole = wholly_analysed("tagged")
    monkeypatch.setattr(Study, "analyse", lambda study, say=None: whole)
    names = {}
    exec(blocks[0], names)
    import survivor

    reported = names["study"].analysis.comparing.against.table
    own = survivor.contrasts(names["fit"], at=365, population=names["planted"]).table
    assert own["estimate"].to_list() == pytest.approx(reported["estimate"].to_list())
    assert own["upper"].to_list() == pytest.approx(reported["upper"].to_list())
    found = names["found"].table
    for column in ("estimate", "lower", "upper", "p_adjusted"):
        assert found[column].to_list() == pytest.approx(reported[column].to_list())
    assert (tmp_path / "reports" / "mine" / "report.html").is_file()


def test_a_hand_made_frame_works(blocks):
    names = {}
    exec(blocks[1], names)
    table = names["survivor"].fit(names["frame"], "method", strata=None).table
    assert table["hazard_ratio"].iloc[0] < 1
