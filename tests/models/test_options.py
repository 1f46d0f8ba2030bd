"""A model with its options as one value, beside its name and arguments."""

import pandas as pd
import pytest

import survivor
from survivor.errors import ModelError
from tests.models.cohorts import counts

SAME = {
    "grouped": (survivor.Grouped(pieces=[40, 150]), {"pieces": [40, 150]}),
    "weighted": (survivor.Grouped(working=0.1), {"working": 0.1}),
    "logistic": (survivor.Logistic(at=365, window=10), {"model": "logistic", "at": 365, "window": 10}),
    "mixed": (survivor.Mixed(points=3, restricted=True), {"model": "mixed", "points": 3, "restricted": True}),
}


@pytest.mark.parametrize("name", SAME)
def test_options_and_arguments_give_the_same_fit(name):
    options, arguments = SAME[name]
    one = survivor.fit(counts(), "method", options)
    other = survivor.fit(counts(), "method", **arguments)
    pd.testing.assert_frame_equal(one.table, other.table)
    assert one.checks == other.checks


@pytest.mark.parametrize(
    ("model", "arguments", "words"),
    [
        (survivor.Logistic(at=365), {"window": 10.0}, "window= is given beside the model's own options"),
        (survivor.Mixed(), {"pieces": [40]}, "pieces= is given beside"),
        ("cox", {"at": 365}, "cox gives survival at any day"),
        ("cox", {"random": "site/plot"}, "cox has no random effects"),
        ("logistic", {"at": 365, "pieces": [40]}, "logistic has no pieces"),
        ("mixed", {"at": 365, "pieces": [40]}, "odds at one day have no pieces"),
        ("grouped", {"random": "plot"}, "grouped has no random effects"),
        ("kaplan", {}, "no model 'kaplan'"),
    ],
)
def test_what_does_not_go_together_is_refused(model, arguments, words):
    with pytest.raises(ModelError, match=words) as refused:
        survivor.fit(counts(), "method", model, **arguments)
    assert refused.value.mend


def test_an_option_that_is_none_of_the_model_s_is_refused_when_it_is_written():
    with pytest.raises(ModelError, match="an unspecified baseline has no pieces"):
        survivor.Grouped(pieces=[40], baseline="unspecified")
