"""What of the folder can be reached: nothing outside it, by whatever way."""

import os
from pathlib import Path

import pytest
from starlette.testclient import TestClient

from survivor.desk.folder import Folder, safe_name
from survivor.errors import DeskError
from tests.desk.opened import Opened

SECRET = "nobody may read this"

ESCAPES = (
    "../secret", "counts/../../secret", "..%2fsecret", "%2e%2e/secret", "%2e%2e%2fsecret", "..\\secret",
    "counts%2f..%2f..%2fsecret", "/etc/passwd", "//etc/passwd", "%2fetc%2fpasswd", "%00", "counts%00.toml",
    ".git", "counts/.hidden", "....//secret", "..;/secret", "%c0%ae%c0%ae/secret", "~root", "C:\\Windows",
)  # fmt: skip


@pytest.fixture
def outside(desk: Opened) -> Path:
    secret = desk.folder.parent / "secret"
    secret.mkdir()
    for name in ("study.toml", "report.html", "findings.json", "x.csv"):
        (secret / name).write_text(SECRET)
    return secret


@pytest.mark.parametrize("path", ESCAPES)
@pytest.mark.parametrize("room", ["sheets", "about", "problems", "report", "file", "progress"])
def test_no_path_leads_out(desk: Opened, client: TestClient, outside: Path, room: str, path: str):
    answer = client.get(f"/{room}/{path}/report.html" if room == "file" else f"/{room}/{path}")
    assert SECRET not in answer.text
    assert "root:" not in answer.text
    assert str(desk.folder.parent) not in answer.text
    assert room == "progress" or answer.status_code in (400, 404)


@pytest.mark.parametrize("path", ESCAPES)
def test_no_path_leads_out_to_be_written_to(desk: Opened, client: TestClient, outside: Path, path: str):
    before = sorted(desk.folder.parent.rglob("*"))
    assert client.post(f"/report/{path}").status_code in (400, 404, 405)
    assert sorted(desk.folder.parent.rglob("*")) == before


def test_no_link_leads_out(desk: Opened, client: TestClient, outside: Path):
    (desk.folder / "reports").mkdir()
    (desk.folder / "reports" / "linked").symlink_to(outside)
    (desk.folder / "linked").symlink_to(outside)
    (desk.folder / "reports" / "one.html").symlink_to(outside / "report.html")
    for path in (
        "/file/reports/linked/report.html",
        "/file/reports/one.html",
        "/sheets/linked",
        "/report/linked",
    ):
        answer = client.get(path)
        assert answer.status_code == 404, path
        assert SECRET not in answer.text


def test_a_ring_of_links_is_no_place(desk: Opened, client: TestClient):
    (desk.folder / "ring").symlink_to(desk.folder / "ring")
    assert client.get("/sheets/ring").status_code == 404


def test_only_what_survivor_wrote_is_given_out(client: TestClient):
    for path in ("counts/visits.csv", "counts/study.toml", "tagged/rain.csv"):
        assert client.get(f"/file/{path}").status_code == 404


def test_a_document_runs_nothing_and_asks_for_nothing(desk: Opened, client: TestClient):
    made = desk.folder / "reports" / "counts"
    made.mkdir(parents=True)
    (made / "report.html").write_text("<script>alert(1)</script>")
    (made / "report.pdf").write_bytes(b"%PDF-")
    page = client.get("/file/reports/counts/report.html")
    assert page.status_code == 200
    policy = page.headers["content-security-policy"]
    assert "default-src 'none'" in policy
    assert "script-src" not in policy
    assert policy.endswith("sandbox")
    assert "attachment" in client.get("/file/reports/counts/report.pdf").headers["content-disposition"]


@pytest.mark.parametrize("named", ["../../secret/x.csv", "/etc/passwd", "linked.csv"])
def test_a_study_file_leads_to_nothing_outside(desk: Opened, client: TestClient, outside: Path, named: str):
    study = desk.folder / "counts" / "study.toml"
    (desk.folder / "counts" / "linked.csv").symlink_to(outside / "x.csv")
    text = study.read_text()
    study.write_text(text.replace('file = "', f'file = "{named}" # ', 1))
    for room in ("sheets", "problems"):
        answer = client.get(f"/{room}/counts")
        assert "outside the folder" in answer.text
        assert SECRET not in answer.text
    assert client.post("/report/counts").status_code == 404
    assert not (desk.folder / "reports").exists()


@pytest.mark.parametrize(
    ("sent", "kept"),
    [
        ("plots.csv", "plots.csv"),
        ("../../plots.csv", "plots.csv"),
        ("C:\\Users\\me\\plots.csv", "plots.csv"),
        ("/etc/plots.csv", "plots.csv"),
        (".hidden.csv", "hidden.csv"),
        ("a\x00b\n.csv", "ab.csv"),
        ('<img src=x onerror="y">.csv', "img src=x onerror=y.csv"),
        ("Prüfung 2024 – Nord.xlsx", "Prüfung 2024 – Nord.xlsx"),
        ("\u202egnp.csv", "gnp.csv"),
        ("x" * 500 + ".csv", "x" * 117 + ".csv"),
    ],
)
def test_names_of_files_are_made_safe(sent: str, kept: str):
    assert safe_name(sent, (".csv", ".xlsx")) == kept


@pytest.mark.parametrize(
    "sent", ["", "..", "/", "con.csv", "LPT1.csv", "   ", "study.toml", "x.html", "a.csv.exe"]
)
def test_names_that_cannot_be_kept_are_refused(sent: str):
    with pytest.raises(DeskError):
        safe_name(sent, (".csv", ".xlsx"))


@pytest.mark.slow
def test_files_sent_under_hostile_names_stay_in_their_season(desk: Opened, client: TestClient):
    sheet = (desk.folder / "tagged" / "visits.csv").read_bytes()
    answer = client.post(
        "/drop/season", data={"name": "../../out"}, files=[("files", ("../../../x.csv", sheet, "text/csv"))]
    )
    assert answer.status_code == 303
    assert (desk.folder / "out" / "x.csv").read_bytes() == sheet
    assert sorted(path.name for path in desk.folder.parent.iterdir()) == ["seasons"]


def test_a_folder_that_is_there_is_never_written_over(desk: Opened, client: TestClient):
    before = {path: path.read_bytes() for path in desk.folder.rglob("*") if path.is_file()}
    sheet = [("files", ("visits.csv", b"a,b\n1,2\n", "text/csv"))]
    assert client.post("/drop/season", data={"name": "counts"}, files=sheet).status_code == 404
    assert {path: path.read_bytes() for path in desk.folder.rglob("*") if path.is_file()} == before


def test_nothing_is_left_of_files_that_are_refused(desk: Opened, client: TestClient):
    sheets = [("files", ("good.csv", b"a\n1\n", "text/csv")), ("files", ("evil.html", b"<p>", "text/html"))]
    answer = client.post("/drop/season", data={"name": "new"}, files=sheets)
    assert answer.status_code == 404
    assert "no sheet that survivor reads" in answer.text
    assert not (desk.folder / "new").exists()


def test_a_folder_that_is_not_there_is_refused_plainly(tmp_path: Path):
    with pytest.raises(DeskError, match="no such folder"):
        Folder.of(tmp_path / "nothing")


def test_reports_lie_where_the_command_writes_them(desk: Opened):
    folder = Folder.of(desk.folder)
    assert folder.reports_of(desk.folder / "counts") == folder.root / "reports" / "counts"
    assert folder.reports_of(folder.root) == folder.root / "reports" / os.path.basename(folder.root)


@pytest.mark.slow
def test_a_new_copy_takes_the_place_of_no_link(desk: Opened, client: TestClient, outside: Path):
    season = desk.folder / "tagged"
    for link in (season / "x.csv", season / ".earlier"):
        link.symlink_to(outside / "x.csv" if link.suffix else outside)
        sent = [("files", ("x.csv", b"a\n1\n", "text/csv"))]
        assert client.post("/drop/season/tagged", files=sent).status_code == 404
        assert SECRET not in client.get("/sheets/tagged").text
        link.unlink()
    assert sorted(path.name for path in outside.iterdir()) == [
        "findings.json",
        "report.html",
        "study.toml",
        "x.csv",
    ]
    assert (outside / "x.csv").read_text() == SECRET
