"""A part that cannot be made keeps its own reason, and no other part's."""

from __future__ import annotations

from types import SimpleNamespace

from survivor.analysis.comparing import Comparisons
from survivor.analysis.models import NO_FITS
from survivor.analysis.parts import Reason, Unmade
from survivor.analysis.radius import radius_of
from survivor.analysis.robustness import robustness_of
from survivor.analysis.season import Season
from survivor.analysis.survival import survival_by_method
from tests.effects.making import planting

WITHIN = "Preparations cannot be compared within sites"


def test_where_no_site_has_both_preparations_each_part_says_why_of_itself() -> None:
    rows = planting({"Oddle Flat": {"usual": 3}, "Snarrow Rise": {"rip": 3}})
    season = Season(SimpleNamespace(), SimpleNamespace(intervals=rows), rows, 365.0)
    unmade = Unmade()
    assert unmade.keep(survival_by_method(season, NO_FITS)) is None
    radius_of(season, NO_FITS, unmade)
    assert robustness_of(season, NO_FITS, Comparisons(), unmade).agreement.empty
    assert unmade["survival"].text.startswith(WITHIN)
    # Models and sites left out print this; the radius has a reason of its own, printed nowhere else.
    assert unmade["robustness"].text.startswith(WITHIN)
    assert unmade["radius"].text.startswith("Weed-free radius: without a model of survival by method")
    assert "radius" not in unmade["robustness"].text
    # What holds for two parts stands once on the list.
    assert [text[:8] for text in unmade.texts()] == ["Preparat", "Weed-fre"]


def test_a_reason_is_kept_once_and_reads_alone_or_with_its_subject() -> None:
    why = Reason("target", "the visits have not reached 12 months", "visit again", "Target")
    assert why.text == "Target: the visits have not reached 12 months. Visit again."
    assert why.alone == "The visits have not reached 12 months. Visit again."
    unmade = Unmade()
    unmade.keep_all([why, Reason("target", "another"), Reason("rain", "no gauge")])
    assert unmade["target"] is why
    assert unmade.texts() == (why.text,)  # the reason of rain is an answer itself
    assert unmade.texts("rain") == ("No gauge.",)
