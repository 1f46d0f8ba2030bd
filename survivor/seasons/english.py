"""Every sentence on several seasons, as templates: what stands in the places is made beside the numbers.

A sentence has at most 25 words (a name or a number with its limits counts as one) and one parenthesis.
"""

from __future__ import annotations

from typing import Final

from survivor.evidence.finding import NOT_ENOUGH, Reading

TITLE: Final = "{seasons} together"
ABOUT: Final = "Plants alive per 100 planted at {when}. {seasons}."
ANSWER: Final = "What the seasons say together"
COMPARED: Final = "{method} against {against} at {when}: {size} per 100 planted ({span}; {units})."
#: The words of a report for a difference read by p adjusted for several comparisons (Holm).
READINGS: Final[dict[Reading, str]] = {
    "clear difference": "This is a clear difference.",
    "clear but small difference": "This is a clear but small difference.",
    "no difference that matters": "There is no difference that matters.",
    NOT_ENOUGH: "There is not enough evidence to say which way it goes.",
}
OPEN_OF_MANY: Final = "Allowing for {comparisons} there is not enough evidence to say which way it goes."
APART: Final = "The {units} differ by more than chance."
NEW: Final = "A new {unit} may show {span}."
NEW_ANYTHING: Final = "A new {unit} may show anything: {why}."
NOT_POOLED: Final = "{method} against {against}: not pooled, for {reason}."
TOGETHER: Final = "Over all seasons, and by one model"
TOGETHER_CAPTION: Final = "Differences over all seasons"
HOW: Final = "Over the seasons, each season counts as one: the answer holds for seasons like these."
HOW_READ: Final = "A difference is clear where p, adjusted for all comparisons, is under 0.05; an interval clear of 0 may not be enough."
HOW_ONE_MODEL: Final = (
    "One model of all records takes a preparation to do the same in every season. Its interval, by plot, is for "
    "these seasons only; where the two differ much, seasons do."
)
TABLE_NOTE: Final = "Plants alive per 100 planted: + for more, − for fewer."
PICTURE: Final = "Over the {unit}s {size} per 100 planted."
PICTURE_CAPTION: Final = (
    "Dot: difference per 100 planted. Line: 95 % CI. The last is what a new one may show."
)
AGAIN: Final = "At the same sites, season beside season"
AGAIN_WHAT: Final = (
    "Alive per 100 planted at {when}, observed, at the sites of more than one season: {sites}. Each season has "
    "its own plants. A difference between seasons is one of weather, plants and work together."
)
AGAIN_CAPTION: Final = "Alive per 100 planted (95 % CI) at the sites of both seasons"
DAYS: Final = (
    "The milestone is on {days} in these seasons, within its window; all are answered for on day {at}."
)
FEW: Final = "How far only {units} differ rests on {df}, so intervals are wide and should be."
ASK: Final = (
    "Ask what goes with differences between {unit}s: --trait '{trait}', or a column of the plot sheet."
)
TWICE: Final = "Differences are per 100 planted. The same ratio of deaths makes a smaller difference in a season in which few die."
SITE_AGAIN: Final = (
    "Some sites come in more than one season, so these estimates are not wholly independent: {sites}."
)
SITES_OF: Final = "Sites of {seasons} show how sites differ, not how seasons do."
SITES_SHARE: Final = "Sites of one season share its weather: the limits take them as independent."
NOT_ADJUSTED: Final = "They are not adjusted for {comparisons}; p by Holm is."
TRAIT: Final = "{method} against {against}, by {trait}: {verdict} ({p}{units})."
TRAIT_CHANGE: Final = "{size} per 100 {what} ({span})."
TRAIT_UNKNOWN: Final = "there is no telling whether the answer goes with it"
TRAIT_GOES: Final = "the answer goes with it"
TRAIT_OPEN: Final = "there is not enough evidence that the answer goes with it"
TRAIT_MANY: Final = (
    "{comparisons} are looked at, and no p here allows for it: some go with a trait by chance."
)
ONE_MODEL: Final = (
    "One model of all records: {seedlings} seedlings in {plots} plots, with levels for {levels}."
)
ONE_MODEL_TAKES: Final = "It takes a preparation's ratio as the same in every season; its limits, by plot, are for these seasons only."
