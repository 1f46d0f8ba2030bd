"""From rain at several gauges and seasons to what a dry season would cost, on records with a known truth."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

from survivor.analysis.costs import deaths_so_far, rain_slope
from survivor.analysis.rain import Rain, _effect
from survivor.season.rain import Gap
from survivor.season.windows import Window
from survivor.settings import Gauge
from tests.analysis.fates import spread, write_fates
from tests.once import analysed

SLOPE = -0.006  # of the log hazard, per mm
RAIN = {
    ("north", 2021): 40.0,
    ("north", 2022): 160.0,
    ("south", 2021): 70.0,
    ("south", 2022): 120.0,
    ("hill", 2021): 95.0,
    ("hill", 2022): 190.0,
}
PLANTED = 200


@pytest.fixture(scope="module")
def season():
    rng = np.random.default_rng(8)
    rows, falls = [], []
    for (gauge, year), rain in RAIN.items():
        window = {
            "window_start": pd.Timestamp(year, 12, 1),
            "window_end": pd.Timestamp(year + 1, 3, 31),
        }
        falls.append({"gauge": gauge, "measure": "rain in the dry season", "value": rain, **window})
        for method, ratio in (("usual", 1.0), ("spot", 0.6)):
            for plot in range(4):
                dead = 1 - np.exp(-0.6 * ratio * np.exp(SLOPE * (rain - 110) + 0.1 * rng.standard_normal()))
                rows.append(
                    {
                        "site": f"{gauge} rise",
                        "block": "",
                        "plot": f"{year}{method}{plot}",
                        "tag": "",
                        "species": "river oak",
                        "method": method,
                        "cohort": "planting",
                        "planted_date": pd.Timestamp(year, 6, 15),
                        "start_day": 0.0,
                        "stop_day": 365.0,
                        "at_risk": PLANTED,
                        "died": int(rng.binomial(PLANTED, dead)),
                    }
                )
    intervals = pd.DataFrame(rows)
    intervals["method"] = pd.Categorical(intervals["method"], categories=["usual", "spot"])
    gauges = tuple(
        Gauge(name=name, file="rain.csv", sites=(f"{name} rise",)) for name in ("north", "south", "hill")
    )
    return SimpleNamespace(gauges=gauges), pd.DataFrame(falls), SimpleNamespace(intervals=intervals)


def test_the_effect_of_rain_holds_its_truth_and_the_rain_it_rests_on(season):
    effect, by_method = _effect(*season, ())
    row = effect.iloc[0]
    assert row["lower"] < SLOPE < row["upper"]
    assert (row["rain_least_mm"], row["rain_most_mm"]) == (40.0, 190.0)
    assert row["rain_mean_mm"] == pytest.approx(np.mean(list(RAIN.values())))
    slope = rain_slope(Rain(effect=effect, by_method=by_method), ["usual", "spot"])
    assert slope is not None
    assert slope.estimate == pytest.approx(SLOPE, abs=4 * float(slope.std_error.max()))
    assert (np.abs(slope.estimate) < 0.02).all()  # per mm, not per 100


def test_deaths_so_far_are_counted_at_each_site_and_scaled_to_the_planting(season):
    intervals = season[2].intervals
    more = intervals.iloc[:1].assign(cohort="infill", at_risk=10, died=4, site="north rise")
    records = SimpleNamespace(intervals=pd.concat([intervals, more], ignore_index=True))
    people = pd.DataFrame({"site": ["north rise", "south rise"], "species": "", "plants": [16_000, 800]})
    found = deaths_so_far(SimpleNamespace(population=people, intervals=intervals, records=records))
    table = found.set_index("site")
    assert table.index.tolist() == ["north rise", "south rise"]  # nothing was put in at the hill
    north = intervals[intervals["site"] == "north rise"]
    by_hand = 100 * (1 - north["died"].sum() / north["at_risk"].sum())
    assert table.loc["north rise", "survival"] == pytest.approx(by_hand)
    assert table.loc["north rise", "infill_alive"] == pytest.approx(6 * 16_000 / north["at_risk"].sum())
    assert (table["lower"] < table["survival"]).all()
    watched = deaths_so_far(SimpleNamespace(population=None, intervals=intervals, records=records))
    assert watched["planted"].tolist() == [3200.0] * 3


def test_one_preparation_alone_has_a_cost_of_its_own(tmp_path):
    costs = '[costs]\ncurrency = "dollars"\nyear = 2022\nsource = "invented"\n'
    method = '[[methods]]\nname = "usual"\nworks = ["spot spray"]\ncost.per_plant = 4.0\n'

    def fate(site, method, plot, number):
        return spread(number, 2 + (site + plot) % 3)

    analysis = analysed(write_fates(tmp_path, fate, more=costs + method, methods=("usual",)))
    assert analysis.costs.payoff is not None
    assert analysis.survival.by_method is not None
    row = analysis.costs.payoff.table.iloc[0]
    alive = float(analysis.survival.by_method.table["estimate"].iloc[0]) / 100
    assert row["cost_per_established"] == pytest.approx(4.0 / alive)
    assert row["lower"] < row["cost_per_established"] < row["upper"]
    cost = next(finding for finding in analysis.findings if finding.key == "payoff")
    assert cost.answer.startswith("At these sites the cost under “usual” was ")
    assert cost.grade in ("moderate", "weak")  # survival is not known to 5 per 100, so neither is the cost
    assert "No range was given for any cost, so limits of costs rest on survival alone." in cost.checks
    assert not any(said.startswith("Cost per established plant") for said in analysis.cannot)
    assert not any("cheapest" in said for said in cost.checks)


def test_without_a_total_the_days_that_no_reading_covers_are_named_and_would_answer_it(season):
    settings, falls, records = season
    unread = falls.assign(value=np.nan, days_with_data=106, days_in_window=122)
    gauge = str(falls.iloc[0]["gauge"])
    window = Window("dry", pd.Timestamp("2023-12-01"), pd.Timestamp("2024-03-31"))
    days = [*pd.date_range("2024-01-08", "2024-01-19"), *pd.date_range("2024-02-28", "2024-03-02")]
    gap = Gap(gauge, "shed.csv", window, tuple(day.date() for day in days))
    found, _ = _effect(settings, unread, records, (gap,))
    told = f"at {gauge} 16 of 122 days from 1 December 2023 to 31 March 2024 are not known"
    assert told in found.what
    assert found.what_to_do == (
        f"readings of 8 January to 19 January 2024, 28 February to 2 March 2024 at {gauge}, "
        "from its book or the nearest station, written into shed.csv"
    )
    # Dry seasons that do have a total stay; the one that has none is named where they are too few.
    few = falls[falls["gauge"] == falls.iloc[0]["gauge"]]
    less, _ = _effect(settings, few, records, (gap,))
    assert told in less.what
    assert "8 January to 19 January 2024" in less.what_to_do
