"""What cannot be said, how the rest was worked out, and under which rules."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import pandas as pd

from survivor.analysis.reasons import plain_terms
from survivor.evidence.grading import rules_table
from survivor.figures.words import number, per_100
from survivor.report.content.elements import Block, Column, Listing, Paragraph, Section, Table, Terms
from survivor.report.content.wording import counted, model_words, plain, sentence, shortened, table_of

if TYPE_CHECKING:
    from survivor.analysis.result import Analysis

_MEASURES = (
    (
        "Survival of planted",
        "alive, of all that were planted: the measure of this report unless it says otherwise",
    ),
    (
        "Survival of found",
        "alive, of alive and dead plants seen; too high, as dead plants disappear and are not counted",
    ),
    ("Stocking", "live stems on a hectare, infill counted apart"),
    (
        "95 % limits",
        "the range that the records fit; were the season monitored again and again, 95 such ranges of 100 "
        "would hold "
        "the truth",
    ),
    (
        "Not shown; too little data to tell",
        "the limits hold both nought and differences worth having, or leave nought out for the one "
        "comparison but not once the number of comparisons is allowed for; it never means no difference",
    ),
    (
        "Missing",
        "position found, plant gone; counted as dead at that visit unless the study file says unknown",
    ),
    ("Not found", "position or tag not found; unknown from the last sighting on, never dead by default"),
    (
        "Infill",
        "a new plant with its own planting date; it never takes over the survival of the plant it replaced",
    ),
)


_ALWAYS = (
    "What would have been seen at other sites or in another season: limits are for these sites and this "
    "season.",
    "Which part of a preparation a difference belongs to: a preparation is a bundle of works, and its "
    "parts were "
    "not tried apart.",
)

_LOOKS_AT = {
    "grouped": "whether a plant lived from one visit to the next",
    "cox": "in what order plants were found dead, each site apart",
    "logistic": "whether a plant was alive at the milestone",
    "mixed": "whether a plant lived from one visit to the next, each plot with a level of its own",
}


def cannot(analysis: Analysis) -> Section:
    """Return what these records cannot say."""
    said = [*analysis.cannot, *(f.answer for f in analysis.findings if f.grade == "unanswered")]
    items = dict.fromkeys(sentence(text) for text in said)
    # A reason may hold another word for word: the longer one is enough.
    kept = [text for text in items if not any(text != other and text in other for other in items)]
    return Section("cannot", "What cannot be said", (Listing((*kept, *_ALWAYS)),))


def workings(analysis: Analysis) -> Section:
    """Return the methods, the rules, and what the words mean."""
    rules, design = analysis.settings.rules, analysis.settings.design
    blocks: list[Block] = []
    if analysis.notes:
        blocks.append(
            Listing(tuple(sentence(note) for note in analysis.notes), label="What was decided on the way")
        )
    blocks.append(
        Terms(
            (
                ("Missing plants", "counted as dead" if rules.missing == "dead" else "counted as unknown"),
                ("Blank cells", rules.blank),
                ("A height without a state", "alive" if rules.measured_means_alive else "tells nothing"),
                ("A count that rises", "mended" if rules.count_rises == "mend" else "reported, not mended"),
                ("Allocation of preparations", design.allocation),
                ("Placing of plots", design.plots_placed),
                ("Smallest difference worth having", f"{plain(design.smallest_difference)} per 100 planted"),
                ("Gain in radius worth having", f"{plain(design.radius_gain)} per 100 planted per 10 cm"),
            ),
            label="Rules of this study",
        )
    )
    if not analysis.measures.empty:
        blocks.append(_three_measures(analysis.measures))
    blocks.append(Terms(_MEASURES, label="What the words mean"))
    blocks.append(
        Paragraph(
            "How sure an answer is has one of four words: firm, fair, slight, unanswered. An answer "
            "starts as firm "
            "and is held back by each rule below that holds for it."
        )
    )
    headings = ("Rule", "Holds when", "Then the answer is", "What would lift it")
    blocks.append(replace(table_of("grades", "How sure: the rule", headings, rules_table()), folded=True))
    blocks.extend(_models(analysis))
    return Section("workings", "How this was worked out", tuple(blocks))


def _three_measures(frame: pd.DataFrame) -> Table:
    columns = (
        Column("Measure"),
        Column("Alive", numeric=True),
        Column("Of", numeric=True),
        Column("Alive per 100", numeric=True),
        Column("Note"),
    )
    rows = tuple(
        (
            sentence(str(row["measure"])).rstrip("."),
            number(float(row["alive"])),
            number(float(row["of"])),
            per_100(float(row["estimate"])),
            sentence(str(row["note"])),
        )
        for row in frame.to_dict("records")
    )
    note = "Plain counts at the milestone, not averaged over sites and species as the answer is."
    return Table("measures", "Measures that are not the same", columns, rows, note=note)


def _models(analysis: Analysis) -> list[Block]:
    if not analysis.fits:
        return []
    rows = []
    checks: dict[str, None] = {}
    for name, fit in analysis.fits.items():
        rows.append(
            {
                "Model": model_words(name),
                "Looks at": _LOOKS_AT.get(name, "–"),
                "Terms": fit.formula,
                "Limits from": fit.variance,
                "Seedlings": fit.n_seedlings,
                "Died": fit.n_died,
                "Plots": fit.n_plots,
                "Sites": fit.n_sites,
            }
        )
        said = (sentence(plain_terms(check)) for check in fit.checks)
        checks.update(dict.fromkeys(f"{model_words(name)}: {check}" for check in said))
    frame = pd.DataFrame(rows)
    found: list[Block] = [table_of("models", "Models fitted", list(frame.columns), frame)]
    if checks:
        found.append(Listing(tuple(checks), label="What the models noticed"))
    return found


def provenance(analysis: Analysis) -> Section:
    """Return what the report was made from, so that it can be made again."""
    text = (
        "The same records, study file, seed and version give the same report. "
        "A digest names the exact content of a file."
    )
    pairs = tuple((str(name), str(value)) for name, value in analysis.provenance.items())
    blocks: tuple[Block, ...] = (Paragraph(text), Terms(pairs, code=True))
    return Section("provenance", "Where this comes from", blocks)


def problems(analysis: Analysis) -> Section:
    """Return what became of every record, and what was wrong in them."""
    records = analysis.records
    blocks: list[Block] = []
    if not records.accounts.empty:
        fates = records.accounts["fate"].astype(str).value_counts()
        total = counted(float(fates.sum()), "record was", "records were")
        parts = "; ".join(f"{number(float(count))} {fate}" for fate, count in fates.items())
        blocks.append(
            Paragraph(f"{total} read: {parts}. Every one is accounted for in the table accounts.csv.")
        )
    if records.problems.empty:
        blocks.append(Paragraph("No problem was found in the records."))
    else:
        blocks.append(_problem_table(analysis))
    if not records.matches.empty:
        blocks.append(_matches(analysis))
    return Section("problems", "Problems in the records", tuple(blocks))


def _problem_table(analysis: Analysis) -> Table:
    frame = analysis.records.problems
    order = {"stop": 0, "check": 1, "note": 2}
    counts = (
        frame.assign(severity=frame["severity"].astype(str))
        .groupby(["severity", "code"], sort=False, as_index=False)
        .agg(count=("what", "size"), what=("what", "first"), mend=("mend", "first"))
    )
    counts = counts.assign(rank=counts["severity"].map(order).fillna(3)).sort_values(
        ["rank", "count"], ascending=[True, False], kind="stable"
    )
    shown = counts[["severity", "count", "what", "mend"]].assign(
        what=counts["what"].map(sentence), mend=counts["mend"].map(sentence)
    )
    note = (
        "One row a kind of problem, with its first case. stop: the record cannot be used; check: used or "
        "set aside by "
        "a stated rule, a person should look; note: worth knowing. Every case, with file and row, is in "
        "problems.csv."
    )
    headings = ["Weight", "Cases", "First case", "What to do"]
    return table_of("problems-table", "Problems by kind", headings, shown, note)


def _matches(analysis: Analysis) -> Table:
    frame = analysis.records.matches
    names = [name for name in ("file", "sheet", "header", "column", "how") if name in frame]
    if "sheet" in names and not frame["sheet"].astype(str).str.strip().any():
        names.remove("sheet")
    words = {
        "file": "File",
        "sheet": "Sheet",
        "header": "Header",
        "column": "Read as",
        "how": "How it was matched",
    }
    table = table_of("matches", "How the headers were read", [words[n] for n in names], frame[names])
    return replace(shortened(table, "matches.csv"), folded=True)
