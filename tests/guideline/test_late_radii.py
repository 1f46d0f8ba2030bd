"""Which seasons measured the weed-free radius too late, and which have none that could have been."""

from __future__ import annotations

from types import SimpleNamespace

import pandas as pd

from survivor.guideline.ground import radius_advice


def test_a_season_without_radii_is_not_said_to_have_measured_them_late():
    named = {"2023": "after planting", "2026": "not recorded"}
    seasons = [
        SimpleNamespace(name=name, settings=SimpleNamespace(design=SimpleNamespace(radius_measured=when)))
        for name, when in named.items()
    ]
    joined = pd.DataFrame(
        {"season": ["2023", "2026"], "weed_free_radius_m": [0.4, float("nan")], "ground": "flat"}
    )
    (said,) = radius_advice(seasons, joined, ["flat"], 365, 1.0)
    assert "2023" in said.sentence
    assert "2026" not in said.sentence
    (none,) = radius_advice(seasons, joined.assign(weed_free_radius_m=float("nan")), ["flat"], 365, 1.0)
    assert none.sentence == "No weed-free radius is in the records."
