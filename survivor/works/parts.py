"""What each work adds, the others held equal: a model of works in place of bundles.

The model has a yes or no for each work (or for works that always went together) in place of the
preparation. A test asks whether bundles differ beyond the sum of their works; pairs of works that were
named before the season have their own difference of differences.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any, Final

import numpy as np
import pandas as pd

from survivor.arrays import Codes, Floats
from survivor.effects.cells import study_cells
from survivor.effects.confounding import WITHIN
from survivor.effects.contrasts import LEAST_PLOTS, contrasts, place_columns
from survivor.errors import EffectError, SurvivorError
from survivor.intervals import entries, row_codes
from survivor.models.clusters import WaldTest
from survivor.models.design import independent_columns
from survivor.models.fit import fit
from survivor.models.result import Fit
from survivor.models.working import INDEPENDENCE, Working
from survivor.records.work_names import column_of
from survivor.vocabulary import PLOT_KEY, REFUSED
from survivor.words import listed
from survivor.works.apart import Apart, Unit, told_apart
from survivor.works.columns import NO, PATTERN, YES, yes_or_no
from survivor.works.support import EVERY_PLOT, Support, per_100, support_of, under

WORK, PAIR = "work", "pair"
EFFECT_COLUMNS: Final = (
    "what", "kind", "basis", "estimate", "std_error", "df", "lower", "upper", "p_value", "unit", "at_day",
    "log_hazard_ratio", "n_seedlings", "n_plots", "n_sites", "fewest_plots", "penalised", "over", "n_sets",
    "reason",
)  # fmt: skip


@dataclass(frozen=True)
class Question:
    """What is asked, and of which model.

    Attributes
    ----------
    strata, cluster
        Columns within which plots are compared, and those of the plots (or whole plots) that limits go by.
    at
        Days since planting.
    others
        Further terms of the model, such as species.
    working, population
        As for ``survivor.fit`` and ``survivor.contrasts``.
    """

    strata: tuple[str, ...]
    cluster: tuple[str, ...]
    at: float
    others: tuple[str, ...] = ()
    working: Working = INDEPENDENCE
    population: pd.DataFrame | None = None

    @property
    def sites(self) -> tuple[str, ...]:
        """Strata without blocks: most of these hold one plot of the same works, which would leave nothing."""
        return tuple(name for name in self.strata if name != "block") or ("site",)

    @property
    def place(self) -> str:
        """What a stratum is called."""
        return self.strata[-1] if self.strata else "site"

    def fit(self, frame: pd.DataFrame, terms: Sequence[str], **more: Any) -> Fit:
        """Fit the grouped model with these terms."""
        asked: dict[str, Any] = {"strata": list(self.strata) or None, "cluster": list(self.cluster)}
        asked |= {"working": self.working}
        return fit(frame, " + ".join([*terms, *self.others]) or "1", **(asked | more))


@dataclass(frozen=True)
class Parts:
    """What each work adds.

    Attributes
    ----------
    table
        One row a work (or works that always went together) and a named pair: `EFFECT_COLUMNS`.
        ``estimate`` is per 100 planted: with it less without it, the other works as they were, over
        plots whose other works (``over``, ``n_sets`` sets) were seen both with it and without it; of a
        pair, what both together add beyond what each adds without the other. Counts are of those plots.
    apart
        What can be told apart.
    fitted
        The model; None where no work can be told.
    frame
        The risk intervals that it was fitted to, with a column for each unit.
    beyond
        F test that bundles differ by no more than the sum of their works; None where there is none.
    checks
        Sentences.
    """

    table: pd.DataFrame
    apart: Apart
    fitted: Fit | None = None
    frame: pd.DataFrame = field(default_factory=pd.DataFrame)
    beyond: WaldTest | None = None
    checks: tuple[str, ...] = ()


def no_effects() -> pd.DataFrame:
    """Make an empty table of effects."""
    return pd.DataFrame(columns=list(EFFECT_COLUMNS))


def unit_column(unit: Unit) -> str:
    """Column of a unit."""
    return column_of(" and ".join(unit.works))


def parts_of(
    frame: pd.DataFrame, works: Sequence[str], pairs: Sequence[tuple[str, str]], question: Question
) -> Parts:
    """Tell what each work adds.

    Parameters
    ----------
    frame
        Risk intervals with the columns of works (``survivor.works.columns``).
    works
        Works with a column.
    pairs
        Pairs of works asked about beforehand.
    question
        The day, strata, clusters and further terms.

    Raises
    ------
    ModelError
        When the model of works cannot be fitted.
    """
    plots = entries(frame).drop_duplicates(list(PLOT_KEY))
    matrix = np.column_stack([plots[column_of(work)] == YES for work in works]).astype(float)
    codes = _strata(plots, question)
    apart = told_apart(matrix, codes, works, question.place)
    if not apart.units:
        return Parts(no_effects(), apart)
    frame = with_units(frame, (*apart.units, *apart.others))
    terms = [unit_column(unit) for unit in (*apart.units, *_basis(frame, apart, question))]
    fitted = question.fit(frame, terms)
    rows = [_effect(fitted, unit, terms, question) for unit in apart.units]
    rows += [_pair(frame, pair, apart, terms, question) for pair in pairs]
    beyond, said = _beyond(frame, works, question)
    table = pd.DataFrame(rows, columns=list(EFFECT_COLUMNS))
    return Parts(table, apart, fitted, frame, beyond, (*fitted.noticed, *said))


def with_units(frame: pd.DataFrame, units: Sequence[Unit]) -> pd.DataFrame:
    """Give the frame a column for works that are told as one: yes where the plot got all of them."""
    joint = {
        unit_column(unit): yes_or_no(np.all([frame[column_of(work)] == YES for work in unit.works], axis=0))
        for unit in units
        if len(unit.works) > 1
    }
    return frame.assign(**joint)


def _strata(plots: pd.DataFrame, question: Question) -> Codes:
    if not question.strata:
        return np.zeros(len(plots), dtype=np.intp)
    return row_codes([plots[name].astype(str) for name in question.strata], in_order=False)[0]


def _basis(frame: pd.DataFrame, apart: Apart, question: Question) -> list[Unit]:
    """Return units that cannot be determined, as many as stand in the model beside those that can."""
    plots = entries(frame).drop_duplicates(list(PLOT_KEY))
    every = (*apart.units, *apart.others)
    columns = np.column_stack([plots[unit_column(unit)] == YES for unit in every]).astype(float)
    kept = independent_columns(columns, _strata(plots, question))
    return [every[n] for n in kept if n >= len(apart.units)]


def _effect(fitted: Fit, unit: Unit, terms: Sequence[str], question: Question) -> tuple[Any, ...]:
    column = unit_column(unit)
    found = contrasts(fitted, by=column, at=question.at, against=NO, population=question.population)
    line = {str(name): value for name, value in found.table.iloc[0].items()}
    others = [term for term in terms if term != column]
    support = support_of(fitted, column, unit.works, others, question.population)
    if support is not None and line["basis"] != REFUSED:
        line |= _over_support(fitted, column, support, question.at)
    over = (EVERY_PLOT, 0) if support is None else (support.over, len(support.sets))
    names = ("basis", "estimate", "std_error", "df", "lower", "upper", "p_value", "unit", "at_day")
    counts = ("n_seedlings", "n_plots", "n_sites", "fewest_plots", "penalised")
    ratio = fitted.params.get(f"{column}[T.{YES}]", np.nan)
    told = (*(line[name] for name in names), ratio, *(line[name] for name in counts))
    return (unit.name, WORK, *told, *over, line["reason"])


def _over_support(fitted: Fit, column: str, support: Support, at: float) -> dict[str, Any]:
    """With the work less without it, over the plots that were seen both ways; counts are of these."""
    weights = np.concatenate([support.share, -support.share])[None]
    found = fitted.average_survival(under(support.frame, column), weights, at)
    plots, got = support.plots, support.plots[column] == YES
    if not (found.std_error[0] > 0 and found.df[0] > 0):
        why = "no limits can be given: nothing tells how far its plots differ among themselves"
        return dict.fromkeys(("estimate", "lower", "upper", "p_value"), np.nan) | {
            "basis": REFUSED,
            "reason": why,
        }
    return {
        **per_100(found),
        "n_seedlings": int(plots["at_risk"].sum()),
        "n_plots": len(plots),
        "n_sites": int(plots["site"].nunique()),
        "fewest_plots": int(min(got.sum(), (~got).sum())),
    }


def _pair(
    frame: pd.DataFrame,
    pair: tuple[str, str],
    apart: Apart,
    terms: Sequence[str],
    question: Question,
) -> tuple[Any, ...]:
    """Tell what two works add together beyond what each adds without the other."""
    name = " x ".join(pair)
    alone = {unit.works[0]: unit_column(unit) for unit in apart.units if len(unit.works) == 1}
    absent = [work for work in pair if work not in alone]
    if absent:
        return _refused(name, question, f"{listed(absent)} cannot be distinguished from other works")
    first, second = (alone[work] for work in pair)
    try:
        both = question.fit(frame, [*terms, f"{first}:{second}"])
        return _difference_of_differences(both, name, (first, second), question)
    except SurvivorError as fault:
        return _refused(name, question, fault.what)


def _difference_of_differences(
    fitted: Fit, name: str, columns: tuple[str, str], question: Question
) -> tuple[Any, ...]:
    first, second = columns
    plots = entries(fitted.data)
    places = place_columns(fitted)
    four = plots.groupby(places, observed=True)[[first, second]].apply(
        lambda rows: len(rows.drop_duplicates()) == 4
    )
    here = four.index[four.to_numpy()]
    if not len(here):
        raise EffectError(f"no {question.place} has plots with both, with each, and with neither")
    cells = study_cells(fitted, [first, second], question.population)
    at_places = pd.MultiIndex.from_frame(cells.frame[places]) if len(places) > 1 else cells.frame[places[0]]
    plants = cells.plants * np.asarray(at_places.isin(here))
    share = plants / plants.sum()
    stacked, weights = [], []
    for *had, sign in ((True, True, 1), (True, False, -1), (False, True, -1), (False, False, 1)):
        levels = {
            column: yes_or_no(np.full(len(share), got)) for column, got in zip(columns, had, strict=True)
        }
        stacked.append(cells.frame.assign(**levels))
        weights.append(sign * share)
    found = fitted.average_survival(
        pd.concat(stacked, ignore_index=True), np.concatenate(weights)[None], question.at
    )
    wholes = plots.drop_duplicates(list(PLOT_KEY))
    fewest = int(wholes.groupby([first, second], observed=True).size().min())
    told = fewest >= LEAST_PLOTS
    ratio = float(fitted.params.filter(regex=f"{first}.*:{second}").iloc[0])
    return (
        name, PAIR, WITHIN, *per_100(found).values(), "per 100 planted", question.at, ratio,
        int(plots["at_risk"].sum()), len(wholes),
        int(plots["site"].nunique()), fewest, fitted.variance == "penalised", "", 0,
        "" if told else f"one of the four kinds of plot has fewer than {LEAST_PLOTS}",
    )  # fmt: skip


def _refused(name: str, question: Question, reason: str) -> tuple[Any, ...]:
    blank = (np.nan,) * 6
    return (
        name, PAIR, REFUSED, *blank, "per 100 planted", question.at, np.nan, 0, 0, 0, 0, False, "", 0, reason,
    )  # fmt: skip


def _beyond(
    frame: pd.DataFrame, works: Sequence[str], question: Question
) -> tuple[WaldTest | None, tuple[str, ...]]:
    """Test that bundles, as they were done, differ by no more than the sum of their works."""
    plots = entries(frame).drop_duplicates(list(PLOT_KEY))
    count = plots[PATTERN].value_counts()
    many = sorted(count.index[count >= LEAST_PLOTS])
    left = f"Bundles of fewer than {LEAST_PLOTS} plots are left out of the test of the sum."
    said = (left,) if len(many) < len(count) else ()
    frame = frame[frame[PATTERN].isin(many)]
    short = {pattern: f"b{place}" for place, pattern in enumerate(many)}
    frame = frame.assign(bundle=frame[PATTERN].map(short)).reset_index(drop=True)
    matrix = np.array([[work in pattern.split(" + ") for work in works] for pattern in many], dtype=float)
    free = _combinations(matrix[1:] - matrix[0]) if len(many) > 1 else np.zeros((0, 0))
    if not len(free):
        none = "There are no more bundles than works, so nothing tells whether their sum holds."
        return None, (*said, none)
    names = [f"bundle[b{place}]" for place in range(1, len(many))]
    asked = [
        " + ".join(f"{weight!r} * {name}" for weight, name in zip(row, names, strict=True) if weight)
        for row in free.tolist()
    ]
    try:
        found = question.fit(frame, ["bundle"]).test([text.replace("+ -", "- ") for text in asked])
    except SurvivorError as fault:
        why = f"Whether bundles differ beyond the sum of their works is not tested: {fault.what}."
        return None, (*said, why)
    return found, said


def _combinations(rows: Floats) -> Floats:
    """Return combinations of rows that are zero, shape (k, rows): what bundles have beyond their works."""
    left, values, _ = np.linalg.svd(rows, full_matrices=True)
    rank = int((values > 1e-9).sum())
    found: Floats = np.round(left[:, rank:].T, 12)
    return found


def whole_plots(frame: pd.DataFrame, column: str) -> tuple[str, ...]:
    """Columns that name the whole plots of a split-plot season: within site and block.

    Raises
    ------
    EffectError
        When there is no such column.
    """
    if column not in frame.columns:
        raise EffectError(
            f"no column of the plot sheet is called {column}",
            where="[works] whole_plots",
            mend=f"name a column of the plot sheet; there are {listed(list(map(str, frame.columns)))}",
        )
    return ("site", "block", column)
