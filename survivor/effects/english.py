"""Every sentence on differences and on the radius, as templates: what stands in them is made beside the numbers."""

from __future__ import annotations

from typing import Final

SMALLEST: Final = (
    "From the smallest radius looked at, {radius}, a further 10 cm went with less than {gain} more alive {per} "
    "(95 % CI {low} to {high})."
)
FROM: Final = (
    "From a radius of {radius} a further 10 cm went with less than {gain} more alive {per} (95 % CI {low} to "
    "{high})."
)
OR_LESS: Final = "{radius} or less"
BEYOND: Final = "beyond the data"
STILL: Final = (
    "Up to a radius of {radius} a further 10 cm still went with {gain} or more alive {per}. Where that stops "
    "lies beyond these records."
)
STILL_SURE: Final = "That is so by the lower limit of the gain there, too."
STILL_OPEN: Final = "Within the limits of the gain it might stop at any width."
STILL_FROM: Final = "Within the limits of the gain it might stop from {low} on."
NO_CHANGE: Final = (
    "There is not enough evidence to say that survival changes with the radius (p {p}). A gain of {gain} {per} "
    "for a further 10 cm cannot be ruled out."
)
NO_TURN: Final = "Where a wider patch stops paying cannot be seen from these records."
NO_TURN_LINE: Final = "A straight line fits about as well as a curve that levels off (p {p})."
NO_TURN_NO_CURVE: Final = "A straight line was fitted, which never levels off."
ALONG: Final = (
    "On average each further 10 cm, from {first} to {last}, went with {size} {more} alive {per} (95 % CI "
    "{span})."
)
REVERSED: Final = (
    "Fewer alive with a wider patch is the reverse of what weed control does: look at what else went with the "
    "wide patches."
)
NOT_JOINED: Final = "No site joins {names} to {others}."
LEFT_OUT: Final = (
    "The model within sites leaves {them} out; what is said of {them} compares sites as much as preparations."
)
