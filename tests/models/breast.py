"""Cosmetic deterioration after treatment of early breast cancer, known to lie between two visits."""

import pandas as pd

# Source: Finkelstein and Wolfe (1985), Biometrics 41, 933-945, as in the SAS/STAT sample library: lower-upper
# in months, "." where no deterioration was seen.
RADIATION = """
45-. 25-37 37-. 6-10 46-. 0-5 0-7 26-40 18-. 46-. 46-. 24-. 46-. 27-34 36-. 7-16 36-44 5-11 17-. 46-. 19-35
7-14 36-48 17-25 37-44 37-. 24-. 0-8 40-. 32-. 4-11 17-25 33-. 15-. 46-. 19-26 11-15 11-18 37-. 22-. 38-.
34-. 46-. 5-12 36-. 46-."""
WITH_CHEMOTHERAPY = """
8-12 0-5 30-34 0-22 5-8 13-. 24-31 12-20 10-17 17-27 11-. 8-21 17-23 33-40 4-9 24-30 31-. 11-. 16-24 13-39
14-19 13-. 19-32 4-8 11-13 34-. 34-. 16-20 13-. 30-36 18-25 16-24 18-24 17-26 35-. 16-60 32-. 15-22 35-39
23-. 11-17 21-. 44-48 22-32 11-20 14-17 10-35 48-."""


def breast():
    """Risk intervals: free of it up to the lower end, and with it at the upper one."""
    rows = []
    for arm, text in (("RT", RADIATION), ("RCT", WITH_CHEMOTHERAPY)):
        for number, entry in enumerate(text.split()):
            lower, upper = entry.split("-")
            tag = f"{arm} {number:02d}"
            if lower != "0":
                rows.append((arm, tag, 0.0, float(lower), 1, 0))
            if upper != ".":
                rows.append((arm, tag, float(lower), float(upper), 1, 1))
    frame = pd.DataFrame(rows, columns=["arm", "tag", "start_day", "stop_day", "at_risk", "died"])
    return frame.assign(arm=pd.Categorical(frame["arm"], ["RT", "RCT"]))
