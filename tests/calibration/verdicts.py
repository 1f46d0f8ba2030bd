"""How often a headline's verdict or grade is false, from the sheets of records to ``findings.json``.

``python -m tests.calibration.verdicts FOLDER [STUDIES]`` draws studies of the kinds of the demo cohorts
``tagged`` and ``counts``, writes the sheets that field people would have written, reads, checks and analyses
them as ``survivor report`` does, and compares what ``findings.json`` says with the truth that they were drawn
from. Every study is added to ``FOLDER/verdicts.csv`` when it is done; a run that was stopped goes on. The
long form is 1,000 studies of each kind (an hour and a half of one core); the table is printed at the end.

Every preparation does nothing in four studies of ten and else has a log hazard ratio from a normal with
standard deviation 0.4; all hazards are raised or lowered by a common factor, so that targets are kept and
missed about equally often. Rain, weather, soil water, costs and heights are left out of the study file: no
verdict judged here reads them. In ``tagged`` all preparations have weed-free patches of one range of radii,
so that one that does nothing differs in nothing. Truth is of these sites and averaged over what differs from
plot to plot, by numerical integration.
"""

from __future__ import annotations

import datetime as dt
import json
import sys
import tempfile
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pandas as pd
import tomlkit

from survivor.demo import counts, tagged
from survivor.demo.files import text_file
from survivor.report.tables import findings_json
from survivor.simulate.cohort import average_survival, true_effects
from survivor.study import load

SEED = 20261129
DAY = 365.0
KINDS = ("tagged", "counts")
LIMITS = ("estimate", "lower", "upper", "lower_simultaneous", "upper_simultaneous")
COLUMNS = ("kind", "study", "what", "grade", "said", *LIMITS, "truth", "target")
NOTHING, EFFECT_SD = 0.4, 0.4  # chance that a preparation does nothing; SD of the others' log hazard ratio
HARDER = {"tagged": (-0.6, 0.2), "counts": (-0.5, 0.3)}  # range of the common factor's logarithm
_LEFT_OUT = ("works", "gauges", "weather", "soil", "costs", "spacing", "infill", "stocking", "heights",
             "planted", "photo_points", "corrections")  # fmt: skip
_RADII = 21  # points of a range of radii at which survival is averaged


@dataclass(frozen=True)
class Drawn:
    """The files of a study; true survival of all, and each preparation's true difference, per 100."""

    files: Mapping[str, bytes]
    survival: float
    differences: Mapping[str, float]


def drawn(kind: str, study: int) -> Drawn:
    """Draw a study; the same kind and number always give the same files."""
    rng = np.random.default_rng([SEED, KINDS.index(kind), study])
    return _tagged(rng) if kind == "tagged" else _counts(rng)


def _effects(names: Iterable[str], rng: np.random.Generator) -> dict[str, float]:
    usual, *others = names
    does = rng.random(len(others)) >= NOTHING
    ratios = np.where(does, rng.normal(0.0, EFFECT_SD, len(others)), 0.0)
    return {usual: 0.0, **dict(zip(others, map(float, ratios), strict=True))}


def _tagged(rng: np.random.Generator) -> Drawn:
    effects = _effects(tagged.COHORT.method_names, rng)
    factor = float(np.exp(rng.uniform(*HARDER["tagged"])))
    hazards = tuple(hazard * factor for hazard in tagged.COHORT.hazards)
    cohort = replace(tagged.COHORT, methods=tuple(effects.items()), hazards=hazards, radius_m=((0.25, 0.75),))
    truth = true_effects(cohort, (DAY,)).table.set_index("method")
    files = {"study.toml": study_file("tagged"), **tagged.field_sheets(cohort, rng)}
    return Drawn(files, float(truth["survival"].mean()), truth["difference"].to_dict())


def _counts(rng: np.random.Generator) -> Drawn:
    effects = _effects(counts.METHODS, rng)
    shift = rng.uniform(*HARDER["counts"])
    plots = counts.draw_plots(rng)
    plots = replace(plots, log_hazard=plots.log_hazard + shift)
    truth = _truth_of_counts(plots, effects)
    files = {"study.toml": study_file("counts"), "plot counts.xlsx": counts.count_sheet(plots, effects, rng)}
    survival = float(np.average(truth["survival"], weights=truth["planted"]))
    usual, *others = effects
    return Drawn(files, survival, {name: _at_shared_sites(truth, name, usual) for name in others})


def _truth_of_counts(plots: counts.Plots, effects: Mapping[str, float]) -> pd.DataFrame:
    """One row a plot: its survival per 100 averaged over plot effects and the radii of its preparation."""
    around = np.linspace(-1, 1, _RADII) * counts.RADIUS_EITHER_WAY_M
    survival = []
    for index, method in enumerate(plots.method):
        radii = counts.RADIUS_M[method] + around - plots.radius_m[index]
        log_hazard = plots.log_hazard[index] + counts.RADIUS_LOG_HAZARD * radii + effects[method]
        base = np.full(_RADII, counts.cumulative_hazard(plots.planted_date[index], DAY))
        survival.append(100 * average_survival(base, log_hazard, np.ones(_RADII), counts.PLOT_SD))
    columns = {"site": plots.site, "method": plots.method, "planted": plots.planted, "survival": survival}
    return pd.DataFrame(columns)


def _at_shared_sites(truth: pd.DataFrame, method: str, usual: str) -> float:
    """Difference at the sites that hold both, by the plants of each site; NaN where there is none."""
    sites = truth.pivot_table(index="site", columns="method", values="survival", aggfunc="mean")
    both = sites[[method, usual]].dropna()
    if both.empty:
        return float("nan")
    plants = truth.groupby("site")["planted"].sum().loc[both.index]
    return float(np.average(both[method] - both[usual], weights=plants))


def study_file(kind: str) -> bytes:
    """The demo's study file without what no verdict judged here reads."""
    content = tomlkit.parse(text_file(f"{kind}-study.toml").decode())
    for table in _LEFT_OUT:
        content.pop(table, None)
    for method in content["methods"]:
        for key in ("cost", "costs"):
            method.pop(key, None)
    return tomlkit.dumps(content).encode()


def said_of(kind: str, study: int) -> pd.DataFrame:
    """One row an answer on the headline, the target or a comparison, beside the truth: ``COLUMNS``."""
    made = drawn(kind, study)
    with tempfile.TemporaryDirectory() as folder:
        for name, content in made.files.items():
            (Path(folder) / name).write_bytes(content)
        found = load(folder)
        told = json.loads(findings_json(found.analysis))["findings"]
    target = found.settings.target
    rows = []
    for finding in told:
        if finding["key"] == "target":
            what, truth, says = "target", made.survival, finding["verdict"]
        elif finding["key"] == "headline" or " against " in finding["key"]:
            what = "headline" if finding["key"] == "headline" else "comparison"
            level = finding["methods"][0] if finding["methods"] else ""
            truth, says = made.differences.get(level, float("nan")), finding["reading"]
        else:
            continue
        limits = (finding[name] for name in LIMITS)
        rows.append((kind, study, what, finding["grade"], says, *limits, truth, target.survival_per_100))
    return pd.DataFrame(rows, columns=list(COLUMNS))


def run(kind: str, studies: Iterable[int]) -> Iterator[pd.DataFrame]:
    """Give the answers of each study in turn."""
    for study in studies:
        yield said_of(kind, study)


def written(said: pd.DataFrame) -> str:
    """Write the table of all that was said as the rows of a Markdown table."""
    table = table_of(said).fillna("")
    lines = [list(table.columns), ["---"] * len(table.columns), *table.astype(str).to_numpy().tolist()]
    return "\n".join(f"| {' | '.join(line)} |" for line in lines)


def table_of(said: pd.DataFrame) -> pd.DataFrame:
    """How many answers of each kind were given, and how many of them are false.

    A target said to be met is false where the truth is below it, one said to be missed where it is not. A
    ``clear difference`` is false where the truth is none or the other way. ``misses`` counts the answers
    whose 95 % CI leaves the truth out, ``misses_together`` those whose interval allowing for the choice does.
    """
    target = said["what"] == "target"
    kept = said["truth"] >= said["target"]
    wrong_target = ((said["said"] == "met") & ~kept) | ((said["said"] == "missed") & kept)
    clear = said["said"] == "clear difference"
    wrong_side = clear & (np.sign(said["truth"].round(9)) != np.sign(said["estimate"]))
    truth = said["truth"]
    misses = (truth < said["lower"]) | (truth > said["upper"])
    together = (truth < said["lower_simultaneous"]) | (truth > said["upper_simultaneous"])
    known = said["lower"].notna() & truth.notna()
    frame = said.assign(
        grade=said["grade"].fillna("no grade").where(~target, ""),
        false=np.where(target, wrong_target, wrong_side),
        misses=misses.where(known),
        misses_together=together.where(known & said["lower_simultaneous"].notna()),
    )
    grouped = frame.groupby(["kind", "what", "said", "grade"], dropna=False)
    counted = ("false", "misses", "misses_together")
    table = grouped.agg(answers=("false", "size"), **{name: (name, "sum") for name in counted})
    for name in counted:
        table[name] = table[name].astype(int)
        table[f"{name} per 100"] = (100 * table[name] / table["answers"]).astype(float).round(1)
    return table.reset_index()


def main(folder: Path, studies: int, until: dt.datetime | None = None) -> pd.DataFrame:
    """Go on to that many studies of each kind in turn, or until that time, and return all that was said."""
    folder.mkdir(parents=True, exist_ok=True)
    file = folder / "verdicts.csv"
    done = pd.read_csv(file)[["kind", "study"]].drop_duplicates() if file.exists() else pd.DataFrame()
    have = set(done.itertuples(index=False, name=None))
    for study in range(studies):
        for kind in KINDS:
            if (kind, study) in have:
                continue
            if until is not None and dt.datetime.now() > until:
                break
            said_of(kind, study).to_csv(file, mode="a", header=not file.exists(), index=False)
    return pd.read_csv(file)


if __name__ == "__main__":
    every = main(Path(sys.argv[1]), int(sys.argv[2]) if len(sys.argv) > 2 else 1_000)
    print(every.groupby("kind")["study"].nunique().rename("studies").to_string())
    print(written(every))
