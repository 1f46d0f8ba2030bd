"""What a report says of comparisons: every method named, no more than is known, one statement each."""

from __future__ import annotations

import json
from types import SimpleNamespace
from typing import Any

import numpy as np
import pandas as pd
import pytest

from survivor.models.clusters import WaldTest
from survivor.report.content import report_of
from survivor.report.content.elements import Paragraph
from survivor.settings import Settings
from tests.report.conftest import METHODS, USUAL, build
from tests.report.test_backing import part, table
from tests.report.test_content import named, sections, words

APART = "cut and mulch"


def changed(analysis: SimpleNamespace, **tables: Any) -> Settings:
    """The settings of an analysis with some tables replaced; None takes one out."""
    content = json.loads(analysis.settings.model_dump_json())
    for name, value in tables.items():
        content[name] = {**content[name], **value} if isinstance(value, dict) else value
    return Settings.model_validate_json(json.dumps(content))


def with_one_more(analysis: SimpleNamespace) -> SimpleNamespace:
    """A preparation in the records that the model within sites leaves out."""
    records = analysis.records
    more = records.intervals.assign(method=APART)
    held = SimpleNamespace(**vars(records) | {"intervals": pd.concat([records.intervals, more])})
    payoff = SimpleNamespace(**vars(analysis.payoff) | {"left_out": {APART: "no site joins it"}})
    return build(records=held, payoff=payoff)


def test_where_no_usual_practice_is_named_none_is_spoken_of(analysis: SimpleNamespace) -> None:
    found = build(settings=changed(analysis, design={"usual_practice": None}))
    said = words(part(found, "comparison"))
    assert (
        f"No usual practice is named in the study file: compared with {USUAL}, the preparation with "
        "most plots."
    ) in said
    assert part(found, "comparison").heading == f"Each preparation against {USUAL}"
    for section in sections(report_of(found)):
        if section.key in ("comparison", "money", "ground", "periods", "all-pairs"):
            assert "the usual practice" not in words(section), section.key


def test_a_usual_practice_that_no_plot_holds_is_said_to_be_absent(analysis: SimpleNamespace) -> None:
    settings = changed(
        analysis, design={"usual_practice": "nothing done"}, methods=[{"name": "nothing done"}], costs=None
    )
    said = words(part(build(settings=settings), "comparison"))
    assert "The usual practice of the study file, nothing done, is in no plot that can be compared" in said
    assert "against the usual practice" not in said


def test_with_a_usual_practice_it_is_named_so(analysis: SimpleNamespace) -> None:
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
    analysis: SimpleNamespace, section: str, key: str
) -> None:
    found = table(part(with_one_more(analysis), section), key)
    cells = {cell for row in found.rows for cell in row}
    assert APART in cells or APART in found.note


def test_a_preparation_without_a_cost_per_established_plant_stands_in_the_cost_table(
    analysis: SimpleNamespace,
) -> None:
    rows = {row[0]: row for row in table(part(with_one_more(analysis), "money"), "payoff-table").rows}
    assert rows[APART][3] == "not told"


def _balance(*lines: tuple[str, str, str, float, float]) -> pd.DataFrame:
    frame = pd.DataFrame(lines, columns=["trait", "level", "method", "value", "standardised_difference"])
    return frame.assign(n_plots=9, unit="mean")


def _with_traits(analysis: SimpleNamespace, balance: pd.DataFrame) -> str:
    known = SimpleNamespace(**vars(analysis.confounding) | {"balance": balance})
    return words(part(build(confounding=known), "comparison"))


def test_no_trait_differed_much_covers_every_trait_and_names_the_largest(analysis: SimpleNamespace) -> None:
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


def test_a_private_trait_is_not_named(analysis: SimpleNamespace) -> None:
    said = _with_traits(analysis, _balance(("landholder", "A. Person", METHODS[1], 50.0, 3.0)))
    assert "Person" not in said


def test_of_the_radius_there_is_one_statement(analysis: SimpleNamespace) -> None:
    stops = SimpleNamespace(value=None, lower=None, upper=None, state="not shown", sentence="Not shown: so.")
    dose = SimpleNamespace(**vars(analysis.dose) | {"stops_paying": stops})
    said = words(part(build(dose=dose), "radius"))
    assert "Not shown: so." in said
    assert "there is no point from which" not in said
    assert "goes with less than" not in said


def test_a_radius_is_no_part_of_the_lot_even_where_lots_were_drawn() -> None:
    said = words(part(build("random within blocks"), "radius"))
    assert "not drawn by lot, though the preparations were" in said


def test_soil_under_the_patch_is_area_times_depth(analysis: SimpleNamespace) -> None:
    found = table(part(analysis, "radius"), "radius-table")
    assert found.columns[2].heading == "Soil under it to 0.50 m, m³"
    # 0.9 m: 2.54 m², half a metre deep.
    assert found.rows[-1][:3] == ("0.90", "2.54", "1.27")


def test_bounds_are_of_the_rule_not_of_the_truth(analysis: SimpleNamespace) -> None:
    said = words(part(analysis, "bounds"))
    assert "under the rule of this study for missing plants, which counts them as dead" in said
    assert "no bounds of the truth" in said
    assert "must lie" not in said


def test_two_p_values_of_one_pair_are_explained(analysis: SimpleNamespace) -> None:
    assert "The p of a pair is larger here" in table(part(analysis, "all-pairs"), "all-pairs-table").note
    assert "the 2 comparisons of this table" in table(part(analysis, "comparison"), "contrasts-table").note


def test_without_costs_of_a_currency_nothing_is_empty(analysis: SimpleNamespace) -> None:
    bare = analysis.payoff.table.assign(currency="")
    payoff = SimpleNamespace(**vars(analysis.payoff) | {"table": bare})
    found = part(build(payoff=payoff, settings=changed(analysis, costs=None)), "money")
    said = words(found)
    assert "()" not in said
    assert "  " not in " ".join(block.text for block in found.blocks if isinstance(block, Paragraph))
    assert ("6.81", "6.24 to 7.67") in [row[3:5] for row in table(found, "payoff-table").rows]


TESTS = {
    "alike": (WaldTest(0.8, 1.0, 9.3, 0.39), "It is not shown that the preparations differ in this"),
    "apart": (WaldTest(9.0, 1.0, 9.3, 0.01), "The preparations differ in this (F 9.00 on 1 and 9.3"),
    "few plots": (WaldTest(13.3, 4.0, 2.7, 0.037), "cannot be leaned on"),
    "none": (WaldTest(np.nan, 1.0, np.nan, np.nan), "Too few plots for a test"),
}


@pytest.mark.parametrize(("test", "said"), TESTS.values(), ids=TESTS.keys())
def test_whether_the_radius_acts_alike_in_words(analysis: SimpleNamespace, test: WaldTest, said: str) -> None:
    slopes = SimpleNamespace(**vars(analysis.radius_by_method) | {"test": test})
    section = part(build(radius_by_method=slopes), "radius-by-method")
    assert said in words(section)
    rows = table(section, "radius-slopes").rows
    assert rows[0][1:5] == ("0.84", "0.71 to 0.99", "0.041", "6.2")
    assert rows[2][6] == "Its plots at one site are of one radius."


def test_rain_by_preparation_stands_only_where_rain_can_be_told(analysis: SimpleNamespace) -> None:
    assert "rain-by-method" not in [section.key for section in sections(report_of(analysis))]
    slopes = SimpleNamespace(**vars(analysis.radius_by_method) | {"per": 100.0})
    section = named(report_of(build(rain_by_method=slopes)), "rain-by-method")
    assert "Ratio of deaths for 100 mm more rain" in words(section)
