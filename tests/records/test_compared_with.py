"""Which method comes first, and so is what the others are compared with."""

from __future__ import annotations

import json

import pandas as pd
import pytest

from survivor.records.frames import intervals_frame
from survivor.settings import Settings
from survivor.vocabulary import INTERVAL_COLUMNS

PLOTS = {"auger": 2, "rip": 4, "spot": 3}


def rows() -> pd.DataFrame:
    found = []
    for method, count in PLOTS.items():
        for plot in range(count):
            found.append({"site": "Oddle Flat", "block": "1", "plot": f"{method}{plot}", "method": method})
    filled = {name: 0 for name in INTERVAL_COLUMNS if name not in found[0]}
    return pd.DataFrame(found).assign(**filled)


def study(usual: str | None) -> Settings:
    records = {"kind": "counts", "sheets": [{"file": "counts.csv"}]}
    design = {} if usual is None else {"usual_practice": usual}
    return Settings.model_validate_json(
        json.dumps({"study": {"name": "Invented"}, "records": records, "design": design})
    )


@pytest.mark.parametrize(
    ("usual", "order"),
    [
        ("spot", ["spot", "auger", "rip"]),
        (None, ["rip", "auger", "spot"]),  # the method with most plots
        ("nothing done", ["rip", "auger", "spot"]),  # named, but in no plot
    ],
)
def test_the_first_method_is_the_usual_practice_or_that_with_most_plots(
    usual: str | None, order: list[str]
) -> None:
    found = intervals_frame(rows(), [], study(usual))
    assert found["method"].cat.categories.tolist() == order
