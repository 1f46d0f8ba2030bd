"""The front door to every model: ``survivor.fit``."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, fields, replace
from typing import TYPE_CHECKING, Any, Literal, TypedDict, Unpack

import pandas as pd

from survivor.arguments import amount, count, is_one_of, several
from survivor.errors import IntervalsError, ModelError
from survivor.frames import Table, own_frame
from survivor.intervals import check_intervals, refuse_blank_places
from survivor.models.one_ratio import said_of_ratios
from survivor.models.pieces import DayPieces, SeasonPieces
from survivor.models.result import Fit

if TYPE_CHECKING:
    from survivor.models.working import Working

Model = Literal["grouped", "cox", "logistic", "mixed"]
Baseline = Literal["pieces", "unspecified"]
Columns = str | Sequence[str] | None
Pieces = Sequence[float] | SeasonPieces | DayPieces | None


@dataclass(frozen=True)
class Grouped:
    """Interval-censored proportional hazards, any visit pattern.

    Where nobody, or everybody, died at a level of a term, estimates (also of ``Logistic``)
    are penalised, and ``Fit.variance`` and ``Fit.checks`` say so.

    Parameters
    ----------
    pieces
        Inner boundaries in days since planting, or ready pieces. None: the dry seasons
        where the table names them (columns ``dry_season`` and ``planted_date``), else the visits.
    baseline
        ``pieces``: a constant hazard in each piece. ``unspecified``: jumps wherever they
        make the records most likely, for records whose visits differ from plot to plot;
        survival is then told on some days only, and limits come from fitting again
        without each cluster.
    working
        How much seedlings of large and small plots (clusters) count while estimating;
        limits are by plot either way. ``independence``: every seedling counts as one.
        ``plot correlation``: a seedling in a plot of m counts 1 / (1 + (m - 1) rho), times
        what makes the average 1, with rho the correlation of seedlings of a plot,
        estimated within method and site from survival to the last visit (``Logistic``: to
        day ``at``) and never below 0. Or rho itself, from 0 (independence) to 1 (every plot
        counts as one). Where plots differ much in size a correlation gives more precise
        estimates and limits nearer to what they claim; the estimate then speaks less of the
        seedlings planted and more of the plots, since each seedling counts for less in a
        large plot. Where survival goes with the size of plots that is another answer. With
        plots of one size nothing changes.
    by_period
        Column of the formula whose levels have a ratio of hazards of their own in each piece, pieces
        with too few deaths joined; None: one ratio for the whole season.
    offset
        Column of numbers added to the log hazard as it is, for example the log of an exposure. Survival
        is told at the offset of each plant.
    weights
        Column by which rows count in the estimate, for example plots of a sample by the plots
        they stand for; limits go by cluster. Counts of seedlings stand in ``at_risk``.

    Raises
    ------
    ModelError
        When an option is none, or two of them exclude each other.

    Examples
    --------
    >>> survivor.fit(intervals, "method", survivor.Grouped(pieces=[180])).checks[0]
    'baseline pieces with boundaries at days 180'
    """

    pieces: Pieces = None
    baseline: Baseline = "pieces"
    working: Working = "independence"
    by_period: str | None = None
    offset: str | None = None
    weights: str | None = None

    def __post_init__(self) -> None:
        if not is_one_of(self.baseline, ("pieces", "unspecified")):
            mend = 'use "pieces" or "unspecified"'
            raise ModelError(f"no baseline {self.baseline!r}", where="baseline", mend=mend)
        if self.baseline == "unspecified" and self.pieces is not None:
            mend = "leave out pieces= or baseline="
            raise ModelError("an unspecified baseline has no pieces", where="pieces", mend=mend)
        if self.baseline == "unspecified" and self.working != "independence":
            raise _refused("working", "an unspecified baseline")
        for name in ("by_period", "offset", "weights"):
            if self.baseline == "unspecified" and getattr(self, name) is not None:
                raise _refused(name, "an unspecified baseline")

    def fit(self, frame: pd.DataFrame, formula: str, cluster: Columns, strata: Columns) -> Fit:
        """Fit to risk intervals; see ``survivor.fit``."""
        if self.baseline == "unspecified":
            from survivor.models.unspecified import fit_unspecified

            return fit_unspecified(frame, formula, cluster=cluster, strata=strata)
        from survivor.models.grouped import fit_grouped

        own = {name: getattr(self, name) for name in ("pieces", "working", "offset", "weights")}
        found = fit_grouped(frame, formula, cluster=cluster, strata=strata, **own)
        if self.by_period is None:
            return found
        from survivor.models.by_period import fit_varying

        return fit_varying(found, self.by_period)


@dataclass(frozen=True)
class Cox:
    """Cox regression at the visit days, Efron's ties.

    Survival on a day is that of the visits by then: where plots were visited on different days it is too
    high, by the deaths found later, and says so; ``Grouped`` takes such visits as they are.
    Takes no ``offset`` and no ``weights``, since Efron's ties are of whole seedlings; ``Grouped`` takes both.
    """

    def fit(self, frame: pd.DataFrame, formula: str, cluster: Columns, strata: Columns) -> Fit:
        """Fit to risk intervals; see ``survivor.fit``."""
        from survivor.models.cox import fit_cox

        return fit_cox(frame, formula, cluster=cluster, strata=strata)


@dataclass(frozen=True)
class Logistic:
    """Alive or dead at day ``at``.

    Parameters
    ----------
    at
        Days since planting.
    window
        The visit nearest to ``at`` within this many days is used.
    working, weights
        As for ``Grouped``. An offset is refused: what a longer watch does to the odds is not known
        beforehand, and ``Grouped`` takes it on the log hazard.

    Raises
    ------
    ModelError
        When an option is none, or two of them exclude each other.

    Examples
    --------
    >>> survivor.fit(intervals, "method", survivor.Logistic(at=365)).table["odds_ratio"].round(2).tolist()
    [1.63, 3.23]
    """

    at: float
    window: float = 30.0
    working: Working = "independence"
    weights: str | None = None

    def __post_init__(self) -> None:
        if self.at is None:
            raise ModelError("the logistic model needs a day", where="at", mend="for example at=365")
        amount(self.at, "at", ModelError, "give days since planting, for example at=365", above=0)
        amount(self.window, "window", ModelError, "give days, for example window=30", bounds=(0, math.inf))

    def fit(self, frame: pd.DataFrame, formula: str, cluster: Columns, strata: Columns) -> Fit:
        """Fit to risk intervals; see ``survivor.fit``."""
        from survivor.models.logistic import fit_logistic

        return fit_logistic(frame, formula, cluster=cluster, strata=strata, **vars(self))


@dataclass(frozen=True)
class Mixed:
    """``Grouped`` (with ``at``: ``Logistic``) with normal effects of plots.

    Coefficients are conditional on the effects, survival is averaged over them. Takes no ``offset`` and no
    ``weights``: with rows weighted the likelihood of the effects is that of no records. ``Grouped`` takes
    both, ``Logistic`` takes weights.

    Parameters
    ----------
    at, window
        As for ``Logistic``; without ``at`` hazards are fitted, with ``pieces`` as for ``Grouped``.
    random
        Nested effects from the outermost in, parted by ``/``, the columns of one joined by
        ``:``. ``"site/plot"`` is an effect of site and one of plot (with ``strata=None``),
        ``"site:method/plot"`` lets methods differ from site to site. None: the cluster.
    points
        Points of the adaptive Gauss-Hermite quadrature, one number or one a level of
        effects; 1 is Laplace.
    restricted
        Estimate the standard deviations of effects by the restricted likelihood. Maximum
        likelihood finds them too small, and limits of methods too narrow, where many levels
        are estimated from few plots.

    Raises
    ------
    ModelError
        When an option is none, or two of them exclude each other.

    Examples
    --------
    >>> survivor.fit(intervals, "method", survivor.Mixed(points=1)).variance_components[["effect", "groups"]]
      effect  groups
    0   plot      24
    """

    at: float | None = None
    window: float = 30.0
    pieces: Pieces = None
    random: str | None = None
    points: int | Sequence[int] = 7
    restricted: bool = False

    def __post_init__(self) -> None:
        if not isinstance(self.restricted, bool):
            what = f"restricted is True or False, not {self.restricted!r}"
            raise ModelError(what, where="restricted", mend="give one of these")
        if self.random is not None and not isinstance(self.random, str):
            mend = 'write for example random="site/plot"'
            raise ModelError(f"{self.random!r} names no effects", where="random", mend=mend)
        if self.at is not None:
            amount(self.at, "at", ModelError, "give days since planting, for example at=365", above=0)
        for points in [self.points] if isinstance(self.points, int) else self._several():
            count(points, "points", ModelError, "give a whole number of points, or one a level of effects")
        if self.at is not None and self.pieces is not None:
            mend = "leave out pieces= or at="
            raise ModelError("odds at one day have no pieces", where="pieces", mend=mend)

    def _several(self) -> list[object]:
        mend = "give a whole number of points, or one a level of effects"
        return several(self.points, "points", ModelError, mend)

    def fit(self, frame: pd.DataFrame, formula: str, cluster: Columns, strata: Columns) -> Fit:
        """Fit to risk intervals; see ``survivor.fit``."""
        from survivor.models.mixed import fit_mixed

        return fit_mixed(frame, formula, cluster=cluster, strata=strata, **vars(self))


Options = Grouped | Cox | Logistic | Mixed
_OPTIONS: dict[str, type[Options]] = {"grouped": Grouped, "cox": Cox, "logistic": Logistic, "mixed": Mixed}
# What each argument is where nobody gives it.
_USUAL: dict[str, Any] = {option.name: option.default for kind in (Grouped, Mixed) for option in fields(kind)}
# What an argument that the model asked for does not have is told by: what it lacks, and what to do.
_REFUSALS = {
    "at": (
        "at= is for the logistic and mixed models; {} gives survival at any day within the visits",
        "leave at= out here and give it to survivor.survival or survivor.contrasts",
    ),
    "random": ("{} has no random effects", 'leave random= out or use model="mixed"'),
    "working": ("{} does not weight plots", 'leave working= out, or use model="grouped" or "logistic"'),
    "baseline": ("{} has no baseline to choose", 'leave it out or use model="grouped"'),
    "by_period": ("{} has one ratio for the whole season", 'leave by_period= out or use model="grouped"'),
    "offset": ("{} takes no offset", 'leave offset= out or use model="grouped"'),
    "weights": ("{} does not weight rows", 'leave weights= out, or use model="grouped" or "logistic"'),
    "pieces": ("{} has no pieces", 'leave pieces= out or use model="grouped"'),
}


class Named(TypedDict, total=False):
    """Options of a model given by its name."""

    at: float | None
    pieces: Pieces
    window: float
    random: str | None
    points: int | Sequence[int]
    restricted: bool
    baseline: Baseline
    working: Working
    by_period: str | None
    offset: str | None
    weights: str | None


def fit(
    intervals: Table,
    formula: str,
    model: Model | Options = "grouped",
    cluster: Columns = "plot",
    strata: Columns = "site",
    **options: Unpack[Named],
) -> Fit:
    """Fit a survival model to risk intervals.

    ``survivor.fit(intervals, "method")`` is short for the grouped-time
    proportional-hazards model with a level for each site, a constant hazard within
    each piece of the season, and limits that respect plots (CR2 with Satterthwaite
    degrees of freedom).

    One ratio of hazards holds all season. Where it turns round in mid-season, survival and differences
    of such a fit are off by several per 100: ``checks`` of the fit, whichever model it is of, and of all
    answers from it say where the records speak against it, and ``print(fit)`` prints them.
    ``survivor.compare`` then gives each period a ratio of its own, as the report does.

    Parameters
    ----------
    intervals
        Risk intervals; ``start_day, stop_day, at_risk, died`` and the columns that
        ``formula``, ``cluster`` and ``strata`` name. See ``survivor.intervals``. A pandas,
        polars, Arrow or Dask table; the fit keeps a copy, of a Dask table one seedling a history.
    formula
        Right-hand side, for example ``"method + weed_free_radius_m"``. The first
        level of a factor is the reference.
    model
        ``grouped``, ``cox``, ``logistic`` or ``mixed``; or one of these with its options:
        ``survivor.Grouped(...)``, ``survivor.Logistic(at=365)``, ``survivor.Mixed(...)``.
    cluster
        Column(s) within which seedlings are not independent; ``plot`` means site,
        block and plot. None: rows independent, the model's own standard errors.
    strata
        Column(s) whose levels have their own baseline (Cox) or baseline level.
    options
        Of a model given by its name: ``at, pieces, window, random, points, restricted, baseline,
        working, by_period, offset, weights``; see ``Grouped``, ``Logistic`` and ``Mixed``.

    Returns
    -------
    Fit

    Raises
    ------
    IntervalsError
        When the table is not a table of risk intervals.
    ModelError
        When the model cannot be fitted; the text names the term or column and the mend.

    Examples
    --------
    >>> survivor.fit(intervals, "method").table[["term", "hazard_ratio"]].round(2)
                  term  hazard_ratio
    0  method[T.auger]          0.71
    1    method[T.rip]          0.40
    """
    frame = own_frame(intervals, _named(cluster, strata))
    check_intervals(frame)
    refuse_blank_places(frame, ModelError, cluster, strata)
    found = _options(model, dict(options)).fit(frame, formula, cluster, strata)
    return replace(found, looks=said_of_ratios)


def _named(*columns: Columns) -> set[str]:
    """Columns named by what may be one name, several, or None."""
    mend = "give the name of a column, or a list of names"
    told = (several(some, "columns", IntervalsError, mend) for some in columns if some is not None)
    return {name for some in told for name in some if isinstance(name, str)}


def _options(model: str | Options, given: dict[str, Any]) -> Options:
    """Options of a model by its name and arguments; an argument that it does not have is refused."""
    for name in given:
        if name not in _USUAL:
            raise TypeError(f"fit() got an unexpected keyword argument {name!r}")
    used = [name for name, value in given.items() if not _same(value, _USUAL[name])]
    if not isinstance(model, str):
        if not isinstance(model, Grouped | Cox | Logistic | Mixed):
            raise ModelError(
                f"{model!r} is no model",
                where="model",
                mend='use "grouped", "cox", "logistic" or "mixed", or one with its options: Logistic(at=365)',
            )
        if used:
            raise ModelError(
                f"{used[0]}= is given beside the model's own options",
                where=used[0],
                mend=f"give it to {type(model).__name__}(...), or name the model",
            )
        return model
    kind = _OPTIONS.get(model)
    if kind is None:
        raise ModelError(
            f"no model {model!r}", where="model", mend='use "grouped", "cox", "logistic" or "mixed"'
        )
    own = {option.name for option in fields(kind)}
    for name in _REFUSALS:
        if name in used and name not in own:
            raise _refused(name, model)
    return kind(**{name: given.get(name, _USUAL[name]) for name in own})


def _same(value: Any, usual: Any) -> bool:
    """Whether an argument is as when nobody gives it; arrays and lists never are."""
    return value is usual or (isinstance(value, str | int | float) and bool(value == usual))


def _refused(argument: str, model: str) -> ModelError:
    what, mend = _REFUSALS[argument]
    return ModelError(what.format(model), where=argument, mend=mend)
