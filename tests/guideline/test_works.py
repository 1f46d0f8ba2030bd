"""Advice on works: seasons pooled as everywhere, one season told as one, the guideline's own rule applied."""

from __future__ import annotations

import pandas as pd
import pytest

import survivor
from survivor.demo.works import works_files
from survivor.guideline.rule import usual_rule
from survivor.guideline.works import works_advice, works_of_seasons
from survivor.seasons import take_in
from survivor.study import load


def answers(*rows: tuple[str, str, float, float], kind: str = "work") -> pd.DataFrame:
    """Season, work, difference and its standard error."""
    made = pd.DataFrame(rows, columns=["season", "what", "estimate", "std_error"])
    made = made.assign(
        kind=kind, basis="within sites", lower=made["estimate"] - 2 * made["std_error"],
        upper=made["estimate"] + 2 * made["std_error"], p_value=0.001, n_sites=3, n_plots=48,
        fewest_plots=24, low=None, high=None,
    )  # fmt: skip
    return made


THREE = answers(("2021", "rip", 9.0, 2.0), ("2022", "rip", 11.0, 2.2), ("2023", "rip", 10.0, 1.9))


def test_seasons_are_pooled_as_everywhere() -> None:
    (found,) = works_advice(THREE, usual_rule(5.0))
    pooled = survivor.pool(THREE["estimate"], THREE["std_error"], limits="cr2")
    line, new = pooled.table.iloc[0], pooled.new_unit.iloc[0]
    assert (found.estimate, found.lower, found.upper) == pytest.approx(
        (line["estimate"], line["lower"], line["upper"])
    )
    assert (found.new_lower, found.new_upper) == pytest.approx((new["lower"], new["upper"]))
    assert found.answer == "advised"
    assert found.seasons == ("2021", "2022", "2023")


def test_one_season_alone_is_not_enough_for_advice() -> None:
    (found,) = works_advice(THREE.iloc[:1], usual_rule(5.0))
    assert found.answer == "worth a trial"
    assert found.new_lower is None


def test_a_work_that_does_nothing_is_not_advised() -> None:
    rows = answers(("2021", "mulch mat", -4.0, 0.8), ("2022", "mulch mat", -5.0, 0.8),
                   ("2023", "mulch mat", -4.5, 0.8))  # fmt: skip
    assert works_advice(rows, usual_rule(5.0))[0].answer == "not advised"


def test_times_that_were_not_the_same_are_not_pooled() -> None:
    rows = answers(("2021", "lead time", 5.0, 1.0), ("2022", "lead time", 5.0, 1.0), kind="lead_months")
    assert len(works_advice(rows.assign(low=2.0, high=12.0), usual_rule(5.0))) == 1
    assert works_advice(rows.assign(low=2.0, high=[12.0, 6.0]), usual_rule(5.0)) == ()


@pytest.mark.slow
def test_a_season_that_asks_about_works_is_told(tmp_path) -> None:
    for name, content in works_files().items():
        (tmp_path / name).write_bytes(content)
    seasons = take_in([load(tmp_path)])
    table = works_of_seasons(seasons)
    assert {"pre-emergent", "rip", "mulch mat", "follow-up weed control"} <= set(table["what"])
    told = {one.what: one for one in works_advice(table, usual_rule(5.0))}
    assert told["rip"].answer == "worth a trial"
    assert told["rip"].n_sites == 3


def test_seasons_that_do_not_ask_have_no_advice_on_works() -> None:
    assert works_advice(works_of_seasons(()), usual_rule(5.0)) == ()
