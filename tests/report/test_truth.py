"""What a report says of comparisons: every method named, no more than is known, one statement each."""

from __future__ import annotations

import json
from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd
import pytest

from survivor.analysis import Analysis
from survivor.document.elements import Paragraph
from survivor.document.page import sections_of
from survivor.effects.plateau import Plateau
from survivor.models.clusters import WaldTest
from survivor.report.arrangement import ANNEX
from survivor.settings import Settings
from tests.report.making import METHODS, USUAL, build, named, part, table, words

APART = "cut and mulch"


def changed(analysis: Analysis, **tables: Any) -> Settings:
    """The settings of an analysis with some tables replaced; None takes one out."""
    content = json.loads(analysis.settings.model_dump_json())
    for name, value in tables.items():
        content[name] = {**content[name], **value} if isinstance(value, dict) else value
    return Settings.model_validate_json(json.dumps(content))


def with_one_more(analysis: Analysis) -> Analysis:
    """A preparation in the records that the model within sites leaves out."""
    records = analysis.records
    more = records.intervals.assign(method=APART)
    held = replace(records, intervals=pd.concat([records.intervals, more]))
    payoff = replace(analysis.costs.payoff, left_out={APART: "no site joins it"})
    return build(records=held, payoff=payoff)


def test_where_no_usual_practice_is_named_none_is_spoken_of(analysis: Analysis) -> None:
    found = build(settings=changed(analysis, design={"usual_practice": None}))
    said = words(part(found, "comparison"))
    assert (
        f"No usual practice is named in the study file: compared with “{USUAL}”, the preparation with "
        "most plots."
    ) in said
    assert part(found, "comparison").heading == f"Each preparation against {USUAL}"
    for section in sections_of(ANNEX.of(found)):
        if section.key in ("comparison", "money", "ground", "periods", "all-pairs"):
            assert "the usual practice" not in words(section), section.key


def test_a_usual_practice_that_no_plot_holds_is_said_to_be_absent(analysis: Analysis) -> None:
    settings = changed(
        analysis, design={"usual_practice": "nothing done"}, methods=[{"name": "nothing done"}], costs=None
    )
    said = words(part(build(settings=settings), "comparison"))
    assert "The usual practice of the study file, “nothing done”, is in no plot that can be compared" in said
    assert "against the usual practice" not in said


def test_with_a_usual_practice_it_is_named_so(analysis: Analysis) -> None:
    said = words(part(analysis, "comparison"))
    assert part(analysis, "comparison").heading == "Each preparation against the usual practice"
    assert "No usual practice" not in said


@pytest.mark.parametrize(
    ("section", "key"),
    [
        ("money", "payoff-table"),
        ("agreement", "agreement-table"),
        ("left-out", "left-out-table"),
        ("bounds", "bounds-table"),
        ("radius-held", "radius-held-table"),
        ("ground", "e-values-table"),
        ("ground", "within-between-table"),
        ("periods", "periods-table"),
        ("radius", "radius-by-preparation"),
    ],
)
def test_every_preparation_of_the_records_is_in_the_table_or_named_there(
    analysis: Analysis, section: str, key: str
) -> None:
    found = table(part(with_one_more(analysis), section), key)
    cells = {cell for row in found.rows for cell in row}
    assert APART in cells or APART in found.note


def test_a_preparation_without_a_cost_per_established_plant_stands_in_the_cost_table(
    analysis: Analysis,
) -> None:
    rows = {row[0]: row for row in table(part(with_one_more(analysis), "money"), "payoff-table").rows}
    assert rows[APART][3] == "not known"


def _balance(*lines: tuple[str, str, str, float, float]) -> pd.DataFrame:
    frame = pd.DataFrame(lines, columns=["trait", "level", "method", "value", "standardised_difference"])
    return frame.assign(n_plots=9, unit="mean")


def _with_traits(analysis: Analysis, balance: pd.DataFrame) -> str:
    known = replace(analysis.confounding.layout, balance=balance)
    return words(part(build(layout=known), "comparison"))


def test_no_trait_differed_much_covers_every_trait_and_names_the_largest(analysis: Analysis) -> None:
    near = _balance(("weed_free_radius_m", "", METHODS[1], 0.46, -0.4), ("slope", "", METHODS[1], 6.2, 0.1))
    said = _with_traits(analysis, near)
    assert (
        "The largest difference: weed-free radius under rip and spot spray, 0.4 standard deviations less"
        in said
    )
    far = _balance(("weed_free_radius_m", "", METHODS[1], 0.43, -0.7), ("slope", "", METHODS[1], 6.2, 0.1))
    said = _with_traits(analysis, far)
    assert "No trait" not in said
    assert (
        "The largest difference: weed-free radius under rip and spot spray, 0.7 standard deviations less"
        in said
    )
    assert "part of a preparation as it was done" in said


def test_a_private_trait_is_not_named(analysis: Analysis) -> None:
    said = _with_traits(analysis, _balance(("landholder", "A. Person", METHODS[1], 50.0, 3.0)))
    assert "Person" not in said


def test_of_the_radius_there_is_one_statement(analysis: Analysis) -> None:
    stops = Plateau(None, None, None, 1.0, "Not shown: so.", "not shown")
    dose = replace(analysis.radius.response, stops_paying=stops)
    said = words(part(build(response=dose), "radius"))
    assert "Not shown: so." in said
    assert "there is no point from which" not in said
    assert "goes with less than" not in said


def test_a_radius_is_no_part_of_the_lot_even_where_lots_were_drawn() -> None:
    said = words(part(build("random within blocks"), "radius"))
    assert "not allocated at random, though the preparations were" in said


def test_soil_under_the_patch_is_area_times_depth(analysis: Analysis) -> None:
    found = table(part(analysis, "radius"), "radius-table")
    assert found.columns[2].heading == "Soil under it to 0.50 m, m³"
    # 0.9 m: 2.54 m², half a metre deep.
    assert found.rows[-1][:3] == ("0.90", "2.54", "1.27")


def test_bounds_are_of_the_rule_not_of_the_truth(analysis: Analysis) -> None:
    said = words(part(analysis, "bounds"))
    assert "are the bounds of survival while missing plants count as dead" in said
    assert "no bounds of the truth" in said
    assert "must lie" not in said


def test_two_p_values_of_one_pair_are_explained(analysis: Analysis) -> None:
    assert "The p of a pair is larger here" in table(part(analysis, "all-pairs"), "all-pairs-table").note
    assert "the 2 comparisons of this table" in table(part(analysis, "comparison"), "contrasts-table").note


def test_without_costs_of_a_currency_nothing_is_empty(analysis: Analysis) -> None:
    bare = analysis.costs.payoff.table.assign(currency="")
    payoff = replace(analysis.costs.payoff, table=bare)
    found = part(build(payoff=payoff, settings=changed(analysis, costs=None)), "money")
    said = words(found)
    assert "()" not in said
    assert "  " not in " ".join(block.plain for block in found.blocks if isinstance(block, Paragraph))
    assert ("6.81", "6.24 to 7.67") in [row[3:5] for row in table(found, "payoff-table").rows]


TESTS = {
    "alike": (
        WaldTest(0.8, 1.0, 9.3, 0.39),
        "There is not enough evidence to say that the preparations differ in this",
    ),
    "apart": (WaldTest(9.0, 1.0, 9.3, 0.01), "The preparations differ in this (F 9.00 on 1 and 9.3"),
    "few plots": (WaldTest(13.3, 4.0, 2.7, 0.037), "is not reliable"),
    "none": (WaldTest(np.nan, 1.0, np.nan, np.nan), "Too few plots for a test"),
}


@pytest.mark.parametrize(("test", "said"), TESTS.values(), ids=TESTS.keys())
def test_whether_the_radius_acts_alike_in_words(analysis: Analysis, test: WaldTest, said: str) -> None:
    slopes = replace(analysis.radius.by_method, test=test)
    section = part(build(radius_by_method=slopes), "radius-by-method")
    assert said in words(section)
    rows = table(section, "radius-slopes").rows
    assert rows[0][1:5] == ("0.84", "0.71 to 0.99", "0.041", "6.2")
    assert rows[2][6] == "Its plots at one site are of one radius."


def test_rain_by_preparation_stands_only_where_rain_can_be_told(analysis: Analysis) -> None:
    assert "rain-by-method" not in [section.key for section in sections_of(ANNEX.of(analysis))]
    slopes = replace(analysis.radius.by_method, per=100.0)
    section = named(ANNEX.of(build(rain_by_method=slopes)), "rain-by-method")
    assert "Ratio of deaths for 100 mm more rain" in words(section)
