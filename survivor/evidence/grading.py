"""How far an answer can be leaned on: four grades, by a rule that is data.

The rules are rows. A ``cap`` holds the grade at or under a level; a ``step``
takes it one level down, after the caps and never under ``slight``. Rules of one
``group`` take one step between them.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final, Literal

import pandas as pd

from survivor.effects.confounding import BETWEEN
from survivor.evidence.finding import Grade

Settled = Literal["yes", "partly", "no"]

GRADES: Final[tuple[Grade, ...]] = ("unanswered", "slight", "fair", "firm")
RANDOM: Final = "random within blocks"
BY_CHOICE: Final = "by choice"
LEAST_DF: Final = 4.0
LEAST_PLOTS: Final = 3
MOST_RECORDS: Final = 0.02  # share of records set aside above which a grade steps down
MOST_PLOTS: Final = 0.05  # share of plots with such a record
_BY_LOT: Final = "drawing lots for which plot of a block gets which preparation"


@dataclass(frozen=True)
class Circumstances:
    """What the grade of one answer depends on.

    Attributes
    ----------
    compares
        Whether preparations are compared, so that their allocation matters.
    answered
        Whether there is an estimate with limits at all.
    allocation, plots_placed
        As in the study file.
    basis
        ``within sites`` or ``between sites only``.
    df
        Degrees of freedom of the limits; infinite where rows are independent.
    fewest_plots
        Plots in the arm that has fewer.
    settled
        Whether the limits, and the p adjusted for the number of comparisons, settle
        the question against the smallest difference worth having.
    bounds_change_sign
        Whether 'all unknown dead' and 'all unknown alive' give opposite answers.
    penalised
        Whether the answer rests on a penalised model.
    radius
        Whether the answer is of the weed-free radius, which is not what was allocated.
    one_cost
        Whether one preparation only has a cost, of several in the records.
    models_disagree, sites_inconsistent, one_site_carries
        Whether the answer depends on the model, goes opposite ways at sites, or
        rests on one site.
    lot_disagrees
        Whether a difference reads as clear and yet the p from other layouts of the lot,
        adjusted, is not under 0.05 though it could have been.
    missing_rule
        Whether the answer is another under the other rule for missing plants.
    misfit
        Whether the share counted alive under a preparation lies outside the model's limits.
    not_proportional
        Whether ratios of hazards differ between periods, and no model that has them could
        be fitted.
    between_visits
        Whether the answer turns on how deaths are spread over the days between two visits.
    set_aside
        Whether many records, or plots, are set aside until they are mended.
    """

    compares: bool = True
    answered: bool = True
    allocation: str = "not recorded"
    plots_placed: str = "not recorded"
    basis: str = "within sites"
    df: float = float("inf")
    fewest_plots: int = LEAST_PLOTS
    settled: Settled = "yes"
    bounds_change_sign: bool = False
    penalised: bool = False
    radius: bool = False
    one_cost: bool = False
    models_disagree: bool = False
    sites_inconsistent: bool = False
    one_site_carries: bool = False
    lot_disagrees: bool = False
    missing_rule: bool = False
    misfit: bool = False
    not_proportional: bool = False
    between_visits: bool = False
    set_aside: bool = False


@dataclass(frozen=True)
class Rule:
    """One row of the grading rule.

    Attributes
    ----------
    name
        Short name.
    test
        The test in words, as the report prints it; also the reason given.
    effect
        ``cap`` or ``step``.
    to
        The level of a cap; None for a step.
    raise_it
        What would lift it.
    holds
        The test.
    group
        Rules of one group take one step between them.
    """

    name: str
    test: str
    effect: Literal["cap", "step"]
    to: Grade | None
    raise_it: str
    holds: Callable[[Circumstances], bool]
    group: str = ""


RULES: Final[tuple[Rule, ...]] = (
    Rule(
        "no estimate",
        "the records give no estimate with limits",
        "cap",
        "unanswered",
        "the records that “What cannot be said” names as missing",
        lambda c: not c.answered,
    ),
    Rule(
        "few plots",
        f"an arm has fewer than {LEAST_PLOTS} plots",
        "cap",
        "unanswered",
        f"at least {LEAST_PLOTS} plots of each preparation compared",
        lambda c: c.fewest_plots < LEAST_PLOTS,
    ),
    Rule(
        "between sites",
        "it rests on differences between sites only",
        "cap",
        "slight",
        "both preparations side by side at the same sites",
        lambda c: c.basis == BETWEEN,
    ),
    Rule(
        "few degrees of freedom",
        f"the limits rest on too few plots or sites (fewer than {LEAST_DF:g} degrees of freedom)",
        "cap",
        "slight",
        "more plots, spread over more sites",
        lambda c: not c.df >= LEAST_DF,
    ),
    Rule(
        "unknown plants",
        "the answer changes sign with what became of plants not found",
        "cap",
        "slight",
        "finding the plants that were not found, or tags that last",
        lambda c: c.bounds_change_sign,
    ),
    Rule(
        "penalised",
        "nobody, or everybody, died in a part that the answer rests on, so a penalised model was used",
        "cap",
        "slight",
        "more plants, or a later visit",
        lambda c: c.penalised,
    ),
    Rule(
        "too little to tell",
        "the limits are too wide for the smallest difference worth having",
        "cap",
        "slight",
        "more plots, so that the limits are narrower",
        lambda c: c.settled == "no",
    ),
    Rule(
        "by choice",
        "preparations were chosen for each place, not given to plots by lot",
        "cap",
        "fair",
        _BY_LOT,
        lambda c: c.compares and not c.radius and c.allocation == BY_CHOICE,
    ),
    Rule(
        "allocation not recorded",
        "it is not recorded how plots were given their preparation",
        "cap",
        "fair",
        f"a record of how plots were given their preparation, and {_BY_LOT}",
        lambda c: c.compares and not c.radius and c.allocation not in (RANDOM, BY_CHOICE),
    ),
    Rule(
        "radius not drawn",
        "the weed-free radius of a plot is not drawn by lot, even where its preparation is",
        "cap",
        "fair",
        "drawing lots for the radius of the patch among the plots of one preparation at a site",
        lambda c: c.radius,
    ),
    Rule(
        "one cost",
        "one preparation only has a cost, so it is set beside no other",
        "cap",
        "fair",
        "the cost of the other preparations",
        lambda c: c.one_cost,
    ),
    Rule(
        "not precise",
        "the limits, or the number of comparisons made, leave the question partly open",
        "cap",
        "fair",
        "more plots, so that the limits are narrower",
        lambda c: c.settled == "partly",
    ),
    Rule(
        "other layouts",
        "other layouts of the same lot give as large a difference too often (p, adjusted, of 0.05 or more; "
        "where layouts were drawn, at the lower 95 % limit of that p too)",
        "cap",
        "fair",
        "more plots, or more blocks in which lots are drawn",
        lambda c: c.lot_disagrees,
    ),
    Rule(
        "missing plants",
        "the answer changes with the rule for missing plants",
        "step",
        None,
        "looking for the plants that were missing, or tags that last",
        lambda c: c.missing_rule,
    ),
    Rule(
        "records to mend",
        f"more than {100 * MOST_RECORDS:.0f} of 100 records, or {100 * MOST_PLOTS:.0f} of 100 plots, are set "
        "aside until they are mended",
        "step",
        None,
        "mending the records that survivor check names",
        lambda c: c.set_aside,
    ),
    Rule(
        "plots by choice",
        "plots were placed by choice",
        "step",
        None,
        "placing plots at random within sites",
        lambda c: c.plots_placed == BY_CHOICE,
    ),
    Rule(
        "models disagree",
        "the models disagree",
        "step",
        None,
        "more visits, so that the models rest less on assumptions",
        lambda c: c.models_disagree,
        group="consistency",
    ),
    Rule(
        "sites inconsistent",
        "sites do not agree in the difference",
        "step",
        None,
        "more sites that hold both preparations",
        lambda c: c.sites_inconsistent,
        group="consistency",
    ),
    Rule(
        "one site",
        "one site carries the answer",
        "step",
        None,
        "more sites that hold both preparations",
        lambda c: c.one_site_carries,
        group="consistency",
    ),
    Rule(
        "misfit",
        "the model does not fit the counts: a share counted alive lies outside its limits",
        "step",
        None,
        "a visit nearer to the milestone, or more plots of each preparation at each site",
        lambda c: c.misfit,
        group="fit",
    ),
    Rule(
        "not proportional",
        "preparations differ by another ratio in each period, and no model with such ratios could be fitted",
        "step",
        None,
        "more plots, or more visits",
        lambda c: c.not_proportional,
        group="fit",
    ),
    Rule(
        "between visits",
        "the answer turns on how deaths are spread over the days between two visits",
        "step",
        None,
        "a visit on the day of the milestone",
        lambda c: c.between_visits,
        group="fit",
    ),
)


def grade(circumstances: Circumstances) -> tuple[Grade, tuple[str, ...], tuple[str, ...]]:
    """Grade an answer.

    Returns
    -------
    grade, reasons, raise_it
        The grade; why it is no higher; what would raise it (each once).
    """
    holding = [rule for rule in RULES if rule.holds(circumstances)]
    if not circumstances.answered:
        holding = holding[:1]  # what else might hold back an estimate is beside the point
    caps = [GRADES.index(rule.to) for rule in holding if rule.to is not None]
    level = min([len(GRADES) - 1, *caps])
    steps = {rule.group or rule.name for rule in holding if rule.effect == "step"}
    if level > 0:
        level = max(1, level - len(steps))
    reasons = tuple(rule.test for rule in holding)
    raise_it = tuple(dict.fromkeys(rule.raise_it for rule in holding))
    return GRADES[level], reasons or (_NOTHING_AGAINST,), raise_it


_NOTHING_AGAINST: Final = "no rule holds it back"


def rules_table() -> pd.DataFrame:
    """Return the rules as a table: ``rule, holds_when, effect, raised_by``."""
    effects = [
        f"at most {rule.to}" if rule.effect == "cap" else "one step down" + _together(rule) for rule in RULES
    ]
    return pd.DataFrame(
        {
            "rule": [rule.name for rule in RULES],
            "holds_when": [rule.test for rule in RULES],
            "effect": effects,
            "raised_by": [rule.raise_it for rule in RULES],
        }
    )


def _together(rule: Rule) -> str:
    others = [other.name for other in RULES if rule.group and other.group == rule.group and other is not rule]
    return f" (once with: {', '.join(others)})" if others else ""
