"""Other analyses of the same simulated studies: two libraries', and our other models.

The studies are the first of the same cells and seeds as those of the reported analysis.
Each analysis is judged by its own target (``Layout.log_ratios``); differences per 100 have one
target whatever the model. The libraries' analyses are those that their documentation gives for
such records: lifelines' Cox regression with a row a seedling, as it is and with ``cluster_col``
for plots; statsmodels' binomial regression with the complementary log-log link and
``cov_type="cluster"``, judged by the normal quantile.
"""

from __future__ import annotations

import warnings
from collections.abc import Callable
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import stats

from survivor.errors import SurvivorError
from survivor.models.cox import fit_cox
from survivor.models.logistic import fit_logistic
from survivor.models.mixed import fit_mixed
from survivor.models.result import Fit
from survivor.vocabulary import PLOT_KEY
from tests.calibration import cells
from tests.calibration.layouts import AT

Floats = NDArray[np.float64]

PART = 125
PARTS = 8
#: Cells, by place in ``cells.CELLS``.
CHOSEN = (0, 1, 2, 4)


def _z(estimate: float, std_error: float) -> list[float]:
    width = stats.norm.ppf(0.975) * std_error
    p_value = 2 * stats.norm.sf(abs(estimate) / std_error)
    return [estimate, std_error, np.inf, estimate - width, estimate + width, p_value]


def single_seedlings(frame: pd.DataFrame) -> pd.DataFrame:
    """A row a seedling: day last looked at, whether it was found dead then, method as 0 or 1."""
    last = frame["stop_day"] == frame.groupby(list(PLOT_KEY))["stop_day"].transform("max")
    ended = (frame["died"], np.where(last, frame["at_risk"] - frame["died"], 0))
    rows = [
        frame.loc[frame.index.repeat(count), ["site", "plot", "stop_day", "method"]].assign(died=state)
        for count, state in zip(ended, (1, 0), strict=True)
    ]
    single = pd.concat(rows, ignore_index=True)
    single["alternative"] = (single.pop("method").cat.codes > 0).astype(float)
    return single


def lifelines_cox(frame: pd.DataFrame, cluster: str | None) -> list[float]:
    """Cox regression by lifelines, a baseline for each site."""
    from lifelines import CoxPHFitter

    single = single_seedlings(frame)
    if cluster is None:
        single = single.drop(columns="plot")
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # about events in so few rows a site
        found = CoxPHFitter().fit(single, "stop_day", "died", strata=["site"], cluster_col=cluster)
    return _z(float(found.params_["alternative"]), float(found.standard_errors_["alternative"]))


def statsmodels_glm(frame: pd.DataFrame) -> list[float]:
    """Complementary log-log regression by statsmodels, a row a seedling between two visits.

    Levels of site and visit, errors by plot with its small-sample factor, normal quantile.
    """
    import statsmodels.api as sm

    counts = ((frame["died"], 1.0), (frame["at_risk"] - frame["died"], 0.0))
    rows = pd.concat([frame.loc[frame.index.repeat(count)].assign(dead=state) for count, state in counts])
    levels = [pd.get_dummies(rows[name], dtype=float) for name in ("site", "stop_day")]
    method = (rows["method"].cat.codes > 0).to_numpy(dtype=float)
    columns = np.column_stack([levels[0], levels[1].iloc[:, 1:], method])
    family = sm.families.Binomial(sm.families.links.CLogLog())
    plot = pd.factorize(rows["plot"])[0]
    model = sm.GLM(rows["dead"].to_numpy(), columns, family=family)
    found = model.fit(cov_type="cluster", cov_kwds={"groups": plot})
    return _z(float(found.params[-1]), float(found.bse[-1]))


def _ours(fitted: Fit) -> Floats:
    return np.stack([cells.ratio_numbers(fitted)[0], cells.Differences()(fitted)[0]])


def _library(numbers: list[float]) -> Floats:
    return np.stack([numbers, np.full(len(numbers), np.nan)])


#: Name, target, and the numbers of one study: ratio and difference, shape (2, 6).
ANALYSES: tuple[tuple[str, str, Callable[[pd.DataFrame], Floats]], ...] = (
    ("grouped, CR2 (reported)", "grouped", lambda frame: _ours(cells.reported(frame))),
    ("lifelines Cox, a row a seedling", "cox", lambda frame: _library(lifelines_cox(frame, None))),
    ("lifelines Cox, cluster_col plot", "cox", lambda frame: _library(lifelines_cox(frame, "plot"))),
    ("statsmodels GLM, cluster, z", "visits", lambda frame: _library(statsmodels_glm(frame))),
    (
        "cox, jackknife",
        "cox",
        lambda frame: _ours(fit_cox(frame, "method", cluster="plot", strata="site")),
    ),
    (
        "logistic, CR2",
        "logistic",
        lambda frame: _ours(fit_logistic(frame, "method", cluster="plot", strata="site", at=AT, window=30.0)),
    ),
    (
        "mixed, restricted",
        "mixed",
        lambda frame: _ours(
            fit_mixed(frame, "method", cluster="plot", strata="site", points=5, restricted=True)
        ),
    ),
)


#: Names of what is kept, each with its cell.
NAMES = {f"peers, {cells.CELLS[place].name}": cells.CELLS[place] for place in CHOSEN}


def part(place: int, number: int) -> dict[str, Any]:
    """Numbers of each analysis of a part's studies, shape (studies, analyses, 2, 6)."""
    cell = cells.CELLS[CHOSEN[place]]
    found = np.full((PART, len(ANALYSES), 2, len(cells.NUMBERS)), np.nan)
    # The studies of the reported analysis: a part of those holds several of these.
    whole = cells.PART
    skip = number * PART
    drawn = cell.layout.draw(cell.random(skip // whole), whole)
    wanted = [frame for study, frame in enumerate(drawn) if 0 <= study - skip % whole < PART]
    for study, frame in enumerate(wanted):
        for column, (_, _, analyse) in enumerate(ANALYSES):
            try:
                found[study, column] = analyse(frame)
            except SurvivorError:
                continue
    return {"found": found}


def table(read: Callable[[str], dict[str, Any] | None]) -> pd.DataFrame:
    """Share of p < 0.05, or of limits that hold the target, with its simulation error."""
    rows = []
    for kept, cell in NAMES.items():
        held = read(kept)
        if held is None:
            continue
        for column, (name, kind, _) in enumerate(ANALYSES):
            targets = (cell.layout.log_ratios(kind)[0], cell.layout.differences()[0])
            for measure, target in enumerate(targets):
                estimate, std_error, _, lower, upper, p_value = held["found"][:, column, measure].T
                known = np.isfinite(p_value) & np.isfinite(lower)
                if not known.any():
                    continue
                hit = (p_value < 0.05) if cell.asked == "type I" else (lower <= target) & (target <= upper)
                share, number = hit[known].mean(), int(known.sum())
                of = ("odds ratio" if kind == "logistic" else "hazard ratio", "difference")[measure]
                rows.append(
                    {
                        "cell": cell.name,
                        "analysis": name,
                        "estimate_of": of,
                        "asked": cell.asked,
                        "studies": len(known),
                        "share_per_100": 100 * share,
                        "simulation_error": 100 * np.sqrt(share * (1 - share) / number),
                        "target": round(target, 9) + 0.0,  # no minus nought
                        "mean_estimate": estimate[known].mean(),
                        "sd_of_estimates": estimate[known].std(),
                        "root_mean_square_error_reported": np.sqrt((std_error[known] ** 2).mean()),
                        "without_limits": len(known) - number,
                    }
                )
    return pd.DataFrame(rows)
