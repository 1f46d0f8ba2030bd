"""Every sentence of the four pages, as templates: what stands in the places is made beside the numbers.

A sentence has at most 25 words (a name or a number with its limits counts as one) and one parenthesis.
"""

from __future__ import annotations

from typing import Final

# The answer.
LEAD: Final = "{method} {verb} {size} more seedlings alive {per} than {usual} at {when} (95 % CI {span})."
LEAD_WORSE: Final = "{method} had {size} fewer seedlings alive {per} than {usual} at {when} (95 % CI {span})."
ALSO_BETTER: Final = "{method} also had more: {size} (95 % CI {span}; {strength} evidence)."
WORSE: Final = "{method} had {size} fewer than {usual} (95 % CI {span}; {strength} evidence)."
NONE_BETTER: Final = (
    "There is not enough evidence that more seedlings were alive under any preparation than under {usual}."
)
LARGEST: Final = "The largest difference seen was that of {method}, {size} per 100 (95 % CI {span})."
OPEN: Final = "For {names} there is not enough evidence either way."
TOO_SMALL: Final = "For {names} any difference is smaller than the {smallest} per 100 that matter."
NOT_COMPARED: Final = "{names} cannot be compared with {usual}: {reason}."
NO_ANSWER: Final = "These records cannot say."
BETWEEN: Final = "{names} shared no site with {usual}, so sites are compared as much as preparations."
ALL_ALIKE: Final = "{estimate} of 100 seedlings were alive at {when} (95 % CI {span})."

STRENGTH: Final = "{strength}, for {reach}."
STRENGTH_BARE: Final = "{strength}."
PICKED: Final = "Allowing for the choice among {pairs} comparisons: 95 % CI {span}."
STRENGTH_RULES: Final = "Annex: the rules"
NO_CHECK: Final = "No check held it back."
LOWERED: Final = "It is not higher: {reason}."
LOWERED_TOO: Final = "Also, {reason}."
CHOSEN: Final = (
    "Preparations were not allocated at random: ground, weather or crew that went with them may explain part "
    "or all of a difference."
)
DECIDED: Final = "Decided before: “{decided}”."
INTERESTED: Final = "Interests declared: {interests}."
FOUND_ONLY: Final = (
    "Tags went in after planting, so survival is of seedlings found at the first visit; survival of those "
    "planted is lower."
)
AGAINST_MOST: Final = "The study file names no usual practice; {usual}, with most plots, stands for it."

# The target and the whole planting.
TARGET_SEEN: Final = "{estimate} of 100 were alive at {when} (95 % CI {span})."
TARGET_DEAD: Final = "With missing plants counted as dead, {estimate} of 100 were alive (95 % CI {span})."
TARGET_LEFT_OUT: Final = "With their fate taken as unknown, {estimate} were (95 % CI {span})."
TOTAL: Final = "An estimated {estimate} of its {put_in} plants were alive at {when} (95 % CI {span})."
ASSUMED: Final = "It holds if the rest did as the monitored plots did."
STEMS: Final = "Stocking was an estimated {estimate} living stems a hectare (95 % CI {span})."
TARGET_VERDICT: Final = "{first} or {second} ({verdict})"
STEMS_WANTED: Final = "The target is {wanted}: {verdict}."
STEMS_LATER: Final = "The target is {wanted} at {milestone}, which is not reached yet."
STEMS_VERDICT: Final = {
    "met": "that was reached",
    "missed": "that was not reached",
    "unclear": "whether that was reached is unclear",
    "depends on missing plants": "{first} or {second}, which depends on the missing plants",
}

#: By whether a target, and the plants of the whole planting, are lacking.
NOT_GIVEN: Final = {
    (True, True): "The study file gives neither a target nor how many plants the whole planting has.",
    (True, False): "The study file gives no target.",
    (False, True): "The study file does not say how many plants the whole planting has.",
}

# What was done.
RANDOM: Final = (
    "This was a randomised block trial: chance decided, within blocks, which plot got which preparation."
)
BY_CHOICE: Final = "This was no trial: preparations were chosen for each place, not allocated at random."
NOT_RECORDED: Final = (
    "It is not recorded how preparations were allocated, so they are taken as chosen for each place."
)
REASON: Final = "The reason given for the choice: “{reason}”."
SIZE: Final = "It compares {preparations} in {plots} at {sites}."
ONE_SIZE: Final = "It follows one preparation in {plots} at {sites}."
PLACED: Final = {
    "random": "Plots were placed at random.",
    "by choice": "Plots were placed by choice and may not stand for the ground between them.",
    "not recorded": "How plots were placed is not recorded.",
}

# What it does not say, and what to do next.
ELSEWHERE: Final = "What would happen at other sites or in another season."
CAUSE: Final = "That a preparation made the difference: the ground or the care that went with it may have."
WORKS: Final = "Which part of a preparation counts: its works were not tried apart."
NOT_EQUAL: Final = "That a preparation without enough evidence did as well as {usual}."
RAIN_BARE: Final = "How rain changed survival."
RADIUS_NOT: Final = "How wide a weed-free patch should be. {reason}"
NEXT_BEST: Final = "At these sites the evidence supports {method}. Elsewhere, try it beside {usual} first."
NEXT_BEST_OF: Final = "On survival the evidence here supports {method}."
NEXT_VALUE: Final = "On cost the best value is {value}."
NEXT_VALUE_TO: Final = (
    "On cost the best value is {value}, or {then} where a living plant is worth over {worth}."
)
NEXT_ELSEWHERE: Final = "Elsewhere, try either beside {usual} first."
NEXT_BEST_CHOSEN: Final = (
    "Before changing practice, try {method} beside {usual} at the same sites, allocated at random."
)
NEXT_BEST_WEAK: Final = "Before changing practice, compare {method} with {usual} again, in more blocks."
NEXT_OPEN: Final = "Go on comparing those for which there is not enough evidence."
NEXT_STRONGER: Final = "What would strengthen the answer: {what}."
NEXT_STRONGER_TOO: Final = "Also: {what}."
TRIAL: Final = "randomised block trial"
NO_TRIAL: Final = "preparations chosen, not allocated at random"
NEXT_INFILL: Final = (
    "Infill to reach {goal} from those alive at {when}: {plants} plants (95 % CI {span}; officer's sheet)."
)
NEXT_CAUTION: Final = (
    "First read the cautions in the annex: labels, permits and local codes come before advice."
)

# Which part of the preparations paid.
PARTS: Final = "Which part paid"
PARTS_SEE: Final = "Annex: each work"
PARTS_PAID: Final = "{work} {verb} {more} alive {per} at {when}, {held} (95 % CI {span}){small}."
PARTS_PAID_TOO: Final = "{work} {verb} {more} (95 % CI {span}){small}."
PARTS_PAID_BESIDE: Final = "{work} {verb} {more}, {held} (95 % CI {span}){small}."
PARTS_HELD: Final = "the other works held equal"
PARTS_BESIDE: Final = "beside {over}"
PARTS_FOLLOWED: Final = "{work} on about day {day} {verb} {more} alive {per} by day {at} (95 % CI {span}), judged from its day on{small}."
PARTS_FOLLOWED_TOO: Final = (
    "{work} on about day {day} {verb} {more} by day {at} (95 % CI {span}), judged from its day on{small}."
)
PARTS_TIMED: Final = "{what} {verb} {more} alive {per} at {when} (95 % CI {span}){small}."
PARTS_LESS: Final = ", less than the {smallest} that matter"
PARTS_SMALL: Final = "For {works} any difference is smaller than the {smallest} per 100 that matter."
PARTS_OPEN: Final = "For {works} there is not enough evidence either way."
PARTS_TIME_OPEN: Final = "Nor is it clear whether it matters {questions}."
PARTS_TIME_ONLY_OPEN: Final = "It is not clear whether it matters {questions}."
PARTS_TIMES: Final = {
    "lead_months": "how early weed control begins",
    "passes": "how often it is done",
    "rip_soil": "whether ripping is dry or wet",
}
PARTS_PAIR: Final = "{first} with {second} beyond their sum"
PARTS_FIGURE: Final = "Alive {per}: plots with the work, less plots without it"
PARTS_MOST: Final = "Largest estimate: {work}."
PARTS_CAPTION: Final = "Dot: estimate, the other works held equal. Line: 95 % CI. Shaded: less than matters."
PARTS_DAY: Final = "from about day {day}, by day {at}"
PARTS_CHEAPEST: Final = "By the model of works, the cheapest set that may be within {smallest} per 100 of the best was {cheapest}."
PARTS_ALIASED: Final = "Not answerable: {reason}."
PARTS_NOT: Final = "Not answerable of {what}: {reason}."
PARTS_TIME_NOT: Final = "These records cannot say whether it matters {questions}."
PARTS_VERBS: Final = {True: "kept", False: "went with"}

# Survival over time, each preparation, radius.
DEATHS: Final = "Most deaths: {period}, {worst} of the {deaths} found by the last visit."
STEPS: Final = (
    "A curve steps down on the day of a visit; the plants died at some time since the visit before."
)
EACH_OBSERVED: Final = "Observed: unknown fates count as not alive."
EACH: Final = "Standardised: with the same {same} under every preparation."
EACH_CHOSEN: Final = "Standardised: averaged over the same {same}, by the model."
SITES: Final = "sites"
SITES_SPECIES: Final = "sites and species"
EACH_PAIR: Final = "Difference: over sites that hold both."
EACH_TURNED: Final = "{first} was above {second} as observed: they stood at different sites."
OF_MANY: Final = "Evidence allows for the number of comparisons; an interval is of one difference alone."
FILLED: Final = "Filled in: of 100 plants averaged over, those at sites without that preparation; above 50, read with care."
APART: Final = "{names} cannot be standardised: their sites hold no other preparation."
RADIUS_WIDER: Final = "On average, wider patches went with more survivors: {gain} more {per} for each 10 cm, from {first} to {last} (95 % CI {span})."
RADIUS_NARROWER: Final = "On average, wider patches went with fewer survivors: {gain} fewer {per} for each 10 cm, from {first} to {last} (95 % CI {span})."
RADIUS_WIDER_FEW: Final = "Wider patches went with more survivors: {gain} more {per} for each 10 cm, from {first} to {last}; too few plots for an interval."
RADIUS_NARROWER_FEW: Final = "Wider patches went with fewer survivors: {gain} fewer {per} for each 10 cm, from {first} to {last}; too few plots for an interval."
RADIUS_CURVE: Final = "That is a straight line; the curve below fits about as well."
RADIUS_DRAWN: Final = (
    "By the curve: {low} alive {per} at {first}, {high} at {top} (the highest), {end} at {last}."
)
RADIUS_DRAWN_ENDS: Final = "By the curve: {low} alive {per} at {first}, {end} at {last}."
RADIUS_REVERSED: Final = (
    "That is the reverse of what weed control does: look at what else went with the wide patches."
)
RADIUS_OPEN: Final = (
    "There is not enough evidence to say that survival changes with the radius of the weed-free patch."
)
RADIUS_LINE: Final = "Each further 10 cm went with {gain} per 100 along a straight line (95 % CI {span})."
RADIUS_STOPS: Final = (
    "From {radius} on, a further 10 cm went with less than {gain} more per 100 (95 % CI {span})."
)
RADIUS_NO_STOP: Final = "These records do not show how wide is wide enough."
RADIUS_CHOSEN: Final = "Patch widths were not allocated at random: {strength} evidence."
RADIUS_CHOSEN_BARE: Final = "Patch widths were not allocated at random."
RADIUS_NONE: Final = "These records cannot say how wide it should be. {reason}"

# The season.
DRY_SEASON: Final = "The dry season of {years} brought"
DRY_BESIDE: Final = "That season brought"
AT_LEAST: Final = "at least "
DRY_RAIN: Final = {
    False: "{season} {least}{rain} of rain at {gauge}, {words} for that gauge.",
    True: "{season} {least}{rain} of rain at {gauge}: {words}, if no more fell.",
}
DRY_RAIN_MEDIAN: Final = "{season} {least}{rain} of rain at {gauge}, against a median of {median}."
DRY_RAIN_BARE: Final = "{season} {least}{rain} of rain at {gauge}."
DRY_RAIN_GAP: Final = (
    "The dry season of {years} has no total at {gauge}: only {read} of its {of} days were read."
)
DRY_RAIN_FILL: Final = "Without a reading: {when}. Written into {file}, from the gauge's book or the nearest station, they give one."
SHORT_OF_WATER: Final = (
    "At {gauge}, plants were short of water on {days} of {of} dry-season days (modelled, not measured)."
)
NOT_MODELLED: Final = "For {gauges} that is not modelled."
ONE_SAMPLE: Final = "One dry season is one sample: these records cannot say what survival would be in a wetter or a drier one."
FEW_SAMPLES: Final = "Few dry seasons are few samples: these records cannot say what survival would be in a wetter or a drier one."
NO_RAIN: Final = "No rain record goes with these plants, so the season cannot be placed."

# Cost.
COST_LOWEST: Final = "A living plant cost least under {method}: an estimated {cost} (range {span})."
COST_LOWEST_OF: Final = "Of the {costed} that can be costed, a living plant cost least under {method}: an estimated {cost} (range {span})."
COST_NOT_CLEAR: Final = "The chance that it is the cheapest is {chance}."
COST_CLEAR: Final = "It is clearly the cheapest."
COST_EXTRA: Final = "Each extra living plant under {method} cost an estimated {cost} (range {span})."
COST_EXTRA_SEEN: Final = (
    "Where {method} stood, each further living plant went with an extra cost of {cost} (range {span})."
)
COST_BELOW: Final = "Below zero: it cost less."
COST_OTHER: Final = "With missing plants counted as {rule} the cheapest is {method}: {cost} (range {span})."
WORTH_FLOOR: Final = "If a living plant is worth less than {lowest} to you, no preparation repays its cost."
WORTH_FLOOR_OF: Final = (
    "If a living plant is worth less than {lowest} to you, none of those costed here repays its cost."
)
WORTH_ABOVE: Final = "Above that, {method} is the best value on the central estimates."
WORTH_ABOVE_TO: Final = "Above that, {method} is the best value up to {worth}, then {then}."
COST_NONE: Final = "The study file gives no costs."

# Who and how many.
NOT_SEEN: Final = "{number} plants were never seen at a visit and are in no estimate."
MISSING_DEAD: Final = "Missing: gone from their place, counted as dead."
MISSING_UNKNOWN: Final = "Missing: gone from their place, counted as unknown."
RECORDS: Final = "Of {read}, {used} were used (the others: workbook, accounts)."
PROBLEMS: Final = "{number} in the records need a look (officer's sheet)."

# The picture of the first page.
PICTURE: Final = "Highest: {method}, {estimate} alive {per} (95 % CI {span}), standardised."
PICTURE_OF_SOME: Final = "Highest of those standardised: {method}, {estimate} alive {per} (95 % CI {span})."
PICTURE_OBSERVED: Final = "Highest: {method}, {estimate} alive {per} (95 % CI {span}), of plants followed."
PICTURE_OBSERVED_BARE: Final = (
    "Highest: {method}, {estimate} alive {per}, of plants followed; no interval can be given."
)
PICTURE_CAPTION_BARE: Final = (
    "Dot: of plants followed, nothing standardised, so sites are compared as much as preparations."
)
PICTURE_CAPTION_OBSERVED: Final = "Dot: of plants followed, nothing standardised, so sites are compared as much as preparations. Line: 95 % CI."
PICTURE_CAPTION: Final = "Dot: standardised for {over}. Line: 95 % CI. Cross: observed."

# Headings, captions and columns.
DONE: Final = "What was done"
METHODS: Final = "Annex: planting"
LIMITS: Final = "What this does not say"
NEXT: Final = "What to do next"
OVER_TIME: Final = "Survival over time"
CURVES_TITLE: Final = "Alive per 100 after planting, of plants followed"
CURVES_CAPTION: Final = "Line: each plant followed to its last sighting. Band: 95 % CI. Broken upright: the milestone. Blocks: visits."
EACH_HEADING: Final = "Each preparation"
EACH_CAPTION_ALONE: Final = "Alive {per} at the milestone"
EACH_CAPTION: Final = "Alive {per} at the milestone, and the difference from the usual practice"
NOTHING_OBSERVED: Final = "No preparation was observed at the milestone"
PREPARATION: Final = "Preparation"
OBSERVED: Final = "Observed"
STANDARDISED: Final = "Standardised (95 % CI)"
FILLED_IN: Final = "Filled in, of 100"
DIFFERENCE: Final = "Difference (95 % CI)"
EVIDENCE: Final = "Evidence"
NOT_ENOUGH: Final = "not enough"
USUAL_PRACTICE: Final = "usual practice"
NOT_COMPARED_HERE: Final = "not compared"
RADIUS_HEADING: Final = "How wide a weed-free patch"
RADIUS_MORE: Final = "Annex: radius"
RADIUS_CAPTION: Final = "Line: alive per 100 planted; band: 95 % CI. Strokes on the axis: the plots."
NO_RADII: Final = "no radius is recorded"
SEASON: Final = "The season"
COST: Final = "Cost of a living plant"
WHO: Final = "Who and how many"
ABOUT: Final = "About this report"
SEASON_MORE: Final = "Annex: the season"
STRIP_TITLE: Final = {
    "water": "The first year of a typical plot, day by day, by gauge and soil",
    "rain": "The year from {day}, day by day, by gauge",
}
COST_MORE: Final = "Annex: costs"
COST_PLANTED: Final = "Per plant planted"
COST_LIVING: Final = "Per living plant"
COST_LIVING_OTHER: Final = "If missing are {rule}"
EXTRA_COST: Final = "Extra cost, per 100"
EXTRA_EACH: Final = "Per extra living plant"
NOT_CLEAR: Final = "not clear"
FEWER: Final = "fewer alive"
NOT_COSTED: Final = "not costed"
NO_COST: Final = "no cost per plant is given"
NOT_COSTED_WHY: Final = " Not costed: {reason}."
COST_CAPTION: Final = "Costs at the milestone"
COST_NOTE: Final = (
    "Extra: against {usual}, per 100 planted. Not clear: not enough evidence that more were alive.{absent}"
)
RECORDS_MORE: Final = "Annex: records"
PLANTED_IN: Final = "Planted"
ANALYSED: Final = "Analysed"
ALIVE: Final = "Alive"
DEAD: Final = "Found dead"
MISSING: Final = "Missing"
UNKNOWN: Final = "Fate unknown"
FLOW_CAPTION: Final = "Seedlings from planted to analysed, and their fate at the milestone"
UNKNOWN_WHAT: Final = (
    "Fate unknown: last seen alive before the milestone, then not found, not visited or dead."
)
DONE_BY: Final = "Done by"
FUNDED_BY: Final = "Funded by"
CONTACT: Final = "Ask"
INTERESTS: Final = "Interests"
LAST_VISIT: Final = "Last visit"
CLOSED: Final = "Records closed"
WRITTEN: Final = "Report of"
NOT_REPORTED: Final = "not reported"
