"""Who and how many: plants from planted to analysed, who did it and paid for it, and the dates."""

from __future__ import annotations

import math
from dataclasses import replace

import pandas as pd

from survivor.analysis.result import Analysis
from survivor.document.elements import Block, Paragraph, Section, Terms, numbers, words, written
from survivor.records.accounts import number_by, records_read
from survivor.report.pages import english as en
from survivor.report.pages.answer import in_annex
from survivor.report.pages.values import joined
from survivor.report.questions import to_look_at
from survivor.sentences import Sentence, Value, say
from survivor.vocabulary import Basis
from survivor.words import counted, date, number

_TOTAL = "all"
_COUNTS = ("planted", "watched", "alive", "dead", "missing", "unknown")


def how_many(analysis: Analysis) -> Section:
    """Return plants of each preparation from planted to analysed, and what became of the records."""
    observed, more = analysis.survival.observed, in_annex(en.RECORDS_MORE, "account")
    if observed.empty:
        return Section("flow", en.WHO, (Paragraph(en.NOTHING_OBSERVED),))
    sums = {name: float(observed[name].astype(float).sum(skipna=False)) for name in _COUNTS}
    total = pd.DataFrame([{"method": _TOTAL, **sums}])
    frame = pd.concat([observed[["method", *_COUNTS]], total], ignore_index=True)
    planted = math.isfinite(sums["planted"]) and analysis.basis is Basis.PLANTED
    fields = [
        words(en.PREPARATION, "method"),
        *([numbers(en.PLANTED_IN, "planted")] if planted else []),
        numbers(en.ANALYSED, "watched"),
        numbers(en.ALIVE, "alive"),
        numbers(en.DEAD, "dead"),
        numbers(en.MISSING, "missing"),
        numbers(en.UNKNOWN, "unknown"),
    ]
    table = replace(
        written("flow-table", en.FLOW_CAPTION, frame, fields), note=_words(analysis, sums, planted)
    )
    return Section("flow", en.WHO, (table, Paragraph(_records(analysis), see=more)))


def _words(analysis: Analysis, sums: dict[str, float], planted: bool) -> tuple[Sentence, ...]:
    unseen, gone = sums["planted"] - sums["watched"], sums["missing"]
    dead = analysis.settings.rules.missing == "dead"
    return joined(
        say(en.NOT_SEEN, number=_whole(unseen)) if planted and unseen > 0 else None,
        say(en.MISSING_DEAD if dead else en.MISSING_UNKNOWN, number=_whole(gone)) if gone > 0 else None,
        say(en.UNKNOWN_WHAT) if sums["unknown"] > 0 else None,
    )


def _whole(value: float) -> Value:
    return Value(number(value), value)


def _records(analysis: Analysis) -> tuple[Sentence, ...]:
    accounts = analysis.records.accounts
    used = float(number_by(accounts).get("used", 0)) if not accounts.empty else 0.0
    looks, read = float(to_look_at(analysis.records)), float(records_read(accounts))
    return joined(
        say(en.RECORDS, read=Value(counted(read, "record"), read), used=_whole(used)) if read else None,
        say(en.PROBLEMS, number=Value(counted(looks, "problem"), looks)) if looks else None,
    )


def about(analysis: Analysis) -> Section:
    """Return who did it, who paid, whom to ask, and the dates."""
    given, study = analysis.settings.report, analysis.settings.study
    visits = analysis.records.visits.get("date")
    last = visits.max() if visits is not None and visits.notna().any() else None
    closed = "" if study.as_of is None else date(study.as_of)
    pairs = (
        (en.DONE_BY, given.done_by),
        (en.FUNDED_BY, given.funded_by),
        (en.CONTACT, given.contact),
        (en.INTERESTS, given.interests),
        (en.LAST_VISIT, "" if last is None else date(last)),
        (en.CLOSED, closed),
        (en.WRITTEN, "" if given.date is None else date(given.date)),
    )
    told = tuple((word, text or en.NOT_REPORTED) for word, text in pairs)
    blocks: list[Block] = [Terms(told)]
    if study.note:
        blocks.append(Paragraph(study.note, kind="small"))
    return Section("about", en.ABOUT, tuple(blocks))
