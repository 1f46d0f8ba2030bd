"""Every result draws itself, prints itself and stands in a notebook."""

import matplotlib as mpl
import numpy as np
import pytest
from matplotlib.axes import Axes

from survivor.costs.payoff import payoff
from survivor.effects.confounding import confounding
from survivor.effects.contrasts import contrasts
from survivor.effects.dose import dose
from survivor.effects.standardise import survival
from survivor.models.fit import fit
from tests.effects.making import planting


@pytest.fixture(scope="module")
def results():
    frame = planting({site: {"usual": 4, "spot": 4} for site in ("Oddle Flat", "Snarrow Rise")})
    frame["died"] = [7, 8, 6, 9, 3, 4, 5, 2, 9, 8, 10, 7, 5, 6, 4, 5]
    frame["weed_free_radius_m"] = np.tile([0.4, 0.6, 0.8, 1.0], 4)
    model = fit(frame, "method")
    return {
        "survival": survival(model),
        "contrasts": contrasts(model),
        "dose": dose(model),
        "payoff": payoff(model, {"usual": 3.0, "spot": 4.0}, currency="$"),
        "confounding": confounding(model),
    }


@pytest.mark.parametrize("name", ["survival", "contrasts", "dose", "payoff"])
def test_draws_on_axes_given_or_new(results, name):
    mpl.use("agg")
    from matplotlib import pyplot

    _, given = pyplot.subplots()
    assert results[name].plot(ax=given) is given
    assert isinstance(results[name].plot(), Axes)
    pyplot.close("all")


@pytest.mark.parametrize("name", ["survival", "contrasts", "dose", "payoff", "confounding"])
def test_stands_in_a_notebook(results, name):
    assert results[name]._repr_html_().startswith("<table")


@pytest.mark.parametrize(
    ("name", "words"),
    [("survival", "per 100 planted"), ("contrasts", "within sites"), ("payoff", "established")],
)
def test_prints_itself(results, name, words):
    assert words in repr(results[name])


def test_a_column_of_another_name_is_drawn_too():
    mpl.use("agg")
    from matplotlib import pyplot

    frame = planting({"Oddle Flat": {"usual": 4, "spot": 4}}).rename(columns={"method": "crew"})
    frame["died"] = [7, 8, 6, 9, 3, 4, 5, 2]
    assert isinstance(contrasts(fit(frame, "crew"), by="crew").plot(), Axes)
    pyplot.close("all")
