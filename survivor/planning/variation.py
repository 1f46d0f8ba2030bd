"""How plots and sites differ: on the log hazard, and in survival at the milestone."""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from scipy import optimize

from survivor.errors import PlanError, SurvivorError
from survivor.planning.closed_form import ALPHA, Arms
from survivor.planning.planfile import Plan
from survivor.simulate.cohort import average_survival, normal_nodes
from survivor.words import limits, number

_LARGEST_SD = 5.0
_STUDY_POINTS = 5  # of the quadrature when a past study is read: a planning value needs no more


@dataclass(frozen=True)
class Spread:
    """How plots and sites differ.

    Attributes
    ----------
    plot_sd, site_sd
        Standard deviations of normal effects on the log hazard.
    correlation
        Of two seedlings of a plot at the milestone under the usual practice, given
        their site; the rho of the design effect.
    cumulative
        Cumulative hazard at the milestone where both effects are 0.
    log_ratio
        Log hazard ratio of the better method, given plot and site.
    plot_sd_upper
        Upper 95 % limit of ``plot_sd`` where a past study tells it.
    source
        Where it comes from, in words.
    """

    plot_sd: float
    site_sd: float
    correlation: float
    cumulative: float
    log_ratio: float
    plot_sd_upper: float | None
    source: str


def spread_of(plan: Plan, folder: Path) -> Spread:
    """Settle how plots and sites differ.

    Parameters
    ----------
    plan
        A plan.
    folder
        What a past study is named relative to.

    Raises
    ------
    PlanError
        When the past study does not tell, or no spread of plots gives the correlation.
    """
    variation = plan.variation
    survival = plan.question.survival_per_100 / 100
    better = survival + plan.question.smallest_difference / 100
    upper = None
    if variation.from_study is not None:
        plot_sd, upper, site_sd, source = of_study(folder / variation.from_study)
    elif variation.plot_correlation is not None:
        site_sd = variation.site_sd
        plot_sd = sd_from_correlation(survival, variation.plot_correlation, site_sd)
        source = "the plan file gives the correlation within plots"
    else:
        plot_sd, site_sd = variation.plot_sd or 0.0, variation.site_sd
        source = "the plan file gives the spread of plots"
    return spread(survival, better, plot_sd, site_sd, upper, source)


def spread(
    survival: float,
    better: float,
    plot_sd: float,
    site_sd: float = 0.0,
    plot_sd_upper: float | None = None,
    source: str = "",
) -> Spread:
    """Put a spread of plots and sites on the scales that planning needs.

    Parameters
    ----------
    survival, better
        Survival at the milestone averaged over plots and sites, 0 to 1.
    plot_sd, site_sd
        Standard deviations on the log hazard.
    plot_sd_upper, source
        Carried along.
    """
    total = math.hypot(plot_sd, site_sd)
    cumulative = cumulative_for(survival, total)
    log_ratio = math.log(cumulative_for(better, total) / cumulative)
    correlation = moments(cumulative, plot_sd, site_sd)[1]
    return Spread(plot_sd, site_sd, correlation, cumulative, log_ratio, plot_sd_upper, source)


def wider(plan: Plan, found: Spread) -> Spread | None:
    """Return the spread with plots at the upper limit of a past study; None where it was stated."""
    upper = found.plot_sd_upper
    if upper is None:
        return None
    survival = plan.question.survival_per_100 / 100
    better = survival + plan.question.smallest_difference / 100
    return spread(survival, better, upper, found.site_sd, source="upper 95 % limit of the past study")


def arms_of(plan: Plan, found: Spread, better: float | None = None) -> Arms:
    """Describe the two methods to the closed forms.

    Parameters
    ----------
    plan, found
        The plan, and how plots and sites differ.
    better
        Survival of the better method, 0 to 1; None: the smallest difference more.
    """
    survival = plan.question.survival_per_100 / 100
    alternative = survival + plan.question.smallest_difference / 100 if better is None else better
    variance, correlation = moments(found.cumulative, found.plot_sd, found.site_sd)
    total = math.hypot(found.plot_sd, found.site_sd)
    other_variance, _ = moments(cumulative_for(alternative, total), found.plot_sd, found.site_sd)
    return Arms(
        survival,
        alternative,
        variance,
        other_variance,
        correlation,
        plan.sizes.unequal_plots,
        ALPHA / plan.comparisons,
    )


def cumulative_for(survival: float, sd: float) -> float:
    """Cumulative hazard whose survival, averaged over a normal effect, is the one asked for."""

    def beyond(log_cumulative: float) -> float:
        return average_survival(np.exp([log_cumulative]), np.zeros(1), np.ones(1), sd) - survival

    start = math.log(-math.log(survival))
    reach = 2.0 + 3.0 * sd**2
    return math.exp(float(optimize.brentq(beyond, start - reach, start + reach, xtol=1e-12)))


def moments(cumulative: float, plot_sd: float, site_sd: float) -> tuple[float, float]:
    """Variance of one seedling's 0 or 1 about its site's mean, and the correlation within plots.

    Both averaged over sites. Where sites do not differ, the first is p (1 - p).
    """
    plot, plot_weight = normal_nodes(plot_sd)
    site, site_weight = normal_nodes(site_sd)
    alive = np.exp(-cumulative * np.exp(site[:, None] + plot[None, :]))
    mean = alive @ plot_weight
    between = float(site_weight @ ((alive - mean[:, None]) ** 2 @ plot_weight))
    whole = float(site_weight @ (mean * (1 - mean)))
    return whole, between / whole


def sd_from_correlation(survival: float, correlation: float, site_sd: float = 0.0) -> float:
    """Find the standard deviation of plots on the log hazard that gives a correlation within plots.

    Raises
    ------
    PlanError
        When no spread of plots gives it.
    """
    if correlation == 0:
        return 0.0

    def beyond(sd: float) -> float:
        return moments(cumulative_for(survival, math.hypot(sd, site_sd)), sd, site_sd)[1] - correlation

    if beyond(_LARGEST_SD) < 0:
        raise PlanError(
            f"seedlings of a plot cannot be as alike as {number(correlation, 2)}",
            where="variation.plot_correlation",
            mend="0.1 to 0.3 is usual; give a lower one",
        )
    return float(optimize.brentq(beyond, 0.0, _LARGEST_SD, xtol=1e-9))


def of_study(path: Path) -> tuple[float, float, float, str]:
    """Read the standard deviations of plots (with its upper limit) and of sites from a past study.

    By the mixed model with normal effects of sites and of plots within them, methods
    as terms, restricted likelihood.

    Raises
    ------
    PlanError
        When the study cannot be read or does not tell.
    """
    from survivor.models.mixed import fit_mixed
    from survivor.study import load

    try:
        study = load(path)
        study.records.need_intervals()
        plants = study.first_plants
        formula = "method" if plants["method"].nunique() > 1 else "1"
        fit = fit_mixed(
            plants, formula, cluster="plot", strata=None, random="site/plot", points=_STUDY_POINTS,
            restricted=True,
        )  # fmt: skip
    except SurvivorError as error:
        raise PlanError(
            f"the past study does not tell how plots differ: {error.what}",
            where="variation.from_study",
            mend="name another study, or state plot_sd or plot_correlation",
        ) from error
    table = fit.variance_components
    site_sd, plot_sd = (float(value) for value in table["sd"])
    lower, upper = (float(table[name].iloc[-1]) for name in ("lower", "upper"))
    if not math.isfinite(upper):
        lower, upper = math.nan, plot_sd
    named = study.settings.study.name
    source = (
        f"plots and sites of the past study “{named}” ({number(fit.n_plots)} plots, {number(fit.n_sites)} "
        f"sites): spread of plots {number(plot_sd, 2)} (95 % CI {limits(lower, upper, 2)})"
    )
    return plot_sd, upper, site_sd, source
