"""Cost lines, infill, stems wanted and infill to order, and what a dry or a wet season would cost."""

from __future__ import annotations

import math
from functools import partial
from typing import TYPE_CHECKING

import pandas as pd

from survivor.costs.prices import lines_table
from survivor.costs.stocking import ALL_SITES
from survivor.figures.stocking import stems_figure
from survivor.figures.style import Drawing, Size
from survivor.figures.words import (
    NONE,
    limits,
    money,
    number,
    per_100,
    per_100_limits,
    plants,
    plants_limits,
)
from survivor.report.content.elements import Block, Column, Figure, Paragraph, Section, Table
from survivor.report.content.value import in_100
from survivor.report.content.wording import sentence

if TYPE_CHECKING:
    from survivor.analysis.result import Analysis

_ALL_IN_ONE = "all in one"
_ROUNDED = "Plants to order are rounded up at each site, and all sites once: the rows can add up to more."


def cost_lines(analysis: Analysis) -> tuple[Table, ...]:
    """Return what was paid for under each preparation, brought to a plant; none where costs have no lines."""
    table = lines_table(analysis.settings)
    if table.empty or table["line"].eq(_ALL_IN_ONE).all():
        return ()
    currency = analysis.settings.costs.currency if analysis.settings.costs else ""
    columns = (
        Column("Preparation"),
        Column("Paid for"),
        Column("Amount", numeric=True),
        Column("Per plant", numeric=True),
        Column("Range", numeric=True),
        Column("Year", numeric=True),
    )
    rows = tuple(
        (
            str(row["method"]),
            str(row["line"]),
            f"{money(float(row['amount']), currency)} per {row['per']}"
            + (f", {row['times']} times" if row["times"] > 1 else ""),
            money(float(row["per_plant"]), currency),
            limits(float(row["low"]), float(row["high"]), 2),
            NONE if pd.isna(row["year"]) else f"{int(row['year'])}",
        )
        for row in table.to_dict("records")
    )
    years = table["year"].dropna().unique()
    note = "The lines of a preparation add up. One price that several preparations pay is drawn once for all."
    if len(years) > 1:
        note += f" Prices of {len(years)} years are added as they stand; none is brought to another year."
    return (Table("cost-lines", "What was paid for", columns, rows, row_heads=2, note=note, folded=True),)


def after_costs(analysis: Analysis) -> tuple[Section, ...]:
    """Return the sections on infill, seasons, stems wanted and infill to order, those that can be told."""
    return (*_with_infill(analysis), *_seasons(analysis), *_stems(analysis), *_order(analysis))


def _with_infill(analysis: Analysis) -> tuple[Section, ...]:
    payoff = analysis.payoff
    if payoff is None:
        return ()
    heading = "With infill"
    if payoff.with_infill is None:
        if analysis.infill.empty or analysis.settings.infill is not None:
            return ()
        text = (
            "Infill was recorded, but the study file does not say what an infill plant costs ([infill]), so "
            "it is in none of these costs."
        )
        return (Section("with-infill", heading, (Paragraph(text, kind="small"),)),)
    found = payoff.with_infill
    columns = (
        Column("Preparation"),
        Column("Infill plants per 100 planted", numeric=True),
        Column("Cost of an infill plant", numeric=True),
        Column("Infill alive per 100", numeric=True),
        Column("Cost per plant established, infill out", numeric=True),
        Column("Infill in", numeric=True),
        Column("95 % limits, infill in", numeric=True),
    )
    rows = tuple(
        (
            str(row["method"]),
            number(float(row["infill_per_100"])),
            money(float(row["infill_cost"]), str(row["currency"])),
            per_100(float(row["infill_survival"])),
            money(float(row["without"]), str(row["currency"])),
            money(float(row["with_infill"]), str(row["currency"])),
            limits(float(row["lower"]), float(row["upper"]), 2),
        )
        for row in found.table.to_dict("records")
    )
    words = (
        "All that was paid, for first plants and infill, over all that are alive: first plants at the "
        "milestone, infill plants on their own clock."
    )
    table = Table("with-infill-table", "Cost per plant established with infill out and in", columns, rows)
    small = [Paragraph(sentence(check), kind="small") for check in found.checks]
    return (Section("with-infill", heading, (Paragraph(words), table, *small)),)


def _seasons(analysis: Analysis) -> tuple[Section, ...]:
    if analysis.payoff is None:
        return ()
    heading, found = "In a dry and in a wet season", analysis.season_costs
    if found is None:
        rain = next((finding.answer for finding in analysis.findings if finding.key == "rain"), "")
        why = f" {sentence(rain)}" if rain else ""
        text = f"What a dry or a wet season would cost cannot be told from these records.{why}"
        return (Section("season-costs", heading, (Paragraph(text, kind="small"),)),)
    columns = (
        Column("Season"),
        Column("Preparation"),
        Column("Alive per 100 planted", numeric=True),
        Column("Cost per plant established", numeric=True),
        Column("95 % limits", numeric=True),
        Column("Chance of the lowest cost", numeric=True),
    )
    rows = tuple(
        (
            f"{row['scenario']}, {number(float(row['rain_mm']))} mm",
            str(row["method"]),
            f"{per_100(float(row['survival']))} "
            f"({per_100_limits(float(row['survival_lower']), float(row['survival_upper']))})",
            money(float(row["cost_per_established"]), str(row["currency"])),
            limits(float(row["lower"]), float(row["upper"]), 2),
            in_100(float(row["probability_lowest"])),
        )
        for row in found.table.to_dict("records")
    )
    table = Table("season-costs-table", "Costs in a dry and in a wet season", columns, rows, row_heads=2)
    notes = [Paragraph(sentence(check), kind="small") for check in found.checks]
    lead = Paragraph(
        "What survival, and with it cost, went with rain like that of the driest and of the wettest first "
        "dry season in these records.",
    )
    return (Section("season-costs", heading, (lead, table, *notes)),)


def _stems(analysis: Analysis) -> tuple[Section, ...]:
    found = analysis.stems_needed
    if found is None or found.table.empty:
        return ()
    table = found.table.sort_values("plants_needed", kind="stable")
    fewest = table.iloc[0]
    spaced = table["planted"].notna().any()
    columns = [
        Column("Preparation"),
        Column("Alive per 100 planted", numeric=True),
        Column("Plants to put in per hectare", numeric=True),
        Column("95 % limits", numeric=True),
    ]
    if spaced:
        columns += [
            Column("Put in per hectare", numeric=True),
            Column("Standing per hectare", numeric=True),
            Column("Infill per hectare to reach the target", numeric=True),
        ]
    rows = []
    for row in table.to_dict("records"):
        cells = [
            str(row["method"]),
            per_100(float(row["survival"])),
            plants(float(row["plants_needed"])),
            plants_limits(float(row["lower"]), float(row["upper"])),
        ]
        if spaced:
            standing = limits(float(row["standing_lower"]), float(row["standing_upper"]))
            cells += [
                number(float(row["planted"])),
                f"{number(float(row['standing']))} ({standing})",
                f"{plants(float(row['infill_needed']))} "
                f"({plants_limits(float(row['infill_lower']), float(row['infill_upper']))})",
            ]
        rows.append(tuple(cells))
    target = number(found.target)
    finding = (
        f"For {target} stems per hectare, fewest plants under {fewest['method']}: "
        f"{plants(float(fewest['plants_needed']))} per hectare "
        f"({plants_limits(float(fewest['lower']), float(fewest['upper']))})."
    )
    figure = Figure(
        key="stems",
        title=f"Plants to put in for {target} living stems per hectare",
        finding=finding,
        caption=(
            "The stems wanted over the share alive at the milestone. At the upper limit the target is "
            "reached also where survival is at its lower limit. Natural recruits and infill are not counted."
        ),
        draw=partial(_draw_stems, table),
        table=Table("stems-table", "Plants to put in per hectare", tuple(columns), tuple(rows)),
        open_table=True,
    )
    blocks: list[Block] = [
        Paragraph(
            f"The study file wants {target} living stems per hectare. With survival as it was seen at these "
            "sites in this season, that takes so many plants."
        ),
        figure,
    ]
    blocks += [Paragraph(sentence(check), kind="small") for check in found.checks]
    return (Section("stems-wanted", "Plants to put in for the stems wanted", tuple(blocks)),)


def _draw_stems(table: pd.DataFrame, size: Size) -> Drawing:
    return stems_figure(table, size=size)


def _order(analysis: Analysis) -> tuple[Section, ...]:
    found = analysis.infill_order
    if found is None or found.table.empty:
        return ()
    table = found.table
    total = table[table["site"] == ALL_SITES]
    lead = (total if len(total) else table).iloc[0]
    if not math.isfinite(float(lead["to_order"])):
        return ()
    columns = (
        Column("Site"),
        Column("Plants put in", numeric=True),
        Column("Died so far", numeric=True),
        Column("Infill standing", numeric=True),
        Column("Infill to order", numeric=True),
        Column("95 % limits", numeric=True),
        Column("Last visit, days after planting", numeric=True),
    )
    rows = tuple(
        (
            str(row["site"]),
            number(float(row["planted"])),
            number(float(row["dead"])),
            number(float(row["infill_alive"])),
            plants(float(row["to_order"])),
            plants_limits(float(row["lower"]), float(row["upper"])),
            number(float(row["at_day"])),
        )
        for row in table.to_dict("records")
    )
    of = "over the whole planting" if analysis.settings.planted else "in the plots"
    dead, planted = number(float(lead["dead"])), number(float(lead["planted"]))
    standing = float(lead["infill_alive"])
    ends = plants_limits(float(lead["lower"]), float(lead["upper"]))
    order = plants(float(lead["to_order"]))
    lead_in, only = f"{order} plants would bring", ""
    share = "over the share of infill that lives"
    if found.all_live:
        lead_in, only = f"At least {order} plants are wanted to bring", ", and that only if every one lives"
        share = "every infill plant taken to live"
    words = (
        f"{lead_in} the plants {of} back to as many as were put "
        f"in{only} (95 % limits {ends}): about {dead} of {planted} had died by the last visit of each site"
        + (f", and about {number(standing)} infill plants stand" if standing > 0 else "")
        + f". Each order is what died less the infill standing, {share}."
    )
    small = [Paragraph(sentence(check), kind="small") for check in found.checks]
    left = table[table["note"].astype(str) != ""]
    small += [
        Paragraph(sentence(f"{row['site']}: {row['note']}"), kind="small") for row in left.to_dict("records")
    ]
    shown = Table(
        "infill-order-table",
        "Infill to order at each site",
        columns,
        rows,
        note=_ROUNDED if len(total) else "",
        folded=len(rows) > 20,
    )
    return (Section("infill-order", "Infill to order", (Paragraph(words), shown, *small)),)
