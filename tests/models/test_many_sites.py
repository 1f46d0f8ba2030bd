"""Levels of many sites are a border, and tables may come in parts: the answers are those of dense columns."""

import datetime as dt

import numpy as np
import pandas as pd
import polars as pl
import pyarrow as pa
import pytest

import survivor
from survivor.frames import own_frame
from survivor.simulate.cohort import Cohort
from survivor.simulate.drawing import draw_intervals


@pytest.fixture(scope="module")
def intervals() -> pd.DataFrame:
    cohort = Cohort(
        methods=(("spray", 0.0), ("auger", -0.3), ("rip", -0.6)),
        sites=5,
        blocks=2,
        seedlings=14,
        planted=(dt.date(2022, 6, 1),),
    )
    return draw_intervals(cohort, 20260101)


@pytest.fixture(scope="module")
def dask():
    """Half a second to import, which every process that collects would spend."""
    import dask.dataframe

    return dask.dataframe


@pytest.fixture(scope="module")
def tagged(intervals) -> pd.DataFrame:
    """The same plants, a row each: those of a group die in the order of their tags."""
    group = ["site", "block", "plot", "species"]
    ordered = intervals.sort_values([*group, "start_day"], ignore_index=True)
    dead = ordered.groupby(group, observed=True)["died"].cumsum() - ordered["died"]
    rows = ordered.loc[ordered.index.repeat(ordered["at_risk"])]
    number = rows.groupby(level=0).cumcount().to_numpy() + dead.loc[rows.index].to_numpy()
    died = (number < (dead + ordered["died"]).loc[rows.index].to_numpy()).astype(int)
    tags = rows["species"].astype(str) + " " + pd.Series(number, index=rows.index).astype(str)
    made = rows.assign(tag=tags, at_risk=1, died=died)
    return made.sort_values(["site", "block", "plot", "tag", "start_day"], ignore_index=True)


def test_site_levels_in_a_border_are_those_of_a_column_a_site(intervals):
    # A design matrix with a column of 0 and 1 for each site, fitted without strata.
    border = survivor.fit(intervals, "method", strata="site")
    dense = survivor.fit(intervals, "method + site", strata=None)
    kept = dense.table[dense.table["term"].isin(border.table["term"])].reset_index(drop=True)
    assert len(kept) == 2
    for name in ("estimate", "std_error", "df", "lower", "upper"):
        np.testing.assert_allclose(border.table[name], kept[name], rtol=1e-10, atol=1e-10)
    for by in ("plot", "site"):
        border, dense = (
            survivor.fit(intervals, formula, strata=strata, cluster=by)
            for formula, strata in (("method", "site"), ("method + site", None))
        )
        kept = dense.table[dense.table["term"].isin(border.table["term"])]
        np.testing.assert_allclose(border.table["std_error"], kept["std_error"], rtol=1e-10)
        np.testing.assert_allclose(border.table["df"], kept["df"], rtol=1e-9)


@pytest.mark.parametrize("cluster", ["plot", ["site", "block", "plot", "tag"]])
@pytest.mark.parametrize("by", ["whole plots", "rows that part a plot", "rows dealt out"])
def test_a_dask_table_gives_what_its_rows_give(dask, tagged, by, cluster):
    table = tagged
    if by == "rows dealt out":  # the rows of a seedling lie in several partitions
        table = table.iloc[np.argsort(np.arange(len(table)) % 3, kind="stable")].reset_index(drop=True)
    parts = dask.from_pandas(table, npartitions=3, sort=False)
    if by == "whole plots":
        ends = [0, *(np.flatnonzero(table["site"] != table["site"].shift())[[2, 4]] - 1), len(table) - 1]
        parts = dask.from_pandas(table, npartitions=1).repartition(
            divisions=[0, ends[1] + 1, ends[2] + 1, ends[3]]
        )
    whole, ours = (survivor.fit(some, "method", cluster=cluster) for some in (tagged, parts))
    for name in ("estimate", "std_error", "df", "lower", "upper"):
        np.testing.assert_allclose(ours.table[name], whole.table[name], rtol=1e-9)
    assert list(ours.table["term"]) == list(whole.table["term"])
    assert ours.log_likelihood == pytest.approx(whole.log_likelihood, rel=1e-9)
    assert (ours.n_seedlings, ours.n_plots, ours.n_sites) == (whole.n_seedlings, whole.n_plots, whole.n_sites)


@pytest.mark.parametrize("kind", ["arrow", "polars", "polars categories"])
def test_names_of_a_large_table_are_read_as_codes(kind):
    number = np.arange(20_000)
    table = pd.DataFrame(
        {"site": [f"S{n % 7}" for n in number], "plot": [f"P{n // 50}" for n in number], "start_day": 0}
    ).assign(stop_day=9, at_risk=4, died=number % 3)
    table.loc[5, "plot"] = None
    given = pl.from_pandas(table) if kind != "arrow" else pa.Table.from_pandas(table, preserve_index=False)
    if kind == "polars categories":
        given = given.with_columns(pl.col("site").cast(pl.Categorical))
    read, plain = own_frame(given), own_frame(table)
    for name in ("site", "plot"):
        assert list(read[name].cat.categories) == list(plain[name].cat.categories)
        assert (read[name].cat.codes == plain[name].cat.codes).all()


def test_seedlings_of_one_history_are_held_once(dask, tagged):
    whole = own_frame(tagged)
    held = own_frame(dask.from_pandas(tagged, npartitions=1))
    assert len(held) < 0.7 * len(whole)
    assert held["at_risk"].sum() == whole["at_risk"].sum()
    assert held["died"].sum() == whole["died"].sum()
    assert len(own_frame(dask.from_pandas(tagged, npartitions=1), {"tag"})) == len(whole)
