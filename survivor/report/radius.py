"""Survival by the radius of the weed-free patch, its slope under each preparation, and that of rain."""

from __future__ import annotations

import math
from functools import partial

import pandas as pd

from survivor.analysis.radius import RADIUS
from survivor.analysis.result import Analysis
from survivor.document.elements import (
    Block,
    Field,
    Figure,
    Listing,
    Paragraph,
    Section,
    Table,
    missing,
    numbers,
    places,
    table_of,
    words,
    written,
)
from survivor.effects.dose import Dose
from survivor.effects.plateau import metres
from survivor.effects.slopes import Slopes
from survivor.evidence.grading import LEAST_DF
from survivor.evidence.making import radius_answer
from survivor.figures.radius import dose_figure
from survivor.report import english as en
from survivor.report.columns import PLOTS, P, alive, ratio
from survivor.report.pages import english as pages
from survivor.report.reasons import is_random, why
from survivor.report.supporting import unmade
from survivor.sentences import Part, Sentence, Value, cell, say
from survivor.vocabulary import SIGNIFICANCE
from survivor.words import chance, listed, number, per_100, plain, sentence

KEY = "radius"
HEADING = "How wide a weed-free patch"
_SHAPES = {
    "spline": "by a curve",
    "line": "by a line, straight on the model's scale",
    "groups": "by groups of radii",
}


def radius(analysis: Analysis) -> Section:
    """Return the response to the radius, or why there is none."""
    dose = analysis.radius.response
    if dose is None:
        said = why(analysis, "radius", "The radius could not be related to survival")
        return missing(KEY, HEADING, said)
    blocks: list[Block] = []
    if dose.table.empty:
        blocks.extend(Paragraph(sentence(check)) for check in dose.checks)
    else:
        if dose.stops_paying is not None:
            blocks.append(Paragraph(sentence(radius_answer(dose))))
        chosen = en.RADIUS_CHOSEN_EVEN if is_random(analysis) else en.RADIUS_CHOSEN
        blocks.append(Paragraph(f"{chosen} {en.RADIUS_MAY}", kind="note", label="Radius by choice"))
        blocks.append(radius_figure(analysis, dose))
        blocks.extend(Paragraph(sentence(check), kind="small") for check in dose.checks)
    if not dose.description.empty:
        names = dose.description[dose.description.columns[0]].astype(str)
        blocks.append(_description(dose.description, _no_radius(analysis, set(names))))
    return Section(KEY, HEADING, tuple(blocks))


def _no_radius(analysis: Analysis, shown: set[str]) -> str:
    rows = analysis.records.intervals
    measured = set(rows.loc[rows[RADIUS].notna(), "method"].astype(str)) if RADIUS in rows else set()
    every = dict.fromkeys(rows["method"].astype(str))
    absent = [name for name in every if name not in shown | measured]
    return en.RADIUS_ABSENT.format(names=listed(absent)) if absent else ""


def _drawn(analysis: Analysis, dose: Dose) -> Sentence:
    """Say what the curve shows at its ends and at its highest."""
    table = dose.table.sort_values(dose.column, kind="stable")
    first, last = table.iloc[0], table.iloc[-1]
    top = table.iloc[int(table["estimate"].to_numpy(dtype=float).argmax())]

    def alive(row: pd.Series[float]) -> Value:
        at = {dose.column: float(row[dose.column])}
        estimate = float(row["estimate"])
        return Value(per_100(estimate), estimate, cell("radius", "estimate", **at))

    def where(row: pd.Series[float]) -> Value:
        return Value(metres(float(row[dose.column])), float(row[dose.column]))

    parts: dict[str, Part] = {"per": analysis.per_100, "low": alive(first), "first": where(first)}
    parts |= {"end": alive(last), "last": where(last)}
    if top.name in (first.name, last.name):
        return say(pages.RADIUS_DRAWN_ENDS, **parts)
    return say(pages.RADIUS_DRAWN, high=alive(top), top=where(top), **parts)


def radius_figure(analysis: Analysis, dose: Dose) -> Figure:
    """Return survival by radius, with the numbers as a table."""
    table = dose.table.sort_values(dose.column, kind="stable")
    mark = None if dose.stops_paying is None else dose.stops_paying.marks
    gain = plain(analysis.settings.design.radius_gain)
    drawn = table[[dose.column, "estimate", "lower", "upper"]]
    from_here = f"from here, under {gain} per 10 cm"
    tests = en.RADIUS_TEST.format(p=chance(dose.p_value))
    if math.isfinite(dose.line_p_value):
        tests += f" {en.RADIUS_TEST_LINE.format(p=chance(dose.line_p_value))}"
    caption = en.RADIUS_CAPTION.format(per=analysis.per_100, shape=_SHAPES[dose.shape])
    return Figure(
        key="radius",
        title=f"Alive at day {number(dose.at_day)}, by radius of the weed-free patch",
        finding=_drawn(analysis, dose),
        caption=f"{caption} {tests}",
        draw=partial(
            dose_figure, drawn, rug=dose.plots, stops=mark, stops_words=from_here, per=analysis.per_100
        ),
        table=_values(table, dose, analysis),
    )


def _values(table: pd.DataFrame, dose: Dose, analysis: Analysis) -> Table:
    column, shape = dose.column, _SHAPES[dose.shape]
    depth_m, basis = analysis.settings.soil.root_depth_m, analysis.basis
    step = max(1, math.ceil((len(table) - 1) / 14))
    some = table.iloc[sorted({*range(0, len(table), step), len(table) - 1})]
    area = math.pi * some[column].astype(float) ** 2
    fields = (
        numbers("Radius, m", column, write=places(2)),
        numbers("Area, m²", "area", write=places(2)),
        numbers(f"Soil under it to {number(depth_m, 2)} m, m³", "soil", write=places(2)),
        *alive(basis),
    )
    note = en.RADIUS_NOTE.format(shape=shape)
    shown = some.assign(area=area, soil=area * depth_m)
    caption = "Survival by radius of the weed-free patch"
    return written("radius-table", caption, shown, fields, note=note)


_WORDS = {
    "method": "Preparation",
    "n_plots": "Plots",
    "plots": "Plots",
    "mean_m": "Mean, m",
    "sd_m": "Standard deviation, m",
    "smallest_m": "Smallest, m",
    "largest_m": "Largest, m",
    "mean_area_m2": "Mean of the areas, m²",
}


def _description(frame: pd.DataFrame, note: str) -> Table:
    headings = [_WORDS.get(str(name), str(name).replace("_", " ")) for name in frame.columns]
    text = frame.assign(**{frame.columns[0]: frame[frame.columns[0]].astype(str)})
    return table_of("radius-by-preparation", "Radius by preparation", headings, text, note)


def radius_slopes(analysis: Analysis) -> Section:
    """Return the response to the radius under each preparation, and the test that it is one."""
    key, heading = "radius-by-method", "The radius under each preparation"
    found = analysis.radius.by_method
    if found is None:
        return unmade(analysis, key, heading, "radius_by_method")
    return Section(key, heading, _told(found, en.SLOPES, "10 cm more of radius", "radius-slopes"))


def rain_slopes(analysis: Analysis) -> tuple[Section, ...]:
    """Return how rain went with survival under each preparation; nothing where rain cannot be determined."""
    found = analysis.rain.by_method
    if found is None:
        return ()
    made = _told(found, en.RAIN_SLOPES, f"{plain(found.per)} mm more rain", "rain-slopes")
    return (Section("rain-by-method", "Rain under each preparation", made),)


def _told(found: Slopes, text: str, per: str, key: str) -> tuple[Block, ...]:
    fields = (
        words("Preparation", found.by),
        *ratio(f"Ratio of deaths for {per}", "ratio"),
        P,
        numbers("Degrees of freedom", "df", write=places(1)),
        PLOTS,
        Field("Note", ("reason", "df"), lambda reason, df: sentence(str(reason)) or _few(df), numeric=False),
    )
    note = en.SLOPES_NOTE.format(variance=found.variance)
    blocks: list[Block] = [
        Paragraph(text),
        Paragraph(_alike(found)),
        written(key, f"Ratio of deaths for {per}, by preparation", found.table, fields, note=note),
    ]
    if found.checks:
        blocks.append(Listing(tuple(sentence(check) for check in found.checks)))
    return tuple(blocks)


def _few(df: float) -> str:
    return "" if df >= LEAST_DF else en.FEW_DF.format(least=f"{LEAST_DF:g}")


def _alike(found: Slopes) -> str:
    test = found.test
    if not math.isfinite(test.p_value):
        return en.SLOPES_NO_TEST
    said = en.SLOPES_TEST.format(
        f=number(test.statistic, 2), df1=number(test.df1), df2=number(test.df2, 1), p=chance(test.p_value)
    )
    if test.df2 < LEAST_DF:
        return en.SLOPES_FEW.format(test=said, least=f"{LEAST_DF:g}")
    return (en.SLOPES_DIFFER if test.p_value < SIGNIFICANCE else en.SLOPES_OPEN).format(test=said)
