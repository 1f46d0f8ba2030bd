"""Water of the soil by FAO Irrigation and Drainage Paper 56 (Allen, Pereira, Raes and Smith 1998).

From what a weather record holds to days of water stress of a seedling in its patch:

>>> import pandas as pd
>>> days = pd.DataFrame({"date": pd.date_range("2024-07-06", periods=1), "tmin_c": 12.3, "tmax_c": 21.5,
...     "rh_max": 84.0, "rh_min": 63.0, "wind_m_s": 2.78, "sunshine_h": 9.25})
>>> found = reference_evapotranspiration(days, latitude=50.8, elevation_m=100, wind_height_m=10)
>>> round(float(found.table["eto_mm"].iloc[0]), 1)  # example 18 of the paper prints 3.9
3.9
>>> held = water_held("loamy sand")
>>> patch = Patch(held.field_capacity, held.wilting_point, depth_m=0.5, radius_m=0.5)
>>> round(1000 * (patch.field_capacity - patch.wilting_point) * patch.depth_m)  # mm that a seedling can draw
35

Then ``water_balance(daily, patch)`` goes from day to day, and ``survivor.stress_days``
counts the days of stress between two visits.
"""

from survivor.season.balance import Balance as Balance
from survivor.season.balance import effective_rain as effective_rain
from survivor.season.balance import water_balance as water_balance
from survivor.season.evapotranspiration import Reference as Reference
from survivor.season.evapotranspiration import hargreaves as hargreaves
from survivor.season.evapotranspiration import penman_monteith as penman_monteith
from survivor.season.evapotranspiration import reference_evapotranspiration as reference_evapotranspiration
from survivor.season.soil import Patch as Patch
from survivor.season.soil import water_held as water_held
