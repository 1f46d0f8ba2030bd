"""Choices that the analysis of a season makes before it answers: what do they cost?

``python -m tests.calibration.season_choices DIRECTORY`` simulates what is not there yet, keeps it in
DIRECTORY a part at a time, and writes ``season_choices.csv`` beside this file from whatever parts there
are. Two choices are made anew in each study, by the package's own code:

- where the F test of period by method rejects (p under 0.05), survival and differences come from
  the model with a ratio of hazards in each period, else from the one with one ratio;
- where the 90th percentile of plants a plot is more than 4 times the 10th, plots are weighted by
  a working correlation, else every seedling counts as one.

Beside the whole rule stand its two branches, each taken in every study. All is of the difference
in survival at 12 months, per 100 planted, with 24 plots at 6 sites that differ by 0.5 on the log
hazard (``balanced`` of the calibration table).
"""

from __future__ import annotations

import sys
import zlib
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cached_property, partial
from pathlib import Path

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from survivor.effects.compare import ratios_of, working_of
from survivor.errors import SurvivorError
from survivor.models.by_period import fit_varying
from survivor.models.fit import fit
from survivor.models.result import Fit
from survivor.models.working import INDEPENDENCE, PLOT_CORRELATION
from survivor.simulate.cohort import average_survival, knots_of_site
from tests.calibration.cells import NUMBERS, SEED, Differences, slug
from tests.calibration.layouts import AT, Layout, balanced
from tests.calibration.table import read as read_parts
from tests.calibration.table import run

Floats = NDArray[np.float64]

TABLE = Path(__file__).with_suffix(".csv")
#: Studies of a part, and parts of a case.
PART, PARTS = 125, 20


@dataclass(frozen=True, eq=False)
class Changing(Layout):
    """A layout of two methods whose ratio of hazards is another in each piece of the hazard.

    ``ratios`` are logs, one a piece, of the second method to the first; every plot has 20 plants.
    """

    ratios: tuple[float, ...] = ()

    @cached_property
    def _reached(self) -> tuple[Floats, Floats]:
        """Baseline cumulative hazard of each method and site at planting and visits, and at ``AT``."""
        first = self.cohort.hazards
        other = tuple(hazard * float(np.exp(ratio)) for hazard, ratio in zip(first, self.ratios, strict=True))
        days = np.array((0, *self.cohort.visit_days[0]), dtype=float)
        knots = [
            [knots_of_site(replace(self.cohort, hazards=hazards), site) for site in range(self.cohort.sites)]
            for hazards in (first, other)
        ]
        reached = np.array([[np.interp(days, *one) for one in of_method] for of_method in knots])
        return reached, np.array([[np.interp(AT, *one) for one in of_method] for of_method in knots])

    @cached_property
    def cumulative(self) -> Floats:
        """As of ``Layout``."""
        fixed = np.array(self.cohort.site_effects, dtype=float)
        return self._reached[0][self.method, self.site] * np.exp(fixed[self.site])[:, None]

    def differences(self) -> Floats:
        """As of ``Layout``."""
        fixed, plants = np.array(self.cohort.site_effects, dtype=float), np.ones(self.cohort.sites)
        alive = [average_survival(at_day, fixed, plants, self.cohort.plot_sd) for at_day in self._reached[1]]
        return np.array([100 * (alive[1] - alive[0])])


@dataclass(frozen=True)
class Case:
    """One simulated truth: its name, what is asked, the layout, and whether plot sizes are drawn anew."""

    name: str
    asked: str
    layout: Layout
    sizes: tuple[int, int] | None = None


def _one(effect: float) -> Layout:
    return balanced(6, 2, effects=(effect,), plot_sd=0.5)


def _changing(*ratios: float) -> Layout:
    like = _one(0.0)
    return Changing(like.cohort, like.site, like.method, like.size, ratios)


def _even_at_the_day() -> Layout:
    """More deaths before the dry season and fewer in it, as many in all at 12 months."""
    reached = knots_of_site(_one(0.0).cohort, 0)[1]  # all sites were planted on one day
    before, dry = np.diff(reached)[:2]
    early = 0.8
    return _changing(early, float(np.log(1 - before * np.expm1(early) / dry)), 0.0, 0.0, 0.0)


PERIODS = (
    Case("one ratio, methods alike", "type I", _one(0.0)),
    Case("one ratio, log hazard ratio -0.5", "coverage", _one(-0.5)),
    Case("ratio by period, alike at 12 months", "type I", _even_at_the_day()),
    Case("ratio by period, log -0.9 in the dry season only", "coverage", _changing(0.0, -0.9, 0.0, 0.0, 0.0)),
)
#: Sizes drawn evenly on the log scale: the 90th percentile is 4.3 times the 10th on the whole.
SIZES = (
    Case("sizes 8 to 50 drawn anew, methods alike", "type I", _one(0.0), (8, 50)),
    Case("sizes 8 to 50 drawn anew, log hazard ratio -0.5", "coverage", _one(-0.5), (8, 50)),
)
CASES = PERIODS + SIZES
PERIOD_LINES = ("the rule of a season", "one ratio all season", "a ratio in each period")
SIZE_LINES = ("the rule of a season", "every seedling counts as one", "working correlation")


def _numbers(fitted: Fit | None, differences: Differences) -> Floats:
    return np.full(len(NUMBERS), np.nan) if fitted is None else differences(fitted)[0]


def _differences(fitted: Fit | None, differences: Differences) -> Floats:
    return np.full(len(NUMBERS), np.nan) if fitted is None else differences(fitted)[0]


def by_period(frame: pd.DataFrame, differences: Differences) -> tuple[Floats, bool, bool]:
    """Numbers of each line, shape (3, 6); whether the test rejects; whether it does and no model answers."""
    headline = fit(frame, "method", strata="site")
    chosen = ratios_of(headline, "method")
    answer, said, unfitted = chosen.fit, chosen.said, chosen.unfitted
    each: Fit | None = answer
    if answer is headline:
        try:
            each = fit_varying(headline, "method")
        except SurvivorError:
            each = None
    one, varying = _differences(headline, differences), _differences(each, differences)
    return np.stack([one if answer is headline else varying, one, varying]), bool(said), unfitted


def by_size(frame: pd.DataFrame, differences: Differences) -> tuple[Floats, bool, bool]:
    """Numbers of each line, shape (3, 6); whether plots are weighted; that a model always answers."""
    working, said = working_of(frame)
    plain, weighted = (
        _differences(fit(frame, "method", strata="site", working=one), differences)
        for one in (INDEPENDENCE, PLOT_CORRELATION)
    )
    return np.stack([plain if working == INDEPENDENCE else weighted, plain, weighted]), bool(said), False


def studies(case: Case, part: int, number: int) -> dict[str, NDArray[np.generic]]:
    """Studies of a part: ``found`` (number, 3, 6), ``target``, ``chosen`` and ``unfitted`` (number,)."""
    random = np.random.default_rng([SEED, zlib.crc32(case.name.encode()), part])
    found = np.full((number, 3, len(NUMBERS)), np.nan)
    target, chosen, unfitted = np.empty(number), np.zeros(number, bool), np.zeros(number, bool)
    differences = Differences()
    for study in range(number):
        layout = case.layout
        if case.sizes is not None:
            low, high = np.log(case.sizes)
            sizes = np.rint(np.exp(random.uniform(low, high, len(layout.size)))).astype(np.intp)
            layout, differences = replace(layout, size=sizes), Differences()
        target[study] = layout.differences()[0]
        frame = next(layout.draw(random, 1))
        choose = by_size if case.sizes else by_period
        found[study], chosen[study], unfitted[study] = choose(frame, differences)
    return {"found": found, "target": target, "chosen": chosen, "unfitted": unfitted}


def rows(case: Case, held: dict[str, NDArray[np.generic]]) -> list[dict[str, object]]:
    """Rows of the table, one a line: share of false alarms, or of limits that hold the true difference."""
    lines = SIZE_LINES if case.sizes else PERIOD_LINES
    told = []
    for line, name in enumerate(lines):
        estimate, std_error, _, lower, upper, p_value = np.asarray(held["found"], dtype=float)[:, line].T
        target = np.asarray(held["target"], dtype=float)
        known = np.isfinite(lower) & np.isfinite(upper)
        hit = (p_value < 0.05) if case.asked == "type I" else (lower <= target) & (target <= upper)
        share = float(hit[known].mean())
        told.append(
            {
                "truth": case.name,
                "answer": name,
                "asked": case.asked,
                "studies": len(known),
                "share_per_100": 100 * share,
                "simulation_error": 100 * np.sqrt(share * (1 - share) / known.sum()),
                "target": round(float(target.mean()), 6) + 0.0,  # no minus nought
                "mean_estimate": float(estimate[known].mean()),
                "sd_of_errors": float((estimate - target)[known].std()),
                "root_mean_square_error_reported": float(np.sqrt((std_error[known] ** 2).mean())),
                "chosen_per_100": 100 * float(held["chosen"].mean()),
                "unfitted": int(held["unfitted"].sum()),
                "without_limits": int((~known).sum()),
            }
        )
    return told


def part(place: int, number: int) -> dict[str, NDArray[np.generic]]:
    """Studies of one part of a case."""
    return studies(CASES[place], number, PART)


def kept(case: Case) -> str:
    """Name of what is kept of a case."""
    return f"season choices, {case.name}"


def table(read: Callable[[str], dict[str, NDArray[np.generic]] | None]) -> pd.DataFrame:
    """The table of the cases of which there is something."""
    held = [(case, read(kept(case))) for case in CASES]
    return pd.DataFrame([row for case, found in held if found is not None for row in rows(case, found)])


def main(where: Path, parts: int) -> None:
    """Simulate what is not there yet, and write the table."""
    jobs = [
        (f"{slug(kept(case))}.{number:02d}", part, (place, number))
        for number in range(parts)
        for place, case in enumerate(CASES)
    ]
    run(where, jobs, 1)
    write(where)


def write(where: Path) -> None:
    """Write the table of whatever parts there are."""
    found = table(partial(read_parts, where))
    said = f"# python -m tests.calibration.season_choices DIRECTORY; seed {SEED}\n"
    text = found.to_csv(index=False, float_format="%.4g", lineterminator="\n")
    TABLE.write_text(said + text, encoding="utf-8")
    print(found.to_string(index=False, float_format="{:.2f}".format))


if __name__ == "__main__":
    main(Path(sys.argv[1]), int(sys.argv[2]) if len(sys.argv) > 2 else PARTS)
