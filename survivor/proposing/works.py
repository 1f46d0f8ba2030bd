"""Works of each preparation as the diary tells them: no sheet says what a preparation was to have."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass
from functools import reduce
from itertools import combinations
from typing import Final

import pandas as pd

from survivor.records import Records
from survivor.records.diary import DIARY
from survivor.records.work_names import AFTER, BEFORE, WORK_WORDS
from survivor.settings.questions import Rank, asked, quoted
from survivor.vocabulary import PLOT_KEY
from survivor.words import listed
from survivor.works.columns import CALLED, plot_columns

_MOST: Final = 2 / 3  # share of its plots from which on a work is taken as part of a preparation
_SOME: Final = 1 / 3  # below which it is none; between the two it is asked about
_MOST_DOUBTFUL: Final = 2  # works of one preparation of which every combination is offered
_MOST_PAIRS: Final = 6  # that are offered; the study file takes any


@dataclass(frozen=True)
class WorksOfMethod:
    """What the diary tells of the plots of one preparation.

    Attributes
    ----------
    plots
        Of which a row of the diary speaks.
    done
        Work -> in how many of them it was done before planting.
    """

    plots: int
    done: dict[str, int]

    def with_spelling(self, other: WorksOfMethod) -> WorksOfMethod:
        """Add the plots of another spelling of the preparation."""
        words = dict.fromkeys([*self.done, *other.done])
        done = {word: self.done.get(word, 0) + other.done.get(word, 0) for word in words}
        return WorksOfMethod(self.plots + other.plots, done)

    def share(self, work: str) -> float:
        """Share of its plots that had a work."""
        return self.done[work] / self.plots

    @property
    def sure(self) -> list[str]:
        """Works that most of its plots had."""
        return [work for work in self.done if self.share(work) >= _MOST]

    def told(self, works: Sequence[str]) -> str:
        """Say in how many plots works were done."""
        return listed([f"{work} in {self.done[work]}" for work in works]) + f" of {self.plots} plots"


@dataclass(frozen=True)
class WorksTold:
    """What a diary tells of all plots.

    Attributes
    ----------
    of_method
        By the names in the records.
    later
        Works of plants that stood already, in some plots and not in others.
    times
        What differs between plots of one preparation: lead time, passes, dry ripping.
    """

    of_method: dict[str, WorksOfMethod]
    later: tuple[str, ...]
    times: tuple[str, ...]

    def of(self, names: Sequence[str]) -> WorksOfMethod | None:
        """Return the works of a preparation, its spellings together; None where the diary says nothing."""
        told = [self.of_method[name] for name in names if name in self.of_method]
        return reduce(WorksOfMethod.with_spelling, told) if told else None

    @property
    def pairs(self) -> list[tuple[str, str]]:
        """Works that some preparations had and others not, two by two."""
        had = [set(of.sure) for of in self.of_method.values()]
        apart = [work for work in _in_order(set().union(*had)) if not all(work in own for own in had)]
        return list(combinations(apart, 2))


def works_told(records: Records) -> WorksTold | None:
    """Count the plots of each preparation that had a work, as the diary tells; None without a diary.

    What belongs before planting counts whenever it was done; another work if it was done by the planting
    day; weed control round plants that stand already never.
    """
    rows = records.works.rows
    told = rows[rows["told_by"] == DIARY]
    if told.empty:
        return None
    plots = told.drop_duplicates(list(PLOT_KEY)).groupby("method", observed=True).size()
    part = ~told["work"].isin(AFTER) & (told["work"].isin(BEFORE) | (told["day"].astype(float) <= 0))
    once = told[part].drop_duplicates([*PLOT_KEY, "work"])
    often = once.groupby(["method", "work"], observed=True, sort=False).size().reset_index(name="plots")
    of_method: dict[str, dict[str, int]] = {str(method): {} for method in plots.index}
    for row in often.to_dict("records"):
        of_method[str(row["method"])][str(row["work"])] = int(row["plots"])
    columns = plot_columns(told, records.plots, told.head(0)[list(PLOT_KEY)])
    every = len(columns.table)
    later = columns.later.groupby("work").size()
    differ = columns.table.replace("", pd.NA).groupby("method", observed=True)[list(CALLED)].nunique()
    return WorksTold(
        {
            str(method): WorksOfMethod(int(number), {work: done[work] for work in _in_order(done)})
            for method, number in plots.items()
            for done in (of_method[str(method)],)
        },
        tuple(str(work) for work, times in later.items() if times < every),
        tuple(called for name, called in CALLED.items() if (differ[name] > 1).any()),
    )


def _in_order(works: Collection[str]) -> list[str]:
    """Put works in the order in which they are done, our own names first."""
    known = list(WORK_WORDS)
    return sorted(works, key=lambda work: (known.index(work) if work in known else len(known), work))


def works_lines(of: WorksOfMethod) -> Iterator[str]:
    """Write the works of one preparation: those of most of its plots, and a question where it is in doubt."""
    sure = of.sure
    doubtful = [work for work in of.done if _SOME <= of.share(work) < _MOST]
    reason = of.told(sure + doubtful) if sure or doubtful else f"none in most of {of.plots} plots"
    yield f"works = {_list(sure)}   # {reason}"
    if doubtful:
        yield from asked(
            Rank.WORKS,
            "was a work that only some plots of a preparation had a part of it? "
            "Plots that differ from it count as departures.",
            [
                f"works = {_list([*sure, *some])}   # {of.told(doubtful)}: {_part(some)}"
                for some in _subsets(doubtful)
            ],
        )


def design_lines(told: WorksTold) -> Iterator[str]:
    """Ask what no diary tells: which pairs of works were of interest, and how other plots were chosen."""
    yield "[works]"
    if pairs := told.pairs[:_MOST_PAIRS]:
        yield from asked(
            Rank.PAIRS,
            "of which pair of works was it asked beforehand whether they do more together? "
            "Without an answer, of none.",
            [
                *(f"interactions = {_list([' x '.join(pair)])}" for pair in pairs),
                "interactions = []   # of none",
            ],
        )
    yield ""
    if chosen := [*told.later, *told.times]:
        yield "[works.allocated]"
        yield from asked(
            Rank.WORKS_CHOSEN,
            "how were the plots chosen that got these works, or got them at another time? "
            "Only chance makes a difference their effect.",
            [
                line
                for name in chosen
                for line in (
                    f'{quoted(name)} = "random within blocks"   # {name}: by chance, in every block or site',
                    f'{quoted(name)} = "by choice"   # somebody chose',
                    f'{quoted(name)} = "not recorded"   # nobody knows',
                )
            ],
        )
        yield ""


def _subsets(works: Sequence[str]) -> list[tuple[str, ...]]:
    most = len(works) if len(works) <= _MOST_DOUBTFUL else 1
    several = [some for number in range(1, most + 1) for some in combinations(works, number)]
    return [*([tuple(works)] if len(works) > most else []), *reversed(several), ()]


def _part(some: Sequence[str]) -> str:
    return f"{listed(list(some))} part of it" if some else "no part of it"


def _list(works: Sequence[str]) -> str:
    return f"[{', '.join(map(quoted, works))}]"
