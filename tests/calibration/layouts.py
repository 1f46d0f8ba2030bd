"""Layouts of simulated studies for the calibration table: drawn in bulk, with their targets.

A layout is a cohort of ``survivor.simulate`` with plots of its own: any number of plots a
method at a site, of any size. Deaths between visits are drawn as binomial counts a plot,
which is what draws of single seedlings add up to; a study then costs next to nothing to draw.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from survivor.models.fit import fit
from survivor.simulate.cohort import Cohort, average_survival, knots_of_site, normal_nodes

Floats = NDArray[np.float64]
Codes = NDArray[np.intp]

AT = 365.0
_MANY = 1e7  # seedlings that each seedling of a layout stands for where counts are the expected ones


@dataclass(frozen=True, eq=False)
class Layout:
    """Plots of a cohort.

    Attributes
    ----------
    cohort
        Methods, baseline hazard, visits, site effects (fixed) and plot SD. Its own numbers
        of blocks, plots and seedlings are not read.
    site, method, size
        Of each plot: site and method by number from 0, seedlings planted; shape (plots,).
    """

    cohort: Cohort
    site: Codes
    method: Codes
    size: Codes

    @cached_property
    def cumulative(self) -> Floats:
        """Cumulative hazard of each plot without its own effect, at planting and each visit."""
        cohort = self.cohort
        found = [
            np.interp((0, *cohort.visit_days[0]), *knots_of_site(cohort, site))
            for site in range(cohort.sites)
        ]
        ratio = np.array([effect for _, effect in cohort.methods])
        fixed = np.array(cohort.site_effects, dtype=float)
        log_hazard = ratio[self.method] + fixed[self.site]
        return np.stack(found)[self.site] * np.exp(log_hazard)[:, None]

    @cached_property
    def frame(self) -> pd.DataFrame:
        """Rows of a study without its counts: plots in order, the visits of each together."""
        cohort, visits = self.cohort, len(self.cohort.visit_days[0])
        row = np.repeat(np.arange(len(self.site)), visits)
        days = np.array((0, *cohort.visit_days[0]), dtype=float)
        frame = pd.DataFrame(
            {
                "site": np.array([f"site {site + 1:02d}" for site in range(cohort.sites)], dtype=object)[
                    self.site[row]
                ],
                "block": "B1",
                "plot": np.array([f"P{plot + 1:02d}" for plot in range(len(self.site))], dtype=object)[row],
                "method": pd.Categorical.from_codes(
                    self.method[row], categories=pd.Index(cohort.method_names)
                ),
                "planted_date": pd.Timestamp(cohort.planted[0]),
                "start_day": np.tile(days[:-1], len(self.site)),
                "stop_day": np.tile(days[1:], len(self.site)),
            }
        )
        if cohort.dry_season is not None:
            frame["dry_season"] = " to ".join(cohort.dry_season)
        return frame

    def with_counts(self, at_risk: Floats, died: Floats) -> pd.DataFrame:
        """Risk intervals from counts of shape (plots, visits); rows with nobody at risk are left out."""
        frame = self.frame.assign(at_risk=at_risk.ravel(), died=died.ravel())
        return frame[frame["at_risk"].to_numpy() > 0]

    def draw(self, seed: np.random.Generator, studies: int) -> Iterator[pd.DataFrame]:
        """Risk intervals of each of a number of studies."""
        plots, visits = len(self.site), len(self.cohort.visit_days[0])
        effect = seed.normal(0.0, self.cohort.plot_sd, (studies, plots))
        chance = -np.expm1(-np.diff(self.cumulative)[None] * np.exp(effect)[:, :, None])
        alive = np.broadcast_to(self.size, (studies, plots)).astype(np.int64)
        at_risk = np.empty((studies, plots, visits), dtype=np.int64)
        died = np.empty_like(at_risk)
        for visit in range(visits):
            at_risk[:, :, visit] = alive
            died[:, :, visit] = seed.binomial(alive, chance[:, :, visit])
            alive = alive - died[:, :, visit]
        for study in range(studies):
            yield self.with_counts(at_risk[study], died[study])

    @cached_property
    def expected(self) -> pd.DataFrame:
        """Risk intervals with the counts that very many such studies add up to."""
        nodes, weights = normal_nodes(self.cohort.plot_sd)
        alive = np.exp(-self.cumulative[:, :, None] * np.exp(nodes)) @ weights * self.size[:, None] * _MANY
        return self.with_counts(alive[:, :-1], -np.diff(alive))

    def log_ratios(self, model: str) -> Floats:
        """Log hazard (or odds) ratio of each method against the first that a model's estimate tends to.

        The model is fitted to expected counts, so it is the value for very many plots, averaged
        over plot effects. ``mixed`` is conditional on plots: the log hazard ratio put in.
        ``visits`` is ``grouped`` with a hazard between each two visits.
        """
        if model == "mixed":
            return np.array([effect for _, effect in self.cohort.methods[1:]])
        frame, at = self.expected, (AT if model == "logistic" else None)
        pieces = list(self.cohort.visit_days[0][:-1]) if model == "visits" else None
        if model == "cox":  # ties are gone through one by one
            frame = frame.assign(
                at_risk=np.round(frame["at_risk"] / (_MANY / 200)),
                died=np.round(frame["died"] / (_MANY / 200)),
            )
        whole = frame.assign(**{name: np.round(frame[name]).astype(np.int64) for name in ("at_risk", "died")})
        chosen: Any = "grouped" if model == "visits" else model
        fitted = fit(whole, "method", chosen, cluster=None, strata="site", at=at, pieces=pieces)
        return fitted.table["estimate"].to_numpy(dtype=float)

    def differences(self) -> Floats:
        """True differences from the first method, per 100 planted at day ``AT``, averaged over plots."""
        cohort = self.cohort
        plants = np.bincount(self.site, weights=self.size, minlength=cohort.sites)
        at_day = np.array(
            [np.interp(AT, *knots_of_site(cohort, site)) for site in range(cohort.sites)], dtype=float
        )
        fixed = np.array(cohort.site_effects, dtype=float)
        alive = np.array(
            [average_survival(at_day, fixed + effect, plants, cohort.plot_sd) for _, effect in cohort.methods]
        )
        return 100 * (alive[1:] - alive[0])


def balanced(
    sites: int, blocks: int, *, effects: tuple[float, ...], plot_sd: float, **more: object
) -> Layout:
    """Each method on ``blocks`` plots of 20 seedlings at every site; method effects on the log hazard."""
    named = [(f"alternative {number}", effect) for number, effect in enumerate(effects, start=1)]
    cohort = Cohort(
        methods=(("usual practice", 0.0), *named),
        sites=sites,
        site_effects=tuple(np.linspace(-0.4, 0.4, sites)),
        plot_sd=plot_sd,
        visit_days=((40, 170, 300, 365),),
    )
    cohort = replace(cohort, **more)
    site, _, method = (axis.ravel() for axis in np.indices((sites, blocks, len(cohort.methods))))
    return Layout(cohort, site, method, np.full(len(site), 20))


def one_in_four(like: Layout) -> Layout:
    """The same plots with the alternative on one of every four only."""
    return Layout(like.cohort, like.site, (np.arange(len(like.site)) % 4 == 0).astype(np.intp), like.size)


def ten_fold(like: Layout) -> Layout:
    """The same plots with 8, 17, 37 or 80 seedlings each, the sizes moving on by one from site to site."""
    sizes = np.array([8, 17, 37, 80])
    return Layout(like.cohort, like.site, like.method, sizes[(np.arange(len(like.site)) + like.site) % 4])
