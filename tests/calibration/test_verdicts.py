"""Verdicts against the truth: how they are counted; and a short run, from sheets of records to findings."""

import pandas as pd
import pytest
from scipy import stats

from tests.calibration import verdicts

NONE = (float("nan"), float("nan"))
CLEAR = ("headline", "strong", "clear difference")
SAID = pd.DataFrame(
    [
        ("tagged", 0, "target", None, "missed", 60.0, 55.0, 65.0, *NONE, 71.0, 70.0),  # kept in truth
        ("tagged", 1, "target", None, "missed", 60.0, 55.0, 65.0, *NONE, 64.0, 70.0),
        ("tagged", 2, "target", None, "met", 80.0, 75.0, 85.0, *NONE, 69.0, 70.0),  # missed in truth
        ("tagged", 0, *CLEAR, 10.0, 4.0, 16.0, 1.0, 19.0, 0.0, 70.0),  # does nothing
        ("tagged", 1, *CLEAR, 10.0, 4.0, 16.0, 1.0, 19.0, 3.0, 70.0),  # there, but less
        ("tagged", 2, *CLEAR, -9.0, -15.0, -3.0, -18.0, 0.0, 4.0, 70.0),  # the other way
        ("tagged", 3, *CLEAR, 9.0, 3.0, 15.0, 0.0, 18.0, 8.0, 70.0),
    ],
    columns=list(verdicts.COLUMNS),
)


def test_what_counts_as_false():
    table = verdicts.table_of(SAID).set_index(["what", "said"])
    assert table.loc[("target", "missed"), ["answers", "false", "misses"]].tolist() == [2, 1, 1]
    assert table.loc[("target", "met"), ["answers", "false", "misses"]].tolist() == [1, 1, 1]
    assert table.loc[("headline", "clear difference"), ["answers", "false", "misses"]].tolist() == [4, 2, 3]
    assert table.loc[("headline", "clear difference"), "misses_together"] == 2  # 3 more are held


def test_a_difference_is_that_of_the_sites_that_hold_both_by_their_plants():
    truth = pd.DataFrame(
        [("a", "rip", 10, 80.0), ("a", "usual", 30, 60.0), ("b", "rip", 60, 50.0), ("c", "usual", 5, 10.0),
         ("d", "rip", 20, 70.0), ("d", "usual", 20, 40.0), ("d", "rip", 20, 60.0)],
        columns=["site", "method", "planted", "survival"],
    )  # fmt: skip
    # By hand: 20 at site a with 40 plants, 65 - 40 = 25 at site d with 60.
    assert verdicts._at_shared_sites(truth, "rip", "usual") == pytest.approx(0.4 * 20 + 0.6 * 25)


@pytest.mark.slow
def test_verdicts_of_a_few_studies(capsys):
    said = pd.concat([one for kind in verdicts.KINDS for one in verdicts.run(kind, range(2))])
    with capsys.disabled():
        print("\n" + verdicts.table_of(said).to_string(index=False))
    told = said[(said["what"] == "comparison") & said["lower"].notna() & said["truth"].notna()]
    assert len(told) >= 12
    misses = ((told["truth"] < told["lower"]) | (told["truth"] > told["upper"])).sum()
    assert stats.binom.sf(misses - 1, len(told), 0.05) > 1e-3  # 95 % intervals
