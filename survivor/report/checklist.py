"""What a report of a comparison owes its readers, item by item, with where each stands.

The items are those of the CONSORT 2010 statement and its extension to cluster trials (Schulz and others
2010, Campbell and others 2012) where plots were allocated at random, and of the STROBE statement (von Elm
and others 2007) where they were not, as far as they apply to plants in plots.
"""

from __future__ import annotations

from typing import Final

from survivor.analysis.milestone import milestone_words
from survivor.analysis.result import Analysis
from survivor.document.elements import Column, Paragraph, Section, Table
from survivor.report.pages.english import NOT_REPORTED
from survivor.report.reasons import is_random
from survivor.vocabulary import PLOT_KEY
from survivor.words import capital, counted, date, full_stop, number, plain

KEY: Final = "checklist"
HEADING: Final = "What a report of a comparison owes"
_REPORT, _HERE = "report", "this annex"
_CONTACT: Final = "Contact"  # an address stands as it is written


def checklist(analysis: Analysis) -> Section:
    """Return the items with where each stands; one that nobody told is printed as not reported."""
    rows = tuple(
        (item, told if item == _CONTACT and told else capital(full_stop(told) if told else NOT_REPORTED))
        for item, told in _items(analysis)
    )
    statement = "CONSORT 2010 with its extension to cluster trials" if is_random(analysis) else "STROBE"
    text = (
        f"Items follow {statement}, as far as they apply to plants in plots. Those not given can be added "
        "under [report] in the study file."
    )
    table = Table(
        "checklist-table",
        "Items and where they stand",
        (Column("Item"), Column("Where, or what was reported")),
        rows,
    )
    return Section(KEY, HEADING, (Paragraph(text), table))


def _items(analysis: Analysis) -> tuple[tuple[str, str], ...]:
    given, design, rules = analysis.settings.report, analysis.settings.design, analysis.settings.rules
    plots, target = analysis.records.plots, analysis.settings.target
    n_plots = len(plots[list(PLOT_KEY)].drop_duplicates())
    blocks = len(plots[["site", "block"]].drop_duplicates()) if "block" in plots else 0
    closed = analysis.settings.study.as_of
    milestone = analysis.settings.headline_milestone
    sections = {
        "done": f"{_REPORT}, “What was done”",
        "works": f"{_HERE}, “What was planted, and how it was prepared”",
        "flow": f"{_REPORT}, “Who and how many”",
        "workings": f"{_HERE}, “Methods”",
    }
    allocated = {
        "random within blocks": f"at random within {counted(blocks, 'block')}"
        if blocks
        else "at random within blocks",
        "by choice": "chosen for each place",
    }.get(design.allocation, "")
    always = (
        ("Design, named in the summary", sections["done"]),
        (
            "Question and smallest difference that matters",
            f"{_REPORT}, first page; {plain(design.smallest_difference)} {analysis.per_100}",
        ),
        ("Preparations, with their works", sections["works"]),
        (
            "Outcome and day of measuring",
            f"alive at {milestone_words(milestone, analysis.milestone_day)}; the milestone is "
            f"{number(milestone.day)} days after planting, by visits within {number(milestone.window_days)} "
            "days",
        ),
        (
            "Target set beforehand",
            f"{plain(target.survival_per_100)} {analysis.per_100} at {target.milestone}" if target else "",
        ),
        (
            "Unit of allocation and of analysis",
            f"the plot ({number(n_plots)}); intervals go by plot, not by seedling",
        ),
        ("Why so many plots", given.sample_size),
        ("Decided before the records were seen", given.decided_before),
        (
            "How preparations were allocated",
            "; ".join(part for part in (allocated, given.allocation.strip().rstrip(".")) if part),
        ),
        ("Departures from the allocation", given.departures),
        (
            "How plots were placed",
            {"random": "at random", "by choice": "by choice"}.get(design.plots_placed, ""),
        ),
        ("Whether observers knew the preparation", given.observers),
        ("Flow from planted to analysed", sections["flow"]),
        (
            "Missing plants",
            f"counted as {'dead' if rules.missing == 'dead' else 'unknown'}; the other rule: “Other rules "
            "for missing and unknown plants”",
        ),
        (
            "Ground and other traits of plots, by preparation",
            f"{_HERE}, “Could the ground explain the difference?”",
        ),
        ("Estimates with 95 % confidence intervals", f"{_REPORT}, “Each preparation”; {_HERE}, every table"),
        ("Models and number of comparisons allowed for", sections["workings"]),
        ("Sensitivity analyses", f"{_HERE}, appendix"),
        ("Limits of what may be concluded", f"{_REPORT}, “What this does not say”"),
        ("Harms and cautions", f"{_HERE}, “Cautions”"),
    )
    chosen = (
        ()
        if is_random(analysis)
        else (
            ("Why each preparation was chosen where it was", design.reason_for_choice),
            (
                "What else could explain a difference",
                f"{_HERE}, “Could the ground explain the difference?”, and how strong an unrecorded one must "
                "be",
            ),
        )
    )
    people = (
        ("Who did it", given.done_by),
        ("Funding", given.funded_by),
        ("Interests", given.interests),
        (_CONTACT, given.contact.strip()),
        ("Day the records were closed", "" if closed is None else date(closed)),
        ("Day of the report", "" if given.date is None else date(given.date)),
        ("Terms of re-use", given.licence),
    )
    return (*always, *chosen, *people)
