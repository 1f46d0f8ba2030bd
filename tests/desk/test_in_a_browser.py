"""The desk in a browser: whole journeys by mouse and by keyboard, and the same files as by command."""

import re
import shutil
import subprocess
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from survivor.planning.layout import draw_layout
from survivor.planning.planfile import read_plan
from survivor.planning.size import size_of
from tests.copies import run_copied
from tests.desk.opened import DATASETS, with_seasons
from tests.desk.rooms import at_rest
from tests.desk.started import LONG, WORKBOOKS, Started, come_in, drop, files_in
from tests.document.browsing import in_a_browser
from tests.planning.making import cohort_like, deaths, fill, raw_plan, write_toml

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page

pytestmark = in_a_browser

#: Two workbooks of two crews, one season: counts of the living, and of the living and the dead.
SHEETS = [WORKBOOKS / name for name in ("p03-kestrow-downs.xlsx", "p11-pilverton.xlsx")]
MOST_ACTIONS = 30
#: The same answers to the questions of `survivor new --ask`, a line each.
ANSWERS = "y\n1\n1\n" + "\n" * 10
SAME_NAMES, USUAL, ALLOCATION = "These together", "usual practice", "allocation"


@pytest.fixture
def started(tmp_path: Path) -> Iterator[Started]:
    folder = tmp_path / "seasons"
    folder.mkdir()
    desk = Started(folder)
    yield desk
    desk.close()


@pytest.fixture
def aside() -> Iterator[ThreadPoolExecutor]:
    """Hands that do the same by command while the page is worked in."""
    with ThreadPoolExecutor(1) as hands:
        yield hands


def questions(page: "Page") -> int:
    return page.locator("[data-question]").count()


def read_again(page: "Page", before: int) -> None:
    """Wait until an answer is read: its question is gone."""
    page.wait_for_function("n => document.querySelectorAll('[data-question]').length < n", arg=before)
    page.locator("main[aria-busy]").wait_for(state="detached")


def by_command(folder: Path, name: str, called: str = "") -> dict[str, bytes]:
    """Do the same by command, the season's name by an editor, and return every file made."""
    home = folder / name
    home.mkdir(parents=True)
    for sheet in SHEETS:
        shutil.copy(sheet, home)
    run_copied(folder, ("new", name, "--from-sheets", "--ask"), said=ANSWERS)
    study = home / "study.toml"
    before = study.read_text(encoding="utf-8")
    assert before.count(f'name = "{name}"') == 1
    study.write_text(before.replace(f'name = "{name}"', f'name = "{called or name}"'), encoding="utf-8")
    run_copied(folder, ("check", name))
    run_copied(folder, ("report", name))
    return files_in(folder)


def test_from_dropped_workbooks_to_the_report_by_mouse(
    browser: "Browser",
    started: Started,
    aside: ThreadPoolExecutor,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
):
    made = aside.submit(by_command, tmp_path / "commands", "two crews")
    page, amiss = come_in(browser, started)
    page.locator("#name").fill("two crews")
    drop(page, SHEETS)
    page.wait_for_url("**/sheets/two%20crews*")
    assert "of 209 records 209 read" in page.locator("[data-read]").text_content()
    assert page.get_by_role("columnheader", name="Plot").count() >= 1
    actions = 2
    for label in (SAME_NAMES, USUAL, ALLOCATION):
        before = questions(page)
        page.get_by_label(label).select_option(index=1)  # to look at the list and to choose the first
        read_again(page, before)
        actions += 2
    page.get_by_role("link", name="Problems", exact=True).click()
    page.get_by_role("link", name="Report", exact=True).click()
    page.get_by_role("button", name="Make the report").dblclick()  # twice is once
    actions += 3
    frame = page.frame_locator("iframe.report")
    frame.locator("h1").first.wait_for(timeout=LONG)
    assert "two crews" in frame.locator("body").text_content()
    with capsys.disabled():
        print(f"\nfrom two dropped workbooks to the report by mouse: {actions} actions")
    assert actions < MOST_ACTIONS
    with page.expect_download() as taken:
        page.get_by_role("link", name="report.pdf").click()
    assert taken.value.path().read_bytes().startswith(b"%PDF")
    page.get_by_role("link", name=re.compile("Seasons in")).click()
    assert "Report of" in page.locator(".cards").text_content()
    page.get_by_role("button", name="Close the desk").click()
    page.locator("main", has_text="The desk is closed").wait_for()
    assert started.process.wait(20) == 0
    assert amiss == []
    page.context.close()
    assert files_in(tmp_path / "seasons") == made.result()


def test_from_sheets_to_the_report_by_the_keyboard_alone(
    browser: "Browser",
    started: Started,
    aside: ThreadPoolExecutor,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
):
    made = aside.submit(by_command, tmp_path / "commands", "north bank", "North bank, winter 2024")
    page, amiss = come_in(browser, started)
    actions = 0

    def press(key: str) -> None:
        nonlocal actions
        actions += 1
        page.keyboard.press(key)

    def go_to(name: str, key: str = "Tab") -> None:
        nonlocal actions
        actions += 1
        for _ in range(80):
            page.keyboard.press(key)
            here = page.evaluate(
                "[document.activeElement.labels?.[0]?.textContent ?? '', document.activeElement.textContent]"
            )
            if any(text.strip().startswith(name) for text in here):
                seen = page.evaluate("getComputedStyle(document.activeElement).outlineStyle")
                assert seen != "none", name
                return
        raise AssertionError(f"the keyboard does not come to {name}")

    go_to("Name of the season")
    page.keyboard.type("north bank")
    # The browser is asked well before the key, which can else come before the request.
    with page.expect_file_chooser() as chooser:
        go_to("Sheets:")
        press("Space")
    chooser.value.set_files(SHEETS)
    go_to("Start")
    press("Enter")
    page.wait_for_url("**/sheets/north%20bank*")
    for label, letter in ((SAME_NAMES, "y"), (USUAL, "n"), (ALLOCATION, "r")):
        before = questions(page)
        go_to(label)
        press(letter)
        read_again(page, before)
    go_to("About the season", "Shift+Tab")
    press("Enter")
    page.wait_for_url("**/about/**")
    go_to("Name")
    press("Control+A")
    page.keyboard.type("North bank, winter 2024")
    press("Enter")
    page.wait_for_url("**?said=kept")
    go_to("Report")
    press("Enter")
    page.wait_for_url("**/report/**")
    go_to("Make the report")
    press("Enter")
    page.frame_locator("iframe.report").locator("h1").first.wait_for(timeout=LONG)
    assert "North bank, winter 2024" in page.frame_locator("iframe.report").locator("body").text_content()
    with capsys.disabled():
        print(f"\nfrom two workbooks to the report by keyboard: {actions} actions and what is typed")
    assert actions < MOST_ACTIONS
    assert amiss == []
    page.context.close()
    assert files_in(tmp_path / "seasons") == made.result()


def planned_by_command(folder: Path) -> dict[str, bytes]:
    """Work out the plan of a folder and lay it out, and return every file made."""
    run_copied(folder, ("plan", "plan.toml"))
    run_copied(folder, ("layout", "plan.toml", "--out", "laid out"))
    return files_in(folder)


def test_a_plan_a_layout_and_a_filled_field_sheet(
    browser: "Browser", started: Started, aside: ThreadPoolExecutor, tmp_path: Path
):
    folder, other = tmp_path / "seasons", tmp_path / "commands" / "seasons"
    raw = raw_plan(sizes={"plots_per_method": 8, "seedlings_per_plot": 10})
    file = write_toml(raw, folder / "plan.toml")
    page, amiss = come_in(browser, started)
    page.goto(f"{started.origin}/plan/plan.toml")
    size = page.locator("[data-sketched] svg title")
    before = size.text_content()
    page.get_by_label("Smallest difference").fill("20")
    page.wait_for_function(
        "before => document.querySelector('[data-sketched] svg title').textContent !== before", arg=before
    )
    assert page.locator("[data-sketched] polyline").get_attribute("points").count(",") >= 5
    assert page.locator("[data-sketched] circle").count() == 0
    page.get_by_role("button", name="Save").click()
    page.wait_for_url("**?said=kept")
    shutil.copytree(folder, other)
    made = aside.submit(planned_by_command, other)
    page.get_by_role("button", name="Work it out").click()
    page.frame_locator("iframe.report").locator("h1").first.wait_for()
    assert page.locator("[data-sketched] circle").count() == 5  # simulated, on request
    page.get_by_label("Name of the new season").fill("laid out")
    page.get_by_role("button", name="Write the layout").click()
    page.get_by_role("link", name="laid out").click()
    assert files_in(folder) == made.result()

    plan = read_plan(file)
    plots, seedlings, _ = size_of(plan, folder)
    layout = draw_layout(plan, plots, seedlings)
    dead_on = deaths(plan, layout, cohort_like(plan, layout), seed=3)
    hands = tmp_path / "hands"
    hands.mkdir()
    filled = [hands / name for name in fill(plan, layout, hands, dead_on, count=3)]
    drop(page, filled)
    page.wait_for_url("**?said=dropped")
    assert "160 seedlings in 16 plots" in page.locator("[data-read]").text_content()
    page.get_by_role("button", name="Write them again").click()
    page.get_by_text("Left as it is").first.wait_for(state="attached")
    for sheet in filled:
        shutil.copy(sheet, other / "laid out")
    run_copied(other, ("sheets", "laid out"))
    assert files_in(folder) == files_in(other)
    page.set_viewport_size({"width": 390, "height": 800})
    assert page.evaluate("document.documentElement.scrollWidth") <= 390
    assert amiss == []
    page.context.close()


def test_a_guideline_of_three_seasons(
    browser: "Browser", started: Started, aside: ThreadPoolExecutor, tmp_path: Path
):
    """Begun on two, the third taken in, looked at as a draft and issued; the command gives the same."""
    folder, other = tmp_path / "seasons", tmp_path / "commands" / "seasons"
    years = [f"season-{year}" for year in (2021, 2022, 2023)]
    for year in years:
        shutil.copytree(DATASETS / "seasons" / year, folder / year)
    page, amiss = come_in(browser, started)
    page.get_by_label("Name of the guideline").fill("clay and loam")
    seasons = page.get_by_role("group", name="Seasons it rests on").get_by_role("checkbox")
    assert seasons.count() == len(years)
    for number in (0, 1):
        seasons.nth(number).check()
    page.get_by_label("Kinds of ground").select_option(label="texture")
    page.get_by_role("region", name="Start a guideline").get_by_role("button", name="Start").click()
    page.wait_for_url("**/guideline/clay%20and%20loam/guideline.toml")
    rests = page.get_by_role("region", name="Seasons it rests on").get_by_role("checkbox")
    assert [rests.nth(number).is_checked() for number in range(3)] == [True, True, False]
    rests.nth(2).check()
    page.get_by_role("button", name="Save the seasons").click()
    page.wait_for_url("**?said=kept")
    file = Path("clay and loam") / "guideline.toml"
    for year in years:
        shutil.copytree(DATASETS / "seasons" / year, other / year)
    (other / file).parent.mkdir()
    shutil.copy(folder / file, other / file)
    made = aside.submit(run_copied, other, ("guideline", file.as_posix()))
    page.get_by_role("button", name="Make a draft").click()
    draft = page.frame_locator("iframe.report")
    draft.locator("h1").first.wait_for()
    assert not list(folder.rglob("versions"))
    page.get_by_role("button", name="Issue it").click()
    page.get_by_role("button", name="Stop").wait_for(state="detached")
    page.get_by_text("What the command says").wait_for()
    made.result()
    assert list((folder / file).parent.rglob("versions/*"))
    assert files_in(folder) == files_in(other)
    assert amiss == []
    page.context.close()


def test_tabs_the_back_button_a_reload_and_files_that_change_do_no_harm(
    browser: "Browser", started: Started, tmp_path: Path
):
    home = with_seasons(tmp_path / "seasons") / "tagged"
    study, visits = home / "study.toml", home / "visits.csv"
    page, amiss = come_in(browser, started)
    other = page.context.new_page()
    for tab in (page, other):
        tab.goto(f"{started.origin}/about/tagged")
    name = page.get_by_label("Name", exact=True).first
    was = name.input_value()
    name.fill("In one tab")
    page.get_by_role("button", name="Save").dblclick()
    page.wait_for_url("**?said=kept")
    kept = study.read_bytes()
    page.reload()
    page.go_back()
    page.go_forward()
    other.get_by_label("Note").first.fill("In the other tab.")
    other.get_by_role("button", name="Save").click()
    other.get_by_text("says “In one tab” here").wait_for()
    assert study.read_bytes() == kept
    assert was.encode() not in kept

    page.goto(f"{started.origin}/sheets/tagged")
    read = page.locator("[data-read]").text_content()
    lines = visits.read_text(encoding="utf-8").splitlines(keepends=True)
    with page.expect_navigation():  # by itself
        visits.write_text("".join(lines[:-1]), encoding="utf-8")
    page.locator("[data-read]").wait_for()
    assert page.locator("[data-read]").text_content() != read
    assert [each for each in amiss if "422" not in each] == []  # the answer to what was refused
    page.context.close()


def test_a_run_is_stopped_and_the_last_report_stays(browser: "Browser", started: Started, tmp_path: Path):
    folder = with_seasons(tmp_path / "seasons")
    last = folder / "reports" / "counts"
    last.mkdir(parents=True)
    page, amiss = come_in(browser, started)
    at_rest(page)  # else the seasons are read beside the run, by a process that goes on
    page.goto(f"{started.origin}/report/counts")
    page.get_by_role("button", name="Make the report").click()
    page.locator("[data-step]", has_text="Models").wait_for(timeout=LONG)
    page.reload()  # in the middle of a run
    page.get_by_role("button", name="Stop").click()
    page.get_by_text("Stopped.").wait_for()
    assert not any(path.suffix for path in last.iterdir() if path.name[0] != ".")
    children = subprocess.run(
        ["pgrep", "-P", str(started.process.pid)], capture_output=True, check=False
    ).stdout
    assert children == b""
    assert amiss == []
    page.context.close()


def test_ctrl_c_leaves_no_process(tmp_path: Path):
    desk = Started(with_seasons(tmp_path))
    assert desk.close() == 0
