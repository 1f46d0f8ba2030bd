"""The dry season stands in the table, so that whatever is done to the table first changes no number."""

import io

import pandas as pd
import pytest

import survivor
from survivor.errors import ModelError
from tests.models.cohorts import counts
from tests.slow import some_slow


@pytest.fixture
def frame():
    found = counts(species=("acacia", "callitris")).reset_index(drop=True)
    day = pd.Timestamp("2022-06-01")
    planted = found["site"].map(
        {site: day + pd.Timedelta(days=40 * n) for n, site in enumerate(sorted(found["site"].unique()))}
    )
    return found.assign(planted_date=planted, dry_season="12-01 to 02-28")


def _merged(frame):
    own = frame[["site", "plot"]].drop_duplicates().assign(aspect="north")
    return frame.merge(own, on=["site", "plot"])


def _read_again(frame):
    """Saved as CSV and read again; the order of preparations, which is the category's, given again."""
    read = pd.read_csv(io.StringIO(frame.to_csv(index=False)), keep_default_na=False)
    return read.assign(method=pd.Categorical(read["method"], frame["method"].cat.categories))


def _put_together(frame):
    return pd.concat([part for _, part in frame.groupby("site")])


def _filtered(frame):
    return frame.groupby("site", group_keys=False).filter(lambda part: len(part) > 0)


WAYS = (_merged, _read_again, _put_together, _filtered, pd.DataFrame.copy)


@pytest.mark.parametrize("model", some_slow(["grouped", "mixed"], 1))
@pytest.mark.parametrize("way", WAYS)
def test_a_table_worked_on_first_gives_the_same_numbers(frame, way, model):
    whole = survivor.fit(frame, "method", model=model)
    again = survivor.fit(way(frame), "method", model=model)
    assert "follow the dry season (1 December to 28 February)" in " ".join(whole.checks)
    assert again.checks == whole.checks
    pd.testing.assert_frame_equal(again.table, whole.table, rtol=1e-12)


@pytest.mark.slow
def test_a_study_saved_and_read_again_gives_the_same_numbers():
    plants = survivor.load("datasets/tagged").first_plants
    found, asked = (
        survivor.contrasts(survivor.fit(rows, "method"), by="method", at=365).table
        for rows in (plants, _read_again(plants))
    )
    pd.testing.assert_frame_equal(asked, found, rtol=1e-12)


LACKING = {
    "no column": (lambda frame: frame.drop(columns="dry_season"), "no column dry_season"),
    "a blank": (
        lambda frame: frame.assign(dry_season=frame["dry_season"].where(frame.index > 3)),
        "some rows have no",
    ),
    "an empty text": (
        lambda frame: frame.assign(dry_season=frame["dry_season"].where(frame.index > 3, "")),
        "some rows",
    ),
    "two": (
        lambda frame: frame.assign(dry_season=frame["dry_season"].where(frame.index > 3, "06-01 to 08-31")),
        "rows differ in their dry_season",
    ),
    "no planting dates": (
        lambda frame: frame.drop(columns="planted_date"),
        "planting dates are not in all rows",
    ),
}


@pytest.mark.parametrize("lack", LACKING)
def test_without_a_dry_season_the_fit_says_what_it_lacks(frame, lack):
    change, words = LACKING[lack]
    first = survivor.fit(change(frame), "method").checks[0]
    assert first.startswith("baseline pieces are the visits; ")
    assert words in first
    assert "give columns planted_date and dry_season" in first
    assert "pieces=" in first


def test_what_is_no_dry_season_is_refused_by_row(frame):
    frame.loc[5, "dry_season"] = "December to March"
    with pytest.raises(ModelError, match="'December to March' is no dry season") as fault:
        survivor.fit(frame, "method")
    assert "row 5, column dry_season" in str(fault.value)


def test_a_planting_date_that_is_none_is_refused_by_row(frame):
    words = frame.assign(planted_date=frame["planted_date"].dt.strftime("%d %B %Y"))
    with pytest.raises(ModelError, match="is no date with the year first"):
        survivor.fit(words, "method")


def test_the_argument_is_used_before_the_column(frame):
    given = survivor.SeasonPieces("12-01", "02-28", 3)
    first = survivor.fit(frame.drop(columns="dry_season"), "method", pieces=given).checks[0]
    assert first.startswith("baseline pieces as given: planting to the first dry season")
