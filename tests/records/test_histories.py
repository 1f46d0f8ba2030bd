"""What a seedling's history becomes. The tables are the rules, readable as they stand.

Visits on days 30, 100, 200 and 300 after planting. A letter a visit: A alive, D dead,
M missing (position found, plant gone), F not found, Q doubtful, - blank, . no row at all.
An interval is (start, stop, died). A second seedling of the plot, alive throughout,
shows that the plot was visited.
"""

from __future__ import annotations

import datetime as dt

import pandas as pd
import pytest

from survivor.intervals import check_intervals
from tests.records.making import TAGGED, ReadStudy, record_codes, sheet

DAYS = (30, 100, 200, 300)
PLANTED = dt.date(2022, 6, 1)
WORDS = {"A": "alive", "D": "dead", "M": "missing", "F": "not found", "-": "", "Q": "doubtful"}

# name: (history, intervals, codes of problems with the seedling)
AT_PLANTING = {
    "alive throughout": ("AAAA", [(0, 30, 0), (30, 100, 0), (100, 200, 0), (200, 300, 0)], set()),
    "dead and dead again": ("ADDD", [(0, 30, 0), (30, 100, 1)], set()),
    "not listed after its death": ("ADD.", [(0, 30, 0), (30, 100, 1)], set()),
    "dead at the first visit": ("DDDD", [(0, 30, 1)], set()),
    "dead at the last visit only": (
        "AAAD", [(0, 30, 0), (30, 100, 0), (100, 200, 0), (200, 300, 1)], {"unconfirmed-death"}),
    "missing is dead at the visit first missing": ("AMMM", [(0, 30, 0), (30, 100, 1)], {"missing-dead"}),
    "missing, then dead: still the first": ("AMDD", [(0, 30, 0), (30, 100, 1)], {"missing-dead"}),
    "missing at the last visit": (
        "AAAM", [(0, 30, 0), (30, 100, 0), (100, 200, 0), (200, 300, 1)], {"missing-dead"}),
    "a reshoot is alive throughout": (
        "ADAA", [(0, 30, 0), (30, 100, 0), (100, 200, 0), (200, 300, 0)], {"reshoot"}),
    "dead twice, then alive": (
        "ADDA", [(0, 30, 0), (30, 100, 0), (100, 200, 0), (200, 300, 0)], {"reshoot-late"}),
    "reshot and dead later": ("DADD", [(0, 30, 0), (30, 100, 0), (100, 200, 1)], {"reshoot"}),
    "missing, then alive": (
        "AMAA", [(0, 30, 0), (30, 100, 0), (100, 200, 0), (200, 300, 0)], {"alive-after-missing"}),
    "a blank widens the stretch": (
        "A-AA", [(0, 30, 0), (30, 200, 0), (200, 300, 0)], {"not-visited", "skipped-visit"}),
    "a blank before a death widens it too": (
        "A-DD", [(0, 30, 0), (30, 200, 1)], {"not-visited", "skipped-visit"}),
    "no row is like a blank": ("A.AA", [(0, 30, 0), (30, 200, 0), (200, 300, 0)], {"skipped-visit"}),
    "not found once": ("AFAA", [(0, 30, 0), (30, 200, 0), (200, 300, 0)], {"not-found", "skipped-visit"}),
    "not found at the end": ("AAFF", [(0, 30, 0), (30, 100, 0)], {"not-found", "not-found-at-end"}),
    "not found at the last visit": (
        "AAAF", [(0, 30, 0), (30, 100, 0), (100, 200, 0)], {"not-found-at-end"}),
    "in doubt once": ("AQAA", [(0, 30, 0), (30, 200, 0), (200, 300, 0)], {"doubtful", "skipped-visit"}),
    "in doubt, then dead": (
        "AQDD", [(0, 30, 0), (30, 200, 1)], {"doubtful", "skipped-visit"}),
    "in doubt to the end": ("AAQQ", [(0, 30, 0), (30, 100, 0)], {"doubtful"}),
    "in doubt after its death": ("ADQQ", [(0, 30, 0), (30, 100, 1)], {"doubtful"}),
    "blank to the end": ("AA--", [(0, 30, 0), (30, 100, 0)], {"not-visited", "lost-from-sight"}),
    "no row to the end": ("AA..", [(0, 30, 0), (30, 100, 0)], {"lost-from-sight"}),
    "never found at all": ("FFFF", [], {"not-found", "not-found-at-end"}),
    "not found and dead later": ("AFFD", [(0, 30, 0), (30, 300, 1)],
                                 {"not-found", "skipped-visit", "unconfirmed-death"}),
    "dead, then not found: dead all the same": ("ADFF", [(0, 30, 0), (30, 100, 1)], {"not-found"}),
}  # fmt: skip

MISSING_UNKNOWN = {
    "missing to the end": ("AMMM", [(0, 30, 0)], {"missing-unknown", "not-found-at-end"}),
    "missing, then dead": ("AMDD", [(0, 30, 0), (30, 200, 1)], {"missing-unknown", "skipped-visit"}),
    "missing, then alive": (
        "AMAA", [(0, 30, 0), (30, 100, 0), (100, 200, 0), (200, 300, 0)], {"alive-after-missing"}),
}  # fmt: skip

BLANK_DEAD = {
    "blank to the end is dead at the first blank": ("AA--", [(0, 30, 0), (30, 100, 0), (100, 200, 1)],
                                                    {"blank-dead", "not-visited"}),
    "blank, then alive is not dead": (
        "A-AA", [(0, 30, 0), (30, 200, 0), (200, 300, 0)], {"not-visited", "skipped-visit"}),
    "no row is not a blank": ("AA..", [(0, 30, 0), (30, 100, 0)], {"lost-from-sight"}),
}  # fmt: skip

FIRST_SIGHTING = {
    "followed from the first sighting": (
        ".AAA", [(100, 200, 0), (200, 300, 0)], {"delayed-entry"}),
    "dead at the visit after": ("AD..", [(30, 100, 1)], {"delayed-entry"}),
    "never seen alive": ("DDDD", [], {"never-seen-alive", "delayed-entry"}),
    "called dead at first and alive later": (
        "DAAA", [(30, 100, 0), (100, 200, 0), (200, 300, 0)], {"reshoot", "delayed-entry"}),
    "seen once": ("...A", [], {"seen-once", "delayed-entry"}),
}  # fmt: skip

# unknown rule: (history, intervals)
BOUNDS = {
    ("dead", "AAFF"): [(0, 30, 0), (30, 100, 0), (100, 200, 1)],
    ("alive", "AAFF"): [(0, 30, 0), (30, 100, 0), (100, 300, 0)],
    ("dead", "FFFF"): [(0, 30, 1)],
    ("alive", "FFFF"): [(0, 300, 0)],
    ("dead", "AAQQ"): [(0, 30, 0), (30, 100, 0), (100, 200, 1)],
    ("alive", "AAQQ"): [(0, 30, 0), (30, 100, 0), (100, 300, 0)],
    ("dead", "AA.."): [(0, 30, 0), (30, 100, 0), (100, 200, 1)],
    ("dead", "ADDD"): [(0, 30, 0), (30, 100, 1)],
    ("alive", "ADDD"): [(0, 30, 0), (30, 100, 1)],
    ("dead", "A-AA"): [(0, 30, 0), (30, 200, 0), (200, 300, 0)],
}


def visits(history: str, witness: str = "AAAA", tag: str = "007") -> str:
    lines = ["site,plot,tag,visit,date,state"]
    for name, letters in (("001", witness), (tag, history)):
        for number, (day, letter) in enumerate(zip(DAYS, letters, strict=True), start=1):
            if letter != ".":
                date = PLANTED + dt.timedelta(days=day)
                lines.append(f"Rise,1,{name},visit {number},{date},{WORDS[letter]}")
    return "\n".join(lines) + "\n"


def study(rules: str) -> str:
    head = TAGGED.replace('name = "tagged"', 'name = "tagged"\npurpose = "follow a trend"')
    return f'{head}{sheet()}[rules]\nplanted_date = "{PLANTED}"\n{rules}\n'


def of_tag(table: pd.DataFrame, tag: str = "007") -> list[tuple[int, int, int]]:
    own = table[table["tag"] == tag]
    return list(own[["start_day", "stop_day", "died"]].itertuples(index=False, name=None))


TABLES = [
    ('tagged = "at planting"', AT_PLANTING),
    ('tagged = "at planting"\nmissing = "unknown"', MISSING_UNKNOWN),
    ('tagged = "at planting"\nblank = "dead"', BLANK_DEAD),
    ('tagged = "at first sighting"', FIRST_SIGHTING),
]
CASES = [
    pytest.param(rules, *case, id=f"{name} ({rules.splitlines()[-1]})")
    for rules, table in TABLES
    for name, case in table.items()
]


@pytest.mark.parametrize(("rules", "history", "intervals", "problems"), CASES)
def test_a_history_becomes_these_intervals(
    read_study: ReadStudy, rules: str, history: str, intervals: list[tuple[int, int, int]], problems: set[str]
) -> None:
    records = read_study(study(rules), visits_csv=visits(history))
    check_intervals(records.intervals)
    assert of_tag(records.intervals) == intervals
    assert record_codes(records) == problems


@pytest.mark.parametrize(("unknown", "history"), BOUNDS)
def test_unknown_tags_bound_the_answer(read_study: ReadStudy, unknown: str, history: str) -> None:
    records = read_study(study('tagged = "at planting"'), visits_csv=visits(history))
    bounded = records.under(unknown=unknown)
    check_intervals(bounded)
    assert of_tag(bounded) == BOUNDS[unknown, history]
    assert records.under().equals(records.intervals)


def test_missing_can_be_taken_as_unknown_after_reading(read_study: ReadStudy) -> None:
    records = read_study(study('tagged = "at planting"'), visits_csv=visits("AMMM"))
    assert of_tag(records.intervals) == [(0, 30, 0), (30, 100, 1)]
    assert of_tag(records.under(missing="unknown")) == [(0, 30, 0)]
    assert of_tag(records.under(missing="unknown", unknown="dead")) == [(0, 30, 0), (30, 100, 1)]
    assert of_tag(records.under(missing="unknown", unknown="alive")) == [(0, 30, 0), (30, 300, 0)]


def test_a_seedling_recorded_within_two_weeks_of_planting_was_tagged_then(read_study: ReadStudy) -> None:
    table = visits("AAAA") + f"Rise,1,007,planting visit,{PLANTED + dt.timedelta(days=5)},alive\n"
    records = read_study(study(""), visits_csv=table)
    assert of_tag(records.intervals)[0] == (0, 5, 0)
    assert of_tag(records.intervals, "001")[0] == (30, 100, 0)  # first seen at 30 days: delayed entry
    assert "tagged-not-told" in set(records.problems["code"])


@pytest.mark.parametrize(("planted", "start"), [(2, 0), (25, 30)])
def test_as_many_tags_as_seedlings_means_tagged_at_planting(
    read_study: ReadStudy, planted: int, start: int
) -> None:
    plots = f"site,plot,planted,planted_date\nRise,1,{planted},{PLANTED}\n"
    toml = study("").replace("[rules]", '[records.plots]\nfile = "plots.csv"\n[rules]')
    records = read_study(toml, visits_csv=visits("AAAA"), plots_csv=plots)
    assert of_tag(records.intervals)[0] == (start, 30 if start == 0 else 100, 0)


def test_infill_has_its_own_clock_and_never_its_predecessors(read_study: ReadStudy) -> None:
    table = "site,plot,tag,cohort,planted on,visit,date,state\n"
    rows = [
        ("007", "planting", PLANTED, "1", 100, "dead"),
        ("007", "planting", PLANTED, "2", 200, "dead"),
        ("007", "infill", PLANTED + dt.timedelta(days=150), "2", 200, "alive"),
        ("007", "infill", PLANTED + dt.timedelta(days=150), "3", 300, "dead"),
        ("008", "planting", PLANTED, "1", 100, "alive"),
        ("008", "planting", PLANTED, "3", 300, "alive"),
        ("009", "refill", "", "3", 300, "alive"),
    ]
    for tag, cohort, planted, visit, day, state in rows:
        table += f"Rise,1,{tag},{cohort},{planted},{visit},{PLANTED + dt.timedelta(days=day)},{state}\n"
    records = read_study(
        study('tagged = "at planting"').replace(f'planted_date = "{PLANTED}"', ""), visits_csv=table
    )
    own = records.intervals[records.intervals["tag"] == "007"]
    assert list(own[["cohort", "start_day", "stop_day", "died"]].itertuples(index=False, name=None)) == [
        ("infill", 0, 50, 0),
        ("infill", 50, 150, 1),
        ("planting", 0, 100, 1),
    ]
    no_date = records.accounts[records.accounts["code"] == "infill-no-date"]
    assert list(no_date["row"]) == [8]
    assert list(no_date["fate"]) == ["excluded"]
