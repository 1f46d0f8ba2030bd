"""Forms made from the models: what is typed comes into the file, and faults stand beside their field."""

import re
import tomllib
from pathlib import Path

import pytest
from starlette.testclient import TestClient

from survivor.settings import Settings, read_settings
from survivor.settings.dictionary import keys
from tests.desk.opened import Opened, sent_by


@pytest.fixture
def study(desk: Opened) -> Path:
    return desk.folder / "tagged" / "study.toml"


@pytest.mark.parametrize("name", ["tagged", "counts"])
def test_a_form_that_nobody_touched_changes_no_letter(desk: Opened, client: TestClient, name: str):
    file = desk.folder / name / "study.toml"
    before = file.read_bytes()
    answer = client.post(f"/about/{name}", data=sent_by(client.get(f"/about/{name}").text))
    assert answer.headers["location"] == f"/about/{name}?said=same"
    assert file.read_bytes() == before


def test_every_key_of_the_study_file_has_its_field(client: TestClient):
    sent = {re.sub(r"\.\d+", "", name) for name in sent_by(client.get("/about/tagged").text)}
    tables = {re.sub(r"[\[\]]", "", key.table): None for key in keys()}
    wanted = {
        f"{table}.{key.key}".lstrip(".")
        for key in keys()
        for table in tables
        if re.sub(r"[\[\]]", "", key.table) == table and not table.startswith("records")
    }
    own_words = {"soil.textures.....wilting_point", "soil.textures.....field_capacity"}
    assert wanted - sent == own_words


@pytest.mark.parametrize(
    ("name", "typed", "path", "kept"),
    [
        ("study.name", "A season", ("study", "name"), "A season"),
        ("target.survival_per_100", "65", ("target", "survival_per_100"), 65),
        ("target.survival_per_100", "65,5", ("target", "survival_per_100"), 65.5),
        ("rules.missing", "unknown", ("rules", "missing"), "unknown"),
        ("rules.measured_means_alive", "true", ("rules", "measured_means_alive"), True),
        ("rules.planted_date", "2022-06-15", ("rules", "planted_date"), "2022-06-15"),
        ("design.strata", "site\r\nblock\r\n\r\n", ("design", "strata"), ["site", "block"]),
        ("stocking.target_per_hectare", "800", ("stocking", "target_per_hectare"), 800),
        ("heights.at_least_cm", "", ("heights", "at_least_cm"), None),
    ],
)
def test_what_is_typed_comes_into_the_file(study: Path, client: TestClient, name, typed, path, kept):
    remarks = [line for line in study.read_text().splitlines() if line.startswith("#")]
    sent = sent_by(client.get("/about/tagged").text)
    assert name in sent  # also where nothing stands in the file
    answer = client.post("/about/tagged", data={**sent, name: typed})
    if kept is None:  # a table of which a key is needed goes with its last key, or is refused
        assert answer.status_code in (303, 422)
        return
    assert answer.status_code == 303, re.findall(r'class="wrong".*', answer.text)
    here = tomllib.loads(study.read_text())
    for part in path:
        here = here[part]
    assert here == kept
    assert isinstance(read_settings(study), Settings)
    assert [line for line in study.read_text().splitlines() if line.startswith("#")] == remarks


def test_what_the_season_names_need_not_be_typed(client: TestClient):
    assert "<datalist" not in client.get("/about/tagged").text  # nobody has read it yet
    client.get("/sheets/tagged")
    page = client.get("/about/tagged").text
    assert re.findall(r'name="design.usual_practice"[^>]* list="names-method"', page)
    offered = re.findall(r'<datalist id="names-(\w+)">(.*?)</datalist>', page)
    words = {name: re.findall(r'value="([^"]+)"', options) for name, options in offered}
    assert {"hand scalp", "spot spray only"} <= set(words["method"])
    assert "Dunnick Bend" in words["site"]
    assert "12 months" in words["milestone"]


def test_one_of_several_tables_is_added_and_taken_out(study: Path, client: TestClient):
    page = client.get("/about/tagged").text
    number = len(tomllib.loads(study.read_text())["milestones"])
    more = {f"milestones.{number}.name": "two years", f"milestones.{number}.day": "730"}
    assert client.post("/about/tagged", data={**sent_by(page), **more}).status_code == 303
    there = tomllib.loads(study.read_text())["milestones"]
    assert there[-1] == {"name": "two years", "day": 730}
    gone = {**sent_by(client.get("/about/tagged").text), f"gone.milestones.{number}": "yes"}
    assert client.post("/about/tagged", data=gone).status_code == 303
    assert tomllib.loads(study.read_text())["milestones"] == there[:-1]


@pytest.mark.parametrize(
    ("name", "typed", "said"),
    [
        ("target.survival_per_100", "170", "below 100"),
        ("target.survival_per_100", "many", "a number"),
        ("study.seed", "1.5", "a whole number"),
        ("study.as_of", "yesterday", "not a day"),
        ("headline", "some other day", "none of the “Milestones”"),
        ("rules.missing", "perhaps", "none of"),
        ("study.name", "", "needed"),
    ],
)
def test_a_fault_stands_beside_its_field(study: Path, client: TestClient, name, typed, said):
    before = study.read_bytes()
    answer = client.post("/about/tagged", data={**sent_by(client.get("/about/tagged").text), name: typed})
    assert answer.status_code == 422
    assert study.read_bytes() == before
    named = name.replace(".", "-")
    beside = re.findall(rf'id="f-{named}-fault">([^<]*)<', answer.text)
    assert beside
    assert said in beside[0]
    assert re.search(rf'aria-describedby="[^"]*f-{named}-fault"', answer.text)
    assert typed in answer.text


def test_what_another_page_has_saved_meanwhile_is_not_lost(study: Path, client: TestClient):
    """Two pages of one state: the second one is shown what the first has kept, and saves by intent."""
    one = other = sent_by(client.get("/about/tagged").text)
    assert client.post("/about/tagged", data={**one, "study.name": "First"}).status_code == 303
    kept = study.read_bytes()
    answer = client.post("/about/tagged", data={**other, "study.note": "A word."})
    assert answer.status_code == 422
    assert study.read_bytes() == kept
    assert "says “First” here" in answer.text
    again = sent_by(answer.text)
    assert again["study.note"] == "A word."
    assert client.post("/about/tagged", data={**again, "study.name": "First"}).status_code == 303
    assert (
        tomllib.loads(study.read_text())["study"] | {"name": "First", "note": "A word."}
        == (tomllib.loads(study.read_text())["study"])
    )


def test_a_fault_of_a_whole_table_stands_in_it(study: Path, client: TestClient):
    sent = sent_by(client.get("/about/tagged").text)
    answer = client.post("/about/tagged", data={**sent, "milestones.0.window_days": "9000"})
    assert answer.status_code == 422
    assert re.findall(r'class="wrong">([^<]*reaches back to planting[^<]*)<', answer.text)


@pytest.mark.slow
def test_what_is_typed_is_never_taken_for_markup(study: Path, client: TestClient):
    sent = sent_by(client.get("/about/tagged").text)
    hostile = '"><script>alert(1)</script>'
    client.post("/about/tagged", data={**sent, "study.name": hostile, "study.note": hostile})
    for page in ("/", "/about/tagged", "/sheets/tagged", "/problems/tagged", "/report/tagged"):
        assert "<script>alert" not in client.get(page).text
    assert tomllib.loads(study.read_text())["study"]["name"] == hostile
