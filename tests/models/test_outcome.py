"""Alive or dead at a milestone: one chain of intervals -> one state."""

import pandas as pd
import pytest

from survivor.errors import ModelError
from survivor.models.outcome import outcomes

# Stretches of one tag as (start, stop, died) -> (alive, dead) at day 365 within 30 days, None where unknown.
TAGS = {
    "alive at the visit": ([(0, 150, 0), (150, 360, 0), (360, 700, 1)], (1, 0)),
    "dead at the visit": ([(0, 150, 0), (150, 360, 1)], (0, 1)),
    "dead before": ([(0, 150, 1)], (0, 1)),
    "dead at the window's edge": ([(0, 335, 1)], (0, 1)),
    "visited only before, then lost": ([(0, 150, 0)], None),
    "visited only just before the window, then lost": ([(0, 334, 0)], None),
    "alive after, no visit in the window": ([(0, 150, 0), (150, 700, 0)], (1, 0)),
    "died across the window": ([(0, 150, 0), (150, 700, 1)], None),
    "not found at the visit, alive after": ([(0, 300, 0), (300, 500, 0)], (1, 0)),
    "seen alive after a gap": ([(0, 300, 0), (500, 700, 1)], (1, 0)),
    "seen alive in the window, then lost": ([(0, 150, 0), (150, 340, 0)], (1, 0)),
    "two visits: the nearer tells": ([(0, 350, 0), (350, 372, 1)], (0, 1)),
    "two visits: the nearer is the first": ([(0, 360, 0), (360, 380, 1)], (1, 0)),
    "two visits as near: the earlier tells": ([(0, 355, 0), (355, 375, 1)], (1, 0)),
    "dead within the window after a long gap": ([(0, 150, 0), (150, 390, 1)], (0, 1)),
}


def _tag(stretches, name="x"):
    rows = [("plot 1", name, "rip", start, stop, 1, died) for start, stop, died in stretches]
    return pd.DataFrame(rows, columns=["plot", "tag", "method", "start_day", "stop_day", "at_risk", "died"])


KNOWN = _tag([(0, 365, 0)], "known")


@pytest.mark.parametrize("name", TAGS)
def test_one_tag_of_a_plot_that_was_visited(name):
    stretches, expected = TAGS[name]
    found = outcomes(pd.concat([_tag(stretches), KNOWN], ignore_index=True), 365, 30, ["method"], ["plot"])
    mine = found.chains[found.chains["tag"] == "x"]
    if expected is None:
        assert mine.empty
        assert any("state at that visit is unknown for 1 of 2 seedlings" in check for check in found.checks)
        later = "1 found dead later" if stretches[-1][2] else "1 last seen alive earlier"
        assert any(later in check for check in found.checks)
    else:
        assert (mine["alive"].iloc[0], mine["dead"].iloc[0]) == expected
        assert not any("unknown" in check for check in found.checks)


def _counts(rows):
    frame = pd.DataFrame(rows, columns=["start_day", "stop_day", "at_risk", "died"])
    return frame.assign(plot="plot 1", method="rip")


def test_counts_at_the_visit():
    found = outcomes(_counts([(0, 150, 20, 4), (150, 360, 16, 6), (360, 700, 10, 3)]), 365, 30, ["method"])
    assert found.chains[["alive", "dead"]].to_numpy().tolist() == [[10, 10]]
    assert found.checks == ("alive or dead at the visit nearest to day 365 within 30 days (day 360)",)


def test_a_plot_without_a_visit_in_the_window_is_left_out_as_a_whole():
    # Plot 2: 4 of 20 dead by day 150, 6 more by day 700, when is not known. To keep its 4 dead and its 10
    # survivors and leave the 6 out would be to choose by the outcome.
    seen = _counts([(0, 150, 20, 4), (150, 360, 16, 6)])
    unseen = _counts([(0, 150, 20, 4), (150, 700, 16, 6)]).assign(plot="plot 2")
    found = outcomes(pd.concat([seen, unseen], ignore_index=True), 365, 30, ["method"], ["plot"])
    assert found.chains[["plot", "alive", "dead"]].to_numpy().tolist() == [["plot 1", 10, 10]]
    assert set(found.rows["plot"]) == {"plot 1"}
    assert "20 seedlings of 1 plot without a visit in that window are left out" in found.checks


def test_a_plot_where_all_had_died_needs_no_visit():
    seen = _counts([(0, 150, 20, 4), (150, 360, 16, 6)])
    gone = _counts([(0, 150, 20, 4), (150, 300, 16, 16)]).assign(plot="plot 2")
    found = outcomes(pd.concat([seen, gone], ignore_index=True), 365, 30, ["method"], ["plot"])
    assert found.chains[["alive", "dead"]].to_numpy().tolist() == [[10, 10], [0, 20]]


def test_no_visit_in_the_window_at_all_is_refused():
    with pytest.raises(ModelError, match="visits are at days 150, 700"):
        outcomes(_counts([(0, 150, 20, 4), (150, 700, 16, 6)]), 365, 30, ["method"], ["plot"])


def test_counts_with_some_lost_to_sight():
    # 16 alive at day 150, but only 13 of them looked at on day 360.
    found = outcomes(_counts([(0, 150, 20, 4), (150, 360, 13, 6)]), 365, 30, ["method"])
    assert found.chains[["alive", "dead"]].to_numpy().tolist() == [[7, 10]]
    assert "0 found dead later, 3 last seen alive earlier" in found.checks[-1]


def test_two_crews_in_a_plot_are_two_chains():
    first = _counts([(0, 150, 20, 4), (150, 360, 16, 6)]).assign(crew="a")
    second = _counts([(0, 150, 10, 1), (150, 360, 9, 0)]).assign(crew="b")
    found = outcomes(pd.concat([first, second], ignore_index=True), 365, 30, ["method", "crew"])
    states = found.chains.set_index("crew")[["alive", "dead"]]
    assert states.loc["a"].tolist() == [10, 10]
    assert states.loc["b"].tolist() == [9, 1]


def test_late_tags_are_left_out_and_counted():
    late = _tag([(40, 150, 0), (150, 365, 0)], "late")
    found = outcomes(pd.concat([late, KNOWN], ignore_index=True), 365, 30, ["method"])
    assert found.chains["tag"].tolist() == ["known"]
    assert found.rows["tag"].tolist() == ["known"]
    assert "1 seedlings first seen after planting are left out" in found.checks[-1]
    with pytest.raises(ModelError, match="followed from planting"):
        outcomes(late, 365, 30, ["method"])


def test_infill_has_its_own_clock():
    infill = _tag([(0, 200, 0)], "infill").assign(cohort="infill")
    known = KNOWN.assign(cohort="planting")
    found = outcomes(pd.concat([infill, known], ignore_index=True), 365, 30, ["method"])
    assert found.chains["tag"].tolist() == ["known"]


def test_planting_is_not_a_visit():
    found = outcomes(_counts([(0, 45, 20, 4)]), 20, 30, ["method"])
    assert found.chains[["alive", "dead"]].to_numpy().tolist() == [[16, 4]]
    with pytest.raises(ModelError, match="no visit within 30 days of day 20"):
        outcomes(_counts([(0, 150, 20, 19)]), 20, 30, ["method"])


def test_a_covariate_of_the_visit_is_refused():
    frame = _counts([(0, 150, 20, 4), (150, 360, 16, 6)]).assign(rain=[20.0, 80.0])
    with pytest.raises(ModelError, match="rain changes between visits"):
        outcomes(frame, 365, 30, ["method", "rain"])


def test_a_plain_table_needs_no_names():
    frame = pd.DataFrame(
        {"start_day": [0, 150], "stop_day": [150, 360], "at_risk": [20, 16], "died": [4, 6], "x": [1.0, 1.0]}
    )
    found = outcomes(frame, 365, 30, ["x"])
    assert found.chains[["alive", "dead"]].to_numpy().tolist() == [[10, 10]]
