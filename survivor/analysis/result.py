"""Everything that a season's records were found to say: what the report prints."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import pandas as pd
from survivor.evidence import Finding

from survivor.costing import Payoff
from survivor.curves import Curves
from survivor.effects.confounding import Confounding
from survivor.effects.contrasts import Contrasts
from survivor.effects.dose import Dose
from survivor.effects.standardise import Standardised
from survivor.models.result import Fit
from survivor.records import Records
from survivor.settings import Settings


@dataclass(frozen=True)
class Analysis:
    """A season, analysed. A part that could not be made is None or empty, and ``cannot`` says why.

    Attributes
    ----------
    milestone_day
        Day since planting that the headline speaks of: the nominal day of the
        milestone, or the last visit inside its window.
    survival, contrasts, all_pairs
        From the ``grouped`` model, per 100 planted, standardised over the study's
        sites and species.
    radius_held
        The same contrasts with the weed-free radius held equal.
    agreement
        ``model, method, against, estimate, lower, upper`` (per 100 planted), ``note``.
    rain
        Season measures, one row a gauge, planting date and measure.
    rain_record
        Daily falls: ``gauge, date, rain_mm``.
    species, sites
        ``species`` or ``site``, ``planted, estimate, lower, upper`` (per 100), ``n_plots``.
    causes
        ``method, period, cause, deaths``.
    bounds
        ``rule, method, estimate, lower, upper`` (per 100): the answer under other
        rules for missing and unknown plants.
    measures
        ``measure, of, alive, estimate`` (per 100), ``note``: the three measures that
        never share a name.
    cannot, notes
        What cannot be said and why; what was decided on the way.
    provenance
        Package version, seed, settings digest and the digest of every input by file name.
    """

    settings: Settings
    records: Records
    findings: tuple[Finding, ...]
    milestone_day: float
    survival: Standardised | None
    contrasts: Contrasts | None
    all_pairs: Contrasts | None
    curves: Curves | None
    dose: Dose | None
    radius_held: Contrasts | None
    payoff: Payoff | None
    confounding: Confounding | None
    fits: Mapping[str, Fit]
    agreement: pd.DataFrame
    rain: pd.DataFrame
    rain_record: pd.DataFrame
    rain_effect: pd.DataFrame | None
    species: pd.DataFrame
    sites: pd.DataFrame
    causes: pd.DataFrame
    bounds: pd.DataFrame
    measures: pd.DataFrame
    cannot: tuple[str, ...]
    notes: tuple[str, ...]
    provenance: Mapping[str, str]
