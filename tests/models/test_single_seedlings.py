"""Large tables of single seedlings: rows alike are joined first, and nothing else changes."""

import numpy as np
import pandas as pd
import pytest

from survivor import intervals
from survivor.effects.contrasts import contrasts
from survivor.errors import IntervalsError, ModelError
from survivor.intervals import alike, check_intervals, entries, row_codes, tally
from survivor.models import grouped
from survivor.models.fit import fit
from survivor.models.randomisation import permutation_test
from tests.models.cohorts import counts, tagged


@pytest.fixture
def frame():
    found = tagged(counts(species=("acacia", "callitris")))
    return found.assign(planted_date=pd.Timestamp("2022-06-01"), dry_season="12-01 to 02-28")


@pytest.fixture(params=["as it comes", "shuffled"])
def either(request, frame):
    return frame if request.param == "as it comes" else frame.sample(frac=1, random_state=4)


@pytest.fixture
def joining(monkeypatch):
    monkeypatch.setattr(intervals, "_MANY", 10)


def test_alike_keeps_counts_and_places(either, joining):
    names = ["site", "plot", "method", "species"]
    found, first, code = alike(either, names)
    assert 20 * len(found) < 3 * len(either)
    keys = [*names, "start_day", "stop_day"]
    pd.testing.assert_frame_equal(
        found[keys].reset_index(drop=True), either[keys].iloc[first].reset_index(drop=True)
    )
    pd.testing.assert_frame_equal(
        found[keys].iloc[code].reset_index(drop=True), either[keys].reset_index(drop=True)
    )
    by_hand = either.groupby(keys, observed=True)[["at_risk", "died"]].sum()
    pd.testing.assert_frame_equal(
        found.set_index(keys)[["at_risk", "died"]].sort_index(), by_hand.sort_index(), check_dtype=False
    )


def test_counts_and_small_tables_are_left_alone(frame, joining, monkeypatch):
    table = counts()
    assert alike(table, ["plot"])[0] is table
    monkeypatch.setattr(intervals, "_MANY", len(frame) + 1)
    assert alike(frame, ["plot"])[0] is frame


@pytest.mark.parametrize("model", ["grouped", "mixed"])
def test_a_fit_is_the_same(either, model, monkeypatch):
    formula = "method + species"
    whole = fit(either, formula, model)
    monkeypatch.setattr(intervals, "_MANY", 10)
    found = fit(either, formula, model)
    pd.testing.assert_frame_equal(found.table, whole.table, rtol=1e-6, atol=1e-9)
    assert (found.n_seedlings, found.n_died, found.n_plots, found.n_sites, found.n_clusters) == (
        whole.n_seedlings,
        whole.n_died,
        whole.n_plots,
        whole.n_sites,
        whole.n_clusters,
    )
    assert found.checks == whole.checks
    assert len(found.data) == len(either)
    ours, theirs = (contrasts(one, at=300).table for one in (found, whole))
    pd.testing.assert_frame_equal(ours, theirs, rtol=1e-6, atol=1e-9)


def test_clusters_are_joined_to_find_the_maximum_and_kept_for_limits(monkeypatch):
    frame = counts(sites=3, plots=6)
    whole = fit(frame, "method")
    monkeypatch.setattr("survivor.models.grouped._MANY", 10)
    sizes = []
    solve = grouped.solve
    monkeypatch.setattr(grouped, "solve", lambda data: sizes.append(len(data.died)) or solve(data))
    found = fit(frame, "method")
    assert 4 * sizes[0] < len(frame)
    pd.testing.assert_frame_equal(found.table, whole.table, rtol=1e-6, atol=1e-9)
    assert found.log_likelihood == pytest.approx(whole.log_likelihood)
    ours, theirs = (contrasts(one, at=300).table for one in (found, whole))
    pd.testing.assert_frame_equal(ours, theirs, rtol=1e-6, atol=1e-9)


def test_the_lot_drawn_again_is_the_same(either, monkeypatch):
    whole = permutation_test(fit(either, "method"), draws=50)
    monkeypatch.setattr(intervals, "_MANY", 10)
    found = permutation_test(fit(either, "method"), draws=50)
    pd.testing.assert_frame_equal(found.table, whole.table, rtol=1e-6)


def test_blanks_are_counted_in_rows_of_the_table(frame, joining):
    some = frame.assign(species=frame["species"].where(np.arange(len(frame)) > 6))
    with pytest.raises(ModelError, match=f"7 of {len(frame)} rows have no species"):
        fit(some, "method + species")


def test_two_intervals_of_one_tag_are_found_in_any_order(either):
    check_intervals(either)
    second = either.index[(either["start_day"] > 0).to_numpy()][3]
    wrong = either.assign(start_day=either["start_day"].where(either.index != second, 1.0))
    with pytest.raises(IntervalsError, match=f"row {second}, .*overlap"):
        check_intervals(wrong)
    # Without a tag, as in counts, rows of a plot may overlap.
    check_intervals(wrong.assign(tag=""))
    check_intervals(wrong.assign(tag=pd.NA))
    check_intervals(wrong.assign(tag=pd.array([pd.NA, *[""] * (len(wrong) - 1)], dtype="string")))
    check_intervals(wrong.assign(tag=pd.Categorical([""] * len(wrong))))


@pytest.mark.parametrize("kind", [object, "category", "string"])
def test_seedlings_are_tallied_in_any_order(either, kind):
    names = ["site", "plot", "tag"]
    frame = either.assign(**{name: either[name].astype(kind) for name in names})
    late = frame["start_day"] > 0
    frame = frame[~(late & frame["tag"].astype(str).str.endswith("3"))]
    by_hand = frame.groupby(names, observed=True)["start_day"].transform("min")
    assert tally(frame)["seedlings"] == (frame["start_day"] == by_hand).sum() == len(entries(frame))
    assert tally(frame)["plots"] == len(frame[["site", "plot"]].drop_duplicates())
    assert tally(frame)["sites"] == frame["site"].nunique()


def columns_of(kind: str) -> list[pd.Series | np.ndarray]:
    rng = np.random.default_rng(2)
    own = {
        "names": [
            pd.Series(rng.choice(["b", "a", None], 500)),
            pd.Series(pd.Categorical(rng.choice(["y", "x", "z"], 500), ["z", "y", "x"])),
            rng.choice([2.5, -1.0, np.nan], 500),
        ],
        "more than a table holds": [rng.integers(0, 90, 500), rng.integers(0, 5, 500), rng.normal(size=500)],
        "whole days": [rng.choice([0.0, 60, 365], 500), rng.integers(0, 3, 500)],
        "rising": [np.arange(500) // 7, np.arange(500) % 7 + 0.5],
        "beyond 64 bits": [rng.choice([7, 2**40], 500), *rng.normal(size=(8, 500))],
    }
    return own[kind]


@pytest.mark.parametrize("in_order", [True, False])
@pytest.mark.parametrize(
    "kind", ["names", "more than a table holds", "whole days", "rising", "beyond 64 bits"]
)
def test_codes_of_many_rows_are_those_of_few(kind, in_order, monkeypatch):
    columns = columns_of(kind)
    few = row_codes(columns, in_order=in_order)
    monkeypatch.setattr(intervals, "_FEW", 0)
    many = row_codes(columns, in_order=in_order)
    for one, other in zip(few, many, strict=True):
        np.testing.assert_array_equal(one, other)
    first_seen = pd.DataFrame({place: column for place, column in enumerate(columns)}).drop_duplicates()
    np.testing.assert_array_equal(np.sort(many[1]), first_seen.index)
