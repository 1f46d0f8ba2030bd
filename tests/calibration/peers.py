"""Other analyses of the same simulated studies: two libraries', and our other models.

The studies are the first of the same cells and seeds as those of the reported analysis.
Each analysis is judged by its own target (``Layout.log_ratios``); differences per 100 have one
target whatever the model. The libraries' analyses are those that their documentation gives for
such records: lifelines' Cox regression with a row a seedling, as it is and with ``cluster_col``
for plots; statsmodels' binomial regression with the complementary log-log link and
``cov_type="cluster"``, judged by the normal quantile. The libraries' analyses and our own
models are kept apart, for ours are slower and have fewer studies.
"""

from __future__ import annotations

import contextlib
import warnings
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from lifelines.exceptions import ConvergenceError
from numpy.typing import NDArray
from scipy import stats
from statsmodels.tools.sm_exceptions import PerfectSeparationError

from survivor.errors import SurvivorError
from survivor.models.cox import fit_cox
from survivor.models.logistic import fit_logistic
from survivor.models.mixed import fit_mixed
from survivor.models.result import Fit
from survivor.vocabulary import PLOT_KEY
from tests.calibration import cells
from tests.calibration.layouts import AT

Floats = NDArray[np.float64]

#: How an analysis says that it has no answer.
REFUSALS = (SurvivorError, ConvergenceError, PerfectSeparationError, np.linalg.LinAlgError)


def _z(estimate: Floats, std_error: Floats) -> Floats:
    """Numbers of ratios judged by the normal quantile, shape (measures, methods - 1, 6); no differences."""
    width = stats.norm.ppf(0.975) * std_error
    p_value = 2 * stats.norm.sf(abs(estimate) / std_error)
    df = np.full_like(estimate, np.inf)
    ratios = np.column_stack([estimate, std_error, df, estimate - width, estimate + width, p_value])
    return np.stack([ratios, np.full_like(ratios, np.nan)])


def _alternatives(method: pd.Series) -> pd.DataFrame:
    """A column of 0 and 1 for each method but the first."""
    return pd.get_dummies(method, dtype=float).iloc[:, 1:]


def single_seedlings(frame: pd.DataFrame) -> pd.DataFrame:
    """A row a seedling: day last looked at, whether it was found dead then, methods as 0 or 1."""
    last = frame["stop_day"] == frame.groupby(list(PLOT_KEY))["stop_day"].transform("max")
    ended = (frame["died"], np.where(last, frame["at_risk"] - frame["died"], 0))
    rows = [
        frame.loc[frame.index.repeat(count), ["site", "plot", "stop_day", "method"]].assign(died=state)
        for count, state in zip(ended, (1, 0), strict=True)
    ]
    single = pd.concat(rows, ignore_index=True)
    return single.join(_alternatives(single.pop("method")))


def lifelines_cox(frame: pd.DataFrame) -> Floats:
    """Cox regression by lifelines, a baseline for each site: without and with ``cluster_col`` plot.

    The estimates of the two are the same, and a fit with clusters holds the variance that the
    one without would have (``test_peers`` holds it to such a fit), so one fit serves both.
    """
    from lifelines import CoxPHFitter

    found = CoxPHFitter().fit(
        single_seedlings(frame), "stop_day", "died", strata=["site"], cluster_col="plot"
    )
    estimate = found.params_.to_numpy()
    alone = np.sqrt(np.diag(found.variance_matrix_.to_numpy()))
    return np.stack([_z(estimate, alone), _z(estimate, found.standard_errors_.to_numpy())])


def statsmodels_glm(frame: pd.DataFrame) -> Floats:
    """Complementary log-log regression by statsmodels, a row a seedling between two visits.

    Levels of site and visit, errors by plot with its small-sample factor, normal quantile.
    """
    import statsmodels.api as sm

    counts = ((frame["died"], 1.0), (frame["at_risk"] - frame["died"], 0.0))
    rows = pd.concat([frame.loc[frame.index.repeat(count)].assign(dead=state) for count, state in counts])
    levels = [pd.get_dummies(rows[name], dtype=float) for name in ("site", "stop_day")]
    methods = _alternatives(rows["method"])
    columns = np.column_stack([levels[0], levels[1].iloc[:, 1:], methods])
    family = sm.families.Binomial(sm.families.links.CLogLog())
    plot = pd.factorize(rows["plot"])[0]
    model = sm.GLM(rows["dead"].to_numpy(), columns, family=family)
    found = model.fit(cov_type="cluster", cov_kwds={"groups": plot})
    of = methods.shape[1]
    return _z(found.params[-of:], found.bse[-of:])[None]


def _ours(fitted: Fit) -> Floats:
    return np.stack([cells.ratio_numbers(fitted), cells.Differences()(fitted)])[None]


def _cox(frame: pd.DataFrame) -> Floats:
    return _ours(fit_cox(frame, "method", cluster="plot", strata="site"))


def _logistic(frame: pd.DataFrame) -> Floats:
    return _ours(fit_logistic(frame, "method", cluster="plot", strata="site", at=AT, window=30.0))


def _mixed(frame: pd.DataFrame) -> Floats:
    return _ours(fit_mixed(frame, "method", cluster="plot", strata="site", points=5, restricted=True))


#: Analyses of one study: the numbers of one or more of the lines of the table, shape
#: (lines, 2 measures, methods - 1, 6), and of each line its name and its target.
Analyses = tuple[tuple[Callable[[pd.DataFrame], Floats], tuple[tuple[str, str], ...]], ...]
LIBRARIES: Analyses = (
    (
        lifelines_cox,
        (("lifelines Cox, a row a seedling", "cox"), ("lifelines Cox, cluster_col plot", "cox")),
    ),
    (statsmodels_glm, (("statsmodels GLM, cluster, z", "visits"),)),
)
OWN: Analyses = (
    (_cox, (("cox, jackknife", "cox"),)),
    (_logistic, (("logistic, CR2", "logistic"),)),
    (_mixed, (("mixed, restricted", "mixed"),)),
)


@dataclass(frozen=True)
class Group:
    """Analyses kept together: so many studies a part, so many parts a cell."""

    name: str
    analyses: Analyses
    studies: int
    parts: int

    def kept(self, cell: cells.Cell) -> str:
        """Name of what is kept of a cell."""
        return f"{self.name}, {cell.name}"

    @property
    def lines(self) -> list[tuple[str, str]]:
        """Name and target of each line, in order."""
        return [line for _, lines in self.analyses for line in lines]


GROUPS = (Group("libraries", LIBRARIES, 250, 4), Group("own models", OWN, 50, 20))


def part(group: Group, place: int, number: int) -> dict[str, Any]:
    """Numbers of each line in a part's studies, shape (studies, lines, 2, methods - 1, 6).

    An analysis that refuses a study has blanks.
    """
    cell = cells.CELLS[place]
    comparisons = len(cell.layout.cohort.methods) - 1
    shape = (group.studies, len(group.lines), len(cells.MEASURES), comparisons, len(cells.NUMBERS))
    found = np.full(shape, np.nan)
    # The studies of the reported analysis: a part of those holds several of these.
    whole = cells.PART
    skip = number * group.studies
    drawn = cell.layout.draw(cell.random(skip // whole), whole)
    wanted = [frame for study, frame in enumerate(drawn) if 0 <= study - skip % whole < group.studies]
    with warnings.catch_warnings():
        # Of the libraries: few deaths a site, methods without deaths. What they answer is counted.
        warnings.simplefilter("ignore")
        for study, frame in enumerate(wanted):
            line = 0
            for analyse, lines in group.analyses:
                with contextlib.suppress(REFUSALS):
                    found[study, line : line + len(lines)] = analyse(frame)
                line += len(lines)
    return {"found": found}


def _rows(
    cell: cells.Cell, name: str, kind: str, found: Floats, ended: NDArray[np.int8]
) -> list[dict[str, object]]:
    refused = np.isnan(found).all(axis=(1, 2, 3))
    rows = cells.summary(cell, found, np.where(refused, cells.FAILED, ended).astype(np.int8), kind)
    for row in rows:
        if kind == "logistic" and row["estimate_of"] == "hazard ratio":
            row["estimate_of"] = "odds ratio"
        for column in ("band", "within", "penalised"):
            del row[column]
    return [{"cell": row.pop("cell"), "analysis": name, **row} for row in rows]


def table(read: Callable[[str], dict[str, Any] | None]) -> pd.DataFrame:
    """Share of p < 0.05, or of limits that hold the target, with its simulation error.

    The reported analysis stands first, over the same studies as the libraries' analyses. Means
    and errors are of studies whose deaths did not need the penalised fit, as in the first table.
    """
    rows: list[dict[str, object]] = []
    for cell in cells.CELLS:
        reported = read(cell.name)
        held = {group: read(group.kept(cell)) for group in GROUPS}
        most = max((len(each["found"]) for each in held.values() if each is not None), default=0)
        if reported is None or most == 0:
            continue
        first = reported["found"][:most], reported["ended"][:most]
        rows += _rows(cell, "grouped, CR2 (reported)", "grouped", *first)
        for group, each in held.items():
            if each is None:
                continue
            for line, (name, kind) in enumerate(group.lines):
                found = each["found"][:, line]
                rows += _rows(cell, name, kind, found, reported["ended"][: len(found)])
    return pd.DataFrame(rows)
