"""What the four pages name: what survival is observed of, what it is standardised for, what has no cost."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import pandas as pd
import pytest

from survivor.document.elements import Figure, Table
from survivor.effects.plateau import AlongLine
from survivor.report.arrangement import REPORT
from survivor.report.pages import english as en
from survivor.report.pages.answer import survival_picture
from survivor.report.pages.money import costs
from survivor.report.pages.plants import each, radius
from survivor.report.planting import _species
from survivor.sentences import Sentence
from survivor.words import money, per_100
from tests.once import analysed
from tests.report.generated import pines, write_generated
from tests.report.making import METHODS, build
from tests.report.walking import sentences


def notes(table: Table) -> tuple[Sentence, ...]:
    assert isinstance(table.note, tuple)
    return table.note


def table_of_each(analysis) -> Table:
    return next(block for block in each(analysis).blocks if isinstance(block, Table))


@pytest.mark.parametrize(
    ("variables", "same"), [(("method",), "sites"), (("method", "species"), "sites and species")]
)
def test_what_survival_is_standardised_for_is_what_the_model_holds(variables, same) -> None:
    given = build()
    fitted = replace(given.models.answer, variables=variables)
    (said,) = [
        one for one in notes(table_of_each(build(fits={"grouped": fitted}))) if one.template == en.EACH_CHOSEN
    ]
    assert said.parts["same"] == same


def test_all_species_are_named_where_plots_hold_several() -> None:
    seedlings = pd.DataFrame({"species": ["wattle", "oak", "wattle", ""]})
    plots = pd.DataFrame({"species": ["wattle"]})
    held = SimpleNamespace(records=SimpleNamespace(intervals=seedlings, plots=plots))
    assert _species(held) == ["oak", "wattle"]


def test_observed_is_alive_over_planted_and_a_curve_is_of_plants_followed() -> None:
    analysis = build()
    seen = analysis.survival.observed.set_index("method")
    table = table_of_each(analysis)
    place = [column.heading for column in table.columns].index(en.OBSERVED)
    assert {row[0]: row[place] for row in table.rows} == {
        name: per_100(100 * line["alive"] / line["planted"]) for name, line in seen.iterrows()
    }
    titles = {
        block.title
        for section in REPORT.of(analysis).sections
        for block in section.blocks
        if hasattr(block, "draw")
    }
    assert en.CURVES_TITLE in titles
    bare = survival_picture(build(by_method=None))
    assert bare is not None
    assert isinstance(bare.finding, Sentence)
    assert bare.finding.template in (en.PICTURE_OBSERVED, en.PICTURE_OBSERVED_BARE)
    assert bare.title.endswith("of plants followed")


def test_a_preparation_without_a_cost_of_a_living_plant_has_a_row_and_its_reason() -> None:
    given = build()
    payoff = replace(
        given.costs.payoff,
        table=given.costs.payoff.table.iloc[:2].reset_index(drop=True),
        not_costed=(METHODS[3],),
        left_out={METHODS[2]: "no site joins it to the others"},
    )
    analysis = build(payoff=payoff)
    table = next(block for block in costs(analysis).blocks if isinstance(block, Table))
    living = [column.heading for column in table.columns].index(en.COST_LIVING)
    rows = {row[0]: row for row in table.rows}
    assert {name for name, row in rows.items() if row[living] == en.NOT_COSTED} == {METHODS[2], METHODS[3]}
    # Its price stands there all the same, as the study file gives it.
    assert rows[METHODS[2]][1] == money(6.0, "dollars")
    assert "no site joins it to the others" in table.note
    (said,) = [one for one in sentences(REPORT.of(analysis)) if one.template == en.COST_LOWEST_OF]
    assert said.parts["costed"] == "2"


def test_a_radius_that_is_not_clear_has_its_line_in_words_and_no_curve_on_the_page() -> None:
    dose = build().radius.response
    dose = replace(dose, table=dose.table.assign(df=9.0), stops_paying=None)
    line = AlongLine(1.8, -2.4, 6.0, 0.4, 0.9)
    analysis = build(response=replace(dose, along_line=line))
    (section,) = radius(analysis)
    assert not any(isinstance(block, Figure) for block in section.blocks)
    (said,) = [one for one in sentences(REPORT.of(analysis)) if one.template == en.RADIUS_LINE]
    assert [value.number for value in said.values] == [1.8, -2.4]
    clear = build(response=replace(dose, along_line=replace(line, lower=0.4)))
    assert any(isinstance(block, Figure) for block in radius(clear)[0].blocks)


@pytest.mark.parametrize(
    ("allocation", "template"),
    [("random within blocks", en.NEXT_BEST_WEAK), ("by choice", en.NEXT_BEST_CHOSEN)],
)
def test_on_weak_evidence_a_trial_is_repeated_and_a_choice_is_tried(allocation: str, template: str) -> None:
    given = build(allocation)
    weak = tuple(
        replace(one, grade="weak") if one.reading == "clear difference" else one for one in given.findings
    )
    said = [one for one in sentences(REPORT.of(build(allocation, findings=weak))) if one.template == template]
    assert [one.parts["method"].text for one in said] == [METHODS[1]]


def test_no_worth_is_called_too_little_that_repays_the_cheapest(tmp_path) -> None:
    """One preparation of this season costs least, but has no interval: its value stands beside no other."""
    analysis = analysed(write_generated(tmp_path, 3))
    payoff = analysis.costs.payoff
    assert payoff.best_value.lowest > payoff.table["cost_per_established"].min() + 1
    templates = {one.template for one in sentences(REPORT.of(analysis))}
    assert not templates & {en.WORTH_FLOOR, en.WORTH_FLOOR_OF, en.WORTH_ABOVE, en.WORTH_ABOVE_TO}


def test_one_planting_without_plots_is_observed_and_nothing_else(tmp_path) -> None:
    table = table_of_each(analysed(pines(tmp_path)))
    assert [column.heading for column in table.columns] == [en.PREPARATION, en.OBSERVED]
    assert table.note == ()
    assert table.caption == en.EACH_CAPTION_ALONE.format(per="per 100 planted")


@pytest.mark.parametrize(("target", "whole"), [(True, True), (True, False), (False, True), (False, False)])
def test_a_target_and_a_planting_that_are_not_given_are_said_to_be_so(target: bool, whole: bool) -> None:
    given = build()
    settings = given.settings if target else given.settings.model_copy(update={"target": None})
    scaled = given.totals.scaled if whole else given.totals.scaled.iloc[:0]
    said = [one.template for one in sentences(REPORT.of(build(settings=settings, scaled=scaled)))]
    lacking = [text for text in en.NOT_GIVEN.values() if text in said]
    assert lacking == ([] if target and whole else [en.NOT_GIVEN[not target, not whole]])
