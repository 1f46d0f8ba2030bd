"""A study file with its questions: answered, in the file or the terminal, it gives the demo's records."""

from __future__ import annotations

import re
import shutil
import tomllib
from pathlib import Path

import pandas as pd
import pytest
from typer.testing import CliRunner

import survivor
from survivor.cli import app
from survivor.proposing.proposal import propose, write_proposal
from survivor.settings import read_settings
from survivor.settings.questions import MOST, Line, answered, answers_to, questions_in, unfit
from tests.once import analysed, study_of
from tests.records.sheetfiles import as_csv, as_xlsx
from tests.season.months import NAMED, WITH_YEARS, grid

DATASETS = Path(__file__).parents[2] / "datasets"
COHORTS = ("tagged", "counts", "works", *(f"seasons/season-{year}" for year in (2021, 2022, 2023)))
NORTH = ["Tarn Hollow", "Quill Creek", "Dunnick Bend", "Pewmoor Gully"]
SOUTH = ["Vossel Flat", "Ombry Rise", "Marlish Plain", "Thessel Ridge"]
# What the people of the demo say, by key (or by what a line says of itself).
SAID = {
    "headline": '"12 months"',
    "tagged": '"at planting"',
    "missing": '"dead"',
    "radius_measured": '"at planting"',
    "interactions": "[]",
    **dict.fromkeys(
        ('"follow-up weed control"', '"lead time"', '"dry ripping"', '"passes"'), '"not recorded"'
    ),
    "start": '"12-01"',
    "end": '"03-31"',
    "rain_north": str(NORTH).replace("'", '"'),
    "rain_south": str(SOUTH).replace("'", '"'),
    "Nov 2021": '"2021-11-23"',
    "Apr 2022": '"2022-04-20"',
    "Jul 2022": '"2022-07-19"',
    "Nov 2022": '"2022-11-22"',
    "Apr 2023": '"2023-04-18"',
    "Jul 2023": '"2023-07-18"',
}
OF_COHORT = {
    "tagged": {
        "usual_practice": '"spot spray only"',
        "allocation": '"random within blocks"',
        "plots_placed": '"random"',
    },
    "works": {
        "usual_practice": '"spray only"',
        "allocation": '"random within blocks"',
        "plots_placed": '"random"',
        "interactions": '["rip x mulch mat"]',
        **dict.fromkeys(
            ('"follow-up weed control"', '"lead time"', '"dry ripping"', '"passes"'), '"random within blocks"'
        ),
    },
    "counts": {
        "usual_practice": '"spray and hand-dug hole"',
        "allocation": '"by choice"',
        "plots_placed": '"by choice"',
    },
}


def folder_of(tmp_path: Path, cohort: str) -> Path:
    folder = tmp_path / cohort
    shutil.copytree(DATASETS / cohort, folder)
    if cohort.startswith("seasons/"):  # whose rain is kept once for all of them
        shutil.copy(DATASETS / "seasons" / "rain.csv", folder)
    for name in ("study.toml", "DATA-DICTIONARY.md"):
        (folder / name).unlink(missing_ok=True)
    return folder


def by_the_demo(text: str, cohort: str) -> str:
    """Answer every question as the demo's own study file does."""
    said = {**SAID, **OF_COHORT.get(cohort, OF_COHORT["tagged"])}
    answers = {}
    for question in questions_in(text):
        for part in question.parts:
            line = next((own for own in part if said.get(own.key) == own.value), part[0])
            told = next((value for key, value in said.items() if key in line.said), None)
            answers[line.place] = told or said.get(line.key, line.value)
    return answered(text, answers)


@pytest.fixture(scope="module")
def answered_once(tmp_path_factory):
    """Give the folder of a cohort whose study file is the proposed one, answered; each is made once."""
    made = {}

    def of(cohort: str) -> Path:
        if cohort not in made:
            folder = folder_of(tmp_path_factory.mktemp("proposed"), cohort)
            text = propose(folder)
            asked = questions_in(text)
            assert [question.number for question in asked] == list(range(1, len(asked) + 1))
            assert len(asked) <= MOST
            write_proposal(folder, by_the_demo(text, cohort))
            made[cohort] = folder
        return made[cohort]

    return of


@pytest.mark.slow
@pytest.mark.parametrize("cohort", COHORTS)
def test_the_demo_proposed_and_answered_holds_the_demos_own_records(answered_once, cohort):
    folder = answered_once(cohort)
    assert questions_in((folder / "study.toml").read_text(encoding="utf-8")) == []
    assert "| key | value |" in (folder / "DATA-DICTIONARY.md").read_text(encoding="utf-8")

    study, own = study_of(folder), study_of(DATASETS / cohort)
    shared = [column for column in own.intervals if column in study.intervals and column != "method"]
    by = ["site", "block", "plot", "tag", "species", "cohort", "planted_date", "start_day"]
    mine, theirs = (frame.sort_values(by, kind="stable") for frame in (study.intervals, own.intervals))
    pd.testing.assert_frame_equal(
        mine[shared].reset_index(drop=True), theirs[shared].reset_index(drop=True), check_dtype=False
    )
    assert (study.settings.works is None) == (own.settings.works is None)
    done, really = (own_of.records.works.rows for own_of in (study, own))
    diary = ["site", "block", "plot", "work", "date"]
    done, really = (rows.loc[rows["told_by"] == "diary", diary] for rows in (done, really))
    pd.testing.assert_frame_equal(done.reset_index(drop=True), really.reset_index(drop=True))
    names = {also: method.name for method in own.settings.methods for also in (*method.also, method.name)}
    said = mine["method"].astype(str).map(lambda name: names.get(name, name))
    assert said.tolist() == theirs["method"].astype(str).tolist()

    settings = study.settings
    for table in ("allocation", "usual_practice", "strata", "radius_measured", "smallest_difference"):
        assert getattr(settings.design, table) == getattr(own.settings.design, table)
    assert settings.dry_season == own.settings.dry_season
    assert settings.headline_milestone.name == own.settings.headline_milestone.name
    rain, demo = ([g.daily for g in s.gauges.records.values()] for s in (study, own))
    assert [list(g["rain_mm"].dropna()) for g in rain] == [list(g["rain_mm"].dropna()) for g in demo]
    assert [g.sites for g in settings.gauges] == [g.sites for g in own.settings.gauges]


@pytest.mark.slow
def test_questions_are_asked_in_the_terminal_and_answers_are_kept(tmp_path):
    folder = folder_of(tmp_path, "counts")
    days = [SAID[f"{month}"].strip('"') for month in SAID if month[:3] in ("Nov", "Apr", "Jul")]
    said = [*days, "y", "1", "nonsense", "2", "2", "12-01", "03-31", ""]
    run = CliRunner().invoke(app, ["new", str(folder), "--ask"], input="\n".join([*said, ""]))
    assert run.exit_code == 0, run.output
    assert "7 questions; Enter leaves one open." in run.output
    plots = survivor.load(DATASETS / "counts").records.plots
    number, sites = f"{plots['planted'].sum():,.0f}", plots["site"].nunique()
    assert f"{number} seedlings planted in {len(plots)} plots at {sites} sites, 6 visits" in run.output
    assert "1 question open" in run.output
    settings = read_settings(folder)
    assert [visit.date for visit in settings.records.visits] == days
    assert settings.design.allocation == "by choice"
    assert settings.dry_season is not None
    (left,) = questions_in((folder / "study.toml").read_text(encoding="utf-8"))
    assert "radius" in left.text
    again = CliRunner().invoke(app, ["new", str(folder), "--ask"], input="1\n")
    assert "1 question; Enter leaves one open." in again.output
    assert read_settings(folder).design.radius_measured == "at planting"


@pytest.mark.slow
def test_a_study_file_that_somebody_changes_meanwhile_is_not_written_over(tmp_path, monkeypatch):
    folder = folder_of(tmp_path, "counts")
    file = folder / "study.toml"
    real = survivor.settings.questions.answers_to

    def meanwhile(*arguments):
        file.write_text(file.read_text(encoding="utf-8") + "# mine\n", encoding="utf-8")
        return real(*arguments)

    monkeypatch.setattr("survivor.settings.questions.answers_to", meanwhile)
    run = CliRunner().invoke(app, ["new", str(folder), "--ask"], input="2022-11-30\n" + "\n" * 30)
    assert "somebody changed this file while the questions were asked" in str(run.exception)
    assert file.read_text(encoding="utf-8").endswith("# mine\n")


def seedlings(words: list[str]) -> list[list[str]]:
    rows = [["Site", "Plot", "Prep", "Tag", "Planted", "22/8/23", "20/10/23"]]
    rows += [
        [site, f"{site}{plot}", prep, f"{site}{plot}{tag}", "13/7/23", "alive", words[tag % len(words)]]
        for site in "AB"
        for plot, prep in enumerate(("rip", "nothing"))
        for tag in range(4)
    ]
    return rows


def test_unknown_words_are_one_question_with_their_counts(tmp_path):
    (tmp_path / "tags.csv").write_bytes(as_csv(seedlings(["zz", "alive", "qq", "zz"])))
    text = propose(tmp_path)
    (question,) = [own for own in questions_in(text) if "what do these words mean" in own.text]
    assert question.number == 1
    assert [part[0].key for part in question.parts] == ['"zz"', '"qq"']
    assert [part[0].said.split(":")[0] for part in question.parts] == ["8 cells", "4 cells"]
    answers = {
        part[0].place: state for part, state in zip(question.parts, ('"dead"', '"alive"'), strict=True)
    }
    assert tomllib.loads(answered(text, answers))["records"]["states"] == {"zz": "dead", "qq": "alive"}


def test_rain_on_a_sheet_of_the_workbook_is_a_gauge_and_no_record(tmp_path):
    (tmp_path / "tags.csv").write_bytes(as_csv(seedlings(["alive"])))
    (tmp_path / "gauge.xlsx").write_bytes(as_xlsx(grid(WITH_YEARS, ["Rain at the shed"]), "Rain"))
    text = propose(tmp_path)
    assert tomllib.loads(text)["gauges"] == [{"name": "gauge", "file": "gauge.xlsx"}]
    assert "gauge.xlsx" not in "".join(line for line in text.split("\n") if line.startswith("# Not used"))


@pytest.mark.parametrize("title", ["Rain 2023/24", "Rain 2023/24, Monday is for the weekend"])
def test_blank_weekends_are_asked_about_unless_the_sheet_tells(tmp_path, title):
    (tmp_path / "tags.csv").write_bytes(as_csv(seedlings(["alive"])))
    (tmp_path / "rain.csv").write_bytes(as_csv(grid(NAMED, [title], weekends=False)))
    text = propose(tmp_path)
    asked = [own for own in questions_in(text) if "blank Saturday" in own.text]
    told = tomllib.loads(text)["gauges"][0].get("weekends")
    assert (len(asked), told) == ((0, "in Monday's reading") if "weekend" in title else (1, None))


def test_what_is_written_once_holds_for_all_sheets(tmp_path):
    for site in "AB":
        (tmp_path / f"{site}.csv").write_text(
            f"plot,tag,method,planted_date,date,state,site\n{site}1,1,rip,2023-07-01,2023-09-01,ok,{site}\n"
            f"{site}1,1,rip,2023-07-01,2023-12-01,kaput,{site}\n"
        )
    (tmp_path / "study.toml").write_text(
        '[study]\nname = "both"\n[records]\nkind = "tagged"\n[records.states]\nkaput = "dead"\nok = "alive"\n'
        '[[records.sheets]]\nfile = "A.csv"\n[[records.sheets]]\nfile = "B.csv"\n'
        '[records.sheets.states]\nkaput = "missing"\n[rules]\ntagged = "at planting"\n'
    )
    visits = survivor.load(tmp_path).records.visits
    assert visits.set_index(["site", "visit"])["state"].tolist() == ["alive", "dead", "alive", "missing"]


# Of costs and of what was promised no sheet tells, nor of works without a diary: what rests on them is not
# compared.
OF_NO_SHEET = frozenset({"payoff", "value", "infill", "total", "stocking"})
ALIVE = "alive"  # under a target the same answer is called that of the target
SEASONS = ("seasons/season-2021", "seasons/season-2022", "seasons/season-2023")


def answers_of(study: survivor.Study, names: dict[str, str]) -> dict[tuple[str, ...], tuple[object, ...]]:
    """Give every answer that a sheet can tell: estimate, interval, and strength of evidence."""
    works = study.settings.works
    of_works = works is not None and works.diary is not None
    return {
        (kind_of(finding), *(names.get(method, method) for method in finding.methods)): (
            *(
                None if value is None else round(value, 6)
                for value in (finding.estimate, finding.lower, finding.upper)
            ),
            None if kind_of(finding) == ALIVE else finding.strength,
        )
        for finding in study.findings()
        if kind_of(finding) not in OF_NO_SHEET and (of_works or not finding.key.startswith("works: "))
    }


def kind_of(finding: survivor.Finding) -> str:
    if " against " in finding.key:
        return "against"
    return ALIVE if finding.key == "target" else finding.key


# One of the three seasons: their study files are of one kind, and the test above holds all of each.
@pytest.mark.slow
@pytest.mark.parametrize("cohort", COHORTS[:4])
def test_the_demo_proposed_and_answered_gives_the_demos_own_answers(answered_once, tmp_path, cohort):
    folder = answered_once(cohort)
    # No sheet tells how many were put in over the whole planting, by which the demo weighs its sites.
    home = tmp_path / "own" / cohort
    shutil.copytree(DATASETS / cohort, home)
    if cohort in SEASONS:
        shutil.copy(DATASETS / "seasons" / "rain.csv", home.parent)
    said = (home / "study.toml").read_text(encoding="utf-8")
    (home / "study.toml").write_text(
        re.sub(r"\[\[planted\]\]\n(?:[^\[].*\n|\n)*", "", said), encoding="utf-8"
    )
    own = study_of(home)
    # A preparation goes by its commonest spelling where nobody names it.
    names = {also: method.name for method in own.settings.methods for also in (*method.also, method.name)}
    for place in (folder, home):
        analysed(place)
    mine, theirs = (answers_of(study, names) for study in (study_of(folder), own))
    assert len(theirs) > 3
    assert mine == theirs


DAY, MONTH_DAY = "year-month-day, such as 2022-05-31", "month-day, such as 12-01"


@pytest.mark.parametrize(
    ("value", "asks", "said", "fits"),
    [
        ('""', MONTH_DAY, "1", False),
        ('""', MONTH_DAY, "13-01", False),
        ('""', MONTH_DAY, "02-30", False),
        ('""', MONTH_DAY, "2022-12-01", False),
        ('""', MONTH_DAY, "02-29", True),
        ('""', DAY, "12-01", False),
        ('""', DAY, "2022-02-29", False),
        ('""', DAY, "2022-5-1", False),
        ('""', DAY, "2022-02-28", True),
        ("0", "such as 2024", "last", False),
        ("0", "such as 2024", "2024", True),
        ('["North", "Far end"]', "leave those that it stands for", "Far end, North", True),
        ('["North", "Far end"]', "leave those that it stands for", "South", False),
        ('""', "what it is called", "1", True),
    ],
)
def test_an_answer_is_of_the_kind_that_is_asked_for(value, asks, said, fits):
    assert (unfit(Line(0, "key", value, asks), said) == "") is fits


def test_two_gauges_are_asked_about_one_by_one():
    line = '#? sites = ["North", "Far end"]   # leave those that it stands for; '
    head = "# Question 1 of 1: "
    text = f"{head}whose gauge is it?\n{line}shed\n\n{head}the same here\n{line}mill\n"
    (question,) = questions_in(text)
    said = {"shed": '["North"]', "mill": '["Far end"]'}
    answers = {}

    def say(part):
        answers[part[0].said.split("; ")[1]] = part[0].place
        return said[part[0].said.split("; ")[1]]

    given = answers_to(question, say)
    assert given == {answers[name]: value for name, value in said.items()}


def test_what_is_no_day_is_asked_for_again(tmp_path):
    folder = folder_of(tmp_path, "counts")
    text = '# Question 1 of 1: when?\n#? [dry_season]\n#? start = ""   # month-day, such as 12-01\n'
    (folder / "study.toml").write_text(text)
    run = CliRunner().invoke(app, ["new", str(folder), "--ask"], input="1\n12-01\n")
    assert "'1' is no month-day: write it like 12-01; or Enter to leave it open" in run.output
    assert 'start = "12-01"' in (folder / "study.toml").read_text()
