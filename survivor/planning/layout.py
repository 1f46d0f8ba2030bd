"""Where each preparation goes, at random within blocks, and the tags of its seedlings.

Whether a plan can answer at all, and how many blocks really tell of each comparison.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from survivor.errors import PlanError
from survivor.planning.calendar import takes, visit_calendar, visits_of
from survivor.planning.planfile import Method, Plan, Site
from survivor.words import listed, number

PLOT_COLUMNS = ("site", "block", "plot", "method", "planted", "seedlings")
WHOLE_PLOT = "whole_plot"  # beside these, in a split-plot season: the plots that are ripped as one


@dataclass(frozen=True, repr=False)
class Layout:
    """A layout allocated at random.

    Attributes
    ----------
    plots
        ``site, block, plot, method, planted`` (ISO day) and ``seedlings``; one row a plot. In a
        split-plot season also ``whole_plot``: plots of one of them get its works together.
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
        methods = methods_at(plan, site)
        for block in range(blocks):
            rng = np.random.default_rng([plan.plan.seed, at, block])
            for place, (name, whole) in enumerate(_in_block(plan, methods, rng)):
                row = (site.name, f"B{block + 1}", f"P{place + 1}", name, site.planted, seedlings)
                rows.append((*row, f"W{whole + 1}"))
    plots = pd.DataFrame(rows, columns=[*PLOT_COLUMNS, WHOLE_PLOT])
    if plan.factorial is None or not plan.factorial.whole_plots:
        plots = plots.drop(columns=WHOLE_PLOT)
    return Layout(plots, _tags(plan, plots), tuple(_remarks(plan, plots)))


def plots_in_all(plan: Plan, plots_per_method: int) -> int:
    """Count the plots of a layout: fewer than of every method everywhere where a site cannot take one."""
    if not plan.sites:
        return plots_per_method * len(plan.methods)
    blocks = blocks_of(plan, plots_per_method)
    return sum(n * len(methods_at(plan, site)) for site, n in zip(plan.sites, blocks, strict=True))


def _in_block(plan: Plan, methods: list[Method], rng: np.random.Generator) -> list[tuple[str, int]]:
    """Draw the order of a block: name of each plot's preparation, and number of its whole plot.

    Where some works are done to whole plots, lots are drawn for these first, then within each.
    """
    of_whole = set(plan.factorial.whole_plots) if plan.factorial is not None else set()
    groups: dict[frozenset[str], list[str]] = {}
    for method in methods:
        groups.setdefault(frozenset(of_whole & set(method.works)), []).append(method.name)
    wholes = list(groups.values())
    if len(wholes) == 1:
        return [(wholes[0][place], 0) for place in rng.permutation(len(wholes[0]))]
    return [
        (wholes[whole][place], number)
        for number, whole in enumerate(rng.permutation(len(wholes)))
        for place in rng.permutation(len(wholes[whole]))
    ]


def methods_at(plan: Plan, site: Site) -> list[Method]:
    """Return the methods that a site can take.

    Raises
    ------
    PlanError
        When there are fewer than two.
    """
    methods = [method for method in plan.methods if takes(site, method.name, method.works)]
    if len(methods) < 2:
        raise PlanError(
            f"{site.name} can take fewer than two of the methods, so nothing is compared there",
            where="sites",
            mend="leave the site out of the comparison, or take a word out of its cannot = [...]",
        )
    return methods


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


def _tags(plan: Plan, plots: pd.DataFrame) -> pd.DataFrame:
    layout = plan.layout
    seedlings = plots["seedlings"].to_numpy()
    of_plot = np.repeat(np.arange(len(plots)), seedlings)
    within = np.concatenate([np.arange(count) for count in seedlings])
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
    """Species of every seedling: as even as can be in each plot, their places at random."""
    names = plan.layout.species or ("",)
    species: list[str] = []
    order = [site.name for site in plan.sites]
    for site, block, plot, count in plots[["site", "block", "plot", "seedlings"]].itertuples(index=False):
        where = [int(block[1:]), int(plot[1:])]
        rng = np.random.default_rng([plan.plan.seed, order.index(site), *where])
        turns = (np.arange(int(count)) + sum(where)) % len(names)
        species += [names[turn] for turn in rng.permutation(turns)]
    return species


def _remarks(plan: Plan, plots: pd.DataFrame) -> list[str]:
    remarks = []
    usual = plan.question.usual_practice
    for site in plan.sites:
        present = set(plots.loc[plots["site"] == site.name, "method"])
        absent = [method.name for method in plan.methods if method.name not in present]
        if absent:
            why = f" ({site.why})" if site.why else ""
            remarks.append(f"{site.name}{why}: without {'; '.join(absent)}")
        if usual in absent:
            remarks.append(f"{site.name} has no plot of the usual practice, so it tells nothing of it")
    return remarks


def fewest_plots(plan: Plan) -> int:
    """Return the fewest plots of each method that give every named site its blocks."""
    return max(2, sum(site.blocks or 1 for site in plan.sites))


def plots_by_blocks(plan: Plan) -> int | None:
    """Return plots of each method where every site says its blocks; None where they are open."""
    if not plan.sites or any(site.blocks is None for site in plan.sites):
        return None
    return sum(site.blocks or 0 for site in plan.sites)


def compared(plan: Plan, plots: int) -> tuple[str, int]:
    """Return the method with the fewest blocks that also hold the usual practice, and how many.

    Parameters
    ----------
    plan
        Where no site is named, every block is taken to hold every method.
    plots
        Blocks in all. Too few for the sites: no block compares anything.
    """
    usual = plan.question.usual_practice
    others = [method for method in plan.methods if method.name != usual]
    if not plan.sites:
        return others[0].name, plots
    if plots < fewest_plots(plan):
        return others[0].name, 0
    works = next(method.works for method in plan.methods if method.name == usual)
    blocks = blocks_of(plan, plots)
    counts = {
        method.name: sum(
            count
            for site, count in zip(plan.sites, blocks, strict=True)
            if takes(site, usual, works) and takes(site, method.name, method.works)
        )
        for method in others
    }
    name = min(counts, key=lambda each: counts[each])
    return name, counts[name]


def refuse_unanswerable(plan: Plan) -> None:
    """Refuse a plan whose question no size answers.

    Raises
    ------
    PlanError
        When a site can take fewer than two methods, a method stands beside the usual
        practice at no site, or no visit falls within the window of the milestone.
    """
    for site in plan.sites:
        methods_at(plan, site)
    usual = plan.question.usual_practice
    works = {method.name: method.works for method in plan.methods}
    for name in works:
        both = [
            site for site in plan.sites if takes(site, usual, works[usual]) and takes(site, name, works[name])
        ]
        if plan.sites and not both:
            raise PlanError(
                f"{name} stands beside the usual practice ({usual}) at no site: nothing compares them",
                where="sites",
                mend="take a word out of a site's cannot = [...], or the method out of the plan",
            )
    _refuse_unvisited(plan)


def _refuse_unvisited(plan: Plan) -> None:
    asked = plan.question
    low, high = asked.day - asked.window_days, asked.day + asked.window_days
    calendar = visit_calendar(plan)
    if plan.sites:
        inside = calendar[calendar["day"].notna() & (calendar["day"] >= low) & (calendar["day"] <= high)]
        without = [site.name for site in plan.sites if site.name not in set(inside["site"])]
        where = f" at {listed(without)}" if without and len(without) < len(plan.sites) else ""
    else:
        # The day of a visit tied to the dry season is known once sites are.
        visited = any(visit.day is None or low <= visit.day <= high for visit in visits_of(plan))
        without, where = [] if visited else ["all"], ""
    if not without:
        return
    instead = (
        "one [[visits]] stands instead of all the usual ones, so write every visit"
        if plan.visits
        else "write it and all the others: your own visits stand instead of the usual ones"
    )
    raise PlanError(
        f"no visit falls within the window of {asked.milestone} (day {number(asked.day)}, "
        f"{number(asked.window_days)} days either side){where}: the question cannot be answered",
        where="visits",
        mend=f'add [[visits]] name = "{asked.milestone}", day = {asked.day}; {instead}',
    )
