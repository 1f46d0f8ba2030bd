"""Wordings that tell of the records, the season and the workings, and those whose numbers are in no table."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterator
from typing import Any

from survivor.figures.words import limits, number, per_100
from survivor.report.content.wording import chance
from tests.report.saying import Row, Said
from tests.report.wordings import COUNTS, SPAN, alive, counts, settings, sheet


def _value(digits: int = 0) -> Any:
    return lambda row: {"value": number(float(row["value"]), digits)}


def tally(tables: Any) -> list[Row]:
    """How many records were read, by fate, and how many problems were found, by weight."""
    fates = Counter(row["fate"] for row in tables["accounts"])
    weights = Counter(row["severity"] for row in tables["problems"])
    told = {**fates, **weights, "read": len(tables["accounts"]), "problems": len(tables["problems"])}
    return [{name.replace(" ", "_"): n for name, n in told.items()}]


def planted(tables: Any) -> list[Row]:
    """Seedlings, plots and sites of the planting, from the layout and the measures."""
    plots = sum(float(cell or 0) for row in tables["layout"] for name, cell in row.items() if name != "site")
    put_in = next(row["of"] for row in tables["measures"] if row["measure"] == "survival of planted")
    return [{"n_seedlings": put_in, "n_plots": plots, "n_sites": len(tables["layout"])}]


def deaths(tables: Any) -> list[Row]:
    """Deaths in all, of a dry season, of unknown cause, and of the worst period."""
    rows = tables.get("causes", [])
    total = sum(float(row["died"]) for row in tables["curves"])
    if not rows:
        return [{"all": total}]
    periods: Counter[str] = Counter()
    for row in rows:
        periods[row["period"]] += row["deaths"]
    worst = max(periods, key=lambda name: periods[name])
    dry = sum(n for name, n in periods.items() if name in ("first dry season", "second dry season"))
    unknown = sum(row["deaths"] for row in rows if row["cause"] == "unknown")
    assert sum(periods.values()) == total
    return [{"all": total, "dry": dry, "unknown": unknown, "most": periods[worst], "period": worst}]


def _numbers(row: Row) -> dict[str, str]:
    return {name: value if isinstance(value, str) else number(float(value)) for name, value in row.items()}


def curve_at(tables: Any) -> Iterator[Row]:
    """Survival as counted on the day of the milestone, and as the answer has it."""
    told = {row["method"]: row["estimate"] for row in tables["survival"]}
    day = tables["survival"][0]["at_day"]
    for row in tables["curves"]:
        if row["day"] == day:
            yield {
                "method": row["method"],
                "here": 100 * row["survival"],
                "there": told.get(row["method"], ""),
            }


def _curve(row: Row) -> dict[str, str]:
    there = "" if row["there"] == "" else per_100(row["there"])
    return {"method": row["method"], "here": per_100(row["here"]), "there": there}


def watched(tables: Any) -> list[Row]:
    return [{"value": sum(row["planted"] - row["watched"] for row in tables["sites"])}]


_PLACED = {"species": "of", "site": "at"}  # groups that came out alike


def groups(name: str, column: str) -> Any:
    """The least and the most alive of some groups."""

    def rows(tables: Any) -> Iterator[Row]:
        found = sorted(tables.get(name, []), key=lambda row: float(row["estimate"]))
        for low in found:
            for high in found:
                if low["estimate"] == found[0]["estimate"] and high["estimate"] == found[-1]["estimate"]:
                    yield {
                        "low": low["estimate"],
                        "least": low[column],
                        "high": high["estimate"],
                        "most": high[column],
                        "alike": f"{_PLACED[column]} {'both' if len(found) == 2 else 'all'}",
                    }

    return rows


def covers(tables: Any) -> list[dict[str, str]]:
    """Means of the preparations at the first and at the last visit."""
    found: dict[str, list[Row]] = {}
    for row in tables.get("patch", []):
        found.setdefault(row["measure"], []).append(row)
    rows = []
    for own in found.values():
        methods: dict[str, list[Row]] = {}
        for row in sorted(own, key=lambda row: row["day"]):
            methods.setdefault(row["method"], []).append(row)
        ends = {}
        for name, place in (("first", 0), ("last", -1)):
            means = [visits[place]["mean"] for visits in methods.values()]
            ends[name] = limits(min(means), max(means))
        rows.append(ends)
    return rows


def _rain(row: Row) -> dict[str, str]:
    if "" in (row["value"], row["decile"]):
        return {}
    value = float(row["value"])
    whole = abs(value) >= 10 or value.is_integer()
    return {"value": number(value, 0 if whole else 1), "decile": number(row["decile"])}


def added(tables: Any) -> Iterator[Row]:
    """The last line of each printed table of rain added up."""
    for key, rows in tables["printed"].items():
        if key.startswith("rain-") and rows and "Median, mm" in rows[0]:
            since = tables["captions"][key].partition(" since ")[2]
            yield {
                "to": rows[-1]["To"],
                "mm": rows[-1]["This season, mm"],
                "median": rows[-1]["Median, mm"],
                "since": since,
            }


def stress(tables: Any) -> Iterator[Row]:
    for row in tables.get("rain", []):
        if str(row["measure"]).startswith("stress days"):
            yield {"least": row["value"], "note": row["note"], "days": row["days_in_window"]}


def _stress(row: Row) -> dict[str, str]:
    most = str(row["note"]).partition("at most ")[2].partition(":")[0] or number(row["least"])
    return {"least": number(row["least"]), "most": most, "days": number(row["days"])}


def water(tables: Any) -> list[Row]:
    """Plots and days of the soil water, and what a soil holds."""
    rows, days = tables.get("soil_water", []), tables.get("soil_water_days", [])
    soils = Counter(row["texture"] for row in rows if row["reason"] == "")
    first = {row["soil"] for row in days}
    one = [row for row in days if row["soil"] == min(first)] if first else []
    return [
        {
            "left": sum(row["reason"] != "" for row in rows),
            "days": len(one),
            "no_rain": sum(row["rain_mm"] == "" for row in one),
            "no_eto": sum(row["eto_mm"] == "" for row in one),
            "plots": plots,
            "holds": next(row["total_mm"] for row in rows if row["texture"] == texture),
        }
        for texture, plots in soils.items()
    ]


def _plain(row: Row) -> dict[str, str]:
    return {name: f"{value:.0f}" if isinstance(value, float) else str(value) for name, value in row.items()}


def soils(tables: Any) -> Iterator[Row]:
    for row in tables.get("soil_water_days", []):
        yield {"soil": row["soil"]}


def moving(tables: Any) -> Iterator[Row]:
    """From which ratio to which each preparation moves among the rounds with most deaths."""
    rows = tables.get("residuals", [])
    many = [row for row in rows if row["deaths"] >= max(row["deaths"] for row in rows) / 4]
    for name in {row["method"] for row in many}:
        ratios = [math.exp(row["estimate"]) for row in many if row["method"] == name]
        yield {"method": name, "low": number(min(ratios), 2), "high": number(max(ratios), 2)}


def _test(row: Row) -> dict[str, str]:
    found = {"f": number(row["statistic"], 2), "p": chance(row["p_value"]), "df1": number(row["df1"])}
    whole = float(row["df2"]).is_integer()
    return {**found, "df2": number(row["df2"]), "df2_tenth": number(row["df2"], 0 if whole else 1)}


def _degrees(tables: Any) -> list[Row]:
    df = [row["df"] for row in tables["terms_grouped"]]
    return [{"low": number(min(df)), "high": number(max(df))}]


RECORDS: list[Said] = [
    Said(
        r"^«n» seedlings planted, «plots» plots, «sites» sites",
        planted,
        lambda row: {
            "n": number(row["n_seedlings"]),
            "plots": number(row["n_plots"]),
            "sites": number(row["n_sites"]),
        },
    ),
    Said(
        r"«read» records were read: «used» used(?:[;,] «listed» listed)?(?:(?:;| and) «set_aside» set "
        r"aside)?(?:\. «problems» problems were found: «check» to look at and «note» worth knowing)?",
        tally,
        _numbers,
    ),
    Said(r"target of «value» alive per 100", settings("target", "survival_per_100"), _value()),
    Said(
        rf"not met: «alive» were alive \(95 % limits (?P<ends>{SPAN}); (?P<n>{COUNTS})\)",
        sheet("findings", lambda row: row["key"] == "target"),
        alive,
    ),
    Said(
        r"it is not shown: «tenth» were alive \(95 % limits «tenths: span»\)",
        sheet("bounds", lambda row: row["method"] == "all preparations"),
        alive,
    ),
    Said(
        r"(?:worth having was set at |^)«value» per 100|differences under «under», the smallest",
        settings("design", "smallest_difference"),
        lambda row: dict.fromkeys(("value", "under"), number(row["value"])),
    ),
    Said(
        rf"Highest(?: shown)?: «method: name», «alive» alive per 100 planted \((?P<ends>{SPAN})\)",
        sheet("survival"),
        alive,
    ),
    Said(
        r"«day» days after planting|[Dd]ay «at»|first «first» days",
        sheet("survival"),
        lambda row: dict.fromkeys(("day", "at", "first"), number(row["at_day"])),
    ),
    Said(
        r"\(«value» by the study file\)|the «by» plants put in over",
        sheet("in_all", lambda row: row["unit"] == "plants"),
        lambda row: dict.fromkeys(("value", "by"), number(row["put_in"])),
    ),
    Said(
        r"Of «put_in» plants put in (?:over the whole planting|per hectare), «alive» (?:were alive|living "
        r"stems stood) at [^()]*\(95 % limits «ends: span»",
        sheet("in_all"),
        lambda row: {
            "put_in": number(row["put_in"]),
            "alive": number(row["estimate"]),
            "ends": limits(row["lower"], row["upper"]),
        },
    ),
    Said(
        rf"(?:; |From |the )(?P<n>{COUNTS})|the «seedlings» seedlings watched",
        sheet("findings"),
        lambda row: {"n": counts(row), "seedlings": number(row["n_seedlings"])} if row["n_seedlings"] else {},
    ),
    Said(
        r"Plainly counted, «alive» of «of» planted in the plots were seen alive then or later \(«share»",
        sheet("measures"),
        lambda row: {
            "alive": number(row["alive"]),
            "of": number(row["of"]),
            "share": per_100(row["estimate"]),
        },
    ),
    Said(r"Of «all» deaths, # are put to a dry season", deaths, _numbers),
    Said(r"Of «all» deaths, «dry» are put to a dry season", deaths, _numbers),
    Said(r"Of «all» deaths, «unknown» have no known cause", deaths, _numbers),
    Said(r"«all» deaths with a period; most \(«most»\) in: (?P<period>[a-z ]+)", deaths, _numbers),
    Said(r"«method: name» «here»(?=[;.])", curve_at, _curve),
    Said(r"that of «method: name», «here» here and «there» there", curve_at, _curve),
    Said(r"«value» seedlings were planted and never seen", watched, _value()),
    Said(
        rf"(?P<year>\d{{4}}) «alive» \((?P<ends>{SPAN})\)",
        sheet("planting_years", lambda row: row["method"] == "all preparations"),
        alive,
    ),
    Said(
        r"(?:^|From )«low» alive per 100 planted (?:\((?P<least>[^)]+)\) to «high» \((?P<most>[^)]+)\)|"
        r"(?P<alike>(?:at|of) (?:both|all)) )",
        lambda tables: [*groups("species", "species")(tables), *groups("sites", "site")(tables)],
        lambda row: {
            "low": per_100(row["low"]),
            "high": per_100(row["high"]),
            "least": row["least"],
            "most": row["most"],
            **({"alike": row["alike"]} if per_100(row["low"]) == per_100(row["high"]) else {}),
        },
    ),
    Said(r"«value» species", lambda tables: [{"value": len(tables.get("species", []))}], _value()),
    Said(
        r"means of the preparations: «first: span» % at the first visit, «last: span» % at the last",
        covers,
        dict,
    ),
    Said(
        r"«size» standard deviations (?P<way>less|more)",
        sheet("traits", lambda row: row["standardised_difference"] != ""),
        lambda row: {
            "size": number(abs(row["standardised_difference"]), 1),
            "way": "more" if row["standardised_difference"] > 0 else "less",
        },
    ),
    Said(
        r"By (?P<to>\d+ \w+ \d{4}) «mm» mm had fallen since (?P<since>\d+ \w+ \d{4}); the median of the "
        r"record is «median» mm",
        added,
        dict,
    ),
    Said(
        r"[Rr]ain in the dry season[^:]*: «value» mm, decile «decile»",
        sheet("rain"),
        lambda row: {
            **(found := _rain(row)),
            "amount": found.get("value", ""),
            "tenth": found.get("decile", ""),
        },
    ),
    Said(r"at least «least» and at most «most» of «days» days", stress, _stress),
    Said(r"of «holds» mm that the soil can hold", water, _plain),
    Said(r"Stands for «plots» plots", water, _plain),
    Said(r"not reckoned for «left» plots", water, _plain),
    Said(r"rain is not known on «no_rain» of «days» days", water, _plain),
    Said(r"evapotranspiration is not known on «no_eto» of «days» days", water, _plain),
    Said(r"gauge: (?P<soil>[a-z ]+, patch of # m radius)", soils, dict),
    Said(
        r"Years of record: «value»",
        lambda tables: [
            {"value": min(row["years_of_record"] for row in tables["rain"] if row["decile"] != "")}
        ],
        _value(),
    ),
    Said(r"moves most for «method: name»: from «low» to «high»", moving, dict),
    Said(r"F «f» on «df1» and «df2» degrees of freedom, p «p»", sheet("tests"), _test),
    Said(r"F «f» on «df1» and «df2_tenth» degrees of freedom, p «p»", sheet("tests"), _test),
    Said(r"Mundlak's test, p «p»", sheet("tests"), _test),
    Said(r"CR2, «low» to «high» degrees", _degrees, dict),
    Said(
        r"up to «value» were drawn",
        lambda tables: [{"value": max(row["tried"] for row in tables["permutation"])}],
        _value(),
    ),
    Said(
        r"leaving out each of «value» sites",
        sheet("like_sites"),
        lambda row: {"value": number(row["n_sites"])},
    ),
    Said(r"^«value» photographs", lambda tables: [{"value": len(tables["photo_points"])}], _value()),
    Said(r"^«value» corrections? made", lambda tables: [{"value": len(tables["corrections"])}], _value()),
    Said(r"^«value» per 100 planted per 10 cm", settings("design", "radius_gain"), _value()),
]
