"""From the records of studies to the programme: what lives under what, what was promised, what is not known.

Nothing here reads a study; every number of a study comes from its record, and pooling is that of
``survivor pool``. Studies are taken in the order of their folders, so the order in which they were done
does not matter.
"""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Final

import numpy as np
import pandas as pd

from survivor.guideline.trynext import worth_of_season
from survivor.models.result import holm
from survivor.pooling import Pooled
from survivor.pooling.result import standing_apart
from survivor.programme import english as en
from survivor.programme.record import PLOT_COLUMNS, UNIT_COLUMNS, StudyRecord, unit_rows
from survivor.proportions import design_effect, effective_number, wilson
from survivor.seasons.together import Key, pool_units
from survivor.vocabulary import PER_100, SIGNIFICANCE

LIVES: Final = ("by", "level", "studies", "plots", "alive", "known", "estimate", "lower", "upper")
VERDICTS: Final = ("met", "missed", "unclear", "depends on missing plants")
WATCHED: Final = ("organisation", "year", "studies", "sites", "plots", "seedlings")
_LEAST_DF: Final = 2.0


@dataclass(frozen=True, repr=False)
class Programme:
    """Every study below a folder, together.

    Attributes
    ----------
    name
        Of the folder.
    milestone, day
        What it is told for.
    records
        One a study, in the order of folders.
    names
        What each study is called, by its folder: a number where its folder may not be named.
    ground
        The column of the plot sheets that kinds of ground are taken from; empty where none has one.
    watched
        ``organisation, year, studies, sites, plots, seedlings``: what was planted and monitored when.
    lives
        ``by`` (preparation, ground, year or organisation), ``level, studies, plots, alive, known,
        estimate, lower, upper``: alive per 100 plants whose fate is known, observed; 95 % CI by study.
    targets
        ``by, level, verdict, targets, judged, estimate, lower, upper``: per 100 targets that were judged.
    pooled
        Differences as ``survivor pool`` has them; see ``SeasonsTogether.table``.
    parts
        Each comparison per 100 planted in whole.
    units
        What each study says of every comparison.
    apart
        ``unit, method, against, estimate, expected, residual, p_value, p_adjusted`` of the studies that
        stand apart.
    worth
        ``method, against, value, chance``: what one more study is worth, best first.
    untried
        ``method, ground, studies``: how many studies had a preparation on a kind of ground.
    """

    name: str
    milestone: str
    day: float
    records: tuple[StudyRecord, ...] = field(repr=False)
    names: Mapping[str, str] = field(repr=False)
    ground: str
    watched: pd.DataFrame
    lives: pd.DataFrame
    targets: pd.DataFrame
    pooled: pd.DataFrame
    parts: Mapping[Key, Pooled] = field(repr=False)
    units: pd.DataFrame = field(repr=False)
    apart: pd.DataFrame
    worth: pd.DataFrame
    untried: pd.DataFrame

    def of_state(self, *states: str) -> list[StudyRecord]:
        """Return the studies in a state."""
        return [record for record in self.records if record.state in states]

    @property
    def left(self) -> pd.DataFrame:
        """Studies that could not be used, or not yet, with the reason."""
        lines = [(self.names[r.folder], r.state, r.reason) for r in self.of_state("not used", "not yet")]
        return pd.DataFrame(lines, columns=["study", "state", "reason"])

    @property
    def smallest(self) -> float:
        """Smallest difference that matters: what most studies say."""
        return _commonest([record.smallest for record in self.of_state("used")] or [5.0])

    @property
    def studies(self) -> pd.DataFrame:
        """One row a study."""
        return pd.DataFrame([_line(record, self.names[record.folder]) for record in self.records])

    def __repr__(self) -> str:
        return f"Programme {self.name!r}: {len(self.records)} studies\n{self.pooled.to_string(index=False)}"


def together(name: str, records: Sequence[StudyRecord], ground: str | None = None) -> Programme:
    """Put the records of studies together.

    Parameters
    ----------
    name
        Of the programme.
    records
        One a study; the same plants under two folders are in it once (`survivor.programme.twice`).
    ground
        Column of the plot sheets that tells the kind of ground; None: the one that most studies have.

    Raises
    ------
    ProgrammeError
        When no study can be used at all.
    """
    ordered = tuple(sorted(records, key=lambda record: record.folder))
    names = _names(ordered)
    used = [record for record in ordered if record.state == "used"]
    plots = _plots(used)
    column = _ground(plots) if ground is None else ground
    if column and column not in plots:
        plots[column] = ""
    units = _units(used)
    table, whole = pool_units(units)
    parts = {key: each for key, each in whole.items() if key[2] == PER_100}
    question = ordered[0].question
    return Programme(
        name=name,
        milestone=question.milestone,
        day=question.day,
        records=ordered,
        names=names,
        ground=column,
        watched=_watched(ordered),
        lives=_lives(plots, column),
        targets=_targets(ordered),
        pooled=_best_first(table),
        parts=parts,
        units=units.assign(unit=units["unit"].map(names)).drop(columns=["season", "site"]),
        apart=_apart(parts, names),
        worth=_worth(parts, _commonest([record.smallest for record in used] or [5.0])),
        untried=_untried(plots, column),
    )


def _commonest(values: Sequence[float]) -> float:
    return max(sorted(set(values)), key=values.count)


def _names(records: Sequence[StudyRecord]) -> dict[str, str]:
    """Call every study by its folder's name, or by a number in an order that tells nothing of it."""
    last = [record.folder.rpartition("/")[2] for record in records]
    hidden = sorted(
        (record.folder for record in records if record.hidden),
        key=lambda folder: hashlib.sha256(folder.encode()).hexdigest(),
    )
    width = len(str(len(hidden)))
    numbers = {
        folder: en.NUMBERED.format(number=f"{place:0{width}d}") for place, folder in enumerate(hidden, 1)
    }
    return {
        record.folder: numbers.get(record.folder, own if last.count(own) == 1 else record.folder)
        for record, own in zip(records, last, strict=True)
    }


def _line(record: StudyRecord, name: str) -> dict[str, Any]:
    target = record.target or {}
    return {
        "study": name,
        "organisation": record.organisation,
        "planted": ", ".join(map(str, record.years)),
        "state": record.state,
        "reason": record.reason,
        "usual_practice": record.usual,
        "at_day": record.at_day or np.nan,
        **{key: record.counts.get(key, 0) for key in ("records", "set_aside", "problems", "seedlings")},
        **{key: record.counts.get(key, 0) for key in ("plots", "sites", "visits")},
        "promised": target.get("promised", np.nan),
        "verdict": target.get("verdict", "") or target.get("reason", ""),
        **{key: target.get(key, np.nan) for key in ("estimate", "lower", "upper")},
    }


def _plots(records: Sequence[StudyRecord]) -> pd.DataFrame:
    parts = [
        record.plots.assign(study=record.folder, organisation=record.organisation)
        for record in records
        if len(record.plots)
    ]
    if not parts:
        return pd.DataFrame(columns=[*PLOT_COLUMNS, "study", "organisation"])
    joined = pd.concat(parts, ignore_index=True)
    traits = [name for name in joined if name not in PLOT_COLUMNS]
    told = joined.assign(**{str(name): joined[name].fillna("") for name in traits})
    return told.assign(known=told["alive"] + told["died"])


def _ground(plots: pd.DataFrame) -> str:
    """Name the trait of ground that most studies have; empty where none has one."""
    traits = [name for name in plots if name not in (*PLOT_COLUMNS, "study", "organisation", "known")]
    told = {str(name): plots.loc[plots[name] != "", "study"].nunique() for name in traits}
    return max(sorted(told), key=told.__getitem__, default="")


def _watched(records: Sequence[StudyRecord]) -> pd.DataFrame:
    lines = [
        (record.organisation or en.NOBODY, record.years[0], 1, *(record.counts[k] for k in WATCHED[3:]))
        for record in records
        if record.years
    ]
    table = pd.DataFrame(lines, columns=list(WATCHED))
    return table.groupby(["organisation", "year"], sort=True, as_index=False).sum()


def _lives(plots: pd.DataFrame, ground: str) -> pd.DataFrame:
    """Count who lives by each thing that is asked about; studies are the units of the limits."""
    asked = {
        "all": "all",
        "preparation": "method",
        "ground": ground,
        "year": "planting_year",
        "organisation": "organisation",
    }
    lines = []
    for by, column in asked.items():
        if not column or plots.empty:
            continue
        known = plots.assign(all="")
        known = known[(known["known"] > 0) & ((column == "all") | (known[column].astype(str) != ""))]
        levels = [
            {"by": by, "level": str(level), **_alive(rows)}
            for level, rows in known.groupby(column, sort=True)
        ]
        if by == "preparation":
            levels.sort(key=lambda line: -float(line["estimate"]))
        lines += levels
    return pd.DataFrame(lines, columns=list(LIVES))


def _alive(rows: pd.DataFrame) -> dict[str, Any]:
    """Alive per 100 with limits by study; by plot where there is one study only."""
    unit = rows["study"] if rows["study"].nunique() > 1 else pd.Series(range(len(rows)), rows.index)
    summed = rows.groupby(unit, sort=True)[["alive", "known"]].sum()
    alive, known = int(summed["alive"].sum()), int(summed["known"].sum())
    share, lower, upper = alive / known, np.nan, np.nan
    if len(summed) > 1:
        effect = design_effect(summed["alive"], summed["known"]).design_effect
        worth = float(effective_number(known, 1.0 if np.isnan(effect) else effect, len(summed) - 1))
        lower, upper = (float(end) for end in wilson(share * worth, worth))
    return {
        "studies": rows["study"].nunique(),
        "plots": len(rows),
        "alive": alive,
        "known": known,
        **{name: 100 * value for name, value in (("estimate", share), ("lower", lower), ("upper", upper))},
    }


def _targets(records: Sequence[StudyRecord]) -> pd.DataFrame:
    """Count verdicts, with limits of their share among those judged; those met by organisation and year."""
    rows = pd.DataFrame(
        [
            (record.organisation or en.NOBODY, str(record.years[0]), record.target["verdict"])
            for record in records
            if record.target is not None and record.years and record.state != "not used"
        ],
        columns=["organisation", "year", "verdict"],
    )
    lines = _shares("all", "", rows, VERDICTS)
    for by in ("organisation", "year"):
        for level, own in rows.groupby(by, sort=True):
            lines += _shares(by, str(level), own, VERDICTS[:1])
    names = ("by", "level", "verdict", "targets", "judged", "estimate", "lower", "upper")
    return pd.DataFrame(lines, columns=list(names))


def _shares(by: str, level: str, rows: pd.DataFrame, verdicts: Sequence[str]) -> list[tuple[Any, ...]]:
    judged = int((rows["verdict"] != "").sum())
    lines = []
    for verdict in verdicts:
        count = int((rows["verdict"] == verdict).sum())
        lower, upper = (100 * float(end) for end in wilson(count, judged))
        share = 100 * count / judged if judged else np.nan
        lines.append((by, level, verdict, count, judged, share, lower, upper))
    return lines


def _units(used: Sequence[StudyRecord]) -> pd.DataFrame:
    names = ["unit", "season", "site", *UNIT_COLUMNS]
    table = pd.DataFrame(list(unit_rows(list(used))), columns=names)
    numbers = ["estimate", "std_error", "lower", "upper", "alive_against"]
    return table.astype(dict.fromkeys(numbers, float))


def _best_first(table: pd.DataFrame) -> pd.DataFrame:
    if "estimate" not in table:
        return table
    ordered = table[table["scale"] == PER_100].sort_values("estimate", ascending=False, kind="stable")
    place = {(row["method"], row["against"]): i for i, row in enumerate(ordered.to_dict("records"))}
    keys = [
        (place.get((m, a), len(place)), s != PER_100)
        for m, a, s in table[["method", "against", "scale"]].to_numpy()
    ]
    return table.iloc[sorted(range(len(table)), key=keys.__getitem__)].reset_index(drop=True)


def _apart(parts: Mapping[Key, Pooled], names: Mapping[str, str]) -> pd.DataFrame:
    """Find the studies that stand apart, adjusted over all comparisons of all studies."""
    found = [
        standing_apart(pooled).assign(method=method, against=against)
        for (method, against, _), pooled in parts.items()
    ]
    columns = ["unit", "method", "against", "estimate", "expected", "residual", "p_value", "p_adjusted"]
    told = [table for table in found if len(table)]
    table = pd.concat(told, ignore_index=True) if told else pd.DataFrame(columns=columns)
    adjusted = table.assign(p_adjusted=holm(table["p_value"].to_numpy(dtype=float)))
    apart = adjusted[adjusted["p_adjusted"] < SIGNIFICANCE].sort_values("p_value", kind="stable")
    return apart.assign(unit=apart["unit"].map(names))[columns].reset_index(drop=True)


def _worth(parts: Mapping[Key, Pooled], smallest: float) -> pd.DataFrame:
    """Say what one more study of each comparison is worth, as the guideline does for one more season."""
    lines = []
    for (method, against, _), pooled in parts.items():
        line = pooled.table.iloc[0]
        mean, error = float(line["estimate"]), float(line["std_error"])
        if not error > 0:
            continue
        variance = len(pooled.units) * error**2
        worth = worth_of_season(mean, error, variance, smallest, max(float(line["df"]), _LEAST_DF))
        lines.append((method, against, worth.value, 100 * worth.chance, len(pooled.units)))
    table = pd.DataFrame(lines, columns=["method", "against", "value", "chance", "studies"])
    return table.sort_values("value", ascending=False, kind="stable").reset_index(drop=True)


def _untried(plots: pd.DataFrame, ground: str) -> pd.DataFrame:
    if not ground or plots.empty:
        return pd.DataFrame(columns=["method", "ground", "studies"])
    told = plots[plots[ground] != ""]
    counts = told.groupby(["method", ground])["study"].nunique()
    every = pd.MultiIndex.from_product(
        [sorted(told["method"].unique()), sorted(told[ground].unique())], names=["method", "ground"]
    )
    return counts.reindex(every, fill_value=0).rename("studies").reset_index()
