"""Water held by soils, the share of the weeds, effective rain: published values and plain geometry."""

from __future__ import annotations

import math

import numpy as np
import pytest

from survivor.errors import SeasonError
from survivor.season.balance import effective_rain
from survivor.season.soil import TEXTURES, Patch, water_held
from survivor.settings import Texture


@pytest.mark.parametrize(
    ("field_capacity", "wilting_point", "total", "ready"),
    [(0.15, 0.06, 72, 29), (0.32, 0.15, 136, 54), (0.35, 0.23, 96, 38)],
    ids=["loamy sand", "silt", "silty clay"],
)
def test_example_36_tomato(field_capacity, wilting_point, total, ready):
    # Source: FAO-56 (Allen and others 1998), example 36: roots 0.8 m, p 0.40. Printed total and readily
    # available water, mm, as read in copies by others of the paper.
    patch = Patch(field_capacity, wilting_point, depth_m=0.8, depletion_fraction=0.40)
    assert round(patch.total_mm) == total
    assert round(patch.ready_mm) == ready


# Sand and clay, shares by weight, of the middle of each class.
CLASSES = {
    "sand": (0.88, 0.05),
    "loamy sand": (0.80, 0.05),
    "sandy loam": (0.65, 0.10),
    "loam": (0.40, 0.20),
    "silt loam": (0.20, 0.15),
    "silt": (0.10, 0.05),
    "sandy clay loam": (0.60, 0.25),
    "clay loam": (0.30, 0.35),
    "silty clay loam": (0.10, 0.35),
    "sandy clay": (0.50, 0.40),
    "silty clay": (0.10, 0.45),
    "clay": (0.25, 0.50),
}


@pytest.mark.parametrize("texture", list(CLASSES))
def test_textures_follow_from_their_equations(texture):
    # Source: Saxton and Rawls 2006, Soil Science Society of America Journal 70:1569-1578, equations 1
    # and 2 and table 3 (2.5 % organic matter): equations and table are from memory, and agree.
    sand, clay = CLASSES[texture]
    organic = 2.5
    first = (
        -0.024 * sand
        + 0.487 * clay
        + 0.006 * organic
        + 0.005 * sand * organic
        - 0.013 * clay * organic
        + 0.068 * sand * clay
        + 0.031
    )
    wilting = first + 0.14 * first - 0.02
    first = (
        -0.251 * sand
        + 0.195 * clay
        + 0.011 * organic
        + 0.006 * sand * organic
        - 0.027 * clay * organic
        + 0.452 * sand * clay
        + 0.299
    )
    capacity = first + 1.283 * first**2 - 0.374 * first - 0.015
    assert TEXTURES[texture].wilting_point == pytest.approx(wilting, abs=0.0051)
    assert TEXTURES[texture].field_capacity == pytest.approx(capacity, abs=0.0051)


def test_textures_are_found_however_they_are_written():
    assert water_held("Sandy-Loam ") == TEXTURES["sandy loam"]
    own = {"light clay": Texture(field_capacity=0.4, wilting_point=0.25)}
    assert water_held("LIGHT  clay", own) == (0.4, 0.25)
    with pytest.raises(SeasonError, match="no texture class") as caught:
        water_held("gravel")
    assert "soil.textures" in caught.value.mend


def test_without_a_root_radius_the_root_zone_is_the_patch():
    patch = Patch(0.3, 0.1, depth_m=0.5, radius_m=0.4)
    assert patch.weed_share == 0
    assert patch.coefficient == patch.patch_coefficient
    assert patch.area_m2 == pytest.approx(math.pi * 0.16)
    assert patch.total_litres == pytest.approx(100 * math.pi * 0.16)
    assert Patch(0.3, 0.1, depth_m=0.5).total_litres is None


def test_weeds_stand_on_what_the_patch_leaves_of_the_root_zone():
    # Half the root zone's radius is a quarter of its area: weeds on three quarters.
    patch = Patch(
        0.3, 0.1, depth_m=0.5, radius_m=0.3, root_radius_m=0.6, patch_coefficient=0.4, weed_coefficient=1.0
    )
    assert patch.weed_share == pytest.approx(0.75)
    assert patch.coefficient == pytest.approx(0.25 * 0.4 + 0.75 * 1.0)
    assert Patch(0.3, 0.1, depth_m=0.5, radius_m=0.7, root_radius_m=0.6).weed_share == 0


@pytest.mark.parametrize(
    "wrong",
    [
        {"wilting_point": 0.3},
        {"wilting_point": -0.1},
        {"depth_m": 0.0},
        {"depth_m": float("nan")},
        {"radius_m": -1.0},
        {"root_radius_m": 0.5},
        {"depletion_fraction": 1.0},
        {"patch_coefficient": -0.1},
    ],
)
def test_a_patch_that_cannot_be_true_is_refused(wrong):
    with pytest.raises(SeasonError):
        Patch(**({"field_capacity": 0.3, "wilting_point": 0.1, "depth_m": 0.5} | wrong))


def test_small_falls_are_lost():
    # Source: FAO-56 ch. 8, read in copies by others: daily rain below about 0.2 ETo can be ignored.
    found = effective_rain([0.9, 1.0, 1.1, 0.0, np.nan, 3.0, 0.0], [5.0, 5.0, 5.0, 5.0, 5.0, np.nan, np.nan])
    np.testing.assert_array_equal(found, [0.0, 1.0, 1.1, 0.0, np.nan, np.nan, 0.0])
