"""Every sentence of the annex on works, as templates: what stands in the places is made beside the numbers."""

from __future__ import annotations

from typing import Final

HEADING: Final = "Which part of the preparations paid"
WHEN: Final = "When"
LATER: Final = "Works after planting"
SETS: Final = "The cheapest set of works"
NOT: Final = "What was not answerable"
DEPARTURES: Final = "Departures from the plan"

# What each work adds.
FROM_DIARY: Final = "What was done is from the works diary, plot by plot."
FROM_PLAN: Final = "What was done is from the works listed for each preparation, plot by plot."
ASKED: Final = (
    "A model of works in place of preparations estimates what each adds {per}, the others held equal."
)
FAMILY: Final = "All these questions are one family: p is adjusted for their number by Holm."
EACH: Final = "What each work adds"
QUESTION: Final = "Question"
ADJUSTED: Final = "p, adjusted"
ALLOCATION: Final = "Which plots got it, or when"
STRENGTH: Final = "Strength of evidence"
OVER: Final = "Beside"
EACH_NOTE: Final = (
    "With the work less without it, at {when}; of a work after planting on the day given below. Beside: the other "
    "works with which plots had it and had it not, side by side; it is averaged over these plots. Of a pair: what both "
    "add together beyond the sum of the two. Limits are by {unit}, not adjusted. All together: for every answer of the table at once (Bonferroni)."
)
BEYOND: Final = "(F {f} on {df1} and {df2} degrees of freedom, p {p})"
BEYOND_CLEAR: Final = (
    "Preparations differ beyond the sum of their works {test}: read each work as an average."
)
BEYOND_OPEN: Final = (
    "There is not enough evidence that preparations differ beyond the sum of their works {test}."
)

# When.
LIKE: Final = (
    "Only plots of the same works at one site are set against each other, so nothing is learned from works that "
    "usually begin early."
)
LEAD: Final = "Survival by months from the first weed control to planting"
LEAD_MONTHS: Final = "Months before planting"
LEAD_NOTE: Final = {
    "line": "By a straight line; nothing is estimated beyond the plots.",
    "curve": "By a curve; nothing is estimated beyond the plots.",
}

# Works after planting.
IMMORTAL: Final = (
    "A plot counts as treated from the day of the work on, never from planting. Plants had to live to that day "
    "to get it (immortal time)."
)
IMMORTAL_RATIO: Final = (
    "The ratio compares deaths after that day with those in plots of the same age without it."
)
LATER_WORK: Final = "Work"
LATER_DAY: Final = "Day, median"
LATER_RATIO: Final = "Ratio of deaths after its day"
LATER_BEFORE: Final = "The same before its day"
LATER_AT: Final = "More alive by day"
LATER_LEFT_OUT: Final = "Left out"
LATER_NOTE: Final = (
    "Before its day the ratio should be near 1: else the plots that were to get it differed to begin with. Left "
    "out: seedlings in intervals between visits that span the day, as nobody knows on which side of it they died."
)
LATER_CHOSEN: Final = (
    "{works}: which plots got it was not allocated at random, so they are held equal to the others as they were "
    "before."
)

# The cheapest set.
BEST: Final = "Of the preparations with a cost, “{best}” had most alive by the model of works."
CHEAPEST: Final = "The cheapest that may be within {smallest} per 100 of it is “{cheapest}”."
NO_WORSE: Final = "There is enough evidence to say that it is."
NO_PROOF: Final = "There is not enough evidence to say that it is: it may also be worse by more."
SETS_CAPTION: Final = "Sets of works by cost, against {best}"
PREPARATION: Final = "Preparation"
SET_WORKS: Final = "Works distinguished"
SET_COST: Final = "Cost a plant"
SET_COST_IN: Final = "Cost a plant, {currency}"
SET_ALIVE: Final = "Alive per 100 planted, by the model of works"
SET_LESS: Final = "Less than the best, 95 % CI"
SET_NOT_WORSE: Final = "May be within what matters"
SET_NO_WORSE: Final = "Is within what matters"
HOLDS: Final = {True: "yes", False: "no"}

# What was not answerable, and departures.
ALL_ANSWERED: Final = "Every question that was asked of works could be answered."
OPEN: Final = "{what}: {reason}"
AS_PLANNED: Final = "Every plot got what was planned for it."
DEPARTED: Final = "{works} of {planned} planned or done were not as planned."
PLOT: Final = "Plot"
DONE: Final = "What was done"
DAY: Final = "Day from planting"
