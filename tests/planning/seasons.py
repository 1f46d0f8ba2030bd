"""A small plan, and its field sheets filled from a cohort with known truth."""

import datetime as dt

import pandas as pd

from survivor.planning.calendar import visit_calendar
from survivor.planning.folder import first_planting, sheet_plan, sheet_rows, visit_files
from survivor.planning.reading import parse_plan
from survivor.planning.sheets import sheet_bytes
from survivor.simulate import Cohort, draw_records

PLANTED = ("2022-06-07", "2022-06-14", "2022-08-02", "2022-08-09")
SITES = ("Tarn Hollow", "Quill Creek", "Vossel Flat", "Ombry Rise")
METHODS = ("spot spray only", "spray and rip")


def raw_plan(**changed):
    """Tables of a plan file; a table given is laid over, table by table."""
    raw = {
        "plan": {"name": "Winter 2022 (invented)", "seed": 5, "as_of": "2022-04-20", "studies": 20},
        "question": {
            "usual_practice": METHODS[0],
            "survival_per_100": 60,
            "smallest_difference": 15,
        },
        "variation": {"plot_sd": 0.4},
        "dry_season": {"start": "12-01", "end": "03-31"},
        "methods": [
            {"name": METHODS[0], "works": ["spot spray"]},
            {"name": METHODS[1], "works": ["spot spray", "rip line"]},
        ],
        "sites": [{"name": name, "planted": day} for name, day in zip(SITES, PLANTED, strict=True)],
    }
    for table, values in changed.items():
        raw[table] = {**raw[table], **values} if isinstance(values, dict) and table in raw else values
    return raw


def small_plan(**changed):
    return parse_plan(raw_plan(**changed))


def cohort_like(plan, layout, **parameters):
    """A cohort with the sites, blocks, methods and seedlings of a layout in which all sites are alike."""
    return Cohort(
        methods=tuple(
            (method.name, effect) for method, effect in zip(plan.methods, (0.0, -1.0), strict=True)
        ),
        sites=len(plan.sites),
        blocks=layout.plots["block"].nunique(),
        seedlings=int(layout.plots["seedlings"].iloc[0]),
        planted=tuple(dt.date.fromisoformat(site.planted) for site in plan.sites),
        visit_days=((30, 365),),
        **parameters,
    )


def deaths(plan, layout, cohort, seed):
    """Day of death of every tag of a layout (nobody sees it), from the cohort's own truth."""
    drawn = draw_records(cohort, seed).seedlings
    sites = dict(zip(drawn["site"].unique(), (site.name for site in plan.sites), strict=True))
    drawn = drawn.assign(site=drawn["site"].map(sites))
    drawn["turn"] = drawn.groupby(["site", "block", "method"]).cumcount()
    tags = layout.tags.merge(layout.plots[["site", "block", "plot", "method"]], on=["site", "block", "plot"])
    tags["turn"] = tags.groupby(["site", "block", "method"]).cumcount()
    keys = ["site", "block", "method", "turn"]
    merged = tags.merge(drawn[[*keys, "death_day"]], on=keys, validate="one_to_one")
    assert len(merged) == len(layout.tags) == len(drawn)
    return merged


def fill(plan, layout, folder, dead_on, count=None):
    """Fill the first sheets (all: None) as a crew would that looks on the planned day and errs nowhere."""
    calendar = visit_calendar(plan)
    filled = []
    for visit in visit_files(calendar)[:count]:
        rows = sheet_rows(layout.tags, visit)
        days = calendar[calendar["visit"] == visit.name].set_index("site")
        at = pd.DataFrame({"Site": dead_on["site"], "Block": dead_on["block"], "Plot": dead_on["plot"],
                           "Tag": dead_on["tag"], "death": dead_on["death_day"]})  # fmt: skip
        rows = rows.merge(at, on=["Site", "Block", "Plot", "Tag"], validate="one_to_one")
        rows["Date"] = rows["Site"].map(days["date"])
        alive = rows["death"] > rows["Site"].map(days["day"]).astype(float)
        rows["State"] = alive.map({True: "alive", False: "dead"})
        rows["Observer"] = "observer 1"
        about = sheet_plan(plan.plan.name, visit, first_planting(plan))
        (folder / visit.file).write_bytes(sheet_bytes(rows.drop(columns="death"), about))
        filled.append(visit.file)
    return filled
