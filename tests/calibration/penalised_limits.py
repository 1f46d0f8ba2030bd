"""Coverage of the penalised model's limits, where one preparation loses hardly any plants.

Run ``python -m tests.calibration.penalised_limits 400`` for the table; the tests run a
short form with a fixed seed. The target is survival per 100 planted at day 365 at
these sites, averaged over plot effects. ``penalised`` counts the studies in which
nobody died with the alternative; coverage among these alone is no promise that limits
can make (the same studies are those in which few died), so all studies count, and the
others have the usual limits.
"""

from __future__ import annotations

import sys

import numpy as np
import pandas as pd

from survivor.effects.contrasts import contrasts
from survivor.effects.standardise import survival
from survivor.errors import SurvivorError
from survivor.models.fit import fit
from survivor.simulate.cohort import Cohort, true_effects
from survivor.simulate.drawing import draw_intervals

AT = 365.0


def _cohort(log_ratio: float, plot_sd: float, **layout: int) -> Cohort:
    return Cohort(
        methods=(("usual practice", 0.0), ("alternative", log_ratio)),
        seedlings=12,
        visit_days=((40, 150, 300, 365),),
        plot_sd=plot_sd,
        site_effects=tuple(np.linspace(-0.4, 0.4, layout["sites"])),
        **layout,
    )


COHORTS = {
    "3 sites, 2 plots a method, plots alike": _cohort(-3.0, 0.0, sites=3, blocks=2),
    "3 sites, 2 plots a method": _cohort(-3.0, 0.6, sites=3, blocks=2),
    "3 sites, 3 plots a method": _cohort(-3.5, 0.6, sites=3, blocks=3),
    "6 sites, 1 plot a method": _cohort(-3.0, 0.6, sites=6, blocks=1),
}


def one_study(cohort: Cohort, rng: np.random.Generator) -> pd.DataFrame:
    """Limits and truth of each survival and of the difference in one drawn season."""
    fitted = fit(draw_intervals(cohort, rng), "method", strata="site")
    truth = true_effects(cohort, (AT,)).at(AT)
    alive = survival(fitted, at=AT).table.assign(what="survival")
    alive["truth"] = alive["method"].astype(str).map(truth["survival"])
    differ = contrasts(fitted, at=AT).table.assign(what="difference")
    differ["truth"] = differ["method"].astype(str).map(truth["difference"])
    found = pd.concat([alive, differ], ignore_index=True)
    found["penalised"] = fitted.variance == "penalised"
    return found[["what", "method", "estimate", "lower", "upper", "df", "truth", "penalised"]]


def run(number: int, seed: int = 20240611, cohorts: dict[str, Cohort] = COHORTS) -> pd.DataFrame:
    """Coverage per 100 studies by layout and by what is estimated."""
    tables = []
    for name, cohort in cohorts.items():
        rng = np.random.default_rng(seed)
        drawn = []
        for study in range(number):
            try:
                drawn.append(one_study(cohort, rng).assign(study=study))
            except SurvivorError as fault:
                print(name, study, fault.what, file=sys.stderr)
        found = pd.concat(drawn, ignore_index=True).assign(layout=name)
        found["method"] = found["method"].astype(str)
        found["held"] = (found["lower"] <= found["truth"]) & (found["truth"] <= found["upper"])
        found["width"] = found["upper"] - found["lower"]
        tables.append(found)
    whole = pd.concat(tables, ignore_index=True)
    by = ["layout", "what", "method"]
    table = whole.groupby(by, sort=False).agg(
        truth=("truth", "first"), penalised=("penalised", "mean"), coverage=("held", "mean")
    )
    apart = whole[whole["penalised"]].groupby(by, sort=False)
    table["among_penalised"] = apart["held"].mean()
    table["width_penalised"] = apart["width"].median()
    table["width_others"] = whole[~whole["penalised"]].groupby(by, sort=False)["width"].median()
    table[["penalised", "coverage", "among_penalised"]] *= 100
    return table.reset_index()


if __name__ == "__main__":
    result = run(int(sys.argv[1]) if len(sys.argv) > 1 else 100)
    print(result.to_string(index=False, float_format="{:.1f}".format))
