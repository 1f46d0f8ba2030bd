"""A programme of few studies, in this process: its numbers, its privacy, what is done again and left out."""

from __future__ import annotations

import io
import json
import re
import shutil
import subprocess
import zipfile
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from survivor.demo.programme import write_programme as write_invented
from survivor.errors import ProgrammeError, WritingError
from survivor.programme import Programme, run_programme, running, study_answers, write_programme
from survivor.programme import english as en
from survivor.programme.record import FOLDER
from survivor.proportions import wilson
from survivor.seasons import pool_seasons, take_in
from survivor.study import load
from tests.programme.small import BROKEN, HIDDEN, TAKEN, small_programme, study_of


@pytest.fixture(scope="module")
def top(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return small_programme(tmp_path_factory.mktemp("made") / "valley")


@pytest.fixture(scope="module")
def made(top: Path) -> Programme:
    return run_programme(top)


@pytest.fixture(scope="module")
def written(made: Programme, tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, ...]:
    return write_programme(made, tmp_path_factory.mktemp("out") / "page")


def test_differences_are_those_that_pooling_the_same_studies_gives(made, top):
    used = [record.folder for record in made.of_state("used")]
    asked = pool_seasons(take_in([load(top / folder) for folder in used], used)).table
    columns = ["n_units", "estimate", "std_error", "df", "lower", "upper", "new_lower", "new_upper"]
    keys = ["method", "against", "scale"]
    both = made.pooled.merge(asked, on=keys, suffixes=("", "_asked"))
    assert len(both) == len(asked) == len(made.pooled)
    for name in columns:
        # Sites that are numbered have another order there, which the last bits show.
        np.testing.assert_allclose(both[name], both[f"{name}_asked"], rtol=1e-9)


def test_plants_alive_are_those_on_the_sheets(made, top):
    folder = study_of(made, 10)
    plots, visits = (pd.read_csv(top / folder / f"{name}.csv") for name in ("plots", "visits"))
    both = visits.merge(plots, on=["Site", "Block", "Plot"])
    age = (pd.to_datetime(both["Date"]) - pd.to_datetime(both["Planting date"])).dt.days
    last = both.assign(far=(age - 365).abs()).query("far <= 30").sort_values("far")
    counted = last.drop_duplicates(["Site", "Block", "Plot"]).groupby("Preparation")["No. alive"].sum()
    record = next(record for record in made.records if record.folder == folder)
    assert record.plots.groupby("method")["alive"].sum().to_dict() == counted.to_dict()


def test_limits_of_what_lives_are_no_narrower_than_of_independent_plants(made):
    for row in made.lives[made.lives["studies"] > 1].to_dict("records"):
        lower, upper = (100 * float(end) for end in wilson(row["alive"], row["known"]))
        assert row["lower"] <= lower <= row["estimate"] <= upper <= row["upper"]


def test_every_plant_known_is_counted_once_by_everything_asked(made):
    totals = made.lives.groupby("by")["known"].sum()
    assert totals.nunique() == 1, totals


def test_a_study_that_cannot_be_used_is_listed_and_the_others_go_on(made):
    left = made.left.set_index("study")["reason"]
    assert len(made.of_state("used")) == 4
    assert sorted(left) == sorted([en.NO_STUDY_FILE, en.COPY.format(other=study_of(made, TAKEN[1]))])
    detail = next(record.detail for record in made.records if f"-{BROKEN:04d}-" in record.folder)
    assert "TOML" in detail


def test_targets_are_counted_by_their_verdicts(made):
    told = [record.target["verdict"] for record in made.of_state("used") if record.target is not None]
    whole = made.targets[made.targets["by"] == "all"]
    assert dict(zip(whole["verdict"], whole["targets"], strict=True)) == {
        verdict: told.count(verdict) for verdict in whole["verdict"]
    }


def text_of(path: Path) -> str:
    if path.suffix == ".pdf":
        return subprocess.run(["pdftotext", path, "-"], capture_output=True, text=True, check=True).stdout
    if path.suffix == ".xlsx":
        with zipfile.ZipFile(io.BytesIO(path.read_bytes())) as book:
            return " ".join(book.read(name).decode() for name in book.namelist())
    return path.read_text(encoding="utf-8")


@pytest.mark.skipif(shutil.which("pdftotext") is None, reason="no pdftotext")
def test_nothing_written_names_what_a_study_keeps_to_itself(made, top, written):
    home = top / study_of(made, HIDDEN)
    assert "show_places = false" in (home / "study.toml").read_text()
    places = set(pd.read_csv(home / "plots.csv")["Site"])
    others = set().union(*(set(pd.read_csv(each)["Site"]) for each in top.rglob("plots.csv")))
    secret = {*places, home.name, home.name.rpartition("-")[2], "Holder of"}
    assert len(others) > len(places)
    for path in written:
        told = text_of(path).casefold()
        assert [name for name in secret if name.casefold() in told] == [], path.name


def test_the_page_holds_every_section_and_the_answer_first(written):
    page = written[0].read_text(encoding="utf-8")
    headings = re.findall(r"<h2[^>]*>([^<]+)</h2>", page)
    told = [en.ANSWER, en.LIVES, en.PROMISED, en.STUDIES, en.NEXT, en.WATCHED, en.LEFT, en.METHODS]
    assert [heading for heading in headings if heading in told] == told


def test_what_has_not_changed_is_not_done_again(made, top, monkeypatch):
    monkeypatch.setattr(running, "answers_of", None)
    said: list[str] = []
    again = run_programme(top, say=said.append)
    assert "(6 unchanged)" in said[0]
    assert again.names == made.names
    for name in ("lives", "pooled", "targets", "units", "watched", "apart", "worth"):
        pd.testing.assert_frame_equal(getattr(again, name), getattr(made, name))


@pytest.mark.slow
def test_only_what_has_changed_is_done_again(made, top, tmp_path, monkeypatch):
    shutil.copytree(top, tmp_path / "valley")
    changed = study_of(made, 10)
    with (tmp_path / "valley" / changed / "plots.csv").open("a") as sheet:
        sheet.write("\n")
    done: list[str] = []
    real = running.answers_of
    monkeypatch.setattr(running, "answers_of", lambda *args: done.append(args[1]) or real(*args))
    run_programme(tmp_path / "valley")
    assert done == [changed]


@pytest.mark.slow
def test_a_record_that_was_cut_short_is_made_again(top, made, tmp_path):
    shutil.copytree(top, tmp_path / "valley")
    table = next((tmp_path / "valley" / FOLDER).glob("*.parquet"))
    table.write_bytes(table.read_bytes()[:-10])
    said: list[str] = []
    run_programme(tmp_path / "valley", say=said.append)
    assert "(5 unchanged)" in said[0]


@pytest.fixture
def one(top: Path, made: Programme, tmp_path: Path) -> Path:
    folder = study_of(made, 10)
    shutil.copytree(top / folder, tmp_path / "one" / "a")
    return tmp_path / "one"


def test_without_dask_a_sentence_says_what_to_install_and_the_work_is_done_here(one, monkeypatch):
    monkeypatch.setattr(running, "find_spec", lambda name: None)
    warned: list[str] = []
    found = run_programme(one, warn=warned.append)
    assert "survivor-establishment[programme]" in warned[0]
    assert len(found.of_state("used")) == 1
    assert not (one / FOLDER).exists()


@pytest.mark.slow
def test_a_study_changed_while_it_is_read_is_read_again(one, monkeypatch):
    changes = iter("\n")

    def changing(path):
        study = load(path)
        if more := next(changes, ""):
            with (path / "visits.csv").open("a") as sheet:
                sheet.write(more)
        return study

    monkeypatch.setattr(study_answers, "load", changing)
    found = run_programme(one)
    assert [record.state for record in found.records] == ["used"]


@pytest.mark.slow
def test_a_study_that_never_stands_still_is_listed(one, monkeypatch):
    def changing(path):
        study = load(path)
        with (path / "visits.csv").open("a") as sheet:
            sheet.write("\n")
        return study

    monkeypatch.setattr(study_answers, "load", changing)
    with pytest.raises(ProgrammeError, match="changed while they were read"):
        run_programme(one)


def test_a_full_disk_loses_the_record_and_not_the_answer(one, monkeypatch):
    def full(record, home):
        raise WritingError("the record of a study could not be written: No space left on device")

    monkeypatch.setattr(running, "keep", full)
    warned: list[str] = []
    found = run_programme(one, warn=warned.append)
    assert [record.state for record in found.records] == ["used"]
    assert "No space left on device" in warned[0]


def test_a_fault_of_ours_in_one_study_is_listed_with_it(one, monkeypatch):
    monkeypatch.setattr(study_answers, "unit_estimates", lambda *args: 1 / 0)
    with pytest.raises(ProgrammeError, match="ZeroDivisionError"):
        run_programme(one)


def test_a_folder_without_studies_is_refused(tmp_path):
    with pytest.raises(ProgrammeError, match="no study below this folder"):
        run_programme(tmp_path)


def test_a_milestone_that_no_study_has_is_refused_with_those_there_are(one):
    with pytest.raises(ProgrammeError, match="12 months"):
        run_programme(one, milestone="3 years")


def test_invented_studies_do_not_depend_on_how_many_there_are(tmp_path):
    few, more = (list(write_invented(tmp_path / str(count), count)) for count in (1, 2))
    for file in few[0].iterdir():
        assert file.read_bytes() == (more[0] / file.name).read_bytes()
    assert json.loads((few[0] / "truth.json").read_text())["methods"]


def test_every_sentence_has_at_most_25_words_and_one_parenthesis():
    told = [value for name, value in vars(en).items() if name.isupper() and isinstance(value, str)]
    for text in [*told, *en.HOW]:
        for sentence in re.split(r"(?<=[.:;]) ", text):
            words = re.sub(r"\(95 % CI [^)]*\)", "", sentence).split()
            assert len(words) <= 25, sentence
            assert sentence.count("(") <= 1, sentence
