"""Their headers and words to ours: from the study file, else forgivingly, always shown, never guessed."""

from __future__ import annotations

from pathlib import Path

import pytest

from survivor.errors import RecordsError, StudyFileError
from survivor.files.headers import squeezed
from survivor.records.words import is_total, spoken
from survivor.settings import read_settings
from tests.records.making import COUNTS, TAGGED, ReadStudy, record_codes, sheet

AIM = TAGGED.replace('name = "tagged"', 'name = "tagged"\npurpose = "follow a trend"')
RULES = '[rules]\ntagged = "at planting"\nplanted_date = "2022-06-01"\n'
ROWS = "Rise,1,001,2022-07-01,{}\nRise,1,002,2022-07-01,alive\n"
THREE = "Rise,1,001,2022-07-01,A\nFlat,1,001,2022-07-01,A\nRise,2,001,2022-07-01,A\n"

# word in the sheet -> state; None: asked for
STATES = {
    "alive": "alive", "Alive": "alive", "A": "alive", "a": "alive", "1": "alive", "1.0": "alive",
    "live": "alive", "Reshoot": "alive",
    "dead": "dead", "D": "dead", "0": "dead", "died": "dead",
    "missing": "missing", "M": "missing", "Gone": "missing",
    "not found": "not found", "NF": "not found", "Not-found": "not found", "tag lost": "not found",
    "": "not visited", "NV": "not visited", "not visited": "not visited", "n/a": "not visited",
    "?": None, "x": None, "eaten": None, "A?": None, "-1": None, "2": None, "-": None, "L": None,
}  # fmt: skip


def test_words_for_states(read_study: ReadStudy) -> None:
    words = dict(enumerate(STATES, start=1))
    rows = "".join(f"Rise,1,{tag},2022-07-01,{word}\n" for tag, word in words.items())
    records = read_study(AIM + sheet() + RULES, visits_csv="site,plot,tag,date,state\n" + rows)
    told = {
        words[int(tag)]: state
        for tag, state in zip(records.visits["tag"], records.visits["state"], strict=True)
    }
    assert told == {word: state for word, state in STATES.items() if state is not None}
    asked = records.problems[records.problems["code"] == "unknown-state"]
    assert set(asked["value"]) == {word for word, state in STATES.items() if state is None}
    assert all(f'"{value}" =' in mend for value, mend in zip(asked["value"], asked["mend"], strict=True))
    shown = records.matches.set_index("header")
    for word, state in STATES.items():
        if word:
            how = "not used" if state is None else "same word" if word == state else "forgiving match"
            assert tuple(shown.loc[f"state: {word}", ["column", "how"]]) == (state or "", how)


def test_the_study_file_explains_words(read_study: ReadStudy) -> None:
    toml = (
        AIM
        + sheet(more='[records.sheets.states]\n"?" = "not found"\neaten = "missing"\n"" = "not found"\n')
        + RULES
    )
    table = "site,plot,tag,date,state\n" + ROWS.format("?") + ROWS.format("EATEN") + ROWS.format("")
    for number, tag in enumerate(("003", "004", "005", "006"), start=3):
        table = "\n".join(
            line.replace("001" if number % 2 else "002", tag) if place == number else line
            for place, line in enumerate(table.split("\n"))
        )
    records = read_study(toml, visits_csv=table)
    assert list(records.visits["state"]) == ["not found", "alive", "missing", "alive", "not found", "alive"]


@pytest.mark.parametrize(
    ("line", "words"),
    [
        ('"" = "alive"', r"a blank is no word for alive; write blank = \"alive\" under \[rules\]"),
        ('" " = "dead"', r"a blank is no word for dead; write blank = \"dead\" under \[rules\]"),
        ('Alive = "dead"', '"Alive" is read as dead'),
        ('dead = "alive"', '"dead" is read as alive'),
    ],
)
def test_words_that_turn_the_answer_round_are_refused(read_study: ReadStudy, line: str, words: str) -> None:
    toml = AIM + sheet(more=f"[records.sheets.states]\n{line}\n") + RULES
    with pytest.raises(StudyFileError, match=words):
        read_study(toml, visits_csv="site,plot,tag,date,state\n" + ROWS.format("alive"))


HEADERS = {
    # header -> our word, in a sheet of seedlings
    "Quadrat No.": "plot", "PLOT_ID": "plot", "plotId": "plot", "Seedling #": "tag", "Stake no.": "tag",
    "Status": "state", "Alive": "state", "Date visited": "date", "Ht (cm)": "height_cm",
    "Height in cm": "height_cm", "Likely cause of death": "cause", "Weed cover (%)": "weed_cover",
    "Site prep": "method",
}  # fmt: skip


@pytest.mark.parametrize("header", HEADERS)
def test_headers_are_matched_forgivingly_and_shown(read_study: ReadStudy, header: str) -> None:
    word = HEADERS[header]
    columns = {"site": "Rise", "plot": "1", "tag": "001", "date": "2022-07-01", "state": "alive"} | {
        word: "1"
    }
    if word in ("date", "state", "tag"):
        columns[word] = {"date": "2022-07-01", "state": "alive", "tag": "1"}[word]
    names = [header if name == word else name for name in columns]
    table = ",".join(names) + "\n" + ",".join(columns.values()) + "\n"
    records = read_study(AIM + sheet() + RULES, visits_csv=table)
    shown = records.matches.set_index("header").loc[header]
    assert (shown["column"], shown["how"]) == (word, "forgiving match")


def test_synonyms_of_infill_tell_the_cohort(read_study: ReadStudy) -> None:
    table = "site,plot,tag,gapping,planting date,date,state\n"
    table += "Rise,1,001,no,2022-06-01,2022-09-01,alive\nRise,1,002,Yes,2022-08-01,2022-09-01,alive\n"
    records = read_study(AIM + sheet() + '[rules]\ntagged = "at planting"\n', visits_csv=table)
    assert list(records.intervals["cohort"]) == ["planting", "infill"]
    assert list(records.intervals["stop_day"]) == [92, 31]


def test_a_needed_column_that_nobody_understands_is_asked_for(read_study: ReadStudy) -> None:
    with pytest.raises(RecordsError) as error:
        read_study(AIM + sheet() + RULES, visits_csv="site,plot,Tagg,date,Zustand\nRise,1,001,2022-07-01,A\n")
    assert error.value.where == "visits.csv"
    assert "'Zustand'" in error.value.what
    assert "[records.sheets.columns]" in error.value.mend
    assert 'tag = "Tagg"' in error.value.mend
    assert 'state = "the header of that column"' in error.value.mend


def test_a_header_of_the_study_file_that_is_not_there(read_study: ReadStudy) -> None:
    toml = AIM + sheet(more='[records.sheets.columns]\nstate = "Conditon"\n') + RULES
    with pytest.raises(RecordsError, match='did you mean "Condition"') as error:
        read_study(toml, visits_csv="site,plot,tag,date,Condition\nRise,1,001,2022-07-01,A\n")
    assert "[records.sheets.columns] state" in error.value.mend


def test_two_headers_for_one_word_are_not_chosen_between(read_study: ReadStudy) -> None:
    with pytest.raises(RecordsError, match="several headers could be the plot"):
        read_study(
            AIM + sheet() + RULES, visits_csv="site,Plot no,Quadrat,tag,date,state\nRise,1,2,1,2022-07-01,A\n"
        )


def test_preparations_cannot_be_compared_without_a_method(read_study: ReadStudy) -> None:
    with pytest.raises(RecordsError, match="no column was understood as method"):
        read_study(TAGGED + sheet() + RULES, visits_csv="site,plot,tag,date,state\n" + ROWS.format("A"))


def test_a_state_of_the_study_file_is_one_of_five(tmp_path: Path) -> None:
    (tmp_path / "study.toml").write_text(AIM + sheet(more='[records.sheets.states]\nx = "deceased"\n'))
    with pytest.raises(StudyFileError, match='"not visited"'):
        read_settings(tmp_path)


METHODS = """[[methods]]
name = "spray and rip"
also = ["Spray + rip"]
[[methods]]
name = "ripped"
"""


@pytest.mark.parametrize(
    ("told", "method"),
    [
        ("Spray  AND rip", "spray and rip"),
        ("spray+RIP", "spray and rip"),
        ("riped", None),
        ("spray rip", None),
    ],
)
def test_methods_forgive_case_and_spaces_only(read_study: ReadStudy, told: str, method: str | None) -> None:
    plots = f'site,plot,method\nRise,1,"{told}"\nRise,2,ripped\n'
    visits = "site,plot,tag,date,state\n" + ROWS.format("A") + "Rise,2,003,2022-07-01,A\n"
    toml = TAGGED + sheet() + '[records.plots]\nfile = "plots.csv"\n' + RULES + METHODS
    records = read_study(toml, visits_csv=visits, plots_csv=plots)
    if method:
        assert set(records.intervals["method"]) == {method, "ripped"}
        assert record_codes(records) == ({"renamed"} if told == "spray+RIP" else set())
        return
    problem = records.problems.iloc[0]
    assert (problem["code"], problem["value"], problem["severity"]) == ("unknown-method", told, "stop")
    assert "is meant, add" in problem["mend"]
    assert set(records.intervals["method"]) == {"ripped"}
    assert list(records.accounts["code"]) == ["unknown-method", "", "unknown-method", "unknown-method", ""]


def test_a_plot_is_found_by_what_both_sheets_share(read_study: ReadStudy) -> None:
    plots = "Site,Block,Plot,method\nRise,A,1,rip\nRise,B,2,mound\nFlat,A,1,mound\n"
    visits = "site,plot,tag,date,state\n" + THREE.replace("Rise,1", "RISE,1")
    toml = TAGGED + sheet() + '[records.plots]\nfile = "plots.csv"\n' + RULES
    records = read_study(toml, visits_csv=visits, plots_csv=plots)
    found = records.intervals[["site", "block", "plot", "method"]]
    assert sorted(found.itertuples(index=False, name=None)) == [
        ("Flat", "A", "1", "mound"), ("Rise", "A", "1", "rip"), ("Rise", "B", "2", "mound"),
    ]  # fmt: skip
    assert record_codes(records) == {"spelling"}


def test_labels_that_repeat_across_sites_are_no_plot(read_study: ReadStudy) -> None:
    plots = "plot,method\n1,rip\n2,mound\n"
    visits = "site,plot,tag,date,state\n" + THREE
    toml = TAGGED + sheet() + '[records.plots]\nfile = "plots.csv"\n' + RULES
    records = read_study(toml, visits_csv=visits, plots_csv=plots)
    assert list(records.intervals["plot"]) == ["2"]
    assert "unknown-plot" in set(records.problems["code"])


def test_what_a_whole_file_shares_and_a_title_above_the_header(read_study: ReadStudy) -> None:
    more = 'skip_rows = 1\n[records.sheets.every_row]\nsite = "Rise"\nmethod = "rip"\n'
    toml = COUNTS + sheet(more=more) + '[rules]\nplanted_date = "2022-06-01"\n'
    records = read_study(
        toml, visits_csv="Counts of the winter\nplot,date,planted,alive\n1,2022-07-01,50,45\n"
    )
    assert list(records.intervals["site"]) == ["Rise"]
    assert list(records.intervals["method"]) == ["rip"]
    assert list(records.accounts["row"]) == [3]


def test_a_radius_in_centimetres_and_a_diameter_are_converted_by_name(read_study: ReadStudy) -> None:
    for header in ("Weed-free radius (cm)", "Weed-free diameter (m)"):
        value = 50 if "cm" in header else 1
        plots = f"site,plot,method,{header}\nRise,1,rip,{value}\n"
        visits = "site,plot,tag,date,state\n" + ROWS.format("A")
        toml = TAGGED + sheet() + '[records.plots]\nfile = "plots.csv"\n' + RULES
        records = read_study(toml, visits_csv=visits, plots_csv=plots)
        assert list(records.plots["weed_free_radius_m"]) == [0.5]
        assert set(records.intervals["weed_free_radius_m"]) == {0.5}


def test_a_site_whose_radii_are_twice_the_others_is_listed(read_study: ReadStudy) -> None:
    plots = "site,plot,method,radius (m)\n"
    visits = "site,plot,tag,date,state\n"
    for site, factor in (("Rise", 1), ("Flat", 1), ("Bend", 2)):
        for plot, method, radius in ((1, "rip", 0.5), (2, "mound", 0.4)):
            plots += f"{site},{plot},{method},{radius * factor}\n"
            visits += f"{site},{plot},001,2022-07-01,A\n"
    toml = TAGGED + sheet() + '[records.plots]\nfile = "plots.csv"\n' + RULES
    records = read_study(toml, visits_csv=visits, plots_csv=plots)
    assert record_codes(records) == {"radius-like-diameter"}
    problems = records.problems[records.problems["code"] == "radius-like-diameter"]
    assert list(problems["row"]) == [6]


def test_words() -> None:
    assert squeezed("Plot ID") == squeezed("plot_id") == squeezed("PlotId") == "plotid"
    assert spoken("Not-Found.") == "not found"
    assert [
        label
        for label in ("Total", "TOTALS:", "Grand total", "sub-total", "Sum", "mean")
        if not is_total(label)
    ] == []
    assert [label for label in ("Totara Hill", "Summit", "Mean Creek", "Sumac") if is_total(label)] == []
