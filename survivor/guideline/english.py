"""Every sentence of a guideline, as templates: what stands in the places is made beside the numbers.

A sentence has at most 25 words (a name or a number with its limits counts as one) and one parenthesis.
"""

from __future__ import annotations

from typing import Final

# The answer.
NOTHING: Final = "On {ground} nothing is advised yet in place of {usual}."
ADVISED: Final = "Advised on {ground}: {method}, {size} {which} alive per 100 planted ({span})."
TRIAL: Final = "Worth a trial on {ground}: {method}, {size} {which} alive per 100 planted ({span})."
NOT_ADVISED: Final = "Not advised on {ground}: {method}, {size} {which} alive per 100 planted ({span})."
TRIAL_NEEDS: Final = "Before it can be advised it needs {what}."
NEW_SEASON: Final = "A new season like these may show {span}."
NEW_SEASON_ANYTHING: Final = "A new season like these may show anything: {why}."
FOR_COST: Final = (
    "That rests on cost: {extra} more a plant, and no gain above {bound} per 100 in its interval."
)
DEARER: Final = "That is for survival: an established plant is dearer ({cost} against {usual})."
OF_TWO: Final = "Of these two, {method} against {other}: {size} per 100 ({span})."
WHICH_OPEN: Final = "There is not enough evidence to say which of them keeps more alive."
HOW_TO_READ: Final = "“Not answered” means that there is not enough evidence to say; it never means that there is no difference."
DIFFERENCES: Final = "Differences are in plants alive per 100 planted at {when}, against {usual}."
REST_ON: Final = "They rest on {data}."
NO_INSTRUCTION: Final = (
    "No instruction for field work. Product labels, permits, local codes and licensed practice come first; no "
    "product and no rate is given here. Machines on slopes, and any digging near services or the roots of "
    "standing trees, need their own checks."
)
NOTHING_MOVED: Final = "No advice changed."

# Behind the advice.
DETAILS_NOTE: Final = (
    "Plants alive per 100 planted, + for more and − for fewer than the usual practice. Seasons are the units: the "
    "interval in these seasons is of their average, as survivor pool has it. Of one season it is its own. Plots "
    "are those of both preparations at sites that hold both."
)
SEEDLINGS: Final = "From {least} to {most} seedlings a comparison."
EVIDENCE_NOTE: Final = (
    "Evidence is about the difference itself, by adjusted p. Advice goes by the rule, which may ask for less."
)
#: What the rules of grade of a season's report look at, by the rule's name.
LOOKED_AT: Final = {
    "unknown plants": "missing and unknown plants",
    "missing plants": "missing and unknown plants",
    "work by choice": "allocation of single works",
    "allocation of work not recorded": "allocation of single works",
    "other layouts": "re-randomised allocations",
    "records to correct": "records to correct",
    "models disagree": "other models and their fit",
    "misfit": "other models and their fit",
    "not proportional": "other models and their fit",
    "sites inconsistent": "whether sites agree",
    "one site": "whether sites agree",
    "between visits": "days of death between visits",
}
NOT_CHECKED: Final = "Evidence is for these seasons. Only the report of each looks at {checks}."
NOT_CHECKED_TOO: Final = "The same goes for {checks}."

MORE: Final = "And {more} more, on the page."
NOTES_ON_PAGE: Final = "The page says how to read this table."
RULE_ON_PAGE: Final = "The page has the rule in full."
ALIKE: Final = "The same in all: {what}."
SOURCE: Final = "Source: {source}."
SOURCE_BUT: Final = "Source: {source}; otherwise for {others}."
CHECKS_ON_PAGE: Final = "Evidence is for these seasons; the page names the checks that were not made."
FIGURE_CAPTION: Final = (
    "Dot: average over these seasons. Line: its 95 % CI. Broken line: what a new season like these may show. Shaded: "
    "less than the {smallest} per 100 that matter."
)
FIGURE: Final = "Of {comparisons}: {counts}."
EVIDENCE: Final = "Evidence: {strength}."
HELD_BACK: Final = "What holds it back: {reason}."
STRENGTHEN: Final = "What would strengthen it: {what}."
ALSO: Final = "Also: {what}."
UNPLACED: Final = "Some plots lie on none of these kinds of ground and are left out: {sites}."
MONEY_NOTE: Final = "Prices are inputs of {season}{prices}. Ranges are from survival and prices."
NOT_CLEAR: Final = "not clear"
MONEY_NOT_CLEAR: Final = "Not clear: the interval of the difference reaches to none or fewer."
MONEY_ADVISED: Final = "“Advised” speaks of plants alive; this table says at what cost."
SEASONS_NOTE: Final = (
    "A season alone looks at many comparisons: some differ by chance. Limits of a new season allow for how seasons "
    "differ, which few seasons show poorly."
)
NO_RADIUS: Final = "No radius is advised."
NO_PRACTICE: Final = "None is entered."
PRACTICE: Final = (
    "This stands apart: it was said, not measured, and the rule of advice was not applied to it."
)

# When to start, what to try next, what changed, the rule.
CALENDAR_NOTE: Final = "Do not dig until both are done: {checks}. Both end a week before the earliest work here that breaks ground."
NO_LEAD_TIME: Final = "No lead time is entered for: {works}."
NO_NEXT: Final = "No comparison has an estimate to start from."
LITTLE_LEFT: Final = "Little is left to learn that would change a choice."
STILL_ASKED: Final = "What is worth a trial still needs more evidence before it can be advised."
NEXT_HEADING: Final = "Where another season would be most informative"
NEXT: Final = "Another season of {method} on {ground}, now “{answer}”, would be most informative."
NEXT_WORTH: Final = "Choosing after it would keep {worth} more plants alive per 100 planted on average."
NEXT_WORTH_A_YEAR: Final = (
    "Choosing after it would keep {worth} more plants alive per 100 planted on average, or {plants} of the "
    "{planted} planted there a year."
)
NEXT_NOT_TRIAL: Final = (
    "“Worth a trial” goes by the size seen so far; this, by how likely a season is to change a choice."
)
NEXT_COST: Final = "Survival alone is weighed: an established plant costs {cost} under it and {usual} under the usual practice."
NEXT_PLAN: Final = "The file plan.toml starts its plan."
NEXT_NOTE: Final = (
    "Expected gain from choosing after another season at as many sites as before rather than now. One comparison "
    "at a time, against the smallest difference that matters."
)
NEXT_LEFT: Final = "Left out: {comparisons} worth under 0.01 per 100."
RULE_NOTE: Final = (
    "p is adjusted for the number of preparations on one kind of ground (Holm). Seasons are looked at again with "
    "every version, which no p allows for: one more reason to prefer “not answered”."
)
RULE_POWER: Final = (
    "The usual rule was tried by simulation, on seasons that differ by 8 per 100 and have four sites each. With "
    "{seasons} seasons a true gain of 20 per 100 is advised in {large} of 100 versions. One of 10 per 100 is advised "
    "in {small}. Something useless is advised in at most 2 of 100, however seasons differ."
)
RULE_ELSE: Final = "where no row above applies, or the evidence does not answer it"
TOUCHED: Final = "The preparations named here touch: {subjects}."
FIRST_VERSION: Final = "First version; rests on {seasons}."
ADDED: Final = "Season added: {seasons}."
GONE: Final = "Season left out: {seasons}."
RULE_CHANGED: Final = "The rule that turns findings into advice was changed."
PRACTICE_IN: Final = "Local practice entered: {line}."
PRACTICE_OUT: Final = "Local practice taken out: {line}."
NEW: Final = "{named}: new, {answer}{rests}."
NO_LONGER: Final = "{named}: no longer in the guideline."
MOVED: Final = "{named}: from {was} to {now}{rests}."
ASKS: Final = "“{answer}” asks for {what}."
NOW: Final = "The difference is now {size}."
BEFORE: Final = "It was {size}."
HELD: Final = "{held}."
STOOD: Final = "{named}: still {answer}."
STOOD_ALONE: Final = "{season} alone showed {size}, by plot, one of several comparisons."
STOOD_ALL: Final = "All together: {size}{rests}."
NOT_RECORDED: Final = (
    "No record of version {number} as issued is kept: it is made again from the seasons that this file names."
)
