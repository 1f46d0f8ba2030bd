"""Tables that say a thing once: the patch by visit, traits that are alike, dates in words, labels apart."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pandas as pd
import pytest
from matplotlib.text import Annotation

from survivor.analysis import Analysis
from survivor.document.elements import Figure, Table
from survivor.figures.season import deciles_figure
from survivor.report.arrangement import ANNEX
from tests.report.making import METHODS, build, named, part, table


def patch_table(analysis: Analysis) -> Table:
    section = named(ANNEX.of(analysis), "patch")
    return next(block.table for block in section.blocks if isinstance(block, Figure))


def test_the_patch_has_a_row_a_preparation_and_a_column_a_visit(analysis: Analysis) -> None:
    made = patch_table(analysis)
    assert [row[0] for row in made.rows] == list(METHODS)
    headings = [column.heading for column in made.columns]
    assert headings[1:3] == ["Visit 1, days 38 to 42", "Visit 5, days 360 to 366"]
    assert made.rows[0][1:3] == ("15 (12 to 21)", "52 (48 to 60)")
    assert "patch.csv has every visit" in made.note


def test_of_many_visits_the_first_and_the_last_stand(analysis: Analysis) -> None:
    one = analysis.patch[analysis.patch["visit"] == "visit 1"]
    visits = [
        one.assign(visit=str(n), day=30.0 * n, first_day=30.0 * n, last_day=30.0 * n, mean=10.0 + n)
        for n in range(1, 10)
    ]
    made = patch_table(build(patch=pd.concat(visits, ignore_index=True)))
    assert [column.heading for column in made.columns[1:3]] == ["Visit 1, days 30", "Visit 9, days 270"]
    assert made.rows[0][2].startswith("19 ")


def test_traits_that_are_alike_are_named_once(analysis: Analysis) -> None:
    balance = pd.DataFrame(
        {
            "trait": ["slope", "texture", "texture", "crew", "crew"],
            "level": ["", "clay", "loam", "A", "B"],
            "method": METHODS[1],
            "n_plots": 9,
            "value": [6.2, 50.0, 50.0, 30.0, 70.0],
            "unit": ["mean", *["per 100 plots"] * 4],
            "standardised_difference": [0.0, 0.04, -0.04, 0.0, 0.3],
        }
    )
    known = replace(analysis.confounding.layout, balance=balance)
    made = table(part(build(layout=known), "ground"), "balance-table")
    # Of a trait with a level that differs, every level stands.
    assert [row[0] for row in made.rows] == ["crew: A", "crew: B"]
    assert "0.0 apart: slope and texture." in made.note


@pytest.mark.parametrize("size", ["wide", "narrow"])
def test_names_of_many_measures_do_not_run_into_each_other(size: str) -> None:
    names = ["longest wait for a fall of 10 mm in the dry season", "rain in the six months before planting"]
    rows = pd.DataFrame(
        {
            "gauge": np.repeat(["the district gauge, planted 2021", "the district gauge, planted 2022"], 4),
            "measure": names * 4,
            "value": 57.0,
            "unit": "days",
            "decile": 3.0,
        }
    )
    figure = deciles_figure(rows, size=size)
    figure.draw_without_rendering()
    drawn = [
        text for text in figure.axes[0].texts if isinstance(text, Annotation) and "57" not in text.get_text()
    ]
    boxes = sorted(text.get_window_extent().extents[[1, 3]].tolist() for text in drawn)
    assert len(boxes) > 8
    assert all(low[1] <= high[0] + 2 for low, high in pairwise(boxes))
