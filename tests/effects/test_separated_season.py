"""A season in which nobody died with one method: what rests on the penalty, from intervals to findings."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from survivor.analysis.answer import comparison_findings
from survivor.analysis.comparing import without_separated
from survivor.analysis.models import NO_FITS
from survivor.effects.contrasts import contrasts
from survivor.evidence.grading import Circumstances
from survivor.models.fit import fit
from tests.effects.making import planting


@pytest.fixture(scope="module")
def frame():
    rng = np.random.default_rng(8)
    sites = ("Oddle Flat", "Snarrow Rise", "Quillop Bend")
    found = planting({site: {"usual": 4, "rip": 4, "mat": 4} for site in sites}, plants=40)
    found["died"] = rng.binomial(40, np.where(found["method"] == "rip", 0.1, 0.5))
    found.loc[found["method"] == "mat", "died"] = 0
    return found


def models(fitted):
    return replace(NO_FITS, headline=fitted)


def test_the_model_without_the_separated_method_has_no_penalty(frame):
    head = fit(frame, "method")
    plain, said = without_separated(models(head))
    assert plain.variance == "CR2"
    assert plain.data["method"].unique().tolist() == ["usual", "rip"]
    assert said[0].startswith(
        "Nobody, or everybody, died with mat: what compares it rests on a penalised model."
    )


def test_only_findings_on_the_separated_method_are_held_back(frame):
    head = fit(frame, "method")
    plain, _ = without_separated(models(head))
    found = contrasts(head, plain_fit=plain)
    design = SimpleNamespace(
        allocation="random within blocks",
        plots_placed="random",
        smallest_difference=5.0,
        usual_practice="usual",
    )
    settings = SimpleNamespace(design=design)
    told = comparison_findings(found, [Circumstances(), Circumstances()], settings, "12 months")
    grades = {finding.methods[0]: finding for finding in told if finding.key != "headline"}
    assert grades["rip"].grade == "strong"
    assert grades["mat"].grade == "weak"
    assert any("penalised model" in reason for reason in grades["mat"].reasons)
    # Both beat the usual practice, so the headline is as sure as the less sure of them.
    assert told[0].grade == "weak"


def test_without_a_separated_method_nothing_is_fitted_again(frame):
    deaths = frame.assign(died=frame["died"].where(frame["method"] != "mat", 3))
    assert without_separated(models(fit(deaths, "method"))) == (None, ())


def test_where_the_usual_practice_is_separated_every_comparison_rests_on_it(frame):
    first = frame.assign(method=frame["method"].cat.reorder_categories(["mat", "usual", "rip"]))
    head = fit(first, "method")
    plain, _ = without_separated(models(head))
    assert contrasts(head, plain_fit=plain).table["penalised"].all()
