"""Sixteen invented field workbooks, each with habits of its own, and what a careful person reads in them."""

from __future__ import annotations

import io
import random
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta

import xlsxwriter

from tests.records.sheetfiles import as_csv, as_ods


@dataclass
class Unit:
    """A seedling, or a plot (or a species in it), with what was seen of it at each visit."""

    site: str
    plot: str
    prep: str
    planted_date: str
    tag: str = ""
    species: str = ""
    block: str = ""
    radius_m: float = 0.0
    planted: int = 1
    cohort: str = "planting"
    states: str = ""
    alive: list[int | None] = field(default_factory=list)
    places: list[tuple[int | None, str, str, int]] = field(default_factory=list)


@dataclass
class Sheet:
    """Rows of cells; a cell may be a value with a style: red, struck or grey."""

    name: str = ""
    rows: list[list] = field(default_factory=list)
    merged: list[tuple[int, int, int, int]] = field(default_factory=list)  # counted from 0, as the cells are
    hidden: list[int] = field(default_factory=list)
    template_rows: int = 0  # empty, with borders, of a protected form

    def add(self, *cells: object) -> int:
        """Add a row, and give its number as a spreadsheet shows it."""
        self.rows.append(list(cells))
        return len(self.rows)


@dataclass
class Book:
    name: str
    scenario: str
    kind: str
    units: list[Unit]
    days: dict[str, list[date]]  # of each site
    headings: Sequence[str | None]  # of its visits; None where days stand in a column
    files: dict[str, bytes] = field(default_factory=dict)
    roles: dict[str, dict[str, str]] = field(default_factory=dict)
    answers: dict[str, object] = field(default_factory=dict)
    rain_mm: float | None = None

    def put(self, file: str, content: bytes, *sheets: Sheet, role: str = "records") -> None:
        self.files[file] = content
        self.roles[file] = {sheet.name: role for sheet in sheets}


def xlsx(*sheets: Sheet) -> bytes:
    held = io.BytesIO()
    book = xlsxwriter.Workbook(held, {"in_memory": True, "default_date_format": "dd/mm/yyyy"})
    looks = {
        "red": book.add_format({"bg_color": "#FF0000"}),
        "struck": book.add_format({"font_strikeout": True}),
        "grey": book.add_format({"border": 1, "bg_color": "#EEEEEE", "locked": False}),
    }
    for sheet in sheets:
        page = book.add_worksheet(sheet.name)
        for top, left, bottom, right in sheet.merged:
            page.merge_range(top, left, bottom, right, "")
        for number, row in enumerate(sheet.rows):
            for column, cell in enumerate(row):
                value, look = cell if isinstance(cell, tuple) else (cell, "")
                if isinstance(value, date):
                    page.write_datetime(number, column, value)
                elif value is not None or look:
                    page.write(number, column, value, looks.get(look))
        for number in sheet.hidden:
            page.set_row(number - 1, None, None, {"hidden": True})
        wide = max(map(len, sheet.rows))
        for number in range(len(sheet.rows), len(sheet.rows) + sheet.template_rows):
            for column in range(wide):
                page.write_blank(number, column, None, looks["grey"])
        if sheet.template_rows:
            page.protect()
    book.close()
    return held.getvalue()


def text(sheet: Sheet, *, sign: str = ",", encoding: str = "utf-8") -> bytes:
    rows = [["" if cell is None else str(cell) for cell in row] for row in sheet.rows]
    return as_csv(rows, sign=sign, encoding=encoding)


def seedlings(
    seed: int, plots: Sequence[tuple[str, str, str]], each: int, days: dict[str, list[date]], planted: date
) -> list[Unit]:
    """Draw seedlings of (site, plot, preparation): A until dead (D) or gone (M), at times not found (N)."""
    draw, units = random.Random(seed), []
    preps = sorted({prep for _, _, prep in plots})
    for site, plot, prep in plots:
        risk = 0.1 + 0.12 * preps.index(prep)
        for _ in range(each):
            states = ""
            for _ in days[site]:
                if states and states[-1] in "DM":
                    states += states[-1]
                elif draw.random() < risk:
                    states += draw.choice("DDDM")
                else:
                    states += "N" if states and draw.random() < 0.04 else "A"
            if states.endswith("N"):
                states = states[:-1] + "A"
            units.append(Unit(site, plot, prep, str(planted), tag=str(len(units) + 1), states=states))
    return units


def counted(
    seed: int, plots: Sequence[tuple[str, str, str]], planted: int, visits: int, day: date
) -> list[Unit]:
    draw, units = random.Random(seed), []
    preps = sorted({prep for _, _, prep in plots})
    for site, plot, prep in plots:
        alive = [planted - draw.randint(0, 2)]
        for _ in range(visits - 1):
            alive.append(sum(draw.random() > 0.1 + 0.12 * preps.index(prep) for _ in range(alive[-1])))
        units.append(Unit(site, plot, prep, str(day), planted=planted, alive=list(alive)))
    return units


def layout(
    sites: Sequence[str], preps: Sequence[str], reps: int, name: str = "{prep}{n}"
) -> list[tuple[str, str, str]]:
    """Give (site, plot, preparation); a plot's name from its site's letter, its number within the site."""
    return [
        (site, f"{site[0]}{rep * len(preps) + place + 1}", prep)
        for site in sites
        for rep in range(reps)
        for place, prep in enumerate(preps)
    ]


def by(units: Sequence[Unit], key: str) -> dict[str, list[Unit]]:
    parts: dict[str, list[Unit]] = {}
    for own in units:
        parts.setdefault(getattr(own, key), []).append(own)
    return parts


def said(letters: dict[str, str], unit: Unit, visit: int) -> str:
    return letters[unit.states[visit]]


# ---- the workbooks ----------------------------------------------------------------------------------


def visit_sheets() -> Book:
    """A sheet a visit, columns in another order on each, notes in the cell of the state, totals below."""
    sites, planted = ("Harrowmere", "Lint Hollow"), date(2024, 6, 18)
    days = [date(2024, 8, 12), date(2024, 11, 4), date(2025, 3, 20)]
    visits = dict.fromkeys(sites, days)
    units = seedlings(1, layout(sites, ("sprayed", "slashed"), 2), 6, visits, planted)
    headings = [f"Visit {n} - {day.day} {day:%b %Y}" for n, day in enumerate(days, 1)]
    book = Book("q01-harrowmere", visit_sheets.__doc__, "tagged", units, visits, headings)
    orders = (
        ("Site", "Plot", "Treatment", "Tag", "Status", "Notes"),
        ("Tag", "Status", "Site", "Plot", "Treatment", "Notes"),
        ("Plot", "Site", "Tag no.", "Treatment", "Comments", "Status"),
    )
    notes = (" - browsed", ", browsed by hares", " (yellow)")
    sheets = []
    for visit, (heading, order) in enumerate(zip(headings, orders, strict=True)):
        sheet = Sheet(heading, [["Harrowmere trial, planted 18 June 2024"], list(order)])
        for n, own in enumerate(units):
            word = said({"A": "alive", "D": "dead", "M": "missing", "N": "not found"}, own, visit)
            word += notes[n % 3] if word == "alive" and n % 5 == 2 else ""
            cells = {"Site": own.site, "Plot": own.plot, "Treatment": own.prep, "Status": word}
            cells["Tag"] = cells["Tag no."] = int(own.tag)
            own.places.append((visit, "q01-harrowmere.xlsx", heading, sheet.add(*map(cells.get, order))))
        sheet.add()
        sheet.add("Total alive", sum(own.states[visit] == "A" for own in units))
        sheets.append(sheet)
    book.put("q01-harrowmere.xlsx", xlsx(*sheets), *sheets)
    return book


def two_seasons() -> Book:
    """Two plantings in one workbook, a sheet each; counts as 17/20; an average of the percentages below."""
    seasons = {"2022 planting": ("Corvane", "Mossgate"), "2023 planting": ("Tellick", "Yarder End")}
    days, units, sheets = {}, [], []
    book = Book("q02-corvane", two_seasons.__doc__, "counts", units, days, [None] * 3)
    for n, (name, sites) in enumerate(seasons.items()):
        year = 2022 + n
        seen = [date(year, 9, 5 + n), date(year, 12, 12 + n), date(year + 1, 4, 3 + n)]
        days |= dict.fromkeys(sites, seen)
        sheet = Sheet(name, [[f"Planted {14 + n} June {year}. Cells are alive/planted."]])
        sheet.add("Site", "Plot", "Preparation", *(f"{d.day} {d:%B %Y}" for d in seen), "Survival %")
        for own in counted(20 + n, layout(sites, ("rip", "mound"), 3), 20, 3, date(year, 6, 14 + n)):
            cells = [f"{alive}/{own.planted}" for alive in own.alive]
            row = sheet.add(own.site, own.plot, own.prep, *cells, f"{100 * own.alive[-1] // 20}%")
            own.places.append((None, "q02-corvane.xlsx", name, row))
            units.append(own)
        sheet.add("Average", None, None, None, None, None, "61%")
        sheets.append(sheet)
    book.put("q02-corvane.xlsx", xlsx(*sheets), *sheets)
    return book


def plot_headers() -> Book:
    """A site a sheet; a row names the plot and its preparation, tags stand below it; a key on its own."""
    sites, planted = ("QUILLAN", "PERROW"), date(2023, 5, 30)
    days = [date(2023, 8, 1), date(2023, 10, 30), date(2024, 2, 26)]
    visits = dict.fromkeys(sites, days)
    units = seedlings(3, layout(sites, ("scalped", "sprayed"), 2), 6, visits, planted)
    headings = [f"{day.day}-{day:%b-%y}" for day in days]
    book = Book("q03-quillan", plot_headers.__doc__, "tagged", units, visits, headings)
    sheets = []
    for site, own_units in by(units, "site").items():
        sheet = Sheet(site.title(), [[f"{site} planted 30/5/2023"], ["Tag", "Species", *headings, "Remarks"]])
        for plot, held in by(own_units, "plot").items():
            sheet.add(f"Plot {plot} - {held[0].prep}")
            for own in held:
                own.plot = f"Plot {plot}"
                own.species = ("wattle", "box")[int(own.tag) % 2]
                words = [said({"A": "A", "D": "D", "M": "M", "N": "NF"}, own, n) for n in range(3)]
                row = sheet.add(int(own.tag), own.species, *words)
                own.places.append((None, "q03-quillan.xlsx", site.title(), row))
        sheets.append(sheet)
    key = Sheet("Key", [["A", "alive"], ["D", "dead"], ["M", "missing"], ["NF", "tag not found"]])
    book.put("q03-quillan.xlsx", xlsx(*sheets, key), *sheets)
    book.roles["q03-quillan.xlsx"]["Key"] = "neither"
    return book


def turned() -> Book:
    """Plots across and visits down, a sheet a site; row totals at the right end."""
    sites, planted = ("Amberly", "Stoke Fen"), date(2023, 7, 4)
    days = [date(2023, 9, 12), date(2023, 12, 5), date(2024, 4, 9)]
    units = counted(4, layout(sites, ("spray", "spray + rip", "nil"), 2), 24, 3, planted)
    headings = [f"Alive {day:%d.%m.%Y}" for day in days]
    book = Book("q04-amberly", turned.__doc__, "counts", units, dict.fromkeys(sites, days), headings)
    sheets = []
    for site, held in by(units, "site").items():
        sheet = Sheet(site)
        sheet.add("Plot", *(own.plot for own in held), "Total")
        sheet.add("Treatment", *(own.prep for own in held))
        sheet.add("Date planted", *[planted] * len(held))
        sheet.add("No. planted", *(own.planted for own in held), 24 * len(held))
        for n, heading in enumerate(headings):
            sheet.add(heading, *(own.alive[n] for own in held), sum(own.alive[n] for own in held))
        for column, own in enumerate(held, 2):  # a problem names the column as if it were a row
            own.places.append((None, "q04-amberly.xlsx", site, column))
        sheets.append(sheet)
    book.put("q04-amberly.xlsx", xlsx(*sheets), *sheets)
    return book


def struck_out() -> Book:
    """The word stays as it was copied on from the last visit; that of a dead one is struck through."""
    sites, planted = ("Dunmarrow",), date(2022, 6, 9)
    days = [date(2022, 8, 15), date(2022, 11, 21), date(2023, 3, 6)]
    visits = dict.fromkeys(sites, days)
    units = seedlings(5, layout(sites, ("disc", "bare hole"), 3), 5, visits, planted)
    headings = [f"{day.day}/{day.month}/{day.year}" for day in days]
    book = Book("q05-dunmarrow", struck_out.__doc__, "tagged", units, visits, headings)
    book.answers = {"states": {"struck through: ok": "dead"}}
    sheet = Sheet("Tags", [["Dunmarrow, planted 9/6/2022. Struck through = dead."]])
    sheet.add("Site", "Plot", "Ground prep", "Tag", *headings)
    for own in units:
        own.states = own.states.replace("M", "D").replace("N", "A")
        cells = [("ok", "struck") if letter == "D" else "ok" for letter in own.states]
        row = sheet.add(own.site, own.plot, own.prep, int(own.tag), *cells)
        own.places.append((None, "q05-dunmarrow.xlsx", "Tags", row))
    book.put("q05-dunmarrow.xlsx", xlsx(sheet), sheet)
    return book


def vigour() -> Book:
    """Vigour 0 to 5, of which 0 is dead, and height under each age in weeks, merged above both."""
    sites, planted = ("Ockerby", "Saltlode"), date(2024, 5, 14)
    ages = (6, 20, 44)
    days = [planted + timedelta(weeks=age) for age in ages]
    visits = dict.fromkeys(sites, days)
    units = seedlings(6, layout(sites, ("scrape", "spray", "none"), 2), 4, visits, planted)
    book = Book("q06-ockerby", vigour.__doc__, "tagged", units, visits, [f"wk {age}" for age in ages])
    book.answers = {
        "states": {"0": "dead", **dict.fromkeys("12345", "alive")},
        "visit_dates": {f"wk {age}": str(day) for age, day in zip(ages, days, strict=True)},
    }
    sheet = Sheet("Vigour", [["Vigour 0 (dead) to 5 (thriving). All planted 14 May 2024"]])
    sheet.add(None, None, None, None, *(cell for age in ages for cell in (f"wk {age}", None)))
    sheet.merged = [(1, 4 + 2 * n, 1, 5 + 2 * n) for n in range(3)]
    sheet.add("Site", "Plot", "Prep", "Tag", *["Vigour", "Ht (cm)"] * 3)
    for n, own in enumerate(units):
        own.states = own.states.replace("M", "D").replace("N", "A")
        cells: list[object] = []
        for visit, letter in enumerate(own.states):
            cells += [1 + (n + visit) % 5, 21.5 + n % 7 + 9 * visit] if letter == "A" else [0, None]
        row = sheet.add(own.site, own.plot, own.prep, f"{own.site[0]}{int(own.tag):03}", *cells)
        own.tag = f"{own.site[0]}{int(own.tag):03}"
        own.places.append((None, "q06-ockerby.xlsx", "Vigour", row))
    book.put("q06-ockerby.xlsx", xlsx(sheet), sheet)
    return book


def of_twenty() -> Book:
    """Counts as "12 of 20"; months in any case, the year told once only; rows that name the site."""
    sites, planted = ("BRENLOW", "THORNSEY"), date(2023, 7, 1)
    days = [date(2023, 9, 14), date(2023, 11, 3), date(2024, 2, 10)]
    units = counted(7, layout(sites, ("burnt", "sprayed"), 3), 20, 3, planted)
    headings = ["14 SEPT 2023", "3 nov", "FEB 10"]
    book = Book("q07-brenlow", of_twenty.__doc__, "counts", units, dict.fromkeys(sites, days), headings)
    sheet = Sheet("survival", [["planted 1 JULY 2023"], ["Plot", "Prep", *headings, "notes"]])
    for site, held in by(units, "site").items():
        sheet.add(site)
        for own in held:
            cells = [f"{alive} of {own.planted}" for alive in own.alive]
            own.places.append((None, "q07-brenlow.xlsx", "survival", sheet.add(own.plot, own.prep, *cells)))
        sheet.add()
    book.put("q07-brenlow.xlsx", xlsx(sheet), sheet)
    return book


def decimal_commas() -> Book:
    """Survival in per cent with decimal commas, by semicolons behind a BOM; a mean below each site."""
    sites, planted = ("Weidenau", "Kaltbach"), date(2023, 4, 12)
    days = [date(2023, 6, 20), date(2023, 9, 19), date(2024, 5, 7)]
    units = counted(8, layout(sites, ("Mulch", "Hacken", "ohne"), 2), 40, 3, planted)
    headings = [f"{day:%d.%m.%Y} (%)" for day in days]
    book = Book("q08-weidenau", decimal_commas.__doc__, "counts", units, dict.fromkeys(sites, days), headings)
    sheet = Sheet("", [["Site", "Plot", "Treatment", "Planted on", "Number planted", *headings]])
    for site, held in by(units, "site").items():
        for own in held:
            cells = [f"{100 * alive / 40:.1f}".replace(".", ",") for alive in own.alive]
            row = sheet.add(own.site, own.plot, own.prep, "12.04.2023", own.planted, *cells)
            own.places.append((None, "q08-weidenau.csv", "", row))
        mean = [sum(own.alive[n] for own in held) / 40 / len(held) * 100 for n in range(3)]
        sheet.add(f"Mean {site}", "", "", "", "", *(f"{own:.2f}".replace(".", ",") for own in mean))
    book.put("q08-weidenau.csv", text(sheet, sign=";", encoding="utf-8-sig"), sheet)
    return book


def species_lines() -> Book:
    """A line a species in a plot; alive, dead and not found under each visit; the plot merged downwards."""
    sites, planted = ("Fernlea", "Gorsey Bank"), date(2024, 6, 3)
    days = [date(2024, 9, 2), date(2025, 1, 13)]
    plots = [(site, plot, prep) for site, plot, prep in layout(sites, ("rip", "auger"), 2) for _ in range(3)]
    units = counted(9, plots, 12, 2, planted)
    headings = [f"Visit {n} ({day.day}/{day.month}/{day:%y})" for n, day in enumerate(days, 1)]
    book = Book("q09-fernlea", species_lines.__doc__, "counts", units, dict.fromkeys(sites, days), headings)
    sheet = Sheet("Counts", [["Planted 3/6/24"]])
    sheet.add(None, None, None, None, None, headings[0], None, None, headings[1], None, None)
    sheet.add("Site", "Plot", "Prep", "Species", "Planted", *["Alive", "Dead", "Not found"] * 2)
    sheet.merged = [(1, 5, 1, 7), (1, 8, 1, 10)]
    for n, own in enumerate(units):
        own.species = ("tea tree", "she-oak", "sedge")[n % 3]
        lost = [n % 4 == 1 and alive < own.planted for alive in own.alive]
        cells = [
            cell
            for alive, one in zip(own.alive, lost, strict=True)
            for cell in (alive, own.planted - alive - one, int(one))
        ]
        keys = [own.site, own.plot, own.prep] if n % 3 == 0 else [None] * 3
        row = sheet.add(*keys, own.species, own.planted, *cells)
        if n % 3 == 0:
            sheet.merged += [(row - 1, column, row + 1, column) for column in range(3)]
        own.places.append((None, "q09-fernlea.xlsx", "Counts", row))
    totals = [sum(own.alive[n] for own in units) for n in range(2)]
    sheet.add("TOTAL", None, None, None, 12 * len(units), totals[0], None, None, totals[1])
    book.put("q09-fernlea.xlsx", xlsx(sheet), sheet)
    return book


def serial_days() -> Book:
    """UTF-16 by semicolons, a row a seedling a visit; the days are a spreadsheet's numbers; yes and no."""
    sites, planted = ("Ravelstone", "Mill Lagoon"), date(2023, 6, 15)
    days = [date(2023, 8, 21), date(2023, 11, 27), date(2024, 3, 18)]
    visits = dict.fromkeys(sites, days)
    units = seedlings(10, layout(sites, ("till", "no till"), 2), 6, visits, planted)
    book = Book("q10-ravelstone", serial_days.__doc__, "tagged", units, visits, [None] * 3)
    serial = lambda day: (day - date(1899, 12, 30)).days  # noqa: E731
    sheet = Sheet(
        "", [["Tree", "Site", "Plot", "Treatment", "Planted", "Date", "Alive?", "Height (m)", "Notes"]]
    )
    for own in units:
        own.tag = f"{own.site[0]}-{own.tag}"
        own.states = own.states.replace("M", "D").replace("N", "A")
    for visit, day in enumerate(days):
        for n, own in enumerate(units):
            alive = own.states[visit] == "A"
            tall = f"0,{31 + n % 9 + 4 * visit}" if alive else ""
            keys = (own.tag, own.site, own.plot, own.prep, serial(planted), serial(day))
            row = sheet.add(*keys, "Yes" if alive else "No", tall, "leaning" if n % 8 == 3 else "")
            own.places.append((visit, "q10-ravelstone.csv", "", row))
    book.put("q10-ravelstone.csv", text(sheet, sign=";", encoding="utf-16"), sheet)
    return book


def replaced_tags() -> Book:
    """1, 0 and 2 with a legend on a sheet of its own; a dead plant is replaced under its tag with an R."""
    sites, planted = ("Oxley Spur", "Narrabeck"), date(2023, 6, 27)
    days = [date(2023, 9, 4), date(2023, 12, 11), date(2024, 4, 22)]
    visits = dict.fromkeys(sites, days)
    units = seedlings(11, layout(sites, ("spot spray", "rip and spray"), 2), 6, visits, planted)
    headings = [f"{day:%d/%m/%y}" for day in days]
    book = Book("q11-oxley", replaced_tags.__doc__, "tagged", units, visits, headings)
    book.answers = {"states": {"1": "alive", "0": "dead", "2": "not found"}}
    sheet = Sheet("Data", [["Site", "Plot", "Tag", "Prep", "Date planted", *headings, "Comment"]])
    later = []
    for own in units:
        own.states = own.states.replace("M", "D")
        cells = [int(said({"A": "1", "D": "0", "N": "2"}, own, n)) for n in range(3)]
        row = sheet.add(own.site, own.plot, own.tag, own.prep, planted, *cells)
        own.places.append((None, "q11-oxley.xlsx", "Data", row))
        if own.states.startswith("DD") and len(later) < 4:
            new = Unit(
                own.site, own.plot, own.prep, str(days[1]), f"{own.tag}R", cohort="infill", states="..A"
            )
            row = sheet.add(
                own.site, own.plot, new.tag, own.prep, days[1], None, None, 1, f"replaces {own.tag}"
            )
            new.places.append((None, "q11-oxley.xlsx", "Data", row))
            later.append(new)
    units += later
    legend = Sheet("Legend", [["Code", "Meaning"], [1, "alive"], [0, "dead"], [2, "tag not found"]])
    book.put("q11-oxley.xlsx", xlsx(sheet, legend), sheet)
    book.roles["q11-oxley.xlsx"]["Legend"] = "neither"
    return book


def built_names() -> Book:
    """Plots named by site, treatment and rep, told on a list of plots; counts by name; hidden rows."""
    sites, planted = ("Hollow Bank", "Marl Pit"), date(2024, 7, 9)
    days = [date(2024, 9, 17), date(2024, 12, 3), date(2025, 4, 15)]
    units = counted(12, layout(sites, ("ripped", "sprayed", "control"), 2), 30, 3, planted)
    headings = [f"Alive {day:%d %b %Y}" for day in days]
    book = Book("q12-hollowbank", built_names.__doc__, "counts", units, dict.fromkeys(sites, days), headings)
    plots = Sheet(
        "Plot list", [["Plot ID", "Site", "Treatment", "Rep", "Planted", "No. planted", "Radius (cm)"]]
    )
    sheet = Sheet("Monitoring", [["Plot ID", *headings, "Mean"]])
    for n, own in enumerate(units):
        rep = 1 + n % 6 // 3
        own.plot = f"{'HB' if own.site[0] == 'H' else 'MP'}-{own.prep[:3].upper()}-{rep}"
        own.radius_m = {"ripped": 0.5, "sprayed": 0.75, "control": 0.0}[own.prep]
        plots.add(own.plot, own.site, own.prep, rep, planted, own.planted, round(own.radius_m * 100))
        row = sheet.add(own.plot, *own.alive, round(sum(own.alive) / 3, 1))
        own.places.append((None, "q12-hollowbank.xlsx", "Monitoring", row))
    sheet.hidden = [4, 5]
    sheet.add("Mean", *(round(sum(own.alive[n] for own in units) / len(units), 1) for n in range(3)))
    book.put("q12-hollowbank.xlsx", xlsx(plots, sheet), sheet)
    book.roles["q12-hollowbank.xlsx"]["Plot list"] = "plots"
    return book


def forms() -> Book:
    """A protected form a site, its lines numbered to 40 and half unused; two gauges in one file of rain."""
    sites, planted = ("Kilverton", "Ashgrove Sth"), date(2023, 6, 6)
    days = [date(2023, 8, 8), date(2023, 11, 14), date(2024, 3, 12)]
    visits = dict.fromkeys(sites, days)
    units = seedlings(13, layout(sites, ("ripline", "mound"), 2), 6, visits, planted)
    headings = ["Visit 1", "Visit 2", "Visit 3"]
    book = Book("q13-kilverton", forms.__doc__, "tagged", units, visits, headings)
    sheets = []
    for site, held in by(units, "site").items():
        sheet = Sheet(site, [["FORM 7 - SEEDLING CHECK"], ["Site:", site, None, "Planted:", planted]])
        sheet.add("Line", "Plot", "Method", "Tag", *headings, "Remarks")
        sheet.add(None, None, None, "Date", *days)
        for line in range(1, 41):
            if line > len(held):
                sheet.add(line)
                continue
            own = held[line - 1]
            words = [said({"A": "A", "D": "D", "M": "M", "N": "?"}, own, n) for n in range(3)]
            row = sheet.add(line, own.plot, own.prep, int(own.tag), *words)
            own.places.append((None, "q13-kilverton.xlsx", site, row))
        sheet.template_rows = 60
        sheets.append(sheet)
    book.answers = {"states": {"?": "not found"}}
    book.put("q13-kilverton.xlsx", xlsx(*sheets), *sheets)
    rain = Sheet("", [["Date", "Kilverton (mm)", "Ashgrove Sth (mm)"]])
    fell = random.Random(131)
    amounts = [[round(fell.choice((0, 0, 0, 6.5)) * fell.random(), 1) for _ in sites] for _ in range(290)]
    for n, both in enumerate(amounts):
        rain.add(f"{date(2023, 6, 1) + timedelta(n):%d/%m/%Y}", *both)
    book.put("q13-kilverton rain.csv", text(rain), rain, role="rain")
    book.rain_mm = round(sum(map(sum, amounts)), 1)
    return book


def long_counts() -> Book:
    """A row a plot a visit: alive, dead, not found, total; days as 3-Oct-23; a total after each visit."""
    sites, planted = ("Pinder Flat", "Willowmead"), date(2023, 7, 18)
    days = [date(2023, 10, 3), date(2024, 1, 23), date(2024, 5, 14)]
    units = counted(14, layout(sites, ("direct", "tubestock", "cell"), 2), 25, 3, planted)
    book = Book("q14-pinder", long_counts.__doc__, "counts", units, dict.fromkeys(sites, days), [None] * 3)
    rows = [["Date", "Site", "Plot", "Prep", "Planted", "Alive", "Dead", "Not found", "Total", "Planted on"]]
    for visit, day in enumerate(days):
        for own in units:
            alive, lost = own.alive[visit], int(own.alive[visit] < 22)
            counts = (own.planted, alive, own.planted - alive - lost, lost, own.planted)
            rows.append(
                [f"{day.day}-{day:%b-%y}", own.site, own.plot, own.prep, *map(str, counts), "18-Jul-23"]
            )
            own.places.append((visit, "q14-pinder.ods", "Long", len(rows)))
        total = sum(own.alive[visit] for own in units)
        rows.append(["Total", "", "", "", str(25 * len(units)), str(total), "", "", "", ""])
    book.put("q14-pinder.ods", as_ods(rows, "Long"), Sheet("Long"))
    return book


def other_words() -> Book:
    """By semicolons in Windows letters, states in words of another language, a line that explains them."""
    sites, planted = ("Grünholz", "Bärental"), date(2023, 10, 24)
    days = [date(2024, 4, 16), date(2024, 7, 9), date(2024, 10, 1)]
    visits = dict.fromkeys(sites, days)
    units = seedlings(15, layout(sites, ("gefräst", "gemulcht"), 2), 6, visits, planted)
    headings = [f"{day.day}.{day.month}.{day:%y}" for day in days]
    book = Book("q15-grunholz", other_words.__doc__, "tagged", units, visits, headings)
    states = {"lebt": "alive", "tot": "dead", "fehlt": "missing", "k.A.": "not visited"}
    book.answers = {"states": states}
    sheet = Sheet("", [["lebt = alive; tot = dead; fehlt = missing; k.A. = nobody looked"], []])
    sheet.add("Site", "Plot", "Treatment", "Tag", "Planted", "Radius (m)", *headings)
    for own in units:
        own.radius_m = {"gefräst": 0.45, "gemulcht": 0.6}[own.prep]
        own.states = own.states.replace("N", ".")
        words = [said({"A": "lebt", "D": "tot", "M": "fehlt", ".": "k.A."}, own, n) for n in range(3)]
        keys = (own.site, own.plot, own.prep, own.tag, "24.10.2023", f"{own.radius_m:.2f}".replace(".", ","))
        own.places.append((None, "q15-grunholz.csv", "", sheet.add(*keys, *words)))
    book.put("q15-grunholz.csv", text(sheet, sign=";", encoding="cp1252"), sheet)
    return book


def stacked() -> Book:
    """A block of rows a visit on one sheet, columns in another order; months first; the dead left out."""
    sites, planted = ("Cedar Bench", "Lost Fork"), date(2024, 3, 28)
    days = [date(2024, 5, 30), date(2024, 8, 22), date(2024, 11, 14)]
    visits = dict.fromkeys(sites, days)
    units = seedlings(16, layout(sites, ("disk", "herbicide"), 2), 6, visits, planted)
    headings = [f"Visit {n}: {day:%m/%d/%Y}" for n, day in enumerate(days, 1)]
    book = Book("q16-cedar", stacked.__doc__, "tagged", units, visits, headings)
    sheet = Sheet("All visits", [["Cedar Bench and Lost Fork, planted 03/28/2024"], []])
    orders = (("Site", "Plot", "Treatment", "Tag", "Status"), ("Tag", "Status", "Site", "Plot", "Treatment"))
    for visit, heading in enumerate(headings):
        sheet.add(heading)
        order = orders[visit % 2]
        sheet.add(*order)
        for own in units:
            if visit and own.states[visit - 1] in "DM":
                continue
            word = said({"A": "Live", "D": "Dead", "M": "Missing", "N": "Not found"}, own, visit)
            cells = dict(zip(orders[0], (own.site, own.plot, own.prep, int(own.tag), word), strict=True))
            own.places.append((visit, "q16-cedar.xlsx", "All visits", sheet.add(*map(cells.get, order))))
        sheet.add()
    for own in units:
        gone = next((n for n, letter in enumerate(own.states) if letter in "DM"), 9)
        own.states = own.states[: gone + 1] + "d" * len(own.states[gone + 1 :])
    book.put("q16-cedar.xlsx", xlsx(sheet), sheet)
    return book


BOOKS: tuple[Callable[[], Book], ...] = (
    visit_sheets,
    two_seasons,
    plot_headers,
    turned,
    struck_out,
    vigour,
    of_twenty,
    decimal_commas,
    species_lines,
    serial_days,
    replaced_tags,
    built_names,
    forms,
    long_counts,
    other_words,
    stacked,
)
