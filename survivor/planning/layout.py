"""Where each preparation goes, by lot within blocks, and the tags of its seedlings."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from survivor.errors import PlanError
from survivor.figures.words import number
from survivor.planning.planfile import Method, Plan, Site
from survivor.planning.timetable import takes

PLOT_COLUMNS = ("site", "block", "plot", "method", "planted", "seedlings")
TAG_COLUMNS = ("site", "block", "plot", "tag", "species")


@dataclass(frozen=True, repr=False)
class Layout:
    """A layout drawn by lot.

    Attributes
    ----------
    plots
        ``site, block, plot, method, planted`` (ISO day) and ``seedlings``; one row a plot.
    tags
        ``site, block, plot, tag, species``; one row a seedling. Tags are text with
        zeros in front.
    remarks
        Sites and methods that the constraints touch, in plain sentences.
    """

    plots: pd.DataFrame
    tags: pd.DataFrame
    remarks: tuple[str, ...]

    def __repr__(self) -> str:
        counts = self.plots.groupby("method", sort=False).size()
        named = ", ".join(f"{name}: {count}" for name, count in counts.items())
        return f"Layout of {number(len(self.plots))} plots, {number(len(self.tags))} seedlings ({named})"


def draw_layout(plan: Plan, plots_per_method: int, seedlings: int) -> Layout:
    """Draw a layout: in every block one plot of each method that its site can take.

    Parameters
    ----------
    plan
        Names the sites. The same plan and seed give the same layout, and a change at one
        site leaves the others as they were.
    plots_per_method
        Blocks in all, shared out as evenly as can be where the plan does not say how
        many a site has.
    seedlings
        Of each plot.

    Raises
    ------
    PlanError
        When no site is named, a site can take fewer than two methods, or tags run out.
    """
    if not plan.sites:
        raise PlanError(
            "a layout needs its sites named",
            where="sites",
            mend='add [[sites]] with name = "..." and planted = "year-month-day"',
        )
    rows: list[tuple[object, ...]] = []
    for at, (site, blocks) in enumerate(zip(plan.sites, blocks_of(plan, plots_per_method), strict=True)):
        methods = [method.name for method in methods_at(plan, site)]
        for block in range(blocks):
            order = np.random.default_rng([plan.plan.seed, at, block]).permutation(len(methods))
            for place, method in enumerate(order):
                rows.append(
                    (site.name, f"B{block + 1}", f"P{place + 1}", methods[method], site.planted, seedlings)
                )
    plots = pd.DataFrame(rows, columns=list(PLOT_COLUMNS))
    return Layout(plots, _tags(plan, plots), tuple(_remarks(plan, plots)))


def methods_at(plan: Plan, site: Site) -> list[Method]:
    """Return the methods that a site can take.

    Raises
    ------
    PlanError
        When there are fewer than two.
    """
    found = [method for method in plan.methods if takes(site, method.name, method.works)]
    if len(found) < 2:
        raise PlanError(
            f"{site.name} can take fewer than two of the methods, so nothing is compared there",
            where="sites",
            mend="leave the site out of the comparison, or take a word out of its cannot = [...]",
        )
    return found


def blocks_of(plan: Plan, plots_per_method: int) -> list[int]:
    """Blocks of each site: as the plan says, the rest shared out evenly, the first sites first.

    Raises
    ------
    PlanError
        When there are fewer blocks than sites that have to share them.
    """
    fixed = sum(site.blocks or 0 for site in plan.sites)
    open_sites = [place for place, site in enumerate(plan.sites) if site.blocks is None]
    left = plots_per_method - fixed
    if open_sites and left < len(open_sites):
        raise PlanError(
            f"{plots_per_method} plots of each method cannot be shared out over {len(plan.sites)} sites: "
            "every site needs a block",
            where="sizes.plots_per_method",
            mend="plant more plots, fewer sites, or say blocks = ... at each site",
        )
    if plan.sites and not open_sites and left != 0:
        raise PlanError(
            f"blocks of the sites make {number(fixed)} plots of each method, not {number(plots_per_method)}",
            where="sites",
            mend="leave plots_per_method out, or blocks = ... at one site or more",
        )
    share, more = divmod(left, len(open_sites)) if open_sites else (0, 0)
    blocks = [site.blocks or 0 for site in plan.sites]
    for turn, place in enumerate(open_sites):
        blocks[place] = share + (turn < more)
    return blocks


def fewest_side_by_side(layout: Layout, usual: str) -> tuple[str, int]:
    """Return the method with the fewest blocks that also hold the usual practice, and how many."""
    keys = ["site", "block"]
    with_usual = layout.plots.loc[layout.plots["method"] == usual, keys]
    beside = layout.plots[layout.plots["method"] != usual].merge(with_usual, on=keys)
    counts = {str(name): 0 for name in layout.plots["method"].unique() if name != usual}
    counts.update({str(name): int(count) for name, count in beside.groupby("method").size().items()})
    name = min(counts, key=lambda each: counts[each])
    return name, counts[name]


def _tags(plan: Plan, plots: pd.DataFrame) -> pd.DataFrame:
    layout = plan.layout
    each = plots["seedlings"].to_numpy()
    of_plot = np.repeat(np.arange(len(plots)), each)
    within = np.concatenate([np.arange(count) for count in each])
    numbers = (np.arange(len(of_plot)) if layout.tags == "unique in the study" else within) + layout.first_tag
    if len(numbers) and numbers.max() >= 10**layout.tag_digits:
        raise PlanError(
            f"tags of {layout.tag_digits} figures run out at {numbers.max()}",
            where="layout.tag_digits",
            mend="give more figures",
        )
    table = plots.iloc[of_plot][["site", "block", "plot"]].reset_index(drop=True)
    table["tag"] = [f"{number:0{layout.tag_digits}d}" for number in numbers]
    table["species"] = _species(plan, plots)
    return table


def _species(plan: Plan, plots: pd.DataFrame) -> list[str]:
    """Species of every seedling: as even as can be in each plot, their places by lot."""
    names = plan.layout.species or ("",)
    found: list[str] = []
    order = [site.name for site in plan.sites]
    for site, block, plot, count in plots[["site", "block", "plot", "seedlings"]].itertuples(index=False):
        where = [int(block[1:]), int(plot[1:])]
        rng = np.random.default_rng([plan.plan.seed, order.index(site), *where])
        turns = (np.arange(int(count)) + sum(where)) % len(names)
        found += [names[turn] for turn in rng.permutation(turns)]
    return found


def _remarks(plan: Plan, plots: pd.DataFrame) -> list[str]:
    said = []
    usual = plan.question.usual_practice
    for site in plan.sites:
        present = set(plots.loc[plots["site"] == site.name, "method"])
        absent = [method.name for method in plan.methods if method.name not in present]
        if absent:
            why = f" ({site.why})" if site.why else ""
            said.append(f"{site.name}{why}: without {'; '.join(absent)}")
        if usual in absent:
            said.append(f"{site.name} has no plot of the usual practice, so it tells nothing of it")
    return said
