"""Measures that nothing can have are said with row, value and mend, and the record stays in use."""

from __future__ import annotations

import pandas as pd
import pytest

import survivor
from survivor.errors import RecordsError

STUDY = """
[study]
name = "Invented"
purpose = "check a target"
[records]
kind = "tagged"
[[records.sheets]]
file = "visits.csv"
[[target]]
"""
HEADER = "site,plot,tag,planted date,date,state,height_cm,weed cover"


@pytest.fixture(scope="module")
def study(tmp_path_factory):
    folder = tmp_path_factory.mktemp("impossible")
    rows = []
    for tag in range(1, 9):
        for date, state in (("2023-06-10", "alive"), ("2023-12-10", "alive"), ("2024-06-10", "alive")):
            rows.append(["Low Paddock", "P1", f"T{tag}", "2023-06-01", date, state, "20", "30"])
    rows[3][6] = "-5"  # row 5 of the file
    rows[7][7] = "140 %"  # row 9
    rows[8][5], rows[8][6] = "dead", "44"  # row 10
    rows[11][5], rows[11][6] = "dead", ""
    rows[14][7] = "-1"  # row 16
    rows[17][6] = "0"
    rows[18][6], rows[19][6], rows[20][6] = "1e308", "1e400", "9" * 5000  # rows 20, 21, 22
    lines = [HEADER, *(",".join(row) for row in rows)]
    (folder / "visits.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    (folder / "study.toml").write_text(STUDY.replace("[[target]]", ""), encoding="utf-8")
    return survivor.load(folder)


def test_each_is_named_with_its_row_value_and_mend(study):
    found = study.problems.set_index("code")
    odd = found.loc[["impossible-measure"]]
    said = set(zip(odd["row"], odd["value"], strict=True))
    assert said == {(5, "-5"), (9, "140 %"), (16, "-1"), (20, "1e308")}
    assert set(found.loc["unreadable-number", "row"]) == {21, 22}  # larger than any number can be
    assert all("left blank" in what for what in odd["what"])
    assert (odd["mend"] != "").all()
    dead = found.loc["height-without-plant"]
    assert (dead["row"], dead["value"]) == (10, "44")
    assert "correct the state" in dead["mend"]


def test_the_measure_is_left_blank_and_the_record_used(study):
    visits = study.records.visits
    fates = study.accounts.set_index("row")["fate"]
    assert [fates[row] for row in (5, 9, 10, 16)] == ["used"] * 4
    assert visits["height_cm"].dropna().between(0, 44).all()
    cover = visits["weed_cover"].dropna()
    assert cover.between(0, 100).all()
    assert pd.notna(visits["weed_cover"]).sum() == 22


def test_a_state_misspelt_is_asked_for_by_what_it_is_near_to(tmp_path):
    words = {
        "alive": "",
        "aliv": "alive",
        "deadd": "dead",
        "misssing": "missing",
        "notfound": "",
        "xyzzy": "",
    }
    rows = [HEADER]
    for tag, word in enumerate(words):
        rows.append(f"Low Paddock,P1,T{tag},2023-06-01,2023-12-10,alive,,")
        rows.append(f"Low Paddock,P1,T{tag},2023-06-01,2024-06-10,{word},,")
    (tmp_path / "visits.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")
    (tmp_path / "study.toml").write_text(STUDY.replace("[[target]]", ""), encoding="utf-8")
    found = survivor.load(tmp_path).problems
    found = found[found["code"] == "unknown-state"].set_index("value")
    for word, state in words.items():
        if state:
            assert f"did you mean {state}?" in found.loc[word, "what"]
            assert found.loc[word, "mend"].startswith(f"write {state} in the sheet")
    assert "did you mean" not in found.loc["xyzzy", "what"]
    # No state is put forward as the answer for a word that may be any.
    assert '"xyzzy" = "..." with one of alive, dead' in found.loc["xyzzy", "mend"]


def test_a_study_of_which_nothing_is_left_is_named_with_the_commonest_cause_first(tmp_path):
    rows = [HEADER, "Low Paddock,P1,T0,2023-06-01,whenever,alive,,"]
    rows += [f"Low Paddock,P1,T{tag},2023-06-01,2023-12-10,perhaps,," for tag in range(1, 6)]
    (tmp_path / "visits.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")
    (tmp_path / "study.toml").write_text(STUDY.replace("[[target]]", ""), encoding="utf-8")
    with pytest.raises(RecordsError, match="no record can be used") as caught:
        _ = survivor.load(tmp_path).analysis
    assert caught.value.where == "Invented"
    mend = caught.value.mend
    assert mend.index("'perhaps'") < mend.index("'whenever'")
