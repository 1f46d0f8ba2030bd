"""What a report may not show stands in none of its files: names of places, landholders, coordinates."""

from __future__ import annotations

import csv
import io
import json
import re
import zipfile
from pathlib import Path

import pytest

from survivor.analysis.privacy import shared
from tests.analysis.seasons import write
from tests.document import poppler
from tests.once import study_of

PLACES = {
    "site 0": "Secretvale Hollow",
    "site 1": 'Hush & <i>Hide</i> "Ridge"',
    "site 2": "Zzyxmere",
    "site 3": "Mumchance-Flat",
}
HOLDER = "Peregrine Quietly"
GAUGE = "Silentbrook station"
#: Every word of a name that no output may hold, in small letters.
SECRETS = (
    "secretvale", "hush &", "hush &amp;", "zzyxmere", "mumchance", "peregrine", "quietly", "silentbrook",
    "-37.4242", "145.2727", "37.4242", "145.2727",
)  # fmt: skip
PRIVACY = """
[records.plots]
file = "secretvale-hollow plots.csv"
"""
MORE = """
[[gauges]]
name = "Silentbrook station"
file = "silentbrook_rain.csv"
sites = ["Secretvale Hollow", "Zzyxmere"]

[[planted]]
site = "Secretvale Hollow"
plants = 400

[[planted]]
site = 'Hush & <i>Hide</i> "Ridge"'
plants = 300

[[planted]]
site = "Zzyxmere"
plants = 200

[[planted]]
site = "Mumchance-Flat"
plants = 100

[[photo_points]]
name = "gate of Zzyxmere"
site = "Zzyxmere"
date = "2022-06-01"
file = "C:\\\\pictures\\\\Peregrine Quietly\\\\zzyxmere_gate.jpg"
latitude = -37.42424
longitude = 145.27272

[[corrections]]
date = "2022-07-01"
who = "P.Q."
what = "tag 3 at SECRETVALE  HOLLOW put right, as Peregrine Quietly said"
why = "misread at Mumchance Flat"

[privacy]
show_places = {places}
show_landholders = {holders}
show_coordinates = {coordinates}
"""


def visits(site: int, plot: int) -> tuple[int, ...]:
    return (60, 200, 365)


def season(folder: Path, *, places: bool, holders: bool = False, coordinates: bool = False) -> Path:
    """A small season whose places, gauge, files, landholder and notes hold names to keep back."""
    told = {"places": places, "holders": holders, "coordinates": coordinates}
    more = MORE.format(**{name: str(value).lower() for name, value in told.items()})
    write(folder, visits, more=more)
    study = (folder / "study.toml").read_text(encoding="utf-8")
    study = study.replace('name = "A small season"', 'name = "Plantings round Secretvale Hollow"')
    study = study.replace("[[records.sheets]]", f"{PRIVACY}\n[[records.sheets]]", 1)
    study = study.replace('"visits.csv"', '"Zzyxmere visits.csv"')
    (folder / "study.toml").write_text(study, encoding="utf-8")
    with (folder / "visits.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    (folder / "visits.csv").unlink()
    for row in rows:
        row["site"] = PLACES[row["site"]]
    rows[3]["state"] = "ask Peregrine Quietly"  # a word that is not known: its value goes into the problems
    rows[5]["date"] = "Zzyxmere"
    _csv(folder / "Zzyxmere visits.csv", rows)
    plots = {(row["site"], row["plot"]): row for row in rows}
    _csv(
        folder / "secretvale-hollow plots.csv",
        [
            {
                "site": site,
                "plot": plot,
                "method": row["method"],
                "planted_date": row["planted_date"],
                "planted": 10,
                "Owner": HOLDER,
                "lat": "-37.4242",
                "lon": "145.2727" if plot != "u0" else "145.2727x",
                "email": "peregrine@quietly.invalid",
            }
            for (site, plot), row in plots.items()
        ],
    )
    days = [
        f"20{y}-{m:02d}-{d:02d},{(d * m) % 7}"
        for y in (20, 21, 22)
        for m in range(1, 13)
        for d in range(1, 29)
    ]
    (folder / "silentbrook_rain.csv").write_text("date,rain_mm\n" + "\n".join(days) + "\n", encoding="utf-8")
    return folder


def _csv(file: Path, rows: list[dict[str, object]]) -> None:
    with file.open("w", encoding="utf-8", newline="") as handle:
        writer = csv.DictWriter(handle, list(rows[0]))
        writer.writeheader()
        writer.writerows(rows)


def texts_of(folder: Path) -> dict[str, str]:
    """Everything that a report's files say, in small letters: workbooks unpacked, documents read."""
    found = {}
    for file in sorted(folder.rglob("*")):
        if file.is_dir():
            continue
        name = str(file.relative_to(folder))
        content = file.read_bytes()
        if file.suffix == ".xlsx":
            with zipfile.ZipFile(io.BytesIO(content)) as book:
                for part in book.namelist():
                    found[f"{name}/{part}"] = book.read(part).decode("utf-8")
        elif file.suffix == ".pdf":
            found[name] = _words_of(file)
        else:
            found[name] = content.decode("utf-8")
    return {name: f"{name}\n{text}".casefold() for name, text in found.items()}


def _words_of(document: Path) -> str:
    import pikepdf

    said = ""
    if poppler.HERE:
        said = poppler.text_of(document)
    # Alternative texts, titles and outlines are strings of the file itself.
    with pikepdf.open(document) as pdf:
        for held in pdf.objects:
            if isinstance(held, pikepdf.Dictionary):
                said += " ".join(
                    str(held[key]) for key in ("/Alt", "/Title", "/ActualText", "/T") if key in held
                )
    return said


@pytest.fixture(scope="module")
def hidden(tmp_path_factory: pytest.TempPathFactory) -> dict[str, str]:
    folder = season(tmp_path_factory.mktemp("hidden"), places=False)
    out = tmp_path_factory.mktemp("hidden-report")
    study_of(folder).report(out)
    return texts_of(out)


def test_no_file_of_a_report_holds_a_name_that_may_not_be_shown(hidden: dict[str, str]) -> None:
    assert {Path(name).suffix for name in hidden} >= {".html", ".pdf", ".json", ".txt", ".csv", ".xml"}
    leaks = {(name, secret) for name, text in hidden.items() for secret in SECRETS if secret in text}
    assert leaks == set()


def test_sites_have_the_same_number_everywhere(hidden: dict[str, str]) -> None:
    for name in ("annex.html", "tables/sites.csv", "tables/layout.csv", "tables/photo_points.csv"):
        assert "site " in hidden[name]
    for number in (1, 2, 3, 4):
        assert f"site {number}" in hidden["annex.html"]
        assert f"site {number}" in hidden["tables/sites.csv"]
    # The site of the photo point and its file, the study's name and the correction speak of two sites.
    (row,) = list(csv.DictReader(io.StringIO(hidden["tables/photo_points.csv"].partition("\n")[2])))
    assert row["name"] == f"gate of {row['site']}"
    assert row["file"] == f"{row['site']}_gate.jpg"
    title = json.loads(hidden["findings.json"].partition("\n")[2])["study"]
    vale = re.search(r"site \d", title)
    assert vale is not None
    corrected = hidden["tables/corrections.csv"]
    assert f"tag 3 at {vale[0]} put right, as not shown said" in corrected
    assert "gauge 1" in hidden["tables/rain.csv"]


def test_the_numbers_are_those_of_the_report_with_names(tmp_path: Path, hidden: dict[str, str]) -> None:
    named = study_of(season(tmp_path / "named", places=True)).analysis
    told = json.loads(hidden["findings.json"].partition("\n")[2])["findings"]
    for finding, other in zip(named.findings, told, strict=True):
        for name in ("estimate", "lower", "upper"):
            value = getattr(finding, name)
            assert other[name] == (None if value is None else pytest.approx(value, rel=1e-6))


@pytest.mark.slow
def test_names_stand_where_the_study_file_allows_them(tmp_path: Path) -> None:
    folder = season(tmp_path / "shown", places=True, holders=True, coordinates=True)
    out = tmp_path / "report"
    study_of(folder).report(out)
    said = texts_of(out)
    # Where they may stand they are found in every kind of file: so the search above can find them.
    for name in ("annex.html", "annex.pdf", "report.xlsx/xl/sharedStrings.xml", "tables/sites.csv"):
        assert "zzyxmere" in said[name]
    assert "145.27272" in said["tables/photo_points.csv"]
    assert "ask peregrine quietly" in said["tables/problems.csv"]


@pytest.mark.slow
def test_landholders_are_kept_back_though_places_are_shown(tmp_path: Path) -> None:
    folder = season(tmp_path / "shown", places=True)
    out = tmp_path / "report"
    study_of(folder).report(out)
    said = texts_of(out)
    assert "zzyxmere" in said["annex.html"]
    kept = ("peregrine quietly", "peregrine@", "37.4242", "145.2727")
    assert {(name, secret) for name, text in said.items() for secret in kept if secret in text} == set()


def test_the_study_itself_keeps_its_names(tmp_path: Path) -> None:
    study = study_of(season(tmp_path / "own", places=False))
    assert study.analysis.findings
    assert set(study.intervals["site"].astype(str)) == set(PLACES.values())
    assert "ask Peregrine Quietly" in set(study.problems["value"])


def test_numbers_of_sites_follow_neither_their_names_nor_the_run(tmp_path: Path) -> None:
    study = study_of(season(tmp_path / "own", places=False))
    seen = [shared(study.settings, study.records, study.gauges, {}).records.plots for _ in (1, 2)]
    assert seen[0].equals(seen[1])
    assert list(seen[0]["site"]) == sorted(seen[0]["site"])
