"""The wordings of a report that tell numbers, each with the table that it is read back from."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from typing import Any

from survivor.figures.words import (
    difference,
    difference_digits,
    limits,
    money,
    number,
    per_100,
    per_100_limits,
    plants,
    plants_limits,
)
from survivor.report.content.wording import chance
from tests.report.saying import Row, Said

COUNTS = r"# seedlings? in # plots? at # sites?"
ENDS = r"#(?: fewer)? to # (?:more|fewer)"
SPAN = r"(?:under |over )?# to (?:under |over )?#"


def sheet(name: str, keep: Callable[[Row], bool] = lambda row: True) -> Callable[[Any], Iterator[Row]]:
    """Return a reader of the rows of a sheet; none where the report has no such sheet."""
    return lambda tables: (row for row in tables.get(name, []) if keep(row))


def _ends(row: Row, digits: int) -> str:
    low, high = float(row["lower"]), float(row["upper"])
    if low < 0 < high:
        return f"{number(-low, digits)} fewer to {number(high, digits)} more"
    near, far = sorted((abs(low), abs(high)))
    return f"{number(near, digits)} to {number(far, digits)} {'more' if low >= 0 else 'fewer'}"


def counts(row: Row) -> str:
    told = [(float(row[f"n_{name}s"]), name) for name in ("seedling", "plot", "site")]
    words = [f"{number(n)} {name}{'' if n == 1 else 's'}" for n, name in told]
    return f"{words[0]} in {words[1]} at {words[2]}"


def apart(row: Row, digits: int | None = None) -> dict[str, str]:
    """Write a difference in words: 21 more, 10 to 32 more."""
    if row["estimate"] == "":
        return {}
    numbers = [float(row[name]) for name in ("estimate", "lower", "upper")]
    places = difference_digits(*numbers) if digits is None else digits
    return {
        "size": number(abs(numbers[0]), places),
        "more": "more" if numbers[0] >= 0 else "fewer",
        "ends": _ends(row, places),
        "p": chance(float(row.get("p_adjusted") or math.nan)),
        "method": str(row.get("method", "")),
        "against": str(row.get("against", "")),
        "n": counts(row),
    }


def both_ways(name: str) -> Callable[[Any], Iterator[Row]]:
    """Rows of a sheet of pairs, each also the other way round."""

    def rows(tables: Any) -> Iterator[Row]:
        for row in tables.get(name, []):
            yield row
            if row["estimate"] != "":
                turned = {"estimate": -row["estimate"], "lower": -row["upper"], "upper": -row["lower"]}
                yield {**row, **turned, "method": row["against"], "against": row["method"]}

    return rows


def alive(row: Row) -> dict[str, str]:
    """Write survival with its limits, in whole numbers and with a place."""
    if "" in (row["estimate"], row["lower"]):
        return {}
    numbers = [float(row[name]) for name in ("estimate", "lower", "upper")]
    found = {"alive": per_100(numbers[0]), "ends": per_100_limits(*numbers[1:])}
    found |= {"tenth": number(numbers[0], 1), "tenths": limits(numbers[1], numbers[2], 1)}
    for name in ("method", "species", "site", "planting_year"):
        if name in row:
            found["year" if name == "planting_year" else "method"] = str(row[name])
    if "n_seedlings" in row:
        found["n"] = counts(row)
    return found


def settings(table: str, key: str) -> Callable[[Any], Iterator[Row]]:
    """The value of the study file, as a row."""
    return lambda tables: iter([{"value": tables["study file"].get(table, {}).get(key, math.nan)}])


def _value(digits: int = 0) -> Callable[[Row], dict[str, str]]:
    return lambda row: {"value": number(float(row["value"]), digits)}


def _length(name: str) -> Callable[[Any], list[Row]]:
    return lambda tables: [{"value": len(tables.get(name, []))}]


def _sum(
    name: str, *columns: str, keep: Callable[[Row], bool] = lambda row: True
) -> Callable[[Any], list[Row]]:
    return lambda tables: [
        {column: sum(float(row[column]) for row in tables.get(name, []) if keep(row)) for column in columns}
    ]


def _amount(*names: str, ends: str = "", digits: int = 2) -> Callable[[Row], dict[str, str]]:
    """Write amounts of money by their columns; ``ends`` the columns of limits without ``_lower``."""

    def written(row: Row) -> dict[str, str]:
        if any(row.get(name, "") == "" for name in names):
            return {}
        found = {name: money(abs(float(row[name])), str(row["currency"])) for name in names}
        low, high = (row.get(f"{ends}_{end}" if ends else end, "") for end in ("lower", "upper"))
        if "" not in (low, high) and "no limit" not in (low, high):
            found["ends"] = limits(float(low), float(high), digits)
        return {**found, "method": str(row["method"]), "against": str(row.get("against", ""))}

    return written


def _in_100(value: float) -> str:
    return number(100 * value)


def priced(tables: Any) -> Iterator[Row]:
    """What each preparation costs, beside which has the highest chance of the lowest cost."""
    rows = tables.get("payoff", [])
    for row in rows:
        first = max(rows, key=lambda each: float(each["probability_lowest"]))
        yield {**row, "likelier": first["method"], "most": float(first["probability_lowest"])}


def behind_costs(tables: Any) -> Iterator[Row]:
    """What all costs together rest on; sites are those of the layout with any preparation costed."""
    rows = tables.get("payoff", [])
    costed = [row["method"] for row in rows]
    sites = [row for row in tables.get("layout", []) if any(float(row[name]) > 0 for name in costed)]
    if all("n_seedlings" in row for row in rows) and rows:
        totals = {name: sum(float(row[name]) for row in rows) for name in ("n_seedlings", "n_plots")}
        yield {**totals, "n_sites": len(sites)}


def _costs(row: Row) -> dict[str, str]:
    chances = {"chance": _in_100(float(row["probability_lowest"])), "most": _in_100(row["most"])}
    return {**_amount("cost_per_established")(row), **chances, "likelier": row["likelier"]}


def _step(row: Row) -> dict[str, str]:
    found = _amount("extra_cost", "cost_per_extra", ends="cost_per_extra")(row)
    if not found:
        return {}
    more = {"extra": number(float(row["extra_alive"]), 1), "plants": limits(row["lower"], row["upper"], 1)}
    return {**found, **more}


def _plane(row: Row) -> dict[str, str]:
    told, ends = difference(*(float(row[name]) for name in ("extra_alive", "lower", "upper")))
    return {**_amount("extra_cost")(row), "extra": told, "plants": ends}


def _break_even(row: Row) -> dict[str, str]:
    cost, low, high = (float(row[name]) for name in ("cost_per_plant", "lower", "upper"))
    verdict = "below them" if cost < low else "above them" if cost > high else "within the limits"
    return {**_amount("break_even", "cost_per_plant")(row), "verdict": verdict}


def leads(tables: Any) -> Iterator[Row]:
    """Where each preparation is the best value: from which worth to which, and its chances there."""
    rows = tables.get("best_value", [])
    worths = sorted({float(row["worth"]) for row in rows})
    net = {(row["method"], float(row["worth"])): float(row["net_benefit"]) for row in rows}
    runs: list[dict[str, Any]] = []
    for worth in worths:
        best = next(row for row in rows if row["best"] and float(row["worth"]) == worth)
        if not runs or runs[-1]["method"] != best["method"]:
            start = worth
            if runs:  # net benefit is a straight line in the worth: it crosses between two of them
                before, last = runs[-1], worths[worths.index(worth) - 1]
                gap = [net[before["method"], at] - net[best["method"], at] for at in (last, worth)]
                start = last + (worth - last) * gap[0] / (gap[0] - gap[1])
                before["to"] = start
            runs.append(
                {
                    "method": best["method"],
                    "from": start,
                    "chances": [],
                    "currency": best["currency"],
                    "least": min(float(row["cost_per_established"]) for row in tables["payoff"]),
                }
            )
        runs[-1]["chances"].append(float(best["probability"]))
        runs[-1]["to"] = worth
    return iter(runs)


def _lead(row: Row) -> dict[str, str]:
    ends = [money(float(row[end]), row["currency"]) for end in ("from", "to")]
    chances = f"{_in_100(min(row['chances']))} to {_in_100(max(row['chances']))}"
    least = money(row["least"], row["currency"])
    return {"method": row["method"], "from": ends[0], "to": ends[1], "chances": chances, "least": least}


def _draws(row: Row) -> dict[str, str]:
    share, error = float(row["probability"]), float(row["probability_error"])
    return {"draws": number(round(share * (1 - share) / error**2))} if error > 0 else {}


def _worst_error(tables: Any) -> list[Row]:
    errors = [float(row["probability_error"]) for row in tables.get("best_value", [])]
    return [{"value": 200 * max(errors)}] if errors else []


COMPARED = [
    Said(
        rf"«method: name» (?:kept|had) «size» (?P<more>more|fewer) alive per 100 planted(?: than "
        rf"«against: name»)? at [^()]*\(95 % limits (?P<ends>{ENDS}); (?P<n>{COUNTS})\)",
        sheet("contrasts"),
        apart,
    ),
    Said(
        rf"«method: name» «size» (?P<more>more|fewer) per 100 \(95 % limits (?P<ends>{ENDS})\)",
        sheet("contrasts"),
        apart,
    ),
    Said(
        rf"«against: name»: «size» (?P<more>more|fewer) per 100 \(95 % limits (?P<ends>{ENDS}); p «p»",
        both_ways("all_pairs"),
        apart,
    ),
    Said(
        r"Largest difference: «method: name», (?P<size>[+−]#) alive per 100 planted \((?P<ends>[+−]?# to "
        r"[+−]?#)\) against «against: name»",
        sheet("contrasts"),
        lambda row: {
            **dict(
                zip(("size", "ends"), difference(row["estimate"], row["lower"], row["upper"]), strict=True)
            ),
            "method": row["method"],
            "against": row["against"],
        },
    ),
    Said(r"adjusted for the «value» comparisons", _length("contrasts"), _value()),
    Said(
        r"(?:adjusted for|allowing for all) the? ?«value» (?:comparisons|pairs)",
        _length("all_pairs"),
        _value(),
    ),
    Said(r"allowing for all «value» pairs", _length("all_pairs"), _value()),
]
MONEY = [
    Said(
        r"«method: name»: «cost_per_established: money» per established plant \(95 % limits «ends: span»\)"
        r"(?:, with a chance of «chance» in 100(?: that it is so; «likelier: name» has the highest chance, "
        r"«most» in 100)?)?",
        priced,
        _costs,
    ),
    Said(
        r"Lowest: «method: name», «cost_per_established: money» per plant established \(«ends: span»\)",
        priced,
        _costs,
    ),
    Said(
        r"From «against: name» to «method: name», 100 plants cost «extra_cost: money» more and «extra» "
        r"more were alive \(95 % limits «plants: span»\): «cost_per_extra: money» for each extra plant alive "
        r"\(95 % limits «ends: span»\)",
        sheet("increments"),
        _step,
    ),
    Said(
        r"«method: name» had (?P<extra>[+−]#) alive per 100 planted \((?P<plants>[+−]?# to [+−]?#)\) against "
        r"«against: name», and cost «extra_cost: money» (?:more|less)",
        sheet("payoff_plane"),
        _plane,
    ),
    Said(
        r"«method: name» equals «against: name» in cost per established plant at «break_even: money» per "
        r"plant put in \(95 % limits «ends: span»\); it costs «cost_per_plant: money», (?P<verdict>below "
        r"them|above them|within the limits)",
        sheet("break_even"),
        _break_even,
    ),
    Said(
        r"«method: name» from (?:about )?«from: money» to (?:about )?«to: money» \(chance «chances: span» "
        r"in 100\)(?:\. Below «least: money», the lowest cost of an established plant)?",
        leads,
        _lead,
    ),
    Said(r"From «draws» draws", sheet("best_value"), _draws),
    Said(r"the chances are good to «value» in 100", _worst_error, _value(1)),
    Said(
        r"in dollars of (?P<value>\d{4})", sheet("cost_lines"), lambda row: {"value": f"{int(row['year'])}"}
    ),
    Said(
        r"«method: name»: «value» of 100 plants averaged over stand where it was not seen",
        lambda tables: [
            {
                "method": name,
                "value": sum(r["share_per_100"] for r in tables.get("filled_in", []) if r["method"] == name),
            }
            for name in {row["method"] for row in tables.get("filled_in", [])}
        ],
        lambda row: {**_value()(row), "method": row["method"]},
    ),
    Said(
        r"«plants» infill plants in «plots» plots, counted apart: «alive» per 100 were alive «day» "
        r"days after they were put in \(95 % limits «ends: span»\)",
        sheet("infill"),
        lambda row: {
            **alive(row),
            **{
                name: number(row[column])
                for name, column in (("plants", "plants"), ("plots", "n_plots"), ("day", "at_day"))
            },
        },
    ),
    Said(r"Infill is the «value» plants", sheet("infill"), lambda row: {"value": number(row["plants"])}),
    Said(
        r"(?:For|for|wants) «target» (?:living )?stems per hectare(?:, fewest plants under «method: name»: "
        r"«plants» per hectare \(«ends: span»\))?",
        sheet("stocking"),
        lambda row: {
            "target": number(row["target"]),
            "method": row["method"],
            "plants": plants(row["plants_needed"]),
            "ends": plants_limits(row["lower"], row["upper"]),
        },
    ),
    Said(
        r"^(?:At least )?«order» plants (?:would|are wanted to) bring [^:]*\(95 % limits «ends: span»\): "
        r"about «dead» of «planted» had died by the last visit of each site(?:, and about «standing» infill "
        r"plants stand)?",
        sheet("infill_order", lambda row: row["site"] == "all sites"),
        lambda row: {
            "order": plants(row["to_order"]),
            "ends": plants_limits(row["lower"], row["upper"]),
            **{
                name: number(row[column])
                for name, column in (("dead", "dead"), ("planted", "planted"), ("standing", "infill_alive"))
            },
        },
    ),
]
