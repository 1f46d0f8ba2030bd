"""How long curves and models take on large plantings, beside other libraries in the same run.

Run ``python -m tests.benchmarks.speed`` (about ten minutes); with a path it writes its table there:
``python -m tests.benchmarks.speed tests/benchmarks/README.md``. Nothing is asserted: seconds are those of
one machine on one day, and only the ratios of a run say something.

The planting: 40 seedlings on each of 25,000 plots at 3,000 sites, three preparations, six visits; plots vary
(standard deviation of the log hazard 0.5). Peers are given a tenth of it.
"""

from __future__ import annotations

import os
import sys
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import lifelines
import numpy as np
import pandas as pd
import statsmodels.api as sm
from statsmodels.stats.multitest import multipletests

from survivor.curves import curve
from survivor.errors import CurveError
from survivor.models.fit import fit
from survivor.models.result import holm
from survivor.simulate.drawing import draw_intervals
from tests.benchmarks.mixed_fit import cohort

VISITS = np.array([60.0, 150, 270, 365, 540, 730])
METHODS = ["usual practice", "first", "second"]


@dataclass(frozen=True)
class Planting:
    """Day of death of each seedling, shape (plots, seedlings); site and method of each plot."""

    death: np.ndarray
    site: np.ndarray
    method: np.ndarray


def planting(plots: int, sites: int, seed: int = 1, seedlings: int = 40) -> Planting:
    rng = np.random.default_rng(seed)
    site, method = np.arange(plots) * sites // plots, np.arange(plots) % len(METHODS)
    plot = np.array([0.0, -0.3, -0.6])[method] + rng.normal(0, 0.4, sites)[site] + rng.normal(0, 0.5, plots)
    death = rng.exponential(1200, (plots, seedlings)) / np.exp(plot)[:, None]
    return Planting(death, site, method)


def _names(letter: str, codes: np.ndarray, count: int, text: bool) -> pd.Categorical | np.ndarray:
    labels = np.array([f"{letter}{number:07d}" for number in range(count)], dtype=object)
    return labels[codes] if text else pd.Categorical.from_codes(codes, categories=pd.Index(labels))


def _table(drawn: Planting, plot: np.ndarray, text: bool, **columns: np.ndarray) -> pd.DataFrame:
    return pd.DataFrame(
        {
            "site": _names("S", drawn.site[plot], int(drawn.site.max()) + 1, text),
            "plot": _names("P", plot, len(drawn.site), text),
            "method": pd.Categorical.from_codes(drawn.method[plot], categories=pd.Index(METHODS)),
            **columns,
        }
    )


def tagged(drawn: Planting, text: bool = False) -> pd.DataFrame:
    """One row a seedling and visit."""
    starts = np.concatenate([[0.0], VISITS[:-1]])
    plot, seedling, visit = np.nonzero(drawn.death[:, :, None] > starts)
    died = (drawn.death[plot, seedling] <= VISITS[visit]).astype(np.int64)
    tags = _names("T", plot * drawn.death.shape[1] + seedling, drawn.death.size, text)
    times = {"start_day": starts[visit], "stop_day": VISITS[visit]}
    return _table(drawn, plot, text, tag=tags, **times, at_risk=np.ones_like(died), died=died)


def counted(drawn: Planting) -> pd.DataFrame:
    """One row a plot and visit."""
    starts = np.concatenate([[0.0], VISITS[:-1]])
    at_risk = (drawn.death[:, :, None] > starts).sum(axis=1)
    died = at_risk - (drawn.death[:, :, None] > VISITS).sum(axis=1)
    plot, visit = np.nonzero(at_risk)
    times = {"start_day": starts[visit], "stop_day": VISITS[visit]}
    return _table(drawn, plot, False, **times, at_risk=at_risk[plot, visit], died=died[plot, visit])


def irregular(drawn: Planting, seed: int = 2) -> pd.DataFrame:
    """One row a seedling and visit, every plot with six days of its own out of two years."""
    rng = np.random.default_rng(seed)
    days = np.sort(rng.permuted(np.tile(np.arange(1.0, 731), (len(drawn.site), 1)), axis=1)[:, :6], axis=1)
    starts = np.concatenate([np.zeros((len(days), 1)), days[:, :-1]], axis=1)
    plot, seedling, visit = np.nonzero(drawn.death[:, :, None] > starts[:, None, :])
    died = (drawn.death[plot, seedling] <= days[plot, visit]).astype(np.int64)
    times = {"start_day": starts[plot, visit], "stop_day": days[plot, visit]}
    tags = _names("T", plot * drawn.death.shape[1] + seedling, drawn.death.size, False)
    return _table(drawn, plot, False, tag=tags, **times, at_risk=np.ones_like(died), died=died)


@dataclass(frozen=True)
class Timed:
    """Best of some runs, in seconds of the clock and of the processor."""

    clock: float
    processor: float
    answer: object


def timed(run: Callable[[], object], repeats: int) -> Timed:
    best: Timed | None = None
    for _ in range(repeats):
        clock, processor = time.perf_counter(), time.process_time()
        answer = run()
        found = Timed(time.perf_counter() - clock, time.process_time() - processor, answer)
        best = found if best is None or found.clock < best.clock else best
    if best is None:
        raise ValueError("at least one run is needed")
    return best


def _ratio(found: object) -> str:
    row = found.table.iloc[0]
    return f"log hazard ratio {row['estimate']:.4f} ({row['std_error']:.4f})"


def _lifelines(frame: pd.DataFrame) -> str:
    """Cox by visit days on one row a seedling, a baseline for each site, errors by plot."""
    last = frame.groupby("tag", observed=True, sort=False).tail(1)
    columns = {name: (last["method"] == name).astype(float) for name in METHODS[1:]}
    rows = pd.DataFrame({"day": last["stop_day"], "died": last["died"], **columns}).assign(
        site=last["site"].cat.codes, plot=last["plot"].cat.codes
    )
    model = lifelines.CoxPHFitter().fit(rows, "day", "died", strata=["site"], cluster_col="plot")
    return f"log hazard ratio {model.params_.iloc[0]:.4f} ({model.standard_errors_.iloc[0]:.4f})"


def _statsmodels(frame: pd.DataFrame) -> str:
    """Complementary log-log regression on one row a seedling and visit, a column a visit, errors by plot."""
    visits = (frame["stop_day"].to_numpy()[:, None] == VISITS).astype(float)
    methods = [(frame["method"] == name).to_numpy(float) for name in METHODS[1:]]
    link = sm.families.Binomial(sm.families.links.CLogLog())
    model = sm.GLM(frame["died"].to_numpy(float), np.column_stack([*methods, visits]), family=link)
    found = model.fit(cov_type="cluster", cov_kwds={"groups": frame["plot"].cat.codes.to_numpy()})
    return f"log hazard ratio {found.params[0]:.4f} ({found.bse[0]:.4f})"


def table() -> pd.DataFrame:
    """Run everything; one row a run."""
    lines: list[dict[str, object]] = []

    def add(what: str, rows: int, aim: str, run: Callable[[], object], repeats: int = 3) -> None:
        found = timed(run, repeats)
        answer = found.answer if isinstance(found.answer, str) else _answer(found.answer)
        line = {
            "what": what,
            "rows": f"{rows:,}",
            "aim, s": aim,
            "clock, s": f"{found.clock:.2f}",
            "processor, s": f"{found.processor:.2f}",
            "runs": repeats,
            "load": f"{os.getloadavg()[0]:.1f}",
            "answer": answer,
        }
        print(*line.values(), sep=" | ", flush=True)
        lines.append(line)

    large = planting(25_000, 3_000)
    frame = counted(large)
    add("grouped, CR2, site levels, 1,000,000 counted", len(frame), "0.5", lambda: fit(frame, "method"))
    add("mixed, plot effect, the same", len(frame), "20", lambda: fit(frame, "method", "mixed"), 1)
    singles = tagged(large)
    add("grouped, CR2, site levels, 1,000,000 tagged", len(singles), "1.0", lambda: fit(singles, "method"))
    add("survival curve, limits by plot, the same", len(singles), "1.0", lambda: curve(singles))
    add("mixed, plot effect, the same", len(singles), "20", lambda: fit(singles, "method", "mixed"), 1)
    names = tagged(large, text=True)
    add("grouped, the same, names as text", len(names), "1.5", lambda: fit(names, "method"))
    small = planting(2_500, 300)
    rows = tagged(small)
    ragged = irregular(small)
    turnbull = "Turnbull, 100,000 tagged, days of their own"
    one = {"estimator": "turnbull"}
    add(f"{turnbull}, without plots", len(ragged), "2", lambda: curve(ragged, cluster=None, **one))
    add(f"{turnbull}, limits by plot", len(ragged), "2", lambda: curve(ragged, **one))
    add("grouped, CR2, site levels, 100,000 tagged", len(rows), "", lambda: fit(rows, "method"))
    add("cox of this package, site baselines, by plot", len(rows), "", lambda: fit(rows, "method", "cox"), 1)
    add("lifelines Cox, site baselines, by plot", len(rows), "peer", lambda: _lifelines(rows), 1)
    add("grouped, CR2, one level", len(rows), "", lambda: fit(rows, "method", strata=None))
    add("statsmodels GLM cloglog, one level, by plot", len(rows), "peer", lambda: _statsmodels(rows), 1)
    species = draw_intervals(cohort(3000), 3)
    what = "mixed, plot effect, 1,008,000 counted, four species, eight visits"
    add(what, len(species), "20", lambda: fit(species, "method + species", "mixed"), 1)
    three = np.array([0.01, 0.04, 0.03])

    def repeat(adjusted: Callable[[], np.ndarray]) -> np.ndarray:
        return np.array([adjusted() for _ in range(100)])[0]

    def peer() -> np.ndarray:
        return np.asarray(multipletests(three, method="holm")[1])

    add("Holm over three comparisons, 100 times", 3, "", lambda: repeat(lambda: holm(three)))
    add("statsmodels multipletests, the same", 3, "peer", lambda: repeat(peer), 1)
    return pd.DataFrame(lines)


def _answer(found: object) -> str:
    if isinstance(found, np.ndarray):
        return ", ".join(f"{value:.2f}" for value in found)
    if hasattr(found, "at") and callable(found.at):
        return f"{found.at(365):.4f} alive at day 365" if _told(found) else "between days"
    return _ratio(found)


def _told(found: object) -> bool:
    try:
        found.at(365)
    except CurveError:
        return False
    return True


def _markdown(found: pd.DataFrame) -> str:
    head = list(found.columns)
    lines = ["| " + " | ".join(head) + " |", "|" + "---|" * len(head)]
    lines += ["| " + " | ".join(str(value) for value in row) + " |" for row in found.to_numpy().tolist()]
    return "\n".join(lines)


if __name__ == "__main__":
    found = table()
    if len(sys.argv) > 1:
        path = Path(sys.argv[1])
        text = path.read_text(encoding="utf-8") if path.exists() else ""
        before, _, after = text.partition("<!-- table -->")
        rest = after.partition("<!-- end -->")[2]
        body = f"{before}<!-- table -->\n\n{_markdown(found)}\n\n<!-- end -->{rest}"
        path.write_text(body, encoding="utf-8")
