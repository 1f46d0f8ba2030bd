"""The page for analysts is what its calls give, and numbers that should agree with other libraries do."""

from __future__ import annotations

import pytest


@pytest.fixture(scope="module")
def analysts():
    """Libraries to compare with, which take long to import."""
    from tests import analysts

    return analysts


@pytest.fixture(scope="module")
def written(analysts) -> str:
    return (analysts.FOLDER / "README.md").read_text(encoding="utf-8")


@pytest.mark.slow
def test_every_call_gives_what_the_page_shows(analysts, written, monkeypatch):
    monkeypatch.chdir(analysts.ROOT)
    for part in analysts.calls():
        assert part in written, part.splitlines()[0]
    assert analysts.HEAD.strip() in written
    assert analysts.coming_from() in written
    for name in analysts.DRAWN:
        assert (analysts.FOLDER / f"{name}.png").read_bytes().startswith(b"\x89PNG")


@pytest.mark.slow
def test_numbers_agree_with_other_libraries_or_it_is_said_why(analysts, written, monkeypatch):
    monkeypatch.chdir(analysts.ROOT)
    found = list(analysts.lines())
    assert {line.what.split(",")[0] for line in found} == {"white pine", "plum cuttings", "demo"}
    for line in found:
        assert bool(line.why) != analysts.agree(line), line
        assert line.what in written
        if line.why:
            assert line.why in written
    assert analysts.side_by_side() in written


@pytest.mark.slow
def test_the_comparison_of_the_page_has_the_numbers_of_the_report(analysts, monkeypatch):
    monkeypatch.chdir(analysts.ROOT)
    names = {}
    call = next(call for heading, _, call, _ in analysts.TASKS if "as the report compares them" in heading)
    exec("\n".join([analysts.SETTING, *call.splitlines()[:-1]]), names)
    reported = names["study"].analysis.comparing.against.table
    found = names["found"].table
    assert found["method"].to_list() == reported["method"].to_list()
    for column in ("estimate", "lower", "upper", "p_adjusted"):
        assert found[column].to_list() == pytest.approx(reported[column].to_list()), column
