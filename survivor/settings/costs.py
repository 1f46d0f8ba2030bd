"""Tables of the study file about money: what preparations cost, spacing, infill, and stems wanted."""

from __future__ import annotations

from typing import Literal

from pydantic import Field, model_validator

from survivor.settings.base import Currency, Strict, Text

Per = Literal["plant", "hectare", "km", "plot", "site"]

SQUARE_METRES = 10_000.0  # of a hectare
_ALIKE = 0.02  # stems per hectare told twice may differ by so much, as rounded figures do


def _ranged(name: str, value: float, low: float | None, high: float | None) -> None:
    if low is not None and high is not None and low > high:
        raise ValueError(f"low = {low:g} is above high = {high:g}; exchange them")
    least, most = (value if end is None else end for end in (low, high))
    if not least <= value <= most:
        raise ValueError(f"{name} = {value:g} has to lie between low = {least:g} and high = {most:g}")


class Cost(Strict):
    """Cost of a method per plant, with the range the user gives."""

    per_plant: float = Field(ge=0, description="estimate, in the currency of [costs]")
    low: float | None = Field(default=None, ge=0, description="low end of the range that would not surprise")
    high: float | None = Field(default=None, ge=0, description="high end of that range")

    @model_validator(mode="after")
    def _range_holds_the_cost(self) -> Cost:
        _ranged("per_plant", self.per_plant, self.low, self.high)
        return self


class CostLine(Strict):
    """One cost of several that add up: so much a plant, hectare, kilometre of rip line, plot or site."""

    name: Text = Field(
        description="what is paid for; lines of the same name and figures in several methods are one price"
    )
    amount: float = Field(ge=0, description="estimate, in the currency of [costs]")
    per: Per = Field(description="what the amount is for; km: of rip line")
    low: float | None = Field(default=None, ge=0, description="low end of the range that would not surprise")
    high: float | None = Field(default=None, ge=0, description="high end of that range")
    times: int = Field(default=1, ge=1, le=100, description="how many times it is paid, such as passes")
    plants: int | None = Field(
        default=None, ge=1, description="plants that share the amount; needed per plot and per site"
    )
    currency: Currency | None = Field(default=None, description="without it that of [costs]")
    year: int | None = Field(
        default=None, ge=1900, le=2200, description="year of the price; without it that of [costs]"
    )

    @model_validator(mode="after")
    def _can_be_shared_out(self) -> CostLine:
        _ranged("amount", self.amount, self.low, self.high)
        if self.per in ("plot", "site") and self.plants is None:
            raise ValueError(
                f'"{self.name}" is paid per {self.per}: add plants, how many plants at a {self.per} '
                "share the amount"
            )
        if self.per not in ("plot", "site") and self.plants is not None:
            raise ValueError(
                f'"{self.name}" is paid per {self.per}, so plants has no use here; take plants out, or set '
                'per = "plot" or "site"'
            )
        return self


class Costs(Strict):
    """Where the costs come from, and what every preparation pays alike."""

    currency: Currency = Field(description="such as dollars")
    year: int = Field(ge=1900, le=2200, description="year of the prices")
    source: Text = Field(description="where the figures come from")
    lines: tuple[CostLine, ...] = Field(
        default=(), description="costs that every costed preparation has besides its own, such as the plants"
    )
    worth_low: float | None = Field(
        default=None, ge=0, description="low end of what an established plant may be worth; without it 0"
    )
    worth_high: float | None = Field(
        default=None,
        gt=0,
        description="high end of what an established plant may be worth; without it twice the dearest one",
    )

    @model_validator(mode="after")
    def _worth_is_a_range(self) -> Costs:
        if self.worth_high is not None and (self.worth_low or 0.0) >= self.worth_high:
            raise ValueError(
                f"worth_low = {self.worth_low or 0:g} has to be below worth_high = {self.worth_high:g}"
            )
        return self


class Spacing(Strict):
    """How far apart plants stand: rows and plants in a row, or stems per hectare."""

    row_m: float | None = Field(default=None, gt=0, le=100, description="metres from row to row")
    in_row_m: float | None = Field(
        default=None, gt=0, le=100, description="metres from plant to plant in a row"
    )
    stems_per_hectare: float | None = Field(
        default=None, gt=0, le=100_000, description="plants put in per hectare; without it from the distances"
    )

    @model_validator(mode="after")
    def _tells_the_stems(self) -> Spacing:
        if self.row_m is None or self.in_row_m is None:
            if self.stems_per_hectare is None:
                raise ValueError("give row_m and in_row_m together, or stems_per_hectare")
            return self
        stems = SQUARE_METRES / (self.row_m * self.in_row_m)
        told = self.stems_per_hectare
        if told is not None and abs(told / stems - 1) > _ALIKE:
            raise ValueError(
                f"row_m = {self.row_m:g} and in_row_m = {self.in_row_m:g} make {stems:,.0f} plants per "
                f"hectare, not stems_per_hectare = {told:g}; take one of them out"
            )
        return self

    @property
    def plants_per_hectare(self) -> float:
        """Plants put in per hectare: as told, else 10,000 over row by in-row spacing in metres."""
        if self.stems_per_hectare is not None:
            return self.stems_per_hectare
        assert self.row_m is not None
        assert self.in_row_m is not None
        return SQUARE_METRES / (self.row_m * self.in_row_m)

    @property
    def metres_per_plant(self) -> float | None:
        """Metres of row for each plant; None where the file does not tell."""
        if self.in_row_m is None and self.row_m is not None:
            return SQUARE_METRES / (self.plants_per_hectare * self.row_m)
        return self.in_row_m


class Infill(Strict):
    """What a plant put in for a dead one costs, and how many there are where no sheet tells."""

    times_first: float | None = Field(
        default=None, gt=0, le=100, description="cost of an infill plant, times that of a first one"
    )
    per_plant: float | None = Field(
        default=None, ge=0, description="cost of an infill plant; this or times_first"
    )
    low: float | None = Field(default=None, ge=0, description="low end of the range of either")
    high: float | None = Field(default=None, ge=0, description="high end of that range")
    plants_per_100: float | None = Field(
        default=None, ge=0, le=300, description="infill plants per 100 planted; without it as in the records"
    )
    survival_per_100: float | None = Field(
        default=None,
        gt=0,
        le=100,
        description="infill plants expected alive per 100; without it as in the records",
    )

    @model_validator(mode="after")
    def _one_cost(self) -> Infill:
        if (self.times_first is None) == (self.per_plant is None):
            raise ValueError("give one of times_first and per_plant: what an infill plant costs")
        if self.times_first is not None:
            _ranged("times_first", self.times_first, self.low, self.high)
        else:
            _ranged("per_plant", self.per_plant or 0.0, self.low, self.high)
        return self


class Stocking(Strict):
    """How many living stems are wanted."""

    target_per_hectare: float = Field(
        gt=0, le=100_000, description="living stems per hectare wanted at the headline milestone"
    )
