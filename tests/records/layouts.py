"""One season with known truth, laid out as crews lay out their records: headings, keys, words, units, slips.

A plan is one combination; `plan_of` draws one from a seed, always the same. `files_of` writes its files.
"""

from __future__ import annotations

import csv
import datetime as dt
import io
import random
from collections.abc import Sequence
from dataclasses import dataclass, field
from xml.sax.saxutils import escape

import xlsxwriter

from tests.records.sheetfiles import ods_of

Cell = str | float | int | dt.date | None

PREPARATIONS = ("spray x2", "rip + spray", "nothing")
SITES = ("Alder Flat", "Goose Hill", "Thorn Bend")
SPECIES = ("hop bush", "snow gum", "myall")
PLANTED = (dt.date(2023, 7, 3), dt.date(2023, 7, 14), dt.date(2023, 7, 27))
VISITS = (40, 105, 170, 280)
_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")

# Words of a crew for alive, dead, missing, not found; and what it says of those that have to be asked for.
WORDS: tuple[tuple[tuple[str, ...], dict[str, str]], ...] = (
    (("alive", "dead", "missing", "not found"), {}),
    (("A", "D", "M", "NF"), {}),
    (("OK", "dead", "gone", "no tag"), {}),
    (("ok", "DEAD", "gone", "no tag"), {}),
    (("L", "D", "gone", "no tag"), {"L": "alive"}),
    (("1", "0", "0", "?"), {"?": "not found"}),
    (("y", "n", "n", "?"), {"?": "not found"}),
    (("\N{CHECK MARK}", "x", "gone", "no tag"), {"x": "dead"}),
    (("OK", "x", "x", "?"), {"x": "dead", "?": "not found"}),
    (("Alive", "Dead", "Missing", "Tag lost"), {}),
    (("healthy", "dead", "plant gone", "no peg"), {}),
)  # fmt: skip
STATES = ("alive", "dead", "missing", "not found")


@dataclass(frozen=True)
class Plan:
    """One way to lay out the season."""

    seed: int
    kind: str
    shape: str
    sites: str
    ending: str
    heading: str
    words: int
    counted: str
    keys: str
    labels: str
    planted: str
    radius: str
    totals: str
    replants: str
    extras: frozenset[str]


@dataclass(frozen=True)
class Unit:
    """A plant (or those of a plot, or of a species in it): states, or counts, a visit; None: unseen."""

    site: int
    block: str
    prep: int
    plot: str
    tag: str
    species: str
    number: int
    seen: tuple[int | None, ...]  # index of STATES, or count alive
    first: bool = True


@dataclass
class Sheet:
    name: str
    rows: list[list[Cell]] = field(default_factory=list)
    merged: list[tuple[int, int, int, int]] = field(default_factory=list)
    places: dict[tuple[int, int], int] = field(default_factory=dict)
    hidden_rows: list[int] = field(default_factory=list)
    hidden: bool = False


def plan_of(seed: int) -> Plan:
    """Draw a combination that a crew could have written."""
    pick = random.Random(seed)
    kind = pick.choice(("tagged", "tagged", "counts", "counts", "species"))
    shape = pick.choice(("wide", "wide", "long"))
    ending = pick.choice(("xlsx", "xlsx", "xlsx", "ods", "csv", "semicolons", "utf16"))
    text = ending in ("csv", "semicolons", "utf16")
    sites = pick.choice(
        ("column", "column", "files")
        if text
        else ("column", "column", "sheets", "titled", "stacked", "beside")
    )
    if shape == "long" and sites in ("beside",):
        sites = "stacked"
    headings = ["iso", "d/m/yy", "dd/mm/yyyy", "dots", "no year", "named", "visit (day)", "V, line",
                "two rows", "three rows", "month first", "dates beside", "ordinal", "weekday"]  # fmt: skip
    if not text:
        headings += ["real", "real", "V, sheet", "merged"]
    if sites == "column":
        headings += ["V, sheet"] * (not text)
    heading = pick.choice(headings)
    planted = pick.choice(("column", "title", "plots", "cover") if not text else ("column", "title", "plots"))
    if sites == "column" and planted == "title":
        planted = pick.choice(("title by site", "column"))
    labels = pick.choice(("plot", "plot", "block and preparation", "1.10"))
    if planted == "plots" and labels == "block and preparation":
        labels = "plot"
    counted = pick.choice(("alive", "alive", "alive and dead", "dead to date", "dead since", "per cent"))
    if kind != "counts" or (labels == "block and preparation" and counted != "alive"):
        counted = "alive"
    if heading in ("dates beside",) and counted == "alive and dead":
        heading = "iso"
    if shape == "long" and heading == "visit (day)":
        heading = "d/m/yy"
    if kind == "species" and shape == "wide" and pick.random() < 0.5 and not text:
        shape = "species across"
        heading = pick.choice(("two rows", "merged"))
        sites = "titled" if sites == "column" else sites
        planted = "column" if planted == "title by site" else planted
    if kind == "species" and labels == "block and preparation":
        labels = "plot"
    extras = {name for name in ("legend", "notes", "blank", "spelling", "again") if pick.random() < 0.3}
    extras |= (
        set()
        if text
        else {n for n in ("summary", "hidden copy", "copy", "rain", "filter") if pick.random() < 0.25}
    )
    keys = pick.choice(("all", "all", "once", "merged" if not text else "once"))
    replants = pick.choice(("none", "none", "word", "suffix")) if kind == "tagged" else "none"
    return Plan(
        seed, kind, shape, sites, ending, heading, pick.randrange(len(WORDS)), counted, keys, labels,
        planted, pick.choice(("none", "m", "cm", "diameter", "units")),
        pick.choice(("none", "foot", "plots", "sites")),
        replants, frozenset(extras),
    )  # fmt: skip


# ---- truth ---------------------------------------------------------------------------------


def days_of(plan: Plan, site: int) -> list[dt.date]:
    """Days of the visits at a site."""
    return [PLANTED[site] + dt.timedelta(days=day + 3 * site + turn) for turn, day in enumerate(VISITS)]


def units_of(plan: Plan) -> list[Unit]:
    """Draw the season."""
    draw = random.Random(1000 + plan.seed)
    units: list[Unit] = []
    number = 0
    for site in range(2 if plan.sites in ("beside", "stacked") else 3):
        tag = 0
        for block in "AB":
            order = list(range(len(PREPARATIONS)))
            draw.shuffle(order)
            for prep in order:
                number += 1
                plot = _label(
                    plan, site, block, prep, len({(u.site, u.plot) for u in units if u.site == site})
                )
                chance = (0.08, 0.05, 0.2)[prep]
                if plan.kind == "tagged":
                    for _ in range(8):
                        tag += 1
                        units += _plant(plan, draw, (site, block, prep, plot), tag, chance)
                else:
                    for species in SPECIES if plan.kind == "species" else ("",):
                        size = draw.randint(12, 20) if plan.counted != "per cent" else 20
                        units.append(_group(plan, draw, (site, block, prep, plot), species, size, chance))
    return units


def _label(plan: Plan, site: int, block: str, prep: int, before: int) -> str:
    if plan.labels == "block and preparation":
        return f"{block}, {PREPARATIONS[prep]}"
    if plan.labels == "1.10":  # so that 1.1 and 1.10 are both there
        return f"{site + 1}.{(1, 2, 3, 4, 5, 10)[before]}"
    return f"{block}{before + 1}"


def _plant(
    plan: Plan, draw: random.Random, place: tuple[int, str, int, str], tag: int, chance: float
) -> list[Unit]:
    site, block, prep, plot = place
    seen: list[int | None] = []
    state = 0
    for _ in VISITS:
        if state == 0 and draw.random() < chance:
            state = 1 if draw.random() < 0.8 else 2
        seen.append(state)
    if draw.random() < 0.04 and seen[1] == 0:
        seen[1] = 3
    if "blank" in plan.extras and draw.random() < 0.04 and seen[2] == 0:
        seen[2] = None
    name = f"{'TGN'[site]}{tag:03d}" if plan.seed % 2 else str(100 * (site + 1) + tag)
    species = draw.choice(SPECIES)
    units = [Unit(site, block, prep, plot, name, species, 1, tuple(seen))]
    if plan.replants != "none" and seen[1] == 1 and seen[0] == 0 and draw.random() < 0.7:
        later = (None, None, 0, draw.choice((0, 0, 1)))
        units.append(
            Unit(
                site,
                block,
                prep,
                plot,
                name + ("R" if plan.replants == "suffix" else ""),
                species,
                1,
                later,
                first=False,
            )
        )
    return units


def _group(
    plan: Plan, draw: random.Random, place: tuple[int, str, int, str], species: str, size: int, chance: float
) -> Unit:
    site, block, prep, plot = place
    alive, seen = size, list[int | None]()
    for _ in VISITS:
        alive -= sum(draw.random() < chance for _ in range(alive))
        seen.append(alive)
    if "blank" in plan.extras and draw.random() < 0.1 and plan.counted != "dead since":
        seen[1] = None
    return Unit(site, block, prep, plot, "", species, size, tuple(seen))


# ---- laid out ------------------------------------------------------------------------------


def files_of(plan: Plan) -> dict[str, bytes]:
    """Write the files of a plan: name -> content."""
    book = _Book(plan, units_of(plan))
    sheets = book.sheets()
    if plan.ending == "xlsx":
        return {"season.xlsx": as_xlsx(sheets)}
    if plan.ending == "ods":
        return {"season.ods": as_ods(sheets)}
    sign, encoding = {"csv": (",", "utf-8"), "semicolons": (";", "utf-8"), "utf16": ("\t", "utf-16")}[
        plan.ending
    ]
    return {f"{sheet.name}.csv": as_text_file(sheet, sign, encoding) for sheet in sheets}


class _Book:
    def __init__(self, plan: Plan, units: Sequence[Unit]) -> None:
        self.plan, self.units = plan, units
        self.words = WORDS[plan.words][0]
        self.slips = random.Random(2000 + plan.seed)

    def sheets(self) -> list[Sheet]:
        plan = self.plan
        sites = sorted({unit.site for unit in self.units})
        if plan.sites in ("sheets", "files"):
            made = [self._records(SITES[site], [site]) for site in sites]
            if plan.sites == "files":
                for sheet in made:
                    sheet.name = f"{sheet.name} 2023"
        elif plan.sites == "titled":
            made = [self._records(f"Sheet{site + 1}", [site]) for site in sites]
        elif plan.sites in ("stacked", "beside"):
            made = [self._together([self._records("Data", [site]) for site in sites])]
        else:
            made = [self._records("Data" if plan.seed % 3 else "Monitoring", sites)]
        return [*made, *self._beside(made[0], sites)]

    def _beside(self, first: Sheet, sites: Sequence[int]) -> list[Sheet]:
        """Sheets beside the records: copies, plots, a cover, days, sums, rain, a key."""
        plan = self.plan
        out: list[Sheet] = []
        if "hidden copy" in plan.extras:
            out.append(self._copy(first, "old", hidden=True))
        if "copy" in plan.extras and plan.sites == "column" and plan.shape != "long":
            out.append(self._copy(first, "Copy of Data", hidden=False))
        if plan.planted == "plots":
            out.append(self._plots())
        if plan.planted == "cover":
            rows: list[list[Cell]] = [
                ["Survival monitoring"],
                ["Recorded by", "R. Ames"],
                ["Site", "Planted"],
            ]
            out.append(Sheet("Cover", rows + [[SITES[site], PLANTED[site]] for site in sites]))
        if plan.heading == "V, sheet" and plan.shape != "long":
            rows = [["", *(f"V{turn + 1}" for turn in range(len(VISITS)))]]
            out.append(Sheet("Visit dates", rows + [[SITES[site], *days_of(plan, site)] for site in sites]))
        if "summary" in plan.extras:
            out.append(self._summary())
        if "rain" in plan.extras:
            rows = [["Date", "mm"]]
            rows += [[dt.date(2023, 7, 1) + dt.timedelta(days=n), n % 7 / 2] for n in range(60)]
            out.append(Sheet("Rain", rows))
        if "legend" in plan.extras and plan.kind == "tagged" and plan.ending in ("xlsx", "ods"):
            out.append(
                Sheet(
                    "Key",
                    [
                        ["Word", "Meaning"],
                        *(
                            [w, s]
                            for w, s in zip(self.words, STATES, strict=True)
                            if w not in self.words[: STATES.index(s)]
                        ),
                    ],
                )
            )
        return out

    def _summary(self) -> Sheet:
        rows: list[list[Cell]] = [["Row Labels", "Plots", "Alive at the end"]]
        for prep, name in enumerate(PREPARATIONS):
            own = [unit for unit in self.units if unit.prep == prep]
            rows.append([name, len({(u.site, u.plot) for u in own}), float(len(own))])
        return Sheet("Summary", [*rows, ["Grand Total", 12, float(len(self.units))]])

    def _copy(self, sheet: Sheet, name: str, hidden: bool) -> Sheet:
        return Sheet(
            name, [list(row) for row in sheet.rows], list(sheet.merged), dict(sheet.places), hidden=hidden
        )

    def _together(self, parts: list[Sheet]) -> Sheet:
        out = Sheet("Data")
        for part in parts:
            if self.plan.sites == "beside":
                left = max((len(row) for row in out.rows), default=-1) + 1
                for number, row in enumerate(part.rows):
                    while len(out.rows) <= number:
                        out.rows.append([])
                    out.rows[number] += [None] * (left - len(out.rows[number])) + list(row)
                top = 0
            else:
                left, top = 0, len(out.rows) + (1 if out.rows else 0)
                out.rows += [[]] * (1 if out.rows else 0) + part.rows
            out.merged += [(a + top, b + left, c + top, d + left) for a, b, c, d in part.merged]
            out.places |= {(r + top, c + left): p for (r, c), p in part.places.items()}
        return out

    def _plots(self) -> Sheet:
        head: list[Cell] = ["Site", "Plot", "What was done", "Planted on"]
        counts = self.plan.kind == "counts"
        rows: list[list[Cell]] = [head + (["No. planted"] if counts else [])]
        sheet = Sheet("Plots", rows)
        seen = set()
        for unit in self.units:
            if (unit.site, unit.plot) not in seen:
                seen.add((unit.site, unit.plot))
                sheet.places |= self._place(len(rows), 1, unit)
                row: list[Cell] = [
                    SITES[unit.site],
                    self._plot_cell(unit),
                    self._prep(unit),
                    PLANTED[unit.site],
                ]
                rows.append(row + ([unit.number] if counts else []))
        return sheet

    def _prep(self, unit: Unit) -> str:
        name = PREPARATIONS[unit.prep]
        if "spelling" in self.plan.extras and self.slips.random() < 0.08:
            return {"spray x2": "spray x 2", "rip + spray": "Rip+spray", "nothing": "Nothing"}[name]
        return name

    def _plot_cell(self, unit: Unit) -> Cell:
        if self.plan.labels == "1.10":
            return unit.plot if self.plan.ending not in ("xlsx", "ods") else float(unit.plot)
        return unit.plot

    def _place(self, row: int, column: int, unit: Unit) -> dict[tuple[int, int], int]:
        if self.plan.labels != "1.10" or self.plan.ending not in ("xlsx", "ods"):
            return {}
        return {(row, column): len(unit.plot.split(".")[1])}

    # -- one sheet of records

    def _day(self, day: dt.date) -> Cell:
        """Write a day in a cell of a long sheet."""
        style = self.plan.heading
        if style in ("real", "V, sheet", "merged", "three rows") and self.plan.ending in ("xlsx", "ods"):
            return day
        return _written(day, "d/m/yy" if style == "visit (day)" else style)

    def _records(self, name: str, sites: Sequence[int]) -> Sheet:
        plan, sheet = self.plan, Sheet(name)
        own = [unit for unit in self.units if unit.site in sites]
        alone = plan.sites != "column"
        titles: list[str] = []
        if alone and plan.sites != "files":
            titles.append(f"{SITES[sites[0]]} - seedling checks" if plan.planted != "title" else "")
        if plan.planted == "title":
            title = f"{SITES[sites[0]]}, planted {_written(PLANTED[sites[0]], 'words')}"
            titles = [title] if plan.seed % 2 else [*titles[:1], title]
        if plan.planted == "title by site":
            said = ", ".join(f"{SITES[s].split()[0]} {_written(PLANTED[s], 'words')}" for s in sites)
            titles.append(f"Seedling checks - planted: {said}")
        sheet.rows += [[title] for title in titles if title]
        if sheet.rows and plan.seed % 3 == 0:
            sheet.rows.append([])
        if plan.shape == "long":
            self._long(sheet, own)
        elif plan.shape == "species across":
            self._across(sheet, own, sites)
        else:
            self._wide(sheet, own, sites)
        if plan.heading == "V, line" and plan.shape != "long":
            for site in sites if alone else [0]:
                said = ", ".join(
                    f"V{n + 1} {_written(day, 'd/m/yy')}" for n, day in enumerate(days_of(plan, site))
                )
                sheet.rows += [[], [f"Visits: {said}"]]
        if "notes" in plan.extras:
            sheet.rows += [[], ["Heights were not measured"], ["Fence checked at every visit"]]
        if "legend" in plan.extras and plan.kind == "tagged" and plan.ending not in ("xlsx", "ods"):
            pairs = [
                f"{word} {state}"
                for word, state in zip(self.words, STATES, strict=True)
                if self.words.index(word) == STATES.index(state)
            ]
            sheet.rows += [[", ".join(pairs)]]
        return sheet

    def _keys(self, unit: Unit, row: int, sheet: Sheet) -> tuple[list[str], list[Cell]]:
        plan = self.plan
        heads: list[str] = []
        cells: list[Cell] = []

        def put(head: str, cell: Cell) -> None:
            heads.append(head)
            cells.append(cell)

        if plan.sites == "column":
            put("Site", SITES[unit.site])
        if plan.labels == "block and preparation":
            put("Block", unit.block)
        else:
            sheet.places.update(self._place(row, len(cells), unit))
            put("Plot", self._plot_cell(unit))
        if plan.planted != "plots":
            put(("Prep", "Treatment", "What was done")[plan.seed % 3], self._prep(unit))
        if plan.planted == "column":
            put(
                "Date planted",
                _written(PLANTED[unit.site], "named")
                if plan.ending not in ("xlsx", "ods")
                else PLANTED[unit.site],
            )
        if plan.radius != "none":
            put(*self._radius(unit))
        if plan.kind == "tagged":
            put(
                ("Tag", "Peg no.", "Tree no.")[plan.seed % 3],
                unit.tag if not unit.tag.isdigit() or plan.ending not in ("xlsx", "ods") else float(unit.tag),
            )
            put("Species", unit.species)
        elif plan.kind == "species" and plan.shape != "species across":
            put("Species", unit.species)
        if (
            plan.kind != "tagged"
            and plan.shape != "species across"
            and not (plan.kind == "counts" and plan.planted == "plots")
        ):
            put(("Planted", "No. planted", "Put in")[plan.seed % 3], unit.number)
        return heads, cells

    def _radius(self, unit: Unit) -> tuple[str, Cell]:
        metres = 0.0 if unit.prep == 2 else 0.45 if unit.prep == 0 else 0.6
        comma = self.plan.ending == "semicolons"

        def number(value: float) -> Cell:
            return f"{value:g}".replace(".", ",") if comma else value

        match self.plan.radius:
            case "m":
                return "Weed-free radius (m)", number(metres)
            case "cm":
                return "Clear radius (cm)", round(100 * metres)
            case "diameter":
                return "Weed-free diameter (m)", number(2 * metres)
        return (
            "Weed free to",
            0 if not metres else f"{100 * metres:g} cm" if unit.tag < "5" else f"{metres:g} m",
        )

    def _hide_keys(self, sheet: Sheet, first: int, width: int, tagged: bool) -> None:
        """Write keys once, or merge them, where the rows below tell the same."""
        if self.plan.keys == "all":
            return
        columns = [c for c in range(width)]
        rows = sheet.rows
        heads = rows[first - 1]
        kept = {
            "Tag",
            "Peg no.",
            "Tree no.",
            "Species",
            "Planted",
            "No. planted",
            "Put in",
            "Visit date",
            "Plot" if not tagged and self.plan.kind == "counts" else "",
        }
        for column in columns:
            if (
                heads[column] in kept
                or heads[column] in (None, "")
                or (not tagged and self.plan.kind == "counts" and heads[column] != "Site")
            ):
                continue
            start = first
            for row in range(first + 1, len(rows) + 1):
                same = (
                    row < len(rows)
                    and rows[row][: column + 1]
                    and all(
                        self._full[row - first][c] == self._full[start - first][c]
                        for c in range(column + 1)
                        if heads[c] not in kept
                    )
                )
                if same:
                    rows[row][column] = None
                    continue
                if self.plan.keys == "merged" and row - start > 1:
                    sheet.merged.append((start, column, row - 1, column))
                start = row

    def _wide(self, sheet: Sheet, units: Sequence[Unit], sites: Sequence[int]) -> None:
        plan = self.plan
        top = len(sheet.rows)
        heads, _ = self._keys(units[0], -1, Sheet(""))
        heading = self._headings(sites)
        depth = max(len(parts) for parts, _ in heading)
        visit_heads: list[list[str]] = [list(parts) for parts, _ in heading]
        for level in range(depth):
            row: list[Cell] = [None] * len(heads) if level < depth - 1 else list(heads)
            previous: tuple[str, ...] = ()
            for number, parts in enumerate(visit_heads):
                part = parts[level] if level < len(parts) else ""
                again = level < depth - 1 and tuple(parts[: level + 1]) == previous
                previous = tuple(parts[: level + 1])
                row.append(None if again else _as_cell(part, plan))
                if again and plan.ending in ("xlsx", "ods"):
                    column = len(heads) + number
                    sheet.merged.append((top + level, column - 1, top + level, column))
            sheet.rows.append(row)
        sheet.merged = _joined(sheet.merged)
        first = len(sheet.rows)
        self._full: list[list[Cell]] = []
        for unit in units:
            if not unit.first and plan.replants == "word":
                continue
            _, cells = self._keys(unit, len(sheet.rows), sheet)
            row = list(cells)
            for _, (what, turn) in heading:
                row.append(self._value(unit, what, turn, units))
            self._full.append(list(row))
            sheet.rows.append(row)
        self._hide_keys(sheet, first, len(heads), plan.kind == "tagged")
        self._totals(sheet, first, len(heads), heads, units)

    def _value(self, unit: Unit, what: str, turn: int, units: Sequence[Unit]) -> Cell:
        plan = self.plan
        seen = unit.seen[turn]
        if what == "date":
            return self._day(days_of(plan, unit.site)[turn])
        if what == "height":
            return None if seen != 0 else 20 + 7 * turn
        if plan.kind == "tagged":
            own = (
                [u for u in units if not u.first and u.tag == unit.tag and u.site == unit.site]
                if plan.replants == "word"
                else []
            )
            if own and turn == 1:
                return "dead - replanted"
            if own and turn > 1:
                seen = own[0].seen[turn]
            word = None if seen is None else self.words[seen]
            return float(word) if word in ("0", "1") and plan.ending in ("xlsx", "ods") else word
        if seen is None:
            return None
        before = [s for s in unit.seen[:turn] if s is not None]
        match what if what != "value" else plan.counted:
            case "dead to date" | "dead":
                return unit.number - seen
            case "dead since":
                return (before[-1] if before else unit.number) - seen
            case "per cent":
                return 100 * seen // unit.number if plan.seed % 2 else f"{100 * seen // unit.number}%"
        return seen

    def _headings(self, sites: Sequence[int]) -> list[tuple[tuple[str, ...], tuple[str, int]]]:
        plan = self.plan
        days = days_of(plan, sites[0])
        value = {"tagged": "State", "counts": "Alive", "species": "Alive"}[plan.kind]
        if plan.words == 6 and plan.kind == "tagged":
            value = "Alive?"
        if plan.counted in ("dead to date", "dead since"):
            value = "Dead" if plan.counted == "dead to date" else "Dead since last visit"
        elif plan.counted == "per cent":
            value = "% alive"
        out: list[tuple[tuple[str, ...], tuple[str, int]]] = []
        several = len(sites) > 1 and len({tuple(days_of(plan, s)) for s in sites}) > 1
        for turn, day in enumerate(days):
            style = plan.heading
            if several and style not in ("V, sheet", "dates beside"):
                # One heading for all sites: the day is the same only if all were seen on it.
                style = "V, sheet" if style == "V, sheet" else "dates beside"
            if style in ("V, line", "V, sheet"):
                text = f"V{turn + 1}"
            elif style == "dates beside":
                ordinal = ("1st", "2nd", "3rd", "4th")[turn]
                out.append(((f"date {turn + 1}",), ("date", turn)))
                head = (
                    f"{ordinal} check"
                    if value in ("State", "Alive?", "Alive")
                    else f"{value} {ordinal} check"
                )
                out.append(((head,), ("value", turn)))
                continue
            else:
                text = _written(day, style)
            if style in ("two rows", "three rows", "merged"):
                upper = (text,) if style != "three rows" else (f"Visit {turn + 1}", text)
                out.append(((*upper, value), ("value", turn)))
                if plan.counted == "alive and dead":
                    out.append(((*upper, "Dead"), ("dead", turn)))
                elif plan.kind == "tagged":
                    out.append(((*upper, "Ht (cm)"), ("height", turn)))
                continue
            spoken_for = plan.counted in ("dead to date", "dead since", "per cent") or plan.seed % 4 == 0
            head = f"{value} {text}" if spoken_for and plan.kind != "tagged" else text
            out.append(((head,), ("value", turn)))
            if plan.counted == "alive and dead":
                out[-1] = ((f"Alive {text}",), ("value", turn))
                out.append(((f"Dead {text}",), ("dead", turn)))
        return out

    def _across(self, sheet: Sheet, units: Sequence[Unit], sites: Sequence[int]) -> None:
        """A column a species under Planted and under each visit."""
        plan, top = self.plan, len(sheet.rows)
        heads, _ = self._keys(units[0], -1, Sheet(""))
        uppers = [
            "Planted",
            *(
                _written(day, "iso" if plan.heading == "merged" else "named")
                for day in days_of(plan, sites[0])
            ),
        ]
        first_row: list[Cell] = [None] * len(heads)
        second: list[Cell] = list(heads)
        for upper in uppers:
            sheet.merged.append((top, len(second), top, len(second) + len(SPECIES) - 1))
            first_row += [_as_cell(upper, plan), *([None] * (len(SPECIES) - 1))]
            second += list(SPECIES)
        sheet.rows += [first_row, second]
        done = set()
        for unit in units:
            if (unit.site, unit.plot) in done:
                continue
            done.add((unit.site, unit.plot))
            own = {u.species: u for u in units if (u.site, u.plot) == (unit.site, unit.plot)}
            _, cells = self._keys(unit, len(sheet.rows), sheet)
            row = [*cells, *(own[name].number for name in SPECIES)]
            for turn in range(len(VISITS)):
                row += [own[name].seen[turn] for name in SPECIES]
            sheet.rows.append(row)

    def _long(self, sheet: Sheet, units: Sequence[Unit]) -> None:
        plan = self.plan
        heads, _ = self._keys(units[0], -1, Sheet(""))
        value = {"tagged": "State", "counts": "Alive", "species": "Alive"}[plan.kind]
        if plan.words == 6 and plan.kind == "tagged":
            value = "Alive?"
        value = {"dead to date": "Dead", "dead since": "Dead since last visit", "per cent": "% alive"}.get(
            plan.counted, value
        )
        both = plan.counted == "alive and dead"
        sheet.rows.append([*heads, "Visit date", value, *(["Dead"] if both else [])])
        for site in sorted({unit.site for unit in units}):
            for turn, day in enumerate(days_of(plan, site)):
                first = len(sheet.rows)
                self._full = []
                for unit in (u for u in units if u.site == site):
                    if not unit.first and (plan.replants == "word" or unit.seen[turn] is None):
                        continue
                    _, cells = self._keys(unit, len(sheet.rows), sheet)
                    row = [*cells, self._day(day), self._value(unit, "value", turn, units)]
                    if both:
                        row.append(self._value(unit, "dead", turn, units))
                    self._full.append(list(row))
                    sheet.rows.append(row)
                if plan.totals == "sites" and plan.kind != "tagged" and plan.counted == "alive":
                    total: list[Cell] = ["Total", *([None] * (len(heads) - 1)), None]
                    known = [u.seen[turn] for u in units if u.site == site]
                    sheet.rows.append([*total, sum(n for n in known if n is not None)])
                del first

    def _totals(
        self, sheet: Sheet, first: int, width: int, heads: Sequence[str], units: Sequence[Unit]
    ) -> None:
        plan = self.plan
        if plan.totals == "none" or plan.counted not in ("alive", "alive and dead"):
            return
        rows = sheet.rows
        values = range(width, max(len(row) for row in rows[first:]))

        def summed(own: Sequence[list[Cell]], label: str) -> list[Cell]:
            out: list[Cell] = [None] * width
            place = (
                0
                if plan.kind != "tagged" or plan.seed % 2
                else next(n for n, h in enumerate(heads) if h in ("Tag", "Peg no.", "Tree no."))
            )
            out[place] = label
            for column in values:
                cells = [row[column] for row in own if column < len(row)]
                if plan.kind == "tagged":
                    alive = {self.words[0], 1.0} if self.words[0] == "1" else {self.words[0]}
                    dates = any(isinstance(cell, dt.date) for cell in cells) or (
                        plan.heading == "dates beside" and (column - width) % 2 == 0
                    )
                    dates = dates or (str(rows[first - 1][column]).startswith(("date", "Ht")))
                    out.append(None if dates else sum(cell in alive for cell in cells))
                else:
                    numbers = [
                        cell
                        for cell in cells
                        if isinstance(cell, (int, float)) and not isinstance(cell, bool)
                    ]
                    dates = any(isinstance(cell, (dt.date, str)) for cell in cells)
                    out.append(None if dates else sum(numbers))
            return out

        body = rows[first:]
        label = ("TOTAL", "Alive:", "Total alive", "Sub-total")[plan.seed % 4]
        if plan.totals == "sites" and plan.sites == "column" and plan.keys != "merged":
            out: list[list[Cell]] = []
            start = 0
            for number, unit_row in enumerate(self._full):
                out.append(body[number])
                last = number + 1 == len(self._full) or self._full[number + 1][0] != unit_row[0]
                if last:
                    out.append(summed(self._full[start : number + 1], f"{unit_row[0]} total"))
                    start = number + 1
            moved = [n for n in range(len(self._full))]
            del moved
            shift, at = {}, 0
            for number, unit_row in enumerate(self._full):
                shift[first + number] = first + number + at
                if number + 1 < len(self._full) and self._full[number + 1][0] != unit_row[0]:
                    at += 1
            sheet.places = {(shift.get(r, r), c): p for (r, c), p in sheet.places.items()}
            rows[first:] = out
        else:
            rows.append(summed(self._full, label))


def _joined(merged: list[tuple[int, int, int, int]]) -> list[tuple[int, int, int, int]]:
    """Join merges to the right that touch into one."""
    out: list[tuple[int, int, int, int]] = []
    for area in sorted(merged):
        if out and out[-1][0] == area[0] == area[2] and out[-1][3] == area[1]:
            out[-1] = (out[-1][0], out[-1][1], area[2], area[3])
        else:
            out.append(area)
    return out


def _as_cell(text: str, plan: Plan) -> Cell:
    """A day in a heading of a workbook may be a real date."""
    if plan.heading in ("real", "merged", "three rows") and plan.ending in ("xlsx", "ods"):
        try:
            return dt.date.fromisoformat(text)
        except ValueError:
            return text
    return text


def _written(day: dt.date, style: str) -> str:
    month = _MONTHS[day.month - 1]
    match style:
        case "d/m/yy" | "V, line":
            return f"{day.day}/{day.month}/{day:%y}"
        case "dd/mm/yyyy":
            return f"{day:%d/%m/%Y}"
        case "dots":
            return f"{day.day}.{day.month}.{day:%y}"
        case "no year":
            return f"{day.day} {month}"
        case "named":
            return f"{day.day} {month} {day.year}"
        case "words":
            return f"{day.day} {month} {day.year}"
        case "ordinal":
            suffix = {1: "st", 2: "nd", 3: "rd"}.get(day.day % 10 if day.day not in (11, 12, 13) else 0, "th")
            return f"{day.day}{suffix} {month} {day.year}"
        case "weekday":
            return f"{day:%a} {day.day} {month} {day:%y}"
        case "visit (day)":
            return f"{month} visit ({day.day}/{day.month}/{day:%y})"
        case "month first":
            return f"{day.month}/{day.day}/{day.year}"
    return day.isoformat()


# ---- written to files ----------------------------------------------------------------------


def as_xlsx(sheets: Sequence[Sheet]) -> bytes:
    held = io.BytesIO()
    book = xlsxwriter.Workbook(held, {"in_memory": True})
    dates = book.add_format({"num_format": "dd/mm/yyyy"})
    shown = {places: book.add_format({"num_format": "0." + "0" * places}) for places in (1, 2)}
    for sheet in sheets:
        page = book.add_worksheet(sheet.name)
        for number, row in enumerate(sheet.rows):
            for column, cell in enumerate(row):
                if cell is None or cell == "":
                    continue
                if isinstance(cell, dt.date):
                    page.write_datetime(number, column, dt.datetime(cell.year, cell.month, cell.day), dates)
                elif (number, column) in sheet.places:
                    page.write_number(number, column, cell, shown[sheet.places[number, column]])
                else:
                    page.write(number, column, cell)
        for top, left, foot, right in sheet.merged:
            cell = sheet.rows[top][left]
            style = dates if isinstance(cell, dt.date) else shown.get(sheet.places.get((top, left), 0))
            page.merge_range(top, left, foot, right, "", style)
            if isinstance(cell, dt.date):
                page.write_datetime(top, left, dt.datetime(cell.year, cell.month, cell.day), dates)
            elif cell is not None:
                page.write(top, left, cell, style)
        if sheet.hidden:
            page.hide()
    book.close()
    return held.getvalue()


def as_ods(sheets: Sequence[Sheet]) -> bytes:
    tables = []
    for sheet in sheets:
        spans = {(t, left): (foot - t + 1, right - left + 1) for t, left, foot, right in sheet.merged}
        rows = []
        for number, row in enumerate(sheet.rows):
            cells = [
                _ods_cell(cell, spans.get((number, column)), sheet.places.get((number, column)))
                for column, cell in enumerate(row)
            ]
            rows.append(f"<table:table-row>{''.join(cells) or '<table:table-cell/>'}</table:table-row>")
        tables.append(f'<table:table table:name="{escape(sheet.name)}">{"".join(rows)}</table:table>')
    return ods_of("".join(tables))


def _ods_cell(cell: Cell, span: tuple[int, int] | None, places: int | None) -> str:
    over = f' table:number-rows-spanned="{span[0]}" table:number-columns-spanned="{span[1]}"' if span else ""
    if cell is None or cell == "":
        return f"<table:table-cell{over}/>"
    if isinstance(cell, dt.date):
        kind = f'office:value-type="date" office:date-value="{cell.isoformat()}"'
    elif isinstance(cell, (int, float)):
        kind = f'office:value-type="float" office:value="{cell}"'
    else:
        kind = 'office:value-type="string"'
    shown = str(cell) if places is None else f"{cell:.{places}f}"
    return f"<table:table-cell {kind}{over}><text:p>{escape(shown)}</text:p></table:table-cell>"


def as_text_file(sheet: Sheet, sign: str, encoding: str) -> bytes:
    width = max(len(row) for row in sheet.rows)
    text = io.StringIO()
    writer = csv.writer(text, delimiter=sign, lineterminator="\n")
    for row in sheet.rows:
        cells = [
            "" if cell is None else cell.isoformat() if isinstance(cell, dt.date) else str(cell)
            for cell in row
        ]
        writer.writerow(cells + [""] * (width - len(cells)))
    return text.getvalue().encode(encoding)
