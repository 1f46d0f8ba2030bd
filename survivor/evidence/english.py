"""Every sentence of the answers, as templates: what stands in the places is made beside the numbers.

A sentence has at most 25 words (a name or a number with its limits counts as one) and one parenthesis.
"""

from __future__ import annotations

from typing import Final

# One preparation against another.
CLEAR: Final = "At these sites {method} {verb} {size} alive {per} than {against} at {when} ({span})."
BUT_SMALL: Final = "That is less than the {smallest} per 100 that matter."
NONE_THAT_MATTERS: Final = (
    "At these sites {method} and {against} did not differ by the {smallest} per 100 that matter."
)
NOT_ENOUGH: Final = "There is not enough evidence to tell {method} from {against} at these sites."
NOT_ENOUGH_OF_MANY: Final = (
    "Allowing for the number of comparisons, there is not enough evidence to tell {method} from {against} at "
    "these sites."
)
SEEN: Final = "{method} had {size} alive {per} at {when} ({span})."
BETWEEN: Final = "No site had both, so this compares sites as much as preparations."
REFUSED: Final = "{method} cannot be compared with {against} from these records: {reason}."
NO_MORE: Final = "no more and no fewer"
NO_LIMITS: Final = "no interval can be given"
ASKED_OF_PAIR: Final = "Were more plants alive with {method} than with {against}?"
ASKED_OF_ALL: Final = "Under which preparations were more plants alive than under {against}?"

# The headline.
NONE_BETTER: Final = (
    "There is not enough evidence that more plants were alive under any preparation than under {against}."
)
LARGEST: Final = "The largest difference seen is that of {method}: {size} per 100 ({span})."
BETTER: Final = "{method} also had clearly more alive than {against}: {size} per 100 ({span})."
BETTER_WEAK: Final = "{method} also had more alive than {against}, on weak evidence: {size} per 100 ({span})."
WORSE: Final = "{method} had clearly fewer alive than {against}: {size} per 100 ({span})."
WORSE_WEAK: Final = "{method} had fewer alive than {against}, on weak evidence: {size} per 100 ({span})."
OF_THAT: Final = "The strength of that evidence is {strength}."
ALIKE: Final = "{names} differed from {against} by less than matters."
OPEN: Final = "There is not enough evidence to tell {names} from {against}."
OPEN_OF_MANY: Final = (
    "Allowing for the number of comparisons, there is not enough evidence to tell {names} from {against}."
)
LEFT: Final = "{names} could not be compared: {reason}."
NOTHING_COMPARED: Final = "No preparation could be compared with {against}."
BETWEEN_VISITS: Final = "Survival on day {day} is estimated {how}."
OTHER_RULE: Final = "{rule} the answer for {names} changes: {reading}."

# Which is the best.
BEST: Final = "Yes: at these sites {leader} had clearly more alive than each other preparation, allowing for all {pairs} pairs."
BEST_WEAK: Final = "At these sites {leader} had more alive than each other preparation, allowing for all {pairs} pairs; the evidence is weak."
NEAREST: Final = "The nearest is {rival}: {size} per 100 ({span})."
BEST_ALIKE: Final = "No: {leader} is ahead of {others} in these records, and by less than matters over some."
BEST_OPEN: Final = "There is not enough evidence to say: {leader} is ahead of {others} in these records, but not clearly of each."
LEAD_OPEN: Final = (
    "Its lead over {rival} is not clear: {size} per 100 ({span}; p {p} allowing for all {pairs} pairs)."
)
LEAD_BETWEEN: Final = "Where no site holds both, sites are compared as much as preparations: {names}."
BEHIND: Final = "Clearly behind it: {names}."
BEHIND_WEAK: Final = "Behind it, on weak evidence: {names}."
NOT_TOLD: Final = "It cannot be compared with {names}."
ALL_OTHERS: Final = "all others"
MOST_OTHERS: Final = "most others"

# Survival of the whole planting.
ALIVE: Final = "At these sites {estimate} of 100 {seedlings} under {name} were alive at {when}{how} ({span})."
EVERY: Final = "all preparations"
TARGET: Final = {
    "met": "At these sites the target of {target} alive {per}{when} was met.",
    "missed": "At these sites the target of {target} alive {per}{when} was missed.",
    "unclear": "At these sites it is unclear whether the target of {target} alive {per}{when} was met.",
    "depends on missing plants": (
        "Whether the target of {target} alive {per}{when} was met at these sites depends on the missing plants."
    ),
}
TARGET_RULE: Final = "As they are counted here it was {verdict}: {estimate} were alive{how} ({span})."
TARGET_RULE_UNCLEAR: Final = "As they are counted here it is unclear: {estimate} were alive{how} ({span})."
TARGET_SEEN: Final = "{estimate} were alive{how} ({span})."
TARGET_OTHER: Final = "With {rule} the verdict is: {verdict}. Then {estimate} were alive ({span})."
ALIVE_OTHER: Final = "With {rule}, {estimate} of 100 were alive ({span})."
TOTAL: Final = (
    "An estimated {estimate} of the {put_in} plants in the whole planting were alive at {when} ({span})."
)
NO_INFILL: Final = "Infill is not counted."
STEMS: Final = (
    "Of {put_in} plants planted per hectare, an estimated {estimate} living stems stood at {when} ({span})."
)
NO_RECRUITS: Final = "Infill and natural recruits are not counted."
STEMS_WANTED: Final = {
    "met": "The {wanted} wanted are reached.",
    "missed": "The {wanted} wanted are not reached.",
    "unclear": "Whether the {wanted} wanted are reached is unclear.",
    "depends on missing plants": "Whether the {wanted} wanted are reached depends on the missing plants.",
}

# Costs, radius, planting years.
COST_OTHER: Final = "{rule}, the lowest cost was that of {method}, {clearly}."
CLEARLY: Final = {True: "clearly", False: "not clearly"}
NO_RADIUS: Final = "The weed-free radius is described by preparation and not modelled."
RADIUS_FEW: Final = (
    "Along a straight line each further 10 cm, from {first} to {last}, went with {size} {more} alive {per}."
)
RADIUS_NO_INTERVAL: Final = (
    "Too few plots stand behind that for an interval, or to say how wide a patch should be."
)
YEARS: Final = "This is over the plantings of {years} together."
YEARS_APART: Final = (
    "Every site was planted in one year, so within a site only plants of one year are compared."
)
YEARS_MIXED: Final = "They are not compared apart: some sites were planted in more than one year."
