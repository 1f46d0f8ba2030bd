"""Schoenfeld residuals of a Cox fit: how an effect moves with the age of the plants.

A residual is what those found dead on a day had more of a covariate than was to be
expected of those at risk. Scaled, it wanders round the coefficient of that day.

Sources: Schoenfeld (1982), Biometrika 69, 239-241; scaling of Grambsch and Therneau
(1994), Biometrika 81, 515-526, with the average covariance for that of each day.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from survivor.errors import ModelError
from survivor.models.cox_survival import CoxEngine
from survivor.models.partial import schoenfeld
from survivor.models.result import Fit


def scaled_residuals(fit: Fit) -> pd.DataFrame:
    """Scaled Schoenfeld residuals, one row a term and day of death of a stratum.

    Parameters
    ----------
    fit
        A Cox fit.

    Returns
    -------
    DataFrame
        ``term``, the strata's columns, ``day`` (since planting), ``deaths``, ``residual``
        (sum over the dead of the day) and ``scaled`` (a coefficient: the average over
        deaths is the fit's own).

    Raises
    ------
    ModelError
        When the fit is of another model.
    """
    engine = fit.engine
    if not isinstance(engine, CoxEngine):
        raise ModelError(
            f"Schoenfeld residuals are of a Cox fit, not of a {fit.model} one",
            where="fit",
            mend='fit with model="cox"',
        )
    sets, estimate = engine.sets, engine.estimate
    each = schoenfeld(sets, estimate.beta)
    deaths = np.bincount(sets.last - 1, weights=sets.died, minlength=len(sets.days))
    inverse = np.linalg.inv(estimate.at.information)
    scaled = estimate.beta + deaths.sum() * (each / deaths[:, None]) @ inverse
    places = engine.design.strata_levels.iloc[engine.kept[sets.day_strata]].reset_index(drop=True)
    parts = [
        places.assign(
            term=term, day=sets.days, deaths=deaths, residual=each[:, column], scaled=scaled[:, column]
        )
        for column, term in enumerate(engine.design.terms)
    ]
    found = pd.concat(parts, ignore_index=True)
    return found[["term", *places.columns, "day", "deaths", "residual", "scaled"]]
