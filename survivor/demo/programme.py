"""The demo programme: as many invented studies as are asked for, of several organisations and years.

Written one after another, so that no more than one is held at a time. A study is drawn from its number
alone: the first ten of a programme of three hundred are those of a programme of ten. They differ in kind,
size, ground, rain and untidiness; about one in twelve cannot be used, each for another reason. Its truth
lies beside each study, and what all share lies in ``truth.json``.
"""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np
import pandas as pd

from survivor.arguments import count
from survivor.demo.files import INVENTED, csv_bytes, filled, json_bytes
from survivor.demo.watching import Habits, watch
from survivor.demo.weather import DRY_SEASON
from survivor.errors import DemoError
from survivor.files.writing import write_whole
from survivor.simulate.cohort import Cohort, true_effects
from survivor.simulate.drawing import Drawn, draw_records

SEED: Final = 1704
USUAL: Final = "spot spray only"
#: Log hazard ratio against the usual practice, and how far studies differ round it.
EFFECTS: Final = {
    USUAL: (0.0, 0.0),
    "hand scalp": (0.20, 0.15),
    "spray and mulch mat": (-0.10, 0.45),
    "spray and rip": (-0.45, 0.15),
    "spray and auger": (-0.30, 0.20),
}
GROUNDS: Final = {"clay": 0.25, "loam": -0.15, "sand": 0.10}  # log hazard of the ground itself
_DRY: Final = (0.0016, 0.0028, 0.0048)  # deaths a day in a wet, a middling and a dry summer
_FIRST_YEAR: Final = 2014
_SPECIES: Final = (("blackwood", 0.0), ("river red gum", -0.2), ("sweet bursaria", 0.3))
ORGANISATIONS: Final = (
    "Arran Vale Landcare", "Brennick Catchment Trust", "Coldmere Council", "Dunmarsh Rivers",
    "Eskendale Bushcare", "Farrow Plains Alliance",
)  # fmt: skip
_FIRST: Final = ("Ash", "Birk", "Cor", "Dun", "Elm", "Fen", "Gor", "Hol", "Ir", "Kel", "Lark", "Mar")
_LAST: Final = ("combe", "dale", "ford", "garth", "holme", "ley", "mere", "ness", "stead", "thwaite", "well")
_APART: Final = 29  # one study in so many is one in which ripping did harm
_WORDS: Final[tuple[dict[str, str], ...]] = (
    {},
    {"A": "alive", "D": "dead", "M": "missing", "NF": "not found"},
    {"A": "1", "D": "0", "M": "missing", "NF": "not found"},
)


@dataclass(frozen=True)
class _Plan:
    """What one study is like."""

    number: int
    organisation: str
    year: int
    ground: str
    kind: str
    cohort: Cohort
    sites: tuple[str, ...]
    hidden: bool
    target: float | None
    untidy: int


def write_programme(folder: str | Path, studies: int, *, overwrite: bool = False) -> Iterator[Path]:
    """Write the studies of a programme one after another; yields the folder of each once it is whole.

    Parameters
    ----------
    folder
        Where to write; a folder an organisation is made in it, with a folder a study.
    studies
        How many.
    overwrite
        Whether a file of the same name that holds something else is replaced.

    Raises
    ------
    DemoError
        When a file of the same name holds something else; what stands there is as it was.
    """
    count(studies, "--programme", DemoError, "give a number of studies, such as 40")
    top = Path(folder)
    for number in range(studies):
        plan = _plan(number)
        home = top / _slug(plan.organisation) / f"{plan.year}-{number + 1:04d}-{_slug(plan.sites[0])}"
        for name, content in _files(plan).items():
            _keep(home / name, content, overwrite)
        yield home
    _keep(top / "truth.json", json_bytes(_truth()), overwrite)


def _keep(path: Path, content: bytes, overwrite: bool) -> None:
    if path.exists() and not overwrite and path.read_bytes() != content:
        raise DemoError(
            f"this file holds something else than the demo and would be lost: {path}",
            mend="name another folder, or add --overwrite",
        )
    write_whole(path, content, "the demo programme")


def _slug(name: str) -> str:
    return "-".join(name.lower().split())


def _plan(number: int) -> _Plan:
    """Draw what a study is like, from its number alone."""
    rng = np.random.default_rng((SEED, number))
    ground = str(rng.choice(list(GROUNDS)))
    year = _FIRST_YEAR + int(rng.integers(0, 10))
    others = [name for name in EFFECTS if name != USUAL]
    kept = [USUAL, *sorted(map(str, rng.choice(others, size=int(rng.integers(2, 5)), replace=False)))]
    methods = tuple((name, EFFECTS[name][0] + float(rng.normal(0, 1)) * EFFECTS[name][1]) for name in kept)
    if number % _APART == _APART - 1:
        methods = tuple((name, 1.4 if name == "spray and rip" else effect) for name, effect in methods)
    sites = int(rng.integers(3, 7))
    start = dt.date(year, 6, 1) + dt.timedelta(days=int(rng.integers(0, 40)))
    dry = _DRY[(year * 7) % 3] * float(np.exp(GROUNDS[ground] + rng.normal(0, 0.25)))
    days = tuple(
        tuple(int(day) for day in np.array((45, 180, 300, 365)) + rng.integers(-8, 9, 4))
        for _ in range(sites)
    )
    cohort = Cohort(
        methods=methods,
        species=_SPECIES[: int(rng.integers(1, 4))],
        sites=sites,
        blocks=int(rng.integers(2, 4)),
        seedlings=int(rng.integers(12, 26)),
        planted=tuple(start + dt.timedelta(days=int(rng.integers(0, 12))) for _ in range(sites)),
        visit_days=days,
        dry_season=DRY_SEASON,
        hazards=(0.0004, dry, 0.0003, 0.0005),
        plot_sd=0.3,
        site_sd=0.3,
        method_by_site_sd=0.15,
    )
    places = rng.choice(len(_FIRST) * len(_LAST), size=sites, replace=False)
    return _Plan(
        number=number,
        organisation=ORGANISATIONS[int(rng.integers(len(ORGANISATIONS)))],
        year=year,
        ground=ground,
        kind=("tagged", "counts")[int(rng.integers(2))],
        cohort=cohort,
        sites=tuple(f"{_FIRST[p % len(_FIRST)]}{_LAST[p // len(_FIRST)]}" for p in places),
        hidden=bool(rng.random() < 0.15),
        target=float(rng.choice([50, 60, 70])) if rng.random() < 0.7 else None,
        untidy=int(rng.integers(3)),
    )


def _files(plan: _Plan) -> dict[str, bytes]:
    reason, spoil = "", None
    if plan.number % 12 == 11:
        reason, spoil = _BROKEN[(plan.number // 12) % len(_BROKEN)]
    if reason == _COPY:
        plan = _plan(plan.number - 1)
    rng = np.random.default_rng((SEED, plan.number, 1))
    drawn = draw_records(plan.cohort, rng)
    plots, visits = _sheets(plan, drawn, rng)
    files = {
        "study.toml": _study(plan),
        "plots.csv": csv_bytes(list(map(str, plots)), plots.itertuples(index=False, name=None)),
        "visits.csv": csv_bytes(list(map(str, visits)), visits.itertuples(index=False, name=None)),
    }
    told = true_effects(plan.cohort, (365.0,)).table.round(4).to_dict("records")
    truth = {"what": INVENTED, "cannot_be_used": reason or None, "unit": "per 100 planted", "methods": told}
    return (files if spoil is None else spoil(files)) | {"truth.json": json_bytes(truth)}


def _sheets(plan: _Plan, drawn: Drawn, rng: np.random.Generator) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Return the plot sheet and the sheet of visits, as people of that organisation keep them."""
    place = drawn.plots["site"].str.removeprefix("site ").astype(int).to_numpy() - 1
    planted = pd.to_datetime(drawn.plots["planted_date"])
    written = "%Y-%m-%d" if plan.untidy != 1 else "%d/%m/%Y"
    plots = pd.DataFrame(
        {
            "Site": [plan.sites[p] for p in place],
            "Block": drawn.plots["block"].to_numpy(),
            "Plot": [f"P{row + 1}" for row in range(len(drawn.plots))],
            "Preparation": drawn.plots["method"].to_numpy(),
            "Planting date": planted.dt.strftime(written).to_numpy(),
            "Number planted": plan.cohort.seedlings,
            "Soil texture": plan.ground,
            "Landholder": [f"Holder of {plan.sites[p]}" for p in place],
        }
    )
    of_plot = np.repeat(np.arange(len(plots)), plan.cohort.seedlings)
    days = np.array([plan.cohort.visit_days[p] for p in place])[of_plot]
    gone = 0.18 if plan.kind == "tagged" else 0.0
    habits = Habits(plot_missed=0.01 * (1 + plan.untidy), not_found=0.006 * (1 + plan.untidy), gone=gone)
    seen = watch(drawn.seedlings["death_day"].to_numpy(), days, of_plot, habits, rng)
    dates = (planted.to_numpy()[of_plot, None] + days.astype("timedelta64[D]")).astype("datetime64[D]")
    tags = np.arange(len(of_plot)) + 1
    rows = [
        pd.DataFrame(
            {
                "Site": plots["Site"].to_numpy()[of_plot],
                "Block": plots["Block"].to_numpy()[of_plot],
                "Plot": plots["Plot"].to_numpy()[of_plot],
                "Tag": [f"{tag:05d}" for tag in tags],
                "Species": drawn.seedlings["species"].replace("", _SPECIES[0][0]).to_numpy(),
                "Date": pd.Series(dates[:, visit]).dt.strftime(written),
                "State": pd.Series(seen.words[:, visit]).replace(_WORDS[plan.untidy]),
                "alive": seen.words[:, visit] == "A",
                "missed": seen.plot_missed[:, visit],
                "listed": seen.listed[:, visit],
            }
        )
        for visit in range(days.shape[1])
    ]
    visits = pd.concat(rows, ignore_index=True)
    if plan.kind == "tagged":
        return plots, visits[visits["listed"]].drop(columns=["alive", "missed", "listed"])
    # Counts are of what stands: a plant overlooked once is counted at the next visit, so none rises here.
    visits["alive"] = np.concatenate(
        [drawn.seedlings["death_day"].to_numpy() > days[:, visit] for visit in range(days.shape[1])]
    )
    keys = ["Site", "Block", "Plot", "Date"]
    counted = visits[~visits["missed"]].groupby(keys, sort=False)["alive"].sum().reset_index()
    return plots, counted.rename(columns={"alive": "No. alive"})


def _study(plan: _Plan) -> bytes:
    methods = "".join(f"\n[[methods]]\nname = {json.dumps(name)}\n" for name, _ in plan.cohort.methods)
    target = (
        ""
        if plan.target is None
        else (f'\n[target]\nsurvival_per_100 = {plan.target:g}\nmilestone = "12 months"\n')
    )
    order = 'date_order = "day-first"\n' if plan.untidy == 1 else ""
    states = "".join(
        f'{json.dumps(word)} = "{state}"\n'
        for word, state in zip(
            _WORDS[plan.untidy].values() or ("A", "D", "M", "NF"),
            ("alive", "dead", "missing", "not found"),
            strict=True,
        )
    )
    rules = '\n[rules]\ntagged = "at planting"\n' if plan.kind == "tagged" else ""
    told = f"\n[records.states]\n{states}" if plan.kind == "tagged" else ""
    places = {
        "name": f"{plan.sites[0]} and {len(plan.sites) - 1} more sites, planted in {plan.year} (invented)",
        "seed": str(plan.number + 1),
        "closed": f"{plan.year + 1}-09-30",
        "kind": plan.kind,
        "order": order,
        "told": told,
        "rules": rules,
        "usual": USUAL,
        "dry start": DRY_SEASON[0],
        "dry end": DRY_SEASON[1],
        "target": target,
        "methods": methods,
        "organisation": plan.organisation,
        "show places": str(not plan.hidden).lower(),
    }
    return filled("programme-study.toml", places)


Files = dict[str, bytes]


def _no_toml(files: Files) -> Files:
    return files | {"study.toml": files["study.toml"].replace(b"[records]", b"[records", 1)}


def _no_visits(files: Files) -> Files:
    return {name: content for name, content in files.items() if name != "visits.csv"}


def _headings_only(files: Files) -> Files:
    return files | {"visits.csv": files["visits.csv"].splitlines(keepends=True)[0]}


def _no_dates(files: Files) -> Files:
    lines = files["visits.csv"].decode().splitlines()
    at = lines[0].split(",").index("Date")
    rows = [
        ",".join("some day" if i == at else c for i, c in enumerate(line.split(","))) for line in lines[1:]
    ]
    return files | {"visits.csv": "\n".join([lines[0], *rows, ""]).encode()}


def _unknown_key(files: Files) -> Files:
    return files | {"study.toml": files["study.toml"].replace(b"shape =", b"shap =", 1)}


#: What is wrong with a study that cannot be used, and how it comes to be.
_COPY: Final = "a copy of the study before it, saved under another name"
_BROKEN: Final[tuple[tuple[str, Callable[[Files], Files]], ...]] = (
    ("the study file is not TOML", _no_toml),
    ("the sheet of visits is not there", _no_visits),
    ("the sheet of visits has headings only", _headings_only),
    (_COPY, dict),
    ("no date can be read", _no_dates),
    ("the study file has a key that means nothing", _unknown_key),
)


def _truth() -> dict[str, object]:
    rows = {name: {"log_hazard_ratio": mean, "between_studies": sd} for name, (mean, sd) in EFFECTS.items()}
    return {"what": INVENTED, "methods": rows, "log_hazard_of_ground": GROUNDS}
