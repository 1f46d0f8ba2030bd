"""Every number in the sentences of the example reports is that of a table, row by row.

``saying.py`` says how, ``wordings.py`` and ``wordings_of_records.py`` which sentence tells of which table.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Callable
from functools import cache
from typing import Any

import pandas as pd
import pytest

from survivor.figures.words import (
    NONE,
    difference,
    limits,
    money,
    number,
    per_100,
    per_100_limits,
    plants,
    plants_limits,
)
from survivor.report.tables import tables_of
from tests.report.reading import read
from tests.report.saying import NUMBER, Row, Said, Stated, compiled, faults, sentences
from tests.report.stated import STATED
from tests.report.test_must_show import COHORTS, REPORTS, forms, rows_of
from tests.report.wordings import COMPARED, MONEY
from tests.report.wordings_of_radius import RADIUS
from tests.report.wordings_of_records import RECORDS

MEND = "tell its wording and its table in wordings*.py, or in stated.py why it is in none"
DATASETS = REPORTS.parent / "datasets"
TOLD: list[Said | Stated] = [*COMPARED, *RADIUS, *MONEY, *RECORDS, *STATED]

pytestmark = pytest.mark.skipif(
    not (REPORTS / "tagged" / "findings.json").is_file(), reason="no example reports in this copy"
)


@cache
def tables(cohort: str) -> dict[str, Any]:
    """The sheets of a report's workbook, its printed tables and its study file."""
    report = forms(cohort)
    shown = [e for e in report.page.all("table") if "id" in e.attributes]
    study = tomllib.loads((DATASETS / cohort / "study.toml").read_text(encoding="utf-8"))
    return {
        **report.book,
        "printed": {e.attributes["id"]: rows_of(report.page, e.attributes["id"]) for e in shown},
        "captions": {e.attributes["id"]: " ".join(e.all("caption")[0].text().split()) for e in shown},
        "study file": study,
    }


def names(known: dict[str, Any]) -> list[str]:
    return sorted({str(row[column]) for row in known["contrasts"] for column in ("method", "against")})


def wrong(cohort: str, texts: list[tuple[str, str]]) -> list[str]:
    known = tables(cohort)
    return faults(texts, TOLD, names(known), known)[0]


@pytest.mark.parametrize("cohort", COHORTS)
def test_every_number_of_a_sentence_is_that_of_a_table(cohort: str) -> None:
    assert wrong(cohort, sentences(forms(cohort).page)) == [], MEND


def told_places(text: str, known: dict[str, Any]) -> set[tuple[int, int]]:
    """Where the numbers of a text stand that are not merely stated."""
    stated = [compiled(each.wording, names(known)) for each in STATED if each.without not in known]
    spans = [match.span() for pattern in stated for match in pattern.finditer(text)]
    return {
        found.span()
        for found in re.finditer(NUMBER, text)
        if not any(low <= found.start() and found.end() <= high for low, high in spans)
    }


@pytest.mark.parametrize("cohort", COHORTS)
def test_a_number_off_by_one_in_its_last_place_is_found_out(cohort: str) -> None:
    known, found = tables(cohort), 0
    for place, text in dict.fromkeys(sentences(forms(cohort).page)):
        for start, end in told_places(text, known):
            last = text[end - 1]
            other = f"{text[: end - 1]}{8 if last == '9' else int(last) + 1}{text[end:]}"
            assert wrong(cohort, [(place, other)]), (place, text[max(start - 40, 0) : end + 20])
            found += 1
    assert found > 200


def test_a_number_of_another_row_is_found_out() -> None:
    known = tables("tagged")
    first, second = known["payoff"][:2]
    said = "The lowest cost is of {}: {:.2f} dollars per established plant (95 % limits {:.2f} to {:.2f})"
    own, mixed = (
        said.format(first["method"], row["cost_per_established"], row["lower"], row["upper"])
        for row in (first, second)
    )
    assert wrong("tagged", [("money", own)]) == []
    assert len(wrong("tagged", [("money", mixed)])) == 3
    assert len(wrong("tagged", [("money", "It cost 7 dollars more at 12 months.")])) == 1


def test_no_wording_is_left_that_no_report_has(page: str, analysis: Any) -> None:
    met: set[int] = set()
    for cohort in COHORTS:
        known = tables(cohort)
        met |= faults(sentences(forms(cohort).page), TOLD, names(known), known)[1]
    made: dict[str, Any] = {name: rows_in(table) for name, table in tables_of(analysis).items()}
    made["study file"] = {}
    texts = [each for each in sentences(read(page)) if each[0].startswith("radius")]
    met |= faults(texts, RADIUS, [], made)[1]
    left = [each.wording for place, each in enumerate(TOLD) if place not in met]
    assert left in (
        [],
        [each.wording for each in RADIUS if "stops" in each.wording or "From a radius" in each.wording],
    )


def rows_in(table: pd.DataFrame) -> list[Any]:
    """Rows of a table as a workbook has them: blank where there is no number."""
    return table.astype(object).where(table.notna(), "").to_dict("records")


def test_where_a_wider_patch_stops_paying_is_told_with_its_area_and_limits(analysis: Any) -> None:
    made = {name: rows_in(table) for name, table in tables_of(analysis).items()}
    stop = [each for each in RADIUS if "From a radius" in each.wording]
    said = analysis.dose.stops_paying.sentence  # of a season in which it is reached, at 0.75 m
    assert "0.75 m (1.77 m²)" in said
    told = [
        *stop,
        *(each for each in RADIUS if each.wording == "further 10 cm" or "less than" in each.wording),
    ]
    end = [Stated(r"per 100|95 %", "the hundred; how sure")]
    assert faults([("radius", said)], [*told, *end], [], made)[0] == []
    for right, other in (
        ("0.75", "0.76"),
        ("1.77", "1.78"),
        ("0.60", "0.61"),
        ("less than 1", "less than 2"),
    ):
        assert faults([("radius", said.replace(right, other))], [*told, *end], [], made)[0] != []


PRINTED: list[tuple[str, str, str, tuple[tuple[str, str | Callable[[Row], str]], ...]]] = [
    (
        "payoff-table",
        "payoff",
        "Preparation",
        (
            ("Cost per plant put in", "cost_per_plant"),
            ("Cost per plant established", "cost_per_established"),
            ("Alive per 100 planted", lambda row: per_100(row["survival"])),
            ("95 % limits", lambda row: limits(row["lower"], row["upper"], 2)),
        ),
    ),
    (
        "break-even-table",
        "break_even",
        "Preparation",
        (
            ("Costs per plant put in", "cost_per_plant"),
            ("Break-even cost per plant", "break_even"),
            ("95 % limits", lambda row: limits(row["lower"], row["upper"], 2)),
        ),
    ),
    (
        "with-infill-table",
        "payoff_with_infill",
        "Preparation",
        (
            ("Infill plants per 100 planted", lambda row: number(row["infill_per_100"])),
            ("Cost of an infill plant", "infill_cost"),
            ("Cost per plant established, infill out", "without"),
            ("Infill in", "with_infill"),
            ("95 % limits, infill in", lambda row: limits(row["lower"], row["upper"], 2)),
        ),
    ),
    (
        "stems-table",
        "stocking",
        "Preparation",
        (
            ("Plants to put in per hectare", lambda row: plants(row["plants_needed"])),
            ("95 % limits", lambda row: plants_limits(row["lower"], row["upper"])),
            ("Put in per hectare", lambda row: number(row["planted"])),
            (
                "Standing per hectare",
                lambda row: (
                    f"{number(row['standing'])} ({limits(row['standing_lower'], row['standing_upper'])})"
                ),
            ),
            (
                "Infill per hectare to reach the target",
                lambda row: (
                    f"{plants(row['infill_needed'])} "
                    f"({plants_limits(row['infill_lower'], row['infill_upper'])})"
                ),
            ),
        ),
    ),
    (
        "infill-order-table",
        "infill_order",
        "Site",
        (
            ("Plants put in", lambda row: number(row["planted"])),
            ("Died so far", lambda row: number(row["dead"])),
            ("Infill standing", lambda row: number(row["infill_alive"])),
            ("Infill to order", lambda row: plants(row["to_order"])),
            ("95 % limits", lambda row: plants_limits(row["lower"], row["upper"])),
        ),
    ),
    (
        "increments-table",
        "increments",
        "Preparation",
        (
            ("Compared with", lambda row: str(row["against"]) or NONE),
            (
                "Extra cost per 100 planted",
                lambda row: (
                    NONE
                    if row["extra_cost"] == ""
                    else f"{money(row['extra_cost'], row['currency'])} "
                    f"({limits(row['extra_cost_lower'], row['extra_cost_upper'])})"
                ),
            ),
            (
                "Extra alive per 100 planted",
                lambda row: (
                    NONE
                    if row["extra_alive"] == ""
                    else "{} ({})".format(*difference(row["extra_alive"], row["lower"], row["upper"]))
                ),
            ),
            (
                "Cost of an extra plant alive",
                lambda row: (
                    NONE
                    if row["cost_per_extra"] == ""
                    else f"{money(row['cost_per_extra'], row['currency'])} "
                    f"({limits(row['cost_per_extra_lower'], row['cost_per_extra_upper'], 2)})"
                ),
            ),
        ),
    ),
    (
        "radius-table",
        "radius",
        "Radius, m",
        (
            ("Area, m²", lambda row: number(row["area_m2"], 2)),
            ("Soil under it to 0.50 m, m³", lambda row: number(row["volume_m3"], 2)),
            ("Alive per 100 planted", lambda row: per_100(row["estimate"])),
            ("95 % limits", lambda row: per_100_limits(row["lower"], row["upper"])),
        ),
    ),
]


@pytest.mark.parametrize("cohort", COHORTS)
@pytest.mark.parametrize(("key", "sheet", "first", "columns"), PRINTED, ids=[each[0] for each in PRINTED])
def test_tables_of_money_and_radius_round_those_of_the_workbook(
    cohort: str, key: str, sheet: str, first: str, columns: Any
) -> None:
    known = tables(cohort)
    if sheet not in known:
        assert key not in known["printed"]
        return
    named = "weed_free_radius_m" if sheet == "radius" else "site" if first == "Site" else "method"
    source = {number(row[named], 2) if sheet == "radius" else row[named]: row for row in known[sheet]}
    shown = [row for row in known["printed"][key] if row[first] in source]
    assert len(shown) >= min(len(source), 3)
    for row in shown:
        own = source[row[first]]
        for heading, told in columns:
            written = money(own[told], own["currency"]) if isinstance(told, str) else told(own)
            assert row[heading] == written, (row[first], heading)


@pytest.mark.parametrize("cohort", COHORTS)
def test_chances_of_the_best_value_are_those_of_the_workbook(cohort: str) -> None:
    known = tables(cohort)
    chances = {
        (money(row["worth"], row["currency"]), row["method"]): row["probability"]
        for row in known["best_value"]
    }
    for row in known["printed"]["best-value-table"]:
        worth = row.pop("Worth of an established plant")
        for method, cell in row.items():
            share = 100 * chances[worth, method]
            written = "under 1" if share < 0.5 else "over 99" if share > 99.5 else number(share)
            assert cell == f"{written} in 100"
        row["Worth of an established plant"] = worth
