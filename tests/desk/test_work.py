"""Commands in processes of their own: once at a time, stopped at once, and the same files as by command."""

import asyncio
import shutil
import subprocess
import time
from pathlib import Path

import pytest
from starlette.testclient import TestClient

from survivor.desk.jobs import Job, Jobs
from tests.copies import run_copied
from tests.desk.opened import DATASETS, Opened, sent_by
from tests.planning.making import raw_plan, write_toml

PLAN = "/plan/winter/plan.toml"


def followed(client: TestClient, place: str) -> list[str]:
    """Wait until the command that works on a place has ended; return its steps."""
    with client.stream("GET", f"/progress/{place}") as news:
        lines = [line.removeprefix("data: ") for line in news.iter_lines() if line.startswith("data: ")]
    return lines[:-1]


def test_what_follows_a_line_without_end_is_heard():
    async def heard() -> list[str]:
        stream = asyncio.StreamReader(limit=64)
        stream.feed_data(b"x" * 200 + b"\nthe next line\n")
        stream.feed_eof()
        job = Job("", "report")
        await job._hear(stream, job.said)
        return job.said

    assert asyncio.run(heard()) == ["the next line"]


@pytest.mark.slow
def test_the_demo_is_written_as_by_command(desk: Opened, client: TestClient, tmp_path: Path):
    assert client.post("/demo").status_code == 303
    assert client.post("/demo").status_code == 303  # pressed twice: once is enough
    followed(client, "demo")
    run_copied(tmp_path, ("demo", "demo"))

    def files(folder: Path) -> dict[str, bytes]:
        return {str(p.relative_to(folder)): p.read_bytes() for p in folder.rglob("*") if p.is_file()}

    assert files(desk.folder / "demo") == files(tmp_path / "demo")
    assert client.post("/demo").status_code == 404
    assert "demo/tagged" in client.get("/").text


@pytest.mark.slow
def test_a_command_is_stopped_at_once_and_with_all_that_it_started(desk: Opened, client: TestClient):
    client.post("/report/counts")
    job = client.app._app.state.desk.jobs.running("counts")
    while not job.steps:
        time.sleep(0.05)
    page = client.get("/report/counts").text
    assert 'data-progress="/progress/counts"' in page
    assert "Make the report" not in page
    assert client.post("/report/counts/stop").status_code == 303
    assert job.status != 0
    group = subprocess.run(["pgrep", "-g", str(job._process.pid)], capture_output=True, check=False)
    assert group.stdout == b""
    assert "Stopped" in client.get("/report/counts").text
    assert client.post("/report/counts/stop").status_code == 303  # pressed twice


def test_a_command_that_is_only_being_started_is_stopped_too(tmp_path: Path):
    async def stopped_at_once() -> Job:
        job = Jobs(tmp_path).start("demo", "demo", ["demo"])
        await job.stop()
        return job

    job = asyncio.run(stopped_at_once())
    assert job.stopped
    assert job.status not in (None, 0)
    assert not any((tmp_path / "demo").glob("*.toml"))


@pytest.mark.slow
def test_a_command_that_fails_says_why_in_the_page(desk: Opened, client: TestClient):
    (desk.folder / "counts" / "study.toml").write_text("[study]\nname = 1\n[records]\n")
    client.post("/report/counts")
    followed(client, "counts")
    page = client.get("/report/counts").text
    assert "came to an end" in page
    assert "has to be a text" in page
    assert "Traceback" not in page


@pytest.mark.slow
def test_a_plan_is_begun_changed_and_laid_out_as_by_command(desk: Opened, client: TestClient, tmp_path: Path):
    answer = client.post("/new/plan", data={"name": "winter"})
    assert answer.headers["location"] == PLAN
    page = client.get(PLAN).text
    assert "plots of each preparation" in page
    typed = {**sent_by(page), "question.smallest_difference": "20"}
    sketch = client.post(f"{PLAN}/sketch", data=typed).text
    assert "16 plots of each preparation" in sketch
    assert "<html" not in sketch
    assert "62 plots" in client.get(PLAN).text  # nothing is kept by typing
    few = {**typed, "question.smallest_difference": "35"}  # a layout that is drawn in a moment
    assert client.post(PLAN, data=few).status_code == 303
    assert client.post(f"{PLAN}/layout", data={"name": "laid out"}).status_code == 303
    followed(client, "winter/plan.toml")
    done = client.get(PLAN).text
    assert 'href="/sheets/laid%20out"' in done

    (tmp_path / "winter").mkdir()
    shutil.copy(desk.folder / "winter" / "plan.toml", tmp_path / "winter")
    run_copied(tmp_path, ("layout", "winter/plan.toml", "--out", "laid out"))
    ours, theirs = (
        {path.name: path.read_bytes() for path in (folder / "laid out").iterdir() if path.name[0] != "."}
        for folder in (desk.folder, tmp_path)
    )
    assert ours == theirs
    sheet = client.get("/sheets/laid%20out").text
    assert 'href="/file/laid%20out/visit-01-after-planting.xlsx" download' in sheet
    given = client.get("/file/laid%20out/visit-01-after-planting.xlsx")
    assert given.content == ours["visit-01-after-planting.xlsx"]


def test_what_cannot_be_worked_out_is_said_and_kept_from_the_file(client: TestClient):
    client.post("/new/plan", data={"name": "winter"})
    page = client.get(PLAN).text
    sent = sent_by(page)
    assert client.post(PLAN, data={**sent, "question.survival_per_100": "lots"}).status_code == 422
    assert "cannot be worked out" in client.post(f"{PLAN}/sketch", data={**sent, "question.day": "x"}).text
    assert client.post("/new/plan", data={"name": "winter"}).status_code == 404
    assert client.post("/new/plan", data={"name": ""}).status_code == 404


@pytest.mark.slow
@pytest.mark.parametrize("name", ["../out", "/tmp/out", ".hidden"])
def test_no_layout_is_written_outside(desk: Opened, client: TestClient, name: str):
    small = raw_plan(sizes={"plots_per_method": 2, "seedlings_per_plot": 2})
    write_toml(small, desk.folder / "plan.toml")
    client.post("/plan/plan.toml/layout", data={"name": name})
    followed(client, "plan.toml")
    assert sorted(path.name for path in desk.folder.parent.iterdir()) == ["seasons"]


@pytest.mark.parametrize("said", ["../../elsewhere", "/etc"])
def test_a_plan_or_guideline_leads_to_nothing_outside(desk: Opened, client: TestClient, said: str):
    client.post("/new/plan", data={"name": "winter"})
    file = desk.folder / "winter" / "plan.toml"
    file.write_text(file.read_text().replace("plot_correlation = 0.1 ", f'from_study = "{said}" #'))
    assert "outside the folder" in client.get(PLAN).text
    assert client.post(f"{PLAN}/work").status_code == 404
    shutil.copytree(DATASETS / "seasons", desk.folder / "all")
    guide = desk.folder / "all" / "guideline.toml"
    guide.write_text(guide.read_text().replace('study = "season-2021"', f'study = "{said}"'))
    assert client.post("/guideline/all/guideline.toml/draft").status_code == 404


def test_a_guideline_is_shown_and_no_letter_changes_by_saving(desk: Opened, client: TestClient):
    shutil.copytree(DATASETS / "seasons", desk.folder / "all")
    file = desk.folder / "all" / "guideline.toml"
    before = file.read_bytes()
    page = client.get("/guideline/all/guideline.toml").text
    sent = sent_by(page)
    assert client.post("/guideline/all/guideline.toml", data=sent).headers["location"].endswith("said=same")
    assert file.read_bytes() == before
    kept = client.post(
        "/guideline/all/guideline.toml", data={**sent, "ground.0.where": "texture = clay, loam"}
    )
    assert kept.headers["location"].endswith("said=kept")
    assert b'["clay", "loam"]' in file.read_bytes()
