"""Survival against the weed-free radius, and where more of it stops paying.

Only variation within method and site counts as evidence: every cell of method
and site has its own level in the model, so nothing is learned from methods that
go with wider patches or sites that got them.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, get_args

import numpy as np
import pandas as pd

from survivor.arguments import amount, is_one_of
from survivor.arrays import Floats
from survivor.effects.cells import check_name
from survivor.effects.plateau import AlongLine, Plateau, no_turn_shown, not_shown, stops_paying
from survivor.effects.response import (
    LEAST_WITHIN_M,
    Answer,
    Curve,
    ResponseModel,
    Shape,
    Spread,
    choose_curve,
    spread_of,
)
from survivor.errors import EffectError
from survivor.intervals import check_intervals, tally
from survivor.models.result import Fit, check_fit
from survivor.shown import Shown
from survivor.vocabulary import ESTIMATE_COLUMNS, PER_100, PLOT_KEY, SIGNIFICANCE
from survivor.words import counted

if TYPE_CHECKING:
    from matplotlib.axes import Axes

RADIUS = "weed_free_radius_m"
AFTER_PLANTING = "after planting"
RADIUS_MEASURED = ("at planting", AFTER_PLANTING)

_GRID_STEPS_M = (0.01, 0.02, 0.05, 0.1, 0.2, 0.5)
_MOST_GRID = 41


@dataclass(frozen=True, repr=False)
class Dose(Shown):
    """Standardised survival against the radius.

    Attributes
    ----------
    column
        The radius, metres.
    shape
        ``spline``, ``line``, ``groups``, or ``described`` where it was not modelled.
    at_day
        Days since planting.
    table
        ``<column>, area_m2, estimate, std_error, df, lower, upper`` (per 100
        planted; limits through log(-log)), ``unit, at_day``, and ``volume_m3``, the
        soil under the patch, where a depth was given.
    gain
        ``from_m, to_m, estimate, std_error, df, lower, upper`` in survival per 100
        planted for each 10 cm, ``unit``.
    p_value
        F test of all terms of the radius.
    line_p_value
        F test of the curve against the line; NaN where there is no curve.
    along_line
        Mean gain for each 10 cm along a straight line over the radii of ``table``; None
        where not modelled, or where radii are groups.
    stops_paying
        See :class:`Plateau`; None where not modelled.
    within_sd_m
        Spread of the radius within method and site.
    description
        Radius by method: plots, mean, sd, smallest, largest, and the mean of the plots'
        areas (not the area of the mean radius).
    plots
        Radius of each plot, in order.
    fit
        The model behind it; None where not modelled.
    checks
        Plain sentences.
    """

    column: str
    shape: str
    at_day: float
    table: pd.DataFrame
    gain: pd.DataFrame
    p_value: float
    line_p_value: float
    along_line: AlongLine | None
    stops_paying: Plateau | None
    within_sd_m: float
    description: pd.DataFrame
    plots: tuple[float, ...]
    fit: Fit | None
    n_seedlings: int
    n_plots: int
    n_sites: int
    checks: tuple[str, ...]

    def plot(self, ax: Axes | None = None) -> Axes:
        """Draw survival against the radius, only where there are data."""
        from survivor.figures.radius import draw_dose

        marks = None if self.stops_paying is None else self.stops_paying.marks
        return draw_dose(self.table, ax, rug=self.plots, stops=marks, stops_words="more stops paying")


def dose(
    source: Fit | pd.DataFrame,
    column: str = RADIUS,
    at: float = 365,
    *,
    method: str = "method",
    shape: Shape | None = None,
    gain: float = 1.0,
    population: pd.DataFrame | None = None,
    radius_measured: str | None = None,
    soil_depth_m: float | None = None,
    pieces: Any = None,
    per: str = PER_100,
) -> Dose:
    """Survival per 100 planted against the weed-free radius as prepared.

    The model has a level for each cell of method and site, the other terms of the
    fit given, and the radius as a natural spline with knots at quantiles of plots.

    Parameters
    ----------
    source
        A fit, whose model, cluster and other terms are kept, or risk intervals.
    column
        Radius in metres.
    at
        Days since planting.
    method
        Column of methods; cells are without it where the table has none.
    shape
        ``spline``, ``line`` or ``groups``; None: a spline, or groups under four
        distinct radii.
    gain
        Smallest gain that matters, per 100 planted per 10 cm.
    population
        Plants of the whole planting as weights.
    radius_measured
        ``"after planting"``: the radius is part of the preparation's own effect, so
        it is described and not modelled.
    soil_depth_m
        Depth to which the soil under the patch counts, metres, for its volume.
    pieces
        For the grouped model; as in ``survivor.fit``.
    per
        What survival is of, for the sentence.

    Returns
    -------
    Dose

    Raises
    ------
    EffectError
        When the radius does not vary within method and site, is absent, or holds no numbers; or
        when an option is none.

    Examples
    --------
    >>> survivor.dose(fit, "z", at=365).table[["z", "estimate"]].iloc[[0, -1]].round(1)
          z  estimate
    0   0.0      65.2
    20  2.0      60.1
    """
    data, checks = radius_rows(source, column)
    _check_words(method, shape, radius_measured, per)
    if method != "method" and method not in data.columns:
        raise EffectError(f"there is no column {method}", where=f"method={method!r}", mend="name the methods")
    amount(gain, "gain", EffectError, "give alive per 100 planted, for example gain=1", above=0)
    if soil_depth_m is not None:
        amount(soil_depth_m, "soil_depth_m", EffectError, "give metres, or None", above=0)
    model = ResponseModel.of(source, data, column, method, at, pieces)
    spread = spread_of(data, column, model.cells)
    counts = tally(data)
    common: dict[str, Any] = {
        "column": column,
        "at_day": float(at),
        "within_sd_m": spread.within_sd_m,
        "description": _describe(spread, column, method),
        "plots": tuple(sorted(spread.plots[column].astype(float))),
        **{f"n_{unit}": counts[unit] for unit in ("seedlings", "plots", "sites")},
    }
    if radius_measured == AFTER_PLANTING:
        return _described(common, checks)
    if spread.within_sd_m < LEAST_WITHIN_M:
        raise EffectError(
            f"within method and site {column} varies by {100 * spread.within_sd_m:.1f} cm only (standard "
            f"deviation, {counts['plots']} plots in {spread.n_cells} cells), so nothing tells its effect",
            where=f"column {column}",
            mend="vary the radius between plots of one method at one site; until then describe it only",
        )
    curve, said = choose_curve(spread, column, shape)
    fitted = model.fit(data, curve)
    points = _grid(spread, curve)
    answer = Answer(model, curve, points, float(at), population)
    gains = answer.gains(fitted)
    own = [term for term in map(str, fitted.table["term"]) if term.split("[")[0] in curve.terms]
    bends = [term for term in own if term in curve.bends]
    p_value = fitted.test(own).p_value
    line_p_value = fitted.test(bends).p_value if bends else math.nan
    along = _along_line(model, data, curve, answer, fitted, per)
    stops = _stops(answer, gains, gain, (p_value, line_p_value), along, per)
    if shape is None and curve.shape == "spline" and not max(p_value, line_p_value) < SIGNIFICANCE:
        # A bend that is not shown is noise: what is drawn and listed is the straight line that is told.
        curve = Curve("line", column, ())
        answer = replace(answer, curve=curve)
        fitted = model.fit(data, curve)
        gains = answer.gains(fitted)
    return Dose(
        **common,
        shape=curve.shape,
        table=_with_volume(answer.response(fitted), soil_depth_m),
        gain=gains,
        p_value=p_value,
        line_p_value=line_p_value,
        along_line=along,
        stops_paying=stops,
        fit=fitted,
        checks=(*checks, *model.said, *said, *fitted.noticed),
    )


def _check_words(method: object, shape: object, radius_measured: object, per: object) -> None:
    check_name(method)
    if not isinstance(per, str):
        raise EffectError(f"{per!r} is no text", where="per", mend='for example per="per 100 planted"')
    for name, value, known in (
        ("shape", shape, get_args(Shape)),
        ("radius_measured", radius_measured, RADIUS_MEASURED),
    ):
        if value is not None and not is_one_of(value, known):
            raise EffectError(
                f"{name}={value!r} is not known",
                where=name,
                mend=f"use {', '.join(map(repr, known))} or None",
            )


def _stops(
    answer: Answer,
    gains: pd.DataFrame,
    worth: float,
    p_values: tuple[float, float],
    along: AlongLine | None,
    per: str,
) -> Plateau:
    """Where more stops paying, where that is shown.

    A bend in a curve that cannot be distinguished from no response, or from a straight line, is
    noise, however firmly it sits in the plots. That no gain matters needs no bend.
    """
    p_value, line_p_value = p_values  # of all terms of the radius, and of the curve against a line
    steps, least, most = (gains[name].to_numpy(dtype=float) for name in ("estimate", "lower", "upper"))
    if not (most < worth).all():
        if not p_value < SIGNIFICANCE:
            return not_shown(p_value, worth, per)
        if answer.curve.shape != "groups" and not line_p_value < SIGNIFICANCE and along is not None:
            return no_turn_shown(line_p_value, worth, along)
    return stops_paying(answer.points, steps, worth, least, most, per)


def _along_line(
    model: ResponseModel, data: pd.DataFrame, curve: Curve, answer: Answer, fitted: Fit, per: str
) -> AlongLine | None:
    """Mean gain for each 10 cm between the ends of the grid, by a straight line on the model's scale."""
    if curve.shape == "groups":
        return None
    line = Curve("line", curve.column, ())
    ends = replace(answer, curve=line, points=answer.points[[0, -1]])
    found = ends.gains(fitted if curve.shape == "line" else model.fit(data, line)).iloc[0]
    estimate, lower, upper, from_m, to_m = (
        float(found[name]) for name in ("estimate", "lower", "upper", "from_m", "to_m")
    )
    return AlongLine(estimate, lower, upper, from_m, to_m, per)


def _with_volume(table: pd.DataFrame, depth_m: float | None) -> pd.DataFrame:
    return table if depth_m is None else table.assign(volume_m3=table["area_m2"] * depth_m)


def radius_rows(source: Fit | pd.DataFrame, column: str) -> tuple[pd.DataFrame, tuple[str, ...]]:
    """Rows with a radius; plots without one are named, never dropped in silence."""
    if not isinstance(source, pd.DataFrame):
        check_fit(source)
    check_name(column)
    data = source if isinstance(source, pd.DataFrame) else source.data
    if column not in data.columns or not pd.api.types.is_numeric_dtype(data[column]):
        state = "is absent" if column not in data.columns else "holds no numbers"
        raise EffectError(f"the column {state}", where=f"column {column}", mend="give the radius in metres")
    check_intervals(data)
    blank = data[column].isna()
    if not blank.any():
        return data, ()
    if blank.all():
        raise EffectError("no plot has a radius", where=f"column {column}", mend="give the radius in metres")
    kept = data[~blank].copy()
    whole = tally(data)["plots"] - tally(kept)["plots"]
    plants = counted(tally(data[blank])["seedlings"], "plant")
    said = f"Left out of the response for want of a radius: {plants}, {counted(whole, 'plot')} wholly."
    return kept, (said,)


def _grid(spread: Spread, curve: Curve) -> Floats:
    """Radii to answer for: inside the 5 to 95 % range of plots, at round centimetres and its ends."""
    if curve.shape == "groups":
        return np.asarray(curve.knots)
    low, high = spread.range()
    step = next((step for step in _GRID_STEPS_M if (high - low) / step < _MOST_GRID - 2), (high - low) / 20)
    inner = step * np.arange(math.ceil(low / step), math.floor(high / step) + 1)
    points = np.round(np.concatenate([[low], inner, [high]]), 3)
    # An end that all but falls on a round radius would make a step too short to tell a gain.
    apart = points[np.concatenate([[True], np.diff(points) > step / 4])]
    grid: Floats = apart if len(apart) > 1 else np.array([low, high])
    return grid


def _describe(spread: Spread, column: str, method: str) -> pd.DataFrame:
    """Radius by method: plots, mean, standard deviation, smallest and largest, metres."""
    plots = spread.plots
    group = plots[method] if method in plots.columns else pd.Series("all", index=plots.index, name="method")
    found = (
        plots.groupby(group, observed=True)[column].agg(["size", "mean", "std", "min", "max"]).reset_index()
    )
    found.columns = [method, "n_plots", "mean_m", "sd_m", "smallest_m", "largest_m"]
    # A radius a seedling makes several rows of a plot: it is one plot all the same.
    keys = [name for name in PLOT_KEY if name in plots.columns]
    if "plot" in keys:
        found["n_plots"] = plots.drop_duplicates(keys).groupby(group, observed=True).size().to_numpy()
    areas = (math.pi * plots[column].astype(float) ** 2).groupby(group, observed=True).mean()
    return found.assign(mean_area_m2=areas.to_numpy())


def _described(common: dict[str, Any], checks: tuple[str, ...]) -> Dose:
    why = (
        "The radius was measured after planting, so it is part of what the preparation did: "
        "it is described by method and not modelled."
    )
    numbers = [*ESTIMATE_COLUMNS[:5], "unit"]
    return Dose(
        **common,
        shape="described",
        table=pd.DataFrame(columns=[common["column"], "area_m2", *numbers, "at_day"]),
        gain=pd.DataFrame(columns=["from_m", "to_m", *numbers]),
        p_value=math.nan,
        line_p_value=math.nan,
        along_line=None,
        stops_paying=None,
        fit=None,
        checks=(*checks, why),
    )
