"""Calibration of answers on works: a factorial, a split plot with 8 whole plots, and a follow-up.

``python -m tests.calibration.works [STUDIES]`` prints the table for 10,000 studies of each kind. The
short form is in ``test_works.py``. Seasons are drawn with plot (or whole-plot) effects; the target of
an estimate is what the same model gives for the expected counts, averaged over these effects, so that
bias is that of the estimate and not of what it is an estimate of.
"""

from __future__ import annotations

import sys
from dataclasses import dataclass
from itertools import product

import numpy as np
import pandas as pd
from scipy import stats

from survivor.models.fit import fit
from survivor.models.result import Fit
from survivor.works.columns import NO, YES
from survivor.works.later import EVER, SINCE, split_at

VISITS = np.array([0.0, 150.0, 300.0, 365.0, 520.0, 730.0])
HAZARD = 0.0011
TRUTH = {"work_pre_emergent": -0.35, "work_rip": -0.55, "work_mulch_mat": 0.0}
FOLLOW_UP = (440.0, -0.6)
PLANTS = 25
_NODES = np.polynomial.hermite_e.hermegauss(40)
_MANY = 10_000_000.0  # plants a plot of expected counts, which are whole numbers then
COLUMNS = ("study", "term", "estimate", "std_error", "df", "p_value")


@dataclass(frozen=True)
class Layout:
    """One row a plot: its block, its whole plot, the works as 0 or 1, and whether it has the follow-up."""

    block: np.ndarray
    whole: np.ndarray
    works: np.ndarray
    follow_up: np.ndarray
    names: tuple[str, ...]

    @property
    def plots(self) -> int:
        return len(self.block)


def factorial(blocks: int = 6) -> Layout:
    """2 x 2 x 2 within blocks."""
    every = np.array(list(product((0, 1), repeat=3)))
    block = np.repeat(np.arange(blocks), len(every))
    works = np.tile(every, (blocks, 1))
    return Layout(block, np.arange(len(block)), works, np.zeros(len(block), bool), tuple(TRUTH))


def split_plot(blocks: int = 4, inner: int = 4) -> Layout:
    """Two whole plots a block, one ripped; half of the plots within each sprayed with a pre-emergent."""
    block, whole, works = [], [], []
    for b in range(blocks):
        for rip in (0, 1):
            for n in range(inner):
                block.append(b)
                whole.append(2 * b + rip)
                works.append((n % 2, rip))
    names = ("work_pre_emergent", "work_rip")
    none = np.zeros(len(block), bool)
    return Layout(np.array(block), np.array(whole), np.array(works), none, names)


def follow_up(blocks: int = 12, plots: int = 8) -> Layout:
    """Half of the plots of every block with a follow-up spray."""
    block = np.repeat(np.arange(blocks), plots)
    got = np.tile(np.arange(plots) % 2 == 0, blocks)
    return Layout(block, np.arange(len(block)), np.zeros((len(block), 0), int), got, ())


def table_of(layout: Layout) -> pd.DataFrame:
    """Risk intervals without their counts: a row a plot and interval between visits."""
    spans = len(VISITS) - 1
    frame = pd.DataFrame(
        {
            "site": "s",
            "block": [f"b{n}" for n in np.repeat(layout.block, spans)],
            "whole": [f"w{n}" for n in np.repeat(layout.whole, spans)],
            "plot": [f"p{n}" for n in np.repeat(np.arange(layout.plots), spans)],
            "start_day": np.tile(VISITS[:-1], layout.plots),
            "stop_day": np.tile(VISITS[1:], layout.plots),
        }
    )
    for place, name in enumerate(layout.names):
        got = np.repeat(layout.works[:, place] == 1, spans)
        frame[name] = pd.Categorical(np.where(got, YES, NO), categories=[NO, YES])
    return frame


def hazards(layout: Layout, truth: dict[str, float]) -> np.ndarray:
    """Cumulative hazard of each plot in each interval, without its own effect, shape (plots, spans)."""
    pace = HAZARD * np.exp(layout.works @ np.array([truth[name] for name in layout.names]))
    day, ratio = FOLLOW_UP
    begins, ends = VISITS[:-1], VISITS[1:]
    after = np.clip(ends - np.maximum(begins, day), 0, None)
    before = (ends - begins) - after
    with_it = before + after * np.exp(ratio)
    length = np.where(layout.follow_up[:, None], with_it, ends - begins)
    return np.asarray(pace[:, None] * length)


def counts(
    cumulative: np.ndarray, effect: np.ndarray, rng: np.random.Generator
) -> tuple[np.ndarray, np.ndarray]:
    """At risk and died of each plot in each interval."""
    chance = 1 - np.exp(-cumulative * np.exp(effect)[:, None])
    alive = np.full(len(chance), PLANTS)
    at_risk, died = np.empty(chance.shape, int), np.empty(chance.shape, int)
    for span in range(chance.shape[1]):
        at_risk[:, span] = alive
        died[:, span] = rng.binomial(alive, chance[:, span])
        alive = alive - died[:, span]
    return at_risk, died


def expected(cumulative: np.ndarray, sd: float) -> tuple[np.ndarray, np.ndarray]:
    """Expected counts, averaged over the effects of plots, of very many plants."""
    nodes, weights = _NODES
    until = np.cumsum(np.hstack([np.zeros((len(cumulative), 1)), cumulative]), axis=1)
    alive = np.exp(-until[:, :, None] * np.exp(sd * nodes)) @ (weights / weights.sum())
    whole = np.round(_MANY * alive)
    return whole[:, :-1], whole[:, :-1] - whole[:, 1:]


def fitted(
    frame: pd.DataFrame, at_risk: np.ndarray, died: np.ndarray, terms: list[str], cluster: list[str]
) -> Fit:
    """Fit the model of works with a level for each block."""
    rows = frame.assign(at_risk=at_risk.ravel(), died=died.ravel())
    rows = rows[rows["at_risk"] > 0]
    return fit(rows, " + ".join(terms), strata="block", cluster=cluster, pieces=VISITS[1:-1].tolist())


def run(layout: Layout, truth: dict[str, float], number: int, seed: int, sd: float, whole_sd: float = 0.0,
        clusters: dict[str, list[str]] | None = None) -> pd.DataFrame:  # fmt: skip
    """Draw and fit studies; one row a study, kind of limits and term, with its target."""
    frame, cumulative = table_of(layout), hazards(layout, truth)
    terms = list(layout.names)
    kinds = clusters or {"plots": ["site", "block", "plot"]}
    target = fitted(frame, *expected(cumulative, float(np.hypot(sd, whole_sd))), terms, ["plot"]).params
    rng = np.random.default_rng(seed)
    rows = []
    for study in range(number):
        own = rng.normal(0.0, sd, layout.plots)
        own += rng.normal(0.0, whole_sd, int(layout.whole.max()) + 1)[layout.whole] if whole_sd else 0.0
        at_risk, died = counts(cumulative, own, rng)
        for kind, cluster in kinds.items():
            table = fitted(frame, at_risk, died, terms, cluster).table
            for term, line in zip(terms, table.to_dict("records"), strict=False):
                rows.append(
                    (study, kind, term, *(line[name] for name in COLUMNS[2:]), target[f"{term}[T.{YES}]"])
                )
    return pd.DataFrame(rows, columns=["study", "limits", *COLUMNS[1:], "target"])


def run_follow_up(number: int, seed: int, sd: float = 0.3) -> pd.DataFrame:
    """Fit the follow-up from its day on, and the naive column from planting on, to the same studies."""
    layout = follow_up()
    frame, cumulative = table_of(layout), hazards(layout, {})
    day = np.repeat(np.where(layout.follow_up, FOLLOW_UP[0], np.nan), len(VISITS) - 1)
    split, _ = split_at(frame.assign(row=np.arange(len(frame))), day)
    kept = split["row"].to_numpy()
    targets = {}
    for term in (SINCE, EVER):
        at_risk, died = expected(cumulative, sd)
        whole = fitted(split, at_risk.ravel()[kept], died.ravel()[kept], [term], ["plot"])
        targets[term] = whole.params[term]
    rng = np.random.default_rng(seed)
    rows = []
    for study in range(number):
        at_risk, died = counts(cumulative, rng.normal(0.0, sd, layout.plots), rng)
        for term in (SINCE, EVER):
            made = fitted(split, at_risk.ravel()[kept], died.ravel()[kept], [term], ["site", "block", "plot"])
            line = made.table.iloc[0]
            rows.append((study, "plots", term, *(line[name] for name in COLUMNS[2:]), targets[term]))
    return pd.DataFrame(rows, columns=["study", "limits", *COLUMNS[1:], "target"])


def summary(rows: pd.DataFrame) -> pd.DataFrame:
    """Mean estimate and bias from the target, coverage of 95 % limits, and share of p under 0.05."""
    half = stats.t.ppf(0.975, rows["df"]) * rows["std_error"]
    rows = rows.assign(
        covered=(rows["estimate"] - rows["target"]).abs() <= half, rejected=rows["p_value"] < 0.05
    )
    found = rows.groupby(["limits", "term"], sort=False).agg(
        studies=("study", "nunique"), target=("target", "first"), mean=("estimate", "mean"),
        spread=("estimate", "std"), covered=("covered", "mean"), rejected=("rejected", "mean"),
        df=("df", "mean"),
    )  # fmt: skip
    return found.assign(
        bias_per_cent=100 * (found["mean"] / found["target"] - 1).where(found["target"].abs() > 0.05),
        bias_error_per_cent=100 * found["spread"] / np.sqrt(found["studies"]) / found["target"].abs(),
    ).reset_index()


NOTHING = {"work_pre_emergent": -0.35, "work_rip": 0.0}
BY_WHOLE = {"whole plots": ["site", "block", "whole"], "plots": ["site", "block", "plot"]}


def main(number: int) -> None:
    """Print the table."""
    pd.set_option("display.width", 200, "display.max_columns", 20)
    print("factorial, 48 plots in 6 blocks")
    print(summary(run(factorial(), TRUTH, number, 20240601, 0.3)).round(4).to_string())
    print("split plot, 8 whole plots in 4 blocks, no effect of the whole-plot work")
    print(summary(run(split_plot(), NOTHING, number, 20240602, 0.2, 0.35, BY_WHOLE)).round(4).to_string())
    print("follow-up from day 440 in half of 96 plots: from its day on, and as if from planting on")
    print(summary(run_follow_up(number, 20240603)).round(4).to_string())


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 10_000)
