from __future__ import annotations

import re
from dataclasses import replace

import pandas as pd
import pytest

from survivor.analysis import Analysis
from survivor.document.elements import Figure, Paragraph, Report, Table
from survivor.document.page import figures_of, page_of, sections_of
from survivor.report.arrangement import ANNEX, OFFICER, REPORT
from tests.document.reading import read, undrawn
from tests.report.making import CAUSAL, METHODS, USUAL, build, named, words


@pytest.mark.slow
def test_no_causal_verb_where_allocation_was_not_random(page: str, annex_page: str) -> None:
    """Chosen, with every word of the figures; and where nobody said how it was given."""
    others = [undrawn(document.of(build("not recorded"))) for document in (REPORT, ANNEX, OFFICER)]
    for made in (page, annex_page, *others):
        text = " ".join(read(made).text().split())
        assert CAUSAL.findall(text) == []


def test_the_scan_finds_what_it_looks_for() -> None:
    said = (
        "It kept 21 more, improved survival, was raised due to mulch, led to more, paid off because of rain."
    )
    assert [m.lower() for m in CAUSAL.findall(said)] == [
        "kept 21",
        "improved",
        "raised",
        "due to",
        "led to",
        "paid off",
        "because",
    ]


@pytest.mark.parametrize("allocation", ["by choice", "not recorded"])
def test_it_is_said_on_the_first_screen_that_allocation_was_not_random(allocation: str) -> None:
    answer = REPORT.of(build(allocation)).answer
    notes = [block for block in answer.blocks if isinstance(block, Paragraph) and block.kind == "note"]
    assert "not allocated at random" in notes[0].plain
    where = [type(block) for block in answer.blocks]
    assert answer.blocks.index(notes[0]) < where.index(Figure)


def test_random_allocation_is_said_and_not_warned_of() -> None:
    report = REPORT.of(build("random within blocks"))
    assert "not allocated at random" not in words(report.answer)
    assert "randomised block trial" in words(named(report, "design"))


def test_comparisons_between_sites_and_refused_ones_are_named_first(report: Report) -> None:
    said = words(report.answer)
    assert f"“{METHODS[2]}” shared no site with “{USUAL}”" in said
    assert f"“{METHODS[3]}” cannot be compared with “{USUAL}”: " in said
    assert "the method cannot be distinguished from the site" in said


def test_the_deaths_add_up(annex: Report, analysis: Analysis) -> None:
    figure = next(figure for figure in figures_of(annex) if figure.key == "causes")
    causes = [row[1:-2] for row in figure.table.rows]
    assert [sum(map(int, row)) for row in causes] == [int(row[-2]) for row in figure.table.rows]
    total = sum(int(row[-2]) for row in figure.table.rows)
    assert total == analysis.described.causes["deaths"].sum()
    assert f"{total} deaths" in figure.described


def test_the_radius_is_never_printed_without_its_area(annex: Report) -> None:
    said = words(named(annex, "radius"))
    assert "0.75 m" in said
    assert "1.77 m²" in said


def test_every_caution_is_there_and_no_rate() -> None:
    said = words(named(ANNEX.of(build()), "cautions")).casefold()
    for needed in (
        "the label is the law",
        "services",
        "30 cm",
        "roll over",
        "contour",
        "heritage",
        "waterway",
        "clean machines",
        "snakes",
        "landholder",
    ):
        assert needed in said
    assert not re.search(r"\d+(?:\.\d+)?\s*(?:l|ml|g|kg)\s*/\s*(?:ha|l)\b|per hectare", said)


def test_a_caution_stands_beside_the_comparison_that_touches_it(annex: Report) -> None:
    blocks = [b for b in named(annex, "comparison").blocks if isinstance(b, Paragraph)]
    beside = next(block for block in blocks if block.label == "Before acting on this")
    assert "the label is the law" in beside.plain
    assert beside.see is not None
    assert beside.see.href == "#cautions"


EMPTY = pd.DataFrame()
NOTHING = {
    "findings": (),
    "by_method": None,
    "against": None,
    "all_pairs": None,
    "curves": None,
    "response": None,
    "held_equal": None,
    "payoff": None,
    "layout": None,
    "fits": {},
    "agreement": EMPTY,
    "rain_measures": EMPTY,
    "rain_record": EMPTY,
    "species": EMPTY,
    "sites": EMPTY,
    "causes": EMPTY,
    "bounds": EMPTY,
    "left_out": EMPTY,
    "measures": EMPTY,
    "notes": (),
}


@pytest.mark.slow
def test_what_could_not_be_made_is_said_with_the_reason_not_left_out() -> None:
    reasons = {
        "radius": "the radius does not vary within method and site",
        "costs": "costs are not given",
        "curves": "the curves need two visits",
        "comparing": "no two methods can be compared",
    }
    full, bare = ANNEX.of(build()), ANNEX.of(build(**NOTHING, reasons=reasons))
    assert [s.key for s in bare.sections] == [s.key for s in full.sections]
    keys = ("radius", "money", "curves", "comparison")
    for key, reason in zip(keys, reasons.values(), strict=True):
        said = words(named(bare, key)).casefold()
        assert [other for other in reasons.values() if other in said] == [reason]
    assert "no rain gauge is named" in words(named(bare, "season")).casefold()
    assert "No answer" in words(named(bare, "species"))
    assert "Skip to the answer" in page_of(bare)


def test_content_holds_no_markup(annex: Report) -> None:
    for section in sections_of(annex):
        assert not re.search(r"</?(?:p|b|strong|em|a|td|table|span|div|br)\b", words(section))


def test_sites_are_not_ranked(annex: Report) -> None:
    figure = next(figure for figure in figures_of(annex) if figure.key == "sites")
    names = [row[0] for row in figure.table.rows]
    assert names == sorted(names)


def test_keys_of_tables_and_figures_are_unique(annex: Report) -> None:
    keys = [block.key for s in sections_of(annex) for block in s.blocks if isinstance(block, Table | Figure)]
    keys += [figure.table.key for figure in figures_of(annex) if figure.table is not None]
    assert len(keys) == len(set(keys))


def test_without_a_model_the_first_screen_shows_what_was_counted() -> None:
    bare = build(
        **(NOTHING | {"curves": build().survival.curves}), reasons={"survival": "no model could be fitted"}
    )
    assert any(figure.key == "survival" for figure in figures_of(REPORT.of(bare)))


@pytest.mark.parametrize(
    ("kind", "short", "falls"),
    [
        ("tagged", False, "by deaths and by tags no longer found."),
        ("counts", False, "falls by deaths."),
        (
            "counts",
            True,
            "by deaths and by sites whose records end sooner after planting than others (as those of a later "
            "planting year may).",
        ),
    ],
)
def test_why_numbers_at_risk_fall_is_told_by_the_kind_and_the_ends_of_records(kind, short, falls) -> None:
    settings = build().settings
    records = settings.records.model_copy(update={"kind": kind})
    own = build().records
    if short:
        every = own.intervals
        at_first = every["site"] == every["site"].iloc[0]
        own = replace(own, intervals=every[~(at_first & (every["stop_day"] > 200))])
    analysis = build(settings=settings.model_copy(update={"records": records}), records=own)
    said = words(named(ANNEX.of(analysis), "curves"))
    assert falls in said


def test_groups_that_came_out_alike_are_not_told_as_a_span() -> None:
    alike = build().described.species.assign(estimate=[60.2, 59.9])
    (found,) = [each for each in figures_of(ANNEX.of(build(species=alike))) if each.key == "species"]
    assert found.described == "60 alive per 100 planted of both species."


@pytest.mark.parametrize("allocation", ["random within blocks", "by choice"])
def test_each_item_of_the_checklist_stands_where_it_says(allocation: str) -> None:
    analysis = build(allocation)
    documents = [REPORT.of(analysis), ANNEX.of(analysis)]
    headings = {section.heading for document in documents for section in sections_of(document)}
    items = named(documents[1], "checklist").blocks[1].rows
    places = [place for _, place in items if place.startswith(("Report, ", "This annex, "))]
    assert len(places) >= 8
    assert [name for place in places for name in re.findall("“([^”]+)”", place) if name not in headings] == []
