"""The page for analysts: tasks as calls on the demo, and the same analyses in other libraries side by side.

``python -m tests.analysts`` writes ``reports/analysts`` anew; ``tests/public/test_analysts.py`` makes the
page again and compares it, so every call on it has been run and every number found.
"""

from __future__ import annotations

import contextlib
import io
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import matplotlib
import numpy as np
import pandas as pd
import statsmodels.api as sm

import survivor
from survivor.intervals import group_codes
from tests.models.cohorts import single
from tests.models.published import plum_cuttings, white_pine
from tests.peers import CoxPHFitter, KaplanMeierFitter, multivariate_logrank_test

ROOT = Path(__file__).parents[1]
FOLDER = ROOT / "reports" / "analysts"

HEAD = """# For analysts: from a task to a call, and the same analysis elsewhere

Written by `python -m tests.analysts`, which ran every call below on `datasets/tagged`; a test does so again
and compares. **That season is invented: nothing in it is a finding.** `help(survivor)` has the names by task
and the calls of other libraries; each name's own help has parameters, units, errors and sources.
"""

SETTING = """import survivor

study = survivor.load("datasets/tagged")
plants = study.first_plants          # risk intervals: one row a stretch between two visits
places = ["site", "block"]           # preparations were allocated within blocks
planted = study.population           # plants of the whole planting: the weights of the report's averages"""

# Heading, what to know, the call, and the file of its drawing ("" for none).
TASKS = (
    (
        "Survival as it was seen",
        "Kaplan-Meier, limits by plot. `align` takes visits up to so many days apart as one round. "
        "`lower, upper` hold each day by itself; `curves.band()` gives a band that holds the whole curve.",
        """curves = survivor.curve(plants, by="method", align=15)
curves.read(365).drop(columns="note").round(3)""",
        "curves",
    ),
    (
        "The day by which a quarter had died",
        "Medians likewise, with `not reached` in words.",
        """survivor.median_days(curves, share=0.25).table""",
        "",
    ),
    (
        "Whether the curves are one curve",
        "Log-rank within sites, plots as units, Holm over pairs. `.randomised()`: by the allocation alone.",
        """test = survivor.log_rank(plants).test
print(f"F {test.statistic:.2f} on {test.df1} and {test.df2:.0f}, p {test.p_value:.2g}")""",
        "",
    ),
    (
        "Preparations compared, as the report compares them",
        "Asks first whether one ratio of hazards holds all season; differences per 100 planted, Holm's p. "
        "The numbers are those of the report, which averages over the plants of the whole planting.",
        """found = survivor.compare(plants, "method + species", strata=places, at=365, population=planted)
found.table[["method", "estimate", "lower", "upper", "p_adjusted"]].round(3)""",
        "compare",
    ),
    (
        "A model, its coefficients and any combination of them",
        "Limits by plot (CR2, Satterthwaite). Also `.test`, `.vcov()`, `.baseline()`, `.predict`.",
        """fit = survivor.fit(plants, "method + species", strata=places)
fit.contrast("method[spray and rip] - method[spray and auger]", level=0.9).round(3).T""",
        "",
    ),
    (
        "Whether the model holds",
        "Calibration by visit, residuals and influence by plot, log(-log) curves.",
        """test = survivor.hazards(fit).test
print(f"one ratio: F {test.statistic:.2f} on {test.df1} and {test.df2:.0f}, p {test.p_value:.2g}")""",
        "diagnose",
    ),
    (
        "No worse than the usual practice by more than 5 per 100",
        "",
        """differences = survivor.contrasts(fit, at=365, population=planted)
survivor.non_inferiority(differences, 5).table.round(3)""",
        "",
    ),
    (
        "How survival goes with the radius kept clear",
        "",
        """response = survivor.dose(fit, "weed_free_radius_m", at=365, population=planted)
response.table.iloc[::10, :4].round(2)""",
        "dose",
    ),
    (
        "What a living plant costs",
        "Costs a plant are made up here.",
        """costs = {"spot spray only": 3.9, "spray and rip": 4.4, "spray and auger": 4.9}
survivor.payoff(fit, costs, at=365, population=planted).table.iloc[:, [0, 1, 4, 5, 6, 7]].round(2)""",
        "",
    ),
    (
        "Several seasons together",
        "Differences per 100 of three seasons with their standard errors.",
        """survivor.pool([9.0, 14.0, 6.0], [3.0, 4.0, 3.5], scale="per 100 planted").table.round(2).T""",
        "",
    ),
)
DRAWN = {"curves": "curves", "compare": "found", "diagnose": "survivor.diagnose(fit)", "dose": "response"}


@dataclass(frozen=True)
class Line:
    """One quantity in another library and here; ``why``: what makes them differ, empty where they agree."""

    what: str
    other: str
    there: float
    call: str
    here: float
    why: str = ""


def lines() -> Iterator[Line]:
    """Side by side on pines, cuttings and the demo."""
    yield from pines()
    yield from cuttings()
    yield from demo()


def _glm(frame: pd.DataFrame, columns: dict[str, Any], **options: Any) -> Any:
    matrix = sm.add_constant(pd.DataFrame(columns, dtype=float))
    counts = np.column_stack([frame["at_risk"] - frame["died"], frame["died"]])
    return sm.GLM(counts, matrix, family=sm.families.Binomial(**options)).fit()


def pines() -> Iterator[Line]:
    rows = white_pine()
    data = "white pine, 1,000 seedlings"
    peer = _glm(rows, {"fert": rows["fertiliser"] == "yes", "wide": rows["spacing"] == "15 ft"})
    found = survivor.fit(
        rows, "fertiliser + spacing", model="logistic", at=365, cluster=None, strata=None
    ).table
    yield Line(
        f"{data}: log odds ratio of fertiliser",
        "statsmodels `GLM(Binomial())`",
        peer.params["fert"],
        '`fit(rows, "fertiliser + spacing", model="logistic", at=365, cluster=None)`',
        found["estimate"].iloc[0],
    )
    yield Line(
        f"{data}: its standard error", "the same", peer.bse["fert"], "the same", found["std_error"].iloc[0]
    )
    seedlings = rows.loc[rows.index.repeat(rows["at_risk"])].reset_index(drop=True)
    dead = seedlings.groupby(["fertiliser", "spacing"], observed=True).cumcount() < seedlings["died"]
    curve = KaplanMeierFitter().fit(seedlings["stop_day"], dead)
    own = survivor.curve(rows, cluster=None)
    yield Line(
        f"{data}: survival at the end",
        "lifelines `KaplanMeierFitter`",
        float(curve.predict(365)),
        "`curve(rows, cluster=None)`",
        own.at(365),
    )
    low = float(curve.confidence_interval_.iloc[-1, 0])
    yield Line(f"{data}: its lower limit", "the same", low, "the same", own.steps[0].limits(365)[0])


def cuttings() -> Iterator[Line]:
    rows = plum_cuttings()
    data = "plum cuttings, 960"
    terms = {"now": rows["time"] == "Now", "long": rows["length"] == "Long"}
    link = sm.families.links.CLogLog()
    dying = rows.assign(died=rows["at_risk"] - rows["died"])  # statsmodels is asked for deaths
    peer = _glm(dying, terms, link=link)
    found = survivor.fit(rows, "time + length", cluster=None, strata=None).table
    yield Line(
        f"{data}: log hazard ratio, planted at once",
        "statsmodels `GLM(Binomial(CLogLog()))`",
        peer.params["now"],
        '`fit(rows, "time + length", cluster=None)`',
        found["estimate"].iloc[0],
    )
    yield Line(
        f"{data}: its standard error", "the same", peer.bse["now"], "the same", found["std_error"].iloc[0]
    )
    seedlings = rows.loc[rows.index.repeat(rows["at_risk"])].reset_index(drop=True)
    place = seedlings.groupby(["time", "length"], observed=True).cumcount()
    table = pd.DataFrame(
        {
            "stop": 365.0,
            "died": (place < seedlings["died"]).astype(int),
            "now": (seedlings["time"] == "Now").astype(float),
            "long": (seedlings["length"] == "Long").astype(float),
        }
    )
    cox = CoxPHFitter().fit(table, "stop", "died").params_["now"]
    own = survivor.fit(rows, "time + length", model="cox", cluster=None, strata=None).table
    yield Line(
        f"{data}: the same by Cox, Efron's ties",
        "lifelines `CoxPHFitter`",
        cox,
        '`fit(rows, "time + length", model="cox", cluster=None)`',
        own["estimate"].iloc[0],
    )
    yield Line(
        f"{data}: one visit is one tie",
        "lifelines `CoxPHFitter`",
        cox,
        '`fit(rows, "time + length", cluster=None)`',
        found["estimate"].iloc[0],
        "all deaths are found on one day: Efron's partial likelihood is an approximation there, the "
        "grouped likelihood is of what was seen",
    )


def demo() -> Iterator[Line]:
    plants = survivor.load(str(ROOT / "datasets" / "tagged")).first_plants
    rows = single(plants).assign(place=lambda table: group_codes(table, ["site", "block"])[0])
    data = "demo, 1,911 plants"
    rip = rows[rows["method"] == "spray and rip"]
    curve = KaplanMeierFitter().fit(rip["stop_day"], rip["died"], entry=rip["start_day"])
    here = survivor.curve(plants, by="method")
    alone = survivor.curve(plants, by="method", cluster=None)
    call = '`curve(plants, by="method")`'
    yield Line(
        f"{data}: survival to day 365, spray and rip",
        "lifelines `KaplanMeierFitter`",
        float(curve.predict(365)),
        call,
        here.at(365, "spray and rip"),
    )
    marks = {name: (rows["method"] == name).astype(float) for name in sorted(set(rows["method"].astype(str)))}
    usual = str(plants["method"].cat.categories[0])
    table = rows[["start_day", "stop_day", "died", "place"]].assign(
        **{name: mark for name, mark in marks.items() if name != usual}
    )
    width = curve.confidence_interval_.loc[:365].iloc[-1]
    low, high = alone["spray and rip"].limits(365)
    yield Line(
        f"{data}: width of its limits, per 100, seedlings independent",
        "the same",
        100 * float(width.iloc[1] - width.iloc[0]),
        '`curve(plants, by="method", cluster=None)`',
        100 * (high - low),
    )
    low, high = here["spray and rip"].limits(365)
    yield Line(
        f"{data}: width of its limits, per 100",
        "the same",
        100 * float(width.iloc[1] - width.iloc[0]),
        call,
        100 * (high - low),
        "seedlings of a plot are alike: here whole plots are left out",
    )
    peer = CoxPHFitter().fit(table, "stop_day", "died", entry_col="start_day", strata=["place"])
    own = survivor.fit(plants, "method", model="cox", strata=["site", "block"]).table.set_index("term")
    term = "method[T.spray and rip]"
    call = '`fit(plants, "method", model="cox", strata=["site", "block"])`'
    yield Line(
        f"{data}: log hazard ratio, spray and rip",
        "lifelines `CoxPHFitter(strata=)`",
        peer.params_["spray and rip"],
        call,
        own.loc[term, "estimate"],
    )
    yield Line(
        f"{data}: its standard error",
        "the same",
        peer.standard_errors_["spray and rip"],
        call,
        own.loc[term, "std_error"],
        "delete-one-plot jackknife; the other takes seedlings as independent",
    )
    grouped = survivor.fit(plants, "method", strata=["site", "block"]).table.set_index("term")
    yield Line(
        f"{data}: the same ratio, deaths between visits",
        "the same",
        peer.params_["spray and rip"],
        '`fit(plants, "method", strata=["site", "block"])`',
        grouped.loc[term, "estimate"],
        "the other takes the day a death was found for the day of death; here it lies anywhere "
        "between two visits",
    )
    whole = rows.groupby(["site", "tag"], observed=True).agg(
        stop=("stop_day", "max"), died=("died", "max"), method=("method", "first")
    )
    whole = whole[whole["method"].notna()]
    rank = multivariate_logrank_test(whole["stop"], whole["method"].astype(str), whole["died"])
    test = survivor.log_rank(plants, cluster=None, strata=None).test
    yield Line(
        f"{data}: log-rank chi-square of all preparations",
        "lifelines `multivariate_logrank_test`",
        float(rank.test_statistic),
        "`log_rank(plants, cluster=None, strata=None)`",
        test.statistic * test.df1,
    )
    sites = survivor.log_rank(plants).test
    yield Line(
        f"{data}: p of that test",
        "the same",
        float(rank.p_value),
        "`log_rank(plants)`",
        sites.p_value,
        "compared within sites, with plots as units, by F",
    )


def agree(line: Line) -> bool:
    """Whether two numbers are one to six digits."""
    return bool(np.isclose(line.there, line.here, rtol=2e-6, atol=0))


def side_by_side() -> str:
    """The table of the page."""
    head = "| what | elsewhere | number | here | number | |\n|---|---|---|---|---|---|"
    body = [
        f"| {line.what} | {line.other} | {line.there:.5g} | {line.call} | {line.here:.5g} | "
        f"{line.why or 'agree'} |"
        for line in lines()
    ]
    return "\n".join([head, *body])


def calls(draw: Callable[[str, Any], None] | None = None) -> Iterator[str]:
    """Run each task and give its part of the page; ``draw`` takes the name of a drawing and the result."""
    names: dict[str, Any] = {}
    exec(SETTING, names)
    for heading, words, call, drawing in TASKS:
        *before, last = call.splitlines()
        exec("\n".join(before), names)
        printed = io.StringIO()
        with contextlib.redirect_stdout(printed):
            value = eval(last, names)
        shown = value.to_string() if isinstance(value, pd.DataFrame) else printed.getvalue().strip()
        part = [f"### {heading}", words, f"```python\n{call}\n```", f"```\n{shown}\n```"]
        if drawing:
            if draw is not None:
                draw(drawing, eval(DRAWN[drawing], names))
            part += [f"`{DRAWN[drawing]}.plot()`", f"![{heading}]({drawing}.png)"]
        yield "\n\n".join(text for text in part if text)


def coming_from() -> str:
    """The calls of other libraries, from the package's own help."""
    text = survivor.__doc__.split("Coming from other libraries:")[1].split("One row of a table")[0]
    rows = [line for line in text.strip().splitlines() if line and not line.startswith("=")]
    pairs = [(row[:47].strip(), row[47:].strip()) for row in rows]
    return "\n".join(
        ["| elsewhere | here |", "|---|---|", *(f"| {_code(a)} | {_code(b)} |" for a, b in pairs)]
    )


def _code(text: str) -> str:
    return text.replace("``", "`").replace("|", "\\|")


def page(draw: Callable[[str, Any], None] | None = None) -> str:
    """The whole page as Markdown."""
    parts = [
        HEAD.strip(),
        "## Tasks",
        f"```python\n{SETTING}\n```",
        *calls(draw),
        "## Coming from other libraries",
        coming_from(),
        "## Side by side",
        "Rounded to five digits; those that agree do so to six.",
        side_by_side(),
    ]
    return "\n\n".join(parts) + "\n"


def save(name: str, result: Any) -> None:
    """Draw a result into the folder of the page."""
    import matplotlib.pyplot as plt

    drawn = result.plot()
    figure = getattr(drawn, "figure", None) or np.ravel(drawn)[0].figure
    figure.savefig(FOLDER / f"{name}.png", dpi=70, bbox_inches="tight", metadata={"Software": None})
    plt.close("all")


if __name__ == "__main__":
    matplotlib.use("Agg")
    FOLDER.mkdir(exist_ok=True)
    with contextlib.chdir(ROOT):
        text = page(save)
    (FOLDER / "README.md").write_text(text, encoding="utf-8")
