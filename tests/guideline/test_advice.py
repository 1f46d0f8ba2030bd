"""Advice from records that bear little: chosen ground, no usual practice there, places that part methods."""

from __future__ import annotations

import pytest

from survivor.demo.counts import counts_files
from survivor.document.page import page_of
from survivor.guideline import Guideline, make_guideline
from survivor.guideline.content import content_of
from survivor.guideline.document import guideline_pdf
from survivor.guideline.ground import RadiusAdvice
from survivor.guideline.wording import radius_words
from tests.writing import write_files

pytestmark = pytest.mark.slow  # three seasons are analysed

FILE = """
[guideline]
name = "Chosen by the ground (invented)"
version = 1
dated = "2024-01-01"

[[seasons]]
study = "counts"

[[ground]]
name = "hard"
where = { ground = ["hard"] }

[[ground]]
name = "wet"
where = { ground = ["wet"] }

[[ground]]
name = "soft"
where = { ground = ["friable"] }
"""


@pytest.fixture(scope="module")
def chosen(tmp_path_factory: pytest.TempPathFactory) -> Guideline:
    """One season in which landholders chose the preparation by the ground."""
    folder = tmp_path_factory.mktemp("chosen")
    files = {f"counts/{name}": content for name, content in counts_files().items()}
    return make_guideline(write_files(folder, {"guideline.toml": FILE, **files}) / "guideline.toml")


def test_what_was_chosen_is_never_advised_from_one_season(chosen):
    assert {each.answer for each in chosen.advice} <= {"worth a trial", "not answered"}
    told = [each for each in chosen.advice if each.estimate is not None]
    assert told
    assert all(each.grade in ("weak", None, "not answered") for each in told)


def test_ground_without_the_usual_practice_answers_nothing_and_says_why(chosen):
    wet = [each for each in chosen.advice if each.ground == "wet"]
    assert {each.answer for each in wet} == {"not answered"}
    assert {each.held for each in wet} == {
        "spray and hand-dug hole was not planted there, so nothing can be compared with it"
    }


def test_plots_on_no_kind_of_ground_are_named(chosen):
    # Steep ground is in none of the three kinds.
    assert {"Harrin Slope", "Wickmar Hill", "Yarlet Bank"} <= set(chosen.unplaced)
    assert "Harrin Slope" in page_of(content_of(chosen))


def test_no_lines_of_a_season_that_compares_nothing(chosen):
    for each in chosen.advice:
        assert (each.estimate is None) <= (each.n_seasons == 0)


def test_page_and_document_are_made_where_little_is_answered(chosen):
    page = page_of(content_of(chosen))
    assert 'On wet nothing is advised yet in place of <i class="name">spray and hand-dug hole</i>' in page
    assert "None is entered." in page
    assert guideline_pdf(chosen).startswith(b"%PDF")


def test_a_radius_is_told_with_its_limits_width_and_area():
    said = radius_words(RadiusAdvice("clay", 0.6, 0.45, None, "From 0.60 m on more hardly pays.", 48))
    assert said.startswith(
        "0.60 m radius, 1.20 m across, 1.13 m² (95 % CI of the radius 0.45 to not known m)"
    )
    none = radius_words(RadiusAdvice("clay", None, None, None, "Not shown.", 1))
    assert none == "No radius is advised. Not shown.\n1 plot."
