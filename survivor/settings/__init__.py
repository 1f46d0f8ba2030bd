"""The study file (TOML) as frozen, strict models.

A key that is not known is an error, not a silence: ``sede = 4`` is refused with
its line, its value and the key that it may have been meant for. Paths in a study
file are relative to it.
"""

from survivor.settings.costs import Cost, CostLine, Costs, Infill, Per, Spacing, Stocking
from survivor.settings.design import (
    Correction,
    Design,
    DrySeason,
    Heights,
    Milestone,
    PhotoPoint,
    Privacy,
    Target,
)
from survivor.settings.models import STUDY_FILE, About, Method, Planted, Settings
from survivor.settings.reading import find_study_file, key_lines, read_settings
from survivor.settings.season import (
    DEPLETION_FRACTION,
    PATCH_COEFFICIENT,
    WEED_COEFFICIENT,
    Gauge,
    Soil,
    Texture,
    Weather,
)
from survivor.settings.sheets import Records, Rules, Sheet, Visit, Works, works_of_pair

__all__ = [
    "DEPLETION_FRACTION",
    "PATCH_COEFFICIENT",
    "STUDY_FILE",
    "WEED_COEFFICIENT",
    "About",
    "Correction",
    "Cost",
    "CostLine",
    "Costs",
    "Design",
    "DrySeason",
    "Gauge",
    "Heights",
    "Infill",
    "Method",
    "Milestone",
    "Per",
    "PhotoPoint",
    "Planted",
    "Privacy",
    "Records",
    "Rules",
    "Settings",
    "Sheet",
    "Soil",
    "Spacing",
    "Stocking",
    "Target",
    "Texture",
    "Visit",
    "Weather",
    "Works",
    "find_study_file",
    "key_lines",
    "read_settings",
    "works_of_pair",
]
