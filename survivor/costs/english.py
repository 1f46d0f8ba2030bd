"""Every sentence on costs, as templates: what stands in the places is made beside the numbers.

A sentence has at most 25 words (a name or a number with its limits counts as one) and one parenthesis.
"""

from __future__ import annotations

from typing import Final

# Cost of an established plant.
ALONE: Final = "At these sites the cost under {method} was {cost} per established plant ({span})."
LEAST: Final = "At these sites {method} cost least{of_those}: {cost} per established plant ({span})."
SURE: Final = "The chance that it is so is {chance} in 100."
CANNOT: Final = (
    "At these sites there is not enough evidence to say which of the preparations{among} is the cheapest."
)
NONE_CLEAR: Final = "At these sites none of the preparations{among} is clearly the cheapest."
LOWEST: Final = "The lowest cost was that of {method}: {cost} per established plant ({span})."
CHANCE: Final = "The chance that it is the lowest is {chance} in 100."
LIKELIER: Final = "{method} has the highest chance, {chance} in 100."
OF_COSTED: Final = " of the preparations that can be costed"
CAN_BE_COSTED: Final = " that can be costed"
NO_CURRENCY: Final = " (no currency named)"
RANGE: Final = "{what} {low} to {high}"
RANGE_OPEN: Final = "{what} from {low}, without an upper end"
RANGE_NONE: Final = "no range, since its survival has no interval"
MORE_THAN: Final = "more than 99"
LESS_THAN: Final = "less than 1"

# Extra plants and break-even.
EXTRA: Final = (
    "Against {against}, 100 plants of {method} cost {cost} {word} and {alive} more were alive ({span})."
)
EXTRA_EACH: Final = "That is {cost} for each extra plant alive ({span})."
DEARER_AND_FEWER: Final = "{method} costs no less than {against} and had fewer alive."
NO_PRICE: Final = (
    "There is not enough evidence that more were alive under {names}, so an extra plant has no price there."
)
BREAK_EVEN: Final = (
    "{method} equals {usual} in cost per established plant at {level} per plant planted ({span})."
)
COSTS: Final = "It costs {cost}, {place}."
WITHIN: Final = "within that range"
BELOW: Final = "below that range"
ABOVE: Final = "above that range"
NO_BREAK_EVEN: Final = "No break-even cost can be given for {method}: nobody, or everybody, was alive."

# Best value.
NONE_REPAYS: Final = "At any worth shown, up to {most}, none repays its cost."
FLOOR: Final = "Below {lowest} for a living plant none repays its cost."
FLOOR_OF: Final = "Of those with an interval, none repays its cost below {lowest} for a living plant."
AHEAD: Final = (
    "From {start} to {end} {method} is the best value on the central estimates (chance {chance} in 100)."
)
NOT_AMONG: Final = "{method} is not among the best value: its difference in plants alive has no interval."

# What is said beside costs.
ASK_CURRENCY: Final = (
    "No currency is named, so amounts have no unit. Give currency, year and source of the prices under [costs] "
    "of the study file."
)
NOT_COSTED: Final = "No cost per plant is given for {names}, so there is none per established plant."
LEFT_OUT: Final = "There is no cost per established plant for {method}: {reason}."
STRANGE: Final = "A cost is given for what is in no plot of the records: {names}."
ONE_ONLY: Final = "One preparation only can be costed, so none can be called the cheapest."
OVER_ALL_SITES: Final = "Costs are compared over all sites, also those where a preparation was not used."
BETWEEN: Final = (
    "No site holds both {first} and {second}, so their costs compare sites as much as preparations."
)
NO_RANGES: Final = "No range was given for any cost, so limits of costs rest on survival alone."
NO_RANGE: Final = "No range was given for the cost under {names}, so limits there rest on survival alone."
