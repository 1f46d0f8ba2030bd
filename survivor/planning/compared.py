"""Whether a plan can answer at all, and how many blocks really tell of each comparison."""

from __future__ import annotations

from survivor.errors import PlanError
from survivor.figures.words import number
from survivor.planning.calendar import visit_calendar, visits_of
from survivor.planning.layout import blocks_of, methods_at
from survivor.planning.planfile import Plan
from survivor.planning.timetable import takes
from survivor.report.content.wording import listed


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
