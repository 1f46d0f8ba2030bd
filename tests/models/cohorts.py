"""Small tables of risk intervals with a known shape, for the tests of models."""

import numpy as np
import pandas as pd

VISITS = (40, 150, 365)
_SPECIES_EFFECT = {"acacia": 0.0, "callitris": 0.4, "dodonaea": -0.2}


def counts(
    seed=1,
    sites=3,
    plots=2,
    methods=("spot spray", "auger", "rip"),
    species=("",),
    planted=12,
    visits=VISITS,
    hazards=(0.1, 0.4, 0.2),
    plot_sd=0.5,
):
    """Counts by plot (and species) at shared visits; a plot effect on the log hazard."""
    rng = np.random.default_rng(seed)
    rows = []
    for site in range(sites):
        for number, method in enumerate(methods):
            for plot in range(plots):
                effect = rng.normal(0, plot_sd) + 0.2 * site - 0.3 * number
                for kind in species:
                    alive, start = planted, 0
                    for stop, hazard in zip(visits, hazards, strict=True):
                        rate = hazard * np.exp(effect + _SPECIES_EFFECT.get(kind, 0.0))
                        died = int(rng.binomial(alive, 1 - np.exp(-rate)))
                        rows.append(
                            (f"site {site}", f"{method} {plot}", method, kind, start, stop, alive, died)
                        )
                        alive, start = alive - died, stop
                        if alive == 0:
                            break
    names = ["site", "plot", "method", "species", "start_day", "stop_day", "at_risk", "died"]
    frame = pd.DataFrame(rows, columns=names)
    frame["method"] = pd.Categorical(frame["method"], list(methods))
    return frame if species != ("",) else frame.drop(columns="species")


def single(frame):
    """The same table with one row a seedling and interval; within a plot and visit the dead come first."""
    rows = frame.loc[frame.index.repeat(frame["at_risk"])]
    place = rows.groupby(level=0).cumcount()
    died = (place < rows["died"]).astype(int)
    return rows.assign(at_risk=1, died=died).reset_index(drop=True)


def tagged(frame):
    """The same table with a tag for each seedling: the dead of a visit taken from the end."""
    keys = [name for name in ("site", "plot", "species") if name in frame.columns]
    rows = single(frame)
    # The dead come first in each stretch: number backwards, so that who goes on keeps the low numbers.
    rows = rows.sort_values([*keys, "start_day", "died"], kind="stable")
    rows["tag"] = (rows.groupby([*keys, "start_day"]).cumcount() + 1).astype(str).str.zfill(3)
    if "species" in keys:
        rows["tag"] = rows["species"].str[:1] + rows["tag"]
    return rows.reset_index(drop=True)


def split_rows(frame, day):
    """The same table with every stretch that spans ``day`` cut there: nobody was found dead at the cut."""
    spans = (frame["start_day"] < day) & (frame["stop_day"] > day)
    before = frame[spans].assign(stop_day=day, died=0)
    after = frame[spans].assign(start_day=day)
    return pd.concat([frame[~spans], before, after], ignore_index=True)
