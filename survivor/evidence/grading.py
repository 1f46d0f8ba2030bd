"""Strength of evidence: strong, moderate, weak or not answered, by a rule that is data.

The rules are rows. A ``cap`` holds the grade at or under a level; a ``step``
takes it one level down, after the caps and never under ``weak``. Rules of one
``group`` take one step between them. Where there is not enough evidence to say, that is
the answer, and it has no grade.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final, Literal

import pandas as pd

from survivor.effects.confounding import BETWEEN
from survivor.effects.contrasts import LEAST_PLOTS
from survivor.evidence.finding import Grade
from survivor.vocabulary import BY_CHOICE, RANDOM

Settled = Literal["yes", "partly", "no"]

# In order; None: there is not enough evidence to say.
GRADES: Final[tuple[Grade | None, ...]] = ("not answered", None, "weak", "moderate", "strong")
_WEAK: Final = GRADES.index("weak")
LEAST_DF: Final = 4.0
MOST_RECORDS: Final = 0.02  # share of records excluded above which a grade steps down
MOST_PLOTS: Final = 0.05  # share of plots of which no record is used
_WORK_BY_LOT: Final = "allocating the work, and its date, to plots at random"
_BY_LOT: Final = "allocating preparations to the plots of a block at random"


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
        the question against the smallest difference that matters; ``no``: there is not enough
        evidence to say.
    bounds_change_sign
        Whether 'all unknown dead' and 'all unknown alive' give opposite answers.
    penalised
        Whether the answer rests on a penalised model.
    part
        Of an answer on a work, or on when it was done: how it was chosen which plots got it; else empty.
    radius
        Whether the answer is of the weed-free radius, which is not what was allocated.
    one_cost
        Whether one preparation only has a cost, of several in the records.
    models_disagree, sites_inconsistent, one_site_carries
        Whether the answer depends on the model, goes opposite ways at sites, or
        is another without one of the sites.
    randomisation_disagrees
        Whether a difference reads as clear and yet the randomisation p,
        adjusted, is not under 0.05 though it could have been.
    missing_rule
        Whether the answer is another under the other rule for missing plants.
    depends_on_missing
        Whether the verdict on a target is another under the other rule for missing plants.
    misfit
        Where the share observed alive lies outside the model's limits: preparation, day and numbers;
        empty where it does not.
    not_proportional
        Whether ratios of hazards differ between periods, and no model that has them could
        be fitted.
    between_visits
        Whether the answer turns on how deaths are spread over the days between two visits.
    set_aside
        Whether many records, or plots, are excluded until they are mended.
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
    part: str = ""
    radius: bool = False
    one_cost: bool = False
    models_disagree: bool = False
    sites_inconsistent: bool = False
    one_site_carries: bool = False
    randomisation_disagrees: bool = False
    missing_rule: bool = False
    depends_on_missing: bool = False
    misfit: str = ""
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
        The level of a cap, None where the answer then has no grade; None for a step.
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


def _cap(
    name: str, test: str, to: Grade | None, raise_it: str, holds: Callable[[Circumstances], bool]
) -> Rule:
    """Where it holds the grade is at most this."""
    return Rule(name, test, "cap", to, raise_it, holds)


def _step(
    name: str, test: str, raise_it: str, holds: Callable[[Circumstances], bool], group: str = ""
) -> Rule:
    """Where it holds the grade is one step lower; rules of one group count once."""
    return Rule(name, test, "step", None, raise_it, holds, group)


RULES: Final[tuple[Rule, ...]] = (
    _cap(
        "no estimate",
        "the records give no estimate with limits",
        "not answered",
        "",  # what would is told with the reason
        lambda c: not c.answered,
    ),
    _cap(
        "few plots",
        f"an arm has fewer than {LEAST_PLOTS} plots",
        "not answered",
        f"at least {LEAST_PLOTS} plots of each preparation compared",
        lambda c: c.fewest_plots < LEAST_PLOTS,
    ),
    _cap(
        "between sites",
        "it rests on differences between sites only",
        "weak",
        "both preparations side by side at the same sites",
        lambda c: c.basis == BETWEEN,
    ),
    _cap(
        "few degrees of freedom",
        f"the limits rest on too few plots or sites (fewer than {LEAST_DF:g} degrees of freedom)",
        "weak",
        "more plots, spread over more sites",
        lambda c: not c.df >= LEAST_DF,
    ),
    _cap(
        "unknown plants",
        "the answer changes sign with what became of plants not found",
        "weak",
        "finding the plants that were not found, or tags that last",
        lambda c: c.bounds_change_sign,
    ),
    _cap(
        "penalised",
        "nobody, or everybody, died in a part that the answer rests on, so a penalised model was used",
        "weak",
        "more plants, or a later visit",
        lambda c: c.penalised,
    ),
    _cap(
        "not enough evidence",
        "the limits leave the question open",
        None,
        "more plots, so that the limits are narrower",
        lambda c: c.settled == "no",
    ),
    _cap(
        "depends on missing plants",
        "whether the target was met turns on the rule for missing plants",
        None,
        "looking for the plants that were missing, or tags that last",
        lambda c: c.depends_on_missing,
    ),
    _cap(
        BY_CHOICE,
        "preparations were chosen for each place, not allocated at random",
        "moderate",
        _BY_LOT,
        lambda c: c.compares and not c.radius and c.allocation == BY_CHOICE,
    ),
    _cap(
        "allocation not recorded",
        "it is not recorded how plots were given their preparation",
        "moderate",
        f"a record of how plots were given their preparation, and {_BY_LOT}",
        lambda c: c.compares and not c.radius and c.allocation not in (RANDOM, BY_CHOICE),
    ),
    _cap(
        "work by choice",
        "which plots got the work, or when, was chosen and not allocated at random",
        "moderate",
        _WORK_BY_LOT,
        lambda c: c.part == BY_CHOICE,
    ),
    _cap(
        "allocation of work not recorded",
        "it is not recorded how plots were given the work, or its time",
        "moderate",
        f"a record of how plots were given the work and its time, and {_WORK_BY_LOT}",
        lambda c: c.part not in ("", RANDOM, BY_CHOICE),
    ),
    _cap(
        "radius not drawn",
        "the weed-free radius of a plot was not allocated at random, even where its preparation was",
        "moderate",
        "allocating patch widths at random among the plots of one preparation at a site",
        lambda c: c.radius,
    ),
    _cap(
        "one cost",
        "one preparation only has a cost, so it is set beside no other",
        "moderate",
        "the cost of the other preparations",
        lambda c: c.one_cost,
    ),
    _cap(
        "not precise",
        "the limits, or the number of comparisons made, leave the question partly open",
        "moderate",
        "more plots, so that the limits are narrower",
        lambda c: c.settled == "partly",
    ),
    _cap(
        "other layouts",
        "re-randomised allocations give as large a difference too often (adjusted p of 0.05 or more)",
        "moderate",
        "more blocks to allocate within",
        lambda c: c.randomisation_disagrees,
    ),
    _step(
        "missing plants",
        "the answer changes with the rule for missing plants",
        "looking for the plants that were missing, or tags that last",
        lambda c: c.missing_rule,
    ),
    _step(
        "records to correct",
        f"more than {100 * MOST_RECORDS:.0f} of 100 records, or {100 * MOST_PLOTS:.0f} of 100 plots, are "
        "excluded until they are corrected",
        "correcting the records that survivor check names",
        lambda c: c.set_aside,
    ),
    _step(
        "plots by choice",
        "plots were placed by choice",
        "placing plots at random within sites",
        lambda c: c.plots_placed == BY_CHOICE,
    ),
    _step(
        "models disagree",
        "the models disagree",
        "more visits, so that the models rest less on assumptions",
        lambda c: c.models_disagree,
        group="consistency",
    ),
    _step(
        "sites inconsistent",
        "sites do not agree in the difference",
        "more sites that hold both preparations",
        lambda c: c.sites_inconsistent,
        group="consistency",
    ),
    _step(
        "one site",
        "the difference is no longer clear without one of the sites",
        "more sites that hold both preparations",
        lambda c: c.one_site_carries,
        group="consistency",
    ),
    _step(
        "misfit",
        "a share observed alive lies outside the model's limits",
        "a visit nearer to the milestone, or more plots of each preparation at each site",
        lambda c: bool(c.misfit),
        group="fit",
    ),
    _step(
        "not proportional",
        "preparations differ by another ratio in each period, and no model with such ratios could be fitted",
        "more plots, or more visits",
        lambda c: c.not_proportional,
        group="fit",
    ),
    _step(
        "between visits",
        "the answer turns on how deaths are spread over the days between two visits",
        "a visit on the day of the milestone",
        lambda c: c.between_visits,
        group="fit",
    ),
)


def grade(circumstances: Circumstances) -> tuple[Grade | None, tuple[str, ...], tuple[str, ...]]:
    """Grade an answer.

    Returns
    -------
    grade, reasons, raise_it
        The grade, None where there is not enough evidence to say; why it is no higher; what would
        raise it (each once).
    """
    holding = [rule for rule in RULES if rule.holds(circumstances)]
    if not circumstances.answered:
        holding = holding[:1]  # what else might hold back an estimate is beside the point
    caps = [GRADES.index(rule.to) for rule in holding if rule.effect == "cap"]
    level = min([len(GRADES) - 1, *caps])
    steps = {rule.group or rule.name for rule in holding if rule.effect == "step"}
    if level > _WEAK:
        level = max(_WEAK, level - len(steps))
    detail = {"misfit": circumstances.misfit}
    reasons = tuple(": ".join(filter(None, (rule.test, detail.get(rule.name)))) for rule in holding)
    raise_it = tuple(dict.fromkeys(rule.raise_it for rule in holding if rule.raise_it))
    return GRADES[level], reasons, raise_it


def rules_table() -> pd.DataFrame:
    """Return the rules as a table: ``rule, holds_when, effect, raised_by``."""
    effects = [
        f"one step down{_together(rule)}"
        if rule.effect == "step"
        else f"at most {rule.to}"
        if rule.to
        else "not enough evidence to say: no grade"
        for rule in RULES
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
