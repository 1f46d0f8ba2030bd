"""Over which plots a work is averaged: those whose other works were seen with it and without it.

A model of works adds up on its own scale, so what a work adds per 100 planted depends on the works
that it is added to. Averaged over plots of other works than it ever stood with, it would be said of
bundles that nobody tried. Where it stands in one bundle only, it is that bundle less the one without it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import pandas as pd

from survivor.arrays import Flags, Floats
from survivor.effects.cells import study_cells
from survivor.effects.contrasts import place_columns
from survivor.intervals import entries, row_codes
from survivor.models.fitted import Estimates
from survivor.models.result import Fit
from survivor.vocabulary import PLOT_KEY
from survivor.words import listed
from survivor.works.columns import PATTERN, YES, yes_or_no

EVERY_PLOT: Final = "all plots: none differ in it alone"
NOTHING_ELSE: Final = "no other work"
_MOST_NAMED: Final = 3


@dataclass(frozen=True)
class Support:
    """Where a work was seen with the other works as they were, and without it.

    Attributes
    ----------
    frame, share
        Cells that the effect is averaged over, and the share of the plants that each stands for.
    plots
        The plots of these other works, one row each with the seedlings that entered (``at_risk``).
    sets
        Sets of other works; ``over`` names them.
    """

    frame: pd.DataFrame
    share: Floats
    plots: pd.DataFrame
    sets: tuple[str, ...]

    @property
    def over(self) -> str:
        """The sets in words; where they are many, how many."""
        return (
            f"{len(self.sets)} sets of other works" if len(self.sets) > _MOST_NAMED else "; ".join(self.sets)
        )


def support_of(
    fitted: Fit,
    column: str,
    works: Sequence[str],
    others: Sequence[str],
    population: pd.DataFrame | None,
) -> Support | None:
    """Find the plots whose other works were seen both with a work and without it, at one place.

    Every place that has such plots counts with all its plants, by species and whatever else the model
    reads, as it does where preparations are compared.

    Parameters
    ----------
    fitted
        The model of works.
    column
        Column of the work, yes or no.
    works
        The works that it stands for.
    others
        Columns of the other works in the model. Within a place they fix those that are not in it.
    population
        As for ``survivor.contrasts``.

    Returns
    -------
    Support or None
        None where no two plots at a place differ in this work alone.
    """
    places = place_columns(fitted)
    plots = _plots(fitted.data)
    kept = plots[_seen_both_ways(plots, [*places, *others], column)]
    if kept.empty:
        return None
    cells = study_cells(fitted, [column], population)
    frame, share = _spread(cells.frame, cells.plants, kept, places, list(others))
    return None if share is None else Support(frame, share, kept, _sets(kept, works))


def _plots(data: pd.DataFrame) -> pd.DataFrame:
    started = entries(data)
    seedlings = started.groupby(list(PLOT_KEY), observed=True, sort=False)["at_risk"].sum()
    plots = started.drop_duplicates(list(PLOT_KEY)).drop(columns="at_risk")
    return plots.merge(seedlings.reset_index(), on=list(PLOT_KEY)).reset_index(drop=True)


def _codes(frame: pd.DataFrame, columns: Sequence[str]) -> Any:
    if not columns:
        return np.zeros(len(frame), dtype=np.intp)
    return row_codes([frame[name].astype(str) for name in columns], in_order=False)[0]


def _seen_both_ways(plots: pd.DataFrame, columns: Sequence[str], column: str) -> Flags:
    """Whether plots alike in these columns were seen with the work and without it, shape (plots,)."""
    codes, got = _codes(plots, columns), (plots[column] == YES).to_numpy()
    both: Flags = (np.bincount(codes, weights=got) > 0) & (np.bincount(codes, weights=~got) > 0)
    found: Flags = both[codes]
    return found


def _spread(
    cells: pd.DataFrame, plants: Floats, plots: pd.DataFrame, places: list[str], others: list[str]
) -> tuple[pd.DataFrame, Floats | None]:
    """Give all plants of the places to the sets of other works that are supported there.

    Plants of one species and date keep to the sets that these were planted with; where they were
    planted with none of them, they take the sets of their place by the plants of each.
    """
    key = [*places, *others]
    inside = np.ones(len(cells), dtype=bool)
    if key:
        known, held = (pd.MultiIndex.from_frame(rows[key].astype(str)) for rows in (cells, plots))
        inside = np.asarray(known.isin(held))
    like = [name for name in cells.columns if name not in others]
    alike, place = _codes(cells, like), _codes(cells, places)
    here = np.bincount(place, weights=inside * plants)[place] > 0
    own = np.bincount(alike, weights=inside * plants)
    total = np.bincount(alike, weights=plants)
    weight = np.where(inside, plants * total[alike] / np.where(own > 0, own, np.inf)[alike], 0.0)
    left = cells[like].assign(_plants=np.where(here & (own[alike] == 0), plants, 0.0), _place=place)
    left = left[left["_plants"] > 0]
    by_set = (
        cells[others].assign(_place=place, _share=inside * plants).groupby(["_place", *others], observed=True)
    )
    sets: pd.DataFrame = by_set[["_share"]].sum().reset_index()
    sets["_share"] /= sets.groupby("_place")["_share"].transform("sum")
    more = left.merge(sets[sets["_share"] > 0], on="_place")
    frame = pd.concat([cells[weight > 0], more[cells.columns]], ignore_index=True)
    given: Floats = np.concatenate([weight[weight > 0], (more["_plants"] * more["_share"]).to_numpy()])
    if not given.sum() > 0:
        return frame, None
    return frame.astype({name: cells[name].dtype for name in cells.columns}), given / given.sum()


def _sets(plots: pd.DataFrame, works: Sequence[str]) -> tuple[str, ...]:
    """Name the sets of other works."""
    sets = plots[PATTERN].map(lambda text: [one for one in text.split(" + ") if one not in (*works, "none")])
    return tuple(sorted({listed(own) if own else NOTHING_ELSE for own in sets}))


def under(frame: pd.DataFrame, column: str) -> pd.DataFrame:
    """Cells with the work, then the same without it."""
    levels = [yes_or_no(np.full(len(frame), got)) for got in (True, False)]
    return pd.concat([frame.assign(**{column: level}) for level in levels], ignore_index=True)


def per_100(found: Estimates) -> dict[str, Any]:
    """Numbers of one difference in shares: per 100, with its degrees of freedom and p."""
    lower, upper, p_value = found.limits_of_differences()
    parts = {"estimate": found.estimate, "std_error": found.std_error, "df": found.df}
    parts |= {"lower": lower, "upper": upper, "p_value": p_value}
    return {name: float(part[0]) * (1 if name in ("df", "p_value") else 100) for name, part in parts.items()}
