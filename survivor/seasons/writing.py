"""Tables and figures of several seasons, to a folder."""

from __future__ import annotations

import re
from pathlib import Path

import pandas as pd

from survivor.figures.pooling import pooled_figure
from survivor.figures.svg import to_svg
from survivor.pooling.scale import within_scale
from survivor.report.files import write_files
from survivor.seasons.together import SeasonsTogether
from survivor.seasons.wording import sentences, told_in_words
from survivor.vocabulary import PER_100


def write_together(found: SeasonsTogether, folder: Path) -> tuple[Path, ...]:
    """Write the pooled table, units, joint model, leave-one-out, trends, and a picture a comparison.

    Raises
    ------
    ReportError
        When the folder cannot be written to.
    """
    texts = _tables(found) | {"pooled.txt": "\n".join([*told_in_words(found), ""])}
    said = dict(zip([key[0] for key in found.pooled if key[2] == PER_100], _answers(found), strict=True))
    for (method, against, scale), pooled in found.pooled.items():
        which = "per-100" if scale == PER_100 else "ratio"
        name = re.sub(r"[^a-z0-9]+", "-", f"{method} {which}".casefold()).strip("-")
        units, whole, new = (within_scale(t, scale) for t in (pooled.units, pooled.table, pooled.new_unit))
        drawn = pooled_figure(units, whole, new, scale, new_name=f"a new {found.unit}")
        title = f"{method} against {against}, {scale}, at {found.milestone}"
        svg = to_svg(drawn, f"pooled-{name}", title, said.get(method, title))
        texts[f"{name}.svg"] = svg.replace("<svg ", '<svg xmlns="http://www.w3.org/2000/svg" ', 1)
    return write_files(folder, texts, "the tables")


def _answers(found: SeasonsTogether) -> list[str]:
    told = found.table[(found.table["scale"] == PER_100)]
    known = [row["estimate"] == row["estimate"] for row in told.to_dict("records")]
    return [line for line, one in zip(sentences(found), known, strict=True) if one]


def _tables(found: SeasonsTogether) -> dict[str, str]:
    tables = {
        "pooled.csv": found.table,
        "units.csv": found.units,
        "joint.csv": within_scale(found.joint, "scale"),
    }
    left = [_named(pooled.left_out, key) for key, pooled in found.pooled.items() if len(pooled.left_out)]
    if left:
        tables["left-out.csv"] = within_scale(pd.concat(left, ignore_index=True), "scale")
    other = [_named(pooled.other_limits, key) for key, pooled in found.pooled.items()]
    tables["other-limits.csv"] = within_scale(pd.concat(other, ignore_index=True), "scale")
    if found.trends:
        parts = [_named(trend.table, key) for key, trend in found.trends.items()]
        tables["trends.csv"] = pd.concat(parts, ignore_index=True)
    return {name: table.to_csv(index=False, lineterminator="\n") for name, table in tables.items()}


def _named(table: pd.DataFrame, key: tuple[str, str, str]) -> pd.DataFrame:
    named = table.copy()
    for place, (column, value) in enumerate(zip(("method", "against", "scale"), key, strict=True)):
        named.insert(place, column, value)
    return named
