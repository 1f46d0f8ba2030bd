"""All questions asked, with their answers; how much the answers rest on; what became of the records."""

from __future__ import annotations

import pandas as pd

from survivor.analysis.result import Analysis
from survivor.document.elements import Paragraph, Section, Terms
from survivor.evidence.finding import Finding, as_sentences
from survivor.evidence.words import Counts
from survivor.records import Records
from survivor.records.accounts import number_by
from survivor.report import english as en
from survivor.sentences import NEW_LINE, Sentence, Value, say
from survivor.vocabulary import Basis
from survivor.words import counted, listed, number, plain

KEY = "questions"


def questions(analysis: Analysis) -> Section:
    """Return every question asked, with its answer, its strength and what would strengthen it."""
    heading = en.QUESTIONS
    if not analysis.findings:
        return Section(KEY, heading, (Paragraph(en.NO_QUESTION),))
    smallest = analysis.settings.design.smallest_difference
    lead = (
        say(en.GRADES),
        say(en.SMALLEST, smallest=Value(plain(smallest), smallest), per=analysis.per_100),
    )
    return Section(KEY, heading, (Paragraph(lead), Terms(tuple(map(_question, analysis.findings)))))


def _question(finding: Finding) -> tuple[str, tuple[Sentence, ...]]:
    """Return a question, and under it the answer and a second line on its strength."""
    said = [*as_sentences(finding.text), NEW_LINE, say(en.EVIDENCE, strength=finding.strength)]
    if finding.n_seedlings:
        rests = Counts(finding.n_seedlings, finding.n_plots, finding.n_sites)
        said.append(say(en.RESTS_ON, counts=str(rests)))
    said += [
        say(en.STRENGTHEN_TOO if place else en.STRENGTHEN, what=what)
        for place, what in enumerate(finding.raise_it)
    ]
    return finding.question, tuple(said)


def extent(analysis: Analysis) -> str:
    """Return how many seedlings, plots and sites the answers rest on."""
    plots = analysis.records.plots
    n_plots = len(plots[["site", "block", "plot"]].drop_duplicates())
    planted = plots["planted"] if "planted" in plots else pd.Series(dtype=float)
    watched = (
        float(analysis.survival.observed["watched"].sum()) if not analysis.survival.observed.empty else 0.0
    )
    if analysis.basis is Basis.FOUND:
        seedlings = counted(watched, "seedling", "seedlings") + " found at the first visit"
    elif len(planted) and planted.notna().all():
        seedlings = counted(float(planted.sum()), "seedling planted", "seedlings planted")
    else:
        seedlings = counted(watched, "seedling", "seedlings") + " watched"
    return ", ".join([seedlings, counted(n_plots, "plot"), counted(plots["site"].nunique(), "site")])


def to_look_at(records: Records) -> int:
    """Count the problems in the records that a person has to look at."""
    weights = records.problems.get("severity", pd.Series(dtype=str)).astype(str)
    return int(weights.isin(["stop", "check"]).sum())


def records_words(records: Records) -> str:
    """Say in a sentence what became of the records: read, used, not used, excluded; problems by weight."""
    parts = []
    if not records.accounts.empty:
        fates = number_by(records.accounts)
        total = counted(float(fates.sum()), "record was", "records were")
        told = [f"{number(float(count))} {en.FATES[str(fate)]}" for fate, count in fates.items()]
        parts.append(f"{total} read: {listed(told)}.")
    if not records.problems.empty:
        weights = records.problems["severity"].astype(str).value_counts()
        words = {"stop": "to correct first", "check": "to look at", "note": "worth knowing"}
        told = [f"{number(float(weights[name]))} {text}" for name, text in words.items() if name in weights]
        total = counted(float(len(records.problems)), "problem was", "problems were")
        parts.append(f"{total} found: {listed(told)}.")
    return " ".join(parts)
