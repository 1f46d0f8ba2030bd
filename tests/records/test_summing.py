"""Rows summed over the seedlings of a plot answer as a row for each seedling does."""

import numpy as np
import pandas as pd
import pytest

import survivor
from survivor.analysis.described import three_measures
from survivor.analysis.milestone import all_dead, visit_ages
from survivor.curves.rounds import at_milestone
from survivor.intervals import entries, tally
from survivor.records.frames import INTERVAL_ORDER
from survivor.records.summing import may_be_summed, one_a_past, summed, visits_summed
from survivor.settings import Milestone

VISITS = (60, 170, 290, 365, 540)
MILESTONES = (
    Milestone(name="after the first dry season", day=280, window_days=60),
    Milestone(name="12 months", day=365, window_days=30),
)
ORDER = ["site", "block", "plot", "tag", "start_day"]
PLANTED = pd.Timestamp("2022-06-07")


def seedlings(rng: np.random.Generator, sites: int = 6, per_plot: int = 30) -> pd.DataFrame:
    """A row a seedling and stretch, of seedlings some of which are missed at a visit."""
    rows = []
    for site in range(sites):
        for plot, method in enumerate(("spot spray", "rip")):
            for tag in range(per_plot):
                dies = rng.exponential(500 + 300 * plot)
                seen = [day for day in VISITS if rng.random() > 0.15]
                start = 0
                for day in seen:
                    died = int(dies <= day)
                    rows.append((f"Site {site}", "B1", f"P{plot}", f"{tag:03d}", method, start, day, died))
                    start = day
                    if died:
                        break
    names = ["site", "block", "plot", "tag", "method", "start_day", "stop_day", "died"]
    table = pd.DataFrame(rows, columns=names).assign(
        at_risk=1, species="blackwood", cohort="planting", planted_date=PLANTED, weed_free_radius_m=0.5
    )
    return table.sort_values(ORDER, ignore_index=True)


def past_by_past(table: pd.DataFrame, *told: pd.Series) -> pd.DataFrame:
    """Keep one seedling for those that are alike, but for what else is told of them."""
    entry = table.groupby(ORDER[:4], sort=False).ngroup()
    facts = table.assign(**{str(n): own for n, own in enumerate(told)}).groupby(entry).first()
    alike = facts.groupby(["site", "plot", *map(str, range(len(told)))]).ngroup().to_numpy()
    return one_a_past(table.assign(entry=entry), alike).drop(columns="entry")


@pytest.fixture(scope="module")
def table() -> pd.DataFrame:
    return seedlings(np.random.default_rng(20240611))


@pytest.fixture(scope="module")
def sums(table) -> pd.DataFrame:
    return summed(past_by_past(table), MILESTONES)


def test_a_row_a_plot_and_stretch(table, sums):
    assert (sums["tag"] == "").all()
    key = ["site", "plot", "start_day", "stop_day"]
    assert len(sums) == len(table.drop_duplicates(key))
    expected = table.groupby(key)[["at_risk", "died"]].sum()
    pd.testing.assert_frame_equal(sums.set_index(key)[["at_risk", "died"]].sort_index(), expected)
    assert tally(sums) == tally(table)
    assert entries(sums)["at_risk"].sum() == entries(table)["at_risk"].sum()


def test_one_stands_for_those_with_the_same_stretches(table):
    kept = past_by_past(table)
    assert len(kept) < len(table)
    assert tally(kept) == tally(table)
    telling = table.groupby(["site", "plot", "tag"])["stop_day"].transform("max") % 7
    apart = past_by_past(table, telling)
    assert tally(apart) == tally(table)
    assert len(apart) >= len(kept)
    every = past_by_past(table, table["tag"])
    pd.testing.assert_frame_equal(every, table, check_dtype=False)


@pytest.mark.parametrize("milestone", MILESTONES)
def test_those_alive_at_a_milestone(table, sums, milestone):
    alive = []
    for rows in (table, sums):
        moved, span = at_milestone(rows, milestone.day, milestone.window_days)
        over = (moved["start_day"] < milestone.day) & (moved["stop_day"] >= milestone.day)
        left = (moved["at_risk"] - moved["died"]).where(over, 0)
        alive.append((left.groupby(moved["plot"]).sum().to_dict(), span))
    assert alive[0] == alive[1]


@pytest.mark.parametrize("model", ["grouped", "logistic", "cox"])
def test_the_same_models(table, sums, model):
    at = {"at": 365} if model == "logistic" else {}
    fits = [survivor.fit(rows, "method", model=model, strata="site", **at) for rows in (table, sums)]
    for name in ("estimate", "std_error", "df", "lower", "upper"):
        one, other = (fit.table[name].to_numpy(float) for fit in fits)
        assert other == pytest.approx(one, rel=1e-8)
    assert [fits[0].n_seedlings, fits[0].n_plots] == [fits[1].n_seedlings, fits[1].n_plots]
    assert list(fits[0].checks) == list(fits[1].checks)


@pytest.mark.parametrize("estimator", ["kaplan-meier", "turnbull"])
def test_the_same_curves(table, sums, estimator):
    one, other = (survivor.curve(rows, by="method", estimator=estimator).read(365) for rows in (table, sums))
    for name in ("survival", "lower", "upper"):
        assert other[name].to_numpy(float) == pytest.approx(one[name].to_numpy(float), rel=1e-6)


@pytest.mark.parametrize(
    "changed",
    [
        pytest.param({"start_day": 60}, id="first seen later"),
        pytest.param({"stop_day": 75}, id="visited again within 30 days"),
        pytest.param({"weed_free_radius_m": 0.7}, id="a trait of its own"),
    ],
)
def test_seedlings_that_an_answer_may_follow_are_told_apart(table, changed):
    rows = table.copy()
    where = (rows["site"] == "Site 2") & (rows["plot"] == "P1") & (rows["start_day"] == 0)
    if "stop_day" in changed:
        first = rows.index[where & (rows["stop_day"] == 60) & (rows["died"] == 1)][:1]
    else:
        first = rows.index[where & (rows["stop_day"] > 60)][:1]
        first = rows.index[rows["tag"].eq(rows.loc[first[0], "tag"]) & where][:1]
    assert len(first) == 1
    for name, value in changed.items():
        rows.loc[first, name] = value
    out = summed(rows, MILESTONES)
    apart = out[out["tag"] != ""]
    assert set(zip(apart["site"], apart["plot"], strict=True)) == {("Site 2", "P1")}
    own = rows[(rows["site"] == "Site 2") & (rows["plot"] == "P1")]
    pd.testing.assert_frame_equal(apart.reset_index(drop=True), own.reset_index(drop=True))


def test_two_visits_in_the_window_of_a_milestone(table):
    wide = (*MILESTONES, Milestone(name="18 months", day=450, window_days=90))
    pd.testing.assert_frame_equal(summed(table, wide), table)
    # A milestone that the visits have not reached is answered for the last of them.
    later = (Milestone(name="five years", day=1825, window_days=200),)
    pd.testing.assert_frame_equal(summed(table, later), table)


@pytest.mark.parametrize("seed", range(12))
def test_sums_of_parts_summed_are_those_of_all(table, seed):
    rng = np.random.default_rng(seed)
    until = table["site"].map({site: rng.choice(VISITS) for site in table["site"].unique()})
    rows = table[table["stop_day"] <= until].reset_index(drop=True)
    milestones = [
        Milestone(name=f"{n}", day=int(rng.integers(60, 900)), window_days=int(rng.integers(20, 200)))
        for n in range(2)
    ]
    part = rng.permutation(6)[rows["site"].str[-1].astype(int)] // 2
    parts = [summed(rows[part == n].reset_index(drop=True), milestones) for n in range(3)]
    whole = pd.concat([own for own in parts if len(own)]).sort_values([*INTERVAL_ORDER, "stop_day"])
    pd.testing.assert_frame_equal(summed(whole.reset_index(drop=True), milestones), summed(rows, milestones))


@pytest.fixture(scope="module")
def visits(table) -> pd.DataFrame:
    """What the visits said of the seedlings, each of which stands for three."""
    told = pd.DataFrame(
        {
            **{name: table[name] for name in (*ORDER[:4], "species", "cohort", "method")},
            "date": PLANTED + pd.to_timedelta(table["stop_day"], unit="D"),
            "day": table["stop_day"],
            "state": table["died"].map({0: "alive", 1: "dead"}),
            "plants": 3,
        }
    )
    told = told.sort_values([*ORDER[:4], "date"], ignore_index=True)
    return told.assign(row=np.arange(2, len(told) + 2))


@pytest.mark.parametrize("milestone", MILESTONES, ids=lambda milestone: milestone.name)
def test_visits_summed_say_what_those_of_seedlings_say(table, visits, milestone):
    few = visits_summed(visits, 540, MILESTONES)
    assert len(few) < 0.15 * len(visits)
    assert few["plants"].sum() == visits["plants"].sum()
    assert (few["tag"] == "").all()
    plots = table[["site", "block", "plot"]].drop_duplicates().assign(planted=90)
    at = (table, milestone.day, milestone.window_days)
    whole, ours = (three_measures(own, plots, *at) for own in (visits, few))
    assert list(whole["measure"])[-1] == "survival of found"
    pd.testing.assert_frame_equal(ours, whole)
    assert sorted(visit_ages(few, table)) == sorted(visit_ages(visits, table))


@pytest.mark.parametrize(
    "changed",
    [
        pytest.param({"day": 300, "date": PLANTED + pd.Timedelta(days=300)}, id="again within 30 days"),
        pytest.param({"day": 400, "date": PLANTED + pd.Timedelta(days=400)}, id="again after a month"),
        pytest.param({"height_cm": 45.0}, id="a height"),
        pytest.param({"day": 289}, id="another planting day"),
    ],
)
def test_visits_that_an_answer_may_follow_keep_their_tags(visits, changed):
    rows = visits.assign(height_cm=np.nan)
    where = (rows["site"] == "Site 2") & (rows["plot"] == "P1")
    one = rows.index[where & (rows["day"] == 290)][0]
    for name, value in changed.items():
        rows.loc[one, name] = value
    wide = (*MILESTONES, Milestone(name="13 months", day=395, window_days=32))
    tagged = visits_summed(rows, 540, wide)
    tagged = tagged[tagged["tag"] != ""].reset_index(drop=True)
    pd.testing.assert_frame_equal(tagged, rows[where].reset_index(drop=True))


def test_visits_where_a_milestone_is_not_reached(visits):
    later = (Milestone(name="five years", day=1825, window_days=200),)
    pd.testing.assert_frame_equal(visits_summed(visits, 540, later), visits)
    assert (
        visits_summed(visits, 540, (later[0].model_copy(update={"window_days": 100}),))["tag"] == ""
    ).all()


def test_survival_from_the_first_visit_follows_every_seedling(table):
    assert may_be_summed(table)
    late = table.assign(start_day=table["start_day"].where(table["start_day"] > 0, 30))
    assert not may_be_summed(late)
    assert not may_be_summed(table[:0])


def test_all_dead_is_all_dead(table, sums):
    assert all_dead(table) == all_dead(sums)
    dead = table.groupby(["site", "plot", "tag"])["died"].transform("max") == 1
    assert all_dead(summed(table[dead].reset_index(drop=True), MILESTONES))
