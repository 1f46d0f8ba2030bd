"""The parts of the appendix that back comparisons up."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from survivor.analysis import Analysis
from survivor.document.elements import Figure
from survivor.document.page import sections_of
from survivor.models.clusters import WaldTest
from survivor.report.arrangement import ANNEX
from survivor.report.tables import tables_of
from tests.report.making import METHODS, USUAL, build, contrasts, part, table, words


def test_p_by_the_lot_stands_beside_that_of_the_model_where_a_lot_was_drawn() -> None:
    rows = table(part(build("random within blocks"), "lot"), "lot-table").rows
    # By randomisation, the smallest possible, adjusted; of the model, adjusted.
    assert rows[0][4:] == ("0.004", "0.004", "0.008", "0.006")
    assert rows[2][4] == "–"
    assert "no block holds both" in words(part(build("random within blocks"), "lot"))


@pytest.mark.parametrize("allocation", ["by choice", "not recorded"])
def test_without_a_lot_there_is_no_p_by_the_lot(allocation: str) -> None:
    assert "lot" not in [section.key for section in sections_of(ANNEX.of(build(allocation)))]


@pytest.mark.parametrize(
    ("p_value", "said"),
    [
        (
            0.34,
            "There is not enough evidence to say that the ratios differ between periods (F 1.20 on 3 and 14",
        ),
        (0.01, "The ratios differ between periods"),
        (math.nan, "Too few plots for a test"),
    ],
)
def test_the_test_of_periods_in_words(analysis: Analysis, p_value: float, said: str) -> None:
    hazards = replace(analysis.supporting.hazards, test=WaldTest(1.2, 3.0, 14.2, p_value))
    section = part(build(hazards=hazards), "periods")
    assert said in words(section)
    # Effects by period stand there whatever the test says.
    assert table(section, "periods-table").rows[1][2:] == ("0.50", "0.30 to 0.80", "51")


def test_residuals_name_the_preparation_whose_ratio_moves_most(analysis: Analysis) -> None:
    figure = next(block for block in part(analysis, "periods").blocks if isinstance(block, Figure))
    assert f"for “{METHODS[1]}”: from 0.50 to 0.90" in figure.described
    assert figure.table.rows[1][1] == "200 to 210"
    assert figure.draw(size="narrow") is not None


def test_a_group_that_was_not_watched_says_so_instead_of_a_mean(analysis: Analysis) -> None:
    section = part(analysis, "days-alive")
    assert table(section, "days-alive-table").rows[3][1] == "watched to day 300 only"
    assert table(section, "days-differ-table").rows[0][2:4] == ("+32", "+9 to +55")
    assert table(section, "days-differ-table").rows[2][2] == "no site holds both"


def test_ground_hides_what_is_private(analysis: Analysis) -> None:
    shown = table(part(analysis, "ground"), "overlap-table")
    assert {row[0] for row in shown.rows} == {"slope"}
    assert "All plots stood where the other stood too, by: site." in shown.note
    assert "owner" not in tables_of(analysis)["overlap"]["trait"].tolist()


def test_e_values_where_preparations_were_chosen(analysis: Analysis) -> None:
    found = table(part(analysis, "ground"), "e-values-table")
    assert found.rows[0][1:] == (USUAL, "0.64", "0.45 to 0.90", "2.5", "1.5")
    assert "no place holds both" in found.note
    drawn = words(part(build("random within blocks"), "ground"))
    assert "E-value" not in drawn


def test_within_and_between_sites_stand_side_by_side(analysis: Analysis) -> None:
    section = part(analysis, "ground")
    compared = [row[1] for row in table(section, "within-between-table").rows]
    assert compared == ["within sites", "between sites", "between sites over within sites"]
    assert "There is not enough evidence to say that the two differ (Mundlak's test, p 0.22)" in words(
        section
    )


def test_limits_for_sites_like_these_or_why_not(analysis: Analysis) -> None:
    assert "needs 5 sites, and there are 3" in words(part(analysis, "like-sites"))
    known = contrasts(limits_note="95 % CI by leaving out each site")
    section = part(build(like_sites=known), "like-sites")
    assert section.heading == "Expected at similar sites"
    assert "leaving out each site" in table(section, "like-sites-table").note


def test_their_numbers_are_written_out() -> None:
    names = set(tables_of(build("random within blocks")))
    assert {"permutation", "hazards", "residuals", "mean_days", "mean_days_differences"} <= names
    assert {"within_between", "overlap"} <= names
