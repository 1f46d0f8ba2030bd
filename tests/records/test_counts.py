"""What the counts of a plot become. The table is the rules, readable as it stands.

Counts on days 30, 100, 200 and 300 after planting; None is a blank. An interval is
(start, stop, at risk, died).
"""

from __future__ import annotations

import datetime as dt

import pandas as pd
import pytest

from survivor.intervals import check_intervals
from survivor.records.checks.visits import check_twice
from tests.records.making import COUNTS, ReadStudy, record_codes, sheet

DAYS = (30, 100, 200, 300)
PLANTED = dt.date(2022, 6, 1)

# name: (planted, counts, intervals, codes)
CASES = {
    "the fall is the deaths": (
        50, (45, 40, 38, 38), [(0, 30, 50, 5), (30, 100, 45, 5), (100, 200, 40, 2), (200, 300, 38, 0)],
        set()),
    "a blank widens the stretch": (
        50, (45, None, 38, 38), [(0, 30, 50, 5), (30, 200, 45, 7), (200, 300, 38, 0)], {"not-visited"}),
    "all dead": (50, (0, 0, 0, 0), [(0, 30, 50, 50)], set()),
    "a rise: both counts are excluded": (
        50, (45, 40, 43, 38), [(0, 30, 50, 5), (30, 300, 45, 7)], {"count-rises"}),
    "a rise that stays": (
        50, (40, 43, 42, 41), [(0, 200, 50, 8), (200, 300, 42, 1)], {"count-rises"}),
    "two rises": (50, (45, 40, 42, 43), [(0, 30, 50, 5)], {"count-rises"}),
    "more than planted": (
        50, (45, 55, 38, 38), [(0, 30, 50, 5), (30, 200, 45, 7), (200, 300, 38, 0)],
        {"more-alive-than-planted"}),
    "nothing planted": (0, (0, 0, 0, 0), [], {"nothing-planted"}),
    "no number planted: from the first count on": (
        None, (45, 40, 38, 38), [(30, 100, 45, 5), (100, 200, 40, 2), (200, 300, 38, 0)],
        {"no-planted-number"}),
    "one count and no number planted": (
        None, (45, None, None, None), [], {"no-planted-number", "not-visited", "seen-once"}),
}  # fmt: skip
MENDED = {
    "the earlier count is raised": (
        50, (45, 40, 43, 38), [(0, 30, 50, 5), (30, 100, 45, 2), (100, 200, 43, 0), (200, 300, 43, 5)],
        {"count-mended"}),
    "and those before it": (
        50, (40, 41, 43, 38), [(0, 30, 50, 7), (30, 100, 43, 0), (100, 200, 43, 0), (200, 300, 43, 5)],
        {"count-mended"}),
    "never above the number planted": (
        50, (45, 40, 55, 38), [(0, 30, 50, 5), (30, 100, 45, 5), (100, 300, 40, 2)],
        {"more-alive-than-planted"}),
}  # fmt: skip

BOTH = [pytest.param("report", *case, id=name) for name, case in CASES.items()] + [
    pytest.param("mend", *case, id=f"mend: {name}") for name, case in MENDED.items()
]


def study(rule: str = "report", more: str = "") -> str:
    head = COUNTS.replace('name = "counts"', 'name = "counts"\npurpose = "check a target"')
    return f'{head}{sheet()}{more}[rules]\nplanted_date = "{PLANTED}"\ncount_rises = "{rule}"\n'


def rows(plot: str, planted: int | None, counts: tuple[int | None, ...], infill: str = "") -> str:
    text = ""
    for day, count, put_in in zip(DAYS, counts, (infill or ",,,").split(","), strict=True):
        date = PLANTED + dt.timedelta(days=day)
        cells = ("Rise", plot, date, planted, count, put_in)
        text += ",".join("" if cell is None else str(cell) for cell in cells) + "\n"
    return text


HEADER = "site,plot,date,planted,alive,infill\n"
WITNESS = rows("other", 10, (10, 10, 10, 10))


def of_plot(table: pd.DataFrame, plot: str = "1") -> list[tuple[int, int, int, int]]:
    own = table[table["plot"] == plot]
    return list(own[["start_day", "stop_day", "at_risk", "died"]].itertuples(index=False, name=None))


@pytest.mark.parametrize(("rule", "planted", "counts", "intervals", "problems"), BOTH)
def test_counts_become_these_intervals(
    read_study: ReadStudy,
    rule: str,
    planted: int | None,
    counts: tuple[int | None, ...],
    intervals: list[tuple[int, int, int, int]],
    problems: set[str],
) -> None:
    records = read_study(study(rule), visits_csv=HEADER + rows("1", planted, counts) + WITNESS)
    check_intervals(records.intervals)
    assert of_plot(records.intervals) == intervals
    assert record_codes(records) == problems
    assert len(records.accounts) == 8


def test_infill_counted_together_ends_the_following(read_study: ReadStudy) -> None:
    counts = rows("1", 50, (45, 40, 48, 46), infill=",10,,")
    records = read_study(study(), visits_csv=HEADER + counts + WITNESS)
    assert of_plot(records.intervals) == [(0, 30, 50, 5), (30, 100, 45, 5)]
    mixed = records.accounts[records.accounts["code"] == "infill-mixed"]
    assert list(mixed["row"]) == [4, 5]


def test_infill_in_rows_of_its_own_has_its_own_clock(read_study: ReadStudy) -> None:
    put_in = PLANTED + dt.timedelta(days=100)
    table = "site,plot,cohort,planting date,date,planted,alive\n"
    for cohort, planted_on, day, planted, alive in (
        ("", PLANTED, 100, 50, 40),
        ("", PLANTED, 200, 50, 38),
        ("refill", put_in, 200, 10, 9),
        ("refill", put_in, 300, 10, 8),
    ):
        table += f"Rise,1,{cohort},{planted_on},{PLANTED + dt.timedelta(days=day)},{planted},{alive}\n"
    records = read_study(study(), visits_csv=table)
    own = records.intervals[["cohort", "start_day", "stop_day", "at_risk", "died"]]
    assert list(own.itertuples(index=False, name=None)) == [
        ("infill", 0, 100, 10, 1),
        ("infill", 100, 200, 9, 1),
        ("planting", 0, 100, 50, 10),
        ("planting", 100, 200, 40, 2),
    ]


def test_counts_by_species_take_their_numbers_planted_from_the_plot_sheet(read_study: ReadStudy) -> None:
    plots = f"site,plot,species,no. planted,planting date\nRise,1,oak,30,{PLANTED}\nRise,1,ash,20,{PLANTED}\n"
    date = PLANTED + dt.timedelta(days=100)
    visits = f"site,plot,species,date,count\nRise,1,Oak,{date},25\nRise,1,ash,{date},20\n"
    toml = study(more='[records.plots]\nfile = "plots.csv"\n')
    records = read_study(toml, visits_csv=visits, plots_csv=plots)
    own = records.intervals[["species", "at_risk", "died"]]
    assert list(own.itertuples(index=False, name=None)) == [("ash", 20, 0), ("oak", 30, 5)]
    assert list(records.plots["planted"]) == [20, 30]


def test_bounds_for_unknown_tags_leave_counts_as_they_are(read_study: ReadStudy) -> None:
    records = read_study(study(), visits_csv=HEADER + rows("1", 50, (45, 40, 38, 38)))
    assert records.under(unknown="dead").equals(records.intervals)


def test_two_counts_that_contradict_are_written_as_whole_numbers() -> None:
    rows = pd.DataFrame(
        {"record": [0, 1], "source": 0, "row": [2, 3], "plot": "P1", "at": "first", "alive": [12.0, 14.0]}
    )
    found = check_twice(rows, ["plot", "at"], "alive", "plot")
    assert [text.partition("(")[2].partition(",")[0] for text in found["what"]] == ["12", "14"]
