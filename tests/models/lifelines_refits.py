"""Cox coefficients by lifelines on single seedlings, of the whole table and without each plot."""

import numpy as np
import pandas as pd

from survivor.intervals import group_codes, sum_by
from tests.models.cohorts import single
from tests.peers import CoxPHFitter

METHODS = ("auger", "rip")


def _is(column, name):
    return lambda rows: rows[column] == name


METHOD = {name: _is("method", name) for name in METHODS}
BOTH = {**METHOD, "callitris": _is("species", "callitris")}


def coefficients(frame, columns, strata=("site",)):
    """Coefficients of ``columns``: name -> rule that gives the column."""
    rows = single(frame)
    names = [*strata, "start_day", "stop_day", "died"]
    table = rows[names].assign(**{name: rule(rows).astype(float) for name, rule in columns.items()})
    fitter = CoxPHFitter().fit(
        table,
        "stop_day",
        "died",
        strata=list(strata) or None,
        entry_col="start_day",
        fit_options={"precision": 1e-12, "r_precision": 1e-14},
    )
    return fitter.params_[list(columns)].to_numpy()


def without_each_plot(frame, columns, strata=("site",)):
    """Coefficients without each plot, and the number of plots at each plot's site."""
    plots = frame[["site", "plot"]].drop_duplicates()
    beta = [
        coefficients(frame[~((frame["site"] == site) & (frame["plot"] == plot))], columns, strata)
        for site, plot in plots.itertuples(index=False)
    ]
    return np.array(beta), plots.groupby("site")["plot"].transform("size").to_numpy()


def seedlings(sets):
    """Spell counts out: one row a seedling, with the same risk sets and so the same likelihood.

    Times are the numbers of the days of death. Within a stratum and a set of equal
    columns only how many enter, leave and die on each day matters: who leaves alive
    on the day that as many enter is the same seedling going on.
    """
    counts = pd.DataFrame(sets.columns).assign(stratum=sets.strata)
    cell = group_codes(counts, list(counts.columns))[0]
    days, cells = len(sets.days) + 1, int(cell.max()) + 1
    shape = cells * days
    enter = sum_by(cell * days + sets.first, sets.at_risk, shape)
    leave = sum_by(cell * days + sets.last, sets.at_risk - sets.died, shape)
    died = sum_by(cell * days + sets.last, sets.died, shape)
    both = np.minimum(enter, leave)
    first, last, found_dead = (np.rint(part).astype(np.intp) for part in (enter - both, leave - both, died))
    moments = np.arange(shape)
    starts = np.repeat(moments, first)
    # Pair the first to enter with the first to go: never earlier, and the risk sets are the same.
    stops = np.concatenate([np.repeat(moments, last), np.repeat(moments, found_dead)])
    dead = np.concatenate([np.zeros(last.sum()), np.ones(found_dead.sum())])
    order = np.argsort(stops, kind="stable")
    first_row = np.full(cells, len(cell), dtype=np.intp)
    np.minimum.at(first_row, cell, np.arange(len(cell)))
    row = first_row[starts // days]
    found = pd.DataFrame(
        sets.columns[row], columns=[f"column {place}" for place in range(sets.columns.shape[1])]
    )
    found["stratum"] = sets.strata[row]
    earliest = np.full(int(sets.strata.max()) + 1, len(sets.days), dtype=np.intp)
    np.minimum.at(earliest, sets.strata, sets.first)
    found["start"] = starts % days - earliest[found["stratum"]]
    found["stop"] = stops[order] % days - earliest[found["stratum"]]
    found["died"] = dead[order]
    return found
