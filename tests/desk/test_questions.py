"""Open questions of a study file: asked in the page, answered in the file, each in its place."""

import html
import re
import tomllib

from starlette.testclient import TestClient

from survivor.desk.questions import answers_in, choices_of
from survivor.settings.questions import answered, questions_in
from tests.desk.opened import Opened, sent_by

ASKED = """[study]
name = "North"
[records]
kind = "tagged"
[[records.sheets]]
file = "seen.csv"
# Question 3 of 4: what does 3/4/2022 mean?
#? date_order = "day-first"   # 3 April
#? date_order = "month-first"   # 4 March
[records.states]
# Question 1 of 4: what do these words mean?
#? "perished" = ""   # 2 cells: alive, dead, missing, not found or not visited
#? "ok?" = ""   # 1 cells: alive, dead, missing, not found or not visited
[rules]
# Question 2 of 4: on which day was planted?
#? planted_date = ""   # year-month-day, such as 2022-06-15
# Question 4 of 4: are those preparations one?
#? [[methods]]
#? name = "rip"
#? also = ["Rip", "ripped"]
#? [[methods]]
#? name = "spray"
"""


def chosen_for(text: str, **said: str) -> str:
    return answered(text, answers_in(text, {name.replace("_", "."): value for name, value in said.items()}))


def test_questions_are_asked_in_the_order_of_what_they_change():
    kinds = [[choice.kind for choice in choices_of(question)] for question in questions_in(ASKED)]
    assert kinds == [["choice", "choice"], ["day"], ["choice"], ["choice"]]
    (together,) = choices_of(questions_in(ASKED)[3])
    assert together.hint == "rip (also Rip, ripped); spray"


def test_each_kind_of_answer_comes_into_its_place():
    text = chosen_for(ASKED, q_1_0='"dead"', q_2_0="2022-06-15", q_3_0='"month-first"', q_4_all="yes")
    told = tomllib.loads(text)
    assert told["records"]["states"] == {"perished": "dead"}
    assert told["rules"]["planted_date"] == "2022-06-15"
    assert told["records"]["sheets"][0]["date_order"] == "month-first"
    assert [method["name"] for method in told["methods"]] == ["rip", "spray"]
    assert [question.text for question in questions_in(text)] == ["what do these words mean?"]  # of "ok?"


def test_what_is_left_open_or_is_no_choice_changes_nothing():
    assert chosen_for(ASKED) == ASKED
    assert chosen_for(ASKED, q_1_0='"flying"', q_3_0="x = 1", q_4_all="no", q_9_0="y") == ASKED


def test_what_is_typed_stays_a_text():
    text = chosen_for(ASKED, q_2_0='x"\n[privacy]\nshow_places = true')
    assert "privacy" not in tomllib.loads(text)


def test_answers_are_read_at_once_and_belong_to_one_state_of_the_file(desk: Opened, client: TestClient):
    rows = "Site,Plot,Tag,Date,State,Prep,Planted date\n"
    rows += "".join(
        f"N,{plot},{plot},{day},{state},{prep},2023-06-01\n"
        for plot, prep in ((1, "rip"), (2, "spray"))
        for day, state in (("2023-10-01", "ok"), ("2024-04-01", "perished"))
    )
    sent = [("files", ("seen.csv", rows.encode(), "text/csv"))]
    assert client.post("/drop/season", data={"name": "north"}, files=sent).status_code == 303
    page = client.get("/sheets/north").text
    assert "perished" in page
    form = page.split('action="/answer/north"')[1].partition("</form>")[0]
    words = re.findall(r'name="(q[\d.]+)"[^>]*>(.*?)</select>', form, re.DOTALL)
    name = next(name for name, options in words if "&#34;dead&#34;" in options)
    answer = {**sent_by(f"<form>{form}"), name: html.unescape("&#34;dead&#34;")}
    assert client.post("/answer/north", data=answer).headers["location"] == "/sheets/north?said=kept"
    told = tomllib.loads((desk.folder / "north" / "study.toml").read_text())
    assert told["records"]["states"] == {"perished": "dead"}
    again = client.post("/answer/north", data=answer)
    assert again.status_code == 404
    assert "was changed since" in again.text
