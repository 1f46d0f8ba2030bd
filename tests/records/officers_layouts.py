"""Workbooks as officers of several districts keep them, laid out by hand, each with its truth.

Unlike those of `found_layouts`: a seedling a column, notes in cells, codes with a key, cross tables, photos,
a second file for the second visit, states told by colour alone. Invented throughout.
"""

from __future__ import annotations

import datetime as dt
import io
import random
from collections.abc import Callable, Sequence
from typing import Final

import xlsxwriter

from tests.records.found_layouts import (
    AGES,
    ONE,
    PLANTED,
    PREPS,
    TWO,
    Case,
    Plant,
    day,
    groups,
    plants,
    said,
    truth,
)
from tests.records.layouts import Cell, Sheet, as_text_file, as_xlsx
from tests.records.scoring import Known, Truth, squeeze

VISITS: Final = range(len(AGES))
CODES: Final = {"black box": "BB", "lignum": "LG", "old man saltbush": "OMS"}


def _sheet(
    name: str, rows: Sequence[Sequence[Cell]], merged: Sequence[tuple[int, int, int, int]] = ()
) -> Sheet:
    return Sheet(name, [list(row) for row in rows], list(merged))


def _day_words(when: dt.date, place: int) -> str:
    """A day as text, each in another style."""
    weekday = ("Mon", "Tues", "Wed", "Thurs", "Fri", "Sat", "Sun")[when.weekday()]
    return (
        f"{weekday} {when.day}/{when.month}/{when:%y}",
        f"{when.day}th {when:%b} {when.year}".replace("1th ", "1st ").replace("2th ", "2nd "),
        f"{when:%d-%b-%y}",
        f"{when.day}.{when.month:02d}.{when.year}",
    )[place % 4]


def merged_form_with_photos() -> Case:
    """A tab a site: a form above, days merged over state, vigour and photo, a total by formula below."""
    units = plants(TWO)
    sheets = []
    for site in TWO:
        own = [u for u in units if u.site == site]
        top: list[Cell] = ["Plant", None, None, None]
        merged = [(6, 0, 6, 3)]
        for t in VISITS:
            merged.append((6, len(top), 6, len(top) + 2))
            top += [day(site, t), None, None]
        rows: list[list[Cell]] = [
            ["SURVIVAL MONITORING FORM"],
            ["Property:", site],
            ["Planted:", PLANTED[site]],
            ["Recorder:", "crew 2"],
            ["State: L = living, X = dead, G = gone, U = no tag. Vigour 0 (dead) to 5 (thriving)"],
            [],
            top,
            ["Tag", "Plot", "Treatment", "Sp.", *(["State", "Vigour", "Photo no."] * 4)],
        ]
        draw = random.Random(site)
        for number, u in enumerate(own):
            row: list[Cell] = [u.tag, u.plot, u.prep, CODES[u.species]]
            for t in VISITS:
                state = {"A": "L", "D": "X", "M": "G", "N": "U"}[u.seen[t]]
                vigour = draw.randint(1, 5) if state == "L" else 0 if state == "X" else None
                row += [state, vigour, f"IMG_{1000 + 40 * t + number}"]
            rows.append(row)
        foot = len(rows)
        sums: list[Cell] = ["Living", None, None, None]
        for column in (chr(ord("E") + 3 * t) for t in VISITS):
            sums += [f'=COUNTIF({column}9:{column}{foot},"L")', None, None]
        rows.append(sums)
        sheets.append(_sheet(site, rows, merged))
    return Case(
        {"monitoring.xlsx": as_xlsx(sheets)},
        truth(units),
        {"L": "alive", "X": "dead", "G": "missing", "U": "not found"},
    )


def a_seedling_a_column() -> Case:
    """A tab a plot: the seedlings across, a row a visit, what the plot is in the lines above."""
    units = plants(ONE)
    site = ONE[0]
    sheets = []
    for plot in dict.fromkeys(u.plot for u in units):
        own = [u for u in units if u.plot == plot]
        rows: list[list[Cell]] = [
            ["Site", site],
            ["Plot", plot],
            ["Treatment", own[0].prep],
            ["Planted", PLANTED[site]],
            [],
            ["Tag", *(u.tag for u in own)],
            ["Species", *(u.species for u in own)],
        ]
        rows += [[day(site, t), *(u.seen[t] for u in own)] for t in VISITS]
        sheets.append(_sheet(f"Plot {plot}", rows))
    return Case({"Wether Hill plots.xlsx": as_xlsx(sheets)}, truth(units), {"N": "not found"})


def a_list_of_tags_and_files_of_visits() -> Case:
    """The list of tags in one file; a file a visit with tag and state alone, under headings of its own."""
    units = plants(TWO)
    listed: list[list[Cell]] = [
        ["Tag", "Site", "Plot", "Preparation", "Species", "Date planted"],
        *([u.tag, u.site, u.plot, u.prep, u.species, PLANTED[u.site]] for u in units),
    ]
    files = {"planting list.xlsx": as_xlsx([_sheet("Planted", listed)])}
    heads = (
        ("Tag", "Date", "Status"),
        ("Tag no.", "Inspected", "Condition"),
        ("Tag", "Visit date", "State"),
        ("Plant tag", "Date seen", "Alive or dead"),
    )
    for t, head in enumerate(heads):
        rows: list[list[Cell]] = [list(head)]
        rows += [
            [u.tag, day(u.site, t), {"A": "Alive", "D": "Dead", "M": "Missing", "N": "Not found"}[u.seen[t]]]
            for u in units
        ]
        files[f"visit {t + 1}.xlsx"] = as_xlsx([_sheet("Sheet1", rows)])
    return Case(files, truth(units))


def codes_with_a_key() -> Case:
    """States as numbers 1, 2, 3, 4 and 9, with a key on a sheet of its own; species codes, too."""
    units = plants(TWO)
    draw = random.Random(4)
    rows: list[list[Cell]] = [
        [
            "Site",
            "Plot",
            "Trt",
            "Seedling",
            "Spp",
            "Planted",
            *(f"{said(day('Wether Hill', t), 'short')}" for t in VISITS),
        ]
    ]
    code = {"D": 3, "M": 4, "N": 9}
    same = [
        Plant("Wether Hill", u.block, u.prep, u.plot, u.tag, u.species, u.seen)
        for u in units
        if u.site == "Wether Hill"
    ]
    for u in same:
        rows.append(
            [
                u.site,
                u.plot,
                u.prep,
                u.tag,
                CODES[u.species],
                PLANTED[u.site],
                *(code.get(s) or (1 if draw.random() < 0.7 else 2) for s in u.seen),
            ]
        )
    key: list[list[Cell]] = [
        ["Code", "Meaning"],
        [1, "alive and healthy"],
        [2, "alive, stressed or browsed"],
        [3, "dead"],
        [4, "gone (no plant at the tag)"],
        [9, "tag not found"],
        [],
        ["Species code", "Species"],
        *([own, name] for name, own in CODES.items()),
    ]
    book = as_xlsx([_sheet("Codes", key), _sheet("Data", rows)])
    return Case(
        {"condition.xlsx": book},
        truth(same),
        {"1": "alive", "2": "alive", "3": "dead", "4": "missing", "9": "not found"},
    )


def told_by_colour() -> Case:
    """The state is told by the colour of the cell alone, with a legend beside the table."""
    units = [u for u in plants(ONE) if "N" not in u.seen]
    site = ONE[0]
    held = io.BytesIO()
    book = xlsxwriter.Workbook(held, {"in_memory": True})
    paint = {
        "A": book.add_format({"bg_color": "#A9D08E"}),
        "D": book.add_format({"bg_color": "#F4B084"}),
        "M": book.add_format({"bg_color": "#BFBFBF"}),
    }
    date = book.add_format({"num_format": "d/mm/yyyy"})
    page = book.add_worksheet(site)
    page.write_row(0, 0, ["Tag", "Plot", "Prep", "Species", "Planted"])
    for t in VISITS:
        page.write_datetime(0, 5 + t, dt.datetime.combine(day(site, t), dt.time()), date)
    for number, u in enumerate(units, start=1):
        page.write_row(number, 0, [u.tag, u.plot, u.prep, u.species])
        page.write_datetime(number, 4, dt.datetime.combine(PLANTED[site], dt.time()), date)
        for t in VISITS:
            page.write_blank(number, 5 + t, None, paint[u.seen[t]])
    for number, (state, word) in enumerate({"A": "alive", "D": "dead", "M": "plant gone"}.items()):
        page.write_blank(2 + number, 11, None, paint[state])
        page.write(2 + number, 12, word)
    book.close()
    return Case({"coloured.xlsx": held.getvalue()}, truth(units))


def units_in_cells() -> Case:
    """Numbers with their units in the cells: 18 plants, 17 alive, 60 cm, 0.4 m."""
    units = groups(TWO)
    rows: list[list[Cell]] = [
        ["Site", "Plot", "Prep", "Clear radius", "Planted", "Planted on",
         *(f"Alive {said(day('Wether Hill', t), 'short')}" for t in VISITS)]
    ]  # fmt: skip
    own = [u for u in units if u.site == "Wether Hill"]
    for number, u in enumerate(own):
        radius = "0" if u.prep == "no work" else ("60 cm", "0.4 m", "55cm", "50 cm")[number % 4]
        rows.append([
            u.site, u.plot, u.prep, radius, f"{u.planted} plants", said(PLANTED[u.site], "words"),
            *(f"{n} alive" if number % 2 else f"{n} pl." for n in u.alive),
        ])  # fmt: skip
    return Case({"survival.xlsx": as_xlsx([_sheet("Survival", rows)])}, truth(own))


def a_cross_table_a_visit() -> Case:
    """A table a visit below one another: blocks down, preparations across, the number alive in the cells."""
    units = groups(ONE, plot="{block} {n}")
    site = ONE[0]
    named = [type(u)(u.site, u.block, u.prep, f"{u.block} {u.prep}", u.planted, u.alive) for u in units]
    rows: list[list[Cell]] = [[f"{site} - planted {said(PLANTED[site], 'words')}"], []]
    rows += [["Number planted"], ["Block", *PREPS]]
    for block in "AB":
        rows.append(
            [block, *(next(u.planted for u in named if (u.block, u.prep) == (block, p)) for p in PREPS)]
        )
    for t in VISITS:
        rows += [[], [f"Alive on {said(day(site, t), 'words')}"], ["Block", *PREPS]]
        for block in "AB":
            at = {u.prep: u for u in named if u.block == block}
            rows.append([block, *(at[prep].alive[t] for prep in PREPS)])
        rows.append(["Total", *(sum(u.alive[t] for u in named if u.prep == p) for p in PREPS)])
    return Case({"cross tables.xlsx": as_xlsx([_sheet("Survival", rows)])}, truth(named))


def only_the_dead_are_marked() -> Case:
    """X where a plant was found dead, nothing where it lived; dead plants are not looked at again."""
    units = [
        Plant(u.site, u.block, u.prep, u.plot, u.tag, u.species, u.seen)
        for u in plants(TWO)
        if not {"N", "M"} & set(u.seen)
    ]
    sheets = []
    for site in TWO:
        rows: list[list[Cell]] = [
            [f"{site}, planted {said(PLANTED[site])}. X = found dead; blank = alive"],
            ["Plot", "Treatment", "Tag", "Species", *(said(day(site, t)) for t in VISITS), "Notes"],
        ]
        for u in (u for u in units if u.site == site):
            first = u.seen.index("D") if "D" in u.seen else 9
            rows.append(
                [u.plot, u.prep, u.tag, u.species, *("X" if t == first else None for t in VISITS), None]
            )
        sheets.append(_sheet(site, rows))
    return Case({"deaths.xlsx": as_xlsx(sheets)}, truth(units), {"X": "dead", "a blank": "alive"})


def the_day_found_dead() -> Case:
    """A row a seedling: the day it was found dead, else blank; the days of the visits in a line above."""
    units = [u for u in plants(ONE) if not {"N", "M"} & set(u.seen)]
    site = ONE[0]
    rows: list[list[Cell]] = [
        [f"{site}: planted {said(PLANTED[site], 'words')}, checked "
         + ", ".join(said(day(site, t)) for t in VISITS)],
        ["Tag", "Plot", "Prep", "Species", "Date found dead", "Cause"],
    ]  # fmt: skip
    for u in units:
        first = u.seen.index("D") if "D" in u.seen else None
        rows.append(
            [u.tag, u.plot, u.prep, u.species, None if first is None else day(site, first),
             None if first is None else "dry"]
        )  # fmt: skip
    return Case({"losses.xlsx": as_xlsx([_sheet("Losses", rows)])}, truth(units))


def species_across() -> Case:
    """Counts by species: days merged over the codes of the species, with a sum and a share at each visit."""
    site = ONE[0]
    draw = random.Random(12)
    base = groups(ONE)
    units, cells = [], {}
    for u in base:
        for name, own in CODES.items():
            size = draw.randint(5, 9)
            alive, counts = size, []
            for _ in VISITS:
                alive -= sum(draw.random() < 0.12 for _ in range(alive))
                counts.append(alive)
            cells[u.plot, own] = (size, counts)
            units.append((u, name, size, tuple(counts)))
    top: list[Cell] = [None, None, None, "Planted " + said(PLANTED[site]), None, None]
    merged = [(1, 3, 1, 5)]
    for t in VISITS:
        merged.append((1, len(top), 1, len(top) + 4))
        top += ["Alive " + said(day(site, t)), None, None, None, None]
    codes = list(CODES.values())
    rows: list[list[Cell]] = [
        [site],
        top,
        ["Block", "Plot", "Prep", *codes, *([*codes, "Total", "%"] * 4)],
    ]
    for u in base:
        row: list[Cell] = [u.block, u.plot, u.prep, *(cells[u.plot, c][0] for c in codes)]
        planted = sum(cells[u.plot, c][0] for c in codes)
        for t in VISITS:
            own = [cells[u.plot, c][1][t] for c in codes]
            row += [*own, sum(own), round(100 * sum(own) / planted)]
        rows.append(row)
    known = truth(base)
    each = [
        Known(site, u.plot, (site, squeeze(u.plot), name), u.prep, size, counts)
        for u, name, size, counts in units
    ]
    spellings = {squeeze(own): name for name, own in CODES.items()} | {squeeze(name): name for name in CODES}
    return Case(
        {"species counts.xlsx": as_xlsx([_sheet("Counts", rows, merged)])},
        Truth(False, known.sites, known.preps, each, spellings),
    )


def filtered_with_days_as_text() -> Case:
    """A long sheet: days as text in four styles, dead rows hidden by a filter, a hidden column, notes."""
    units = plants(TWO)
    held = io.BytesIO()
    book = xlsxwriter.Workbook(held, {"in_memory": True})
    page = book.add_worksheet("Records")
    page.write_row(
        0, 0, ["Site", "Plot", "Works", "Tag", "Sp", "Planted", "old tag", "Visit", "Day", "Status", "Photo"]
    )
    number = 0
    for t in VISITS:
        for u in units:
            number += 1
            word = {"A": "ok", "D": "dead", "M": "gone", "N": "not found"}[u.seen[t]]
            page.write_row(number, 0, [
                u.site, u.plot, u.prep, u.tag, CODES[u.species], _day_words(PLANTED[u.site], 1), f"x{u.tag}",
                t + 1, _day_words(day(u.site, t), number), word, f"P{number:04d}.jpg",
            ])  # fmt: skip
            if word == "dead":
                page.set_row(number, None, None, {"hidden": True})
            if number % 17 == 0:
                page.write_comment(number, 9, "dead? look again")
    page.set_column(6, 6, None, None, {"hidden": True})
    book.close()
    return Case({"records 2023.xlsx": held.getvalue()}, truth(units))


def days_in_notes() -> Case:
    """Visits are headed V1 to V4; their days stand in notes of the headings, which only a person reads."""
    units = plants(ONE)
    site = ONE[0]
    held = io.BytesIO()
    book = xlsxwriter.Workbook(held, {"in_memory": True})
    date = book.add_format({"num_format": "dd/mm/yyyy"})
    page = book.add_worksheet(site)
    page.write(0, 0, "Planted")
    page.write_datetime(0, 1, dt.datetime.combine(PLANTED[site], dt.time()), date)
    page.write_row(2, 0, ["Plot", "Prep", "Tag", "Species", "V1", "V2", "V3", "V4"])
    for t in VISITS:
        page.write_comment(2, 4 + t, said(day(site, t), "words"))
    for number, u in enumerate(units, start=3):
        page.write_row(number, 0, [u.plot, u.prep, u.tag, u.species, *u.seen])
    book.close()
    days = {f"V{t + 1}": day(site, t).isoformat() for t in VISITS}
    return Case({"visits.xlsx": held.getvalue()}, truth(units), {"N": "not found", **days})


def a_tab_a_year() -> Case:
    """A tab a year: the second holds tag and states alone; days without a year, which the tab's name is."""
    units = plants(ONE)
    site = ONE[0]
    head: list[Cell] = ["Tag", "Plot", "Prep", "Species", "Planted"]
    first = [t for t in VISITS if day(site, t).year == 2023]
    later = [t for t in VISITS if day(site, t).year == 2024]
    one: list[list[Cell]] = [[*head, *(f"{day(site, t).day} {day(site, t):%b}" for t in first)]]
    one += [[u.tag, u.plot, u.prep, u.species, PLANTED[site], *(u.seen[t] for t in first)] for u in units]
    two: list[list[Cell]] = [["Tag", *(f"{day(site, t).day} {day(site, t):%b}" for t in later)]]
    two += [[u.tag, *(u.seen[t] for t in later)] for u in units]
    return Case(
        {"Wether Hill.xlsx": as_xlsx([_sheet("2023", one), _sheet("2024", two)])},
        truth(units),
        {"N": "not found"},
    )


def one_count_form_a_visit() -> Case:
    """A form a visit and site as CSV with semicolons: heads of the form, counts of alive and dead, a sum."""
    units = groups(TWO)
    files = {}
    for t in VISITS:
        for site in TWO:
            rows: list[list[Cell]] = [
                ["Field form 3b"],
                ["Site:", site, None, "Date:", said(day(site, t), "dots")],
                ["Observer:", "crew 1", None, "Planted:", said(PLANTED[site], "dots")],
                [],
                ["Plot", "Preparation", "Planted", "Alive", "Dead", "Photo"],
            ]
            own = [u for u in units if u.site == site]
            rows += [
                [u.plot, u.prep, u.planted, u.alive[t], u.planted - u.alive[t], f"{u.plot}-{t + 1}.jpg"]
                for u in own
            ]
            rows.append(["Sum", None, sum(u.planted for u in own), sum(u.alive[t] for u in own),
                         sum(u.planted - u.alive[t] for u in own), None])  # fmt: skip
            name = f"{site.lower().replace(' ', '_')}_{day(site, t):%Y%m}.csv"
            files[name] = as_text_file(_sheet("form", rows), ";", "utf-8")
    return Case(files, truth(units))


CASES: Final[tuple[Callable[[], Case], ...]] = (
    merged_form_with_photos,
    a_seedling_a_column,
    a_list_of_tags_and_files_of_visits,
    codes_with_a_key,
    told_by_colour,
    units_in_cells,
    a_cross_table_a_visit,
    only_the_dead_are_marked,
    the_day_found_dead,
    species_across,
    filtered_with_days_as_text,
    days_in_notes,
    a_tab_a_year,
    one_count_form_a_visit,
)
