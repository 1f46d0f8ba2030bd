"""A register read in parts gives what the same records give when they are read at once."""

import csv
import sys

import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq
import pytest

import survivor
from survivor.analysis.described import three_measures
from survivor.analysis.models import first_plants
from survivor.errors import RecordsError
from survivor.files import datasets, kinds
from survivor.records import book, reading, registers
from survivor.records.accounts import number_by, records_read
from survivor.records.registers import read_register
from survivor.settings import read_settings
from tests.once import analysed
from tests.records.registering import RULES, SITES, TAGGED, a_study, by_cause, summed, tidy


@pytest.fixture(scope="module")
def rows() -> list[list[str]]:
    """Visits of two sites, untidy: a plot's rows lie far apart, a tag stands twice, a row is broken."""
    with (TAGGED / "visits.csv").open(newline="") as sheet:
        head, *every = csv.reader(sheet)
    kept = [row for row in every if row[0] in SITES]
    again = [*kept[3][:9], "D", *kept[3][10:]]  # the same tag and visit, and another state
    unknown = [*kept[10][:9], "perhaps", *kept[10][10:]]
    strange = ["Vossel Flat", "B1", "P99", *kept[-1][3:]]  # a plot that the plot sheet has not
    return [head, *kept, again, kept[7], unknown, strange, kept[20][:9], []]  # one ends early, one is empty


@pytest.fixture(autouse=True)
def small_parts(monkeypatch):
    monkeypatch.setattr(registers, "_A_PART", 900)
    monkeypatch.setattr(datasets, "_BLOCK", 40_000)


@pytest.fixture(scope="module")
def at_once(rows, tmp_path_factory):
    study = a_study(tmp_path_factory.mktemp("once") / "study", rows, "visits.csv")
    return study, book.read_sheets(study, read_settings(study), book.look_away)


def test_the_same_accounts_problems_and_intervals(at_once):
    study, whole = at_once
    parts = read_register(study, read_settings(study))
    pd.testing.assert_frame_equal(tidy(parts.accounts), tidy(whole.accounts))
    assert {"duplicate-record", "repeated-record", "unknown-state", "unknown-plot"} <= set(
        whole.accounts["code"]
    )
    assert parts._kept is not None
    assert parts._kept.problems.to_dict() == whole.problems["code"].value_counts().to_dict()
    by = list(whole.problems.columns)
    pd.testing.assert_frame_equal(
        parts.problems.sort_values(by, ignore_index=True), whole.problems.sort_values(by, ignore_index=True)
    )
    for missing, unknown in RULES:
        pd.testing.assert_frame_equal(
            summed(parts.under(missing=missing, unknown=unknown)),
            summed(whole.under(missing=missing, unknown=unknown)),
        )
    assert len(parts.intervals) < 0.9 * len(whole.intervals)
    pd.testing.assert_frame_equal(parts.plots, whole.plots)
    pd.testing.assert_frame_equal(parts.plants, whole.plants)
    pd.testing.assert_frame_equal(parts.rules, whole.rules)
    assert parts.sizes() == whole.sizes()
    pd.testing.assert_series_equal(by_cause(parts), by_cause(whole))
    assert by_cause(whole).index.get_level_values("cause").nunique() > 2
    assert parts.visits["plants"].sum() >= len(whole.visits) - 2


def test_as_many_records_as_the_file_has_rows(at_once, rows):
    study, _ = at_once
    accounts = read_register(study, read_settings(study)).accounts
    number = number_by(accounts, "record")
    assert number["visit row"] == sum(bool(row) for row in rows) - 1
    others = len((study / "plots.csv").read_text().splitlines()) - 1
    others += len((study / "diary.csv").read_text().splitlines()) - 1
    assert records_read(accounts) == number["visit row"] + others


@pytest.mark.slow
def test_parquet_in_several_files_with_columns_of_its_own_kinds(at_once, rows, tmp_path):
    study = a_study(tmp_path / "study", rows, "records/*.parquet")
    (study / "records").mkdir()
    table = pd.DataFrame([[*row, *[""] * 15][:15] for row in rows[1:-1]], columns=rows[0])
    table["Visit"] = pd.to_numeric(table["Visit"])
    table["Height (cm)"] = pd.to_numeric(table["Height (cm)"])
    table["Date"] = pd.to_datetime(table["Date"], format="%d/%m/%Y", errors="coerce")
    table["Species"] = table["Species"].astype("category")
    kept = table[table["Date"].notna()]
    for number in range(3):  # every plot lies in all of the files
        pq.write_table(
            pa.Table.from_pandas(kept.iloc[number::3], preserve_index=False),
            study / f"records/{number}.parquet",
        )
    sheets = a_study(tmp_path / "sheets", [rows[0]], "visits.csv")
    text = kept.assign(
        Date=kept["Date"].dt.strftime("%Y-%m-%d"),
        **{"Height (cm)": kept["Height (cm)"].map(lambda height: "" if pd.isna(height) else f"{height:g}")},
    )
    text.to_csv(sheets / "visits.csv", index=False)
    whole = book.read_sheets(sheets, read_settings(sheets), book.look_away)
    parts = read_register(study, read_settings(study))
    assert records_read(survivor.load(study).accounts) > records_read(parts.accounts)  # with those of gauges
    assert number_by(parts.accounts, "code").to_dict() == number_by(whole.accounts, "code").to_dict()
    pd.testing.assert_frame_equal(summed(parts.intervals), summed(whole.intervals))
    assert parts.problems["file"].str.startswith("records/").any()


def test_more_problems_than_are_listed_are_counted(at_once, monkeypatch):
    study, whole = at_once
    monkeypatch.setattr(registers, "EXAMPLES", 3)
    parts = read_register(study, read_settings(study))
    number = whole.problems["code"].value_counts()
    assert parts._kept is not None
    assert parts._kept.problems.to_dict() == number.to_dict()
    many = number.index[number > 3][0]
    own = parts.problems[parts.problems["code"] == many]
    assert len(own) == 4
    assert own["what"].iloc[-1].endswith(f"of this kind, {number[many]:,} in all")


@pytest.mark.parametrize(
    ("file", "key", "said"),
    [
        ("records/*.parquet", "", "no file has such a name"),
        ("visits.parquet", "", "there is no such file"),
        ("*.csv", "", "its columns are not those of"),
        ("plot*.csv", "skip_rows = 1", "skip_rows needs the whole sheet"),
    ],
)
def test_what_cannot_be_read_in_parts_is_refused(rows, tmp_path, file, key, said):
    study = a_study(tmp_path / "study", rows[:5], file)
    text = (study / "study.toml").read_text().replace(f'"{file}"', f'"{file}"\n{key}')
    (study / "study.toml").write_text(text)
    with pytest.raises(RecordsError, match=said):
        survivor.load(study)


def test_without_arrow_it_says_what_to_install(rows, tmp_path, monkeypatch):
    study = a_study(tmp_path / "study", rows[:5], "records/*.csv")
    (study / "records").mkdir()
    monkeypatch.setitem(sys.modules, "pyarrow", None)
    with pytest.raises(RecordsError, match="pyarrow") as told:
        survivor.load(study)
    assert "survivor-establishment[programme]" in told.value.mend


def test_a_large_text_file_is_read_in_parts_where_it_can_be(at_once, monkeypatch):
    study, _ = at_once
    settings = read_settings(study)
    monkeypatch.setattr(kinds, "LARGE", 1_000)
    read = []
    monkeypatch.setattr(reading, "read_register", lambda *_: read.append("in parts"))
    monkeypatch.setattr(reading.book, "read_sheets", lambda *_: read.append("at once"))
    sheet = settings.records.sheets[0].model_copy(update={"fill_down": ("plot",)})
    filled = settings.model_copy(update={"records": settings.records.model_copy(update={"sheets": (sheet,)})})
    for given in (settings, filled):
        reading.read_records(study, given)
    assert read == ["in parts", "at once"]


def test_without_heights_visits_are_summed_and_say_the_same(rows, tmp_path):
    place = rows[0].index("Height (cm)")
    plain = [
        [*row[:place], "", *row[place + 1 :]] if n and len(row) > place else row for n, row in enumerate(rows)
    ]
    study = a_study(tmp_path / "study", plain, "visits.csv")
    whole = book.read_sheets(study, read_settings(study), book.look_away)
    parts = read_register(study, read_settings(study))
    assert (parts.visits["tag"] == "").mean() > 0.9
    assert len(parts.visits) < 0.5 * len(whole.visits)
    pd.testing.assert_frame_equal(parts.plants, whole.plants)
    assert parts.sites_with_lost_plants == whole.sites_with_lost_plants
    pd.testing.assert_series_equal(by_cause(parts), by_cause(whole))
    for milestone in read_settings(study).milestones:
        at = (milestone.day, milestone.window_days)
        ours, theirs = (
            three_measures(own.visits, own.plots, first_plants(own.intervals), *at) for own in (parts, whole)
        )
        pd.testing.assert_frame_equal(ours, theirs)


@pytest.mark.parametrize(("sign", "fewer"), [("", True), (" no", False)])
def test_parts_are_larger_where_one_seedling_may_stand_for_others(rows, tmp_path, monkeypatch, sign, fewer):
    monkeypatch.setattr(registers, "_A_PART", 200)
    monkeypatch.setattr(registers, "MEASURED", ())  # no seedling is left apart for its height
    tag = rows[0].index("Tag")
    told = [[*row[:tag], row[tag] + sign * bool(n), *row[tag + 1 :]] for n, row in enumerate(rows) if row]
    study = a_study(tmp_path / "study", told, "visits.csv")
    (home := tmp_path / "parts").mkdir()
    parts = registers.open_register(study, read_settings(study), home).parts
    assert parts == (registers._FEWEST_PARTS if fewer else registers.parts_about(study, read_settings(study)))
    assert registers.parts_about(study, read_settings(study)) > registers._FEWEST_PARTS


@pytest.mark.slow
def test_the_same_findings(tmp_path):
    study = tmp_path / "study"
    study.mkdir()
    for path in TAGGED.iterdir():
        (study / path.name).write_bytes(path.read_bytes())
    pd.read_csv(study / "visits.csv", dtype=str, keep_default_na=False).to_parquet(study / "visits.parquet")
    text = (study / "study.toml").read_text().replace('"visits.csv"', '"visits.parquet"')
    (study / "study.toml").write_text(text)
    whole, parts = ([*analysed(folder).findings] for folder in (TAGGED, study))
    assert [finding.question for finding in parts] == [finding.question for finding in whole]
    assert [finding.grade for finding in parts] == [finding.grade for finding in whole]
    for name in ("estimate", "lower", "upper"):
        told, ours = (
            [float("nan") if getattr(f, name) is None else getattr(f, name) for f in some]
            for some in (whole, parts)
        )
        assert ours == pytest.approx(told, rel=1e-9, nan_ok=True)
