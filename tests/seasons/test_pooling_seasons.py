"""Several seasons pooled: units are each season's own model, and pooling is survivor.pool."""

from __future__ import annotations

import shutil
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from typer.testing import CliRunner

import survivor
from survivor.cli import app
from survivor.demo.seasons import seasons_files
from survivor.document.elements import Table
from survivor.document.page import page_of
from survivor.errors import PoolingError
from survivor.pooling.limits import Pooling
from survivor.pooling.result import TELLS_NOTHING, within_scale
from survivor.seasons import join_seasons, pool_seasons, take_in
from survivor.seasons.page import page_of_seasons
from survivor.seasons.units import LOG_HAZARD, RAIN_DECILE, unit_estimates, unit_traits
from survivor.seasons.wording import sentences, told_in_words, write_together
from survivor.sentences import plain_text
from survivor.vocabulary import PER_100
from survivor.words import chance, difference
from tests.document.browsing import in_a_browser, words_to_read
from tests.document.reading import read
from tests.report.reading import faults, texts_of
from tests.writing import write_files

pytestmark = pytest.mark.slow  # three seasons are read and analysed

YEARS = (2021, 2022, 2023)


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return write_files(tmp_path_factory.mktemp("seasons"), seasons_files())


@pytest.fixture(scope="module")
def seasons(folder):
    return take_in([survivor.load(folder / f"season-{year}") for year in YEARS])


@pytest.fixture(scope="module")
def together(seasons):
    return pool_seasons(seasons)


def test_a_unit_is_the_season_s_own_model(seasons, together):
    season = seasons[1]
    fitted = survivor.fit(season.intervals, "method + species", strata=["site", "block"])
    terms = fitted.table.set_index("term")
    differences = survivor.contrasts(fitted, at=365).table.set_index("method")
    units = together.units[together.units["season"] == "season-2022"]
    for row in units.to_dict("records"):
        if row["scale"] == LOG_HAZARD:
            wanted = terms.loc[f"method[T.{row['method']}]", ["estimate", "std_error"]]
        else:
            wanted = differences.loc[row["method"], ["estimate", "std_error"]]
        assert [row["estimate"], row["std_error"]] == pytest.approx(wanted.tolist())


def test_pooling_is_that_of_the_estimates(together):
    for (method, against, scale), found in together.pooled.items():
        rows = together.units[(together.units["method"] == method) & (together.units["scale"] == scale)]
        alone = survivor.pool(rows["estimate"], rows["std_error"], limits="cr2")
        assert found.table["lower"].iloc[0] == alone.table["lower"].iloc[0]
        assert against == "spot spray only"
        assert found.scale == scale
    assert set(together.table["scale"]) == {LOG_HAZARD, PER_100}


def test_the_joint_model_is_a_fit_of_all_records_with_strata_of_seasons(seasons, together):
    joined = join_seasons(seasons)
    assert len(joined) == sum(len(season.intervals) for season in seasons)
    # A plot's label used in two seasons is two plots.
    assert joined[["site", "block", "plot"]].drop_duplicates().shape[0] == 240
    fitted = survivor.fit(joined, "method + species", strata=["season", "site", "block"])
    told = together.joint[together.joint["scale"] == LOG_HAZARD].set_index("method")["estimate"]
    terms = fitted.table.set_index("term")["estimate"]
    for method, estimate in told.items():
        assert estimate == pytest.approx(terms[f"method[T.{method}]"])


def test_one_common_ratio_lies_among_those_of_the_seasons(together):
    for method, rows in together.units[together.units["scale"] == LOG_HAZARD].groupby("method"):
        told = together.joint[(together.joint["scale"] == LOG_HAZARD) & (together.joint["method"] == method)]
        assert rows["estimate"].min() - 0.05 <= told["estimate"].iloc[0] <= rows["estimate"].max() + 0.05


def test_sites_as_units_on_the_ground_that_they_lie_on(seasons):
    found = pool_seasons(seasons, unit="site", trait="slope")
    assert found.table["n_units"].max() == 24
    trend = found.trends["spray and auger", "spot spray only", LOG_HAZARD]
    # Auger holes pay on flat clay and not on the slopes: truth of the demo, log hazard ratio -1 against 0.
    assert (trend.table["estimate"].iloc[1:] > 0).all()
    assert trend.tests["p_value"].iloc[0] < 0.05
    assert any("share its weather" in line for line in found.checks)


def test_the_dry_season_s_rain_is_the_trait_of_a_season(seasons, together):
    units = together.units.drop_duplicates("season")
    deciles = dict(zip(units["season"], unit_traits(seasons, units, RAIN_DECILE), strict=True))
    assert deciles["season-2021"] >= 8 > deciles["season-2023"] > 2 >= deciles["season-2022"]


def test_a_comparison_of_one_season_alone_is_not_pooled_and_says_why(seasons):
    kept = [season for season in seasons if season.name != "season-2023"]
    dropped = kept[1].intervals
    fewer = dropped[dropped["method"].astype(str) != "hand scalp"].copy()
    fewer["method"] = fewer["method"].cat.remove_unused_categories()
    from dataclasses import replace

    found = pool_seasons([kept[0], replace(kept[1], intervals=fewer)])
    row = found.table[found.table["method"] == "hand scalp"].iloc[0]
    assert np.isnan(row["estimate"])
    assert "one unit alone" in row["reason"]
    with pytest.raises(PoolingError, match="one unit alone"):
        found.of("hand scalp")


def test_what_does_not_go_together_is_refused(folder, tmp_path, seasons):
    with pytest.raises(PoolingError, match="one season cannot be pooled"):
        pool_seasons(seasons[:1])
    with pytest.raises(PoolingError, match="no milestone '24 months'"):
        pool_seasons(seasons, milestone="24 months")
    copied = tmp_path / "again"
    shutil.copytree(folder / "season-2021", copied / "season-2021")
    shutil.copy(folder / "rain.csv", copied / "rain.csv")
    again = survivor.load(copied / "season-2021")
    with pytest.raises(PoolingError, match="counted twice"):
        take_in([seasons[0].study, again], ["one", "other"])
    text = (copied / "season-2021" / "study.toml").read_text(encoding="utf-8")
    other = text.replace('usual_practice = "spot spray only"', 'usual_practice = "hand scalp"')
    (copied / "season-2021" / "study.toml").write_text(other, encoding="utf-8")
    with pytest.raises(PoolingError, match="different practices"):
        take_in([survivor.load(copied / "season-2021"), seasons[1].study], ["one", "other"])
    with pytest.raises(PoolingError, match="soil is not recorded"):
        unit_traits(seasons, unit_estimates(seasons[:1], 365), "soil")


@in_a_browser[1]
def test_letters_of_charts_are_as_large_as_words_and_lie_on_no_others(browser, together, tmp_path):
    assert words_to_read(browser, write_together(together, tmp_path / "out")[0]) > 20


def test_the_command_writes_tables_and_pictures_and_says_it_in_sentences(folder, tmp_path):
    studies = [str(folder / f"season-{year}") for year in YEARS]
    run = CliRunner().invoke(app, ["pool", *studies, "--out", str(tmp_path / "out")])
    assert run.exit_code == 0, run.output
    assert "“spray and auger” against “spot spray only” at 12 months: +" in run.output
    assert "A new season may show" in run.output
    assert "How far only 3 seasons differ rests on 2 degrees of freedom" in run.output
    names = {path.name for path in (tmp_path / "out").iterdir()}
    assert {"pooled.csv", "units.csv", "joint.csv", "left-out.csv", "other-limits.csv", "pooled.txt"} <= names
    table = pd.read_csv(tmp_path / "out" / "pooled.csv")
    assert len(table) == 8
    # The page has the pooled answer and, beside it, that of one model of all records.
    page = read((tmp_path / "out" / "pooled.html").read_text(encoding="utf-8"))
    assert "Page: " in run.output
    shown = next(each for each in page.all("table") if each.attributes["id"] == "together-table").text()
    joint = pd.read_csv(tmp_path / "out" / "joint.csv")
    for each in (table, joint):
        for row in each[each["scale"] == "per 100 planted"].to_dict("records"):
            assert difference(row["estimate"], row["lower"], row["upper"])[0] in shown
    assert "In a new season like these" in shown
    assert len(page.all("figure")) == 4
    picture = (tmp_path / "out" / "spray-and-auger-per-100.svg").read_text(encoding="utf-8")
    assert "<script" not in picture
    assert "<desc" in picture
    assert "a new season" in picture


def test_results_show_themselves(together):
    assert "<table" in together._repr_html_()
    assert "log hazard ratio" in repr(together)
    texts = " ".join(text.get_text() for text in together.plot(method="spray and auger").texts)
    assert "a new season" in texts


def test_what_is_no_study_folder_is_named_with_the_mend(folder):
    named = [str(path) for path in sorted(folder.iterdir())]  # what a star in the shell gives
    run = CliRunner().invoke(app, ["pool", *named])
    said = str(run.exception)
    assert run.exit_code != 0
    assert "not a study folder" in said
    assert "guideline.toml" in said
    assert "name only the season folders" in said
    assert all(f"season-{year}" in said for year in YEARS)


def test_the_trait_asked_for_is_answered_in_words(seasons):
    found = pool_seasons(seasons, unit="site", trait="slope")
    said = told_in_words(found)
    auger = next(
        line for line in said if line.startswith("“spray and auger” against “spot spray only”, by slope:")
    )
    # Truth of the demo: auger holes pay on flat clay and not on the slopes.
    assert ": the answer goes with it (" in auger
    assert "rather than flat" in auger
    assert "24 sites" in auger
    # No p is nought, and of four preparations one may go with a trait by chance.
    assert "p < 0.001" in auger
    assert "p = 0.000" not in " ".join(said)
    assert "4 comparisons are looked at, and no p here allows for it: some go with a trait by chance." in said
    assert not any("--trait" in line for line in said)


def test_the_kind_of_limits_and_that_they_are_not_adjusted_is_said(together, seasons):
    said = " ".join(together.checks)
    assert (
        "Limits go by each season's own distance to the mean (CR2, Satterthwaite degrees of freedom)." in said
    )
    assert "They are not adjusted for 4 comparisons" in said
    kinds = set(together.pooled["spray and rip", "spot spray only", PER_100].other_limits["limits"])
    assert {"hartung-knapp, factor as is", "hartung-knapp, factor at least 1"} < kinds
    other = pool_seasons(seasons[:2], pooling=Pooling(limits="hartung-knapp"))
    assert any(line.startswith("Limits are those of Hartung and Knapp") for line in other.checks)


def test_seasons_that_differ_say_so_beside_the_answer(together):
    high = together.table[(together.table["scale"] == PER_100) & (together.table["i2"] > 50)]
    assert set(together.differing) == set(high["method"])
    for line in told_in_words(together)[:4]:
        named = line.removeprefix("“").partition("”")[0]
        assert ("The seasons differ by more than chance." in line) == (named in together.differing)


def test_the_first_screen_reads_each_difference_as_a_report_does(together):
    page = page_of_seasons(together, sentences(together))
    said = [plain_text(line) for line in page.answer.blocks[0].items]
    rows = together.table[together.table["scale"] == PER_100].to_dict("records")
    for line, row in zip(said, rows, strict=True):
        # By hand: by Holm's p; of the estimates here none lies within 5 per 100 with its interval.
        assert row["upper"] - row["lower"] > 10
        clear = row["p_adjusted"] < 0.05
        assert ("This is a clear" in line) == clear
        assert ("not enough evidence to say which way it goes." in line) == (not clear)
        # Where its own interval leaves out 0, the number of comparisons leaves it open: that is said.
        open_by_number = not clear and row["lower"] * row["upper"] > 0
        assert ("Allowing for 4 comparisons" in line) == open_by_number
    # An interval may pass no difference where the p of all comparisons is not under 0.05.
    alone = next(row for row in rows if row["method"] == "hand scalp")
    assert alone["upper"] < 0
    assert alone["p_adjusted"] > 0.05
    text = read(page_of(page)).text()
    assert "--" not in text
    assert " units" not in text
    shown = next(block for block in page.sections[0].blocks if isinstance(block, Table))
    place = [column.heading for column in shown.columns].index("p, adjusted (Holm)")
    assert [row[place] for row in shown.rows] == [chance(row["p_adjusted"]) for row in rows]


def test_limits_wider_than_the_scale_are_cut_and_said(seasons):
    # Two seasons leave one degree of freedom: t limits reach past all and none of 100.
    found = pool_seasons(seasons[:2])
    auger = found.table[
        (found.table["method"] == "spray and auger") & (found.table["scale"] == PER_100)
    ].iloc[0]
    whole = found.of("spray and auger").new_unit.iloc[0]
    assert whole["lower"] < -100
    assert (auger["new_lower"], auger["new_upper"]) == (-100.0, 100.0)
    assert "limits of a new unit wider than the whole scale: tells nothing" in auger["cut"]
    line = next(one for one in told_in_words(found) if one.startswith("“spray and auger”"))
    assert "A new season may show anything: too few seasons to say." in line
    # In words no further than survival can go, from that of the usual practice in a model of each season.
    own = [survivor.fit(one.intervals, "method + species", strata=["site", "block"]) for one in seasons[:2]]
    usual = [
        survivor.survival(one, at=365).table.set_index("method").loc["spot spray only", "estimate"]
        for one in own
    ]
    per_100 = found.units[found.units["scale"] == PER_100]
    assert list(per_100.groupby("season", sort=False)["alive_against"].first()) == pytest.approx(usual)
    rip = next(one for one in told_in_words(found) if one.startswith("“spray and rip”"))
    assert f"to +{100 - min(usual):.0f} (all alive)." in rip
    numbers = found.table[found.table["scale"] == PER_100][["lower", "upper", "new_lower", "new_upper"]]
    assert numbers.abs().to_numpy().max() <= 100
    logs = found.table[found.table["scale"] == LOG_HAZARD]
    assert (logs["cut"] == "").all()


def test_cutting_leaves_other_scales_and_says_which_side():
    table = pd.DataFrame(
        {
            "scale": [PER_100, PER_100, PER_100, LOG_HAZARD],
            "lower": [-120.0, -20.0, -130.0, -120.0],
            "upper": [133.0, 110.0, 5.0, 133.0],
        }
    )
    cut = within_scale(table, "scale")
    assert cut["lower"].tolist() == [-100, -20, -100, -120]
    assert cut["upper"].tolist() == [100, 100, 5, 133]
    assert cut["cut"].tolist() == [f"limits {TELLS_NOTHING}", "limits cut at +100", "limits cut at −100", ""]


def test_places_that_a_study_hides_are_in_nothing_pooled_and_change_no_answer(folder, tmp_path, seasons):
    shutil.copytree(folder, tmp_path / "all")
    file = tmp_path / "all" / "season-2021" / "study.toml"
    file.write_text(file.read_text(encoding="utf-8") + "\n[privacy]\nshow_places = false\n", encoding="utf-8")
    hidden = take_in([survivor.load(file.parent), *(season.study for season in seasons[1:])])
    names = {str(site) for season in seasons for site in season.intervals["site"].unique()}
    found = pool_seasons(hidden, unit="site")
    said = found.units.to_csv() + found.table.to_csv() + " ".join(told_in_words(found))
    assert "Site " in said
    assert not [name for name in names if name in said]
    # One number for one site in all seasons.
    assert len({s for season in hidden for s in season.intervals["site"].unique()}) == len(names)
    plain = pool_seasons(seasons, unit="site").table.set_index(["method", "scale"])["estimate"]
    again = found.table.set_index(["method", "scale"])["estimate"]
    assert again.to_dict() == pytest.approx(plain.to_dict())
    assert {key for key in hidden[0].study.provenance if "sha256" in key}


def test_a_site_of_two_seasons_stands_season_beside_season(folder, tmp_path, seasons):
    """The counts by hand: of the seedlings of a preparation at the site, those known to be alive."""
    shutil.copytree(folder, tmp_path / "all")
    visits = tmp_path / "all" / "season-2022" / "visits.csv"
    plots = visits.with_name("plots.csv")
    for file in (visits, plots):
        file.write_text(file.read_text(encoding="utf-8").replace("Gorsey Level", "Dunmere"), encoding="utf-8")
    # Tags of the two seasons are their own: the same site, other plants.
    several = take_in([seasons[0].study, survivor.load(visits.parent), seasons[2].study])
    found = pool_seasons(several)
    table = found.same_sites
    assert set(table["site"]) == {"Dunmere"}
    assert set(table["season"]) == {"season-2021", "season-2022"}
    assert any("Dunmere" in line for line in found.checks)
    for season in several[:2]:
        rows = season.intervals[season.intervals["site"] == "Dunmere"]
        told = table[table["season"] == season.name].set_index("method")["estimate"]
        for method, own in rows.groupby(rows["method"].astype(str)):
            planted = own.loc[own["start_day"] == 0, "at_risk"].sum()
            died = own.loc[own["stop_day"] <= found.at_day + 30, "died"].sum()
            assert told[method] == pytest.approx(100 * (1 - died / planted), abs=5)
    assert "At the same sites, season beside season" in [
        one.heading for one in page_of_seasons(found, ()).sections
    ]


def test_seasons_at_other_sites_have_no_such_table(together):
    assert together.same_sites.empty
    assert "same-sites" not in [one.key for one in page_of_seasons(together, ()).sections]


def test_a_picture_draws_a_season_with_the_interval_of_its_own_model(seasons, together):
    fitted = survivor.fit(seasons[1].intervals, "method + species", strata=["site", "block"])
    own = survivor.contrasts(fitted, at=365).table.set_index("method")
    for key in together.pooled:
        if key[2] == PER_100:
            units, _, _ = together.drawn(key)
            row = units.set_index("unit").loc["season-2022"]
            assert [row["lower"], row["upper"]] == pytest.approx(list(own.loc[key[0], ["lower", "upper"]]))


def test_the_page_names_the_files_that_it_rests_on(seasons, together):
    last = page_of_seasons(together, ()).sections[-1]
    assert (last.key, last.heading) == ("provenance", "Data and provenance")
    named = dict(last.blocks[0].pairs)
    for season in seasons:
        for name, digest in season.study.digests.items():
            assert named[f"{season.name}: sha256 of {name}"] == digest


def test_days_within_each_others_window_are_one_milestone(folder, tmp_path, seasons):
    shutil.copytree(folder, tmp_path / "all")
    file = tmp_path / "all" / "season-2022" / "study.toml"
    text = file.read_text(encoding="utf-8")
    assert "day = 365" in text
    file.write_text(text.replace("day = 365", "day = 372", 1), encoding="utf-8")
    near = take_in([seasons[0].study, survivor.load(file.parent), seasons[2].study])
    assert any("day 365 and day 372" in line for line in pool_seasons(near).checks)
    file.write_text(text.replace("day = 365", "day = 230", 1), encoding="utf-8")
    far = take_in([seasons[0].study, survivor.load(file.parent), seasons[2].study])
    with pytest.raises(PoolingError, match="different days"):
        pool_seasons(far)


def test_sentences_of_pooled_seasons_are_short(together):
    names = set(together.units["method"].astype(str)) | set(together.units["season"].astype(str))
    told = told_in_words(together)
    assert faults((("said", line) for line in told), names) == []
    assert faults(texts_of(page_of_seasons(together, told)), names) == []
