"""One odd cell does not cost a plot: the row is named, the rest is used, and words and deed agree."""

from __future__ import annotations

from pathlib import Path

import pytest
from typer.testing import CliRunner

from survivor.cli import app
from survivor.study import Study, load
from tests.writing import write_files

TAGGED = """
[study]
name = "Slips"
as_of = "2023-12-31"

[records]
kind = "tagged"

[[records.sheets]]
file = "visits.csv"

[rules]
tagged = "at planting"
"""


def tagged(folder: Path, odd: dict[int, str], plants: int = 10) -> Study:
    """Two plots visited twice; ``odd`` gives the preparation told in some rows of the first, by plant."""
    lines = ["site,plot,tag,method,planted_date,date,state"]
    for plot, method in (("1", "auger"), ("2", "rip")):
        for plant in range(plants):
            for place, day in enumerate(("2023-03-01", "2023-09-01")):
                told = odd.get(plant, method) if plot == "1" and place == 0 else method
                lines.append(f"Oddle Flat,{plot},{plot}-{plant},{told},2022-08-01,{day},alive")
    return load(write_files(folder, {"study.toml": TAGGED, "visits.csv": "\n".join(lines)}))


def test_a_slip_in_one_row_is_named_with_what_was_meant_and_the_rest_is_used(tmp_path: Path) -> None:
    study = tagged(tmp_path / "s", {4: "riip"})
    found = study.problems[study.problems["code"] == "odd-preparation"]
    assert found["row"].astype(str).tolist() == ["10"]  # header, then 4 plants of two rows, then this one
    assert found["value"].tolist() == ["riip"]
    assert "the other rows of the plot auger, which is used; did you mean rip?" in found["what"].iloc[0]
    assert set(study.records.intervals["method"].astype(str)) == {"auger", "rip"}
    assert (study.accounts["fate"] == "used").all()


@pytest.mark.parametrize("odd", [dict.fromkeys(range(10), "rip"), {0: "rip", 1: "rip", 2: "riip"}])
def test_a_plot_in_two_parts_is_still_set_aside(tmp_path: Path, odd: dict[int, str]) -> None:
    study = tagged(tmp_path / "s", odd)
    assert "plot-differs" in set(study.problems["code"])
    assert set(study.records.intervals["method"].astype(str)) == {"rip"}


COUNTS = """
[study]
name = "Dates"
as_of = "2023-12-31"

[records]
kind = "counts"

[[records.sheets]]
file = "visits.csv"
"""


def counts(folder: Path, planted: str, first: str = "2023-03-01") -> Study:
    lines = ["site,plot,method,planted_date,planted,date,alive"]
    for plot in range(1, 5):
        day = planted if plot == 1 else "2022-06-10"
        for seen, alive in ((first if plot == 1 else "2022-09-12", 18), ("2023-06-12", 15)):
            lines.append(f"Oddle Flat,{plot},{'rip' if plot % 2 else 'auger'},{day},20,{seen},{alive}")
    return load(write_files(folder, {"study.toml": COUNTS, "visits.csv": "\n".join(lines)}))


def test_a_planting_date_after_a_visit_takes_the_plot_out_and_is_set_beside_the_others(
    tmp_path: Path,
) -> None:
    """October typed for June: days counted from it would be four months short."""
    study = counts(tmp_path / "s", "2022-10-06", first="2022-09-12")
    found = study.problems[study.problems["code"] == "planting-odd"]
    assert found["value"].astype(str).iloc[0] == "2022-10-06"
    assert "other plots of this site: 2022-06-10" in found["what"].iloc[0]
    assert "1" not in set(study.records.intervals["plot"].astype(str))
    fates = study.accounts["fate"].value_counts()
    assert (fates["excluded"], fates["used"]) == (2, 6)
    said = CliRunner().invoke(app, ["check", str(tmp_path / "s")])
    assert said.exit_code == 1
    assert said.output.count("planting-odd") == 1


def test_a_visit_typed_too_early_costs_that_visit_only(tmp_path: Path) -> None:
    """2012 for 2022: the planting date is that of all plots, so the visit is what is wrong."""
    study = counts(tmp_path / "s", "2022-06-10", first="2012-09-12")
    assert "before-planting" in set(study.problems["code"])
    assert "planting-odd" not in set(study.problems["code"])
    assert "1" in set(study.records.intervals["plot"].astype(str))


def test_a_later_planting_that_no_visit_contradicts_is_no_fault(tmp_path: Path) -> None:
    study = counts(tmp_path / "s", "2022-10-06", first="2023-03-01")
    assert not {"planting-odd", "before-planting"} & set(study.problems["code"])


@pytest.mark.slow
@pytest.mark.parametrize(
    ("study", "status"),
    [
        (COUNTS.replace("visits.csv", "gone.csv"), 1),
        (COUNTS + '[records.sheets.columns]\nalive = "No such header"\n', 1),
        (COUNTS.replace("[study]", "[stdy]"), 2),
        ("nonsense", 2),
    ],
)
def test_exit_codes_are_those_of_the_readme(tmp_path: Path, study: str, status: int) -> None:
    """README: 1 records, or a file or column that is not there; 2 the study file itself."""
    import subprocess
    import sys

    counts(tmp_path / "s", "2022-06-10")
    (tmp_path / "s" / "study.toml").write_text(study, encoding="utf-8")
    run = subprocess.run(
        [sys.executable, "-c", "from survivor.cli import main; main()", "check", str(tmp_path / "s")],
        capture_output=True,
        text=True,
        check=False,
    )
    assert run.returncode == status, run.stdout + run.stderr
    assert "Traceback" not in run.stderr


def visited(folder: Path, visits: dict[str, dict[str, str]]) -> Study:
    """One plot, planted 2022-08-01; the tags and states of each day."""
    lines = ["site,plot,tag,method,planted_date,visit,date,state"]
    for number, (day, states) in enumerate(visits.items()):
        lines += [
            f"Oddle Flat,1,{tag},rip,2022-08-01,{number},{day},{state}" for tag, state in states.items()
        ]
    return load(write_files(folder, {"study.toml": TAGGED, "visits.csv": "\n".join(lines)}))


TAGS = [f"{number:04d}" for number in range(10, 20)]
DAYS = ("2022-09-01", "2022-12-01", "2023-03-01")


def strangers(study: Study) -> list[tuple[str, str]]:
    found = study.problems[study.problems["code"] == "tag-of-one-visit"]
    return list(zip(found["value"], found["what"] + "; " + found["mend"], strict=True))


def test_a_tag_of_one_visit_is_asked_about_beside_the_tag_that_is_missing_there(tmp_path: Path) -> None:
    visits = {day: dict.fromkeys(TAGS, "alive") for day in DAYS}
    visits[DAYS[1]] = {"9999" if tag == "0012" else tag: "alive" for tag in TAGS}
    study = visited(tmp_path / "s", visits)
    ((tag, words),) = strangers(study)
    assert tag == "9999"
    assert "0012, which stands at its other visits, is missing at this one" in words
    assert "if it is 0012, write that tag here" in words
    assert "9999" in set(study.intervals["tag"])  # asked, and not mended
    lines = (tmp_path / "s" / "visits.csv").read_text(encoding="utf-8").splitlines()
    found = study.problems.set_index("code").loc["tag-of-one-visit"]
    assert ",9999," in lines[int(found["row"]) - 1]


@pytest.mark.parametrize(
    ("said", "third", "asked"),
    [
        # Left off the sheet as dead, and a new plant put in its place.
        ("dead", [*(tag for tag in TAGS if tag != "0012"), "0500"], []),
        ("alive", [*(tag for tag in TAGS if tag != "0012"), "0500"], ["0012"]),
        ("alive", [*TAGS, "0500"], []),  # nothing is missing
        ("alive", [*TAGS[:4], "0500"], []),  # only some were looked at
        ("alive", [*TAGS[2:], "0O10"], ["0010", "0011"]),  # either of two
    ],
)
def test_it_is_asked_only_where_a_slip_is_likely(
    said: str, third: list[str], asked: list[str], tmp_path: Path
) -> None:
    second = dict.fromkeys(TAGS, "alive") | {"0012": said}
    visits = {
        DAYS[0]: dict.fromkeys(TAGS, "alive"), DAYS[1]: second, DAYS[2]: dict.fromkeys(third, "alive")
    }  # fmt: skip
    found = strangers(visited(tmp_path / "s", visits))
    assert [words.count(tag) for _, words in found for tag in asked] == [2] * len(asked)
    assert bool(found) is bool(asked)


def test_of_many_that_are_missing_those_are_named_that_look_like_it(tmp_path: Path) -> None:
    tags = [f"{number:04d}" for number in range(10, 30)]
    visits = {day: dict.fromkeys(tags, "alive") for day in DAYS}
    gone = ("0012", "0015", "0023", "0026", "0029")
    visits[DAYS[2]] = dict.fromkeys([*(tag for tag in tags if tag not in gone), "00122"], "alive")
    ((tag, words),) = strangers(visited(tmp_path / "s", visits))
    assert tag == "00122"
    assert "if it is 0012, write" in words
    visits[DAYS[2]] = dict.fromkeys([*(tag for tag in tags if tag not in gone), "xyz"], "alive")
    assert strangers(visited(tmp_path / "s", visits)) == []


def test_few_rows_that_tell_another_preparation_are_all_named(tmp_path: Path) -> None:
    study = tagged(tmp_path / "s", dict.fromkeys(range(3), "rip"))
    found = study.problems.set_index("code").loc["plot-differs"]
    assert "auger (17 rows) and rip (rows 2, 4, 6)" in found["what"]


def wide(folder: Path, told: dict[int, str], unread: int | None = None, other: str = "Auger") -> Study:
    """Two plots of ten rows and three visits; ``told`` gives the preparation of some rows of the first."""
    days = ("2022-09-12", "2023-01-12", "2023-06-12")
    lines = ["site,plot,tag,method,planted_date," + ",".join(days)]
    for plot, usual in (("1", "Scalp"), ("2", other)):
        for plant in range(10):
            method = told.get(plant, usual) if plot == "1" else usual
            first = "?" if plot == "1" and plant == unread else "alive"
            lines.append(f"Oddle Flat,{plot},{plot}-{plant},{method},2022-08-01,{first},alive,alive")
    visits = "".join(f'[[records.visits]]\nname = "{day}"\nstate = "{day}"\ndate = "{day}"\n' for day in days)
    text = TAGGED.replace('kind = "tagged"', 'kind = "tagged"\nshape = "wide"') + visits
    folder.mkdir(exist_ok=True)
    (folder / "study.toml").write_text(text, encoding="utf-8")
    (folder / "visits.csv").write_text("\n".join(lines), encoding="utf-8")
    return load(folder)


@pytest.mark.parametrize("unread", [None, 7])
def test_a_state_that_cannot_be_read_does_not_turn_a_slip_into_two_plots(
    tmp_path: Path, unread: int | None
) -> None:
    study = wide(tmp_path / "s", {4: "Scallp"}, unread)
    found = study.problems[study.problems["code"] == "odd-preparation"]
    assert found["row"].astype(str).tolist() == ["6"]  # one cell, though the row has three visits
    assert "plot-differs" not in set(study.problems["code"])
    assert (study.accounts["fate"] != "used").sum() == (0 if unread is None else 1)


def test_a_slip_is_not_proposed_to_itself_and_the_study_file_can_join_it(tmp_path: Path) -> None:
    study = wide(tmp_path / "s", {4: "Scallp"}, other="Scallp")
    found = study.problems.set_index("code").loc["odd-preparation"]
    assert "did you mean" not in found["what"]  # Scalp, the likeliest, is what the plot is taken for
    assert 'name = "Scalp" write: also = ["Scallp"]' in found["mend"]
    assert "?." not in CliRunner().invoke(app, ["check", str(tmp_path / "s")]).output


def test_two_spellings_in_many_rows_name_the_line_that_joins_them(tmp_path: Path) -> None:
    study = wide(tmp_path / "s", dict.fromkeys(range(4), "Scallp"))
    found = study.problems.set_index("code").loc["plot-differs"]
    assert 'name = "Scalp" write: also = ["Scallp"]' in found["mend"]
    file = tmp_path / "s" / "study.toml"
    table = '[[methods]]\nname = "Scalp"\nalso = ["Scallp"]\n[[methods]]\nname = "Auger"\n'
    file.write_text(file.read_text(encoding="utf-8") + table, encoding="utf-8")
    assert (load(tmp_path / "s").accounts["fate"] == "used").all()


def test_a_question_ends_without_a_full_stop(tmp_path: Path) -> None:
    tagged(tmp_path / "s", {4: "riip"})
    said = CliRunner().invoke(app, ["check", str(tmp_path / "s")]).output
    assert "did you mean rip?" in said
    assert "?." not in said


def test_spaces_round_a_joining_sign_make_no_other_preparation_and_are_shown(tmp_path: Path) -> None:
    study = tagged(
        tmp_path / "s", {plant: "Rip+spray" if plant % 2 else "rip + Spray" for plant in range(10)}
    )
    file = tmp_path / "s" / "visits.csv"
    file.write_text(file.read_text(encoding="utf-8").replace(",auger,", ",Rip +spray,"), encoding="utf-8")
    study = load(tmp_path / "s")
    assert not {"plot-differs", "odd-preparation"} & set(study.problems["code"])
    assert (study.problems["code"] == "spelling").any()
    assert study.records.intervals["method"].nunique() == 2
