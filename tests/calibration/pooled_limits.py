"""Coverage of pooled limits: 3, 5 and 10 seasons that differ in truth, by every kind of limits.

``python -m tests.calibration.pooled_limits 10000`` writes ``pooled_limits.csv`` beside this file.
Estimates are drawn round each season's own true value; ``se`` says how standard errors differ
from season to season, ``tau`` is the standard deviation between seasons over the middle standard
error. ``se_df`` 20 draws the standard errors too, as those of 20 degrees of freedom.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import pandas as pd

from survivor.pooling.limits import means, new_unit, new_unit_by_t
from survivor.pooling.spread import between_variance

TABLE = Path(__file__).with_suffix(".csv")
SEASONS = (3, 5, 10)
#: Ratio of the greatest standard error to the least; they rise by equal factors.
SPREADS = {"equal": 1.0, "within 2": 2.0, "within 5": 5.0}
TAUS = (0.0, 0.5, 1.0, 2.0)
SE_DFS = (np.inf, 20.0)
NEW_UNIT_SHARE = 20
TRUE_MEAN = 0.0  # limits move with the estimates, so any value serves


def cell(
    seasons: int, spread: float, tau: float, se_df: float, draws: int, rng: np.random.Generator
) -> list[dict[str, object]]:
    """Coverage per 100 and mean width of each kind of limits in one cell."""
    error = np.geomspace(spread**-0.5, spread**0.5, seasons)
    true = TRUE_MEAN + tau * rng.standard_normal((draws, seasons))
    estimates = true + error * rng.standard_normal((draws, seasons))
    squared = np.broadcast_to(error**2, estimates.shape)
    if np.isfinite(se_df):
        squared = squared * rng.chisquare(se_df, estimates.shape) / se_df
    ones = np.ones((seasons, 1))
    another = TRUE_MEAN + tau * rng.standard_normal(draws)
    lines = []
    for method in ("reml", "dl", "pm", "fixed"):
        between = between_variance(estimates, squared, ones, method)
        for limits, factor in (
            ("hartung-knapp", "as is"),
            ("hartung-knapp", "at least 1"),
            ("normal", "as is"),
        ):
            if method == "fixed" and limits == "hartung-knapp":
                continue
            found = means(estimates, squared, ones, between, limits, factor)
            centre, half = found.coefficients[:, 0], found.half_width[:, 0]
            name = limits if limits == "normal" else f"{limits}, {factor}"
            line = {"method": method, "limits": name}
            line["held"] = 100 * np.mean(np.abs(centre - TRUE_MEAN) <= half)
            line["width"] = np.mean(2 * half)
            low, high = new_unit_by_t(found, between, max(seasons - 2.0, 1.0))
            line["new_held"] = 100 * np.mean((low <= another) & (another <= high))
            lines.append(line)
    if np.isfinite(se_df):
        return lines
    some = slice(0, draws // NEW_UNIT_SHARE)  # these take long
    low, high = new_unit(estimates[some], squared[some], ones)
    held = 100 * np.mean((low <= another[some]) & (another[some] <= high))
    lines.append({"method": "any", "limits": "quantiles", "width": np.mean(high - low), "new_held": held})
    return lines


def run(draws: int, seed: int = 1) -> pd.DataFrame:
    """Every cell, each from its own stream of the seed."""
    lines = []
    for place, (seasons, (name, spread), tau, se_df) in enumerate(
        (k, s, t, d) for k in SEASONS for s in SPREADS.items() for t in TAUS for d in SE_DFS
    ):
        rng = np.random.default_rng([seed, place])
        told = {"seasons": seasons, "se": name, "tau": tau, "se_df": se_df}
        lines += [told | line for line in cell(seasons, spread, tau, se_df, draws, rng)]
    return pd.DataFrame(lines).round({"held": 2, "width": 3, "new_held": 2})


def new_units(table: pd.DataFrame, se_df: float = np.inf) -> str:
    """Coverage of a new season: by quantiles, as reported, and by t on units less two."""
    rows = table[
        (table["se_df"] == se_df) & table["method"].isin(["reml", "any"]) & (table["limits"] != "normal")
    ]
    wide = rows.pivot_table(index=["seasons", "se", "tau"], columns="limits", values="new_held", sort=False)
    return wide.to_string(float_format="{:.1f}".format)


def printed(table: pd.DataFrame, se_df: float = np.inf) -> str:
    """Coverage by REML, one column a kind of limits, normal ones of DerSimonian and Laird beside."""
    rows = table[(table["se_df"] == se_df) & table["method"].isin(["reml", "dl"])]
    rows = rows[(rows["method"] == "reml") | (rows["limits"] == "normal")]
    wide = rows.assign(kind=rows["method"] + " " + rows["limits"]).pivot_table(
        index=["seasons", "se", "tau"], columns="kind", values="held", sort=False
    )
    return wide.to_string(float_format="{:.1f}".format)


if __name__ == "__main__":
    made = run(int(sys.argv[1]) if len(sys.argv) > 1 else 10_000)
    made.to_csv(TABLE, index=False, lineterminator="\n")
    print(printed(made))
    print("\nstandard errors known on 20 degrees of freedom")
    print(printed(made, 20.0))
    print("\na new season's true value")
    print(new_units(made))
