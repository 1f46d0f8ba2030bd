"""What tables and keys of a file are called in a form, in the words of the field; the models say the rest."""

from __future__ import annotations

import re
from collections.abc import Collection
from typing import Final

from survivor.files.faults import Place
from survivor.words import capital

_UNITS: Final = ("m", "cm", "mm")  # that a key may end with
_TABLE: Final = re.compile(r"\[+([a-z_]+)\]+")  # a table as the file writes it
_KEY: Final = re.compile(r"\b[a-z]+(?:_[a-z0-9]+)+\b")

#: Table or key -> what it is called; one that is called otherwise within a table has that before it.
_CALLED: Final = {
    # tables of a study file
    "study": "The season",
    "rules": "Missing plants, blank cells and other rules of reading",
    "design": "How plots were allocated, and what is compared",
    "gauges": "Rain gauges",
    "weather": "Weather beside a gauge",
    "soil": "Water in the soil",
    "methods": "Preparations",
    "methods.cost": "Cost, all in one",
    "methods.costs": "Cost, line by line",
    "spacing": "Spacing of plants",
    "diary": "Diary of the works",
    "lines": "Costs that every preparation has",
    "stocking": "Living stems wanted",
    "planted": "Plants of the whole planting",
    "heights": "Height beside survival",
    "corrections": "Corrections of the records",
    "report": "Who did it, and how it was decided",
    # of a plan
    "question": "What the season has to show",
    "variation": "How far plots and sites differ",
    "sizes": "Size of the season",
    "layout": "Tags and species",
    "factorial": "Works in every combination",
    # of a guideline
    "guideline": "The guideline",
    "seasons": "Seasons it rests on",
    "ground": "Kinds of ground",
    "rule": "Rule of the advice",
    "practice": "Usual practice by kind of ground",
    # keys
    "seed": "Seed of the random numbers",
    "outside": "Files outside the folder",
    "missing": "Missing plants",
    "blank": "Blank states",
    "measured_means_alive": "A height without a state",
    "rules.tagged": "When the tags went in",
    "count_rises": "Counts that rise",
    "tags_alike": "Tags that look alike",
    "preparation_of": "The preparation is that of",
    "planted_date": "Day of planting",
    "design.allocation": "How preparations were allocated",
    "plots_placed": "How places of plots were chosen",
    "strata": "Compared within",
    "radius_measured": "When the weed-free radius was measured",
    "smallest_difference": "Smallest difference that matters",
    "radius_gain": "Smallest gain of a wider radius that matters",
    "reason_for_choice": "Why each preparation was chosen",
    "start": "First day, as 12-01 for 1 December",
    "end": "Last day, as 03-31 for 31 March",
    "milestones.day": "Days since planting",
    "question.day": "Days since planting",
    "window_days": "Days before or after it",
    "headline": "Milestone of the first screen",
    "target.survival_per_100": "Survivors promised per 100 planted",
    "question.survival_per_100": "Survival per 100 planted, usual practice",
    "weekends": "Blank weekends",
    "missing_days": "Days without a row",
    "gauges.columns": "Columns of the file",
    "weather.columns": "Columns of the file",
    "patch_coefficient": "Water use of the weed-free patch",
    "weed_coefficient": "Water use of weeds",
    "depletion_fraction": "Share of water used before plants are short",
    "weather.method": "How evapotranspiration is had",
    "also": "Other spellings",
    "times": "How many times",
    "worth_low": "Worth of an established plant, low end",
    "worth_high": "Worth of an established plant, high end",
    "low": "Low end",
    "high": "High end",
    "row_m": "Between rows, in m",
    "in_row_m": "Within a row, in m",
    "times_first": "Times the cost of a first plant",
    "plants_per_100": "Infill plants per 100 planted",
    "infill.survival_per_100": "Infill alive per 100",
    "target_per_hectare": "Living stems per hectare",
    "at_least_cm": "At least so high, in cm",
    "report.allocation": "How the allocation was made",
    "turned": "Visits down the side",
    "sections": "Lines that head the rows below",
    "ticked": "A mark in one of several columns tells the state",
    "skip_rows": "Rows above the headings",
    "header_rows": "Rows of headings",
    "date_order": "What 03/04/2022 means",
    "diary.columns": "Columns of the sheet",
    "every_row": "The same in every row",
    "planted_by_site": "Day of planting by site",
    "counted": "What is counted",
    "assumed": "Taken without being told",
    "fill_down": "Blank cells mean as above in",
    "visits.planted": "Column of the number planted",
    "whole_plots": "Column of the whole plots",
    "factorial.whole_plots": "Works done to whole plots",
    "allocated": "How plots of a work were chosen",
    "power_per_100": "Seasons of 100 that show the difference",
    "studies": "Simulated seasons of each size",
    "plot_sd": "Spread between plots",
    "site_sd": "Spread between sites",
    "whole_plot_sd": "Spread between whole plots",
    "plot_correlation": "Correlation of seedlings of a plot",
    "per_plot_visit": "Per visit of a plot",
    "per_tag_visit": "Per visit of a tagged seedling",
    "per_tag": "Per tagged seedling",
    "plots_per_method": "Plots of each preparation",
    "unequal_plots": "How unequal plots are",
    "sites.planted": "Day of planting",
    "cannot": "What cannot be done there",
    "which": "Which dry season",
    "earliest_days_before": "Earliest, days before planting",
    "latest_days_before": "Latest, days before planting",
    "in_dry_season": "In the dry season before planting",
    "always": "In every season",
    "breaks_ground": "Breaks the ground",
    "before_ground": "Before any ground is broken",
    "seasons.study": "Folder of the season",
    "since": "Since version",
    "where": "Plots that belong here",
    "gives": "The advice is",
    "rule.seasons": "Seasons",
    "rule.limits": "Intervals",
    "p_adjusted_under": "p, adjusted, under",
    "lower_at_least": "Lower end at least",
    "upper_at_most": "Upper end at most",
    "costs_more": "Costs more than the usual practice",
    "grade_at_least": "Evidence at least",
    "ground.plants_a_year": "Plants in a year",
    "practice.ground": "Kind of ground",
    "practice.says": "What it is",
}  # fmt: skip
#: Keys that hold an amount of money, by the table that they stand in.
_MONEY: Final = {
    "cost": {"per_plant", "low", "high"},
    "costs": {"amount", "low", "high", "worth_low", "worth_high"}
    | {"budget", "per_plot", "per_plot_visit", "per_tag", "per_tag_visit"},
    "lines": {"amount", "low", "high"},
    "infill": {"per_plant"},
}


def called(place: Place, currency: str = "") -> str:
    """Return what a table or a key is called, with its unit.

    Parameters
    ----------
    place
        In the file.
    currency
        Of the file's costs; "" where it tells none.
    """
    names = [part for part in place if isinstance(part, str)]
    table, key = (names[-2] if len(names) > 1 else ""), names[-1]
    label = _CALLED.get(f"{table}.{key}") or _CALLED.get(key)
    if label is None:
        word, _, unit = key.rpartition("_")
        label = f"{word}, in {unit}" if unit in _UNITS else key
        label = capital(label.replace("_", " "))
    return f"{label}, in {currency}" if currency and key in _MONEY.get(table, ()) else label


def in_words(text: str, keys: Collection[str] = ()) -> str:
    """Write what a text refers to, tables and keys of the file, as the form calls it.

    Parameters
    ----------
    text
        Of a model, with tables as the file writes them: ``the currency of [costs]``.
    keys
        Of the same table.
    """
    text = _TABLE.sub(lambda found: f"“{called((found[1],))}”", text)
    return _KEY.sub(lambda found: f"“{called((found[0],))}”" if found[0] in keys else found[0], text)
