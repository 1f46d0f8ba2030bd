"""Field workbooks of many habits, proposed and answered: read as a careful person reads them."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
import tomlkit

import survivor
from survivor.proposing.proposal import propose, write_proposal
from tests.proposing import field_books
from tests.proposing.field_books import BOOKS, Book, Unit
from tests.slow import some_slow

_MEANT = {"A": "alive", "D": "dead", "M": "missing", "N": "not found", ".": "not visited", "d": ""}


def with_answers(text: str, book: Book) -> str:
    """Answer what the sheets do not tell: words, when tags went in, days of visits told by an age."""
    study = tomlkit.parse(text)
    records = study["records"]
    if book.kind == "tagged":
        study["rules"].update({"tagged": "at planting", "missing": "dead"})
        for sheet in records["sheets"]:
            sheet.setdefault("states", {}).update(book.answers.get("states", {}))
    for visit in records.get("visits", []):
        for heading, day in book.answers.get("visit_dates", {}).items():
            if heading in visit["name"]:
                visit["date"] = day
    return tomlkit.dumps(study)


def read(book: Book, folder: Path) -> survivor.Study:
    for name, content in book.files.items():
        (folder / name).write_bytes(content)
    write_proposal(folder, with_answers(propose(folder), book))
    return survivor.load(folder)


def meant(book: Book, unit: Unit, visit: int) -> object:
    return _MEANT[unit.states[visit]] if book.kind == "tagged" else unit.alive[visit]


_QUICK = (field_books.turned, field_books.struck_out, field_books.decimal_commas, field_books.long_counts)


@pytest.mark.parametrize(
    "make",
    some_slow(BOOKS, _QUICK),
    ids=lambda make: make.__name__,
)
def test_every_record_is_read_as_a_careful_person_reads_it(make: Callable[[], Book], tmp_path: Path) -> None:
    book = make()
    study = read(book, tmp_path)
    value = "state" if book.kind == "tagged" else "alive"
    keys = ["site", "plot", "method", *(["tag"] if book.kind == "tagged" else []), "cohort"]
    visits = study.records.visits.assign(date=lambda own: own["date"].dt.date)
    got = {
        (r["file"], r["sheet"], r["row"], r["date"]): (*(r[key] for key in keys), r[value])
        for r in visits.to_dict("records")
        if r[value] not in ("", "not visited")
    }
    wanted = {}
    for unit in book.units:
        for visit, day in enumerate(book.days[unit.site]):
            labels = [unit.site, unit.plot, unit.prep, *([unit.tag] if unit.tag else []), unit.cohort]
            for _, file, sheet, row in (place for place in unit.places if place[0] in (None, visit)):
                told = meant(book, unit, visit)
                if told not in ("", "not visited"):
                    wanted[file, sheet, row, day] = (*labels, told)
    assert got == wanted
    first = [unit for unit in book.units if unit.cohort == "planting"]
    plots = study.records.plots
    assert plots["planted"].sum() == sum(unit.planted for unit in first)
    assert set(plots["planted_date"].dt.date.astype(str)) == {unit.planted_date for unit in first}


def test_each_gauge_of_a_file_is_of_the_site_that_heads_it(tmp_path: Path) -> None:
    counts = "Site,Plot,Prep,Planted,Planted on,Alive 14/8/2023,Alive 20/11/2023\n"
    counts += "".join(
        f"{site},{site[0]}{n},rip,20,1/6/2023,19,15\n" for site in ("Alder", "Birch") for n in "12"
    )
    (tmp_path / "counts.csv").write_text(counts)
    days = "".join(f"{day}/06/2023,{day % 3},{day % 2}\n" for day in range(1, 31))
    (tmp_path / "rain.csv").write_text(f"Date,Alder (mm),Birch rain mm\n{days}")
    write_proposal(tmp_path, propose(tmp_path))
    study = survivor.load(tmp_path)
    assert {gauge.name: gauge.sites for gauge in study.settings.gauges} == {
        site: (site,) for site in ("Alder", "Birch")
    }
    fell = {name: gauge.daily["rain_mm"].sum() for name, gauge in study.gauges.records.items()}
    assert fell == {"Alder": 30.0, "Birch": 15.0}


def test_a_key_of_codes_that_looks_like_counts_explains_them(tmp_path: Path) -> None:
    rows = [["Site", "Plot", "Prep", "Tag", "10/8/23", "10/11/23"]]
    rows += [["Alder", f"P{n % 4}", ("rip", "mound")[n % 2], n, "LV", ("LV", "KO")[n % 2]] for n in range(12)]
    key = field_books.Sheet("Key", [["LV", "alive"], ["KO", "dead"], ["GN", "gone"], ["XX", "not found"]])
    file = tmp_path / "seen.xlsx"
    file.write_bytes(field_books.xlsx(field_books.Sheet("Data", rows), key))
    text = propose(tmp_path)
    assert tomlkit.parse(text)["records"]["sheets"][0]["states"] == {"LV": "alive", "KO": "dead"}
    assert "sheet Key: neither visits nor plots" in text
