"""Sheets as their owner knows them, and what choosing another meaning changes in the study file."""

import re
import threading
import tomllib
from pathlib import Path

import pytest
from starlette.testclient import TestClient

from survivor.desk.guard import ENTRANCE
from survivor.desk.rooms import sheets
from survivor.proposing.proposal import propose
from survivor.settings import read_settings
from survivor.study import load
from tests.desk.opened import DATASETS, Opened, sent_by

LONG = b"""Site,Block,Plot,Peg,Kind,Seen on,How it was,Prep,Put in on
North,A,1,1,wattle,2023-10-01,ok,rip,2023-06-01
North,A,1,2,wattle,2023-10-01,perished,rip,2023-06-01
North,A,1,1,wattle,2024-04-01,ok,rip,2023-06-01
North,A,2,3,wattle,2023-10-01,ok,spray,2023-06-01
North,A,2,4,wattle,2023-10-01,ok,spray,2023-06-01
North,A,2,3,wattle,2024-04-01,perished,spray,2023-06-01
North,A,2,4,wattle,2024-04-01,ok,spray,2023-06-01
"""
STUDY = """# My own remark.
[study]
name = "North"
[records]
kind = "tagged"
[[records.sheets]]
file = "seen.csv"
[records.sheets.columns]
tag = "Peg"
date = "Seen on"
state = "How it was"   # the last word
planted_date = "Put in on"
"""


WIDE = """[study]
name = "W"
[records]
kind = "tagged"
shape = "wide"
[[records.sheets]]
file = "w.csv"
[[records.visits]]
name = "a"
state = "First"
[[records.visits]]
name = "b"
state = "Second"
"""


@pytest.fixture
def north(desk: Opened) -> Path:
    home = desk.folder / "north"
    home.mkdir()
    (home / "seen.csv").write_bytes(LONG)
    (home / "study.toml").write_text(STUDY)
    return home


def read(page: str) -> int:
    """How many records the page says are read, of seven."""
    return int(re.findall(r"of 7 records (\d) read", page)[0])


def choices(page: str, table: str = "records.sheets.0") -> dict[str, str]:
    """What a browser would send of the form of one sheet."""
    form = next(part for part in page.split("<form")[1:] if f'value="{table}"' in part)
    return sent_by("<form" + form.partition("</form>")[0])


def test_a_sheet_is_shown_with_its_own_headings_and_what_they_are_taken_for(north: Path, client: TestClient):
    page = client.get("/sheets/north").text
    for heading in ("Peg", "Seen on", "How it was", "Put in on", "Kind"):
        assert f'<th scope="col">{heading}</th>' in page
    sent = choices(page)
    assert [sent[f"column.{number}"] for number in range(9)] == [
        "site", "block", "plot", "tag", "", "date", "state", "method", "planted_date",
    ]  # fmt: skip
    assert (sent["word.0"], sent["state.0"]) == ("ok", "alive")
    assert (sent["word.1"], sent["state.1"]) == ("perished", "")
    assert "2 cells" in page


def test_a_column_of_its_own_that_is_a_part_of_another_too_is_told_as_both(north: Path, client: TestClient):
    study = north / "study.toml"
    study.write_text(STUDY.replace('tag = "Peg"', 'tag = "Peg"\nmethod = "Prep"\nplot = ["Block", "Prep"]'))
    page = client.get("/sheets/north").text
    sent = choices(page)
    assert (sent["column.1"], sent["column.7"]) == ("plot", "method")
    assert page.count("and part of: plot") == 1
    client.post("/sheets/north", data=sent | {"column.4": "species"})
    columns = tomllib.loads(study.read_text())["records"]["sheets"][0]["columns"]
    assert columns["plot"] == ["Block", "Prep"]
    assert columns["method"] == "Prep"


def test_what_is_chosen_comes_into_the_study_file_and_is_read_again(north: Path, client: TestClient):
    before = client.get("/sheets/north").text
    assert read(before) == 5  # two words are not known
    sent = choices(before) | {"column.4": "species", "state.1": "dead"}
    answer = client.post("/sheets/north", data=sent)
    assert answer.headers["location"] == "/sheets/north?said=kept"
    after = client.get("/sheets/north").text
    assert read(after) == 6
    text = (north / "study.toml").read_text()
    assert "# My own remark." in text
    assert "# the last word" in text
    sheet = tomllib.loads(text)["records"]["sheets"][0]
    assert sheet["columns"]["species"] == "Kind"
    assert sheet["states"] == {"perished": "dead"}


def test_choices_of_a_page_that_is_no_longer_true_are_refused(north: Path, client: TestClient):
    sent = choices(client.get("/sheets/north").text)
    assert client.post("/sheets/north", data=sent | {"column.4": "species"}).status_code == 303
    kept = (north / "study.toml").read_bytes()
    again = client.post("/sheets/north", data=sent | {"state.1": "dead"})
    assert again.status_code == 404
    assert "was changed since" in again.text
    assert (north / "study.toml").read_bytes() == kept


@pytest.mark.slow
def test_choices_that_nobody_changed_change_no_letter(desk: Opened, north: Path, client: TestClient):
    for name in ("north", "counts", "tagged"):
        file = desk.folder / name / "study.toml"
        before = file.read_bytes()
        page = client.get(f"/sheets/{name}").text
        tables = re.findall(r'name="table" value="([^"]+)"', page)
        assert tables
        for table in tables:
            own = page.split(f'value="{table}"')[1].partition("</form>")[0]
            down = re.findall(r'name="fill_down" value="(\w+)" checked', own)
            sent = {**choices(page, table), "fill_down": down}
            assert client.post(f"/sheets/{name}", data=sent).headers["location"].endswith("said=same"), table
        assert file.read_bytes() == before


def test_a_column_is_taken_out_of_those_that_are_joined(north: Path, client: TestClient):
    file = north / "study.toml"
    file.write_text(STUDY + 'plot = ["Block", "Plot"]\n')
    sent = choices(client.get("/sheets/north").text)
    assert sent["column.1"] == sent["column.2"] == "plot"
    assert client.post("/sheets/north", data=sent | {"column.1": "block"}).status_code == 303
    told = read_settings(file).records.sheets[0].columns
    assert told["plot"] == ("Plot",)
    assert told["block"] == "Block"


def test_a_sheet_that_is_not_understood_is_shown_with_the_reason(north: Path, client: TestClient):
    (north / "study.toml").write_text(STUDY.replace('tag = "Peg"\n', 'tag = "Stake"\n'))
    page = client.get("/sheets/north").text
    assert "Stake" in page
    assert "What to do" in page
    assert '<th scope="col">Peg</th>' in page
    sent = choices(page)
    assert client.post("/sheets/north", data=sent | {"column.3": "tag"}).status_code == 303
    assert read_settings(north).records.sheets[0].columns["tag"] == "Peg"
    assert read(client.get("/sheets/north").text) == 5


def test_what_no_list_offers_is_not_taken(north: Path, client: TestClient):
    before = (north / "study.toml").read_bytes()
    sent = choices(client.get("/sheets/north").text)
    for odd in (
        {"column.4": "evil"},
        {"table": "study"},
        {"table": ""},
        {"date_order": "x"},
        {"skip_rows": "-1"},
    ):
        assert client.post("/sheets/north", data=sent | odd).headers["location"].endswith("said=same")
    assert client.post("/sheets/north", data=sent | {"state.1": "flying"}).status_code == 409
    assert (north / "study.toml").read_bytes() == before


def test_days_of_visits_are_typed_into_their_place(desk: Opened, client: TestClient):
    home = desk.folder / "wide"
    home.mkdir()
    (home / "w.csv").write_text(
        "Site,Plot,Tag,Prep,Planted on,First,Second\nN,1,1,rip,2023-06-01,alive,dead\n"
    )
    (home / "study.toml").write_text(WIDE)
    page = client.get("/sheets/wide").text
    assert "no single day is given" in page
    days = {"day.0": "2023-10-01", "day.1": "2024-04-01"}
    assert client.post("/sheets/wide", data=choices(page, "records.visits") | days).status_code == 303
    assert "of 2 records 2 read" in client.get("/sheets/wide").text


def test_a_new_copy_is_read_and_the_earlier_one_is_kept(north: Path, client: TestClient):
    client.get("/sheets/north")
    more = LONG.replace(b"perished", b"dead")
    sent = [("files", ("seen.csv", more, "text/csv"))]
    assert client.post("/drop/season/north", files=sent).status_code == 303
    assert read(client.get("/sheets/north").text) == 6
    assert (north / ".earlier" / "seen.csv").read_bytes() == LONG
    page = client.get("/sheets/north").text
    assert "0 rows added, 0 gone, 2 cells changed" in page
    assert "row 3: “perished” is now “dead”" in page
    assert [path.name for path in north.iterdir() if path.name.startswith(".dropped")] == []


def test_a_sheet_changed_on_disk_is_read_again(north: Path, client: TestClient):
    assert read(client.get("/sheets/north").text) == 5
    (north / "seen.csv").write_bytes(LONG.replace(b"perished", b"dead"))
    assert read(client.get("/sheets/north").text) == 6


@pytest.mark.slow
def test_sheets_are_proposed_as_by_command(desk: Opened, client: TestClient):
    season = DATASETS / "seasons" / "season-2021"
    sent = [("files", (name, (season / name).read_bytes())) for name in ("plots.csv", "visits.csv")]
    assert client.post("/drop/season", data={"name": "new one"}, files=sent).status_code == 303
    home = desk.folder / "new one"
    written = (home / "study.toml").read_text()
    (home / "study.toml").unlink()
    assert propose(home) == written


def test_a_folder_of_sheets_that_are_not_understood_says_why(desk: Opened, client: TestClient):
    sent = [("files", ("list.csv", b"a,b\n1,2\n", "text/csv"))]
    assert client.post("/drop/season", data={"name": "odd"}, files=sent).status_code == 303
    page = client.get("/sheets/odd").text
    assert "seems to hold visits" in page
    assert str(desk.folder) not in page.replace("survivor demo", "")
    assert ">odd</a>" in client.get("/").text


NAMED = "<img src=x onerror=alert(1)>"
HOSTILE = '"><script>alert(1)</script><img src=x onerror=alert(1)>{{7*7}}'


def test_script_in_every_text_of_a_sheet_stays_text(desk: Opened, client: TestClient):
    cell = '"' + HOSTILE.replace('"', '""') + '"'
    rows = LONG.decode()
    for text in ("perished", "North", "wattle", "Kind"):
        rows = rows.replace(text, cell)
    sent = [("files", (f"{NAMED}.csv", rows.encode(), "text/csv"))]
    assert client.post("/drop/season", data={"name": NAMED}, files=sent).status_code == 303
    home = next(path for path in desk.folder.iterdir() if path.name not in ("counts", "tagged"))
    (home / "study.toml").write_text(STUDY.replace("seen.csv", next(home.glob("*.csv")).name))
    for room in ("sheets", "problems", "about", "report"):
        page = client.get(f"/{room}/{home.name}")
        assert page.status_code == 200
        assert "<script>alert" not in page.text
        assert "<img src=x" not in page.text
    cells = re.findall(r'href="(/cell/[^"]+)"', client.get(f"/problems/{home.name}").text)
    assert cells
    shown = client.get(cells[0].replace("&amp;", "&")).text
    assert "<script>alert" not in shown
    assert "<mark>" in shown
    assert ENTRANCE not in shown


def test_a_problem_leads_to_its_cell(north: Path, client: TestClient):
    page = client.get("/problems/north").text
    first = re.findall(r'href="(/cell/[^"]+)">row 3', page)
    assert first
    shown = client.get(first[0].replace("&amp;", "&")).text
    assert re.findall(r'<th scope="row">3</th>.*?<mark>perished</mark>', shown, re.DOTALL)


def test_what_may_follow_from_a_first_cause_is_named(north: Path, client: TestClient):
    records = load(north).records
    page = client.get("/problems/north").text
    follow = set(records.problems["code"]) - set(records.first_problems["code"])
    assert follow
    assert all(f"{code} (" in page for code in follow)


@pytest.mark.parametrize(
    "asked", ["", "?row=x", "?row=9999999999", "?row=1&file=nothing.csv", "?file=../x&row=1"]
)
def test_a_cell_that_is_not_there_is_said_so(north: Path, client: TestClient, asked: str):
    assert client.get(f"/cell/north{asked}").status_code == 404


@pytest.mark.parametrize("room", ["sheets", "problems"])
@pytest.mark.parametrize("broken", [False, True])
def test_a_page_hears_of_a_change_made_before_it_listens(
    desk: Opened, north: Path, client: TestClient, monkeypatch: pytest.MonkeyPatch, room: str, broken: bool
):
    monkeypatch.setattr(sheets, "_LOOK_AGAIN", 0.02)
    if broken:
        (north / "study.toml").write_text(STUDY.replace("seen.csv", "other.csv"))

    def heard(seconds: float) -> str:
        """Listen until there is news, or the desk closes."""
        watched = re.findall(r'data-watch="([^"]+)"', page)
        assert len(watched) == 1
        desk.desk.closing.clear()
        closes = threading.Timer(seconds, desk.desk.closing.set)
        closes.start()
        said = client.get(watched[0]).text
        closes.cancel()
        return said

    page = client.get(f"/{room}/north").text
    assert "changed" not in heard(0.1)
    (north / "seen.csv").write_bytes(LONG + LONG.splitlines(keepends=True)[-1])
    (north / "other.csv").write_bytes(LONG)
    assert "event: changed" in heard(20)
