"""``survivor pool``: every comparison of several seasons, pooled on a named scale."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from survivor.errors import PoolingError
from survivor.figures.words import number
from survivor.models.multiplicity import holm
from survivor.pooling import Pooled, PooledTrend, pool, pool_by
from survivor.pooling.limits import Factor, Limits
from survivor.pooling.scale import within_scale
from survivor.pooling.spread import Method
from survivor.seasons.joint import joint_estimates
from survivor.seasons.season import Season, common_day
from survivor.seasons.traits import RAIN_DECILE, unit_traits
from survivor.seasons.units import LOG_HAZARD, SCALES, Unit, unit_estimates
from survivor.seasons.wording import limits_note
from survivor.vocabulary import PER_100

if TYPE_CHECKING:
    from matplotlib.axes import Axes

Say = Callable[[str], None]
Key = tuple[str, str, str]  # method, against, scale
_HIGH_I2 = 50.0  # % between units: more than moderate (Higgins et al. 2003, BMJ 327, 557-560)


@dataclass(frozen=True, repr=False)
class SeasonsTogether:
    """Every comparison of several seasons, pooled.

    Attributes
    ----------
    milestone, at_day
        What it is told for.
    unit
        ``season`` or ``site``.
    table
        One row a comparison and scale: ``method, against, scale, n_units, estimate, std_error,
        df, lower, upper, p_value, p_adjusted`` (Holm, over the comparisons of one scale), ``q_p_value, i2,
        tau, tau_upper, new_lower, new_upper, reason, cut``. A comparison of fewer than two units
        has no estimate and its reason. Limits per 100 planted are cut at -100 and 100, and
        ``cut`` says which were; ``pooled`` has them as they came out.
    units
        What each unit says; see ``survivor.seasons.units``.
    pooled
        The whole of each, by method, against and scale.
    joint
        One model of all records with season strata: ``method, against, scale, estimate,
        std_error, df, lower, upper, p_value, n_seedlings, n_plots, n_sites``. One true value is
        assumed in all seasons, and limits go by plot: they speak of these seasons only.
    trends
        Pooling on a trait, by method, against and scale; empty where none was asked for.
    checks
        Plain sentences.
    """

    milestone: str
    at_day: float
    unit: Unit
    table: pd.DataFrame
    units: pd.DataFrame = field(repr=False)
    pooled: Mapping[Key, Pooled] = field(repr=False)
    joint: pd.DataFrame
    trends: Mapping[Key, PooledTrend] = field(repr=False)
    checks: tuple[str, ...]

    def of(self, method: str, scale: str = PER_100) -> Pooled:
        """Give one comparison with the usual practice.

        Raises
        ------
        PoolingError
            When it was not pooled; says why.
        """
        for key, found in self.pooled.items():
            if key[0] == method and key[2] == scale:
                return found
        told = self.table[(self.table["method"] == method) & (self.table["scale"] == scale)]
        raise PoolingError(
            told["reason"].iloc[0] if len(told) else f"no comparison of {method!r} on the scale {scale!r}",
            where="of",
            mend=f"pooled: {'; '.join(sorted({key[0] for key in self.pooled})) or 'nothing'}",
        )

    def plot(self, ax: Axes | None = None, method: str | None = None, scale: str = PER_100) -> Axes:
        """Draw one comparison, the first where none is named; returns the Axes."""
        from survivor.figures.pooling import draw_pooled

        named = method if method is not None else next(iter(self.pooled))[0]
        found = self.of(named, scale)
        name = f"a new {self.unit}"
        units, whole, new = (within_scale(t, found.scale) for t in (found.units, found.table, found.new_unit))
        return draw_pooled(units, whole, new, found.scale, ax, name)

    def __repr__(self) -> str:
        return "\n".join([self.table.to_string(index=False), *self.checks])

    def _repr_html_(self) -> str:
        return str(self.table.to_html(index=False))


def pool_seasons(
    seasons: Sequence[Season],
    *,
    milestone: str | None = None,
    unit: Unit = "season",
    method: Method = "reml",
    limits: Limits = "cr2",
    factor: Factor = "as is",
    trait: str | None = None,
    say: Say = lambda _: None,
) -> SeasonsTogether:
    """Pool every comparison with the usual practice over seasons, or over their sites.

    Parameters
    ----------
    seasons
        From :func:`survivor.seasons.take_in`; at least two, or one with ``unit="site"``.
    milestone
        What to tell it for; None: the headline of the first season.
    unit
        One estimate a season, or one a site and season.
    method, limits, factor
        As for :func:`survivor.pool`.
    trait
        ``rain decile`` or a column of the plots: also pool on it, by Knapp and Hartung's tests.
    say
        Called with a short text before each step.

    Raises
    ------
    PoolingError
        When there are too few units, or seasons have no day in common.
    """
    if len(seasons) < 2 and unit == "season":
        raise PoolingError(
            "one season cannot be pooled",
            where="seasons",
            mend="name two or more studies, or take sites as units",
        )
    named, at = common_day(seasons, milestone)
    units = unit_estimates(seasons, at, unit, float(named.window_days), say)
    say("Pooling")
    pooled: dict[Key, Pooled] = {}
    trends: dict[Key, PooledTrend] = {}
    lines = []
    for key, rows in _comparisons(units):
        known = rows[np.isfinite(rows["estimate"]) & (rows["std_error"] > 0)]
        missed = rows[~rows.index.isin(known.index)]
        if len(known) < 2:
            lines.append(_line(key, len(known), None, _why(missed, len(known))))
            continue
        asked: dict[str, Any] = {"method": method, "limits": limits, "factor": factor, "scale": key[2]}
        names = known["unit"].tolist()
        found = pool(known["estimate"], known["std_error"], units=names, **asked)
        pooled[key] = found
        lines.append(_line(key, len(known), found, _why(missed, len(known)) if len(missed) else ""))
        if trait is not None:
            values = unit_traits(seasons, known, trait)
            by_trait = asked | {"limits": "normal" if limits == "normal" else "hartung-knapp"}
            trends[key] = pool_by(
                known["estimate"], known["std_error"], {trait: values}, units=names, **by_trait
            )
    if not pooled:
        reasons = "; ".join(dict.fromkeys(line["reason"] for line in lines if line["reason"]))
        raise PoolingError(
            f"no comparison is made by two {unit}s or more ({reasons})",
            where="seasons",
            mend="pool seasons that compare the same preparations, spelt alike",
        )
    table = pd.DataFrame(lines)
    table["p_adjusted"] = np.nan
    for scale in SCALES:
        same = (table["scale"] == scale).to_numpy()
        table.loc[same, "p_adjusted"] = holm(table.loc[same, "p_value"].to_numpy(dtype=float))
    table = within_scale(table, "scale")
    say("One model of all records")
    joint, said = joint_estimates(seasons, at)
    compared = len({key[0] for key in pooled})
    checks = [*_said(seasons, units, pooled, unit), limits_note(limits, unit, compared), *said]
    if trait is None:
        checks += _differing(table, unit)
    return SeasonsTogether(
        named.name, at, unit, table, units, pooled, joint, trends, tuple(dict.fromkeys(checks))
    )


def _comparisons(units: pd.DataFrame) -> list[tuple[Key, pd.DataFrame]]:
    told = units[units["method"] != ""]
    keys = told[["method", "against", "scale"]].drop_duplicates()
    found = []
    for method, against, scale in keys.itertuples(index=False):
        same = (told["method"] == method) & (told["against"] == against) & (told["scale"] == scale)
        found.append(((str(method), str(against), str(scale)), told[same]))
    return found


def _line(key: Key, units: int, found: Pooled | None, reason: str) -> dict[str, Any]:
    line: dict[str, Any] = dict(zip(("method", "against", "scale"), key, strict=True))
    line["n_units"] = units
    numbers = ("estimate", "std_error", "df", "lower", "upper", "p_value")
    if found is None:
        more = ("p_adjusted", "q_p_value", "i2", "tau", "tau_upper", "new_lower", "new_upper")
        return line | dict.fromkeys((*numbers, *more), np.nan) | {"reason": reason}
    whole, spread, new = found.table.iloc[0], found.spread.iloc[0], found.new_unit.iloc[0]
    line |= {name: float(whole[name]) for name in numbers}
    line |= {
        "p_adjusted": np.nan,
        "q_p_value": float(spread["p_value"]),
        "i2": float(spread["i2"]),
        "tau": float(spread["tau"]),
        "tau_upper": float(spread["tau2_upper"]) ** 0.5,
        "new_lower": float(new["lower"]),
        "new_upper": float(new["upper"]),
    }
    return line | {"reason": reason}


def _why(missed: pd.DataFrame, known: int) -> str:
    parts = [f"{row['unit']}: {row['reason']}" for row in missed.to_dict("records")]
    if known < 2 and not parts:
        return "one unit alone compares them: its own limits stand as they are"
    left = "left out: " if known >= 2 else ""
    return left + "; ".join(parts[:5]) + (f"; and {len(parts) - 5} more" if len(parts) > 5 else "")


def _said(
    seasons: Sequence[Season], units: pd.DataFrame, pooled: Mapping[Key, Pooled], unit: Unit
) -> list[str]:
    said = [
        f"Pooled twice: as {LOG_HAZARD}s, and as differences {PER_100}; the same ratio makes a smaller "
        "difference in a season in which few die."
    ]
    again = _sites_again(seasons)
    if again:
        named = ", ".join(again[:4]) + (" ..." if len(again) > 4 else "")
        said.append(
            f"{'A site comes' if len(again) == 1 else f'{len(again)} sites come'} in more than one season "
            f"({named}): these estimates are not wholly independent."
        )
    if unit == "site" and len(seasons) < 3:
        many = "one season" if len(seasons) == 1 else f"{len(seasons)} seasons"
        said.append(f"Sites of {many} tell how sites differ, not how seasons do.")
    if units["site"].astype(bool).any():
        said.append("Sites of one season share its weather: the limits take them as independent.")
    for found in pooled.values():
        said += [line for line in found.checks if not line.startswith(("The units agree", "Only "))]
    few = min(pooled.values(), key=lambda found: len(found.units))
    said += [line for line in few.checks if line.startswith("Only ")]
    return said


def _differing(table: pd.DataFrame, unit: Unit) -> list[str]:
    """Say where units differ so much that the question is what goes with it."""
    told = table[(table["scale"] == PER_100) & (table["i2"] > _HIGH_I2)]
    if told.empty:
        return []
    highest = told.sort_values("i2", ascending=False, kind="stable").iloc[0]
    more = f" and {len(told) - 1} more" if len(told) > 1 else ""
    return [
        f"The {unit}s differ ({highest['method']}{more}: I² {number(float(highest['i2']))} %): ask what goes "
        f"with it, --trait '{RAIN_DECILE}' or --trait with a column of the plot sheet."
    ]


def _sites_again(seasons: Sequence[Season]) -> list[str]:
    names = [str(site) for season in seasons for site in pd.unique(season.intervals["site"])]
    return sorted(name for name in dict.fromkeys(names) if names.count(name) > 1)
