"""The ``works`` cohort: a season of pre-emergent, rip and mulch, each with and without, and its diary.

Everything is invented, the places too. Lots were drawn within blocks for the three works, for the month
in which weed control began, for ripping dry or wet, and for the follow-up spray on day 400. A few
plots did not get what was drawn for them; the diary says so.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, replace
from itertools import product
from typing import Final

import numpy as np

from survivor.demo.files import INVENTED, csv_bytes, dictionary, json_bytes, text_file
from survivor.demo.weather import DRY_SEASON, GaugePlan, gauge_file
from survivor.simulate.cohort import average_survival, hazard_knots, season_cuts
from survivor.vocabulary import PER_100

SEED: Final = 20220601
SITES: Final = ("Cobbet Rise", "Elmire Flat", "Fennick Bank")
BLOCKS: Final = ("B1", "B2", "B3", "B4")
PLANTS: Final = 25
PLANTED: Final = (dt.date(2022, 6, 1), dt.date(2022, 6, 8), dt.date(2022, 6, 15))
VISITS: Final = (42, 160, 300, 365, 455, 640, 730)
HAZARDS: Final = (0.0006, 0.0030, 0.0004, 0.0011, 0.0003)
SITE_EFFECTS: Final = (-0.25, 0.05, 0.20)
PLOT_SD: Final = 0.25
EFFECTS: Final = {"pre-emergent": -0.40, "rip": -0.60, "mulch mat": -0.10}
LEAD_PER_MONTH: Final = -0.05  # log hazard for each month that weed control began earlier
LEAD_FROM: Final = 6.0  # months at which it is zero
WET_RIP: Final = 0.35  # log hazard of a plot ripped wet, against one ripped dry
FOLLOW_UP: Final = -0.60  # log hazard from its day on
FOLLOW_UP_DAY: Final = 400
_MONTH: Final = 30.4375
_NAMES: Final = {"pre-emergent": "pre-emergent", "rip": "rip", "mulch mat": "mulch"}

_GAUGE = GaugePlan(
    first=dt.date(2010, 1, 1),
    last=dt.date(2024, 8, 31),
    wetness=0.95,
    dry_spell=(dt.date(2022, 12, 1), dt.date(2023, 4, 10)),
    dry_factor=0.60,
    not_read=((dt.date(2014, 5, 1), dt.date(2014, 5, 31)),),
    blank=((dt.date(2023, 1, 9), dt.date(2023, 1, 12)),),
    accumulated=(dt.date(2023, 2, 13),),
    provisional_from=dt.date(2024, 7, 1),
)


@dataclass(frozen=True)
class Plot:
    """A plot as it was drawn, and as it was done."""

    site: int
    block: str
    label: str
    planned: frozenset[str]
    done: frozenset[str]
    lead_months: float
    wet: bool
    follow_up: bool
    second: bool  # a second spray, forty days before planting
    effect: float  # of the plot itself, on the log hazard
    late: frozenset[str] = frozenset()
    in_diary: bool = True

    @property
    def method(self) -> str:
        """What the preparation of the plot is called: what was drawn for it."""
        own = [_NAMES[work] for work in EFFECTS if work in self.planned]
        if len(own) < 2:
            return f"spray, {own[0]}" if own else "spray only"
        return f"spray, {', '.join(own[:-1])} and {own[-1]}"

    def log_hazard(self, done: frozenset[str] | None = None) -> float:
        """Return the log hazard of works before planting, lead time and ground, without the plot's own."""
        works = self.done if done is None else done
        ripped_wet = WET_RIP if self.wet and "rip" in works else 0.0
        lead = LEAD_PER_MONTH * (self.lead_months - LEAD_FROM)
        return sum(EFFECTS[work] for work in works) + ripped_wet + lead + SITE_EFFECTS[self.site]


def works_files() -> dict[str, bytes]:
    """Every file of the cohort, by name."""
    rng = np.random.default_rng(SEED)
    plots = draw_plots(rng)
    counts = _count(plots, rng)
    return {
        "study.toml": text_file("works-study.toml"),
        "DATA-DICTIONARY.md": dictionary("works-dictionary.md"),
        "plots.csv": csv_bytes(
            ("Site", "Block", "Plot", "Preparation", "Planted on", "Plants"), _plots(plots)
        ),
        "counts.csv": csv_bytes(("Site", "Block", "Plot", "Visit", "Date", "Alive"), counts),
        "diary.csv": csv_bytes(_DIARY, _diary(plots, rng)),
        "rain.csv": gauge_file(_GAUGE, rng),
        "truth.json": json_bytes(_truth(plots)),
    }


def draw_plots(rng: np.random.Generator) -> list[Plot]:
    """Draw the lots of every block, and let a few plots get something else than was drawn."""
    works = tuple(EFFECTS)
    every = [
        frozenset(w for w, got in zip(works, line, strict=True) if got) for line in product((0, 1), repeat=3)
    ]
    plots: list[Plot] = []
    for site, block in product(range(len(SITES)), BLOCKS):
        leads = rng.permutation(np.linspace(1.2, 14.0, len(every)))
        follow = rng.permutation([True] * 4 + [False] * 4)
        second = rng.permutation([True] * 4 + [False] * 4)
        wet = rng.permutation([True, True, False, False])  # of the four that are ripped
        order = rng.permutation(len(every))
        for number, which in enumerate(order):
            own = every[which]
            ripped = [w for w in order[: number + 1] if "rip" in every[w]]
            plots.append(
                Plot(
                    site, block, f"P{number + 1}", own, own, float(leads[number]),
                    bool(wet[len(ripped) - 1]) if "rip" in own else False, bool(follow[number]),
                    bool(second[number]) and leads[number] > 2.5,
                    float(rng.normal(0.0, PLOT_SD)),
                )
            )  # fmt: skip
    return _departed(plots)


def _departed(plots: list[Plot]) -> list[Plot]:
    """Let some works not be done, one be late, one be done unasked, and one plot not be written of."""
    out = list(plots)
    ripped = [n for n, plot in enumerate(plots) if plot.planned == frozenset(("rip",))]
    mulched = [n for n, plot in enumerate(plots) if plot.planned == frozenset(("mulch mat",))]
    bare = [n for n, plot in enumerate(plots) if not plot.planned]
    for place in (ripped[1], ripped[5]):
        out[place] = replace(plots[place], done=plots[place].planned - {"rip"})
    late = ripped[8]
    out[late] = replace(plots[late], done=plots[late].planned - {"rip"}, late=frozenset(("rip",)))
    out[mulched[2]] = replace(plots[mulched[2]], done=plots[mulched[2]].planned - {"mulch mat"})
    out[bare[4]] = replace(plots[bare[4]], done=frozenset(("mulch mat",)))
    out[mulched[9]] = replace(plots[mulched[9]], in_diary=False)
    return out


def _cumulative(planted: dt.date, day: float, follow_up: bool) -> float:
    knots = hazard_knots(season_cuts(planted, DRY_SEASON, 1200.0), HAZARDS)
    whole = float(np.interp(day, *knots))
    if not follow_up or day <= FOLLOW_UP_DAY:
        return whole
    before = float(np.interp(FOLLOW_UP_DAY, *knots))
    return before + (whole - before) * float(np.exp(FOLLOW_UP))


def _count(plots: list[Plot], rng: np.random.Generator) -> list[tuple[object, ...]]:
    rows: list[tuple[object, ...]] = []
    for plot in plots:
        planted, alive, last = PLANTED[plot.site], PLANTS, 0.0
        ratio = float(np.exp(plot.log_hazard() + plot.effect))
        for number, day in enumerate(VISITS, start=1):
            until = _cumulative(planted, day, plot.follow_up)
            alive = int(rng.binomial(alive, np.exp(-(until - last) * ratio)))
            last = until
            date = planted + dt.timedelta(days=day)
            told: object = "" if rng.random() < 0.02 else alive
            rows.append((SITES[plot.site], plot.block, plot.label, number, f"{date:%d/%m/%Y}", told))
    return sorted(rows, key=lambda row: (int(str(row[3])), SITES.index(str(row[0]))))


def _plots(plots: list[Plot]) -> list[tuple[object, ...]]:
    return [(SITES[p.site], p.block, p.label, p.method, PLANTED[p.site].isoformat(), PLANTS) for p in plots]


_DIARY: Final = ("Site", "Block", "Plot", "Preparation", "Work", "Date", "Pass", "Soil", "Depth (cm)", "Note")


def _diary(plots: list[Plot], rng: np.random.Generator) -> list[tuple[object, ...]]:
    """Rows of the diary in the order of days: of a plot, or of all plots of a preparation at a site."""
    rows: list[tuple[dt.date, tuple[object, ...]]] = []

    def write(day: dt.date, place: tuple[str, str, str, str], *what: object) -> None:
        work, number, soil, depth, note = what
        rows.append((day, (*place, work, f"{day:%d/%m/%Y}", number, soil, depth, note)))

    for plot in plots:
        if not plot.in_diary:
            continue
        planted, place = PLANTED[plot.site], (SITES[plot.site], plot.block, plot.label, "")
        began = planted - dt.timedelta(days=round(plot.lead_months * _MONTH))
        write(began, place, "knockdown", 1, "", "", "")
        if plot.second:
            write(planted - dt.timedelta(days=40), place, "spot spray", 2, "", "", "")
        if "rip" in plot.done:
            day = planted - dt.timedelta(
                days=int(rng.integers(12, 25) if plot.wet else rng.integers(75, 110))
            )
            write(day, place, "rip", "", "wet" if plot.wet else "dry", int(rng.integers(35, 56)), "")
        if "rip" in plot.late:
            write(planted + dt.timedelta(days=20), place, "rip", "", "wet", 40, "tractor came late")
        if "mulch mat" in plot.done:
            write(planted, place, "mulch mat", "", "", "", "")
        if plot.follow_up:
            write(planted + dt.timedelta(days=FOLLOW_UP_DAY), place, "follow-up spray", "", "", "", "")
    methods = dict.fromkeys(plot.method for plot in plots if "pre-emergent" in plot.planned)
    for site, name in product(range(len(SITES)), methods):
        day = PLANTED[site] - dt.timedelta(days=30)
        write(day, (SITES[site], "", "", name), "pre-emergent", "", "", "", "all plots of it")
    return [row for _, row in sorted(rows, key=lambda pair: pair[0])]


def _truth(plots: list[Plot]) -> dict[str, object]:
    works = []
    for day in (365.0, 730.0):
        base = np.array([_cumulative(PLANTED[plot.site], day, plot.follow_up) for plot in plots])
        for work in EFFECTS:
            alive = [_alive(plots, base, {work}, add=add) for add in (True, False)]
            works.append(_line(work, day, EFFECTS[work], alive))
    base_of = {
        got: np.array([_cumulative(PLANTED[p.site], 730.0, got) for p in plots]) for got in (True, False)
    }
    follow = [_alive(plots, base_of[got], set(), add=True) for got in (True, False)]
    works.append(_line("follow-up weed control", 730.0, FOLLOW_UP, follow))
    base = np.array([_cumulative(PLANTED[plot.site], 365.0, plot.follow_up) for plot in plots])
    leads = [_alive([replace(p, lead_months=m) for p in plots], base, set(), add=True) for m in (13.0, 2.0)]
    works.append(
        _line("weed control begun 13 months before planting, against 2", 365.0, 11 * LEAD_PER_MONTH, leads)
    )
    return {
        "what": INVENTED,
        "unit": PER_100,
        "basis": (
            "over the plots of the season, with the ground, lead time and other works of each as they were "
            "done, averaged over plot effects by numerical integration; log_hazard_ratio is conditional on "
            "the plot"
        ),
        "works": works,
        "lead_log_hazard_per_month": LEAD_PER_MONTH,
        "ripped_wet_against_dry_log_hazard_ratio": WET_RIP,
        "rip_x_mulch_mat_log_hazard_ratio": 0.0,
        "sd_log_hazard": {"plot": PLOT_SD},
        "site_log_hazard": dict(zip(SITES, SITE_EFFECTS, strict=True)),
        "baseline_deaths_per_seedling_per_day": list(HAZARDS),
    }


def _alive(plots: list[Plot], base: np.ndarray, works: set[str], *, add: bool) -> float:
    """Survival per 100 had every plot got some works, or none of them; the others as they were done."""
    done = [plot.done | works if add else plot.done - works for plot in plots]
    linear = np.array([plot.log_hazard(frozenset(own)) for plot, own in zip(plots, done, strict=True)])
    return 100 * average_survival(base, linear, np.ones(len(plots)), PLOT_SD)


def _line(work: str, day: float, log_ratio: float, alive: list[float]) -> dict[str, object]:
    return {
        "work": work,
        "at_day": day,
        "log_hazard_ratio": round(log_ratio, 4),
        "with_it": round(alive[0], 4),
        "without_it": round(alive[1], 4),
        "difference": round(alive[0] - alive[1], 4),
    }
