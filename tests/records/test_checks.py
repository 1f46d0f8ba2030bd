"""Each code of a problem with the smallest records that call it forth.

A case: kind, the sheets, further lines of the study file, and what is found: rows of
the sheet (one problem a group of records names the first), the column as the sheet
calls it, and the value that stands there.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import pytest

from survivor.records.codes import CODES
from tests.records.making import COUNTS, TAGGED, ReadStudy, sheet

AIM = '\npurpose = "check a target"'
PLOTS = '[records.plots]\nfile = "plots.csv"\n'
SEEDLINGS = "site,plot,tag,visit,date,planting date,state\n"
GOOD = """Rise,1,001,1,2022-07-01,2022-06-01,alive
Rise,1,001,2,2022-09-01,2022-06-01,alive
Rise,1,002,1,2022-07-01,2022-06-01,alive
Rise,1,002,2,2022-09-01,2022-06-01,alive
"""
NUMBERS = "site,plot,visit,date,planting date,planted,alive\n"
COUNTED = """Rise,1,1,2022-07-01,2022-06-01,50,45
Rise,1,2,2022-09-01,2022-06-01,50,40
Rise,2,1,2022-07-01,2022-06-01,50,45
Rise,2,2,2022-09-01,2022-06-01,50,40
"""
RULES = '[rules]\ntagged = "at planting"\n'


TWICE = (
    "observer,"
    + NUMBERS
    + """Ann,Rise,1,1,2022-07-01,2022-06-01,50,45
Ann,Rise,1,2,2022-09-01,2022-06-01,50,40
Bo,Rise,1,2,2022-09-02,2022-06-01,50,41
"""
)


@dataclass(frozen=True)
class Case:
    kind: str
    visits: str
    rows: tuple[int, ...] = ()
    column: str = ""
    value: str = ""
    plots: str = ""
    study: str = ""
    rules: str = RULES
    also: frozenset[str] = field(default_factory=frozenset)  # other codes that come with it


def tagged(rows: str, *found: int, **more: object) -> Case:
    return Case("tagged", SEEDLINGS + GOOD + rows, found, **more)


def counts(rows: str, *found: int, **more: object) -> Case:
    return Case("counts", NUMBERS + COUNTED + rows, found, **more)


def radii(column: str, *values: str, **more: object) -> Case:
    plots = f"site,plot,planting date,{column}\n"
    plots += "".join(f"Rise,{plot},2022-06-01,{value}\n" for plot, value in enumerate(values, start=1))
    return Case("tagged", SEEDLINGS + GOOD, plots=plots, column=column, **more)


def seen(tag: str, visit: str, date: str, state: str, plot: str = "1", planted: str = "2022-06-01") -> str:
    return f"Rise,{plot},{tag},{visit},{date},{planted},{state}\n"


def count(visit: str, date: str, alive: str, plot: str = "3", planted: str = "50") -> str:
    return f"Rise,{plot},{visit},{date},2022-06-01,{planted},{alive}\n"


CALLED_RADIUS = '[records.plots.columns]\nweed_free_radius_m = "weed-free diameter (m)"\n'
LOST = frozenset({"lost-from-sight"})
CASES: dict[str, Case] = {
    # cells
    "blank-key": tagged(seen("", "1", "2022-07-01", "alive"), 6, column="tag"),
    "blank-date": tagged(seen("003", "1", "", "alive"), 6, column="date"),
    "ambiguous-date": tagged(seen("003", "1", "03/04/2022", "alive"), 6, column="date", value="03/04/2022"),
    "date-order": Case(
        "tagged",
        SEEDLINGS
        + GOOD.replace("2022-07-01", "13/07/2022").replace("2022-09-01", "2022-09-21")
        + seen("003", "2", "2022-09-21", "alive")
        + seen("003", "1", "01/07/2022", "alive"),
        (2,),
        "date",
        "13/07/2022",
        study='date_order = "month-first"\n',
    ),
    "unreadable-date": tagged(seen("003", "1", "in spring", "alive"), 6, column="date", value="in spring"),
    "serial-date": tagged(seen("003", "2", "44805", "alive"), 6, column="date", value="44805"),
    "unknown-state": tagged(seen("003", "1", "2022-07-01", "?"), 6, column="state", value="?"),
    "percentage": counts(count("2", "2022-09-01", "85%"), 6, column="alive", value="85%"),
    "unreadable-count": counts(count("2", "2022-09-01", "many"), 6, column="alive", value="many"),
    "negative-count": counts(count("2", "2022-09-01", "-3"), 6, column="alive", value="-3"),
    "fractional-count": counts(count("2", "2022-09-01", "40.5"), 6, column="alive", value="40.5"),
    "not-visited": counts(count("1", "2022-07-01", "") + count("2", "2022-09-01", "40"), 6, column="alive"),
    "total-row": counts("Total,,,,,100,80\n", 6, column="plot"),
    "no-name": tagged(seen("003", "2", "2022-09-01", "alive", plot="2-Jan"), 6, column="plot", value="2-Jan"),
    "spelling": tagged("rise,1,003,2,2022-09-01,2022-06-01,alive\n", 6, column="site", value="rise"),
    # visits
    "before-planting": tagged(seen("003", "1", "2021-07-01", "alive"), 6, column="date", value="2021-07-01"),
    "in-the-future": tagged(seen("003", "1", "2032-07-01", "alive"), 6, column="date", value="2032-07-01"),
    "out-of-order": counts(
        count("1", "2022-07-01", "45") + count("2", "2022-06-20", "40"), 7, column="date", value="2022-06-20"
    ),
    "visit-spread": counts(
        count("1", "2022-07-01", "45") + count("1", "2022-12-01", "40"), 7, column="date", value="2022-12-01"
    ),
    "repeated-record": tagged(seen("002", "2", "2022-09-01", "alive"), 6, column="tag", value="002"),
    "duplicate-record": tagged(
        seen("002", "2", "2022-09-01", "dead"), 5, column="tag", value="002", also=LOST
    ),
    "infill-no-date": Case(
        "tagged",
        "site,plot,tag,visit,date,planting date,state,cohort\n"
        + GOOD.replace("\n", ",\n")
        + "Rise,1,003,2,2022-09-01,,alive,infill\n",
        (6,),
        "planting date",
    ),
    "unknown-cohort": Case(
        "tagged",
        "site,plot,tag,visit,date,planting date,state,cohort\n"
        + GOOD.replace("\n", ",\n")
        + "Rise,1,003,2,2022-09-01,2022-08-01,alive,maybe\n",
        (6,),
        "cohort",
        "maybe",
    ),
    "second-observer": Case(
        "counts", TWICE, rows=(4,), column="plot", also=frozenset({"observers-compared"})
    ),
    "observers-compared": Case("counts", TWICE, column="plot", also=frozenset({"second-observer"})),
    # seedlings
    "dead-at-planting": tagged(seen("003", "0", "2022-06-01", "dead"), 6, column="state"),
    "tag-spelling": tagged(
        seen("003", "1", "2022-07-01", "alive") + seen("3.0", "2", "2022-09-01", "alive"),
        7,
        column="tag",
        value="3.0",
        also=LOST | {"skipped-visit"},
    ),
    "tag-of-one-visit": tagged(
        seen("003", "1", "2022-07-01", "alive") + seen("999", "2", "2022-09-01", "alive"),
        7,
        column="tag",
        value="999",
        also=LOST | {"skipped-visit"},
    ),
    "tag-in-two-plots": tagged(
        "".join(seen(f"{tag}", "1", "2022-07-01", "alive", plot="2") for tag in range(100, 160))
        + seen("159", "1", "2022-07-01", "alive"),
        65,
        column="tag",
        value="159",
        also=LOST,
    ),
    "tag-joined": tagged(
        seen("003", "1", "2022-07-01", "alive") + seen("3.0", "2", "2022-09-01", "alive"),
        7,
        column="tag",
        value="3.0",
        rules=RULES + 'tags_alike = "join"\n',
    ),
    "two-species-one-tag": Case(
        "tagged",
        "species,"
        + SEEDLINGS
        + "oak,"
        + GOOD.strip().replace("\n", "\noak,")
        + "\noak,Rise,1,003,1,2022-07-01,2022-06-01,alive\nash,Rise,1,003,2,2022-09-01,2022-06-01,alive\n",
        (6,),
        "tag",
        "003",
    ),
    "species-spelling": Case(
        "tagged",
        "species,"
        + SEEDLINGS
        + "river red gum,"
        + (GOOD + GOOD.replace("Rise,1", "Rise,2")).strip().replace("\n", "\nriver red gum,")
        + "\nriver redgum,Rise,1,003,2,2022-09-01,2022-06-01,alive\n",
        (10,),
        "species",
        "river redgum",
    ),
    "plot-all-blank": tagged(
        seen("003", "1", "2022-07-01", "alive", plot="2") + seen("003", "2", "2022-09-01", "", plot="2"),
        7,
        column="state",
        rules=RULES + 'blank = "dead"\n',
        also=frozenset({"blank-dead"}),
    ),
    # plots
    "unknown-plot": Case(
        "tagged",
        SEEDLINGS + GOOD + seen("003", "2", "2022-09-01", "alive", plot="11"),
        (6,),
        "plot",
        "Rise 11",
        plots="site,plot,planting date\nRise,1,2022-06-01\n",
    ),
    "plot-without-visits": Case(
        "tagged",
        SEEDLINGS + GOOD,
        (3,),
        "plot",
        "2",
        plots="site,plot,planting date\nRise,1,2022-06-01\nRise,2,2022-06-01\n",
    ),
    "repeated-plot": Case(
        "tagged",
        SEEDLINGS + GOOD,
        (3,),
        "plot",
        "1",
        plots="site,plot,planting date\nRise,1,2022-06-01\nRise,1,2022-06-01\n",
    ),
    "plot-differs": Case(
        "tagged",
        SEEDLINGS + GOOD + GOOD.replace("Rise,1", "Rise,2"),
        (2,),
        "plot",
        "1",
        plots="site,plot,method\nRise,1,rip\nRise,1,mound\nRise,2,rip\n",
    ),
    "fact-differs": Case(
        "counts",
        "species," + NUMBERS + "oak," + COUNTED.strip().replace("\n", "\noak,"),
        (2,),
        "crew",
        "a",
        rules="",
        plots="site,plot,species,crew\nRise,1,oak,a\nRise,1,ash,b\nRise,2,oak,b\n",
    ),
    "unknown-method": Case(
        "tagged",
        SEEDLINGS + GOOD + GOOD.replace("Rise,1", "Rise,2"),
        (3,),
        "method",
        "riped",
        plots="site,plot,method\nRise,1,ripped\nRise,2,riped\n",
        study='[[methods]]\nname = "ripped"\n',
    ),
    "usual-practice-absent": Case(
        "tagged",
        SEEDLINGS + GOOD,
        (),
        "[design] usual_practice",
        "spray",
        plots="site,plot,method\nRise,1,ripped\n",
        study='[design]\nusual_practice = "spray"\n',
    ),
    "renamed": Case(
        "tagged",
        SEEDLINGS + GOOD,
        (2,),
        "method",
        "spray + rip",
        plots="site,plot,method\nRise,1,spray + rip\n",
        study='[[methods]]\nname = "spray and rip"\nalso = ["Spray + rip"]\n',
    ),
    "several-plantings": tagged(
        seen("003", "1", "2022-07-01", "alive", plot="2", planted="2021-06-01")
        + seen("004", "1", "2022-07-01", "alive", plot="2", planted="2022-06-01"),
        6,
        column="planting date",
        value="2022-06-01",
        also=frozenset({"several-planting-days"}),
    ),
    "no-planting-date": tagged(
        seen("003", "2", "2022-09-01", "alive", plot="2", planted=""), 6, column="planting date"
    ),
    "planting-in-future": tagged(
        seen("003", "2", "2022-09-01", "alive", plot="2", planted="2032-06-01"),
        6,
        column="planting date",
        value="2032-06-01",
    ),
    "several-planting-days": Case(
        "tagged",
        SEEDLINGS + GOOD.replace("2022-06-01", ""),
        (2,),
        "planting date",
        "2022-06-03",
        plots="site,plot,planting date,planting end\nRise,1,2022-06-01,2022-06-03\n",
    ),
    "planting-date-differs": Case(
        "tagged",
        SEEDLINGS + GOOD,
        (2,),
        "planting date",
        "2022-06-01",
        plots="site,plot,planting date\nRise,1,2022-06-11\n",
    ),
    "unreadable-number": radii("weed-free radius (m)", "half", value="half", rows=(2,)),
    "impossible-radius": radii("weed-free radius (m)", "-1", value="-1", rows=(2,)),
    "radius-in-centimetres": radii("weed-free radius (m)", "50", value="50", rows=(2,)),
    "radius-in-metres": radii("weed-free radius (cm)", "0.5", value="0.5", rows=(2,)),
    "radius-like-diameter": radii(
        "weed-free diameter (m)", "0.5", value="0.5", rows=(2,), study=CALLED_RADIUS
    ),
    "diameter-halved": radii("weed-free diameter (m)", "1.0", value="1", rows=(2,)),
    # counts
    "planted-differs": counts(
        count("1", "2022-07-01", "45") + count("2", "2022-09-01", "40", planted="55"),
        6,
        column="planted",
        value="50",
    ),
    "fewer-at-planting": counts(
        count("0", "2022-06-01", "45") + count("2", "2022-09-01", "40"), 6, column="alive", value="45"
    ),
    "more-tags-than-planted": Case(
        "tagged",
        SEEDLINGS + GOOD,
        (2,),
        "tag",
        plots="site,plot,planting date,planted\nRise,1,2022-06-01,1\n",
    ),
    # sheets
    "how-read": Case("tagged", (SEEDLINGS + GOOD).replace(",", ";")),
    "no-site": Case("tagged", SEEDLINGS.replace("site,", "") + GOOD.replace("Rise,", ""), (), "site"),
}

ELSEWHERE = {  # in the tables of histories, counts, slips, the works diary and the study file
    "work-without-place", "work-unnamed", "work-nowhere", "work-in-future", "work-before-planting",
    "work-after-planting", "work-long-before", "work-undated", "work-spelling", "work-own-word",
    "soil-state-unknown", "repeated-work", "work-not-in-diary", "work-not-done", "work-at-other-time",
    "work-not-planned", "plot-without-works",
    "trait-spelling", "trait-blank", "planted-unusual", "planting-far",
    "plot-of-one-visit", "visit-lacking", "height-unlike", "state-number",
    "off-its-round", "count-falls", "cause-spelling",
    "odd-preparation", "planting-odd", "impossible-measure", "height-without-plant", "height-unit",
    "reshoot", "reshoot-late", "doubtful", "alive-after-missing", "unconfirmed-death", "not-found",
    "not-found-at-end", "lost-from-sight",
    "missing-unknown", "missing-dead", "skipped-visit", "blank-dead", "measured-alive", "never-seen-alive",
    "seen-once", "delayed-entry", "more-alive-than-planted", "count-rises", "count-mended", "infill-mixed",
    "no-planted-number", "nothing-planted", "tagged-not-told", "planted-unmatched", "planted-missing",
    "gauge-site-unmatched", "site-without-gauge", "dry-season-absent",
    "stratum-absent", "usual-practice-unnamed",
    "method-without-plots", "method-without-cost", "currency-absent", "target-absent",
    "milestone-not-reached",
    "later-milestone", "column-word", "rule-without-use", "note-row", "unused-line", "replant-unclear",
    "site-blank", "blank-untold", "blank-alive", "radius-read-in-metres",  # in the table of habits
    "replanted-tag", "replant-row", "assumed", "living-reckoned", "no-planted-for-living",
    "share-of-no-number", "more-dead-than-planted", "small-plot", "sheet-not-read",
    "method-differs", "method-spelling", "site-spelling", "one-plot-method", "one-plot-site",
}  # fmt: skip
COMMON = {
    "skipped-visit", "visit-lacking", "plot-without-visits",
    "target-absent", "milestone-not-reached", "later-milestone",
    "one-plot-site", "one-plot-method", "usual-practice-unnamed",
}  # fmt: skip


@pytest.mark.parametrize("code", CASES)
def test_a_code_is_found_with_its_place_value_and_mend(read_study: ReadStudy, code: str) -> None:
    case = CASES[code]
    head = (TAGGED if case.kind == "tagged" else COUNTS).replace("\nas_of", AIM + "\nas_of")
    rules = case.rules if case.kind == "tagged" else ""
    toml = head + sheet() + (PLOTS if case.plots else "") + case.study + rules
    files = {"visits_csv": case.visits, **({"plots_csv": case.plots} if case.plots else {})}
    records = read_study(toml, **files)
    found = records.problems[records.problems["code"] == code]
    assert len(found) == max(len(case.rows), 1)
    first = found.iloc[0]
    assert first["severity"] == CODES[code].severity
    assert tuple(found["row"].dropna()) == case.rows or not case.rows
    assert first["column"] == case.column or not case.column
    assert first["value"] == case.value or not case.value
    assert first["what"]
    assert first["mend"]
    assert set(records.problems["code"]) - {code} <= case.also | COMMON


def test_every_code_has_a_case() -> None:
    assert set(CASES) | ELSEWHERE == set(CODES)


def test_a_site_that_is_called_by_a_date_or_an_error_is_asked_about(read_study: ReadStudy) -> None:
    asked = ("2022-01-02", "1/2/2022", "3-Feb", "#N/A", "#REF!", "?", "--", "NaN", "n/a")
    names = ("1", "1-2", "A-1", "12/3", "North 2022", "Ñ", "NA", "é", "3-Mile")
    visits = SEEDLINGS + "".join(GOOD.replace("Rise", name) for name in (*asked, *names))
    records = read_study(TAGGED.replace("\nas_of", AIM + "\nas_of") + sheet() + RULES, visits_csv=visits)
    found = records.problems[records.problems["code"] == "no-name"]
    assert sorted(found["value"]) == sorted(asked)
    assert set(records.accounts["fate"]) == {"used"}
