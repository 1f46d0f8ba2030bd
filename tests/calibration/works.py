"""Calibration of answers on works: a factorial, a split plot with 8 whole plots, and a follow-up.

``python -m tests.calibration.works [STUDIES]`` prints the table, for 10,000 studies of each kind; it
stands in ``works.md``. The short form is in ``test_works.py``. Seasons are drawn with plot (or whole-plot)
effects; the target of an estimate is what the same model gives for the expected counts, averaged over
these effects, so that bias is that of the estimate and not of what it is an estimate of.
"""

from __future__ import annotations

import sys
from collections.abc import Callable
from dataclasses import dataclass
from itertools import product

import numpy as np
import pandas as pd
from scipy import stats

from survivor.errors import ModelError
from survivor.limits import root_of_diagonal, t_test
from survivor.models.fit import fit
from survivor.models.likelihood import Rows, covariance_by, solve
from survivor.models.result import Fit
from survivor.works.columns import NO, YES
from survivor.works.later import EVER, SINCE, split_at

VISITS = np.array([0.0, 150.0, 300.0, 365.0, 520.0, 730.0])
HAZARD = 0.0011
TRUTH = {"work_pre_emergent": -0.35, "work_rip": -0.55, "work_mulch_mat": 0.0}
FOLLOW_UP = (440.0, -0.6)
_NODES = np.polynomial.hermite_e.hermegauss(40)
_MANY = 10_000_000.0  # plants a plot of expected counts, which are whole numbers then
COLUMNS = ("estimate", "std_error", "df", "p_value")
PLAIN = "plain_error"  # by cluster, where the limits may be those of independent seedlings
PLOTS = ["site", "block", "plot"]
BY_WHOLE = {"whole plots": ["site", "block", "whole"], "plots": PLOTS}
NOTHING = {"work_pre_emergent": -0.35, "work_rip": 0.0}
BOTH = {"work_pre_emergent": -0.35, "work_rip": -0.55}
SEED = 20261201
#: Plants a plot of the demo cohorts, and standard deviations of the log hazard between plots about theirs.
GRID = tuple(product((25, 40), (0.2, 0.25, 0.3, 0.4, 0.5)))
_PAIRS = 15  # nodes of the effect of a whole plot


@dataclass(frozen=True)
class Spread:
    """Standard deviations of the log hazard between plots, and between whole plots."""

    plot: float
    whole: float = 0.0


PLOTS_DIFFER = Spread(0.3)
WHOLE_PLOTS_DIFFER = Spread(0.3, 0.35)


@dataclass(frozen=True)
class Layout:
    """One row a plot: its block, its whole plot, the works as 0 or 1, and whether it has the follow-up.

    ``plants`` is the number planted in each.
    """

    block: np.ndarray
    whole: np.ndarray
    works: np.ndarray
    follow_up: np.ndarray
    names: tuple[str, ...]
    plants: int = 25

    @property
    def plots(self) -> int:
        return len(self.block)


def factorial(blocks: int = 6) -> Layout:
    """2 x 2 x 2 within blocks."""
    every = np.array(list(product((0, 1), repeat=3)))
    block = np.repeat(np.arange(blocks), len(every))
    works = np.tile(every, (blocks, 1))
    return Layout(block, np.arange(len(block)), works, np.zeros(len(block), bool), tuple(TRUTH))


def split_plot(plants: int = 40, blocks: int = 4, inner: int = 4) -> Layout:
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
    return Layout(np.array(block), np.array(whole), np.array(works), none, names, plants)


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
    plants: int, cumulative: np.ndarray, effect: np.ndarray, rng: np.random.Generator
) -> tuple[np.ndarray, np.ndarray]:
    """At risk and died of each plot in each interval."""
    chance = 1 - np.exp(-cumulative * np.exp(effect)[:, None])
    alive = np.full(len(chance), plants)
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
    """Fit the model of works with a level for each block, by the front door of the package."""
    rows = frame.assign(at_risk=at_risk.ravel(), died=died.ravel())
    rows = rows[rows["at_risk"] > 0]
    return fit(rows, " + ".join(terms), strata="block", cluster=cluster, pieces=VISITS[1:-1].tolist())


@dataclass(frozen=True)
class Quick:
    """The same fit on arrays: what is alike in all studies is arranged once.

    A study that has no finite maximum goes by the front door.
    """

    frame: pd.DataFrame
    terms: list[str]
    clusters: dict[str, list[str]]
    own: dict[str, np.ndarray]  # columns, days in each piece and stratum of every row
    codes: dict[str, np.ndarray]  # cluster of every row, by kind of limits

    def answers(self, at_risk: np.ndarray, died: np.ndarray) -> dict[str, np.ndarray]:
        """Estimate, standard error, df, p and plain error of each term (rows), by kind of limits."""
        kept = at_risk > 0
        counted = {"at_risk": at_risk[kept].astype(float), "died": died[kept].astype(float)}
        data = Rows(
            **{name: part[kept] for name, part in self.own.items()}, **counted, names=tuple(self.terms)
        )
        try:
            solution = solve(data)
        except ModelError:
            solution = None
        if solution is None or solution.divergent is not None:
            made = {
                kind: fitted(self.frame, at_risk, died, self.terms, c) for kind, c in self.clusters.items()
            }
            return {kind: _numbers_of(one) for kind, one in made.items()}
        wanted = np.eye(len(self.terms), len(solution.parameters), len(solution.parameters) - len(self.terms))
        out = {}
        for kind, code in self.codes.items():
            levels, here = np.unique(code[kept], return_inverse=True)
            covariance = covariance_by(here, len(levels), data, solution, "CR2")
            errors, plain = covariance.errors(wanted), root_of_diagonal(covariance.covariance_of(wanted))
            p_value = t_test(solution.beta, errors.std_error, errors.df)
            out[kind] = np.column_stack([solution.beta, errors.std_error, errors.df, p_value, plain])
        return out


def _numbers_of(made: Fit) -> np.ndarray:
    """The same of a fit by the front door, which knows no plain error."""
    return made.table[list(COLUMNS)].assign(plain=np.nan).to_numpy(float)


def quick(frame: pd.DataFrame, terms: list[str], clusters: dict[str, list[str]]) -> Quick:
    """Arrange risk intervals, still without counts, for many studies."""
    places = [frame[term] for term in terms]
    columns = [place == YES if place.dtype == "category" else place for place in places]
    start, stop = (frame[name].to_numpy(float) for name in ("start_day", "stop_day"))
    overlap = np.minimum(stop[:, None], VISITS[1:]) - np.maximum(start[:, None], VISITS[:-1])

    def codes(names: list[str]) -> np.ndarray:
        return frame.groupby(names, sort=False).ngroup().to_numpy(np.intp)

    own = {
        "columns": np.column_stack(columns).astype(float),
        "lengths": np.clip(overlap, 0.0, None),
        "stratum": codes(["block"]),
    }
    return Quick(frame, terms, clusters, own, {kind: codes(names) for kind, names in clusters.items()})


Drawn = Callable[[np.random.Generator], tuple[np.ndarray, np.ndarray]]


def studies(
    many: Quick, drawn: Drawn, number: int, seed: int, known: tuple[list[float], np.ndarray]
) -> pd.DataFrame:
    """Draw and fit studies; one row a study, kind of limits and term, with what was put in and its target."""
    rng = np.random.default_rng(seed)
    parts: dict[str, list[np.ndarray]] = {kind: [] for kind in many.clusters}
    for _ in range(number):
        for kind, lines in many.answers(*drawn(rng)).items():
            parts[kind].append(lines)
    tables = []
    for kind, lines in parts.items():
        table = pd.DataFrame(np.vstack(lines), columns=[*COLUMNS, PLAIN])
        table.insert(0, "study", np.repeat(np.arange(number), len(many.terms)))
        table.insert(1, "limits", kind)
        table.insert(2, "term", np.tile(many.terms, number))
        truth, target = (np.tile(part, number) for part in known)
        tables.append(table.assign(put_in=truth, target=target))
    return pd.concat(tables, ignore_index=True)


def run(layout: Layout, truth: dict[str, float], number: int, seed: int, spread: Spread,
        clusters: dict[str, list[str]] | None = None) -> pd.DataFrame:  # fmt: skip
    """Simulate works before planting."""
    frame, cumulative = table_of(layout), hazards(layout, truth)
    many = quick(frame, list(layout.names), clusters or {"plots": PLOTS})
    wholes = int(layout.whole.max()) + 1

    def drawn(rng: np.random.Generator) -> tuple[np.ndarray, np.ndarray]:
        own = rng.normal(0.0, spread.plot, layout.plots)
        own += rng.normal(0.0, spread.whole, wholes)[layout.whole] if spread.whole else 0.0
        at_risk, died = counts(layout.plants, cumulative, own, rng)
        return at_risk.ravel(), died.ravel()

    known = [truth[name] for name in layout.names], limit_of(layout, truth, spread)
    return studies(many, drawn, number, seed, known)


def limit_of(layout: Layout, truth: dict[str, float], spread: Spread) -> np.ndarray:
    """What the estimate tends to with very many blocks: effects of whole plots drawn in each of them."""
    if not spread.whole:
        expected_counts = expected(hazards(layout, truth), spread.plot)
        table = fitted(table_of(layout), *expected_counts, list(layout.names), ["plot"]).table
        return table["estimate"].to_numpy()
    block = layout.block == 0
    nodes, weights = np.polynomial.hermite_e.hermegauss(_PAIRS)
    pairs = list(product(range(_PAIRS), repeat=2))
    many = Layout(
        np.repeat(np.arange(len(pairs)), block.sum()), np.arange(len(pairs) * block.sum()),
        np.tile(layout.works[block], (len(pairs), 1)), np.tile(layout.follow_up[block], len(pairs)),
        layout.names,
    )  # fmt: skip
    own = np.array([[nodes[pair[whole]] for whole in layout.whole[block]] for pair in pairs]).ravel()
    share = np.array([np.prod([weights[one] for one in pair]) for pair in pairs]) / weights.sum() ** 2
    cumulative = hazards(many, truth) * np.exp(spread.whole * own)[:, None]
    at_risk, died = expected(cumulative, spread.plot)
    by_block = np.repeat(share / share.max(), block.sum())[:, None]
    at_risk, died = np.round(at_risk * by_block), np.round(died * by_block)
    seen = by_block.ravel() > 1e-5
    frame = table_of(many)
    kept = np.repeat(seen, len(VISITS) - 1)
    table = fitted(
        frame[kept].reset_index(drop=True), at_risk[seen], died[seen], list(layout.names), ["plot"]
    ).table
    return table["estimate"].to_numpy()


def run_follow_up(number: int, seed: int, sd: float = 0.3) -> pd.DataFrame:
    """Fit the follow-up from its day on, and the naive column from planting on, to the same studies."""
    layout = follow_up()
    frame, cumulative = table_of(layout), hazards(layout, {})
    day = np.repeat(np.where(layout.follow_up, FOLLOW_UP[0], np.nan), len(VISITS) - 1)
    split, _ = split_at(frame.assign(row=np.arange(len(frame))), day)
    kept = split["row"].to_numpy()

    def drawn(rng: np.random.Generator) -> tuple[np.ndarray, np.ndarray]:
        at_risk, died = counts(layout.plants, cumulative, rng.normal(0.0, sd, layout.plots), rng)
        return at_risk.ravel()[kept], died.ravel()[kept]

    at_risk, died = expected(cumulative, sd)
    parts = []
    for term in (SINCE, EVER):
        whole = fitted(split, at_risk.ravel()[kept], died.ravel()[kept], [term], ["plot"])
        known = [FOLLOW_UP[1]], whole.table["estimate"].to_numpy()
        parts.append(studies(quick(split, [term], {"plots": PLOTS}), drawn, number, seed, known))
    return pd.concat(parts, ignore_index=True)


def summary(rows: pd.DataFrame) -> pd.DataFrame:
    """Mean estimate, bias from what was put in and from the target, coverage, and share of p under 0.05."""
    away = (rows["estimate"] - rows["target"]).abs() / stats.t.ppf(0.975, rows["df"])
    rows = rows.assign(
        covered=away <= rows["std_error"],
        covered_plain=away <= rows[PLAIN].fillna(rows["std_error"]),
        rejected=rows["p_value"] < 0.05,
    )
    found = rows.groupby(["limits", "term"], sort=False).agg(
        studies=("study", "nunique"), put_in=("put_in", "first"), target=("target", "first"),
        mean=("estimate", "mean"), spread=("estimate", "std"), covered=("covered", "mean"),
        covered_plain=("covered_plain", "mean"), rejected=("rejected", "mean"), df=("df", "mean"),
    )  # fmt: skip
    some = found["target"].abs() > 0.05
    error = found["spread"] / np.sqrt(found["studies"]) / found["target"].abs()
    return found.assign(
        from_put_in_per_cent=100 * (found["mean"] / found["put_in"] - 1).where(some),
        bias_per_cent=100 * (found["mean"] / found["target"] - 1).where(some),
        bias_error_per_cent=100 * error.where(some),
    ).reset_index()


def main(number: int) -> None:
    """Print the table."""
    pd.set_option("display.width", 200, "display.max_columns", 20)
    demo = Spread(0.25)
    every = {
        "factorial, 48 plots in 6 blocks": lambda: run(factorial(), TRUTH, number, SEED, PLOTS_DIFFER),
        "the same with plots that differ as in the demo of works, standard deviation 0.25": lambda: run(
            factorial(), TRUTH, number, SEED + 1, demo
        ),
        "split plot, 8 whole plots in 4 blocks, no effect of the whole-plot work": lambda: run(
            split_plot(), NOTHING, number, SEED + 2, WHOLE_PLOTS_DIFFER, BY_WHOLE
        ),
        "follow-up from day 440 in half of 96 plots: from its day on, and as if from planting on": lambda: (
            run_follow_up(number, SEED + 3)
        ),
    }
    for name, made in every.items():
        print(name)
        print(summary(made()).round(4).to_string(index=False, na_rep=""), flush=True)
    print("split plot, 8 whole plots in 4 blocks, both works with an effect, limits by whole plots")
    print(grid(number).round(4).to_string(index=False), flush=True)


def grid(number: int) -> pd.DataFrame:
    """Split plots of every size and spread of ``GRID``: none is left out."""
    found = []
    for place, (plants, sd) in enumerate(GRID):
        drawn = run(split_plot(plants), BOTH, number, SEED + 10 + place, Spread(sd, 0.35), BY_WHOLE)
        rows = summary(drawn).query("limits == 'whole plots'").drop(columns=["limits", "rejected", "df"])
        found.append(rows.assign(plants=plants, sd=sd))
    table = pd.concat(found)
    return table[["plants", "sd", *table.columns.drop(["plants", "sd"])]]


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 10_000)
