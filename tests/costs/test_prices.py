"""Cost lines brought to a plant, by the arithmetic of spacing that the trade uses."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from survivor.costs.prices import Price, covariance_of_prices, draw_prices, lines_table, price_of, prices_of
from survivor.demo.files import text_file
from survivor.errors import PayoffError, StudyFileError
from survivor.settings import Cost, CostLine, Spacing, read_settings

ROWS = Spacing(row_m=2.5, in_row_m=2.0)  # 10,000 / (2.5 x 2.0) = 2,000 plants per hectare


def line(amount: float, per: str, **more: object) -> CostLine:
    return CostLine.model_validate({"name": f"per {per}", "amount": amount, "per": per, **more})


def test_stems_per_hectare_from_spacing():
    assert ROWS.plants_per_hectare == pytest.approx(2000.0)
    assert Spacing(stems_per_hectare=1100.0).plants_per_hectare == 1100.0
    # Plants 2 m apart in rows 2.5 m apart, told as stems and rows.
    assert Spacing(stems_per_hectare=2000.0, row_m=2.5).metres_per_plant == pytest.approx(2.0)


@pytest.mark.parametrize(
    ("given", "spacing", "by_hand"),
    [
        (line(1.4, "plant"), None, 1.4),
        (line(600.0, "hectare"), ROWS, 0.30),
        (line(600.0, "hectare"), Spacing(stems_per_hectare=1000.0), 0.60),
        (line(200.0, "km"), ROWS, 0.40),  # 500 plants on a kilometre of rip line at 2 m
        (line(30.0, "plot", plants=20), None, 1.50),
        (line(450.0, "site", plants=900), None, 0.50),
        (line(0.6, "plant", times=2), None, 1.20),
    ],
)
def test_a_line_of_any_unit_is_brought_to_a_plant(given, spacing, by_hand):
    assert price_of([given], spacing).per_plant == pytest.approx(by_hand)


def test_lines_add_up_and_so_do_their_ranges():
    found = price_of([line(1.4, "plant", low=1.1, high=3.0), line(200.0, "km", low=100.0, high=300.0)], ROWS)
    assert (found.per_plant, found.low, found.high) == pytest.approx((1.8, 1.3, 3.6))


@pytest.mark.parametrize(
    ("given", "spacing", "words"),
    [
        (line(600.0, "hectare"), None, "row and in-row spacing"),
        (line(200.0, "km"), Spacing(stems_per_hectare=1000.0), "spacing in the row"),
    ],
)
def test_what_cannot_be_brought_to_a_plant_is_refused(given, spacing, words):
    with pytest.raises(PayoffError, match=words):
        price_of([given], spacing)
    with pytest.raises(PayoffError, match="no cost line"):
        price_of([])


def test_a_price_that_two_methods_pay_is_drawn_once():
    plants = line(2.0, "plant", low=1.0, high=4.0)
    prices = [price_of([plants]), price_of([plants, line(1.0, "plant", low=0.5, high=1.5)])]
    drawn = draw_prices(prices, 50_000, np.random.default_rng(3))
    extra = drawn[:, 1] - drawn[:, 0]
    triangle = stats.triang(0.5, 0.5, 1.0)
    assert np.quantile(extra, [0.025, 0.5, 0.975]) == pytest.approx(
        triangle.ppf([0.025, 0.5, 0.975]), abs=0.01
    )
    assert np.cov(drawn.T) == pytest.approx(covariance_of_prices(prices), rel=0.03)


def test_the_variance_of_a_price_is_that_of_its_triangle():
    price = Price.of("rip", Cost(per_plant=3.0, low=2.0, high=6.0))
    assert covariance_of_prices([price])[0, 0] == pytest.approx(stats.triang(0.25, 2.0, 4.0).var())


def test_prices_of_two_methods_told_all_in_one_are_apart():
    prices = [Price.of(name, Cost(per_plant=3.0, low=2.0, high=4.0)) for name in ("rip", "mound")]
    assert covariance_of_prices(prices)[0, 1] == 0


STUDY = """
[study]
name = "Invented"
[records]
kind = "tagged"
[[records.sheets]]
file = "visits.csv"
[spacing]
row_m = 2.5
in_row_m = 2.0
[costs]
currency = "dollars"
year = 2024
source = "invented"
[[costs.lines]]
name = "tubestock"
amount = 1.5
per = "plant"
low = 1.1
high = 3.0
[[methods]]
name = "spot spray"
[[methods.costs]]
name = "spray"
amount = 0.6
per = "plant"
times = 2
[[methods]]
name = "rip"
[[methods.costs]]
name = "rip line"
amount = 200
per = "km"
low = 100
high = 300
[[methods.costs]]
name = "float"
amount = 450
per = "site"
plants = 900
year = 2022
[[methods]]
name = "mound"
cost = { per_plant = 4.0 }
spacing = { stems_per_hectare = 1000 }
[[methods]]
name = "not costed"
"""


def read(tmp_path, text: str):
    (tmp_path / "study.toml").write_text(text, encoding="utf-8")
    return read_settings(tmp_path)


def test_prices_of_a_study_file(tmp_path):
    settings = read(tmp_path, STUDY)
    found = {name: price.per_plant for name, price in prices_of(settings).items()}
    assert found == pytest.approx({"spot spray": 1.5 + 1.2, "rip": 1.5 + 0.4 + 0.5, "mound": 1.5 + 4.0})
    table = lines_table(settings)
    assert table.groupby("method")["per_plant"].sum().to_dict() == pytest.approx(found)
    assert table.set_index(["method", "line"]).loc[("rip", "float"), "year"] == 2022
    assert table.set_index(["method", "line"]).loc[("rip", "rip line"), "year"] == 2024


def test_a_cost_all_in_one_stays_valid(tmp_path):
    settings = read(tmp_path, text_file("counts-study.toml").decode("utf-8"))
    assert all(method.costed for method in settings.methods)
    assert prices_of(settings).keys() == {method.name for method in settings.methods}


SLIPS = {
    "no spacing for km": ("row_m = 2.5\nin_row_m = 2.0", "stems_per_hectare = 2000", "rip line", "in_row_m"),
    "both ways": (
        'name = "spot spray"',
        'name = "spot spray"\ncost = { per_plant = 1.0 }',
        "has both cost and [[methods.costs]]",
    ),
    "unit that is none": ('per = "km"', 'per = "kms"', '"km"', "did you mean"),
    "range": ("low = 100", "low = 250", "has to lie between low = 250 and high = 300"),
    "who shares it": ("plants = 900", "", "how many plants at a site share the amount"),
    "plants without use": ("times = 2", "plants = 2", "plants has no use here"),
    "another currency": ("times = 2", 'currency = "euros"', "is in euros", "one currency"),
    "no amount": ("amount = 200", "", '[[methods.costs]] "rip line", amount is needed'),
    "misspelt": ("amount = 200", "ammount = 200", "did you mean amount?"),
    "spacing told in part": ("in_row_m = 2.0", "", "give row_m and in_row_m together"),
    "spacing told twice": ("in_row_m = 2.0", "in_row_m = 2.0\nstems_per_hectare = 900", "make 2,000 plants"),
    "worth": ('source = "invented"', 'source = "invented"\nworth_low = 9\nworth_high = 8', "has to be below"),
    "infill without a cost": (
        "[spacing]",
        "[infill]\nplants_per_100 = 20\n[spacing]",
        "give one of times_first",
    ),
    "infill with two": (
        "[spacing]",
        "[infill]\ntimes_first = 1.5\nper_plant = 4.0\n[spacing]",
        "give one of times_first",
    ),
    "no stems": ("[spacing]", "[stocking]\ntarget_per_hectare = 0\n[spacing]", "has to be above 0"),
}


@pytest.mark.parametrize("slip", SLIPS)
def test_a_slip_in_the_costs_is_said_with_its_line(tmp_path, slip):
    old, new, *words = SLIPS[slip]
    assert old in STUDY
    with pytest.raises(StudyFileError) as caught:
        read(tmp_path, STUDY.replace(old, new, 1))
    said = str(caught.value)
    assert all(word in said for word in words), said
    assert not any(word in said for word in ("pydantic", "Input should", "Field required"))
