"""When a work was done: told where plots of the same works differ in it, else refused with its reason."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

import survivor
from survivor.errors import EffectError
from survivor.works.columns import LEAD, PASSES, PATTERN, RIP_SOIL
from survivor.works.timing import dry_or_wet, lead_time, passes
from tests.works.making import PLOTS, factorial, question


def season(per_month: float = 0.0, wet: float = 0.0, blocks: int = 16) -> pd.DataFrame:
    """A season whose log hazard goes with the month and, in ripped plots, with the soil."""
    rng = np.random.default_rng(8)
    plots = []
    for block in range(blocks):
        leads = rng.permutation(np.linspace(1.0, 14.0, 4))
        for number in range(4):
            ripped = number % 2 == 1
            soil = "wet" if ripped and block % 2 else "dry" if ripped else ""
            log = per_month * (leads[number] - 6) + (wet if soil == "wet" else 0.0)
            one = factorial(rng, {}, blocks=1, plants=60, hazard=0.0012 * float(np.exp(log)))
            plots.append(
                one.assign(site=f"S{block // 8}", block=f"B{block % 8}", plot=str(number),
                           **{LEAD: leads[number], PASSES: 1.0 + number // 2, RIP_SOIL: soil,
                              PATTERN: "knockdown + rip" if ripped else "knockdown"})
            )  # fmt: skip
    return pd.concat(plots, ignore_index=True)


def test_the_lead_time_of_a_cohort_is_recovered() -> None:
    frame = season(per_month=-0.05)
    found = lead_time(frame, question())
    assert (found.low, found.high, found.shape) == (1.0, 14.0, "line")
    assert found.lower > 0
    at = np.array([1.0, 14.0])
    alive = 100 * np.exp(-365 * 0.0012 * np.exp(-0.05 * (at - 6)))
    assert found.lower < alive[1] - alive[0] < found.upper
    assert found.curve[LEAD].tolist() == list(range(1, 15))
    assert found.curve["estimate"].is_monotonic_increasing


def test_the_line_is_the_model_with_a_level_for_each_works_and_site() -> None:
    frame = season(per_month=-0.05)
    found = lead_time(frame, question())
    fitted = survivor.fit(frame, LEAD, strata=["site", PATTERN], cluster=list(PLOTS))
    entered = frame[frame["start_day"] == 0]
    ends = [fitted.predict(entered.assign(**{LEAD: end}), 365)["estimate"].mean() for end in (1.0, 14.0)]
    assert found.estimate == pytest.approx(ends[1] - ends[0], rel=1e-6)
    assert found.p_value == pytest.approx(fitted.table["p_value"].iloc[0], abs=0.01)


def test_plots_of_the_same_works_begun_together_are_refused() -> None:
    frame = season()
    frame[LEAD] = np.where(frame[PATTERN] == "knockdown", 2.0, 9.0)
    with pytest.raises(EffectError, match="of the same works in one site had weed control begun at the same"):
        lead_time(frame, question())
    with pytest.raises(EffectError, match="no plot has a day of weed control"):
        lead_time(frame.assign(**{LEAD: np.nan}), question())
    with pytest.raises(EffectError, match="as many passes"):
        passes(frame.assign(**{PASSES: 1.0}), question())


def test_one_more_pass_with_the_lead_time_held_equal() -> None:
    frame = season()
    found = passes(frame, question())
    assert (found.low, found.high) == (1.0, 2.0)
    fitted = survivor.fit(frame, f"{LEAD} + {PASSES}", strata=["site", PATTERN], cluster=list(PLOTS))
    line = fitted.table.set_index("term").loc[PASSES]
    assert np.sign(found.estimate) == -np.sign(line["estimate"])
    assert found.p_value == pytest.approx(line["p_value"], abs=0.02)


def test_dry_against_wet_ripping() -> None:
    frame = season(wet=0.6)
    found = dry_or_wet(frame, question())
    assert (found.low, found.high) == ("wet", "dry")
    alive = 100 * np.exp(-365 * 0.0012 * np.exp([0.6, 0.0]))
    assert found.lower < alive[1] - alive[0] < found.upper
    assert found.n_plots == 32


def test_ripping_is_refused_where_the_soil_goes_with_the_site_or_was_not_told() -> None:
    frame = season()
    by_site = frame.assign(**{RIP_SOIL: np.where(frame["site"] == "S0", "dry", "wet")})
    with pytest.raises(EffectError, match="no site has plots of the same works ripped dry and others"):
        dry_or_wet(by_site, question())
    with pytest.raises(EffectError, match="does not tell of plots ripped dry and of others ripped wet"):
        dry_or_wet(frame.assign(**{RIP_SOIL: ""}), question())
