"""The first answer stands beside what every other check gives, each number that of its own table."""

from __future__ import annotations

from dataclasses import replace

import pytest

from survivor.analysis import Analysis
from survivor.report import appendix_english as en
from survivor.report.first_answer import first_answer
from survivor.words import chance, difference
from tests.once import analysed
from tests.report.demo import DATASETS
from tests.report.making import build


@pytest.fixture(scope="module")
def counts() -> Analysis:
    return analysed(DATASETS / "counts")


def rows(analysis: Analysis) -> dict[str, tuple[str, str]]:
    (section,) = first_answer(analysis)
    return {row[0]: row[1:] for row in section.blocks[1].rows}


def written(row) -> str:
    size, span = difference(row["estimate"], row["lower"], row["upper"])
    return f"{size} ({span})"


def test_each_check_has_the_numbers_of_its_table(counts: Analysis) -> None:
    shown = rows(counts)
    method, against = next(one for one in counts.findings if one.key == "headline").methods
    pick = {"method": method, "against": against}

    def of(table):
        return table[(table["method"].astype(str) == method) & (table["against"].astype(str) == against)]

    answer = of(counts.comparing.against.table).iloc[0]
    assert shown[en.CHECK_ANSWER] == (written(answer), chance(answer["p_adjusted"]))
    held = of(counts.radius.held_equal.table).iloc[0]
    assert shown[en.CHECK_RADIUS] == (written(held), chance(held["p_adjusted"]))
    assert {f"another model: {name}" for name in ("Cox", "at the milestone")} <= set(shown)
    # Without the site whose interval reaches furthest towards none.
    left = of(counts.robustness.left_out)
    least = left.loc[left["lower"].astype(float).idxmin()]
    site = next(check for check in shown if check.startswith("without "))
    assert least["site_left_out"] in site
    assert shown[site][0] == written(least)
    strength = counts.confounding.sensitivity.table
    assert shown[en.CHECK_E_VALUE][0] == f"{of(strength)['e_value_limit'].iloc[0]:.1f}"
    assert pick["method"] in str(first_answer(counts)[0].blocks[0].plain)


def test_a_pair_told_the_other_way_round_is_turned(counts: Analysis) -> None:
    every = counts.comparing.all_pairs
    turned = every.table.assign(
        method=every.table["against"],
        against=every.table["method"],
        estimate=-every.table["estimate"],
        lower=-every.table["upper"],
        upper=-every.table["lower"],
    )
    other = replace(counts, comparing=replace(counts.comparing, all_pairs=replace(every, table=turned)))
    assert rows(other)[en.CHECK_PAIRS] == rows(counts)[en.CHECK_PAIRS]


def test_a_trial_has_its_randomisation_test_and_no_comparison_no_table() -> None:
    assert en.CHECK_LOT in rows(build("random within blocks"))
    assert en.CHECK_LOT not in rows(build())
    assert first_answer(build(findings=())) == ()
