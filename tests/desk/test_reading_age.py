"""The measure of reading age itself."""

import pytest

from tests.desk.reading_age import grade, sentences_of, syllables


@pytest.mark.parametrize(
    ("word", "count"),
    [
        ("cat", 1), ("made", 1), ("table", 2), ("planted", 2), ("asked", 1), ("files", 1), ("houses", 2),
        ("survival", 3), ("preparation", 4), ("seedlings", 2), ("usual", 3), ("trial", 2),
        ("weed-free", 2), ("question", 2), ("people", 2), ("area", 3),
    ],
)  # fmt: skip
def test_syllables_are_those_of_a_dictionary(word: str, count: int):
    """As dictionaries part these words; from memory."""
    assert syllables(word) == count


def test_the_grade_is_the_published_formula():
    """One sentence of 6 words and 6 syllables: 0.39 * 6 + 11.8 * 1 - 15.59, worked out by hand."""
    assert grade(["The cat sat on the mat."]) == pytest.approx(-1.45)
    assert grade(["The preparation of ground is usual."]) == pytest.approx(0.39 * 6 + 11.8 * 11 / 6 - 15.59)


def test_labels_make_no_text_easier():
    assert sentences_of(["Save", "Open questions", "The first one changes most. It stays open."]) == [
        "The first one changes most.",
    ]
