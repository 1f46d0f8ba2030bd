"""Words of the records in place of those of the program, and what is said where nothing was named."""

from __future__ import annotations

import io
from types import SimpleNamespace

import pandas as pd
import pytest
from python_calamine import CalamineWorkbook

from survivor.analysis.reasons import plain_terms
from survivor.report.content import report_of
from survivor.report.content.elements import Figure, Paragraph
from survivor.report.titles import title_of
from survivor.report.workbook import workbook_of
from survivor.season.rain import COLUMNS
from tests.report.conftest import METHODS, USUAL, build
from tests.report.test_content import named, words


@pytest.mark.parametrize(
    ("said", "plain"),
    [
        ("no limits for method[T.spot spray]: one plot", "no limits for spot spray: one plot"),
        ("method[T.rip, mound (2 m)] and species[T.oak]", "rip, mound (2 m) and oak"),
        ("period[T.first dry season]:method[T.rip] moves", "first dry season with rip moves"),
        ("method[T.auger [300 mm]] moves", "auger [300 mm] moves"),
        ("weed_free_radius_m is a line", "the weed-free radius is a line"),
        ("nothing to put", "nothing to put"),
    ],
)
def test_terms_of_a_model_in_the_words_of_the_records(said: str, plain: str) -> None:
    assert plain_terms(said) == plain


def test_no_term_of_a_model_stands_among_what_the_models_noticed() -> None:
    fit = build().fits["grouped"]
    fit.checks = (f"no limits for method[T.{METHODS[3]}]: one plot alone decides it",)
    said = words(named(report_of(build(fits={"grouped": fit})), "workings"))
    assert "[T." not in said
    assert f"No limits for {METHODS[3]}: one plot alone decides it." in said


def _unnamed() -> SimpleNamespace:
    settings = build().settings
    design = settings.design.model_copy(update={"usual_practice": None})
    return build(settings=settings.model_copy(update={"design": design}))


def test_where_no_usual_practice_is_named_the_first_screen_says_what_is_compared_with() -> None:
    blocks = report_of(_unnamed()).answer.blocks
    notes = [block for block in blocks if isinstance(block, Paragraph) and block.label == "No usual practice"]
    assert [USUAL in note.text for note in notes] == [True]
    assert blocks.index(notes[0]) < [type(block) for block in blocks].index(Figure)
    assert not any(
        isinstance(block, Paragraph) and block.label == "No usual practice"
        for block in report_of(build()).answer.blocks
    )


def test_the_workbook_names_no_usual_practice_that_nobody_named() -> None:
    book = CalamineWorkbook.from_filelike(io.BytesIO(workbook_of(_unnamed())))
    held = {row[0]: row[1] for row in book.get_sheet_by_name("contents").to_python()}
    assert not any("usual practice" in text for text in held.values())
    assert f"against {USUAL}" in held["contrasts"]
    assert "against the usual practice" in title_of("contrasts")


def test_rounds_of_visits_are_one_line() -> None:
    curves = build().curves
    curves.notes = (
        "visits on days 358 to 373 are taken as made on day 365",
        "visits on days 35 to 45 are taken as one round, on day 45",
        "visits on days 85 to 159 are taken as one round, on day 159",
        "scalp: no limits after day 365, the last on which two plots were watched",
    )
    blocks = named(report_of(build(curves=curves)), "curves").blocks
    said = [block.text for block in blocks if isinstance(block, Paragraph) and block.kind == "small"]
    assert said == [
        "Visits on days 358 to 373 are taken as made on day 365.",
        "Visits on these days are taken as one round, on its last day: 35 to 45 and 85 to 159.",
        "Scalp: no limits after day 365, the last on which two plots were watched.",
    ]


def test_late_tags_tell_where_stretches_begin() -> None:
    assert "stretches begin at the first sighting" in words(
        named(report_of(build(found_first=True)), "periods")
    )
    assert "first sighting" not in words(named(report_of(build()), "periods"))


def _rain(*planted: str) -> pd.DataFrame:
    rows = []
    for day in map(pd.Timestamp, planted):
        for measure, unit in (
            ("rain from planting to the dry season", "mm"),
            ("falls of 10 mm or more", "falls"),
        ):
            start, end = day, pd.Timestamp(day.year, 11, 30)
            rows.append(("north", day, measure, start, end, 1.0, unit, 150, 150, 2.0, 5.0, 30, ""))
    return pd.DataFrame(rows, columns=list(COLUMNS))


def test_rain_is_told_once_a_planting_season() -> None:
    rain = _rain("2022-06-20", "2022-07-04", "2022-07-09", "2023-06-15")
    figure = next(
        block
        for block in named(report_of(build(rain=rain)), "season").blocks
        if isinstance(block, Figure) and block.key == "deciles"
    )
    assert [row[0] for row in figure.table.rows] == ["north, planted 2022"] * 2 + ["north, planted 2023"] * 2
    assert "2 later planting days" in figure.table.note
    assert "planted 2022" in figure.finding
    assert "planted 2023" in figure.finding
    cells = [cell for row in figure.table.rows for cell in row]
    assert "1 fall" in cells
    assert "2 falls" in cells


def test_the_season_of_one_year_is_not_named_after_it() -> None:
    rain = _rain("2022-06-20", "2022-07-04")
    season = named(report_of(build(rain=rain)), "season")
    assert "planted 2022" not in words(season)
