"""Orders of dates, tags in two spellings, short species, second observers, plantings of several seasons."""

from __future__ import annotations

import pytest

from survivor.errors import RecordsError
from survivor.records.checks.names import is_short_for
from survivor.records.checks.tags import bare_tag
from tests.records.making import COUNTS, TAGGED, ReadStudy, record_codes, sheet

AIM = TAGGED.replace("\nas_of", '\npurpose = "check a target"\nas_of')
COUNTED = COUNTS.replace("\nas_of", '\npurpose = "check a target"\nas_of')
RULES = '[rules]\ntagged = "at planting"\n'
DAY_FIRST = 'date_order = "day-first"'
HEAD = "site,plot,tag,visit,date,planting date,state\n"


def row(
    tag: str, visit: int, date: str, state: str = "alive", plot: int = 1, planted: str = "2022-06-15"
) -> str:
    return f"Rise,{plot},{tag},{visit},{date},{planted},{state}\n"


def seedlings(*dates: str, tags: int = 5) -> str:
    return "".join(row(f"{tag:03d}", v, date) for tag in range(tags) for v, date in enumerate(dates, start=1))


# ---- order of day and month: days are true in the order named, and written in the other ----


def test_one_slip_among_good_dates_is_named_alone(read_study: ReadStudy) -> None:
    # Day first, 07/06/2022 is 7 June, before planting; month first it would be 6 July.
    visits = HEAD + seedlings("14/07/2022", "05/12/2022") + row("009", 1, "07/06/2022")
    visits += row("009", 2, "05/12/2022")
    records = read_study(AIM + sheet(more=DAY_FIRST) + RULES, visits_csv=visits)
    slip = records.problems[records.problems["code"] == "date-order"]
    assert list(slip["row"]) == [12]
    assert slip.iloc[0]["value"] == "read as 2022-06-07"
    assert int((records.accounts["fate"] == "used").sum()) == 11


def test_a_date_that_no_order_mends_is_before_planting(read_study: ReadStudy) -> None:
    visits = HEAD + seedlings("14/07/2022", "05/12/2022") + row("009", 1, "02/03/2022")
    records = read_study(AIM + sheet(more=DAY_FIRST) + RULES, visits_csv=visits)
    assert "date-order" not in record_codes(records)
    assert "before-planting" in record_codes(records)


def test_a_sheet_in_the_other_order_is_one_problem_and_none_of_its_doubtful_dates_is_used(
    read_study: ReadStudy,
) -> None:
    # Written month first: 1 July and 9 December 2022; day first 7 January (before planting) and 12 September.
    visits = HEAD + seedlings("07/01/2022", "12/09/2022") + row("009", 1, "2022-07-01")
    records = read_study(AIM + sheet(more=DAY_FIRST) + RULES, visits_csv=visits)
    slip = records.problems[records.problems["code"] == "date-order"]
    assert len(slip) == 1
    assert "many of these dates" in slip.iloc[0]["what"]
    assert set(records.visits["tag"]) == {"009"}
    right = read_study(AIM + sheet(more='date_order = "month-first"') + RULES, visits_csv=visits)
    assert "date-order" not in record_codes(right)
    assert set(right.intervals["stop_day"]) == {16, 177}


def test_planting_days_in_the_other_order_are_named_as_such(read_study: ReadStudy) -> None:
    # Planted 15 June in truth for plot 2; plot 1 on 6 December, written 06/12 and meant as 12 June.
    plots = "site,plot,planting date\nRise,1,06/12/2022\nRise,2,15/06/2022\n"
    visits = "site,plot,tag,visit,date,state\n" + "".join(
        f"Rise,{plot},{tag},1,2022-09-01,alive\n" for plot in (1, 2) for tag in range(3)
    )
    toml = AIM + sheet() + f'[records.plots]\nfile = "plots.csv"\n{DAY_FIRST}\n' + RULES
    records = read_study(toml, visits_csv=visits, plots_csv=plots)
    slip = records.problems[records.problems["code"] == "date-order"]
    assert len(slip) == 1
    assert "planting date are exchanged" in slip.iloc[0]["what"]
    assert set(records.intervals["plot"]) == {"2"}


# ---- tags ----------------------------------------------------------------------------------

SAME = [
    ("0740", "740"),
    ("0740", "0740.0"),
    ("740", "740.0"),
    ("a12", "A12"),
    ("A 12", "a12"),
    ("P007", "p7"),
]
OTHER = [("0740", "0741"), ("740", "7400"), ("A12", "B12"), ("1.5", "15"), ("10", "1"), ("0", "00.5")]


@pytest.mark.parametrize(("one", "other"), SAME)
def test_spellings_of_one_tag(one: str, other: str) -> None:
    assert bare_tag(one) == bare_tag(other)


@pytest.mark.parametrize(("one", "other"), OTHER)
def test_tags_that_are_two(one: str, other: str) -> None:
    assert bare_tag(one) != bare_tag(other)


def test_two_spellings_at_one_visit_are_two_seedlings(read_study: ReadStudy) -> None:
    visits = HEAD + row("0740", 1, "2022-07-14") + row("740", 1, "2022-07-14") + row("740", 2, "2023-04-20")
    for rule in ("", 'tags_alike = "join"\n'):
        records = read_study(AIM + sheet() + RULES + rule, visits_csv=visits)
        assert not {"tag-spelling", "tag-joined"} & record_codes(records)
        assert set(records.intervals["tag"]) == {"0740", "740"}


def test_tags_of_other_plots_are_no_spelling(read_study: ReadStudy) -> None:
    visits = HEAD + row("01", 1, "2022-07-14") + row("1", 1, "2022-07-14", plot=2)
    assert "tag-spelling" not in record_codes(read_study(AIM + sheet() + RULES, visits_csv=visits))


def test_joined_tags_are_followed_as_one_and_only_where_allowed(read_study: ReadStudy) -> None:
    visits = HEAD + row("0740", 1, "2022-07-14") + row("740.0", 2, "2023-04-20", "dead")
    apart = read_study(AIM + sheet() + RULES, visits_csv=visits)
    assert set(apart.intervals["tag"]) == {"0740", "740.0"}
    joined = read_study(AIM + sheet() + RULES + 'tags_alike = "join"\n', visits_csv=visits)
    assert list(joined.intervals["tag"]) == ["0740", "0740"]
    assert list(joined.intervals["died"]) == [0, 1]
    assert joined.rules.to_dict("records") == [
        {
            "rule": '[rules] tags_alike = "join"',
            "what": "two spellings of a tag taken as one",
            "records": 1,
        }
    ]


# ---- species -------------------------------------------------------------------------------

SHORT = [("E. cam.", "Eucalyptus camaldulensis"), ("euc cam", "Eucalyptus camaldulensis"),
         ("EUCCAM", "Eucalyptus camaldulensis"), ("E camaldulensis", "Eucalyptus camaldulensis"),
         ("r. red gum", "river red gum")]  # fmt: skip
NOT_SHORT = [("E. cam.", "Acacia camaldulensis"), ("oak", "oak"), ("oak", "oakwood"), ("ash", "mountain ash"),
             ("Eucalyptus camaldulensis", "E. cam."), ("ABC", "Eucalyptus camaldulensis")]  # fmt: skip


@pytest.mark.parametrize(("short", "whole"), SHORT)
def test_short_forms(short: str, whole: str) -> None:
    assert is_short_for(short, whole)


@pytest.mark.parametrize(("short", "whole"), NOT_SHORT)
def test_no_short_forms(short: str, whole: str) -> None:
    assert not is_short_for(short, whole)


def test_a_short_form_of_two_is_not_chosen_between(read_study: ReadStudy) -> None:
    names = ["Acacia melanoxylon", "Acacia mearnsii", "A. me."]
    visits = "species," + HEAD + "".join(f"{n}," + row(str(t), 1, "2022-07-14") for t, n in enumerate(names))
    records = read_study(AIM + sheet() + RULES, visits_csv=visits)
    problem = records.problems[records.problems["code"] == "species-spelling"].iloc[0]
    assert "Acacia mearnsii" in problem["what"]
    assert "Acacia melanoxylon" in problem["what"]
    assert "which one it is the sheet does not tell" in problem["mend"]
    assert set(records.intervals["species"]) == set(names)  # proposed, not mended


# ---- two observers -------------------------------------------------------------------------


def test_a_second_observer_of_seedlings_is_listed_and_compared(read_study: ReadStudy) -> None:
    visits = "observer," + HEAD
    for tag, (first, second) in enumerate((("alive", "alive"), ("dead", "alive"), ("dead", "dead"))):
        visits += (
            "Ann," + row(str(tag), 1, "2022-07-14", first) + "Bo," + row(str(tag), 1, "2022-07-16", second)
        )
    records = read_study(AIM + sheet() + RULES, visits_csv=visits)
    assert int(records.intervals["died"].sum()) == 2  # as Ann, the first, wrote
    listed = records.accounts[records.accounts["code"] == "second-observer"]
    assert list(listed["row"]) == [3, 5, 7]
    assert set(listed["fate"]) == {"listed"}
    said = records.problems.set_index("code").loc["observers-compared", "what"]
    assert "the same in 2 (67 %" in said


@pytest.mark.parametrize("second", ["Ann", ""])
def test_the_same_hand_or_none_twice_is_a_contradiction(read_study: ReadStudy, second: str) -> None:
    visits = "observer," + HEAD
    visits += "Ann," + row("1", 1, "2022-07-14") + f"{second}," + row("1", 1, "2022-07-14", "dead")
    visits += "Ann," + row("2", 1, "2022-07-14")
    records = read_study(AIM + sheet() + RULES, visits_csv=visits)
    assert "duplicate-record" in record_codes(records)
    assert "second-observer" not in record_codes(records)


# ---- plantings, percentages ------------------------------------------------------------------


def test_plots_of_two_planting_years_stand_in_one_file(read_study: ReadStudy) -> None:
    visits = HEAD + row("1", 1, "2021-07-15", planted="2021-06-15") + row("1", 1, "2022-07-15", plot=2)
    records = read_study(AIM + sheet() + RULES, visits_csv=visits)
    assert list(records.intervals["stop_day"]) == [30, 30]
    assert "several-plantings" not in record_codes(records)


PERCENTAGES = {
    "a column of percentages": "site,plot,date,survival (%)\nRise,1,2022-07-14,92\n",
    "a rate": "site,plot,date,Survival rate\nRise,1,2022-07-14,0.92\n",
    "percentages for counts": "site,plot,date,alive\nRise,1,2022-07-14,92%\nRise,2,2022-07-14,\n",
    "shares for counts": "site,plot,date,alive\nRise,1,2022-07-14,0.92\nRise,2,2022-07-14,1\n",
}


@pytest.mark.parametrize("name", PERCENTAGES)
def test_percentages_alone_are_shown_and_refused(read_study: ReadStudy, name: str) -> None:
    with pytest.raises(RecordsError, match="percentage only") as error:
        read_study(COUNTED + sheet() + '[rules]\nplanted_date = "2022-06-15"\n', visits_csv=PERCENTAGES[name])
    assert "92" in error.value.what
    assert "nobody can say how precise it is" in error.value.what


def test_one_percentage_among_counts_is_a_problem_of_its_row(read_study: ReadStudy) -> None:
    visits = "site,plot,date,planted,alive\nRise,1,2022-07-14,50,92%\nRise,2,2022-07-14,50,45\n"
    records = read_study(COUNTED + sheet() + '[rules]\nplanted_date = "2022-06-15"\n', visits_csv=visits)
    assert "percentage" in record_codes(records)
    assert list(records.intervals["plot"]) == ["2"]


def test_every_spelling_that_the_study_file_mends_is_counted(read_study: ReadStudy) -> None:
    more = '[records.sheets.species]\n"rrg" = "river red gum"\n'
    visits = "species," + HEAD + "rrg," + row("1", 1, "2022-07-14") + "RRG," + row("2", 1, "2022-07-14")
    visits += "river red gum," + row("3", 1, "2022-07-14")
    records = read_study(AIM + sheet(more=more) + RULES, visits_csv=visits)
    assert set(records.intervals["species"]) == {"river red gum"}
    assert list(records.rules["records"]) == [2]
