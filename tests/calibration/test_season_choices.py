"""Choices of a season's analysis: simulated truths, what each line is, and short forms with fixed seeds."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from survivor.effects.compare import working_of
from survivor.effects.contrasts import contrasts
from survivor.models.by_period import fit_varying
from survivor.models.fit import fit
from tests.calibration import season_choices as choices
from tests.calibration.cells import NUMBERS, Differences
from tests.calibration.layouts import AT, balanced


def test_a_ratio_alike_in_all_periods_is_one_ratio():
    one, changing = balanced(6, 2, effects=(-0.5,), plot_sd=0.5), choices._changing(*[-0.5] * 5)
    np.testing.assert_allclose(changing.cumulative, one.cumulative, rtol=1e-12)
    np.testing.assert_allclose(changing.differences(), one.differences(), rtol=1e-12)


def test_ratios_by_period_even_out_at_12_months_and_not_before():
    layout = choices.PERIODS[2].layout
    assert layout.differences()[0] == pytest.approx(0, abs=1e-9)
    usual, other = (layout.cumulative[layout.method == method].mean(axis=0) for method in (0, 1))
    # Before the dry season a log ratio of 0.8, so after 40 days of it e^0.8 times the deaths.
    assert other[1] / usual[1] == pytest.approx(np.exp(0.8))
    assert (other[1:3] > usual[1:3]).all()
    assert other[-1] == pytest.approx(usual[-1])


def test_lines_are_the_fits_that_they_name():
    frame = next(choices.PERIODS[2].layout.draw(np.random.default_rng(8), 1))
    numbers, chosen, unfitted = choices.by_period(frame, Differences())
    headline = fit(frame, "method", strata="site")
    told = [
        contrasts(found, at=AT).table[list(NUMBERS)].to_numpy(float)[0]
        for found in (headline, fit_varying(headline, "method"))
    ]
    np.testing.assert_allclose(numbers[1:], told, rtol=1e-9)
    np.testing.assert_array_equal(numbers[0], numbers[2 if chosen else 1])
    assert not unfitted


def test_sizes_drawn_anew_are_chosen_for_by_sizes_alone():
    case = choices.SIZES[0]
    held = choices.studies(case, 0, 6)
    again = choices.studies(replace(case, layout=choices._one(-2.0)), 0, 6)
    np.testing.assert_array_equal(held["chosen"], again["chosen"])  # whatever died
    assert 0 < held["chosen"].mean() < 1
    rule, plain, weighted = np.moveaxis(held["found"], 1, 0)
    np.testing.assert_array_equal(rule, np.where(held["chosen"][:, None], weighted, plain))


def test_the_rule_is_that_of_the_analysis():
    layout = replace(choices._one(0.0), size=np.tile([10, 45], 12))
    frame = next(layout.draw(np.random.default_rng(2), 1))
    numbers, chosen, _ = choices.by_size(frame, Differences())
    found = fit(frame, "method", strata="site", working=working_of(frame)[0])
    assert chosen
    told = contrasts(found, at=AT).table[list(NUMBERS)].to_numpy(float)[0]
    np.testing.assert_allclose(numbers[0], told, rtol=1e-9)


def test_rows_by_hand():
    case = choices.SIZES[1]
    found = np.full((3, 3, 6), np.nan)
    found[:2, 0] = [[11, 5, 9, 1, 21, 0.04], [30, 5, 9, 20, 40, 0.001]]
    held = {"found": found, "target": np.array([10.0, 12, 14]), "chosen": np.array([True, False, False])}
    held["found"][:, 1:] = found[:, :1]
    row = choices.rows(case, {**held, "unfitted": np.zeros(3, bool)})[0]
    assert (row["share_per_100"], row["studies"], row["without_limits"]) == (50, 3, 1)
    assert row["chosen_per_100"] == pytest.approx(100 / 3)
    assert (row["target"], row["mean_estimate"]) == (12, 20.5)
    assert row["sd_of_errors"] == pytest.approx(np.std([1, 18]))


def test_the_committed_table_has_every_line():
    held = pd.read_csv(choices.TABLE, comment="#")
    for case in choices.CASES:
        lines = held[held["truth"] == case.name]
        assert lines["answer"].tolist() == list(choices.SIZE_LINES if case.sizes else choices.PERIOD_LINES)
        assert lines["asked"].unique().tolist() == [case.asked]
        assert (lines["studies"] >= 2000).all()
        assert lines["target"].iloc[0] == pytest.approx(
            case.layout.differences()[0], abs=0.2 if case.sizes else 1e-2
        )


@pytest.mark.slow
@pytest.mark.parametrize("case", [choices.PERIODS[2], choices.SIZES[1]], ids=lambda case: case.name)
def test_choices_in_a_short_form(case):
    # 80 studies: three simulation errors of 5 or 95 per 100 are 7.3.
    table = pd.DataFrame(choices.rows(case, choices.studies(case, 0, 80)))
    rule = table["share_per_100"].iloc[0]
    assert abs(rule - (5 if case.asked == "type I" else 95)) <= 7.3
