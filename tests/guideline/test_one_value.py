"""One quantity has one value in a guideline: page, document, sentences, captions, its tables, a pool.

Every number that a row of a table shows, on the page or in the PDF, is that of its cell in ``advice.csv``,
``seasons.csv`` or ``try-next.csv``; every number of a sentence of the answer is too; and differences in these
seasons and in a new one are those that ``pool_seasons`` gives for the same plots.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pandas as pd
import pytest

from survivor.document.elements import Figure, Listing, Paragraph, Table
from survivor.document.page import sections_of
from survivor.guideline import Guideline
from survivor.guideline.content import content_of
from survivor.guideline.document import _content, guideline_pdf
from survivor.guideline.ground import kinds_of
from survivor.guideline.wording import usual_of
from survivor.pooling.result import within_scale
from survivor.seasons import SeasonsTogether, join_seasons, pool_seasons
from survivor.seasons.page import together_table
from survivor.seasons.wording import sentences as pooled_sentences
from survivor.sentences import Cell, Sentence, Value, plain_text, sentences_of
from survivor.vocabulary import PER_100
from tests.document.poppler import needs_poppler, text_of
from tests.report.walking import texts_of

#: Columns of the tables that go out, by the heading under which a printed table has them, in order.
UNDER = {
    "In these seasons (95 % CI)": ("estimate", "lower", "upper"),
    "Difference": ("estimate", "lower", "upper"),
    "Difference per 100 (95 % CI)": ("estimate", "lower", "upper"),
    "In a new season like these": ("new_season_lower", "new_season_upper"),
    "Seasons": ("n_seasons",),
    "Sites": ("n_sites",),
    "Plots": ("n_plots",),
    "Extra cost per plant": ("extra_cost_per_plant",),
    "Cost of each extra plant alive": ("cost_per_extra_alive",),
    "Cost of an established plant (range)": tuple(
        f"cost_per_established{end}" for end in ("", "_lower", "_upper")
    ),
    "Worth, plants alive per 100 planted": ("value_per_100",),
    "Worth, plants alive a year": ("value_plants",),
    "Chance in 100 that the choice changes": ("chance_per_100",),
}
WORDS = {"Ground", "Preparation", "Advice", "Advice now", "Evidence", "Season"}
TABLES = ("details-table", "money-table", "differences-numbers", "seasons-table", "next-table")
_NUMBER = re.compile(r"[+−-]?\d+(?:,\d{3})*(?:\.\d+)?")
#: In sentences: words of the field (per 100, 95 % CI), and what rules, prices and versions are, not results.
_BARE = {"100", "95", "2", "3", "4", "5", "8"}


def numbers(text: str) -> list[tuple[float, int]]:
    """Every number of a text, and its places after the point."""
    found = []
    for written in _NUMBER.findall(text):
        bare = written.replace(",", "").replace("−", "-").lstrip("+")
        found.append((float(bare), len(bare.partition(".")[2])))
    return found


def is_printed(written: tuple[float, int], held: float) -> bool:
    """Whether a number is another one rounded to the places that it has."""
    value, places = written
    return abs(value - held) <= 0.5 * 10.0**-places + 1e-9


def tables(guideline: Guideline) -> dict[str, pd.DataFrame]:
    return {"advice": guideline.table, "seasons": guideline.by_season, "try-next": guideline.next}


def row_of(guideline: Guideline, row: dict[str, str]) -> pd.Series[Any]:
    """The row of a table that goes out, for one of the page."""
    held = tables(guideline)
    name, ground = row["Preparation"], row["Ground"]
    if name == f"{usual_of(guideline)} (usual practice)":
        of_ground = held["advice"][held["advice"]["ground"] == ground].iloc[0]
        return of_ground.drop(list(UNDER["Cost of an established plant (range)"])).rename(
            lambda column: str(column).removeprefix("usual_")
        )
    season = row.get("Season", "")
    frame = held["seasons" if season and not season.startswith("a new season") else "advice"]
    if "Advice now" in row:
        frame = held["try-next"]
    frame = frame[(frame["ground"] == ground) & (frame["preparation"] == name)]
    frame = frame[frame["season"] == season] if "season" in frame else frame
    assert len(frame) == 1, row
    return frame.iloc[0]


def check_table(guideline: Guideline, headings: list[str], rows: list[tuple[str, ...]]) -> int:
    """Compare every number of a printed table with its cell; count them."""
    assert set(headings) <= set(UNDER) | WORDS, headings
    compared = 0
    for cells in rows:
        row = dict(zip(headings, cells, strict=True))
        held = row_of(guideline, row)
        for heading, text in row.items():
            if heading in WORDS:
                continue
            columns = UNDER[heading]
            if row.get("Season", "").startswith("a new season") and columns[0] == "estimate":
                columns = UNDER["In a new season like these"]
            found = numbers(text.replace(" per 100", ""))
            if not found:
                continue
            assert len(found) == len(columns), (row, heading)
            for written, column in zip(found, columns, strict=True):
                assert is_printed(written, float(held[column])), (row, column, held[column])
            compared += len(found)
    return compared


def printed_tables(guideline: Guideline) -> Iterator[Table]:
    for section in sections_of(content_of(guideline)):
        for block in section.blocks:
            table = block.table if isinstance(block, Figure) else block
            if isinstance(table, Table) and table.key in TABLES:
                yield table


def said(guideline: Guideline) -> list[Sentence]:
    return [one for text in texts_of(content_of(guideline)) for one in sentences_of(text)]


def at(guideline: Guideline, cell: Cell) -> float:
    rows = tables(guideline)[cell.table]
    for name, value in cell.row:
        rows = rows[rows[name].astype(str) == value]
    assert len(rows) == 1, cell
    return float(rows.iloc[0][cell.column])


def test_every_number_of_a_table_of_the_page_is_that_of_its_cell(made: Guideline) -> None:
    found = {table.key: table for table in printed_tables(made)}
    assert set(found) == set(TABLES)
    for table in found.values():
        headings = [column.heading for column in table.columns]
        assert check_table(made, headings, list(table.rows)) >= len(table.rows)


def test_every_number_of_a_sentence_of_the_answer_is_that_of_its_cell(made: Guideline) -> None:
    compared = 0
    for sentence in said(made):
        for part in sentence.parts.values():
            if isinstance(part, Value) and part.cell is not None:
                held = at(made, part.cell)
                assert held == pytest.approx(part.number, rel=1e-12), str(sentence)
                first = numbers(part.text.replace("95 % CI", ""))[0]
                assert is_printed(first, part.scale * held), str(sentence)
                compared += 1
    assert compared >= 2 * sum(row.answer != "not answered" for row in made.advice)
    # No number of the answer, of a caption or of what to try next stands outside a value.
    answer = content_of(made).answer
    figure = next(block for block in answer.blocks if isinstance(block, Figure))
    bare = [*answer.blocks[: len(made.file.ground)], figure]
    for text in (
        one for block in bare for one in (getattr(block, "text", ""), getattr(block, "caption", ""))
    ):
        for sentence in sentences_of(text):
            for place, part in sentence.parts.items():
                outside = not isinstance(part, Value) and place not in ("ground", "what", "method", "usual")
                assert not (outside and numbers(str(part))), str(sentence)
        template = text if isinstance(text, str) else "".join(one.template for one in sentences_of(text))
        assert set(re.findall(r"\d+", template)) <= _BARE, template
    answers = r"(\d+) (advised|worth a trial|not advised|not answered)"
    counts = re.findall(answers, plain_text(figure.finding))
    assert len(counts) == 4
    for number, answered in counts:
        assert int(number) == sum(row.answer == answered for row in made.advice)


def test_the_document_is_given_the_same_numbers(made: Guideline) -> None:
    content = _content(made)
    details = content["details"]
    assert check_table(made, details["columns"], list(map(tuple, details["rows"]))) > 5 * len(made.advice)
    assert [line for texts in content["lead"] for line in texts]
    shown: list[str] = []
    for block in content_of(made).answer.blocks:
        if isinstance(block, Listing) and not block.label:
            shown += map(plain_text, block.items)
        elif isinstance(block, Paragraph) and block.kind == "lead":
            shown.append(plain_text(block.text))
    assert [text for texts in content["lead"] for text in texts] == shown


@needs_poppler
def test_the_document_prints_the_same_numbers(made: Guideline, tmp_path: Path) -> None:
    content = _content(made)
    details = content["details"]
    file = tmp_path / "guideline.pdf"
    file.write_bytes(guideline_pdf(made))
    printed = re.sub(r"\s", "", text_of(file))
    for texts in content["lead"]:
        for line in texts:
            assert re.sub(r"\s", "", line) in printed
    for row in details["rows"]:
        for text in row:
            assert re.sub(r"\s", "", text) in printed


def _compare_pool(found: SeasonsTogether, name: str) -> None:
    """Compare a row of a pool's page with its tables: these seasons, a new one, one model of all records."""
    rows, joint = (
        frame[(frame["scale"] == PER_100) & (frame["method"] == name)] for frame in (found.table, found.joint)
    )
    row, all_records = (within_scale(frame, "scale").iloc[0] for frame in (rows, joint))
    shown = next(line for line in together_table(found).rows if line[0] == name)
    ends = ("estimate", "lower", "upper")
    for text, held in (
        (shown[2], [row[end] for end in ends]),
        (shown[3], [row["new_lower"], row["new_upper"]]),
        (shown[5], [all_records[end] for end in ends]),
        (shown[6], [row["n_units"]]),
    ):
        written = numbers(text.replace("95 % CI", ""))
        if len(written) == len(held):  # limits wider than the whole scale are words
            clipped = "none alive" in text or "all alive" in text  # as far as survival can go
            assert clipped or all(map(is_printed, written, map(float, held))), (name, text, held)
        else:
            assert len(written) in (0, 1), text


@pytest.mark.slow
def test_differences_are_those_that_a_pool_of_the_same_plots_gives(made: Guideline) -> None:
    joined = join_seasons(made.seasons)
    joined["ground"] = kinds_of(joined, made.file.ground)
    advice = made.table.set_index(["ground", "preparation"]).to_dict("index")
    for ground in made.file.ground:
        on_it = joined[joined["ground"] == ground.name]
        here = [replace(season, intervals=on_it[on_it["season"] == season.name]) for season in made.seasons]
        found = pool_seasons(here, milestone=made.file.guideline.milestone)
        rows = found.table[found.table["scale"] == PER_100].set_index("method")
        said_of = dict(zip(rows.index, map(plain_text, pooled_sentences(found)), strict=True))
        for name, row in rows.iterrows():
            own = advice[ground.name, str(name)]
            for column, of_pool in (
                ("estimate", "estimate"),
                ("lower", "lower"),
                ("upper", "upper"),
            ):
                assert own[column] == pytest.approx(row[of_pool], rel=1e-9), (ground.name, name, column)
            raw = next(each for each in made.advice if (each.ground, each.preparation) == (ground.name, name))
            assert (raw.new_lower, raw.new_upper) == pytest.approx((row["new_lower"], row["new_upper"]))
            _compare_pool(found, str(name))
            first = numbers(said_of[str(name)].replace("95 % CI", "").split(": ", 1)[-1])[0]
            assert is_printed(first, own["estimate"]), said_of[str(name)]
