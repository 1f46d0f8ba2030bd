import numpy as np
import pandas as pd
import pytest

from survivor.effects.confounding import confounding, layout
from survivor.errors import EffectError
from tests.effects.making import planting


@pytest.fixture
def two_parts():
    """Usual and spot meet at Oddle Flat; rip and mound meet at Quillop Bend; the two parts never meet."""
    frame = planting(
        {
            "Oddle Flat": {"usual": 2, "spot": 1},
            "Snarrow Rise": {"usual": 1},
            "Quillop Bend": {"rip": 1, "mound": 3},
            "Thribble End": {"rip": 1},
        }
    )
    slope = {"Oddle Flat": 2.0, "Snarrow Rise": 4.0, "Quillop Bend": 10.0, "Thribble End": 14.0}
    return frame.assign(
        slope=frame["site"].map(slope), texture=np.where(frame["site"] == "Snarrow Rise", "sand", "clay")
    )


def test_plots_of_each_method_at_each_site(two_parts):
    found = confounding(two_parts)
    assert found.table.loc["Oddle Flat"].to_dict() == {"usual": 2, "spot": 1, "rip": 0, "mound": 0}
    assert found.table.to_numpy().sum() == 9


def test_parts_that_share_no_site(two_parts):
    found = confounding(two_parts)
    assert not found.connected
    assert found.parts == (("usual", "spot"), ("rip", "mound"))
    joined = confounding(
        pd.concat([two_parts, planting({"Thribble End": {"usual": 1}}).assign(slope=14.0, texture="clay")])
    )
    assert joined.connected


def test_pairs_name_their_basis(two_parts):
    pairs = (
        confounding(two_parts).pairs.astype({"method": str, "against": str}).set_index(["method", "against"])
    )
    assert pairs.loc[("spot", "usual"), "basis"] == "within sites"
    assert pairs.loc[("spot", "usual"), "sites_shared"] == 1
    assert pairs.loc[("rip", "usual"), "basis"] == "between sites only"
    # spot was used at one site only
    assert pairs.loc[("rip", "spot"), "basis"] == "refused"


def test_comparisons_that_rest_on_sites_alone_are_named(two_parts):
    found = confounding(two_parts)
    assert "rip against usual" in found.between_only
    assert "spot against usual" not in found.between_only


def test_a_link_through_a_third_method():
    frame = planting({"Oddle Flat": {"usual": 1, "rip": 1}, "Quillop Bend": {"spot": 1, "rip": 1}})
    pairs = confounding(frame).pairs.astype({"method": str, "against": str}).set_index(["method", "against"])
    assert pairs.loc[("spot", "usual"), "linked_through"] == "rip"


def test_balance_of_traits_in_plots(two_parts):
    balance = confounding(two_parts).balance
    slope = balance[balance["trait"] == "slope"].set_index("method")
    # Three plots of the usual practice: slopes 2, 2 and 4.
    assert slope.loc["usual", ["n_plots", "value"]].tolist() == [3, pytest.approx(8 / 3)]
    # Quillop Bend and Thribble End by hand: mean 12, variance 4; usual: variance 8/9.
    by_hand = (12 - 8 / 3) / np.sqrt((4 + 8 / 9) / 2)
    assert slope.loc["rip", "standardised_difference"] == pytest.approx(by_hand)
    sand = balance[(balance["trait"] == "texture") & (balance["level"] == "sand")].set_index("method")
    assert sand.loc["usual", "value"] == pytest.approx(100 / 3)


def test_without_sites_all_plots_stand_together():
    frame = planting({"Oddle Flat": {"usual": 1, "spot": 1}}).drop(columns="site")
    assert layout(frame, "method", []).basis("usual", "spot") == "within sites"


def test_without_plots_it_is_refused(two_parts):
    with pytest.raises(EffectError, match="no column plot"):
        confounding(two_parts.drop(columns="plot"))
