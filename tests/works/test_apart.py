"""What can be told apart: the rank of the works' matrix within strata, against exact arithmetic."""

from __future__ import annotations

from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from survivor.works.apart import told_apart

NAMES = ("knockdown", "pre-emergent", "rip", "mound", "mulch mat", "guard")


def rank(rows: list[list[Fraction]]) -> int:
    """Rank by exact elimination."""
    rows, found = [row[:] for row in rows], 0
    for column in range(len(rows[0]) if rows else 0):
        pivot = next((n for n in range(found, len(rows)) if rows[n][column]), None)
        if pivot is None:
            continue
        rows[found], rows[pivot] = rows[pivot], rows[found]
        for n in range(len(rows)):
            if n != found and rows[n][column]:
                factor = rows[n][column] / rows[found][column]
                rows[n] = [own - factor * top for own, top in zip(rows[n], rows[found], strict=True)]
        found += 1
    return found


def estimable(matrix: np.ndarray, stratum: np.ndarray, unit: list[int]) -> bool:
    """Whether a work can be told: its unit vector lies in the row space of works beside strata (exactly)."""
    levels = int(stratum.max()) + 1
    rows = [
        [Fraction(int(own == level)) for level in range(levels)] + [Fraction(int(value)) for value in line]
        for own, line in zip(stratum, matrix, strict=True)
    ]
    return rank(rows) == rank([*rows, [Fraction(0)] * levels + [Fraction(value) for value in unit]])


@st.composite
def designs(draw: st.DrawFn) -> tuple[np.ndarray, np.ndarray]:
    plots, works = draw(st.integers(4, 14)), draw(st.integers(2, 6))
    matrix = np.array(draw(st.lists(st.lists(st.integers(0, 1), min_size=works, max_size=works),
                                    min_size=plots, max_size=plots)))  # fmt: skip
    if draw(st.booleans()):  # two works that go together
        matrix[:, 1] = matrix[:, 0]
    if draw(st.booleans()):
        matrix[:, -1] = 1 - matrix[:, 0]
    stratum = np.array(draw(st.lists(st.integers(0, 2), min_size=plots, max_size=plots)))
    return matrix, np.unique(stratum, return_inverse=True)[1]


@settings(max_examples=200)
@given(designs())
def test_what_cannot_be_told_is_named_and_never_estimated(design: tuple[np.ndarray, np.ndarray]) -> None:
    matrix, stratum = design
    works = NAMES[: matrix.shape[1]]
    apart = told_apart(matrix, stratum, works)
    alone = {unit.works[0] for unit in apart.units if len(unit.works) == 1}
    for place, work in enumerate(works):
        unit = [int(n == place) for n in range(len(works))]
        assert (work in alone) == estimable(matrix, stratum, unit)
        assert work in alone or any(work in text for text in apart.said)
    for joint in (unit for unit in apart.units if len(unit.works) > 1):
        # Works that always went together: only their sum, one effect for all of them, can be told.
        kept = [n for n, work in enumerate(works) if work not in joint.works[1:]]
        one = [int(works[n] == joint.works[0]) for n in kept]
        assert estimable(matrix[:, kept], stratum, one)


@pytest.mark.parametrize(
    ("matrix", "said"),
    [
        ([[1, 1], [0, 0], [1, 1], [0, 0]], "pre-emergent and knockdown"),
        ([[1, 1], [1, 0], [1, 1], [1, 0]], "every plot got knockdown"),
        ([[0, 1], [0, 0], [0, 1], [0, 0]], "no plot got knockdown"),
        ([[1, 1], [1, 0], [0, 1], [0, 0]], "knockdown went with the site"),
        ([[1, 0], [0, 1], [1, 0], [0, 1]], "only the difference between them"),
    ],
)
def test_each_kind_of_confusion_has_its_words(matrix: list[list[int]], said: str) -> None:
    apart = told_apart(np.array(matrix), np.array([0, 0, 1, 1]), NAMES[:2])
    words = said if "and" not in said.split() else "always went together within a site: only their sum"
    assert any(words in text for text in apart.said)


def test_works_that_follow_from_others_are_refused_by_name() -> None:
    matrix = np.array([[1, 0, 1], [0, 1, 1], [0, 0, 0], [1, 0, 1], [0, 1, 1], [0, 0, 0]])
    apart = told_apart(matrix, np.zeros(6, dtype=int), ("rip", "mound", "guard"), "block")
    assert apart.units == ()
    assert apart.said == (
        "rip, mound and guard cannot be distinguished: within each block the plots of one follow from those "
        "of the others",
    )


def test_a_factorial_tells_every_work() -> None:
    matrix = np.array([[a, b, c] for _ in range(2) for a in (0, 1) for b in (0, 1) for c in (0, 1)])
    apart = told_apart(matrix, np.repeat([0, 1], 8), NAMES[:3])
    assert [unit.name for unit in apart.units] == list(NAMES[:3])
    assert apart.said == ()
