"""Coverage of pooled limits: 3, 5 and 10 seasons that differ in truth, by every kind of limits.

``python -m tests.calibration.pooled_limits 100000`` writes ``pooled_limits.csv`` beside this file (seven
minutes of one core); ``closely 1000000`` prints the cells that lie near 94. ``pooled_limits.md`` says
what they show. Estimates are drawn round each season's own true value; ``se`` says how standard errors differ
from season to season, ``tau`` is the standard deviation between seasons over the middle standard
error. ``se_df`` 20 draws the standard errors too, as those of 20 degrees of freedom.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import pandas as pd
from scipy import stats

from survivor.arrays import Floats
from survivor.pooling.limits import Factor, Limits, means, new_unit, new_unit_by_t
from survivor.pooling.spread import METHODS, between_variance

TABLE = Path(__file__).with_suffix(".csv")
SEASONS = (3, 5, 10)
#: Ratio of the greatest standard error to the least; they rise by equal factors.
SPREADS = {"equal": 1.0, "within 2": 2.0, "within 5": 5.0}
TAUS = (0.0, 0.5, 1.0, 2.0)
SE_DFS = (np.inf, 20.0)
WAYS: tuple[tuple[str, Limits, Factor], ...] = (
    ("cr2", "cr2", "as is"),
    ("hartung-knapp, as is", "hartung-knapp", "as is"),
    ("hartung-knapp, at least 1", "hartung-knapp", "at least 1"),
    ("normal", "normal", "as is"),
)
NEW_UNITS = 500  # draws for limits of a new season by quantiles: these take long
AT_ONCE = 10_000
CLOSELY_AT_ONCE = 20_000
TRUE_MEAN = 0.0  # limits move with the estimates, so any value serves


def cell(
    seasons: int, spread: float, tau: float, se_df: float, draws: int, rng: np.random.Generator
) -> list[dict[str, object]]:
    """Coverage per 100 and mean width of each kind of limits in one cell."""
    error = np.geomspace(spread**-0.5, spread**0.5, seasons)
    found: list[dict[str, object]] = []
    for start in range(0, draws, AT_ONCE):
        many = min(AT_ONCE, draws - start)
        true = TRUE_MEAN + tau * rng.standard_normal((many, seasons))
        estimates = true + error * rng.standard_normal((many, seasons))
        squared = np.broadcast_to(error**2, estimates.shape)
        if np.isfinite(se_df):
            squared = squared * rng.chisquare(se_df, estimates.shape) / se_df
        another = TRUE_MEAN + tau * rng.standard_normal(many)
        found += _by_variance(estimates, squared, another, tau)
        if start == 0 and not np.isfinite(se_df):
            some = slice(0, NEW_UNITS)
            low, high = new_unit(estimates[some], squared[some], np.ones((seasons, 1)))
            held = np.mean((low <= another[some]) & (another[some] <= high))
            told = {"method": "any", "limits": "quantiles", "studies": len(low)}
            found.append(told | {"width": np.mean(high - low), "new_held": held})
    return _together(pd.DataFrame(found))


def _by_variance(estimates: Floats, squared: Floats, another: Floats, tau: float) -> list[dict[str, object]]:
    """Every kind of limits by every estimate of the variance between seasons, of one batch of draws."""
    seasons = estimates.shape[1]
    ones = np.ones((seasons, 1))
    lines: list[dict[str, object]] = []

    def line(method: str, limits: str, centre: Floats, half: Floats, **more: object) -> None:
        told = {"method": method, "limits": limits, "studies": len(centre)}
        held = np.mean(np.abs(centre - TRUE_MEAN) <= half)
        lines.append(told | {"held": held, "width": np.mean(2 * half)} | more)

    for method in METHODS:
        between = between_variance(estimates, squared, ones, method)
        for name, limits, factor in WAYS if method != "fixed" else WAYS[-1:]:
            found = means(estimates, squared, ones, between, limits, factor)
            low, high = new_unit_by_t(found, between, max(seasons - 2.0, 1.0))
            more = {
                "new_held": np.mean((low <= another) & (another <= high)),
                "nought": np.mean(between == 0),
            }
            line(method, name, found.coefficients[:, 0], found.half_width[:, 0], **more)
        if method == "reml":
            line(method, "kenward-roger", *_kenward_roger(estimates, squared + between[:, None]))
    known = means(estimates, squared, ones, np.full(len(estimates), tau**2), "hartung-knapp", "as is")
    line("known", "hartung-knapp, as is", known.coefficients[:, 0], known.half_width[:, 0])
    half = stats.t.ppf(0.975, seasons - 1) * estimates.std(axis=1, ddof=1) / np.sqrt(seasons)
    line("none", "t of the plain mean", estimates.mean(axis=1), half)
    return lines


def _kenward_roger(estimates: Floats, total: Floats) -> tuple[Floats, Floats]:
    """Mean and half width by Kenward and Roger 1997 (Biometrics 53, 983-997), expected information.

    The derivative of every total variance by the variance between seasons is one.
    """
    weights = 1 / total
    first, second, third = (np.sum(weights**power, axis=1) for power in (1, 2, 3))
    information = 0.5 * (second - 2 * third / first + (second / first) ** 2)
    added = 2 * (third - second**2 / first) / first**2 / information
    df = 2 * information * (first / second) ** 2
    centre = np.sum(weights * estimates, axis=1) / first
    return centre, stats.t.ppf(0.975, np.maximum(df, 1.0)) * np.sqrt(1 / first + added)


def _together(lines: pd.DataFrame) -> list[dict[str, object]]:
    """Batches of draws as one, shares per 100 with their simulation errors."""
    found = []
    for (method, limits), rows in lines.groupby(["method", "limits"], sort=False):
        told: dict[str, object] = {"method": method, "limits": limits, "studies": rows["studies"].sum()}
        for name in ("held", "new_held", "width", "nought"):
            told[name] = np.average(rows[name], weights=rows["studies"]) if name in rows else np.nan
        for name in ("held", "new_held"):
            share = float(str(told[name]))
            told[f"{name}_error"] = 100 * np.sqrt(share * (1 - share) / float(str(told["studies"])))
            told[name] = 100 * share
        told["nought"] = 100 * float(str(told["nought"]))
        found.append(told)
    return found


def run(draws: int, seed: int = 1) -> pd.DataFrame:
    """Every cell, each from its own stream of the seed."""
    lines = []
    for place, (seasons, (name, spread), tau, se_df) in enumerate(
        (k, s, t, d) for k in SEASONS for s in SPREADS.items() for t in TAUS for d in SE_DFS
    ):
        rng = np.random.default_rng([seed, place])
        told = {"seasons": seasons, "se": name, "tau": tau, "se_df": se_df}
        lines += [told | line for line in cell(seasons, spread, tau, se_df, draws, rng)]
    order = [
        "method",
        "limits",
        "studies",
        "held",
        "held_error",
        "width",
        "new_held",
        "new_held_error",
        "nought",
    ]
    table = pd.DataFrame(lines)[["seasons", "se", "tau", "se_df", *order]]
    return table.round(
        dict.fromkeys(("held", "held_error", "new_held", "new_held_error"), 2) | {"width": 3, "nought": 1}
    )


def closely(draws: int) -> pd.DataFrame:
    """Cells that lie near 94, with many more draws, told apart by whether the variance came out as nought."""
    lines = []
    for seasons, tau in ((3, 2.0), (5, 1.0), (3, 1.0)):
        rng = np.random.default_rng([99, seasons, int(10 * tau)])
        error, ones = np.geomspace(2**-0.5, 2**0.5, seasons), np.ones((seasons, 1))
        parts = []
        for _ in range(draws // CLOSELY_AT_ONCE):
            true = tau * rng.standard_normal((CLOSELY_AT_ONCE, seasons))
            estimates = true + error * rng.standard_normal(true.shape)
            squared = np.broadcast_to(error**2, estimates.shape)
            between = between_variance(estimates, squared, ones, "reml")
            held = {"nought": between == 0}
            for name, variance, limits in (
                ("as is", between, "hartung-knapp"),
                ("cr2", between, "cr2"),
                ("tau known", np.full_like(between, tau**2), "hartung-knapp"),
            ):
                found = means(estimates, squared, ones, variance, limits, "as is")
                held[name] = np.abs(found.coefficients[:, 0]) <= found.half_width[:, 0]
            parts.append(pd.DataFrame(held))
        each = pd.concat(parts)
        split = each.groupby("nought")["as is"].mean()
        told = {"seasons": seasons, "tau": tau, "studies": len(each)}
        lines.append(
            told | dict(100 * each.mean()) | {"at nought": 100 * split[True], "over it": 100 * split[False]}
        )
    return pd.DataFrame(lines)


def new_units(table: pd.DataFrame, se_df: float = np.inf) -> str:
    """Coverage of a new season: by quantiles, as reported, and by t on units less two."""
    rows = table[
        (table["se_df"] == se_df)
        & table["method"].isin(["reml", "any"])
        & ~table["limits"].isin(["normal", "kenward-roger"])
    ]
    wide = rows.pivot_table(index=["seasons", "se", "tau"], columns="limits", values="new_held", sort=False)
    return wide.to_string(float_format="{:.1f}".format)


def printed(table: pd.DataFrame, se_df: float = np.inf) -> str:
    """Coverage by REML, one column a kind of limits, and the others that stand beside it."""
    rows = table[(table["se_df"] == se_df) & table["method"].isin(["reml", "dl", "known", "none"])]
    rows = rows[(rows["method"] != "dl") | (rows["limits"] == "normal")]
    wide = rows.assign(kind=rows["method"] + " " + rows["limits"]).pivot_table(
        index=["seasons", "se", "tau"], columns="kind", values="held", sort=False
    )
    return wide.to_string(float_format="{:.1f}".format)


if __name__ == "__main__" and sys.argv[1:2] == ["closely"]:
    print(closely(int(sys.argv[2])).to_string(float_format="{:.2f}".format))
elif __name__ == "__main__":
    made = run(int(sys.argv[1]) if len(sys.argv) > 1 else 100_000)
    made.to_csv(TABLE, index=False, lineterminator="\n")
    print(printed(made))
    print("\nstandard errors known on 20 degrees of freedom")
    print(printed(made, 20.0))
    print("\na new season's true value")
    print(new_units(made))
