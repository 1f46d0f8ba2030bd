"""Tables of other kinds and libraries give the numbers of a plain pandas frame."""

from __future__ import annotations

import numpy as np
import pandas as pd
import polars
import pyarrow as arrow
import pytest

import survivor
from survivor.errors import IntervalsError
from survivor.frames import own_frame
from tests.public.making import METHODS, F

TEXT = F.assign(method=F["method"].astype(object))


def check(table: object, like: pd.DataFrame = TEXT) -> None:
    """Fit, survival and curves are those of the plain frame."""
    for answer in (
        lambda rows: survivor.fit(rows, "method + z").table,
        lambda rows: survivor.survival(survivor.fit(rows, "method + z"), at=300).table,
        lambda rows: survivor.contrasts(survivor.fit(rows, "method"), at=365).table,
        lambda rows: survivor.curve(rows, by="method").table,
    ):
        found, expected = answer(table), answer(like)
        assert list(found.columns) == list(expected.columns)
        for name in expected.columns:
            if pd.api.types.is_float_dtype(expected[name]):
                np.testing.assert_allclose(found[name], expected[name], rtol=1e-8, err_msg=name)
            else:
                assert found[name].astype(str).tolist() == expected[name].astype(str).tolist()


def test_polars():
    table = polars.from_dict({name: TEXT[name].tolist() for name in TEXT.columns})
    check(table)
    levels = polars.Enum(list(METHODS))
    check(table.with_columns(polars.col("method").cast(levels)), F)
    with pytest.raises(IntervalsError, match=r"call .collect\(\) first"):
        survivor.fit(table.lazy(), "method")
    blank = table.with_columns(
        died=polars.when(polars.col("plot") == "p3").then(None).otherwise(polars.col("died"))
    )
    with pytest.raises(IntervalsError, match="column died: the value is blank"):
        survivor.fit(blank, "method")


def test_arrow():
    table = arrow.table({name: TEXT[name].tolist() for name in TEXT.columns})
    check(table)
    check(table.to_pandas(types_mapper=pd.ArrowDtype))
    coded = table.set_column(2, "method", table["method"].dictionary_encode())
    check(coded)
    check(coded.to_pandas(types_mapper=pd.ArrowDtype))
    twins = arrow.table([*table.columns, table["died"]], names=[*table.column_names, "died"])
    with pytest.raises(IntervalsError):
        survivor.fit(twins, "method")


@pytest.mark.parametrize("storage", ["python", "pyarrow"])
def test_pandas_text(storage):
    text = pd.StringDtype(storage)
    check(TEXT.astype({"site": text, "plot": text, "method": text}))
    check(F.assign(method=pd.Categorical(F["method"].astype(text), pd.Index(METHODS, dtype=text))), F)


def test_converted_dtypes():
    check(TEXT.convert_dtypes())
    check(TEXT.convert_dtypes().astype({"at_risk": "Int16"}))


@pytest.mark.skipif(pd.__version__ >= "3", reason="the setting is what pandas 3 always does")
def test_copy_on_write_and_text_of_pandas_3():
    with pd.option_context("mode.copy_on_write", True, "future.infer_string", True):
        table = pd.DataFrame({name: TEXT[name].tolist() for name in TEXT.columns})
        check(table)
        before = table.copy()
        survivor.survival(survivor.fit(table, "method"))
        pd.testing.assert_frame_equal(table, before)


def test_blank_numbers_of_any_kind_stay_blank():
    table = pd.DataFrame(
        {"a": pd.array([1, None], dtype="Int64"), "b": pd.array([True, None], dtype="boolean")}
    )
    plain = own_frame(table.assign(text=pd.array(["x", None], dtype="string")))
    assert plain["a"].dtype == float
    assert plain.isna().iloc[1].all()
    assert plain["text"].iloc[0] == "x"
