"""Wordings that tell of the weed-free radius: gain, where more stops paying, areas, tests."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from survivor.figures.words import number, per_100
from survivor.report.content.wording import chance
from tests.report.saying import Row, Said, Stated
from tests.report.wordings import COUNTS, ENDS, apart, behind_costs, counts, sheet


def _line(row: Row) -> dict[str, str]:
    """The gain along a straight line of radii, and the patches at its ends."""
    found = {name: number(float(row[f"{name}_m"]), 2) for name in ("from", "to")}
    found |= {f"{name}_area": number(float(row[f"{name}_area_m2"]), 2) for name in ("from", "to")}
    return {
        **found,
        **(apart(row, 1) if row["estimate"] != "" else {}),
        "p": chance(float(row["p_value"] or "nan")),
    }


def radius_ends(tables: Any) -> list[Row]:
    """The first and the last radius of the curve."""
    rows = tables.get("radius", [])
    if not rows:
        return []
    first, last = rows[0], rows[-1]
    return [{f"{end}_{name}": row[name] for end, row in (("low", first), ("high", last)) for name in row}]


def _radius_ends(row: Row) -> dict[str, str]:
    found = {}
    for end in ("low", "high"):
        found[end] = number(float(row[f"{end}_weed_free_radius_m"]), 2)
        found[f"{end}_alive"] = per_100(float(row[f"{end}_estimate"]))
    return found


def stops(tables: Any) -> list[Row]:
    """Where a wider patch stops paying: the radius, its limits, and the area that it implies."""
    rows = {row["what"]: row for row in tables.get("radius_answer", [])}
    radius, area = (rows.get(f"{what} from which more stops paying") for what in ("radius", "area"))
    return [{**radius, "area": area["estimate"]}] if radius and area else []


def _stop(row: Row) -> dict[str, str]:
    ends = {
        name: "" if row[name] == "" else f"{number(float(row[name]), 2)} m" for name in ("lower", "upper")
    }
    found = {"area": "" if row["area"] == "" else number(float(row["area"]), 2)}
    found |= {"radius": "" if row["estimate"] == "" else number(float(row["estimate"]), 2)}
    return {**found, **ends, "worth": ""}


def _what(text: str) -> Callable[[Row], bool]:
    return lambda row: text in str(row["what"])


RADIUS: list[Said | Stated] = [
    Said(
        r"each further 10 cm, from «from» m \(«from_area» m²\) to «to» m \(«to_area» m²\), went "
        rf"with «size» (?P<more>more|fewer) alive per 100 planted \(95 % limits (?P<ends>{ENDS})\)",
        sheet("radius_answer", _what("gain along")),
        _line,
    ),
    Said(
        r"does not clearly change with the radius \(p «p»\)|Test of the radius: p «q»",
        sheet("radius_answer", _what("changes nothing")),
        lambda row: {"p": chance(float(row["p_value"])), "q": chance(float(row["p_value"]))},
    ),
    Said(
        r"levels off \(p «p»\)|Curve against straight line: p «q»",
        sheet("radius_answer", _what("straight line fits")),
        lambda row: {"p": chance(float(row["p_value"])), "q": chance(float(row["p_value"]))},
    ),
    Said(
        r"less than «value» more alive per 100|a gain of «worth» per 100 planted",
        sheet("radius_answer", _what("worth having")),
        lambda row: dict.fromkeys(("value", "worth"), number(float(row["estimate"]))),
    ),
    Said(
        rf"This rests on (?P<n>{COUNTS})",
        lambda tables: [*sheet("radius_answer")(tables), *behind_costs(tables)],
        lambda row: {"n": counts(row)},
    ),
    Said(
        r"At «low» m, «low_alive» alive per 100 planted; at «high» m, «high_alive»",
        radius_ends,
        _radius_ends,
    ),
    Said(
        r"From a radius of «radius» m \(«area» m²\) a further 10 cm went with less than # more alive per "
        r"100 planted \(95 % limits (?P<lower># m)(?: or less)? to (?:beyond the data|(?P<upper># m))\)",
        stops,
        _stop,
    ),
    Stated(r"further 10 cm", "the step that gains are told for"),
]
