"""Wordings whose numbers are in no table, each with the reason."""

from __future__ import annotations

from tests.report.saying import Stated

_MONTHS = "January|February|March|April|May|June|July|August|September|October|November|December"
STATED = [
    Stated(
        rf"(?:\d{{1,2}} )?(?:{_MONTHS})(?: \d{{4}})?",
        "dates",
    ),
    Stated(r"(?:winter|plantings of|Plants of|and|planted) \d{4}", "the seasons that a study is named by"),
    Stated(
        r"95 %|95 such ranges of 100|per 100|in 100|of 100",
        "how sure limits are, and the hundred that shares are told of",
    ),
    Stated(
        r"\b0\.05\b|0 and 100 %|under 1|above 1|Thin line: 1|near 1|: 1 where|holds? 1\b",
        "constants of a method, named as such",
    ),
    Stated(
        r"\((?:b|m) \+ 1\)/?(?:\(m \+ 1\))?|20/m|once 20 were|seed \d+",
        "the rule of drawing layouts, and the seed",
    ),
    Stated(r"FAO-56|Rawls 2006|Ding 2017|CR2", "names of methods and sources"),
    Stated(
        r"root zone # m deep and of # m radius|once # % of the water|uses # and weeds # times|# litres",
        "settings of the soil water",
    ),
    Stated(
        r"Decile 1|; 10: the|Shaded: 4 to 7|median of the same days in # other years",
        "the scale of deciles and the n of years",
    ),
    Stated(
        r"# days? of this season ha(?:s|ve) no|# amounts of rain read for several|# later planting days",
        "n of days named",
    ),
    Stated(
        r"hold # samples|at least # are needed|need 5 sites",
        "n of samples, and the least that a rule asks for",
    ),
    Stated(r"(?:after the )?1?2? ?4? ?(?:12|24) months", "names of milestones"),
    Stated(r"Visits on (?:days|these days)[^.]*", "days of visits, the last of each in the table of curves"),
    Stated(r"within # days|\(days # to #\)", "the window of a milestone, set in the study file"),
    Stated(
        r"within a plot of #|degrees of freedom\)|fewer than 4 degrees",
        "a correlation of seedlings of one plot, in no table",
    ),
    Stated(
        r"^(?:Cox|at the milestone|plots drawn from a normal): .*", "what a model is made of, in no table"
    ),
    Stated(r"limits are by plot \(# plots|Limits by site \(CR2, # sites", "n of plots and sites of a model"),
    Stated(r"on day 0|[Dd]ay 0|1 stratum", "the day of planting; n of strata"),
    Stated(
        r"(?<=deaths, )# are put to a dry season",
        "deaths of a period are in a table only with causes",
        "causes",
    ),
    Stated(r"lie at 30 cm|at least 60 cm", "a caution; the height of the study file"),
    Stated(r"100 plants cost|, 0\.0 apart", "the hundred that costs are told of; the bound of what is alike"),
    Stated(r"\(4 degrees|per 10 cm|for 10 cm|first # rows|of # rows", "the step of a slope; rows shown"),
]
