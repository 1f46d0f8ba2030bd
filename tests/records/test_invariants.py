"""Whatever the histories: nobody is lost or counted twice, and every record is accounted for."""

from __future__ import annotations

import datetime as dt
import itertools
import tempfile
from pathlib import Path

import pandas as pd
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from survivor.errors import RecordsError
from survivor.intervals import check_intervals, entries
from survivor.records import Records, read_records
from survivor.settings import read_settings
from tests.records.making import COUNTS, TAGGED, ReadStudy, sheet

PLANTED = dt.date(2022, 6, 1)
DAYS = (0, 30, 100, 200, 300)
WORDS = {"A": "A", "D": "dead", "M": "missing", "F": "NF", "-": "", "?": "?"}
AIM = '\npurpose = "check a target"\nas_of'
few = settings(max_examples=20, deadline=None)

history = st.text(alphabet="AADMF-.?", min_size=len(DAYS), max_size=len(DAYS))
plots = st.lists(st.lists(history, min_size=1, max_size=5), min_size=1, max_size=3)
rules = st.fixed_dictionaries(
    {
        "missing": st.sampled_from(["dead", "unknown"]),
        "blank": st.sampled_from(["not visited", "dead"]),
        "tagged": st.sampled_from(["at planting", "at first sighting"]),
    }
)
# What people do to a sheet besides: a row twice, a tag or date left out, another site, a total.
dirt = st.lists(
    st.sampled_from(
        [
            "Rise,0,t0,30,2022-07-01,A",
            "Rise,0,t0,30,2022-07-01,dead",
            "Rise,0,,30,2022-07-01,A",
            "Rise,0,t0,100,,A",
            "Rise,0,t1,100,03/04/2022,A",
            "Rise,0,t1,100,2021-09-09,A",
            "Rise,0,t1,300,2032-09-09,A",
            "Rise,,t1,300,2022-09-09,A",
            "Total,,,,,",
        ]
    ),
    max_size=3,
)


def read(toml: str, table: str) -> Records:
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        (folder / "study.toml").write_text(toml)
        (folder / "visits.csv").write_text(table)
        records = read_records(folder, read_settings(folder))
    if records.nothing is None:
        check_intervals(records.intervals)
    else:
        assert records.intervals.empty
        assert (records.accounts["fate"] != "used").all()
    return records


def seedlings(told: list[list[str]]) -> tuple[list[str], dict[tuple[str, str], str]]:
    lines, by_tag = [], {}
    for plot, histories in enumerate(told):
        for tag, letters in enumerate(histories):
            by_tag[str(plot), f"t{tag}"] = letters
            for day, letter in zip(DAYS, letters, strict=True):
                if letter != ".":
                    date = PLANTED + dt.timedelta(days=day)
                    lines.append(f"Rise,{plot},t{tag},{day},{date},{WORDS[letter]}")
    return lines, by_tag


def study(rule: dict[str, str]) -> str:
    lines = "".join(f'{name} = "{value}"\n' for name, value in rule.items())
    return TAGGED.replace("\nas_of", AIM) + sheet() + f'[rules]\nplanted_date = "{PLANTED}"\n{lines}'


def by_hand(letters: str, rule: dict[str, str]) -> list[tuple[int, int, int]]:
    """The rule for one seedling, written the slow way."""
    dead = {"D"} | ({"M"} if rule["missing"] == "dead" else set())
    alive_at = [place for place, letter in enumerate(letters) if letter == "A"]
    last = alive_at[-1] if alive_at else -1
    points = [(DAYS[p], False) for p, letter in enumerate(letters) if p <= last and letter in "ADM"]
    for place in range(last + 1, len(DAYS)):
        blank = letters[place] == "-" and rule["blank"] == "dead" and DAYS[place] > 0
        if letters[place] in dead or blank:
            points.append((DAYS[place], True))
            break
    if rule["tagged"] == "at planting":
        points = [(0, False), *points]
    found = [
        (start, stop, int(dies)) for (start, _), (stop, dies) in itertools.pairwise(points) if stop > start
    ]
    return found if points and not points[0][1] else []


@pytest.mark.slow
@given(plots, rules)
@few
def test_intervals_are_those_of_the_rule_applied_seedling_by_seedling(
    told: list[list[str]], rule: dict[str, str]
) -> None:
    lines, by_tag = seedlings(told)
    expected = {key: by_hand(letters, rule) for key, letters in by_tag.items()}
    records = read(study(rule), "site,plot,tag,visit,date,state\n" + "\n".join(lines) + "\n")
    table = records.intervals
    for (plot, tag), intervals in expected.items():
        own = table[(table["plot"] == plot) & (table["tag"] == tag)]
        assert list(own[["start_day", "stop_day", "died"]].itertuples(index=False, name=None)) == intervals
    sizes = records.sizes()
    assert sizes["entered"] == sizes["died"] + sizes["lost"] + sizes["alive"]
    assert sizes["died"] == table["died"].sum()


@pytest.mark.slow
@given(plots, rules)
@few
def test_bounds_change_the_fate_of_lost_tags_only(told: list[list[str]], rule: dict[str, str]) -> None:
    lines, _ = seedlings(told)
    records = read(study(rule), "site,plot,tag,visit,date,state\n" + "\n".join(lines) + "\n")
    died, lost = records.sizes()["died"], records.sizes()["lost"]
    dead, alive = records.under(unknown="dead"), records.under(unknown="alive")
    for table in (dead, alive):
        if not table.empty:
            check_intervals(table)
    assert dead["died"].sum() == died + lost
    assert alive["died"].sum() == died
    assert alive["stop_day"].sum() >= records.intervals["stop_day"].sum()


@pytest.mark.slow
@given(plots, rules, dirt)
@few
def test_every_record_is_in_an_interval_or_in_the_problems(
    told: list[list[str]], rule: dict[str, str], rows: list[str]
) -> None:
    lines, _ = seedlings(told)
    lines += rows
    records = read(study(rule), "site,plot,tag,visit,date,state\n" + "\n".join(lines) + "\n")
    accounts = records.accounts
    assert list(accounts["row"]) == list(range(2, len(lines) + 2))
    assert set(accounts["fate"]) <= {"used", "excluded", "listed"}
    unused = accounts[accounts["fate"] != "used"]
    assert (unused["code"] != "").all()
    assert set(accounts["code"]) - {""} <= set(records.problems["code"])
    used = accounts[accounts["fate"] == "used"].merge(records.visits, on=["file", "row"])
    assert len(used) == (accounts["fate"] == "used").sum()
    died = records.intervals[records.intervals["died"] == 1].set_index(["plot", "tag"])["stop_day"]
    ends = set()
    for column in ("start_day", "stop_day"):
        ends |= set(records.intervals[["plot", "tag", column]].itertuples(index=False, name=None))
    for plot, tag, day in used[["plot", "tag", "day"]].itertuples(index=False, name=None):
        confirms_death = (plot, tag) in died.index and day > died[plot, tag]
        assert (plot, tag, day) in ends or confirms_death


counted = st.lists(
    st.tuples(
        st.one_of(st.none(), st.integers(0, 60)),  # planted
        st.lists(st.one_of(st.none(), st.integers(-1, 60)), min_size=4, max_size=4),
        st.lists(st.sampled_from([0, 0, 0, 5]), min_size=4, max_size=4),  # infill
    ),
    min_size=1,
    max_size=5,
)


@pytest.mark.slow
@given(counted, st.sampled_from(["report", "mend"]))
@example([(None, [None, None, 0, 0], [0, 0, 0, 0])], "report")
@settings(max_examples=30, deadline=None)
def test_counts_fall_and_add_up(
    told: list[tuple[int | None, list[int | None], list[int]]], rises: str
) -> None:
    table = "site,plot,visit,date,planted,alive,infill\n"
    for plot, (planted, alive, infill) in enumerate(told):
        for day, count, put_in in zip(DAYS[1:], alive, infill, strict=True):
            cells = ("Rise", plot, day, PLANTED + dt.timedelta(days=day), planted, count, put_in)
            table += ",".join("" if cell is None else str(cell) for cell in cells) + "\n"
    toml = COUNTS.replace("\nas_of", AIM) + sheet()
    records = read(toml + f'[rules]\nplanted_date = "{PLANTED}"\ncount_rises = "{rises}"\n', table)
    intervals = records.intervals
    for plot, own in intervals.groupby("plot"):
        planted = told[int(str(plot))][0]
        if planted is not None:
            assert (own["start_day"].iloc[0], own["at_risk"].iloc[0]) == (0, planted)
        left = (own["at_risk"] - own["died"]).tolist()
        assert own["at_risk"].tolist()[1:] == left[:-1]  # so at_risk never rises
        assert own["start_day"].tolist()[1:] == own["stop_day"].tolist()[:-1]  # no overlap, no gap
    alive = (intervals["at_risk"] - intervals["died"]).groupby(intervals["plot"]).last().sum()
    assert entries(intervals)["at_risk"].sum() == intervals["died"].sum() + alive
    accounts = records.accounts
    assert len(accounts) == 4 * len(told)
    assert (accounts.loc[accounts["fate"] != "used", "code"] != "").all()
    used = accounts[accounts["fate"] == "used"].merge(records.visits, on=["file", "row"])
    days = pd.concat([intervals[["plot", "start_day"]].rename(columns={"start_day": "stop_day"}),
                      intervals[["plot", "stop_day"]]])  # fmt: skip
    ends = set(days.itertuples(index=False, name=None))
    for plot, day, count in used[["plot", "day", "alive"]].itertuples(index=False, name=None):
        assert (plot, day) in ends or count == 0  # after the last death there is nobody at risk


def test_a_sheet_of_which_nothing_can_be_used_says_what_to_begin_with(read_study: ReadStudy) -> None:
    table = "site,plot,tag,date,state\nRise,1,001,2022-07-01,A\n"
    records = read_study(TAGGED.replace("\nas_of", AIM) + sheet(), visits_csv=table)
    with pytest.raises(RecordsError) as error:
        records.need_intervals()
    assert "visits.csv row 2" in error.value.mend
    assert "planted_date" in error.value.mend
