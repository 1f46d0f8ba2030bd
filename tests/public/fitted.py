"""What is asked of the season of ``making.py`` by many modules, answered once."""

from __future__ import annotations

import survivor
from tests.public.making import F

ONE, WITH_Z, COX = (
    survivor.fit(F, "method"),
    survivor.fit(F, "method + z"),
    survivor.fit(F, "method", model="cox"),
)
CURVES, SURVIVAL, DIFFERENCES = (
    survivor.curve(F, by="method"),
    survivor.survival(ONE),
    survivor.contrasts(ONE),
)
