"""Words of the records in place of those of the program, and what is said where nothing was named."""

from __future__ import annotations

import io
from dataclasses import replace

import pandas as pd
from python_calamine import CalamineWorkbook

from survivor.analysis import Analysis
from survivor.document.elements import Figure
from survivor.report.arrangement import ANNEX, REPORT
from survivor.report.forms import workbook_of
from survivor.report.tables import title_of
from survivor.season.rain import COLUMNS
from survivor.vocabulary import Basis
from survivor.words import term_words
from tests.report.making import METHODS, USUAL, build, named, words


def test_no_term_of_a_model_stands_among_what_the_models_noticed() -> None:
    noticed = (f"no limits for {term_words(f'method[T.{METHODS[3]}]')}: one plot alone decides it",)
    fit = replace(build().models.by_name["grouped"], noticed=noticed)
    said = words(named(ANNEX.of(build(fits={"grouped": fit})), "workings"))
    assert "[T." not in said
    assert f"No limits for {METHODS[3]}: one plot alone decides it." in said


def _unnamed() -> Analysis:
    settings = build().settings
    design = settings.design.model_copy(update={"usual_practice": None})
    return build(settings=settings.model_copy(update={"design": design}))


def test_where_no_usual_practice_is_named_the_first_screen_says_what_is_compared_with() -> None:
    said = words(REPORT.of(_unnamed()).answer)
    assert f"names no usual practice; “{USUAL}”, with most plots, stands for it" in said
    assert "names no usual practice" not in words(REPORT.of(build()).answer)


def test_the_workbook_names_no_usual_practice_that_nobody_named() -> None:
    book = CalamineWorkbook.from_filelike(io.BytesIO(workbook_of(_unnamed())))
    held = {row[0]: row[1] for row in book.get_sheet_by_name("contents").to_python()}
    assert not any("usual practice" in text for text in held.values())
    assert f"against {USUAL}" in held["contrasts"]
    assert "against the usual practice" in title_of("contrasts")


def test_late_tags_tell_where_stretches_begin() -> None:
    assert "stretches begin at the first sighting" in words(
        named(ANNEX.of(build(basis=Basis.FOUND)), "periods")
    )
    assert "first sighting" not in words(named(ANNEX.of(build()), "periods"))


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
        for block in named(ANNEX.of(build(rain_measures=rain)), "season").blocks
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
    season = named(ANNEX.of(build(rain_measures=rain)), "season")
    assert "planted 2022" not in words(season)
