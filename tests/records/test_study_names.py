"""Study files with slips against the records of the demo: each is named, with its line and its mend."""

from __future__ import annotations

import re
import shutil
from pathlib import Path

import pandas as pd
import pytest
from typer.testing import CliRunner

from survivor.cli import app
from survivor.study import Study, load


@pytest.fixture(scope="module")
def demo() -> Path:
    """The demo as committed, which another test holds to what is written anew."""
    return Path(__file__).parents[2] / "datasets"


def altered(demo: Path, to: Path, *changes: tuple[str, str], cohort: str = "counts") -> Path:
    folder = to / cohort
    shutil.copytree(demo / cohort, folder)
    text = (folder / "study.toml").read_text(encoding="utf-8")
    for old, new in changes:
        assert old in text
        text = text.replace(old, new)
    (folder / "study.toml").write_text(text, encoding="utf-8")
    return folder


def found(study: Study, code: str) -> pd.Series[str]:
    rows = study.problems[study.problems["code"] == code]
    assert len(rows) == 1, code
    problem = rows.iloc[0]
    assert problem["file"] == "study.toml"
    line = study.path.read_text(encoding="utf-8").splitlines()[problem["row"] - 1]
    assert problem["value"] in line or not problem["value"]
    return problem


PLANTED = '\n[[planted]]\nsite = "{}"\nplants = {}\n'


@pytest.mark.slow
def test_planted_rows_without_plots_are_named_and_dropped(demo: Path, tmp_path: Path) -> None:
    sites = load(demo / "counts").intervals["site"].unique()
    first, second = sites[0], sites[1]
    misspelt = second.replace("e", "ee", 1)
    tables = PLANTED.format(first.upper(), 100) + PLANTED.format(misspelt, 50)
    folder = altered(demo, tmp_path, ("[privacy]", tables + "\n[privacy]"))
    study = load(folder)
    problem = found(study, "planted-unmatched")
    assert problem["value"] == misspelt
    assert f'did you mean "{second}"?' in problem["what"]
    assert study.population is not None
    assert list(study.population.itertuples(index=False, name=None)) == [(first, "", 100)]
    assert second in found(study, "planted-missing")["what"]


def test_no_planted_row_matches_and_the_answer_goes_on(demo: Path, tmp_path: Path) -> None:
    folder = altered(demo, tmp_path, ("[privacy]", PLANTED.format("Nowhere", 5) + "\n[privacy]"))
    study = load(folder)
    assert study.population is None
    assert "go by the plants in the plots" in found(study, "planted-missing")["what"]


@pytest.mark.slow
def test_a_gauge_without_a_dry_season_is_asked_for_one(demo: Path, tmp_path: Path) -> None:
    assert "dry-season-absent" not in set(load(demo / "counts").problems["code"])
    text = (demo / "counts" / "study.toml").read_text(encoding="utf-8")
    table = text[text.index("[dry_season]") :].split("\n\n")[0]
    problem = found(load(altered(demo, tmp_path, (table, ""))), "dry-season-absent")
    assert problem["severity"] == "note"
    assert "[dry_season]" in problem["mend"]


@pytest.mark.slow
def test_costs_without_a_currency_are_asked_for_one(demo: Path, tmp_path: Path) -> None:
    assert "currency-absent" not in set(load(demo / "counts").problems["code"])
    text = (demo / "counts" / "study.toml").read_text(encoding="utf-8")
    table = text[text.index("[costs]") :].split("\n\n")[0]
    problem = found(load(altered(demo, tmp_path, (table, ""))), "currency-absent")
    assert problem["severity"] == "note"
    assert "[costs]" in problem["mend"]


def test_a_site_of_a_gauge_that_no_record_has(demo: Path, tmp_path: Path) -> None:
    folder = altered(demo, tmp_path, ('file = "rain.csv"', 'file = "rain.csv"\nsites = ["Nowher"]'))
    study = load(folder)
    assert found(study, "gauge-site-unmatched")["column"] == "[[gauges]] district gauge, sites"
    dry = study.problems[study.problems["code"] == "site-without-gauge"]
    assert len(dry) == 1


@pytest.mark.slow
@pytest.mark.parametrize("name", ["block", "paddock"])
def test_a_stratum_without_a_column_falls_back_to_the_site(demo: Path, tmp_path: Path, name: str) -> None:
    study = load(altered(demo, tmp_path, ('strata = ["site"]', f'strata = ["{name}"]')))
    problem = found(study, "stratum-absent")
    assert problem["value"] == name
    assert "compared within each site instead" in problem["what"]
    assert study.settings.design.strata == ("site",)


def test_the_usual_practice_is_named_or_said_not_to_be(demo: Path, tmp_path: Path) -> None:
    line = 'usual_practice = "spray and hand-dug hole"  # what everything else is compared with\n'
    study = load(altered(demo, tmp_path, (line, "")))
    reference = study.intervals["method"].cat.categories[0]
    assert (
        f"all preparations are compared with “{reference}”" in found(study, "usual-practice-unnamed")["what"]
    )


def test_a_method_of_the_study_file_without_plots(demo: Path, tmp_path: Path) -> None:
    more = '[[methods]]\nname = "scalped"\n\n[privacy]'
    study = load(altered(demo, tmp_path, ("[privacy]", more)))
    assert found(study, "method-without-plots")["value"] == "scalped"
    assert "scalped" in found(study, "method-without-cost")["what"]
    # A method that holds plots is never called absent.
    assert "ripped and mounded" in set(study.intervals["method"].astype(str))


def test_a_word_for_a_column_that_is_misspelt(demo: Path, tmp_path: Path) -> None:
    study = load(altered(demo, tmp_path, ("notes = ", "noets = ")))
    assert "did you mean notes?" in found(study, "column-word")["what"]


@pytest.mark.slow
@pytest.mark.parametrize(
    ("cohort", "line", "key", "value"),
    [
        ("counts", 'missing = "unknown"', "missing", '"unknown"'),
        ("counts", 'tagged = "at planting"', "tagged", '"at planting"'),
        ("counts", "measured_means_alive = true", "measured_means_alive", "true"),
        ("counts", 'tags_alike = "join"', "tags_alike", '"join"'),
        ("tagged", 'count_rises = "mend"', "count_rises", '"mend"'),
    ],
)
def test_a_rule_for_the_other_kind_of_records(
    demo: Path, tmp_path: Path, cohort: str, line: str, key: str, value: str
) -> None:
    folder = altered(demo, tmp_path, ("\n[rules]\n", f"\n[rules]\n{line}\n"), cohort=cohort)
    study = load(folder)
    problem = found(study, "rule-without-use")
    assert (problem["severity"], problem["column"], problem["value"]) == ("note", f"[rules] {key}", value)
    plain = load(demo / cohort)
    assert "rule-without-use" not in set(plain.problems["code"])
    pd.testing.assert_frame_equal(study.intervals, plain.intervals)  # it does change nothing


def test_a_blank_that_means_dead_is_no_rule_for_counts(demo: Path, tmp_path: Path) -> None:
    folder = altered(demo, tmp_path, ('blank = "not visited"', 'blank = "dead"'))
    assert found(load(folder), "rule-without-use")["value"] == '"dead"'


def test_a_target_to_check_and_none_given_and_a_milestone_not_reached(demo: Path, tmp_path: Path) -> None:
    study = load(
        altered(
            demo,
            tmp_path,
            ('purpose = "compare preparations"', 'purpose = "check a target"'),
            ('[target]\nsurvival_per_100 = 65\nmilestone = "12 months"\n', ""),
            ("day = 365", "day = 3650"),
        )
    )
    assert "survival_per_100" in found(study, "target-absent")["mend"]
    assert found(study, "milestone-not-reached")["value"] == "3650"


def test_every_milestone_that_is_not_reached_is_named(demo: Path, tmp_path: Path) -> None:
    later = '[[milestones]]\nname = "ten years"\nday = 3650\n\n[target]'
    study = load(altered(demo, tmp_path, ("[target]", later)))
    assert found(study, "later-milestone")["value"] == "3650"
    assert "ten years" in found(study, "later-milestone")["what"]
    assert "milestone-not-reached" not in set(study.problems["code"])


COUNTED = "site,plot,method,planted_date,planted,date,alive\n"
STUDY = """
[study]
name = "small"
as_of = "2023-01-01"
[records]
kind = "counts"
[[records.sheets]]
file = "visits.csv"
"""


def small(folder: Path, methods: list[str], sites: list[str] | None = None) -> Study:
    rows = [
        f"{(sites or ['Rise'] * len(methods))[n]},{n},{method},2022-06-01,50,{date},40"
        for n, method in enumerate(methods)
        for date in ("2022-07-01", "2022-09-01")
    ]
    (folder / "visits.csv").write_text(COUNTED + "\n".join(rows) + "\n", encoding="utf-8")
    (folder / "study.toml").write_text(STUDY, encoding="utf-8")
    return load(folder)


def test_a_misspelt_method_is_asked_for_and_never_mended(tmp_path: Path) -> None:
    study = small(tmp_path, ["ripped"] * 4 + ["riped"] * 2 + ["auger"])
    problems = study.problems.set_index("code")
    said = problems.loc["method-spelling"]
    assert said["what"].startswith("riped (2 plots) looks like ripped (4 plots)")
    assert 'also = ["riped"]' in said["mend"]
    assert problems.loc["one-plot-method", "value"] == "auger"
    assert set(study.intervals["method"]) == {"ripped", "riped", "auger"}


def test_a_misspelt_site_is_asked_for(tmp_path: Path) -> None:
    study = small(tmp_path, ["rip"] * 5, ["Tarn Hollow"] * 4 + ["Tarn Holow"])
    said = study.problems.set_index("code").loc["site-spelling"]
    assert said["what"].startswith("Tarn Holow (1 plot) looks like Tarn Hollow (4 plots)")


def test_a_plot_with_two_preparations_is_set_aside_and_accounted_for(tmp_path: Path) -> None:
    small(tmp_path, ["rip"] * 3)
    file = tmp_path / "visits.csv"
    file.write_text(
        file.read_text().replace("1,rip,2022-06-01,50,2022-09-01", "1,dig,2022-06-01,50,2022-09-01")
    )
    study = load(tmp_path)
    problem = study.problems[study.problems["code"] == "plot-differs"].iloc[0]
    assert problem["severity"] == "stop"
    assert "different preparations, dig (row 5) and rip (row 4); none" in problem["what"]
    assert "rows 4 to 5" in problem["what"]
    assert list(study.accounts["fate"]) == ["used", "used", "excluded", "excluded", "used", "used"]
    assert "1" not in set(study.intervals["plot"])


TAGS = "site,plot,tag,method,planted_date,date,state\n"


def tagged(folder: Path, rows: str, study: str = "") -> Study:
    (folder / "visits.csv").write_text(TAGS + rows, encoding="utf-8")
    (folder / "study.toml").write_text(STUDY.replace("counts", "tagged") + study, encoding="utf-8")
    return load(folder)


def test_tags_of_one_plot_with_two_preparations(tmp_path: Path) -> None:
    rows = "".join(
        f"Rise,{plot},{tag},{method},2022-06-01,2022-06-0{day},A\n"
        for plot, tag, method in ((1, 1, "rip"), (1, 2, "dig"), (2, 1, "rip"))
        for day in (2, 9)
    )
    study = tagged(tmp_path, rows)
    assert (study.problems["code"] == "plot-differs").sum() == 1
    assert set(study.intervals["plot"]) == {"2"}
    of_plants = tagged(tmp_path, rows, '[rules]\npreparation_of = "plant"\n')
    assert set(of_plants.intervals["plot"]) == {"1", "2"}


def test_delayed_entry_is_asked_for_with_numbers_and_the_line(tmp_path: Path) -> None:
    rows = "".join(
        f"Rise,1,{tag},rip,2022-06-01,{date},A\n"
        for tag in (1, 2, 3)
        for date in ("2022-07-11", "2022-09-01")
    )
    problem = tagged(tmp_path, rows).problems.set_index("code").loc["tagged-not-told"]
    assert problem["severity"] == "check"
    assert problem["what"].startswith("3 of 3 plants, in 1 plot, were first seen 40 days after planting")
    assert 'tagged = "at planting"' in problem["mend"]
    told = tagged(tmp_path, rows, '[rules]\ntagged = "at first sighting"\n').problems.set_index("code")
    assert told.loc["delayed-entry", "severity"] == "note"
    assert "tagged-not-told" not in told.index


def test_a_wrong_date_order_is_one_problem_that_names_the_key(demo: Path, tmp_path: Path) -> None:
    old, new = (
        'file = "visits.csv"\ndate_order = "day-first"',
        'file = "visits.csv"\ndate_order = "month-first"',
    )
    said = CliRunner().invoke(app, ["check", str(altered(demo, tmp_path, (old, new), cohort="tagged"))])
    assert said.exit_code == 1
    assert said.output.count('date_order = "day-first"') == 1
    first = said.output.partition("Correct these first")[2].partition("Please look")[0]
    assert len(first.strip().splitlines()) == 3  # how many; what and where; what to do
    assert "No record can be used" in said.output


@pytest.mark.slow
def test_check_says_problems_before_columns_and_what_to_do_next(demo: Path) -> None:
    said = CliRunner().invoke(app, ["check", str(demo / "counts")])
    assert said.exit_code == 0
    order = [
        *("records read", "excluded until corrected", "Please look", "Worth knowing"),
        *("Columns as", "Next:"),
    ]
    places = [said.output.index(words) for words in order]
    assert places == sorted(places)
    assert not re.search(r"\b1 (problems|records|kinds)\b", said.output)
    few = said.output.count("\n")
    every = CliRunner().invoke(app, ["check", str(demo / "counts"), "--all"]).output
    assert every.count("row ") >= said.output.count("row ")
    assert few < 32  # a page of screen
