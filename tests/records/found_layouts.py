"""Sheets as they are found in offices, one after another laid out by hand, each with its truth.

Unlike those that `layouts` draws: a sheet a visit, days down the side, ditto marks, units below the heading,
a state and a height in one cell. Invented throughout.
"""

from __future__ import annotations

import datetime as dt
import random
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Final

from tests.records.layouts import Cell, Sheet, as_ods, as_text_file, as_xlsx
from tests.records.scoring import Known, Site, Truth, squeeze

PREPS: Final = ("rip + mound", "spot spray", "no work")
SPECIES: Final = ("black box", "lignum", "old man saltbush")
PLANTED: Final = {
    "Wether Hill": dt.date(2023, 6, 20),
    "Lagoon": dt.date(2023, 7, 5),
    "Back Road": dt.date(2023, 7, 18),
}
AGES: Final = (45, 120, 200, 330)
_MONTHS: Final = (
    "January",
    "February",
    "March",
    "April",
    "May",
    "June",
    "July",
    "August",
    "September",
    "October",
    "November",
    "December",
)
_ALIVE: Final = {"A": "alive", "D": "dead", "M": "dead", "N": None}


@dataclass(frozen=True)
class Plant:
    """A seedling: a letter a visit, alive, dead, missing, or not found."""

    site: str
    block: str
    prep: str
    plot: str
    tag: str
    species: str
    seen: tuple[str, ...]


@dataclass(frozen=True)
class Group:
    """The plants of a plot: how many were alive at each visit."""

    site: str
    block: str
    prep: str
    plot: str
    planted: int
    alive: tuple[int, ...]


@dataclass(frozen=True)
class Case:
    """Files, what they mean, and what the crew says where it is asked."""

    files: dict[str, bytes]
    truth: Truth
    answers: dict[str, str] = field(default_factory=dict)


def plants(sites: Sequence[str], size: int = 6, plot: str = "{block}{n}", tag: str = "{n}") -> list[Plant]:
    """Draw a season of tagged seedlings: two blocks of three plots at each site."""
    draw = random.Random(f"{sites}{size}{plot}{tag}")
    out: list[Plant] = []
    for at, site in enumerate(sites):
        for place, (block, prep) in enumerate((b, p) for b in "AB" for p in PREPS):
            label = plot.format(block=block, n=place + 1, site=at + 1)
            for number in range(size):
                name = tag.format(n=100 * (at + 1) + len(out) % 100, plot=label, k=number + 1)
                chance = (0.06, 0.12, 0.22)[PREPS.index(prep)]
                seen, state = "", "A"
                for _ in AGES:
                    if state == "A" and draw.random() < chance:
                        state = "D" if draw.random() < 0.8 else "M"
                    seen += state
                if seen == "AAAA" and draw.random() < 0.05:
                    seen = "ANAA"
                out.append(Plant(site, block, prep, label, name, draw.choice(SPECIES), tuple(seen)))
    return out


def groups(sites: Sequence[str], plot: str = "{block}{n}", planted: int = 0) -> list[Group]:
    """Draw a season of plot counts: two blocks of three plots at each site."""
    draw = random.Random(f"{sites}{plot}{planted}")
    out = []
    for at, site in enumerate(sites):
        for place, (block, prep) in enumerate((b, p) for b in "AB" for p in PREPS):
            size = planted or draw.randint(14, 22)
            alive, counts = size, []
            for _ in AGES:
                chance = (0.06, 0.12, 0.22)[PREPS.index(prep)]
                alive -= sum(draw.random() < chance for _ in range(alive))
                counts.append(alive)
            label = plot.format(block=block, n=place + 1, site=at + 1)
            out.append(Group(site, block, prep, label, size, tuple(counts)))
    return out


def day(site: str, turn: int) -> dt.date:
    return PLANTED[site] + dt.timedelta(days=AGES[turn])


def truth(units: Sequence[Plant] | Sequence[Group], within: int = 3) -> Truth:
    """Say what the sheets mean; ``within``: days by which the reading of a visit may be off."""
    sites = {
        name: Site(
            frozenset({squeeze(name)}),
            PLANTED[name],
            tuple((day(name, turn), within) for turn in range(len(AGES))),
        )
        for name in dict.fromkeys(unit.site for unit in units)
    }
    known = []
    for unit in units:
        if isinstance(unit, Plant):
            key: tuple[str, ...] = (unit.site, squeeze(unit.tag).lstrip("0"))
            known.append(
                Known(unit.site, unit.plot, key, unit.prep, 1, tuple(_ALIVE[state] for state in unit.seen))
            )
        else:
            key = (unit.site, squeeze(unit.plot), "")
            known.append(Known(unit.site, unit.plot, key, unit.prep, unit.planted, unit.alive))
    return Truth(isinstance(units[0], Plant), sites, {squeeze(prep): prep for prep in PREPS}, known)


def said(when: dt.date, style: str = "d/m/y") -> str:
    """Write a day as people do."""
    match style:
        case "d/m/y":
            return f"{when.day}/{when.month}/{when:%y}"
        case "words":
            return f"{when.day} {_MONTHS[when.month - 1]} {when.year}"
        case "short":
            return f"{when.day}-{_MONTHS[when.month - 1][:3]}-{when:%y}"
        case "dots":
            return f"{when.day}.{when.month}.{when.year}"
        case "month":
            return f"{_MONTHS[when.month - 1]} {when.year}"
    return when.isoformat()


def _sheet(
    name: str, rows: Sequence[Sequence[Cell]], merged: Sequence[tuple[int, int, int, int]] = ()
) -> Sheet:
    return Sheet(name, [list(row) for row in rows], list(merged))


ONE, TWO, THREE = ("Wether Hill",), ("Wether Hill", "Lagoon"), tuple(PLANTED)
WORDS: Final = {"A": "alive", "D": "dead", "M": "missing", "N": "not found"}


def a_sheet_a_visit() -> Case:
    """One sheet a visit, its day in its name; what was planted when stands in a title."""
    units = plants(THREE)
    sheets = []
    for turn in range(len(AGES)):
        when = PLANTED["Wether Hill"] + dt.timedelta(days=AGES[turn])
        rows: list[list[Cell]] = [["Site", "Planted", "Plot", "Prep", "Tag", "Species", "Checked", "State"]]
        for unit in units:
            planted, seen = PLANTED[unit.site], day(unit.site, turn)
            rows.append(
                [
                    unit.site,
                    planted,
                    unit.plot,
                    unit.prep,
                    unit.tag,
                    unit.species,
                    seen,
                    WORDS[unit.seen[turn]],
                ]
            )
        sheets.append(_sheet(f"{_MONTHS[when.month - 1][:3]} {when:%y}", rows))
    return Case({"checks.xlsx": as_xlsx(sheets)}, truth(units))


def a_sheet_a_visit_dated() -> Case:
    """One sheet a visit for one site: the day stands in the name of the sheet alone, or in its title."""
    units = plants(ONE)
    sheets = []
    for turn in range(len(AGES)):
        when = day("Wether Hill", turn)
        rows: list[list[Cell]] = [
            [f"Wether Hill, planted {said(PLANTED['Wether Hill'], 'words')}"],
            [],
            ["Plot", "Prep", "Tag", "Species", "Status"],
        ]
        rows += [[u.plot, u.prep, u.tag, u.species, u.seen[turn]] for u in units]
        sheets.append(_sheet(said(when, "short"), rows))
    return Case({"Wether Hill.xlsx": as_xlsx(sheets)}, truth(units))


def days_down_the_side() -> Case:
    """Counts the other way round: a column a plot, a row a visit."""
    units = groups(ONE)
    rows: list[list[Cell]] = [
        [f"Wether Hill - planted {said(PLANTED['Wether Hill'], 'words')} - number alive"],
        ["Plot", *(u.plot for u in units)],
        ["Preparation", *(u.prep for u in units)],
        ["Planted", *(u.planted for u in units)],
    ]
    rows += [[day("Wether Hill", turn), *(u.alive[turn] for u in units)] for turn in range(len(AGES))]
    return Case({"wether hill.xlsx": as_xlsx([_sheet("Sheet1", rows)])}, truth(units))


def days_down_the_side_a_sheet_a_site() -> Case:
    """The same, a sheet a site, blocks merged over the plots."""
    units = groups(TWO, plot="{n}")
    sheets = []
    for site in TWO:
        own = [u for u in units if u.site == site]
        rows: list[list[Cell]] = [
            [f"Planted {said(PLANTED[site])}"],
            ["Block", "A", None, None, "B", None, None],
            ["Plot", *(float(u.plot) for u in own)],
            ["Treatment", *(u.prep for u in own)],
            ["No. planted", *(u.planted for u in own)],
        ]
        rows += [[said(day(site, turn)), *(u.alive[turn] for u in own)] for turn in range(len(AGES))]
        sheets.append(_sheet(site, rows, [(1, 1, 1, 3), (1, 4, 1, 6)]))
    return Case({"counts.xlsx": as_xlsx(sheets)}, truth(units))


def two_tables_below() -> Case:
    """A table a site on one sheet, with a line of notes between."""
    units = groups(TWO)
    rows: list[list[Cell]] = []
    for site in TWO:
        rows += [[f"{site.upper()}  (planted {said(PLANTED[site], 'words')})"]]
        rows += [
            ["Plot", "Prep", "Planted", *(f"Alive {said(day(site, t), 'short')}" for t in range(len(AGES)))]
        ]
        rows += [[u.plot, u.prep, u.planted, *u.alive] for u in units if u.site == site]
        own = [u for u in units if u.site == site]
        rows += [
            ["Total", None, sum(u.planted for u in own), *(sum(u.alive[t] for u in own) for t in range(4))]
        ]
        rows += [[], ["Fence good, no sign of rabbits"], []]
    return Case({"survival.xlsx": as_xlsx([_sheet("Survival", rows)])}, truth(units))


def not_applicable() -> Case:
    """N/A where a plant was dead before, and n/a where the plot was not looked at."""
    units = plants(TWO)
    rows: list[list[Cell]] = [
        [
            "Site",
            "Date planted",
            "Plot",
            "Treatment",
            "Tag #",
            "Species",
            *(f"V{t + 1}" for t in range(4)),
            *(f"V{t + 1} date" for t in range(4)),
        ],
    ]
    for u in units:
        told: list[Cell] = []
        gone = False
        for state in u.seen:
            told.append("N/A" if gone else WORDS[state])
            gone = gone or state in "DM"
        rows.append(
            [
                u.site,
                PLANTED[u.site],
                u.plot,
                u.prep,
                u.tag,
                u.species,
                *told,
                *(day(u.site, t) for t in range(4)),
            ]
        )
    return Case({"trial.ods": as_ods([_sheet("Data", rows)])}, truth(units))


def months_merged() -> Case:
    """Months merged over the state and the height; the month is all that is told of the day."""
    units = plants(ONE)
    site = ONE[0]
    heads = [said(day(site, t), "month") for t in range(4)]
    top: list[Cell] = [None, None, None, None]
    for head in heads:
        top += [head, None]
    rows: list[list[Cell]] = [
        [f"{site}: seedlings planted {said(PLANTED[site], 'words')}"],
        top,
        ["Plot", "Preparation", "Tag no.", "Species", *(["Alive/dead", "Ht cm"] * 4)],
    ]
    for u in units:
        row: list[Cell] = [u.plot, u.prep, u.tag, u.species]
        for turn, state in enumerate(u.seen):
            row += [state, 20 + 9 * turn if state == "A" else None]
        rows.append(row)
    merged = [(1, 4 + 2 * t, 1, 5 + 2 * t) for t in range(4)]
    answers = {head: day(site, t).isoformat() for t, head in enumerate(heads)}
    answers |= {"N": "not found"}
    return Case(
        {"seedlings.xlsx": as_xlsx([_sheet("Seedlings", rows, merged)])}, truth(units, within=16), answers
    )


def notes_between_rows() -> Case:
    """Remarks in rows of their own between the plants, and a sub-total after each plot."""
    units = plants(TWO)
    rows: list[list[Cell]] = [
        [
            "Site",
            "Planted on",
            "Plot",
            "Prep",
            "Tag",
            "Species",
            "V1 date",
            "V1",
            "V2 date",
            "V2",
            "V3 date",
            "V3",
            "V4 date",
            "V4",
        ]
    ]
    for number, u in enumerate(units):
        row: list[Cell] = [u.site, PLANTED[u.site], u.plot, u.prep, u.tag, u.species]
        for turn in range(4):
            row += [day(u.site, turn), WORDS[u.seen[turn]]]
        rows.append(row)
        if number % 11 == 5:
            rows.append([None, None, "some browsing here, guard replaced by the contractor"])
        if number + 1 == len(units) or units[number + 1].plot != u.plot:
            own = [v for v in units if (v.site, v.plot) == (u.site, u.plot)]
            total: list[Cell] = [None, None, None, None, "alive", None]
            for turn in range(4):
                total += [None, sum(v.seen[turn] == "A" for v in own)]
            rows.append(total)
    return Case({"plots and notes.xlsx": as_xlsx([_sheet("Monitoring", rows)])}, truth(units))


def ditto_marks() -> Case:
    """Labels once, and ditto marks below."""
    units = plants(TWO)
    rows: list[list[Cell]] = [
        ["Property", "Planted", "Plot", "Prep", "Tag", "Species", *(f"Check {t + 1}" for t in range(4))]
    ]
    before: list[Cell] = []
    for u in units:
        labels: list[Cell] = [u.site, said(PLANTED[u.site]), u.plot, u.prep]
        marks: list[Cell] = [
            '"' if before and before[: n + 1] == labels[: n + 1] else own for n, own in enumerate(labels)
        ]
        before = labels
        rows.append([*marks, u.tag, u.species, *u.seen])
    days: list[list[Cell]] = [["Visit dates", *(f"Check {t + 1}" for t in range(4))]]
    days += [[site, *(day(site, t) for t in range(4))] for site in TWO]
    book = as_xlsx([_sheet("Checks", rows), _sheet("Dates", days)])
    return Case({"checks.xlsx": book}, truth(units), {"N": "not found"})


def tags_like_days() -> Case:
    """Tags such as 4-3: the third plant of plot 4."""
    units = plants(TWO, plot="{n}", tag="{plot}-{k}")
    rows: list[list[Cell]] = [["Site", "Plot", "Prep", "Plant", "Species", "Planted", "Date", "State"]]
    for turn in range(4):
        rows += [
            [
                u.site,
                u.plot,
                u.prep,
                u.tag,
                u.species,
                said(PLANTED[u.site]),
                said(day(u.site, turn)),
                u.seen[turn],
            ]
            for u in units
        ]
    return Case(
        {"plants.csv": as_text_file(_sheet("plants", rows), ",", "utf-8")}, truth(units), {"N": "not found"}
    )


def plots_by_colour() -> Case:
    """Plots named by the colour of their pegs, the same colours at each site."""
    colours = dict(zip("123456", ("Red", "Blue", "Green", "White", "Yellow", "Orange"), strict=True))
    units = [
        Group(u.site, u.block, u.prep, colours[u.plot], u.planted, u.alive) for u in groups(THREE, plot="{n}")
    ]
    sheets = []
    for site in THREE:
        rows: list[list[Cell]] = [
            [site, None, None, "Planted:", PLANTED[site]],
            ["Peg colour", "Works", "# planted", *(day(site, t) for t in range(4))],
        ]
        rows += [[u.plot, u.prep, u.planted, *u.alive] for u in units if u.site == site]
        sheets.append(_sheet(site, rows))
    return Case({"pegs.xlsx": as_xlsx(sheets)}, truth(units))


def unsure_states() -> Case:
    """'dead?' and '?' beside plain words: the crew says what it meant."""
    units = plants(TWO)
    draw = random.Random(5)
    rows: list[list[Cell]] = [
        ["Site", "Planting date", "Plot", "Prep", "Tag", "Spp", "Visit date", "Dead or alive"]
    ]
    for turn in range(4):
        for u in units:
            word = {"A": "alive", "D": "dead", "M": "gone", "N": "?"}[u.seen[turn]]
            if u.seen[turn] == "D" and draw.random() < 0.2:
                word = "dead?"
            rows.append([u.site, PLANTED[u.site], u.plot, u.prep, u.tag, u.species, day(u.site, turn), word])
    book = as_xlsx([_sheet("Sheet1", rows)])
    return Case({"lagoon and hill.xlsx": book}, truth(units), {"dead?": "dead", "?": "not found"})


def per_cent_and_planted() -> Case:
    """Survival in per cent beside the number planted."""
    units = groups(TWO, planted=20)
    rows: list[list[Cell]] = [
        [
            "Site",
            "Planting date",
            "Plot",
            "Treatment",
            "Planted",
            *(f"Survival % {t + 1}" for t in range(4)),
            *(f"Date {t + 1}" for t in range(4)),
        ]
    ]
    for u in units:
        shares: list[Cell] = [f"{100 * n // u.planted}%" for n in u.alive]
        rows.append(
            [u.site, PLANTED[u.site], u.plot, u.prep, u.planted, *shares, *(day(u.site, t) for t in range(4))]
        )
    return Case({"survival.xlsx": as_xlsx([_sheet("Survival", rows)])}, truth(units))


def days_in_three_styles() -> Case:
    """Days as text in three styles in one column."""
    units = groups(THREE)
    rows: list[list[Cell]] = [
        ["Location", "Plot no.", "Site prep", "No planted", "Planted", "Date of visit", "No alive"]
    ]
    styles = ("d/m/y", "short", "dots", "words")
    for turn in range(4):
        for number, u in enumerate(units):
            style = styles[(number + turn) % len(styles)]
            rows.append(
                [
                    u.site,
                    u.plot,
                    u.prep,
                    u.planted,
                    said(PLANTED[u.site], style),
                    said(day(u.site, turn), style),
                    u.alive[turn],
                ]
            )
    return Case({"counts 2023.csv": as_text_file(_sheet("c", rows), ";", "utf-8")}, truth(units))


def units_below_the_heading() -> Case:
    """The heading in row 5, its units in row 6."""
    units = plants(ONE)
    site = ONE[0]
    rows: list[list[Cell]] = [
        ["Revegetation survival"],
        ["Site:", site],
        ["Planted:", PLANTED[site]],
        [],
        ["Plot", "Treatment", "Weed free radius", "Tag", "Species", *(day(site, t) for t in range(4))],
        ["", "", "(m)", "", "", "(A/D)", "(A/D)", "(A/D)", "(A/D)"],
    ]
    rows += [[u.plot, u.prep, 0.5 if u.prep == PREPS[1] else 0, u.tag, u.species, *u.seen] for u in units]
    return Case({"form.xlsx": as_xlsx([_sheet("Form", rows)])}, truth(units), {"N": "not found"})


def height_and_state() -> Case:
    """A height and a state in one cell: 45/A."""
    units = plants(ONE)
    site = ONE[0]
    rows: list[list[Cell]] = [
        [f"{site} planted {said(PLANTED[site], 'words')}; height in cm / state"],
        ["Plot", "Prep", "Tag", "Species", *(said(day(site, t), "short") for t in range(4))],
    ]
    for u in units:
        rows.append(
            [
                u.plot,
                u.prep,
                u.tag,
                u.species,
                *(f"{22 + 8 * t}/A" if s == "A" else s for t, s in enumerate(u.seen)),
            ]
        )
    return Case({"heights.xlsx": as_xlsx([_sheet("Heights", rows)])}, truth(units), {"N": "not found"})


def alive_of_planted() -> Case:
    """Counts as 17/20: alive of those planted."""
    units = groups(TWO)
    rows: list[list[Cell]] = [["Site", "Planted", "Plot", "Treatment", *(f"Visit {t + 1}" for t in range(4))]]
    rows += [
        [u.site, said(PLANTED[u.site], "words"), u.plot, u.prep, *(f"{n}/{u.planted}" for n in u.alive)]
        for u in units
    ]
    days: list[list[Cell]] = [["", *TWO]]
    days += [[f"Visit {t + 1}", *(day(site, t) for site in TWO)] for t in range(4)]
    book = as_xlsx([_sheet("Counts", rows), _sheet("When", days)])
    return Case({"counts.xlsx": book}, truth(units))


def blocks_across() -> Case:
    """Blocks side by side, each with its own columns of visits."""
    units = groups(ONE, plot="{n}")
    site = ONE[0]
    top: list[Cell] = ["", "", ""]
    merged = []
    heads: list[Cell] = ["Preparation"]
    row1: list[Cell] = [None]
    for block in "AB":
        merged.append((1, len(row1), 1, len(row1) + 4))
        row1 += [f"Block {block}", None, None, None, None]
        heads += ["Planted", *(f"Alive {said(day(site, t))}" for t in range(4))]
    rows: list[list[Cell]] = [[f"{site}, planted {said(PLANTED[site], 'words')}"], row1, heads]
    for prep in PREPS:
        row: list[Cell] = [prep]
        for block in "AB":
            u = next(v for v in units if (v.block, v.prep) == (block, prep))
            row += [u.planted, *u.alive]
        rows.append(row)
    del top
    known = [Group(u.site, u.block, u.prep, f"{u.block}, {u.prep}", u.planted, u.alive) for u in units]
    return Case({"blocks.xlsx": as_xlsx([_sheet("Blocks", rows, merged)])}, truth(known))


def a_file_a_visit() -> Case:
    """A CSV a visit, its day in its name."""
    units = groups(TWO)
    files = {}
    for turn in range(4):
        rows: list[list[Cell]] = [
            ["Site", "Planted", "Plot", "Prep", "Number planted", "Date", "Alive", "Notes"]
        ]
        rows += [
            [
                u.site,
                said(PLANTED[u.site]),
                u.plot,
                u.prep,
                u.planted,
                said(day(u.site, turn)),
                u.alive[turn],
                "dry" if turn == 2 and u.plot == "A1" else "",
            ]
            for u in units
        ]
        files[f"count {turn + 1}.csv"] = as_text_file(_sheet("x", rows), ",", "utf-8")
    return Case(files, truth(units))


def living_and_lost() -> Case:
    """A column of the living and one of the lost under each visit, days in a heading of two rows."""
    units = groups(TWO)
    site = "Wether Hill"
    sheets = []
    for site in TWO:
        top: list[Cell] = ["Plot", "Preparation", "Planted"]
        low: list[Cell] = [None, None, None]
        merged = [(1, c, 2, c) for c in range(3)]
        for t in range(4):
            merged.append((1, len(top), 1, len(top) + 1))
            top += [day(site, t), None]
            low += ["Living", "Lost"]
        rows: list[list[Cell]] = [[f"Planted {said(PLANTED[site], 'words')}"], top, low]
        for u in (u for u in units if u.site == site):
            row: list[Cell] = [u.plot, u.prep, u.planted]
            for n in u.alive:
                row += [n, u.planted - n]
            rows.append(row)
        sheets.append(_sheet(site, rows, merged))
    return Case({"living and lost.xlsx": as_xlsx(sheets)}, truth(units))


def plot_headings_between() -> Case:
    """A line with the plot and its preparation above the plants of each plot."""
    units = plants(ONE, size=8)
    site = ONE[0]
    rows: list[list[Cell]] = [
        [f"{site} - planted {said(PLANTED[site], 'words')}"],
        ["Tag", "Species", *(said(day(site, t), "short") for t in range(4))],
    ]
    last = ""
    for u in units:
        if u.plot != last:
            rows.append([f"Plot {u.plot} - {u.prep}"])
            last = u.plot
        rows.append([u.tag, u.species, *u.seen])
    return Case({"by plot.xlsx": as_xlsx([_sheet("Plants", rows)])}, truth(units), {"N": "not found"})


CASES: Final[tuple[Callable[[], Case], ...]] = (
    a_sheet_a_visit,
    a_sheet_a_visit_dated,
    days_down_the_side,
    days_down_the_side_a_sheet_a_site,
    two_tables_below,
    not_applicable,
    months_merged,
    notes_between_rows,
    ditto_marks,
    tags_like_days,
    plots_by_colour,
    unsure_states,
    per_cent_and_planted,
    days_in_three_styles,
    units_below_the_heading,
    height_and_state,
    alive_of_planted,
    blocks_across,
    a_file_a_visit,
    living_and_lost,
    plot_headings_between,
)


def a_sheet_a_plot() -> Case:
    """One sheet a plot, what it is of in a form above the plants; tags begin anew on each."""
    units = plants(ONE, tag="{plot}{k}")
    site = ONE[0]
    sheets = []
    for plot in dict.fromkeys(u.plot for u in units):
        own = [u for u in units if u.plot == plot]
        rows: list[list[Cell]] = [
            ["Site:", site, None, "Date planted:", PLANTED[site]],
            ["Plot:", plot, None, "Treatment:", own[0].prep],
            [],
            ["Tag", "Species", *(said(day(site, t)) for t in range(4))],
        ]
        rows += [[u.tag, u.species, *u.seen] for u in own]
        sheets.append(_sheet(f"Plot {plot}", rows))
    return Case({"forms.xlsx": as_xlsx(sheets)}, truth(units), {"N": "not found"})


def a_sheet_a_preparation() -> Case:
    """One sheet a preparation, named by it."""
    units = plants(TWO)
    sheets = []
    for prep in PREPS:
        rows: list[list[Cell]] = [["Site", "Planted", "Plot", "Tag", "Species", "Visited", "State"]]
        rows += [
            [u.site, PLANTED[u.site], u.plot, u.tag, u.species, day(u.site, t), WORDS[u.seen[t]]]
            for t in range(4)
            for u in units
            if u.prep == prep
        ]
        sheets.append(_sheet(prep, rows))
    return Case({"by treatment.xlsx": as_xlsx(sheets)}, truth(units))


def remarks_behind_states() -> Case:
    """A remark behind the state: alive, browsed; dead (dug up)."""
    units = plants(TWO)
    draw = random.Random(9)
    rows: list[list[Cell]] = [["Site", "Planted", "Plot", "Prep", "Tag", "Species", "Date", "State"]]
    more = {
        "A": ("alive", "alive, browsed", "alive - yellow leaves"),
        "D": ("dead", "dead (dry)"),
        "M": ("gone",),
        "N": ("tag not found",),
    }
    for t in range(4):
        for u in units:
            rows.append(
                [
                    u.site,
                    PLANTED[u.site],
                    u.plot,
                    u.prep,
                    u.tag,
                    u.species,
                    day(u.site, t),
                    draw.choice(more[u.seen[t]]),
                ]
            )
    return Case({"remarks.xlsx": as_xlsx([_sheet("Data", rows)])}, truth(units))


def sites_as_lines() -> Case:
    """One table; a line with the site above its plots; means and shares at the foot."""
    units = groups(TWO)
    rows: list[list[Cell]] = [
        [
            "Plot",
            "Prep",
            "Planted on",
            "No. planted",
            *(f"Count {t + 1}" for t in range(4)),
            *(f"Date {t + 1}" for t in range(4)),
            "% alive",
        ]
    ]
    for site in TWO:
        rows.append([site.upper()])
        for u in (u for u in units if u.site == site):
            rows.append(
                [
                    u.plot,
                    u.prep,
                    PLANTED[site],
                    u.planted,
                    *u.alive,
                    *(day(site, t) for t in range(4)),
                    round(100 * u.alive[3] / u.planted),
                ]
            )
        own = [u for u in units if u.site == site]
        rows.append(
            ["Avg", None, None, None, *(round(sum(u.alive[t] for u in own) / 6, 1) for t in range(4))]
        )
    return Case({"counts.xlsx": as_xlsx([_sheet("Sheet1", rows)])}, truth(units))


def ticks_in_columns() -> Case:
    """A column for alive, one for dead, one for missing under each visit, and a mark in one of them."""
    units = [u for u in plants(ONE) if "N" not in u.seen]
    site = ONE[0]
    top: list[Cell] = [None] * 4
    merged = []
    for t in range(4):
        merged.append((1, len(top), 1, len(top) + 2))
        top += [said(day(site, t)), None, None]
    rows: list[list[Cell]] = [
        [f"{site}: planted {said(PLANTED[site], 'words')}"],
        top,
        ["Plot", "Prep", "Tag", "Species", *(["Alive", "Dead", "Missing"] * 4)],
    ]
    for u in units:
        row: list[Cell] = [u.plot, u.prep, u.tag, u.species]
        for state in u.seen:
            row += ["x" if state == own else None for own in "ADM"]
        rows.append(row)
    return Case({"ticks.xlsx": as_xlsx([_sheet("Form", rows, merged)])}, truth(units))


def tags_anew_in_each_plot() -> Case:
    """Tags from 1 in every plot, and visits by number of days since planting."""
    units = [
        Plant(u.site, u.block, u.prep, u.plot, u.tag, u.species, u.seen)
        for u in plants(ONE, tag="{plot}.{k}")
    ]
    site = ONE[0]
    rows: list[list[Cell]] = [
        [
            "Rep",
            "Plot",
            "Treatment",
            "Tag",
            "Species",
            "Planting date",
            *(f"{said(day(site, t), 'short')} state" for t in range(4)),
        ]
    ]
    rows += [
        [u.block, u.plot, u.prep, u.tag, u.species, said(PLANTED[site], "short"), *u.seen] for u in units
    ]
    return Case(
        {"Wether Hill.csv": as_text_file(_sheet("c", rows), ",", "utf-8")}, truth(units), {"N": "not found"}
    )


def dead_only_are_listed() -> Case:
    """Counts of the newly dead in a long sheet, the planted beside them."""
    units = groups(TWO)
    rows: list[list[Cell]] = [
        ["Site", "Plot", "Preparation", "Plants put in", "Planting day", "Date", "New deaths"]
    ]
    for t in range(4):
        for u in units:
            before = u.planted if t == 0 else u.alive[t - 1]
            rows.append(
                [u.site, u.plot, u.prep, u.planted, PLANTED[u.site], day(u.site, t), before - u.alive[t]]
            )
    return Case({"deaths.xlsx": as_xlsx([_sheet("Deaths", rows)])}, truth(units))


CASES = (
    *CASES,
    a_sheet_a_plot,
    a_sheet_a_preparation,
    remarks_behind_states,
    sites_as_lines,
    ticks_in_columns,
    tags_anew_in_each_plot,
    dead_only_are_listed,
)
