"""Tables of the study file about rain, weather and soil."""

from __future__ import annotations

from typing import Literal

from pydantic import Field, model_validator

from survivor.settings.base import Strict, Text

DEPLETION_FRACTION = 0.5  # FAO-56 ch. 8: common to many plants
PATCH_COEFFICIENT = 0.4  # FAO-56 table 12: as for young or leafless trees without ground cover
WEED_COEFFICIENT = 1.0  # grass that covers the ground is what the reference is of


class Gauge(Strict):
    """A rain gauge file and the sites it stands for."""

    name: Text = Field(description="what the report calls the gauge")
    file: Text = Field(
        description="name of its file, daily or a total a month, relative to the study file; dry runs, "
        "falls and soil water need days"
    )
    sheet: Text | None = Field(
        default=None, description="sheet of a workbook; without it the first that holds rain"
    )
    year: int | None = Field(
        default=None,
        ge=1800,
        le=2200,
        description="year of the first month of a month grid (a row a day, a column a month) that tells none",
    )
    weekends: Literal["not read", "in Monday's reading"] = Field(
        default="not read",
        description="what a blank Saturday and Sunday mean; in Monday's reading: it is of all three days",
    )
    sites: tuple[str, ...] = Field(
        default=(), description="sites it stands for, spelt as in the records; none: all"
    )
    missing_days: Literal["not read", "zero"] = Field(
        default="not read", description="what a day without a row means"
    )
    columns: dict[str, str] = Field(
        default={},
        description="date, or year, month and day; rain_mm; days_covered; quality = the header in the file",
    )


class Weather(Strict):
    """Daily temperature, or evapotranspiration, for the sites of a rain gauge."""

    gauge: Text = Field(description="name of the rain gauge whose sites it stands for")
    file: Text = Field(description="name of its daily file, relative to the study file")
    latitude: float | None = Field(default=None, ge=-90, le=90, description="degrees, south negative")
    elevation_m: float | None = Field(default=None, ge=-430, le=8900, description="metres above the sea")
    wind_height_m: float = Field(default=2.0, gt=0.1, le=100, description="metres at which wind was measured")
    method: Literal["supplied", "penman-monteith", "hargreaves"] | None = Field(
        default=None, description="how evapotranspiration is had; without it the best the file allows"
    )
    columns: dict[str, str] = Field(
        default={}, description="date; tmin_c, tmax_c, or other measures = the header in the file"
    )


class Texture(Strict):
    """Water held by a soil, m3 per m3: drained, and when plants can draw no more."""

    field_capacity: float = Field(gt=0, lt=1, description="water held when drained, m3 per m3, such as 0.38")
    wilting_point: float = Field(
        ge=0, lt=1, description="water held when plants can draw no more, m3 per m3, such as 0.25"
    )

    @model_validator(mode="after")
    def _holds_water(self) -> Texture:
        if self.wilting_point >= self.field_capacity:
            raise ValueError("the wilting_point has to be below the field_capacity")
        return self


class Soil(Strict):
    """How soil water is reckoned where there is weather; see ``survivor.season.soil.Patch``."""

    root_depth_m: float = Field(default=0.5, gt=0, le=5, description="metres from which roots drew water")
    root_radius_m: float | None = Field(
        default=None, gt=0, le=10, description="metres round the stem; without it the weed-free radius"
    )
    depletion_fraction: float = Field(
        default=DEPLETION_FRACTION,
        gt=0,
        lt=1,
        description="share of the available water used before plants are short of it",
    )
    patch_coefficient: float = Field(
        default=PATCH_COEFFICIENT,
        ge=0,
        le=2,
        description="water use of the patch and its seedling, times short green grass",
    )
    weed_coefficient: float = Field(
        default=WEED_COEFFICIENT, ge=0, le=2, description="water use of weeds, times short green grass"
    )
    texture: Text | None = Field(default=None, description="texture of plots whose sheet gives none")
    textures: dict[str, Texture] = Field(
        default={}, description="a word of the sheets = the water which that soil holds"
    )
