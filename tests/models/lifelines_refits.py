"""Cox coefficients by lifelines on single seedlings, of the whole table and without each plot."""

import numpy as np
from lifelines import CoxPHFitter

from tests.models.cohorts import single

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
