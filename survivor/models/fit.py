"""The front door to every model: ``survivor.fit``."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Literal

import pandas as pd

from survivor.errors import ModelError
from survivor.intervals import check_intervals
from survivor.models.pieces import DayPieces, SeasonPieces
from survivor.models.result import Fit

if TYPE_CHECKING:
    from survivor.models.working import Working

Model = Literal["grouped", "cox", "logistic", "mixed"]
Baseline = Literal["pieces", "unspecified"]


def fit(
    intervals: pd.DataFrame,
    formula: str,
    model: Model = "grouped",
    cluster: str | Sequence[str] | None = "plot",
    strata: str | Sequence[str] | None = "site",
    at: float | None = None,
    pieces: Sequence[float] | SeasonPieces | DayPieces | None = None,
    window: float = 30.0,
    random: str | None = None,
    points: int | Sequence[int] = 7,
    restricted: bool = False,
    baseline: Baseline = "pieces",
    working: Working = "independence",
) -> Fit:
    """Fit a survival model to risk intervals.

    ``survivor.fit(intervals, "method")`` is short for the grouped-time
    proportional-hazards model with a level for each site, a constant hazard within
    each piece of the season, and limits that respect plots (CR2 with Satterthwaite
    degrees of freedom).

    Parameters
    ----------
    intervals
        Risk intervals; ``start_day, stop_day, at_risk, died`` and the columns that
        ``formula``, ``cluster`` and ``strata`` name. See ``survivor.intervals``.
    formula
        Right-hand side, for example ``"method + weed_free_radius_m"``. The first
        level of a factor is the reference.
    model
        ``grouped``: interval-censored proportional hazards, any visit pattern. Where
        nobody, or everybody, died at a level of a term, estimates (also of
        ``logistic``) are penalised, and ``Fit.variance`` and ``Fit.checks`` say so.
        ``cox``: Cox regression at the visit days, Efron's ties.
        ``logistic``: alive or dead at day ``at``.
        ``mixed``: ``grouped`` (with ``at``: ``logistic``) with normal effects of plots;
        coefficients are conditional on them, survival is averaged over them.
    cluster
        Column(s) within which seedlings are not independent; ``plot`` means site,
        block and plot. None: rows independent, the model's own standard errors.
    strata
        Column(s) whose levels have their own baseline (Cox) or baseline level.
    at
        Days since planting; for ``logistic``, which needs it, and ``mixed``.
    pieces
        For ``grouped`` and ``mixed``: inner boundaries in days since planting, or ready pieces.
        None: the dry seasons where the table carries them, else the visits.
    window
        With ``at``: the visit nearest to it within this many days is used.
    random
        For ``mixed``: nested effects from the outermost in, parted by ``/``, the columns
        of one joined by ``:``. ``"site/plot"`` is an effect of site and one of plot (with
        ``strata=None``), ``"site:method/plot"`` lets methods differ from site to site.
        None: the cluster.
    points
        For ``mixed``: points of the adaptive Gauss-Hermite quadrature, one number or one
        a level of effects; 1 is Laplace.
    restricted
        For ``mixed``: estimate the standard deviations of effects by the restricted
        likelihood. Maximum likelihood finds them too small, and limits of methods too
        narrow, where many levels are estimated from few plots.
    baseline
        For ``grouped``. ``pieces``: a constant hazard in each piece. ``unspecified``:
        jumps wherever they make the records most likely, for records whose visits
        differ from plot to plot; survival is then told on some days only, and limits
        come from fitting again without each cluster.
    working
        For ``grouped`` and ``logistic``: how much seedlings of large and small plots
        (clusters) count while estimating; limits are by plot either way.
        ``independence``: every seedling counts as one. ``plot correlation``: a seedling in
        a plot of m counts 1 / (1 + (m - 1) rho), times what makes the average 1, with rho
        the correlation of seedlings of a plot, estimated within method and site from
        survival to the last visit (``logistic``: to day ``at``) and never below 0. Or rho
        itself, from 0 (independence) to 1 (every plot counts as one). Where plots differ
        much in size a correlation gives more precise estimates and limits nearer to what
        they claim; the estimate then speaks less of the seedlings planted and more of the
        plots, since each seedling counts for less in a large plot. Where survival goes with
        the size of plots that is another answer. With plots of one size nothing changes.

    Returns
    -------
    Fit

    Raises
    ------
    IntervalsError
        When the table is not a table of risk intervals.
    ModelError
        When the model cannot be fitted; the text names the term or column and the mend.
    """
    check_intervals(intervals)
    if model not in ("logistic", "mixed") and at is not None:
        raise ModelError(
            f"at= is for the logistic and mixed models; {model} gives survival at any day within the visits",
            where="at",
            mend="leave at= out here and give it to survivor.survival or survivor.contrasts",
        )
    if random is not None and model != "mixed":
        raise ModelError(
            f"{model} has no random effects", where="random", mend='leave random= out or use model="mixed"'
        )
    if working != "independence" and (model not in ("grouped", "logistic") or baseline != "pieces"):
        raise ModelError(
            f"{model if baseline == 'pieces' else 'an unspecified baseline'} does not weight plots",
            where="working",
            mend='leave working= out, or use model="grouped" or "logistic"',
        )
    if baseline != "pieces":
        return _unspecified(intervals, formula, model, cluster, strata, pieces, baseline)
    if model == "mixed":
        return _mixed(intervals, formula, cluster, strata, at, pieces, window, random, points, restricted)
    if model == "grouped":
        from survivor.models.grouped import fit_grouped

        return fit_grouped(intervals, formula, cluster=cluster, strata=strata, pieces=pieces, working=working)
    if pieces is not None:
        raise ModelError(
            f"{model} has no pieces", where="pieces", mend='leave pieces= out or use model="grouped"'
        )
    if model == "cox":
        from survivor.models.cox import fit_cox

        return fit_cox(intervals, formula, cluster=cluster, strata=strata)
    if model == "logistic":
        from survivor.models.logistic import fit_logistic

        if at is None:
            raise ModelError("the logistic model needs a day", where="at", mend="for example at=365")
        return fit_logistic(
            intervals, formula, cluster=cluster, strata=strata, at=at, window=window, working=working
        )
    raise ModelError(f"no model {model!r}", where="model", mend='use "grouped", "cox", "logistic" or "mixed"')


def _unspecified(
    intervals: pd.DataFrame,
    formula: str,
    model: Model,
    cluster: str | Sequence[str] | None,
    strata: str | Sequence[str] | None,
    pieces: Sequence[float] | SeasonPieces | DayPieces | None,
    baseline: Baseline,
) -> Fit:
    if baseline != "unspecified":
        raise ModelError(f"no baseline {baseline!r}", where="baseline", mend='use "pieces" or "unspecified"')
    if model != "grouped":
        raise ModelError(
            f"{model} has no baseline to choose", where="baseline", mend='leave it out or use model="grouped"'
        )
    if pieces is not None:
        raise ModelError(
            "an unspecified baseline has no pieces", where="pieces", mend="leave out pieces= or baseline="
        )
    from survivor.models.unspecified import fit_unspecified

    return fit_unspecified(intervals, formula, cluster=cluster, strata=strata)


def _mixed(
    intervals: pd.DataFrame,
    formula: str,
    cluster: str | Sequence[str] | None,
    strata: str | Sequence[str] | None,
    at: float | None,
    pieces: Sequence[float] | SeasonPieces | DayPieces | None,
    window: float,
    random: str | None,
    points: int | Sequence[int],
    restricted: bool,
) -> Fit:
    if at is not None and pieces is not None:
        raise ModelError("odds at one day have no pieces", where="pieces", mend="leave out pieces= or at=")
    from survivor.models.mixed import fit_mixed

    return fit_mixed(
        intervals,
        formula,
        cluster=cluster,
        strata=strata,
        at=at,
        pieces=pieces,
        window=window,
        random=random,
        points=points,
        restricted=restricted,
    )
