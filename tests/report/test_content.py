from __future__ import annotations

import re
from collections.abc import Iterator
from types import SimpleNamespace

import pandas as pd
import pytest

from survivor.report.content import report_of
from survivor.report.content.elements import Figure, Listing, Paragraph, Report, Section, Table, Terms
from survivor.report.page import page_of
from tests.report.conftest import METHODS, USUAL, build
from tests.report.reading import read

# Verbs (and their like) that say one thing made another; none may stand in a report on
# preparations that were not allocated at random.
CAUSAL = re.compile(
    r"\b(improv(?:e|es|ed|ing)|increas(?:e|es|ed|ing)|decreas(?:e|es|ed|ing)|reduc(?:e|es|ed|ing)|"
    r"caus(?:e[sd]|ing)|rais(?:es|ed|ing)|lower(?:ed|s|ing)|boost\w*|lifted|lifts|enhanc\w+|"
    r"due to|owing to|thanks to|because|led to|leads to|leading to|result(?:s|ed|ing)? in|brought about|"
    r"paid off|pays off|stops paying|benefit(?:s|ed)?|harmed|saved|prevented|protected|"
    r"effect of|impact\w*|responsible for|attribut\w+|made (?:more|fewer|them|it)|"
    r"kept (?:[0-9]+|no|most|more|fewer))\b",
    re.IGNORECASE,
)


def sections(report: Report) -> Iterator[Section]:
    for section in (report.answer, *report.sections):
        yield section
        yield from section.parts


def named(report: Report, key: str) -> Section:
    return next(section for section in sections(report) if section.key == key)


def words(section: Section) -> str:
    found: list[str] = [section.heading]
    for block in section.blocks:
        if isinstance(block, Paragraph):
            found += [block.label, block.text]
        elif isinstance(block, Listing):
            found += block.items
        elif isinstance(block, Terms):
            found += [part for pair in block.pairs for part in pair]
        elif isinstance(block, Table):
            found += _table_words(block)
        elif isinstance(block, Figure):
            found += [block.title, block.finding, block.caption, *_table_words(block.table)]
    return " ".join(found)


def _table_words(table: Table) -> list[str]:
    return [
        table.caption,
        table.note,
        *(c.heading for c in table.columns),
        *(x for row in table.rows for x in row),
    ]


def figures(report: Report) -> list[Figure]:
    return [block for section in sections(report) for block in section.blocks if isinstance(block, Figure)]


@pytest.fixture(scope="module")
def report(analysis: SimpleNamespace) -> Report:
    return report_of(analysis)


@pytest.mark.parametrize("allocation", ["by choice", "not recorded"])
def test_no_causal_verb_where_allocation_was_not_random(allocation: str) -> None:
    root = read(page_of(report_of(build(allocation))))
    text = " ".join(root.text().split())
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
    answer = report_of(build(allocation)).answer
    notes = [block for block in answer.blocks if isinstance(block, Paragraph) and block.kind == "note"]
    assert notes[0].label == "Not allocated at random"
    where = [type(block) for block in answer.blocks]
    assert answer.blocks.index(notes[0]) < where.index(Figure)


def test_random_allocation_is_said_and_not_warned_of() -> None:
    report = report_of(build("random within blocks"))
    assert "Not allocated at random" not in " ".join(words(section) for section in sections(report))
    assert "drawn by lot within blocks" in words(named(report, "planting"))


def test_comparisons_between_sites_and_refused_ones_are_named_first(report: Report) -> None:
    said = words(report.answer)
    assert f"{METHODS[2]} against {USUAL}" in said
    assert f"{METHODS[3]} against {USUAL}" in said
    assert "the method cannot be told from the site" in said


def test_numbers_of_a_finding_stand_in_its_table(report: Report) -> None:
    for figure in figures(report):
        if figure.key == "curves":  # its fall over the dry season is a difference of two cells
            continue
        finding = figure.finding
        for row in figure.table.rows:  # a name may hold figures of its own
            for cell in row[: figure.table.row_heads]:
                finding = finding.replace(cell, "")
        cells = set(re.findall(_NUMBER, " ".join(_table_words(figure.table))))
        missing = [n for n in re.findall(_NUMBER, finding) if n not in cells]
        if figure.key == "causes":  # totals over preparations
            continue
        assert missing == [], (figure.key, finding)


_NUMBER = r"[+−]?\d+(?:,\d{3})*(?:\.\d+)?"


def test_the_curves_end_where_the_table_ends(report: Report) -> None:
    figure = next(figure for figure in figures(report) if figure.key == "curves")
    for row in figure.table.rows:
        assert f"{row[0]} {row[-1].split()[0]}" in figure.finding


def test_the_deaths_add_up(report: Report, analysis: SimpleNamespace) -> None:
    figure = next(figure for figure in figures(report) if figure.key == "causes")
    total = sum(int(cell) for row in figure.table.rows for cell in row[2:])
    assert total == analysis.causes["deaths"].sum()
    assert f"{total} deaths" in figure.finding


def test_each_estimate_has_limits_unit_and_counts(report: Report) -> None:
    for key, counts in (("survival-table", 4), ("contrasts-table", 3)):
        table = next(figure.table for figure in figures(report) if figure.table.key == key)
        headings = " ".join(column.heading for column in table.columns)
        assert "per 100 planted" in headings
        assert "95 % limits" in headings
        assert sum(word in headings for word in ("Seedlings", "Died", "Plots", "Sites")) == counts


def test_the_picture_and_the_table_write_the_same_numbers(report: Report) -> None:
    figure = next(figure for figure in figures(report) if figure.key == "survival")
    drawing = figure.draw("wide")
    drawn = {text.get_text() for text in drawing.axes[0].texts}
    for row in figure.table.rows:
        assert f"{row[1]} ({row[2]})" in drawn
        assert f"{row[3].removesuffix(' dollars')} ({row[4]})" in drawn


def test_the_radius_is_never_printed_without_its_area(report: Report) -> None:
    said = words(named(report, "radius"))
    assert "0.75 m" in said
    assert "1.77 m²" in said


def test_every_caution_is_there_and_no_rate() -> None:
    said = words(named(report_of(build()), "cautions")).casefold()
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


def test_a_caution_stands_beside_the_comparison_that_touches_it(report: Report) -> None:
    blocks = [b for b in named(report, "comparison").blocks if isinstance(b, Paragraph)]
    beside = next(block for block in blocks if block.label == "Before acting on this")
    assert "the label is the law" in beside.text
    assert beside.see == "cautions"


EMPTY = pd.DataFrame()
NOTHING = {
    "findings": (),
    "survival": None,
    "contrasts": None,
    "all_pairs": None,
    "curves": None,
    "dose": None,
    "radius_held": None,
    "payoff": None,
    "confounding": None,
    "fits": {},
    "agreement": EMPTY,
    "rain": EMPTY,
    "rain_record": EMPTY,
    "species": EMPTY,
    "sites": EMPTY,
    "causes": EMPTY,
    "bounds": EMPTY,
    "left_out": EMPTY,
    "measures": EMPTY,
    "notes": (),
}


def test_what_could_not_be_made_is_said_with_the_reason_not_left_out() -> None:
    reasons = (
        "the radius does not vary within method and site",
        "costs are not given",
        "no rain gauge is named",
        "the curves need two visits",
        "no two methods can be compared",
    )
    full, bare = report_of(build()), report_of(build(**NOTHING, cannot=reasons))
    assert [s.key for s in bare.sections] == [s.key for s in full.sections]
    for key, reason in zip(("radius", "money", "season", "curves", "comparison"), reasons, strict=True):
        assert reason in words(named(bare, key)).casefold()
    assert "No answer" in words(named(bare, "species"))
    assert "Skip to the answer" in page_of(bare)


def test_content_holds_no_markup(report: Report) -> None:
    for section in sections(report):
        assert not re.search(r"</?(?:p|b|strong|em|a|td|table|span|div|br)\b", words(section))


def test_sites_are_not_ranked(report: Report) -> None:
    figure = next(figure for figure in figures(report) if figure.key == "sites")
    names = [row[0] for row in figure.table.rows]
    assert names == sorted(names)


def test_keys_of_tables_and_figures_are_unique(report: Report) -> None:
    keys = [block.key for s in sections(report) for block in s.blocks if isinstance(block, Table | Figure)]
    keys += [figure.table.key for figure in figures(report)]
    assert len(keys) == len(set(keys))


def test_a_preparation_that_the_average_leaves_out_is_named() -> None:
    full = build()
    part = SimpleNamespace(table=full.survival.table.iloc[:3], checks=())
    figure = next(f for f in figures(report_of(build(survival=part))) if f.key == "survival")
    assert METHODS[3] in figure.caption


def test_without_a_model_the_first_screen_shows_what_was_counted() -> None:
    bare = build(**(NOTHING | {"curves": build().curves}), cannot=("no model could be fitted",))
    assert any(figure.key == "survival" for figure in figures(report_of(bare)))


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
    analysis = build()
    records = analysis.settings.records.model_copy(update={"kind": kind})
    analysis.settings = analysis.settings.model_copy(update={"records": records})
    if short:
        every = analysis.records.intervals
        at_first = every["site"] == every["site"].iloc[0]
        analysis.records.intervals = every[~(at_first & (every["stop_day"] > 200))]
    said = words(named(report_of(analysis), "curves"))
    assert falls in said


def test_groups_that_came_out_alike_are_not_told_as_a_span() -> None:
    alike = build().species.assign(estimate=[60.2, 59.9])
    (found,) = [each for each in figures(report_of(build(species=alike))) if each.key == "species"]
    assert found.finding == "60 alive per 100 planted of both species."
