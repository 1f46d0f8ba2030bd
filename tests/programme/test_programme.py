"""A programme of few studies, in this process: its numbers, its privacy, what is done again and left out."""

from __future__ import annotations

import io
import json
import re
import shutil
import zipfile
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from survivor.demo.programme import write_programme as write_invented
from survivor.errors import ProgrammeError, WritingError
from survivor.figures.programme import studies_figure
from survivor.programme import Programme, run_programme, running, study_answers, write_programme
from survivor.programme import english as en
from survivor.programme.page import page_of_programme
from survivor.programme.record import FOLDER, StudyRecord, keep, kept
from survivor.programme.running import Taken, put_together
from survivor.programme.together import together
from survivor.proportions import wilson
from survivor.seasons import pool_seasons, take_in
from survivor.sentences import plain_text
from survivor.study import load
from tests.document import poppler
from tests.document.browsing import in_a_browser, words_to_read
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
    original = study_of(made, TAKEN[1]).rpartition("/")[2]
    assert sorted(left) == sorted([en.NO_STUDY_FILE, en.COPY.format(other=original)])
    detail = next(record.detail for record in made.records if f"-{BROKEN:04d}-" in record.folder)
    assert "TOML" in detail


def test_plants_of_a_copy_are_counted_once(made):
    seedlings = {record.folder: record.counts["seedlings"] for record in made.of_state("used")}
    copy = next(record for record in made.records if record.folder == "zz-saved-again")
    assert copy.counts["seedlings"] == seedlings[study_of(made, TAKEN[1])]
    assert made.watched["seedlings"].sum() == sum(seedlings.values())
    assert f"{sum(seedlings.values()):,} seedlings watched" in page_of_programme(made, "").about[0]


def test_targets_are_counted_by_their_verdicts(made):
    told = [record.target["verdict"] for record in made.of_state("used") if record.target is not None]
    whole = made.targets[made.targets["by"] == "all"]
    assert dict(zip(whole["verdict"], whole["targets"], strict=True)) == {
        verdict: told.count(verdict) for verdict in whole["verdict"]
    }


def text_of(path: Path) -> str:
    if path.suffix == ".pdf":
        return poppler.text_of(path)
    if path.suffix == ".xlsx":
        with zipfile.ZipFile(io.BytesIO(path.read_bytes())) as book:
            return " ".join(book.read(name).decode() for name in book.namelist())
    return path.read_text(encoding="utf-8")


@poppler.needs_poppler
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


@in_a_browser[0]
@in_a_browser[1]
def test_letters_of_charts_are_as_large_as_words_and_lie_on_no_others(browser, written):
    assert words_to_read(browser, written[0]) > 20


def test_the_page_holds_every_section_and_the_answer_first(written):
    page = written[0].read_text(encoding="utf-8")
    headings = re.findall(r"<h2[^>]*>([^<]+)</h2>", page)
    told = [en.ANSWER, en.LIVES, en.PROMISED, en.STUDIES, en.NEXT, en.WATCHED, en.LEFT, en.METHODS]
    assert [heading for heading in headings if heading in told] == told


def test_one_comparison_alone_is_worth_most_and_those_after_it_are_worth_less(made):
    worth = made.worth.assign(chance=np.linspace(5.0, 20.0, len(made.worth)))
    page = page_of_programme(replace(made, worth=worth), "")
    section = next(one for one in page.sections if one.key == "next")
    said = [plain_text(line) for line in section.blocks[0].items]
    most = [line for line in said if "is worth most" in line]
    best = worth.iloc[worth["value"].argmax()]
    assert len(most) == 1
    assert most[0].startswith(f"One more study of “{best['method']}” against “{best['against']}”")
    assert f"on average {best['value']:.1f} more plants alive per 100 planted" in most[0]
    assert said[1].startswith(f"After it comes “{worth['method'].iloc[1]}”")
    assert worth["value"].is_monotonic_decreasing


def test_the_title_promises_no_money_where_none_is_told(made):
    page = page_of_programme(made, "")
    assert "pay" not in page.title
    assert page.title == "6 studies together: what lives"


def test_one_study_alone_is_compared_with_none_and_no_year_is_a_fraction(made):
    alone = together("alone", [one for one in made.records if f"-{TAKEN[2]:04d}-" in one.folder])
    page = page_of_programme(alone, "")
    assert page.title == en.TITLE_ONE
    told = [plain_text(item) for one in page.sections for b in one.blocks for item in getattr(b, "items", ())]
    assert not any(word in line for line in told for word in ("pooled", "Holm", "new study"))
    figures = {b.key: b for one in page.sections for b in one.blocks if hasattr(b, "draw")}
    [lives] = figures["lives"].draw(size="wide").axes
    assert lives.get_title(loc="left") == "By preparation"
    [years] = figures["planted"].draw(size="wide").axes
    years.figure.canvas.draw()
    first, last = years.get_xlim()
    ticks = {
        label.get_text() for label in years.get_xticklabels() if first <= label.get_position()[0] <= last
    }
    assert ticks == {"2020"}


@pytest.mark.parametrize("far", [(-40.0, -38.0, -37.0), (37.0, 38.0, 40.0)])
def test_names_of_studies_that_stand_apart_lie_on_no_others(far):
    same = {"method": "rip", "against": "spot"}
    estimates = [*far, *np.linspace(-5, 5, 20)]
    units = pd.DataFrame({"unit": [f"study-{n}" for n in range(23)], **same, "estimate": estimates})
    units = units.assign(lower=units["estimate"] - 5, upper=units["estimate"] + 5)
    pooled = pd.DataFrame([{**same, "estimate": 0.0, "new_lower": -15.0, "new_upper": 15.0}])
    figure = studies_figure(units, pooled, units[:3])
    figure.canvas.draw()
    [ax] = figure.axes
    boxes = sorted((text.get_window_extent() for text in ax.texts), key=lambda box: box.y0)
    assert len(boxes) == 3
    assert all(below.y1 <= above.y0 for below, above in pairwise(boxes))


def test_names_that_begin_alike_are_cut_with_a_mark(made):
    long = "The Association of Landholders of the Upper Valley"
    lives = made.lives.assign(level=made.lives["level"].where(made.lives["by"] != "organisation", long))
    figure = page_of_programme(replace(made, lives=lives), "").sections[0].blocks[0].draw(size="wide")
    names = [label.get_text() for ax in figure.axes for label in ax.get_yticklabels()]
    assert any(name.startswith("The") and name.endswith("…") for name in names)


def test_where_no_study_can_be_used_the_first_are_named_each_with_its_reason(made):
    asked = made.records[0].question
    records = [StudyRecord(f"s{n}", {}, asked).without("why", f"why {n}\nmore") for n in range(7)]
    with pytest.raises(ProgrammeError, match="none of the 7 studies") as caught:
        put_together(Taken(Path("valley"), tuple(records)))
    assert caught.value.mend == "s0: why 0; s1: why 1; s2: why 2; s3: why 3; s4: why 4; ..."


def test_a_target_or_two_have_no_share_and_no_range(made):
    targets = made.targets.assign(judged=[3, 3, 3, 3, *([1] * (len(made.targets) - 4))])
    page = page_of_programme(replace(made, targets=targets), "")
    figure = next(one for one in page.sections if one.key == "targets").blocks[0]
    for line, row in zip(figure.table.rows, targets.to_dict("records"), strict=True):
        assert (line[-1] == en.FEW_TARGETS) == (row["judged"] < 3)
    drawn = [ax.get_title(loc="left") or ax.get_title() for ax in figure.draw(size="wide").axes]
    assert [title for title in drawn if title] == ["Verdict"]  # no panel of targets that have no share
    few = page_of_programme(replace(made, targets=made.targets.assign(judged=2)), "")
    assert "of every 100" not in " ".join(
        plain_text(block.text) for block in few.answer.blocks if hasattr(block, "text")
    )


def test_a_difference_leads_only_where_it_is_clear_by_p_adjusted(made):
    def finding(p_adjusted):
        page = page_of_programme(replace(made, pooled=made.pooled.assign(p_adjusted=p_adjusted)), "")
        return plain_text(next(block for block in page.answer.blocks if hasattr(block, "draw")).finding)

    rows = int((made.pooled["scale"] == "per 100 planted").sum())
    assert finding(0.2).startswith(f"None of {rows} preparations differs")
    assert finding(0.001).startswith("Clear differences from the usual practice")
    assert f"{rows} of {rows} preparations" in finding(0.001)


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


def test_a_record_kept_before_something_was_asked_is_made_again(made, tmp_path):
    record = next(one for one in made.of_state("used") if one.units)
    keep(record, tmp_path)
    assert kept(record.folder, tmp_path) is not None
    (file,) = tmp_path.glob("*.json")
    facts = json.loads(file.read_text(encoding="utf-8"))
    for row in facts["units"]:
        del row["alive_against"]
    file.write_text(json.dumps(facts), encoding="utf-8")
    assert kept(record.folder, tmp_path) is None


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
    for text in [*told, *en.HOW, *en.HOW_POOLED]:
        for sentence in re.split(r"(?<=[.:;]) ", text):
            words = re.sub(r"\(95 % CI [^)]*\)", "", sentence).split()
            assert len(words) <= 25, sentence
            assert sentence.count("(") <= 1, sentence
