"""The two demo cohorts are read cleanly: the problems that are in them are found, and no others."""

from __future__ import annotations

from pathlib import Path

import pytest

from survivor.intervals import check_intervals, tally
from survivor.records import Records, read_records
from survivor.settings import read_settings

DATASETS = Path(__file__).parent.parent.parent / "datasets"


def cohort(name: str) -> Records:
    return read_records(DATASETS / name, read_settings(DATASETS / name))


@pytest.fixture(scope="module")
def tagged() -> Records:
    return cohort("tagged")


@pytest.fixture(scope="module")
def counts() -> Records:
    return cohort("counts")


@pytest.mark.slow
def test_every_method_of_the_study_file_is_in_the_intervals(tagged: Records, counts: Records) -> None:
    for name, records in (("tagged", tagged), ("counts", counts)):
        settings = read_settings(DATASETS / name)
        check_intervals(records.intervals)
        methods = list(records.intervals["method"].cat.categories)
        assert set(methods) == {method.name for method in settings.methods}
        assert methods[0] == settings.design.usual_practice
        assert (records.intervals["dry_season"] == "12-01 to 03-31").all()


def test_the_tagged_cohort(tagged: Records) -> None:
    assert not (tagged.problems["severity"] == "stop").any()
    assert set(tagged.problems["code"]) == {
        "lost-from-sight", "missing-dead", "not-found", "not-found-at-end", "not-visited", "renamed",
        "reshoot", "skipped-visit", "unconfirmed-death",
    }  # fmt: skip
    assert tally(tagged.intervals)["plots"] == 96
    assert tagged.plots["planted"].sum() == 1920
    first = tagged.visits[tagged.visits["cohort"] == "planting"]
    assert len(first[["site", "block", "plot", "tag"]].drop_duplicates()) == 1920
    assert first["tag"].str.len().eq(4).all()
    assert set(first["species"]) == {"blackwood", "river red gum", "drooping sheoak", "sweet bursaria"}


def test_lost_tags_bound_the_deaths(tagged: Records) -> None:
    sizes = tagged.sizes()
    died = int(tagged.intervals["died"].sum())
    assert sizes["died"] == died
    assert int(tagged.under(unknown="dead")["died"].sum()) == died + sizes["lost"]
    assert int(tagged.under(unknown="alive")["died"].sum()) == died
    assert int(tagged.under(missing="unknown")["died"].sum()) < died


def test_the_counts_cohort(counts: Records) -> None:
    assert set(counts.problems["code"]) == {"count-rises", "not-visited", "renamed", "total-row"}
    assert tally(counts.intervals)["plots"] == 60
    assert tally(counts.intervals)["sites"] == 14
    rise = counts.problems[counts.problems["code"] == "count-rises"]
    assert len(rise) == 2
    assert rise["row"].nunique() == 1
    assert "landholder" in counts.plots.columns
    assert "landholder" not in counts.intervals.columns


def test_private_facts_are_in_no_frame_that_is_analysed(counts: Records) -> None:
    assert "landholder" not in counts.visits.columns


def test_accounts_add_up(tagged: Records, counts: Records) -> None:
    rows, works = (
        len((DATASETS / "tagged" / name).read_text().splitlines()) - 1 for name in ("visits.csv", "diary.csv")
    )
    assert len(tagged.accounts) == rows + works + 96
    assert len(counts.accounts) == 60 * 6 + 1
