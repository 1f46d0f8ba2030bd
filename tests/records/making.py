"""Study files of the cases of reading, and what is said of their records."""

from __future__ import annotations

from collections.abc import Callable

from survivor.records import Records

ReadStudy = Callable[..., Records]


COUNTS = """
[study]
name = "counts"
as_of = "2025-01-01"
[records]
kind = "counts"
"""


TAGGED = """
[study]
name = "tagged"
as_of = "2025-01-01"
[records]
kind = "tagged"
"""


def sheet(file: str = "visits.csv", more: str = "") -> str:
    return f'[[records.sheets]]\nfile = "{file}"\n{more}\n'


def record_codes(records: Records) -> set[str]:
    """Codes of what was found in the sheets: a small case says nothing of the study file's names."""
    found = records.problems[records.problems["file"] != "study.toml"]
    return {code for code in found["code"] if not code.startswith("one-plot-")}


PINES = """
[study]
name = "white pines"
purpose = "compare preparations"
as_of = "1998-01-01"

[records]
kind = "tagged"
shape = "wide"

[[records.sheets]]
file = "pines.csv"
[records.sheets.columns]
tag = "rownames"
method = ["Fert", "Spacing"]
fertiliser = "Fert"
spacing_ft = "Spacing"
[records.sheets.every_row]
site = "experimental planting"
plot = "whole planting"
species = "white pine"

[[records.visits]]
name = "1990"
date = "1990-12-01"
height = "Hgt90"
[[records.visits]]
name = "1996"
date = "1996-10-01"
height = "Hgt96"
[[records.visits]]
name = "1997"
date = "1997-10-01"
height = "Hgt97"

[rules]
measured_means_alive = true
preparation_of = "plant"
blank = "dead"
tagged = "at planting"
planted_date = "1990-04-15"

[design]
usual_practice = "unfertilised, 10 ft"

[[methods]]
name = "unfertilised, 10 ft"
also = ["0, 10"]
[[methods]]
name = "unfertilised, 15 ft"
also = ["0, 15"]
[[methods]]
name = "fertilised, 10 ft"
also = ["1, 10"]
[[methods]]
name = "fertilised, 15 ft"
also = ["1, 15"]
"""


PINES_PLANTED_AND_ALIVE = {
    "unfertilised, 10 ft": (285, 266),
    "unfertilised, 15 ft": (208, 182),
    "fertilised, 10 ft": (301, 247),
    "fertilised, 15 ft": (206, 170),
}
