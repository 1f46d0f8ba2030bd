"""How alike the ground was under the methods: balance of traits, and where they overlap."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

MEAN = "mean"
SHARE = "per 100 plots"
DAYS = "days after the first planting"


def balance(plots: pd.DataFrame, by: str, levels: list[Any], traits: list[str]) -> pd.DataFrame:
    """Compare the traits of plots between methods.

    Parameters
    ----------
    plots
        One row a plot.
    by, levels
        Column of methods, and its levels; the first is compared with.
    traits
        Columns: numbers and dates by their mean, words by the share of each.

    Returns
    -------
    DataFrame
        ``trait, level, <by>, n_plots, value, unit, standardised_difference``; the
        difference of means in pooled standard deviations.

    Notes
    -----
    Austin (2009), Statistics in Medicine 28, 3083-3107.
    """
    columns = ["trait", "level", by, "n_plots", "value", "unit", "standardised_difference"]
    lines: list[dict[str, Any]] = []
    for trait in traits:
        column = plots[trait]
        scaled = _measured(column)
        if scaled is not None:
            unit = DAYS if pd.api.types.is_datetime64_any_dtype(column) else MEAN
            lines += _one_trait(plots, by, levels, trait, "", scaled, unit)
        else:
            for level in sorted(column.dropna().unique().tolist(), key=str):
                share = 100.0 * (column == level)
                lines += _one_trait(plots, by, levels, trait, str(level), share, SHARE)
    return pd.DataFrame(lines, columns=columns)


def overlap(plots: pd.DataFrame, by: str, levels: list[Any], traits: list[str]) -> pd.DataFrame:
    """Tell how many plots of each method lie where plots of the first method lie too.

    Where they do not, a comparison rests on what the model takes the trait to do.

    Parameters
    ----------
    plots, by, levels, traits
        As for :func:`balance`; ``site`` may be among the traits.

    Returns
    -------
    DataFrame
        ``trait, <by>, against, n_plots, inside, inside_against``: plots per 100 within the
        range of the other method's plots (numbers, dates) or at a level that holds the
        other too (words); blank where a method has no plot with the trait known.
    """
    lines = []
    for trait in traits:
        for method in levels[1:]:
            own, other = (plots.loc[plots[by] == level, trait].dropna() for level in (method, levels[0]))
            lines.append((trait, method, levels[0], len(own), _inside(own, other), _inside(other, own)))
    return pd.DataFrame(lines, columns=["trait", by, "against", "n_plots", "inside", "inside_against"])


def _inside(own: pd.Series[Any], other: pd.Series[Any]) -> float:
    """Per 100 of one set of plots that lie where the other set does."""
    if own.empty or other.empty:
        return float("nan")
    if _measured(own) is None:
        found = own.isin(other.unique().tolist())
    else:
        found = (own >= other.min()) & (own <= other.max())
    return 100.0 * float(found.mean())


def _measured(column: pd.Series[Any]) -> pd.Series[float] | None:
    """Numbers of a trait that has an order, dates as days after the first; None for words."""
    if pd.api.types.is_datetime64_any_dtype(column):
        days: pd.Series[float] = (column - column.min()).dt.days.astype(float)
        return days
    if pd.api.types.is_numeric_dtype(column) and not pd.api.types.is_bool_dtype(column):
        numbers: pd.Series[float] = column.astype(float)
        return numbers
    return None


def _one_trait(
    plots: pd.DataFrame,
    by: str,
    levels: list[Any],
    trait: str,
    level: str,
    value: pd.Series[float],
    unit: str,
) -> list[dict[str, Any]]:
    groups = [value[(plots[by] == method).to_numpy()].dropna() for method in levels]
    return [
        {
            "trait": trait,
            "level": level,
            by: method,
            "n_plots": len(group),
            "value": float(group.mean()),
            "unit": unit,
            "standardised_difference": _standardised(group, groups[0]),
        }
        for method, group in zip(levels, groups, strict=True)
    ]


def _standardised(group: pd.Series[float], first: pd.Series[float]) -> float:
    """Difference of means in pooled standard deviations (Austin 2009, Stat. Med. 28, 3083-3107)."""
    difference = float(group.mean() - first.mean())
    pooled = float(np.sqrt((group.var(ddof=0) + first.var(ddof=0)) / 2))
    if pooled > 0:
        return difference / pooled
    return 0.0 if difference == 0 else float(np.sign(difference) * np.inf)
