"""The study file (TOML) as frozen, strict models.

A key that is not known is an error, not a silence: ``sede = 4`` is refused with
its line, its value and the key that it may have been meant for. Paths in a study
file are relative to it.
"""

from survivor.settings.costs import Cost as Cost
from survivor.settings.costs import CostLine as CostLine
from survivor.settings.costs import Costs as Costs
from survivor.settings.costs import Infill as Infill
from survivor.settings.costs import Per as Per
from survivor.settings.costs import Spacing as Spacing
from survivor.settings.costs import Stocking as Stocking
from survivor.settings.design import Correction as Correction
from survivor.settings.design import Design as Design
from survivor.settings.design import DrySeason as DrySeason
from survivor.settings.design import Heights as Heights
from survivor.settings.design import Milestone as Milestone
from survivor.settings.design import PhotoPoint as PhotoPoint
from survivor.settings.design import Privacy as Privacy
from survivor.settings.design import Target as Target
from survivor.settings.models import STUDY_FILE as STUDY_FILE
from survivor.settings.models import About as About
from survivor.settings.models import Method as Method
from survivor.settings.models import Planted as Planted
from survivor.settings.models import Settings as Settings
from survivor.settings.reading import find_study_file as find_study_file
from survivor.settings.reading import key_lines as key_lines
from survivor.settings.reading import read_settings as read_settings
from survivor.settings.season import DEPLETION_FRACTION as DEPLETION_FRACTION
from survivor.settings.season import PATCH_COEFFICIENT as PATCH_COEFFICIENT
from survivor.settings.season import WEED_COEFFICIENT as WEED_COEFFICIENT
from survivor.settings.season import Gauge as Gauge
from survivor.settings.season import Soil as Soil
from survivor.settings.season import Texture as Texture
from survivor.settings.season import Weather as Weather
from survivor.settings.sheets import Records as Records
from survivor.settings.sheets import Rules as Rules
from survivor.settings.sheets import Sheet as Sheet
from survivor.settings.sheets import Visit as Visit
from survivor.settings.sheets import Works as Works
from survivor.settings.sheets import works_of_pair as works_of_pair
