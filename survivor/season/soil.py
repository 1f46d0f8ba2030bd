"""The weed-free patch as a store of water: what its soil holds, and what drinks from it."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final, NamedTuple

from survivor.arguments import is_number
from survivor.errors import SeasonError
from survivor.settings import DEPLETION_FRACTION, PATCH_COEFFICIENT, WEED_COEFFICIENT, Texture


class Held(NamedTuple):
    """Water held by a soil, as a share of its volume (m3 of water per m3 of soil).

    ``field_capacity`` once it has drained, ``wilting_point`` when plants can draw no more.
    """

    field_capacity: float
    wilting_point: float


#: The twelve texture classes at 2.5 % organic matter: Saxton and Rawls 2006, Soil Science
#: Society of America Journal 70, table 3 (33 kPa and 1500 kPa), which follows from their equations.
TEXTURES: Final[dict[str, Held]] = {
    "sand": Held(0.10, 0.05),
    "loamy sand": Held(0.12, 0.05),
    "sandy loam": Held(0.18, 0.08),
    "loam": Held(0.28, 0.14),
    "silt loam": Held(0.31, 0.11),
    "silt": Held(0.30, 0.06),
    "sandy clay loam": Held(0.27, 0.17),
    "clay loam": Held(0.36, 0.22),
    "silty clay loam": Held(0.38, 0.22),
    "sandy clay": Held(0.36, 0.25),
    "silty clay": Held(0.41, 0.27),
    "clay": Held(0.42, 0.30),
}
TEXTURE_SOURCE: Final = "Saxton and Rawls 2006"
_TEXTURES: Final = f"use one of {', '.join(TEXTURES)}"


def water_held(texture: str, named: Mapping[str, Texture] | None = None) -> Held:
    """Look up the water that a soil holds.

    Parameters
    ----------
    texture
        A texture class, in any case, with spaces or hyphens; or a word of ``named``.
    named
        The study's own soils, which go before the published classes.

    Returns
    -------
    Held
        ``field_capacity, wilting_point``, m3 of water per m3 of soil.

    Raises
    ------
    SeasonError
        When neither knows the word.

    Examples
    --------
    >>> round(water_held("loamy sand").field_capacity, 2)
    0.12
    """
    if not isinstance(texture, str):
        raise SeasonError(
            f"a texture class is a word, not {type(texture).__name__}", where="texture", mend=_TEXTURES
        )
    if named is not None and not isinstance(named, Mapping):
        raise SeasonError(
            f"own soils are a dict, not {type(named).__name__}", where="named", mend="give them by name"
        )
    word = _plain(texture)
    own = {_plain(name): soil for name, soil in (named or {}).items()}
    if word in own:
        return Held(own[word].field_capacity, own[word].wilting_point)
    if word not in TEXTURES:
        raise SeasonError(
            f"{texture!r} is no texture class, so the water it holds is not known",
            where="texture",
            mend=f'{_TEXTURES}, or give [soil.textures."{texture}"] with field_capacity '
            "and wilting_point in the study file",
        )
    return TEXTURES[word]


def _plain(word: str) -> str:
    return " ".join(word.casefold().replace("-", " ").split())


@dataclass(frozen=True)
class Patch:
    """The root zone of a seedling in its weed-free patch.

    The seedling draws from a column of soil as deep as ``depth_m`` and as wide as the
    patch, or as wide as ``root_radius_m`` where that is given. Where the patch is
    smaller than the root zone, weeds stand on the rest of it and drink from the same store.

    Attributes
    ----------
    field_capacity, wilting_point
        Water held, m3 per m3 of soil.
    depth_m
        Effective depth of the root zone, m.
    radius_m
        Radius (not diameter) of the weed-free patch, m; None: not known.
    root_radius_m
        Radius of the root zone, m; None: the root zone is the patch.
    depletion_fraction
        Share of the available water that can be used before plants are short of it
        (FAO-56 eq. 83; 0.5 is its value for many plants).
    patch_coefficient, weed_coefficient
        Evapotranspiration of the patch and of the weeds in water enough, as a multiple
        of the reference.

    Raises
    ------
    SeasonError
        When a number cannot be true, or weeds must be reckoned and the patch's radius is
        not known.
    """

    field_capacity: float
    wilting_point: float
    depth_m: float
    radius_m: float | None = None
    root_radius_m: float | None = None
    depletion_fraction: float = DEPLETION_FRACTION
    patch_coefficient: float = PATCH_COEFFICIENT
    weed_coefficient: float = WEED_COEFFICIENT

    def __post_init__(self) -> None:
        for name, value in vars(self).items():
            if not is_number(value) and not (value is None and name in ("radius_m", "root_radius_m")):
                raise SeasonError(f"{name} = {value!r} is no number", where=name, mend="give a number")
        if not 0 <= self.wilting_point < self.field_capacity < 1:
            raise SeasonError(
                f"wilting point {self.wilting_point} and field capacity {self.field_capacity} cannot be true",
                mend="give shares of the soil's volume (0 to 1), the wilting point the lower",
            )
        for name, value in (
            ("depth_m", self.depth_m),
            ("radius_m", self.radius_m),
            ("root_radius_m", self.root_radius_m),
        ):
            if value is not None and not (math.isfinite(value) and value > 0):
                raise SeasonError(f"{name} = {value} cannot be true", mend="give metres, above 0")
        if not 0 < self.depletion_fraction < 1:
            raise SeasonError(
                f"depletion_fraction = {self.depletion_fraction} cannot be true",
                mend="give a share of the available water, between 0 and 1",
            )
        if min(self.patch_coefficient, self.weed_coefficient) < 0:
            raise SeasonError("a coefficient below 0 cannot be true", mend="give multiples of the reference")
        if self.root_radius_m is not None and self.radius_m is None:
            raise SeasonError(
                "the radius of the weed-free patch is not known, so neither is the weeds' share of the water",
                mend="give the radius, or leave root_radius_m out: the root zone is then the patch",
            )

    @property
    def total_mm(self) -> float:
        """Total available water, mm: 1000 (field capacity - wilting point) depth (FAO-56 eq. 82)."""
        return 1000 * (self.field_capacity - self.wilting_point) * self.depth_m

    @property
    def ready_mm(self) -> float:
        """Readily available water, mm: the depletion fraction of the total (FAO-56 eq. 83)."""
        return self.depletion_fraction * self.total_mm

    @property
    def weed_share(self) -> float:
        """Share of the root zone's area on which weeds stand, 0 to 1."""
        if self.root_radius_m is None or self.radius_m is None:
            return 0.0
        return max(1 - (self.radius_m / self.root_radius_m) ** 2, 0.0)

    @property
    def coefficient(self) -> float:
        """Evapotranspiration of the root zone as a multiple of the reference, by area."""
        weeds = self.weed_share
        return (1 - weeds) * self.patch_coefficient + weeds * self.weed_coefficient

    @property
    def area_m2(self) -> float | None:
        """Area of the root zone, m2; None where no radius is known."""
        radius = self.root_radius_m if self.root_radius_m is not None else self.radius_m
        return None if radius is None else math.pi * radius**2

    @property
    def total_litres(self) -> float | None:
        """Total available water of the whole root zone, litres (1 mm on 1 m2 is 1 litre)."""
        return None if self.area_m2 is None else self.total_mm * self.area_m2
