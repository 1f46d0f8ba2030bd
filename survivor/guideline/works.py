"""Advice on works, beside that on preparations: what each adds, and when, from the seasons pooled.

A season answers what its study file asks of works (``survivor.works``). Seasons that answer the same
question are pooled, seasons being the units, and the guideline's own rule is applied to what they say
together. One season alone is told as one season: the rule then asks for more.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import pandas as pd

from survivor.analysis.season import season_of
from survivor.analysis.works import works_of
from survivor.guideline.advice import SEASONS_LIKE_THESE, THIS_SEASON
from survivor.guideline.file import Row
from survivor.guideline.rule import Answer, Facts, advice_of
from survivor.models.result import holm
from survivor.pooling import pool
from survivor.pooling.result import EDGE, Coming
from survivor.seasons import Season
from survivor.vocabulary import REFUSED
from survivor.works.answers import question_of

_MOST_APART: Final = 2.0  # ranges of time compared may differ by so much between seasons to be pooled


@dataclass(frozen=True)
class WorkAdvice:
    """What seasons say of a work, of a pair of works, or of when it was done.

    Attributes
    ----------
    what, question
        The work, pair or time, and what was asked.
    answer, held
        The advice, and why.
    estimate, lower, upper
        Difference per 100 planted with 95 % CI: of the average over the seasons, or of the one season.
    new_lower, new_upper
        95 % CI in a new season like these; None where one season tells.
    seasons
        Names of the seasons that answer it.
    n_sites, n_plots
        What it rests on.
    """

    what: str
    question: str
    answer: Answer
    held: str
    estimate: float
    lower: float
    upper: float
    new_lower: float | None
    new_upper: float | None
    seasons: tuple[str, ...]
    n_sites: int
    n_plots: int

    @property
    def coming(self) -> Coming | None:
        """What a new season like these may show; None where one season tells."""
        if self.new_lower is None or self.new_upper is None:
            return None
        return Coming.of(self.new_lower, self.new_upper, (-EDGE, EDGE), "seasons")


def works_of_seasons(seasons: Sequence[Season]) -> pd.DataFrame:
    """List what each season answers of works: a row an answer, with the column ``season``."""
    found = []
    for season in seasons:
        if season.settings.works is None:
            continue
        answers = works_of(season_of(season.settings, season.study.records)).answers
        told = answers[(answers["basis"] != REFUSED) & answers["std_error"].astype(float).gt(0)]
        found.append(told.assign(season=season.name))
    return pd.concat(found, ignore_index=True) if found else pd.DataFrame()


def works_advice(answers: pd.DataFrame, rule: Sequence[Row]) -> tuple[WorkAdvice, ...]:
    """Pool what seasons say of each work and apply the rule.

    Parameters
    ----------
    answers
        As :func:`works_of_seasons`.
    rule
        Rows of the guideline's rule.
    """
    if answers.empty:
        return ()
    groups = [rows for _, rows in answers.groupby(["kind", "what"], sort=False) if _alike(rows)]
    sizes = [_size(rows) for rows in groups]
    adjusted = holm(np.array([size["p_value"] for size in sizes])) if sizes else np.array([])
    return tuple(
        _advice(rows, size, float(p_adjusted), rule)
        for rows, size, p_adjusted in zip(groups, sizes, adjusted, strict=True)
    )


def _alike(rows: pd.DataFrame) -> bool:
    """Whether seasons compared the same: months, passes and days that lie near one another."""
    ends = rows[["low", "high"]].apply(pd.to_numeric, errors="coerce")
    if ends.isna().all(axis=None) or rows["kind"].iloc[0] == "later work":
        return True
    return bool(((ends.max() - ends.min()) <= _MOST_APART).all())


def _size(rows: pd.DataFrame) -> dict[str, Any]:
    """Estimate with its limits and p: of one season, or of the seasons pooled."""
    if len(rows) == 1:
        return _numbers(rows.iloc[0]) | {"new_lower": None, "new_upper": None}
    pooled = pool(
        rows["estimate"].to_numpy(dtype=float),
        rows["std_error"].to_numpy(dtype=float),
        limits="cr2",
        units=rows["season"].tolist(),
        scale="per 100 planted",
    )
    new = pooled.new_unit.iloc[0]
    more = {"new_lower": float(new["lower"]), "new_upper": float(new["upper"])}
    return _numbers(pooled.table.iloc[0]) | more


def _numbers(line: pd.Series[Any]) -> dict[str, Any]:
    return {name: float(line[name]) for name in ("estimate", "lower", "upper", "p_value")}


def _advice(rows: pd.DataFrame, size: dict[str, Any], p_adjusted: float, rule: Sequence[Row]) -> WorkAdvice:
    facts = Facts(
        seasons=len(rows),
        sites=int(rows["n_sites"].sum()),
        fewest_plots=int(rows["fewest_plots"].sum()),
        of=SEASONS_LIKE_THESE if len(rows) > 1 else THIS_SEASON,
        estimate=size["estimate"],
        lower=size["lower"],
        upper=size["upper"],
        p_adjusted=p_adjusted,
        season_estimates=tuple(rows["estimate"].astype(float)),
        extra_cost=None,
        grade=None,
    )
    answer, held = advice_of(rule, facts)
    line = rows.iloc[0].to_dict()
    return WorkAdvice(
        what=str(line["what"]),
        question=question_of(line),
        answer=answer,
        held=held,
        estimate=size["estimate"],
        lower=size["lower"],
        upper=size["upper"],
        new_lower=size["new_lower"],
        new_upper=size["new_upper"],
        seasons=tuple(rows["season"].astype(str)),
        n_sites=facts.sites,
        n_plots=int(rows["n_plots"].sum()),
    )
