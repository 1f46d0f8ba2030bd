"""``survivor pool``: every comparison of several seasons, pooled on a named scale."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import pandas as pd

from survivor._version import __version__
from survivor.curves import curve
from survivor.curves.rounds import at_milestone
from survivor.errors import PoolingError
from survivor.evidence.finding import Reading
from survivor.evidence.words import reading
from survivor.models.result import holm
from survivor.pooling import Pooled, PooledTrend, pool, pool_by
from survivor.pooling.limits import Limits, Pooling, TrendLimits
from survivor.pooling.pool import FEW_UNITS
from survivor.pooling.result import Coming, possible, within_scale
from survivor.seasons import english as en
from survivor.seasons.season import Season, common_day
from survivor.seasons.units import (
    SCALES,
    Unit,
    joint_estimates,
    unit_estimates,
    unit_traits,
)
from survivor.vocabulary import PER_100
from survivor.words import counted, first_few, listed

if TYPE_CHECKING:
    from matplotlib.axes import Axes

Say = Callable[[str], None]
_SAME_SITES: Final = ("site", "method", "season", "estimate", "lower", "upper")
Key = tuple[str, str, str]  # method, against, scale
_HIGH_I2 = 50.0  # % between units: more than moderate (Higgins et al. 2003, BMJ 327, 557-560)
SEASONS_POOLED: Final = Pooling()  # where nothing else is asked for
_LIMITS: Final[dict[Limits, str]] = {
    "cr2": "Limits go by each {unit}'s own distance to the mean (CR2, Satterthwaite degrees of freedom). "
    "Those of Hartung and Knapp, with their factor as it is and kept at 1, are in the table of other limits.",
    "hartung-knapp": "Limits are those of Hartung and Knapp; others are in the table of other limits.",
    "normal": "Limits are normal ones; others are in the table of other limits.",
}


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
        tau, tau_upper, new_lower, new_upper, reason, possible_lower, possible_upper, cut``. A comparison of
        fewer than two units has no estimate and its reason. Limits per 100 planted are cut at -100 and
        100, and ``cut`` says which were; ``pooled`` has them as they came out. ``possible``: how far
        survival can go from that of the usual practice in these units, as what is printed of a new one
        does (`survivor.pooling.result.Coming`).
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
    smallest
        Smallest difference that matters, per 100 planted: the least that a season names.
    same_sites
        ``site, method, season, estimate, lower, upper`` (per 100, observed) of the sites that come in
        more than one season; empty where none does.
    provenance
        Version, and the digest of every file of every season.
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
    smallest: float = 5.0
    same_sites: pd.DataFrame = field(default_factory=pd.DataFrame, repr=False)
    provenance: Mapping[str, str] = field(default_factory=dict, repr=False)

    def reading(self, row: Mapping[Any, Any]) -> Reading:
        """Read a row of ``table`` as a report reads a difference, by p adjusted for all comparisons."""
        lower, upper, p_adjusted = (float(row[name]) for name in ("lower", "upper", "p_adjusted"))
        return reading(lower, upper, p_adjusted, self.smallest)

    @property
    def differing(self) -> tuple[str, ...]:
        """Preparations in which units differ so much that the question is what goes with it, most first."""
        apart = self.table[(self.table["scale"] == PER_100) & (self.table["i2"] > _HIGH_I2)]
        return tuple(apart.sort_values("i2", ascending=False, kind="stable")["method"].astype(str))

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

    def drawn(self, key: Key) -> tuple[pd.DataFrame, pd.DataFrame, pd.DataFrame]:
        """Give what a picture of one comparison shows: units, all together, a new one.

        A unit has the interval of its own model, as in ``units``: pooling knows its standard error only.
        """
        pooled, scale = self.pooled[key], key[2]
        own = self.units[(self.units["method"] == key[0]) & (self.units["scale"] == scale)]
        ends = own.drop_duplicates("unit").set_index("unit")[["lower", "upper"]]
        units = pooled.units.drop(columns=["lower", "upper"]).join(ends, on="unit")
        told = (within_scale(table, scale) for table in (units, pooled.table))
        return next(told), next(told), self._new(key)

    def _new(self, key: Key) -> pd.DataFrame:
        """Give what a new unit may show, as far as it is possible, in numbers and in ``words``."""
        new = self.pooled[key].new_unit
        if key[2] != PER_100:
            return new
        names = ["method", "against", "scale"]
        own = self.table[(self.table[names].astype(str) == list(key)).all(axis=1)].iloc[0]
        coming = Coming.of_row(dict(own), f"{self.unit}s")
        return new.assign(lower=coming.lower, upper=coming.upper, words=str(coming))

    def plot(self, ax: Axes | None = None, method: str | None = None, scale: str = PER_100) -> Axes:
        """Draw one comparison, the first where none is named; returns the Axes."""
        from survivor.figures.pooling import draw_pooled

        named = method if method is not None else next(iter(self.pooled))[0]
        found = self.of(named, scale)
        key = next(key for key, one in self.pooled.items() if one is found)
        return draw_pooled(*self.drawn(key), found.scale, ax, f"a new {self.unit}")

    def __repr__(self) -> str:
        return "\n".join([self.table.to_string(index=False), *self.checks])

    def _repr_html_(self) -> str:
        return str(self.table.to_html(index=False))


def pool_seasons(
    seasons: Sequence[Season],
    *,
    milestone: str | None = None,
    unit: Unit = "season",
    pooling: Pooling = SEASONS_POOLED,
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
    pooling
        How.
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
    table, pooled = pool_units(units, pooling)
    if not pooled:
        reasons = "; ".join(dict.fromkeys(reason for reason in table["reason"] if reason))
        raise PoolingError(
            f"no comparison is made by two {unit}s or more ({reasons})",
            where="seasons",
            mend="pool seasons that compare the same preparations, spelt alike",
        )
    trends = {} if trait is None else _trends(seasons, units, trait, pooled, pooling)
    say("One model of all records")
    joint, remarks = joint_estimates(seasons, at)
    days = sorted({next(m.day for m in one.settings.milestones if m.name == named.name) for one in seasons})
    checks = [*_said(seasons, units, pooled, unit), _limits_note(pooling.limits, unit, pooled), *remarks]
    if len(days) > 1:
        checks.append(en.DAYS.format(days=listed(f"day {day:g}" for day in days), at=f"{at:g}"))
    return SeasonsTogether(
        named.name,
        at,
        unit,
        table,
        units,
        pooled,
        joint,
        trends,
        tuple(dict.fromkeys(checks)),
        smallest=min(season.settings.design.smallest_difference for season in seasons),
        same_sites=_same_sites(seasons, at, float(named.window_days)),
        provenance=_provenance(seasons),
    )


def _provenance(seasons: Sequence[Season]) -> dict[str, str]:
    files = {
        f"{season.name}: {name}": digest
        for season in seasons
        for name, digest in season.study.provenance.items()
        if name.startswith("sha256")
    }
    return {"survivor": __version__, **files}


def _same_sites(seasons: Sequence[Season], at: float, window: float) -> pd.DataFrame:
    """Survival as observed of each preparation in each season at the sites that come in several."""
    parts = []
    for site in _sites_again(seasons):
        for season in seasons:
            rows = season.intervals[season.intervals["site"].astype(str) == site]
            if rows.empty:
                continue
            moved, _ = at_milestone(rows, at, window)
            found = curve(moved, by="method").read(at).rename(columns={"survival": "estimate"})
            known = found.assign(
                method=found["method"].astype(str),
                **{name: 100 * found[name].astype(float) for name in ("estimate", "lower", "upper")},
            )
            parts.append(known.assign(site=site, season=season.name)[list(_SAME_SITES)])
    return pd.concat(parts, ignore_index=True) if parts else pd.DataFrame(columns=list(_SAME_SITES))


def pool_units(
    units: pd.DataFrame, pooling: Pooling = SEASONS_POOLED
) -> tuple[pd.DataFrame, dict[Key, Pooled]]:
    """Pool every comparison over its units.

    Parameters
    ----------
    units
        From `survivor.seasons.units.unit_estimates`.
    pooling
        How.

    Returns
    -------
    table, pooled
        As ``SeasonsTogether`` has them; a comparison of fewer than two units is in the table only.
    """
    pooled: dict[Key, Pooled] = {}
    lines = []
    for key, rows in _comparisons(units):
        estimated = _known(rows)
        missed = rows[~rows.index.isin(estimated.index)]
        if len(estimated) >= 2:
            pooled[key] = pool(
                estimated["estimate"],
                estimated["std_error"],
                pooling.method,
                pooling.limits,
                factor=pooling.factor,
                units=estimated["unit"].tolist(),
                scale=key[2],
            )
        line = _line(key, len(estimated), pooled.get(key), _why(missed, len(estimated)))
        ends = possible(estimated["alive_against"]) if key[2] == PER_100 else (np.nan, np.nan)
        lines.append(line | dict(zip(("possible_lower", "possible_upper"), ends, strict=True)))
    if not lines:
        return pd.DataFrame({"scale": units["scale"], "reason": units["reason"], "cut": ""}), pooled
    table = pd.DataFrame(lines)
    for scale in SCALES:
        same = (table["scale"] == scale).to_numpy()
        table.loc[same, "p_adjusted"] = holm(table.loc[same, "p_value"].to_numpy(dtype=float))
    return within_scale(table, "scale"), pooled


def _trends(
    seasons: Sequence[Season], units: pd.DataFrame, trait: str, pooled: Mapping[Key, Pooled], pooling: Pooling
) -> dict[Key, PooledTrend]:
    limits: TrendLimits = "normal" if pooling.limits == "normal" else "hartung-knapp"
    trends = {}
    for key, rows in _comparisons(units):
        if key in pooled:
            estimated = _known(rows)
            trends[key] = pool_by(
                estimated["estimate"],
                estimated["std_error"],
                {trait: unit_traits(seasons, estimated, trait)},
                pooling.method,
                limits,
                factor=pooling.factor,
                units=estimated["unit"].tolist(),
                scale=key[2],
            )
    return trends


def _known(rows: pd.DataFrame) -> pd.DataFrame:
    estimated: pd.DataFrame = rows[np.isfinite(rows["estimate"]) & (rows["std_error"] > 0)]
    return estimated


def _comparisons(units: pd.DataFrame) -> list[tuple[Key, pd.DataFrame]]:
    compared = units[units["method"] != ""]
    groups = compared.groupby(["method", "against", "scale"], sort=False)
    return [((str(method), str(against), str(scale)), rows) for (method, against, scale), rows in groups]


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
    """Say why units are left out, or why those there are make no pooled estimate; empty where none is."""
    parts = [f"{row['unit']}: {row['reason']}" for row in missed.to_dict("records")]
    if known < 2 and not parts:
        return "one unit alone compares them: its own limits stand as they are"
    left = "left out: " if known >= 2 and parts else ""
    return left + "; ".join(parts[:5]) + (f"; and {len(parts) - 5} more" if len(parts) > 5 else "")


def _said(
    seasons: Sequence[Season], units: pd.DataFrame, pooled: Mapping[Key, Pooled], unit: Unit
) -> list[str]:
    remarks = [en.TWICE]
    again = _sites_again(seasons)
    if again:
        remarks.append(en.SITE_AGAIN.format(sites=first_few(again, 4)))
    if unit == "site" and len(seasons) < 3:
        many = "one season" if len(seasons) == 1 else f"{len(seasons)} seasons"
        remarks.append(en.SITES_OF.format(seasons=many))
    if units["site"].astype(bool).any():
        remarks.append(en.SITES_SHARE)
    for found in pooled.values():
        remarks += [line for line in found.checks if not line.startswith(("The units agree", "Only "))]
    least = min(len(found.units) for found in pooled.values())
    if least < FEW_UNITS:
        of_freedom = counted(least - 1, "degree") + " of freedom"
        remarks.append(en.FEW.format(units=counted(least, unit), df=of_freedom))
    return remarks


def _limits_note(kind: Limits, unit: Unit, pooled: Mapping[Key, Pooled]) -> str:
    """Say what kind the limits are, and that they do not allow for several comparisons."""
    note, comparisons = _LIMITS[kind].format(unit=unit), len({key[0] for key in pooled})
    if comparisons > 1:
        note += f" {en.NOT_ADJUSTED.format(comparisons=counted(comparisons, 'comparison'))}"
    return note


def _sites_again(seasons: Sequence[Season]) -> list[str]:
    names = [str(site) for season in seasons for site in pd.unique(season.intervals["site"])]
    return sorted(name for name in dict.fromkeys(names) if names.count(name) > 1)
