"""Cost lines, infill, stems wanted and infill to order, and what a dry or a wet season would cost."""

from __future__ import annotations

import math
from dataclasses import replace

import pandas as pd

from survivor.analysis.result import Analysis
from survivor.costs.prices import lines_table
from survivor.costs.stocking import ALL_SITES
from survivor.document.elements import (
    Block,
    Field,
    Paragraph,
    Section,
    Table,
    numbers,
    words,
    written,
)
from survivor.report import english as en
from survivor.report.columns import LIMITS, METHOD, PER_100, RANGE, amount, in_100, to_cents
from survivor.sentences import Name, Value, cell, say
from survivor.words import (
    NONE,
    alive_limits,
    estimated,
    limits,
    money,
    number,
    per_100,
    plants,
    plants_limits,
    sentence,
)

_ALL_IN_ONE = "all in one"


def cost_lines(analysis: Analysis) -> tuple[Table, ...]:
    """Return what was paid for under each preparation, brought to a plant; none where costs have no lines."""
    table = lines_table(analysis.settings)
    if table.empty or table["line"].eq(_ALL_IN_ONE).all():
        return ()
    table = table.assign(currency=analysis.settings.costs.currency if analysis.settings.costs else "")
    fields = (
        METHOD,
        words("Paid for", "line"),
        numbers("Amount", "amount", "currency", "per", "times", write=_amount),
        amount("Per plant", "per_plant"),
        numbers("Range", "low", "high", write=to_cents),
        numbers("Year", "year", write=lambda year: NONE if pd.isna(year) else f"{int(year)}"),
    )
    years = table["year"].dropna().unique()
    note = en.LINES_NOTE
    if len(years) > 1:
        note += f" {en.LINES_YEARS.format(years=len(years))}"
    return (replace(written("cost-lines", "What was paid for", table, fields, 2, note), folded=True),)


def _amount(value: float, currency: str, per: str, times: float) -> str:
    return f"{money(value, currency)} per {per}" + (f", {times} times" if times > 1 else "")


def after_costs(analysis: Analysis) -> tuple[Section, ...]:
    """Return the sections on infill, seasons and stems wanted, those that can be told."""
    return (*_with_infill(analysis), *_seasons(analysis), *_stems(analysis))


def _with_infill(analysis: Analysis) -> tuple[Section, ...]:
    payoff = analysis.costs.payoff
    if payoff is None:
        return ()
    heading = "With infill"
    if payoff.with_infill is None:
        if analysis.survival.infill.empty or analysis.settings.infill is not None:
            return ()
        return (Section("with-infill", heading, (Paragraph(en.INFILL_NO_COST, kind="small"),)),)
    found = payoff.with_infill
    fields = (
        METHOD,
        numbers("Infill plants per 100 planted", "infill_per_100"),
        amount("Cost of an infill plant", "infill_cost"),
        numbers("Infill alive per 100", "infill_survival", write=per_100),
        amount("Cost per living plant, infill out", "without"),
        amount("Infill in", "with_infill"),
        numbers("Range, infill in", "lower", "upper", write=to_cents),
    )
    caption = "Cost per living plant with infill out and in"
    table = written("with-infill-table", caption, found.table, fields)
    small = [Paragraph(sentence(check), kind="small") for check in found.checks]
    return (Section("with-infill", heading, (Paragraph(en.WITH_INFILL), table, *small)),)


def _seasons(analysis: Analysis) -> tuple[Section, ...]:
    if analysis.costs.payoff is None:
        return ()
    heading, found = "In a dry and in a wet season", analysis.costs.in_seasons
    if found is None:
        text = en.SEASON_COSTS_NONE
        return (Section("season-costs", heading, (Paragraph(text, kind="small"),)),)
    fields = (
        Field("Season", ("scenario", "rain_mm"), lambda name, mm: f"{name}, {number(mm)} mm", numeric=False),
        METHOD,
        numbers(PER_100, "survival", "survival_lower", "survival_upper", write=alive_limits),
        amount("Cost per living plant", "cost_per_established"),
        numbers(RANGE, "lower", "upper", write=to_cents),
        numbers("Chance of the lowest cost", "probability_lowest", write=in_100),
    )
    caption = "Costs in a dry and in a wet season"
    table = written("season-costs-table", caption, found.table, fields, row_heads=2)
    notes = [Paragraph(sentence(check), kind="small") for check in found.checks]
    lead = Paragraph(en.SEASON_COSTS)
    return (Section("season-costs", heading, (lead, table, *notes)),)


def _stems(analysis: Analysis) -> tuple[Section, ...]:
    found = analysis.costs.stems_needed
    if found is None or found.table.empty:
        return ()
    table = found.table.sort_values("plants_needed", kind="stable")
    fewest = table.iloc[0]
    spaced = table["planted"].notna().any()
    fields = [
        METHOD,
        numbers(PER_100, "survival", write=per_100),
        numbers("Plants to plant per hectare", "plants_needed", write=plants),
        numbers(LIMITS, "lower", "upper", write=plants_limits),
    ]
    if spaced:
        fields += [
            numbers("Planted per hectare", "planted"),
            numbers(
                "Alive per hectare",
                *("standing", "standing_lower", "standing_upper"),
                write=lambda value, low, high: f"{number(value)} ({limits(low, high)})",
            ),
            numbers(
                "Infill per hectare to reach the target",
                *("infill_needed", "infill_lower", "infill_upper"),
                write=lambda value, low, high: f"{plants(value)} ({plants_limits(low, high)})",
            ),
        ]
    target = number(found.target)
    at = {name: cell("stocking", name, method=fewest["method"]) for name in ("plants_needed", "lower")}
    needed, low, high = (float(fewest[name]) for name in ("plants_needed", "lower", "upper"))
    finding = say(
        en.STEMS_FEWEST,
        method=Name(str(fewest["method"])),
        plants=Value(plants(needed), needed, at["plants_needed"]),
        span=Value(plants_limits(low, high), low, at["lower"]),
    )
    made = written(
        "stems-table",
        f"Plants needed for {target} living stems per hectare",
        table,
        fields,
        note=en.STEMS_NOTE,
    )
    blocks: list[Block] = [
        Paragraph((say(en.STEMS, target=Value(target, float(found.target))), finding)),
        made,
    ]
    blocks += [Paragraph(sentence(check), kind="small") for check in found.checks]
    return (Section("stems-wanted", "Plants needed for the stems wanted", tuple(blocks)),)


def infill_sections(analysis: Analysis) -> tuple[Section, ...]:
    """Return infill to order site by site; nothing where it cannot be determined."""
    found = analysis.costs.infill_order
    if found is None or found.table.empty:
        return ()
    table = found.table
    total = table[table["site"] == ALL_SITES]
    lead = (total if len(total) else table).iloc[0]
    if not math.isfinite(float(lead["to_order"])):
        return ()
    fields = (
        words("Site", "site"),
        numbers("Planted", "planted"),
        numbers("Died so far", "dead", write=estimated),
        numbers("Infill alive", "infill_alive"),
        numbers("Infill to order", "to_order", write=plants),
        numbers(LIMITS, "lower", "upper", write=plants_limits),
        numbers("Last visit, days after planting", "at_day"),
    )
    of = en.IN_WHOLE if analysis.settings.planted else en.IN_PLOTS
    dead, planted = estimated(float(lead["dead"])), number(float(lead["planted"]))
    standing = float(lead["infill_alive"])
    ends = plants_limits(float(lead["lower"]), float(lead["upper"]))
    order = plants(float(lead["to_order"]))
    words_of = en.ORDER_LEAST if found.all_live else en.ORDER
    text = [
        words_of.format(plants=order, of=of, span=ends),
        en.ORDER_DIED.format(dead=dead, planted=planted),
        *([en.ORDER_STANDING.format(standing=number(standing))] if standing > 0 else []),
        en.ORDER_EACH.format(share=en.ORDER_ALL_LIVE if found.all_live else en.ORDER_LIVES),
    ]
    small = [Paragraph(sentence(check), kind="small") for check in found.checks]
    left = table[table["note"].astype(str) != ""]
    small += [
        Paragraph(sentence(en.AT_SITE.format(site=row["site"], note=row["note"])), kind="small")
        for row in left.to_dict("records")
    ]
    note = en.ROUNDED if len(total) else ""
    shown = written("infill-order-table", "Infill to order at each site", table, fields, note=note)
    shown = replace(shown, folded=len(table) > 20)
    return (Section("infill-order", "Infill to order", (Paragraph(" ".join(text)), shown, *small)),)
