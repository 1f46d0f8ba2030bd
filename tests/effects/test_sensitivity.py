import numpy as np
import pytest
from scipy import stats

from survivor.effects.contrasts import contrasts
from survivor.effects.sensitivity import e_value, e_value_of_limit, sensitivity
from survivor.errors import EffectError
from survivor.models.fit import fit
from tests.effects.making import FakeFit, planting
from tests.models.cohorts import counts


@pytest.mark.parametrize(
    ("ratio", "printed"),
    [
        # Source: VanderWeele and Ding (2017); printed answers from memory, computed by the formula.
        (0.80, 1.809017),
        (0.91, 1.428571),
        (3.9, 7.263034),
        (1.8, 3.000000),
        # Inputs of the Hammond and Horn example in the documentation of the R package EValue.
        (10.729780, 20.947333),
        (8.017457, 15.518268),
        (1.0, 1.0),
    ],
)
def test_e_values(ratio, printed):
    assert e_value(ratio) == pytest.approx(printed, abs=1e-6)
    assert e_value(1 / ratio) == pytest.approx(printed, abs=1e-6)


def test_the_limit_nearer_to_one_counts():
    # Source: the same; the leukaemia example, 0.80 (0.71 to 0.91).
    assert e_value_of_limit(0.71, 0.91) == pytest.approx(1.428571, abs=1e-6)
    assert e_value_of_limit(1.8, 8.7) == pytest.approx(3.0)
    assert e_value_of_limit(0.7, 1.1) == 1.0


@pytest.mark.parametrize("ratio", [0.0, -1.0, np.nan, np.inf])
def test_no_ratio_no_e_value(ratio):
    with pytest.raises(EffectError, match="no E-value"):
        e_value(ratio)


def test_risk_ratio_by_hand():
    frame = planting({"Oddle Flat": {"usual": 2, "rip": 2}, "Quillop Bend": {"usual": 2}})
    model = FakeFit(frame, lambda cell: 0.8 if cell["method"] == "rip" else 0.6)
    line = sensitivity(model).table.iloc[0]
    # Only Oddle Flat holds both: risks 0.2 and 0.4.
    assert (line["survival"], line["survival_against"]) == (pytest.approx(80), pytest.approx(60))
    assert line["risk_ratio"] == pytest.approx(0.5)
    # Delta method: (0.02 / 0.2)^2 + (0.02 / 0.4)^2.
    error = np.hypot(0.1, 0.05)
    assert line["std_error"] == pytest.approx(error)
    upper = np.exp(np.log(0.5) + stats.t.ppf(0.975, 10) * error)
    assert line["risk_ratio_upper"] == pytest.approx(upper)
    assert line["e_value"] == pytest.approx(2 + np.sqrt(2))
    assert line["e_value_limit"] == pytest.approx(e_value(upper))


def test_it_stands_on_the_same_places_as_the_difference():
    model = fit(counts(planted=30), "method")
    found = sensitivity(model).table.set_index("method")
    peer = contrasts(model).table.set_index("method")
    np.testing.assert_allclose(found["survival"] - found["survival_against"], peer["estimate"])


def test_methods_that_share_no_place_have_a_reason():
    frame = planting({"Oddle Flat": {"usual": 2}, "Quillop Bend": {"rip": 2}})
    line = sensitivity(FakeFit(frame, lambda _: 0.5)).table.iloc[0]
    assert np.isnan(line["e_value"])
    assert "no place holds both" in line["reason"]


def test_nobody_died_under_one_of_them():
    frame = planting({"Oddle Flat": {"usual": 2, "rip": 2}})
    line = sensitivity(FakeFit(frame, lambda cell: 1.0 if cell["method"] == "rip" else 0.6)).table.iloc[0]
    assert "no limits" in line["reason"]
