"""The reports of the demo cohorts, from their files to the page."""

from __future__ import annotations

import pytest

import survivor
from tests.document.reading import read
from tests.report.demo import DATASETS, reported
from tests.report.making import CAUSAL


@pytest.mark.slow
@pytest.mark.parametrize("name", ["counts", "tagged"])
def test_a_demo_study_becomes_a_page(name: str) -> None:
    study = survivor.load(DATASETS / name)
    page = reported(name)["report.html"].decode("utf-8")
    root = read(page)
    ids = [e.attributes["id"] for e in root.all() if "id" in e.attributes]
    assert len(ids) == len(set(ids))
    assert len(page) < 1_500_000
    if study.settings.design.allocation != "random within blocks":
        text = " ".join(root.text().split()).replace(study.settings.design.reason_for_choice, "")
        # That an effect cannot be determined says nothing was caused.
        assert CAUSAL.findall(text) == []
