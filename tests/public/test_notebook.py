"""What a notebook shows of the results, and what the package says that it holds."""

from __future__ import annotations

import inspect
from types import SimpleNamespace

import survivor
from survivor.models.result import Fit
from tests.analysis.seasons import write
from tests.curves.making import two_methods
from tests.once import analysed


def test_the_package_lists_its_public_names_and_no_others():
    listed = set(dir(survivor))
    assert set(survivor.__all__) <= listed
    assert {name for name in listed if not name.startswith("__")} == set(survivor.__all__)
    assert all(hasattr(survivor, name) for name in listed)


def test_curves_print_their_table_not_their_insides():
    curves = survivor.curve(two_methods(), by="method", align=5)
    said = repr(curves)
    assert said.startswith("Survival by method (kaplan-meier)")
    assert "survival" in said
    assert curves.limits in said
    assert "Sample(" not in said
    assert len(said.splitlines()) < 60


def test_a_study_shows_what_was_read(tmp_path):
    study = survivor.load(write(tmp_path, lambda s, p: (60, 200, 365)))
    html = study._repr_html_()
    assert "A small season" in html
    assert "<td>480</td>" in html  # 160 seedlings at 3 visits
    assert "<td>160</td>" in html
    assert "<td>16</td>" in html


def test_an_analysis_prints_its_findings_not_its_tables(tmp_path):
    analysis = analysed(write(tmp_path, lambda s, p: (60, 200, 365)))
    assert len(repr(analysis)) < 3000
    assert analysis.findings[0].answer in repr(analysis)


def test_the_description_of_a_fit_names_every_model_and_variance():
    text = inspect.getdoc(Fit) or ""
    for word in ("grouped", "cox", "logistic", "mixed", "CR2", "jackknife", "profile", "penalised"):
        assert f"``{word}``" in text


def test_a_season_is_analysed_once_for_its_findings_and_every_report(tmp_path, monkeypatch):
    study = survivor.load(write(tmp_path, lambda s, p: (60, 200, 365)))
    analysed_as = SimpleNamespace(findings=())
    made = []
    monkeypatch.setattr(type(study), "analyse", lambda self, say=None: made.append(say) or analysed_as)
    monkeypatch.setattr(
        "survivor.report.forms.write_report", lambda analysis, out, say: [analysis, out.folder]
    )
    assert study.findings() == ()
    assert study.report(tmp_path / "first") == [analysed_as, tmp_path / "first"]
    assert study.report(tmp_path / "second")[0] is study.analysis
    assert len(made) == 1
