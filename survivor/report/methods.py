"""Questions these records cannot answer, how the rest was worked out, and under which rules."""

from __future__ import annotations

from dataclasses import replace

import pandas as pd

from survivor.analysis.result import Analysis
from survivor.document.elements import (
    Block,
    Listing,
    Paragraph,
    Section,
    Table,
    Terms,
    numbers,
    table_of,
    words,
    written,
)
from survivor.evidence.grading import rules_table
from survivor.records.accounts import number_by
from survivor.report import english as en
from survivor.report.columns import NOTE, heading
from survivor.vocabulary import Basis
from survivor.words import capital, counted, model_words, number, per_100, plain, sentence


def _measures(basis: Basis) -> tuple[tuple[str, str], ...]:
    """Return what the words of a report mean; its measure is survival of planted or of found."""
    return (
        ("Survival of planted", en.PLANTED_NOT if basis is Basis.FOUND else en.PLANTED),
        *en.MEANINGS,
    )


_LOOKS_AT = {
    "grouped": "whether a plant lived from one visit to the next",
    "cox": "in what order plants were found dead, each site apart",
    "logistic": "whether a plant was alive at the milestone",
    "mixed": "whether a plant lived from one visit to the next, each plot with a level of its own",
}


def cannot(analysis: Analysis) -> Section:
    """Return what these records cannot say."""
    # A question without an answer is in the first section with its reason; here are parts that are missing.
    items = tuple(dict.fromkeys(sentence(text) for text in analysis.cannot))
    elsewhere = _other_sites(analysis)
    always = (elsewhere,) if analysis.works.findings else (elsewhere, en.BUNDLE)
    return Section("cannot", "Questions these records cannot answer", (Listing((*items, *always)),))


def _other_sites(analysis: Analysis) -> str:
    years = analysis.planting_years
    return en.OTHER_SITES.format(seasons="this season" if years.empty else "these seasons")


def workings(analysis: Analysis) -> Section:
    """Return the methods, the rules, and what the words mean."""
    rules, design = analysis.settings.rules, analysis.settings.design
    blocks: list[Block] = []
    if analysis.notes:
        blocks.append(
            Listing(tuple(sentence(note) for note in analysis.notes), label="Choices made in the analysis")
        )
    blocks.append(
        Terms(
            (
                ("Missing plants", "counted as dead" if rules.missing == "dead" else "counted as unknown"),
                ("Blank cells", rules.blank),
                *(en.ALIVE_AGAIN if analysis.settings.records.kind == "tagged" else ()),
                ("A height without a state", "alive" if rules.measured_means_alive else "ignored"),
                (
                    "A count that rises",
                    "corrected" if rules.count_rises == "mend" else "reported, not corrected",
                ),
                ("Allocation of preparations", design.allocation),
                ("Placing of plots", design.plots_placed),
                (
                    "Smallest difference that matters",
                    f"{plain(design.smallest_difference)} {analysis.per_100}",
                ),
                (
                    "Gain in radius that matters",
                    f"{plain(design.radius_gain)} {analysis.per_100} per 10 cm",
                ),
            ),
            label="Rules of this study",
        )
    )
    if not analysis.described.measures.empty:
        blocks.append(_three_measures(analysis.described.measures))
    blocks.append(Terms(_measures(analysis.basis), label="What the words mean"))
    blocks.append(Paragraph(en.FOUR_WORDS))
    headings = ("Rule", "Applies when", "Then the answer is", "What would strengthen it")
    blocks.append(
        replace(table_of("grades", "Strength of evidence: the rules", headings, rules_table()), folded=True)
    )
    blocks.extend(_models(analysis))
    return Section("workings", "Methods", tuple(blocks))


def _three_measures(frame: pd.DataFrame) -> Table:
    fields = (
        words("Measure", "measure", heading),
        numbers("Alive", "alive"),
        numbers("Of", "of"),
        numbers("Alive per 100", "estimate", write=per_100),
        NOTE,
    )
    note = en.PLAIN_COUNTS
    return written("measures", "Different ways of counting survival", frame, fields, note=note)


def _models(analysis: Analysis) -> list[Block]:
    if not analysis.models.by_name:
        return []
    rows = []
    checks: dict[str, None] = {}
    for name, fit in analysis.models.by_name.items():
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
        called = capital(model_words(name))
        for check in map(sentence, fit.noticed):
            checks[en.MODEL_NOTE.format(model=called, check=check)] = None
    frame = pd.DataFrame(rows)
    found: list[Block] = [table_of("models", "Models fitted", list(frame.columns), frame)]
    if checks:
        found.append(Listing(tuple(checks), label="What the models noticed"))
    return found


def provenance(analysis: Analysis) -> Section:
    """Return what the report was made from, so that it can be made again."""
    pairs = tuple((str(name), str(value)) for name, value in analysis.provenance.items())
    blocks: tuple[Block, ...] = (Paragraph(en.PROVENANCE), Terms(pairs, code=True))
    return Section("provenance", "Data and provenance", blocks)


def account(analysis: Analysis) -> Section:
    """Return what became of every record."""
    records = analysis.records
    blocks: tuple[Block, ...] = ()
    if not records.accounts.empty:
        fates = number_by(records.accounts).sort_values(ascending=False, kind="stable")
        total = counted(float(fates.sum()), "record was", "records were")
        parts = "; ".join(f"{number(float(count))} {en.FATES[str(fate)]}" for fate, count in fates.items())
        blocks = (Paragraph(en.ACCOUNT.format(total=total, parts=parts)),)
    return Section("account", "What became of the records", blocks)
