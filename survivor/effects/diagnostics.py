"""Does a grouped model fit its records: plots that stand out, plots that decide, visits it misses.

What the model expects of each interval is what those seen alive at its start would have
lost by its end. A plot's residual is deaths found less deaths expected; under a model
that holds for single seedlings its square is about 1, and that plots differ more is why
limits go by plots. Influence is the change of each difference when a plot, or a site, is
left out. Calibration sets deaths found beside deaths expected for each round of visits.

Sources: Pearson residuals of binomial counts: McCullagh and Nelder (1989), Generalized
Linear Models, section 2.4; deviance residuals: Therneau, Grambsch and Fleming (1990),
Biometrika 77, 147-160, of the deaths of a plot; deletion: Belsley, Kuh and Welsch (1980),
Regression Diagnostics, section 2.1; leverage of clusters: Preisser and Qaqish (1996), Biometrika
83, 551-562; log(-log) curves: Collett (2015), Modelling Survival
Data in Medical Research, section 4.4.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from survivor.arrays import Codes, Floats
from survivor.curves import curve
from survivor.effects.cells import check_by, check_day, levels_of, study_cells, under_levels
from survivor.errors import ModelError, SurvivorError
from survivor.intervals import group_codes, sum_by
from survivor.models.by_period import fit_again
from survivor.models.fitted import DeltaEngine
from survivor.models.one_ratio import said_of_one_ratio
from survivor.models.result import Fit
from survivor.vocabulary import PER_100
from survivor.words import counted

if TYPE_CHECKING:
    from survivor.figures.style import Drawing

ROUND_GAP = 21.0  # visits that follow one another by more days are another round
_MOST_REFITS = 300  # plots beyond which influence goes by site only: each is a fit of its own
_STANDS_OUT = 3.0  # a residual this many times those of all plots together stands out


@dataclass(frozen=True, repr=False)
class Diagnosis:
    """How a model fits, plot by plot, visit by visit.

    Attributes
    ----------
    by, at_day
        Column of levels; days since planting of the differences that influence is told of.
    residuals
        One row a plot: its columns, ``<by>``, ``at_risk`` (at the first visit), ``died, expected,
        pearson, deviance``, ``scaled`` (Pearson's over the spread of all plots) and ``leverage`` of
        the plot (CR2): those of all plots make the number of parameters, and a plot of 1 alone decides one.
    influence
        One row a plot, then one a site, left out: ``left_out, name``, ``<by>, against``, ``estimate``
        of the difference without it and its ``change``, per 100 planted.
    calibration
        One row a level and round of visits: ``first_day, last_day, at_risk, died, expected`` and
        ``pearson``.
    log_log
        One row a level and day: ``day, log_day`` and ``log_log`` survival, that is log(-log S), of
        the product-limit curve; parallel lines are proportional hazards.
    dispersion
        Sum of squared Pearson residuals of plots over plots less parameters; 1 where plots of one
        kind differ by chance alone.
    checks
        Plain sentences.
    """

    by: str
    at_day: float
    residuals: pd.DataFrame
    influence: pd.DataFrame
    calibration: pd.DataFrame
    log_log: pd.DataFrame
    dispersion: float
    checks: tuple[str, ...]

    def plot(self) -> Drawing:
        """Draw the four that matter: calibration, residuals, influence, log(-log) curves."""
        from survivor.figures.diagnostics import draw_diagnosis

        return draw_diagnosis(self.calibration, self.residuals, self.influence, self.log_log, self.by)

    def __repr__(self) -> str:
        worst = self.residuals.reindex(self.residuals["scaled"].abs().sort_values(ascending=False).index)
        most = self.influence.reindex(self.influence["change"].abs().sort_values(ascending=False).index)
        parts = (
            *self.checks,
            "Plots furthest from what is expected:",
            worst.head(5).to_string(index=False),
            "Left out, these change the answer most:",
            most.head(5).to_string(index=False),
        )
        return "\n".join(parts)


def diagnose(fit: Fit, by: str = "method", at: float | None = None) -> Diagnosis:
    """Look at how a grouped fit holds its records.

    Schoenfeld residuals are of a Cox fit: ``fit.residuals("schoenfeld")``, drawn by
    ``survivor.residual_rounds(fit).plot()``. What they would show, a ratio that changes with age, is
    tested here too and stands in ``checks``; ``survivor.hazards(fit)`` has the ratio in each period.

    Parameters
    ----------
    fit
        A grouped fit that holds ``by``, with pieces and not penalised; ratios by period may be in it.
    by
        Column of levels.
    at
        Day of the differences that influence is told of; None: the last visit.

    Returns
    -------
    Diagnosis
        Tables of residuals and influence by plot and site, of calibration by visit and level.

    Raises
    ------
    ModelError
        When the fit is of another kind, or rows are not told apart by plots.

    Examples
    --------
    >>> found = diagnose(fit)
    >>> round(found.dispersion, 1)
    1.5
    >>> figure = found.plot()  # the four drawings that matter
    """
    check_by(fit, by)
    if not isinstance(fit.engine, DeltaEngine) or fit.at is not None or fit.model != "grouped":
        raise ModelError(
            f"this looks at grouped fits with pieces, not at a {fit.model} one with limits by {fit.variance}",
            where="fit",
            mend='fit with model="grouped"',
        )
    if not fit.cluster:
        raise ModelError(
            "no plots are distinguished in this fit", where="cluster", mend='fit with cluster="plot"'
        )
    day = float(fit.data["stop_day"].max()) if at is None else at
    check_day(fit, day)
    rows = fit.data.reset_index(drop=True).assign(_expected=expected_deaths(fit))
    residuals, dispersion = _residuals(fit, rows, by)
    influence = _influence(fit, by, day)
    calibration = _calibration(rows, by)
    checks = (*_said(residuals, influence, dispersion, by, fit.cluster), *said_of_one_ratio(fit, by))
    return Diagnosis(by, day, residuals, influence, calibration, _log_log(fit, by), dispersion, checks)


def expected_deaths(fit: Fit) -> Floats:
    """Deaths that a grouped fit expects in each row of its table, of those alive at its start, shape (n,)."""
    data, survival = fit.data.reset_index(drop=True), fit.engine.survival  # type: ignore[attr-defined]
    start, stop = data["start_day"].to_numpy(float), data["stop_day"].to_numpy(float)
    alive = np.ones((2, len(data)))
    for place, days in enumerate((start, stop)):
        for day in np.unique(days[days > 0]):
            mine = np.flatnonzero(days == day)
            alive[place, mine] = survival.alive(data.iloc[mine].reset_index(drop=True), float(day))
    with np.errstate(invalid="ignore", divide="ignore"):
        share = np.where(alive[0] > 0, 1 - alive[1] / alive[0], 1.0)
    return np.asarray(data["at_risk"].to_numpy(float) * share)


def _residuals(fit: Fit, rows: pd.DataFrame, by: str) -> tuple[pd.DataFrame, float]:
    keys = [*fit.cluster, *([by] if by not in fit.cluster else [])]
    code, plots = group_codes(rows, keys)
    died, at_risk, expected = (rows[name].to_numpy(float) for name in ("died", "at_risk", "_expected"))
    share = np.clip(expected / at_risk, 1e-12, 1 - 1e-12)
    variance = sum_by(code, at_risk * share * (1 - share))
    found, wanted = sum_by(code, died), sum_by(code, expected)
    gap = found - wanted
    with np.errstate(divide="ignore", invalid="ignore"):
        distance = np.where(found > 0, found * np.log(found / wanted), 0.0) - gap
    pearson = gap / np.sqrt(variance)
    parameters = len(fit.engine.parameters)  # type: ignore[attr-defined]
    dispersion = float(np.sum(pearson**2) / max(len(plots) - parameters, 1))
    first = np.full(len(plots), np.inf)
    start = rows["start_day"].to_numpy(float)
    np.minimum.at(first, code, start)
    table = plots.assign(
        at_risk=sum_by(code, at_risk * (start == first[code])),
        died=found,
        expected=wanted,
        pearson=pearson,
        deviance=np.sign(gap) * np.sqrt(np.maximum(2 * distance, 0.0)),
        scaled=pearson / np.sqrt(max(dispersion, 1.0)),
        leverage=_leverage(fit, code, len(plots)),
    )
    return table, dispersion


def _leverage(fit: Fit, code: Codes, plots: int) -> Floats:
    """Leverage of each plot; 0 where the likelihood does not hold it, NaN where limits are not CR2."""
    engine: Any = fit.engine
    fitted = engine.survival.model.fitted if fit.by_period is not None else engine.fitted
    if fit.variance != "CR2" or fitted is None:
        return np.full(plots, np.nan)
    found = np.zeros(plots)
    found[code[fitted.rows]] = engine.covariance.leverage[fitted.codes]
    return found


def _calibration(rows: pd.DataFrame, by: str) -> pd.DataFrame:
    days = np.unique(rows["stop_day"].to_numpy(float))
    opens = np.concatenate([[True], np.diff(days) > ROUND_GAP])
    which = np.cumsum(opens) - 1
    of_row = which[np.searchsorted(days, rows["stop_day"].to_numpy(float))]
    grouped = rows.assign(_round=of_row).groupby([by, "_round"], observed=True, sort=True)
    table = grouped.agg(
        first_day=("stop_day", "min"),
        last_day=("stop_day", "max"),
        at_risk=("at_risk", "sum"),
        died=("died", "sum"),
        expected=("_expected", "sum"),
    ).reset_index()
    share = np.clip(table["expected"] / table["at_risk"], 1e-12, 1 - 1e-12)
    pearson = (table["died"] - table["expected"]) / np.sqrt(table["at_risk"] * share * (1 - share))
    return table.drop(columns="_round").assign(pearson=pearson)


def _influence(fit: Fit, by: str, at: float) -> pd.DataFrame:
    """Differences from the first level without each plot and without each site."""
    levels = levels_of(fit.data, by)
    cells = study_cells(fit, [by], None)
    stacked = under_levels(cells.frame, by, levels, fit.data[by])
    share = cells.plants / cells.plants.sum()
    against = np.column_stack([-np.ones(len(levels) - 1), np.eye(len(levels) - 1)])
    weights = np.kron(against, share)
    whole = fit.average_survival(stacked, weights, at).estimate
    parts = [("plot", *_without_plots(fit, stacked, weights, at))]
    if "site" in fit.data.columns and fit.data["site"].nunique() > 2:
        sites = list(dict.fromkeys(fit.data["site"]))
        each = [_without(fit, fit.data["site"] == site, by, levels, at) for site in sites]
        parts.append(("site", [str(site) for site in sites], np.array(each)))
    lines = [
        {
            "left_out": what,
            "name": name,
            by: level,
            "against": levels[0],
            "estimate": 100 * estimate,
            "change": 100 * (estimate - middle),
        }
        for what, names, found in parts
        for name, row in zip(names, found, strict=True)
        for level, estimate, middle in zip(levels[1:], row, whole, strict=True)
    ]
    columns = ["left_out", "name", by, "against", "estimate", "change"]
    table = pd.DataFrame(lines, columns=columns).assign(unit=PER_100)
    return table.astype({name: fit.data[by].dtype for name in (by, "against")})


def _without_plots(fit: Fit, stacked: pd.DataFrame, weights: Floats, at: float) -> tuple[list[str], Floats]:
    """Names of the clusters and differences without each."""
    names = _named(fit.data, fit.cluster)
    each = list(dict.fromkeys(names))
    if len(each) > _MOST_REFITS:
        return [], np.empty((0, len(weights)))
    labels = pd.Series(names, index=fit.data.index)
    return each, np.array([_refitted(fit, labels == name, stacked, weights, at) for name in each])


def _named(rows: pd.DataFrame, columns: Sequence[str]) -> list[str]:
    """Name of the cluster of each row; a column without any value says nothing."""
    shown = [name for name in columns if not rows[name].isna().all() and (rows[name].astype(str) != "").any()]
    return rows[shown].astype(str).agg(" / ".join, axis=1).tolist()


def _refitted(fit: Fit, gone: pd.Series[Any], stacked: pd.DataFrame, weights: Floats, at: float) -> Floats:
    try:
        rest = fit_again(fit.data[~gone], fit, cluster=list(fit.cluster))
        return np.asarray(rest.average_survival(stacked, weights, at).estimate)
    except SurvivorError:  # what is left does not tell all that is asked
        return np.full(len(weights), np.nan)


def _without(fit: Fit, gone: pd.Series[Any], by: str, levels: Sequence[Any], at: float) -> Floats:
    """Differences without some rows, standardised over what is left; NaN where they are not told."""
    try:
        rest = fit_again(fit.data[~gone], fit, cluster=list(fit.cluster))
        held = levels_of(rest.data, by)
        cells = study_cells(rest, [by], None)
        share = cells.plants / cells.plants.sum()
        stacked = under_levels(cells.frame, by, held, fit.data[by])
        alive = rest.average_survival(stacked, np.kron(np.eye(len(held)), share), at).estimate
    except SurvivorError:  # as above: blank in the table of clusters left out
        return np.full(len(levels) - 1, np.nan)
    known = dict(zip(held, alive, strict=True))
    return np.array([known.get(level, np.nan) - known.get(levels[0], np.nan) for level in levels[1:]])


def _log_log(fit: Fit, by: str) -> pd.DataFrame:
    table = curve(fit.data, by=by, cluster=None).table
    inside = (table["survival"] > 0) & (table["survival"] < 1) & (table["day"] > 0)
    found = table.loc[inside, [by, "day", "survival"]].reset_index(drop=True)
    survival = found["survival"].to_numpy(float)
    return found.assign(log_day=np.log(found["day"].to_numpy(float)), log_log=np.log(-np.log(survival)))


def _said(
    residuals: pd.DataFrame, influence: pd.DataFrame, dispersion: float, by: str, cluster: Sequence[str]
) -> tuple[str, ...]:
    said = [
        f"Plots differ {dispersion:.1f} times as much as seedlings that die independently would make them "
        "(variance); limits by plot take account of it."
    ]
    out = residuals[residuals["scaled"].abs() > _STANDS_OUT]
    if len(out):
        names = ", ".join(_named(out, cluster))
        said.append(f"{counted(len(out), 'plot')} stand{'s' if len(out) == 1 else ''} out: {names}.")
    known = influence.dropna(subset=["change"]).reset_index(drop=True)
    for what, part in known.groupby("left_out", sort=False):
        most = part.iloc[int(part["change"].abs().to_numpy().argmax())]
        said.append(
            f"Of all {what}s {most['name']} matters most: without it {most[by]} against {most['against']} is "
            f"{most['estimate']:+.1f} per 100 instead of {most['estimate'] - most['change']:+.1f}."
        )
    return tuple(said)
