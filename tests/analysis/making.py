"""A real analysis made cheaply from its parts, without analysing any records."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from survivor.analysis.comparing import Comparisons
from survivor.analysis.confounding import Ground
from survivor.analysis.costs import Costs
from survivor.analysis.described import Described
from survivor.analysis.models import NO_FITS
from survivor.analysis.parts import Reason, Unmade
from survivor.analysis.radius import Radius
from survivor.analysis.rain import Rain
from survivor.analysis.result import Analysis
from survivor.analysis.robustness import Robustness
from survivor.analysis.season import Season
from survivor.analysis.supporting import Supporting
from survivor.analysis.survival import Survival
from survivor.analysis.totals import Totals
from survivor.vocabulary import Basis

#: Where each piece lies: the part of the analysis, and the name there.
PIECES = {
    "by_method": ("survival", "by_method"),
    "curves": ("survival", "curves"),
    "observed": ("survival", "observed"),
    "milestones": ("survival", "milestones"),
    "infill": ("survival", "infill"),
    "against": ("comparing", "against"),
    "all_pairs": ("comparing", "all_pairs"),
    "response": ("radius", "response"),
    "held_equal": ("radius", "held_equal"),
    "radius_by_method": ("radius", "by_method"),
    "payoff": ("costs", "payoff"),
    "in_seasons": ("costs", "in_seasons"),
    "stems_needed": ("costs", "stems_needed"),
    "infill_order": ("costs", "infill_order"),
    "whole": ("totals", "whole"),
    "scaled": ("totals", "scaled"),
    "layout": ("confounding", "layout"),
    "within_between": ("confounding", "within_between"),
    "sensitivity": ("confounding", "sensitivity"),
    "mean_days": ("supporting", "mean_days"),
    "hazards": ("supporting", "hazards"),
    "residuals": ("supporting", "residuals"),
    "like_sites": ("supporting", "like_sites"),
    "permutation": ("supporting", "permutation"),
    "agreement": ("robustness", "agreement"),
    "bounds": ("robustness", "bounds"),
    "left_out": ("robustness", "left_out"),
    "species": ("described", "species"),
    "sites": ("described", "sites"),
    "causes": ("described", "causes"),
    "measures": ("described", "measures"),
    "rain_measures": ("rain", "measures"),
    "rain_record": ("rain", "record"),
    "rain_effect": ("rain", "effect"),
    "rain_by_method": ("rain", "by_method"),
}
PARTS = {
    "survival": Survival,
    "comparing": Comparisons,
    "radius": Radius,
    "costs": Costs,
    "totals": Totals,
    "confounding": Ground,
    "supporting": Supporting,
    "robustness": Robustness,
    "described": Described,
    "rain": Rain,
}


def made(
    season: Season, fits: dict[str, Any] | None = None, reasons: tuple[Reason, ...] = (), **pieces: Any
) -> Analysis:
    """Return an analysis of which only these pieces are made.

    ``pieces``: by the names of ``PIECES``, and any other field of ``Analysis``; ``fits``: models by
    name, that of the answer ``grouped``; ``reasons``: why others are not made.
    """
    parts = {name: part() for name, part in PARTS.items()}
    others = {}
    for name, piece in pieces.items():
        if name in PIECES:
            part, field = PIECES[name]
            parts[part] = replace(parts[part], **{field: piece})
        else:
            others[name] = piece
    unmade = Unmade()
    unmade.keep_all(reasons)
    models = NO_FITS
    if fits:
        rest = {name: fit for name, fit in fits.items() if name != "grouped"}
        models = replace(NO_FITS, answer=fits.get("grouped"), others=rest)
    return Analysis(season, models=models, unmade=unmade, **parts, **others)


def season(settings: Any, records: Any, day: float = 365.0, basis: Basis = Basis.PLANTED) -> Season:
    """Return a season of these records."""
    return Season(settings, records, records.intervals, day, basis)
