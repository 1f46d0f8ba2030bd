import math

import pytest

from survivor.words import difference, limits, money, number, per_100, per_100_limits

WRITTEN = {
    (0.5, 0): "1",  # halves go away from nought, unlike Python's own rounding
    (2.5, 0): "3",
    (-2.5, 0): "−3",
    (-0.4, 0): "0",  # never a minus nought
    (1234567.0, 0): "1,234,567",
    (0.125, 2): "0.13",
    (math.nan, 0): "–",
    (math.inf, 1): "–",
}


@pytest.mark.parametrize(("given", "text"), WRITTEN.items())
def test_numbers_are_written_by_one_rule(given: tuple[float, int], text: str) -> None:
    assert number(*given) == text


def test_a_sign_is_written_only_where_there_is_one() -> None:
    assert [number(v, sign=True) for v in (12.0, -3.0, 0.2)] == ["+12", "−3", "0"]


def test_limits_without_an_end_are_a_dash() -> None:
    assert limits(3.2, math.nan) == "–"
    assert limits(-3.0, 9.0, sign=True) == "−3 to +9"


def test_a_rounded_0_or_100_is_not_read_as_none_or_all() -> None:
    assert [per_100(v) for v in (0.0, 0.3, 50.0, 99.7, 100.0)] == ["0", "under 1", "50", "over 99", "100"]
    assert per_100_limits(0.2, 99.9) == "under 1 to over 99"


def test_a_narrow_difference_keeps_one_place_and_a_wide_one_none() -> None:
    assert difference(1.24, 0.3, 2.1) == ("+1.2", "+0.3 to +2.1")
    assert difference(12.4, 3.2, 21.6) == ("+12", "+3 to +22")
    assert difference(math.nan, math.nan, math.nan) == ("–", "–")


def test_money_has_its_sign_before_or_its_name_after() -> None:
    assert money(4.2, "$") == "$4.20"
    assert money(4.2, "dollars") == "$4.20"
    assert money(-4.2, "kroner") == "−4.20 kroner"
    assert money(math.nan, "$") == "–"
