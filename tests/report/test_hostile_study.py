"""A study whose every name means harm: pages and documents hold the names as texts, and nothing runs."""

from __future__ import annotations

import csv
import datetime as dt
import json
import re
import zipfile
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from survivor.study import load
from tests.cli.running import run
from tests.document.browsing import in_a_browser, nothing_over_the_edge, opened
from tests.document.poppler import needs_poppler, text_of
from tests.writing import Seedling, states_until, study_file, write_season

if TYPE_CHECKING:
    from playwright.sync_api import Browser

pytestmark = pytest.mark.slow

SCRIPT = "usual<script>window.ran = 1</script>"
FORMULA = '=HYPERLINK("http://192.0.2.1")'
MARKUP = '#read("/etc/passwd") $x$ *b* <a> [b] \\ ` // d'
IMAGE = '"><img src=x onerror="window.ran = 1">'
ARABIC = "مزرعة النخيل"
TURNED = "esir\u202e \u2066x"
LONG = "long name " * 200  # 2,000 letters
SITES = (MARKUP, ARABIC + " 🚜 山田", IMAGE)


@pytest.fixture(scope="module")
def report(tmp_path_factory) -> Path:
    folder = tmp_path_factory.mktemp("hostile")
    made = [
        Seedling(site, f"@SUM({method[0]}{plot})", f"-{plot}{tag}", method, (60, 200, 365), states)
        for site in SITES
        for method in (SCRIPT, FORMULA)
        for plot in range(2)
        for tag in range(8)
        for states in [states_until((tag + plot + (method == SCRIPT)) % 4, 3)]
    ]
    named = study_file("NAME", allocation=None, first="headline = '12 {{ 7 * 7 }}'")
    named = named.replace('name = "NAME"', f"name = {json.dumps(LONG + TURNED + IMAGE, ensure_ascii=True)}")
    more = "".join(
        f"\n[[methods]]\nname = {json.dumps(method)}\ncost = {{ per_plant = 2.0 }}\n"
        for method in (SCRIPT, FORMULA)
    )
    more += "\n[[milestones]]\nname = '12 {{ 7 * 7 }}'\nday = 365\nwindow_days = 30\n"
    more += (
        f"\n[costs]\ncurrency = {json.dumps('=1+1<b>' + ARABIC)}\nsource = {json.dumps(IMAGE)}\nyear = 2022\n"
        f"\n[[gauges]]\nname = {json.dumps(FORMULA)}\nfile = 'rain.csv'\n"
        f"\n[[photo_points]]\nname = {json.dumps(IMAGE)}\nsite = {json.dumps(SITES[0])}\n"
        f"file = {json.dumps(SCRIPT)}\nnote = {json.dumps(LONG)}\n"
    )
    write_season(folder / "study", named + more, made)
    with_more_names(folder / "study" / "visits.csv")
    days = [dt.date(2019, 1, 1) + dt.timedelta(days=number) for number in range(1600)]
    rain = "".join(f"{day},{day.toordinal() % 7}\n" for day in days)
    (folder / "study" / "rain.csv").write_text(f"date,rain (mm)\n{rain}", encoding="utf-8")
    out = folder / "out"
    load(folder / "study").report(out)
    return out


def with_more_names(sheet: Path) -> None:
    """Give every seedling a species, its death a cause, its visits an observer and notes that mean harm."""
    with sheet.open(encoding="utf-8", newline="") as opened_sheet:
        header, *rows = csv.reader(opened_sheet)
    state, tag, plot = header.index("state"), header.index("tag"), header.index("plot")
    more = [
        [
            (LONG, ARABIC + FORMULA)[int(row[tag][-1]) % 2],
            (SCRIPT, MARKUP)[number % 2] if row[state] == "dead" else "",
            IMAGE,
            FORMULA,
            (TURNED + SCRIPT, "+1+1")[int(row[plot][-2]) % 2],
        ]
        for number, row in enumerate(rows)
    ]
    with sheet.open("w", encoding="utf-8", newline="") as opened_sheet:
        write = csv.writer(opened_sheet).writerow
        write([*header, "species", "cause", "observer", "notes", "texture"])
        for row, own in zip(rows, more, strict=True):
            write([*row, *own])


@in_a_browser[0]
@in_a_browser[1]
@pytest.mark.parametrize("name", ["report.html", "annex.html", "officer.html"])
def test_in_a_browser_nothing_runs_and_nothing_is_cut(browser: Browser, report: Path, name: str) -> None:
    page, asked = opened(browser, report / name)
    assert page.evaluate("window.ran === undefined")
    assert page.evaluate("document.querySelectorAll('script, img[onerror], iframe, object').length") == 0
    assert page.evaluate("document.title").count("long name") == 200
    assert not asked
    page.set_viewport_size({"width": 360, "height": 800})
    assert page.evaluate("document.documentElement.scrollWidth") <= 360
    page.close()


@in_a_browser[0]
@in_a_browser[1]
def test_no_words_of_the_report_are_cut(browser: Browser, report: Path) -> None:
    nothing_over_the_edge(browser, report / "report.html")


def test_names_stay_texts_in_the_pages(report: Path) -> None:
    page = (report / "report.html").read_text(encoding="utf-8")
    assert "<script" not in page
    assert 'onerror="window' not in page
    assert not {"\u202e", "\u2066", "\x1b"} & set(page)
    assert "12 49" not in page


@needs_poppler
@pytest.mark.parametrize("name", ["report.pdf", "annex.pdf"])
def test_names_stay_texts_in_the_documents(report: Path, name: str) -> None:
    text = " ".join(text_of(report / name, "-layout").split())
    assert "root:" not in text
    assert "HYPERLINK" in text
    assert name == "report.pdf" or "/etc/passwd" in text  # the report itself names no site
    assert text.count("long name") >= 200


def test_names_of_files_are_such_as_every_machine_knows(report: Path) -> None:
    names = [file.relative_to(report).as_posix() for file in report.rglob("*") if file.is_file()]
    assert [name for name in names if not re.fullmatch(r"[\w.-]+(/[\w.-]+)*", name, re.ASCII)] == []
    assert [name for name in names if len(name) > 100 or name.endswith(".")] == []
    assert len({name.casefold() for name in names}) == len(names)


def test_what_check_says_moves_no_terminal_and_its_page_runs_nothing(report: Path, tmp_path: Path) -> None:
    page, book = tmp_path / "check.html", tmp_path / "check.xlsx"
    said = run("check", report.parent / "study", "--all", "--html", page, "--xlsx", book, "--out", tmp_path)
    assert said.returncode in (0, 1), said.stderr
    text = said.stdout.decode() + page.read_text(encoding="utf-8")
    assert not {"\u202e", "\u2066", "\x1b"} & set(text)
    assert "<script>window" not in page.read_text(encoding="utf-8")
    for table in tmp_path.glob("*.csv"):
        with table.open(encoding="utf-8", newline="") as opened_table:
            assert not any(
                cell.lstrip().startswith(("=", "+", "@")) for row in csv.reader(opened_table) for cell in row
            )
    with zipfile.ZipFile(book) as packed:
        assert not any(b"<f>" in packed.read(name) for name in packed.namelist())


def test_no_cell_of_any_table_is_a_formula(report: Path) -> None:
    tables = sorted(report.glob("tables/*.csv"))
    assert tables
    for table in tables:
        with table.open(encoding="utf-8", newline="") as opened_table:
            for row in csv.reader(opened_table):
                for cell in row:
                    assert not cell.lstrip().startswith(("=", "+", "@")), (table.name, cell)
    with zipfile.ZipFile(report / "report.xlsx") as packed:
        sheets = [packed.read(name) for name in packed.namelist() if "worksheets/sheet" in name]
        assert sheets
        assert not any(b"<f>" in sheet or b"<hyperlink" in sheet for sheet in sheets)
