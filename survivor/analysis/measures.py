"""What became of the plants, plainly counted: survival of planted and survival of found."""

from __future__ import annotations

import numpy as np
import pandas as pd

from survivor.analysis.tables import known_alive
from survivor.curves.rounds import at_milestone
from survivor.figures.words import many
from survivor.intervals import ENTRY_GROUP, entries, group_codes
from survivor.vocabulary import FIRST_PLANTING, PLOT_KEY, State

_MOST_NAMED = 5


def three_measures(
    visits: pd.DataFrame, plots: pd.DataFrame, intervals: pd.DataFrame, at: float, window: float
) -> pd.DataFrame:
    """Survival of planted, survival of found and what they leave out, as counted at the milestone.

    Planted is what the plots say was planted; plots that do not say it are named and left
    out. Where no plot says it, the plants watched from planting on stand for them. The visit of
    a plant nearest to the day, within the window, tells.

    Returns
    -------
    DataFrame
        ``measure, alive, of, estimate`` (per 100), ``note``.
    """
    rows = []
    moved, _ = at_milestone(intervals, at, window)
    planted, counted, left = _of_planted(plots, moved)
    died = int(counted.loc[counted["stop_day"] <= at, "died"].sum())
    alive = int(known_alive(counted, at).sum())
    if planted:
        rows.append(
            {
                "measure": "survival of planted",
                "alive": alive,
                "of": planted,
                "estimate": 100 * alive / planted,
                "note": "; ".join(filter(None, [_neither(planted - alive - died), left])),
            }
        )
    if "state" in visits.columns:
        rows += _of_found(visits, intervals, at, window)
    return pd.DataFrame(rows, columns=["measure", "alive", "of", "estimate", "note"])


def _of_planted(plots: pd.DataFrame, moved: pd.DataFrame) -> tuple[int, pd.DataFrame, str]:
    """Plants put in, the rows of those plants, and which plots are left out."""
    told = plots[plots["planted"].notna()] if "planted" in plots.columns else plots[:0]
    if told.empty:
        if moved.empty:
            return 0, moved, ""
        code = group_codes(moved, [name for name in ENTRY_GROUP if name in moved.columns])[0]
        first = np.full(int(code.max()) + 1, np.inf)
        np.minimum.at(first, code, moved["start_day"].to_numpy(dtype=float))
        kept = moved[first[code] == 0]
        return int(entries(kept)["at_risk"].sum()), kept, ""
    key = list(PLOT_KEY)
    silent = plots[plots["planted"].isna()][key].drop_duplicates()
    names = [f"{row['plot']} at {row['site']}" for row in silent.to_dict("records")]
    apart = pd.MultiIndex.from_frame(moved[key]).isin(pd.MultiIndex.from_frame(silent))
    planted = told[~pd.MultiIndex.from_frame(told[key]).isin(pd.MultiIndex.from_frame(silent))]
    return int(planted["planted"].sum()), moved[~apart], _left_out(names)


def _left_out(names: list[str]) -> str:
    if not names:
        return ""
    shown = ", ".join(names[:_MOST_NAMED])
    more = f" and {len(names) - _MOST_NAMED:,} more" if len(names) > _MOST_NAMED else ""
    which = "plot has" if len(names) == 1 else "plots have"
    are = "is" if len(names) == 1 else "are"
    return f"{len(names):,} {which} no number planted and {are} not in it: {shown}{more}"


def _neither(count: int) -> str:
    """Say how many of the planted have no known fate; where more were seen than planted, that."""
    if count < 0:
        return f"{many(-count, 'plant')} more were seen than the plots say were planted"
    if count == 0:
        return "of each it is known whether it was alive or dead by then"
    were, counts = ("was", "counts") if count == 1 else ("were", "count")
    return (
        f"{count:,} of them {were} neither seen alive nor known dead by then, and {counts} as not alive here"
    )


def _of_found(
    visits: pd.DataFrame, intervals: pd.DataFrame, at: float, window: float
) -> list[dict[str, object]]:
    planted = intervals.drop_duplicates(list(PLOT_KEY))[[*PLOT_KEY, "planted_date"]]
    first = visits[visits["cohort"] == FIRST_PLANTING] if "cohort" in visits.columns else visits
    dated = first.merge(planted, on=list(PLOT_KEY), how="inner")
    age = (dated["date"] - dated["planted_date"]).dt.days
    # Of two visits as near to the day, the later tells.
    off = (age - at).abs() + 0.25 * (age < at)
    near = dated[(age - at).abs() <= window].assign(off=off).sort_values("off", kind="stable")
    seen = near.drop_duplicates([*PLOT_KEY, "tag"])
    alive, dead = int((seen["state"] == State.ALIVE).sum()), int((seen["state"] == State.DEAD).sum())
    if alive + dead == 0:
        return []
    return [
        {
            "measure": "survival of found",
            "alive": alive,
            "of": alive + dead,
            "estimate": 100 * alive / (alive + dead),
            "note": "alive of those seen alive or dead at that visit; too high, since dead plants disappear",
        }
    ]
