"""A small plan, and its field sheets filled from a cohort with known truth."""

import datetime as dt
import json
import math

import pandas as pd
from scipy import stats

from survivor.errors import PlanError
from survivor.files.toml import validated
from survivor.planning.calendar import visit_calendar
from survivor.planning.closed_form import ALPHA, Arms
from survivor.planning.folder import first_planting, sheet_plan, sheet_rows, visit_files
from survivor.planning.layout import Layout
from survivor.planning.planfile import Plan
from survivor.planning.sheets import sheet_bytes
from survivor.simulate.cohort import Cohort
from survivor.simulate.drawing import draw_records

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
    return validated(raw_plan(**changed), Plan, "plan", PlanError)


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


COSTS = {
    "currency": "dollars",
    "budget": 12_000,
    "per_plot": 90,
    "per_plot_visit": 10,
    "per_tag": 4.0,
    "per_tag_visit": 0.5,
    "source": "invented",
}


def write_toml(raw, path):
    """Write tables as TOML: what a person types."""

    lines = []
    for table, values in raw.items():
        for group in values if isinstance(values, list) else [values]:
            lines.append(f"[[{table}]]" if isinstance(values, list) else f"[{table}]")
            lines += [f"{key} = {json.dumps(value)}" for key, value in group.items()]
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path


def alike_sites(survival, other, correlation, alpha=ALPHA):
    """Arms at sites that do not differ: the formulas of the books."""
    spread = survival * (1 - survival), other * (1 - other)
    return Arms(survival, other, *spread, correlation, alpha=alpha)


def quantiles(power: float, alpha: float = ALPHA) -> float:
    """Sum of the two normal quantiles of a sample size formula."""
    return float(stats.norm.ppf(1 - alpha / 2) + stats.norm.ppf(power))


def events_needed(hazard_ratio: float, power: float = 0.8, share: float = 0.5, alpha: float = ALPHA) -> float:
    """Deaths needed to tell two hazards apart, seedlings independent.

    Parameters
    ----------
    hazard_ratio
        Above 0, not 1.
    power
        Chance of showing it, 0 to 1.
    share
        Share of seedlings in one of the two methods.
    alpha
        Two-sided level.

    Notes
    -----
    Schoenfeld 1981 (Biometrika 68, 316-319) and 1983 (Biometrics 39, 499-503):
    (z + z')^2 / (share (1 - share) log(ratio)^2). Not rounded.
    """
    return quantiles(power, alpha) ** 2 / (share * (1 - share) * math.log(hazard_ratio) ** 2)


def seedlings_for_events(events: float, survival: float, other: float) -> float:
    """Seedlings in both methods together of which so many are expected to die; not rounded."""
    return events / (1 - (survival + other) / 2)


def proportions_needed(survival: float, other: float, power: float = 0.8, alpha: float = ALPHA) -> float:
    """Independent seedlings in each method that show a difference of proportions; not rounded.

    Notes
    -----
    (z + z')^2 (p q + p' q') / (p - p')^2: Fleiss, Levin and Paik 2003, Statistical
    Methods for Rates and Proportions, ch. 4, without pooling and without continuity
    correction.
    """
    spread = survival * (1 - survival) + other * (1 - other)
    return quantiles(power, alpha) ** 2 * spread / (survival - other) ** 2


def cheapest_seedlings(per_plot: float, per_tag: float, correlation: float) -> float:
    """Seedlings a plot that give the smallest error for the money; not rounded.

    Notes
    -----
    sqrt(cost of a plot / cost of a seedling x (1 - rho) / rho): Cochran 1977,
    Sampling Techniques, ch. 10. Infinite where plots do not differ.
    """
    if correlation <= 0:
        return math.inf
    return math.sqrt(per_plot / per_tag * (1 - correlation) / correlation)


def fewest_side_by_side(layout: Layout, usual: str) -> tuple[str, int]:
    """Count from a layout the method with the fewest blocks that also hold the usual practice."""
    keys = ["site", "block"]
    with_usual = layout.plots.loc[layout.plots["method"] == usual, keys]
    beside = layout.plots[layout.plots["method"] != usual].merge(with_usual, on=keys)
    counts = {name: int((beside["method"] == name).sum()) for name in layout.plots["method"].unique()}
    del counts[usual]
    name = min(counts, key=lambda each: counts[each])
    return name, counts[name]
