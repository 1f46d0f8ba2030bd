"""The words of the trade: column names, states, severities and units.

Every other module takes its words from here, so that a column or a state is
spelt in one place only. Nothing here computes anything.
"""

from __future__ import annotations

from enum import StrEnum
from typing import Final


class State(StrEnum):
    """What a visit says of one seedling. Seven states; a blank is never dead."""

    ALIVE = "alive"
    DEAD = "dead"
    MISSING = "missing"  # position found, plant gone
    NOT_FOUND = "not found"  # position or tag not found
    NOT_VISITED = "not visited"
    DOUBTFUL = "doubtful"  # looked at, and nobody could tell whether it lived
    REPLANTED = "replanted"  # the plant seen before is dead; what stands there now is infill


class Severity(StrEnum):
    """How much a problem in the records matters.

    ``stop``: the record cannot be used; the answer waits for a mend.
    ``check``: the record is used or excluded by a stated rule; a person should look.
    ``note``: worth knowing; nothing to mend.
    """

    STOP = "stop"
    CHECK = "check"
    NOTE = "note"


# A plot is the tuple of these three: labels repeat across sites and blocks.
#: Of a visit record of a register: how many seedlings with one history it stands for.
PLANTS: Final = "plants"
PLOT_KEY: Final = ("site", "block", "plot")

# The risk-interval table (see survivor.intervals).
INTERVAL_KEYS: Final = ("site", "block", "plot", "tag")
INTERVAL_TRAITS: Final = ("species", "method", "weed_free_radius_m", "cohort", "planted_date")
INTERVAL_TIMES: Final = ("start_day", "stop_day", "start_date", "stop_date")
INTERVAL_COUNTS: Final = ("at_risk", "died")
INTERVAL_COLUMNS: Final = INTERVAL_KEYS + INTERVAL_TRAITS + INTERVAL_TIMES + INTERVAL_COUNTS
# Last of all, where one is known: first and last day of the dry season, "12-01 to 03-31".
DRY_SEASON: Final = "dry_season"

#: What stands in the column ``basis`` of a comparison that is not answered.
REFUSED: Final = "refused"
PLANTED: Final = "planted_date"

# One row per problem found in the records.
PROBLEM_COLUMNS: Final = ("code", "severity", "file", "sheet", "row", "column", "value", "what", "mend")

# One row per record read: what became of it.
ACCOUNT_COLUMNS: Final = ("file", "sheet", "row", "record", "fate", "reason", "code")

# Columns of our own field sheets that inform whoever fills them and are not read back.
SHEET_ONLY: Final = ("Last state", "Last seen", "Look again")

# The columns of every table of estimates, in this order.
ESTIMATE_COLUMNS: Final = ("estimate", "std_error", "df", "lower", "upper", "p_value")

# Plantings: first plants of the season, and those that replaced dead ones later.
FIRST_PLANTING: Final = "planting"
INFILL: Final = "infill"

# How preparations were given to plots; the study file's words.
RANDOM: Final = "random within blocks"
BY_CHOICE: Final = "by choice"

PER_100: Final = "per 100 planted"


class Basis(StrEnum):
    """Whose survival is told: of the seedlings planted, or of those found alive at the first visit."""

    PLANTED = "planted"
    FOUND = "found"

    @property
    def seedlings(self) -> str:
        """What the seedlings are called, to stand after a number."""
        return "planted" if self is Basis.PLANTED else "found at the first visit"

    @property
    def per_100(self) -> str:
        """The unit of survival and of its differences."""
        return f"per 100 {self.seedlings}"


CONFIDENCE: Final = 0.95
SIGNIFICANCE: Final = 0.05  # a p under it shows a difference: limits at CONFIDENCE leave out zero
DAYS_PER_YEAR: Final = 365.25
AT_PLANTING_DAYS: Final = 14  # first seen within so many days: put in with the plants, or one round of visits
