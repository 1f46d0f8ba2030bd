"""Bad input, end to end: a plain message, or a report that says what cannot be answered."""

import re
from pathlib import Path

import pytest
from typer.testing import CliRunner

from survivor.cli import app
from survivor.errors import SurvivorError
from tests.once import analysed
from tests.writing import Seedling, states_until, study_file, write_season

VISITS = (60, 200, 365)
STUDY = study_file(allocation=None)


def dead_from(visit):
    """States of a seedling found dead at this visit (0 to 2) and ever after; 3: it lives."""
    return states_until(visit, len(VISITS))


def write_plots(folder: Path, plots, study=STUDY):
    """Write a season: ``plots`` maps (site, plot, method) to a list of state lists."""
    seedlings = (
        Seedling(site, plot, f"{plot}-{number:03d}", method, VISITS, states)
        for (site, plot, method), all_states in plots.items()
        for number, states in enumerate(all_states)
    )
    return write_season(folder, study, seedlings)


def season(deaths, sites=3, plots=2, methods=("usual", "other"), seedlings=10):
    """A season in which ``deaths(site, method)`` of the seedlings of each plot die at the second visit."""
    made = {}
    for site in range(sites):
        for method in methods:
            for plot in range(plots):
                dead = deaths(site, method) + (plot if deaths(site, method) else 0)
                states = [dead_from(1)] * dead + [dead_from(3)] * (seedlings - dead)
                made[f"site {site}", f"{method[0]}{plot}", method] = states
    return made


def answer(folder: Path):
    """Load and analyse; every finding and reason as one text."""
    analysis = analysed(folder)
    said = [finding.answer for finding in analysis.findings]
    return analysis, " ".join([*said, *analysis.cannot, *analysis.notes])


def run(*arguments):
    """Run the command line; a traceback fails the test."""
    result = CliRunner().invoke(app, [str(part) for part in arguments])
    if isinstance(result.exception, SurvivorError):
        return result.exception.exit_status, str(result.exception)
    if result.exception is not None and not isinstance(result.exception, SystemExit):
        raise result.exception
    return result.exit_code, result.output


# --- files ---------------------------------------------------------------------------------------


def test_a_missing_study():
    status, said = run("report", "no-such-folder")
    assert status == 2
    assert "no study file here" in said
    assert "What to do" in said


def test_a_missing_file(tmp_path):
    write_plots(tmp_path, season(lambda *_: 3))
    (tmp_path / "visits.csv").unlink()
    status, said = run("report", tmp_path)
    assert status == 1
    assert "visits.csv" in said


def test_an_empty_sheet(tmp_path):
    write_plots(tmp_path, season(lambda *_: 3))
    (tmp_path / "visits.csv").write_text("", encoding="utf-8")
    status, said = run("report", tmp_path)
    assert status == 1
    assert "visits.csv: there is nothing in it" in said


def test_an_empty_rain_file_leaves_the_records_as_they_are(tmp_path):
    gauge = '[[gauges]]\nname = "g"\nfile = "rain.csv"\n'
    folder = write_plots(tmp_path, season(lambda *_: 3), study_file(allocation=None, more=gauge))
    (folder / "rain.csv").write_text("", encoding="utf-8")
    status, said = run("check", folder)
    assert status == 1
    assert "gauge-unreadable: rain.csv, [g]: there is nothing in it" in said
    assert "Without rain.csv, the rest can be analysed: survivor report" in said
    sheet = folder / "visits.csv"
    sheet.write_text(sheet.read_text(encoding="utf-8").replace("alive", "alvie", 1), encoding="utf-8")
    said = run("check", folder)[1]
    assert "Without the records of that problem and rain.csv, the rest can be analysed" in said
    (folder / "rain.csv").write_text("date,rain\n2021-06-01,2\n", encoding="utf-8")
    assert "Without the records of that problem, the rest can be analysed" in run("check", folder)[1]


def test_a_binary_file_named_csv(tmp_path):
    write_plots(tmp_path, season(lambda *_: 3))
    (tmp_path / "visits.csv").write_bytes(bytes(range(256)) * 20)
    status, said = run("report", tmp_path)
    assert status == 1
    assert "visits.csv" in said


def test_an_unknown_key(tmp_path):
    write_plots(tmp_path, season(lambda *_: 3), STUDY.replace('as_of = "2024-12-31"', "sede = 4"))
    status, said = run("check", tmp_path)
    assert status == 2
    assert "line 6: [study] sede = 4 is not a key" in said


def test_a_column_that_cannot_be_matched(tmp_path):
    write_plots(tmp_path, season(lambda *_: 3))
    file = tmp_path / "visits.csv"
    file.write_text(file.read_text(encoding="utf-8").replace("state", "qqq", 1), encoding="utf-8")
    status, said = run("report", tmp_path)
    assert status == 1
    assert "qqq" in said
    assert "[records.sheets" in said


# --- seasons that cannot answer ----------------------------------------------------------------------


def test_one_method_only(tmp_path):
    write_plots(tmp_path, season(lambda *_: 3, methods=("usual",)))
    analysis, said = answer(tmp_path)
    assert analysis.comparing.against is None
    assert "every plot had the same one" in said
    assert analysis.survival.curves is not None


@pytest.mark.slow
def test_one_plot_per_method(tmp_path):
    write_plots(tmp_path, season(lambda site, method: 6 if method == "usual" else 2, sites=1, plots=1))
    analysis, said = answer(tmp_path)
    graded = [finding for finding in analysis.findings if "other" in finding.methods]
    assert all(finding.grade == "not answered" for finding in graded)
    assert "cannot be" in said


def test_method_and_site_one_and_the_same(tmp_path):
    plots = season(lambda site, method: 6 if method == "usual" else 2, sites=1, plots=4)
    moved = {(f"{site} {method}", plot, method): rows for (site, plot, method), rows in plots.items()}
    write_plots(tmp_path, moved)
    analysis, said = answer(tmp_path)
    assert (
        analysis.comparing.against is None or (analysis.comparing.against.table["basis"] == "refused").all()
    )
    assert "site" in said
    compared = [finding for finding in analysis.findings if finding.methods]
    assert all(finding.grade == "not answered" for finding in compared)


def test_no_deaths_at_all(tmp_path):
    write_plots(tmp_path, season(lambda *_: 0))
    analysis, said = answer(tmp_path)
    assert "nobody died" in said
    curve = analysis.survival.curves.read(365)
    assert (curve["survival"] == 1).all()
    assert (curve["lower"] < 1).all()  # 100 % is never printed without limits


@pytest.mark.slow
def test_a_site_without_deaths_is_named_and_stays_in_the_average(tmp_path):
    plots = season(lambda site, method: 0 if site == 0 else (5 if method == "usual" else 2), sites=4)
    write_plots(tmp_path, plots)
    analysis, said = answer(tmp_path)
    assert "Nobody died at site 0" in said
    table = analysis.survival.by_method.table.set_index("method")
    # Four sites of 20 a method: 0, 11, 11 and 11 of the usual practice died.
    assert table.loc["usual", "estimate"] == pytest.approx(100 * (1 - 33 / 80), abs=0.5)


def test_everyone_dead_by_the_first_visit(tmp_path):
    made = season(lambda *_: 3)
    write_plots(tmp_path, {key: [dead_from(0)] * 10 for key in made})
    analysis, said = answer(tmp_path)
    assert "died by the first visit" in said
    assert (analysis.survival.curves.read(365)["survival"] == 0).all()
    assert (analysis.survival.curves.read(365)["upper"] > 0).all()


def test_all_tags_missing(tmp_path):
    made = season(lambda *_: 3)
    write_plots(tmp_path, {key: [["not found"] * 3] * 10 for key in made})
    status, said = run("report", tmp_path)
    assert status == 1
    assert "no record can be used" in said
    assert "What to do" in said


@pytest.mark.parametrize(("dead", "who", "alive"), [(0, "Everybody", 100.0), (10, "Nobody", 0.0)])
def test_a_method_that_lost_all_or_none_is_told_by_its_counts(tmp_path, dead, who, alive):
    plots = season(lambda *_: 4)
    for key in plots:
        if key[2] == "other":
            plots[key] = [dead_from(1)] * dead + [dead_from(3)] * (10 - dead)
    write_plots(tmp_path, plots)
    analysis, said = answer(tmp_path)
    assert f"{who} was alive at day 365 with other: it is told by the seedlings counted" in said
    told = analysis.survival.by_method.table.set_index("method").loc["other"]
    assert told["estimate"] == alive
    assert told["lower"] < told["upper"]
    compared = [finding for finding in analysis.findings if finding.methods]
    assert compared
    for finding in compared:
        assert finding.grade == "weak"
        assert -100 < finding.lower < finding.estimate < finding.upper < 100
        # The other preparation lost four or five of ten in each plot: 55 of 100 lived.
        assert abs(finding.estimate) == pytest.approx(abs(alive - 55), abs=0.1)


@pytest.mark.slow
@pytest.mark.usefixtures("read_once")
@pytest.mark.parametrize(
    "plots",
    [
        season(lambda *_: 0),
        season(lambda *_: 3, methods=("usual",)),
        season(lambda site, method: 6 if method == "usual" else 2, sites=1, plots=1),
        {key: [dead_from(0)] * 10 for key in season(lambda *_: 3)},
    ],
    ids=["no deaths", "one method", "one plot a method", "all dead at once"],
)
def test_a_report_is_written_that_says_so(tmp_path, plots):
    write_plots(tmp_path / "study", plots)
    status, _ = run("report", tmp_path / "study", "--out", tmp_path / "out")
    assert status == 0
    page = (tmp_path / "out" / "report.html").read_text(encoding="utf-8")
    assert "No comparison" in page
    assert not re.search(r"\b(nan|None|inf)\b", page)
