"""The check of the records as one HTML page: worst first, each kind of problem once, with its mend."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

import pandas as pd

from survivor.document.elements import (
    Block,
    Column,
    Link,
    Listing,
    Paragraph,
    Report,
    Section,
    Table,
    Terms,
    table_of,
)
from survivor.document.page import page_of
from survivor.records import Records
from survivor.records.accounts import (
    HEADINGS,
    Kind,
    counted_up,
    kinds_of,
    number_by,
    records_read,
    used_words,
)
from survivor.records.codes import CODES
from survivor.records.words import foreign
from survivor.vocabulary import Severity
from survivor.words import capital, counted, sentence

_MOST_SPOTS: Final = 40  # of one kind; more are read in a workbook
_KEYS: Final = {Severity.STOP: "first", Severity.CHECK: "look", Severity.NOTE: "know"}
_FATES: Final = {
    "used": "used",
    "excluded": "excluded until corrected",
    "listed": "not needed: they tell nothing more",
}


def page_of_check(records: Records, provenance: Mapping[str, str]) -> str:
    """Return the page as text; the same records give the same text.

    Parameters
    ----------
    records
        A study's records as read.
    provenance
        Names and values of what they were read from.
    """
    return page_of(report_of_check(records, provenance))


def report_of_check(records: Records, provenance: Mapping[str, str]) -> Report:
    """Return what the check found as headings, sentences and tables, without markup."""
    problems = [
        _problems(severity, kinds) for severity in HEADINGS if (kinds := kinds_of(records.problems, severity))
    ]
    return Report(
        title=f"Check of the records: {records.settings.study.name}",
        about=(f"{counted(records_read(records.accounts), 'record')} read",),
        answer=Section("answer", "Can these records be used?", _answer(records)),
        sections=(
            *problems,
            _rules(records.rules),
            _accounts(records.accounts),
            _matches(records.matches),
            Section("provenance", "Data and provenance", (Terms(tuple(provenance.items()), code=True),)),
        ),
        subject="check of the records",
        called="check",
        made_from="the files",
    )


def _answer(records: Records) -> tuple[Block, ...]:
    severities = records.problems["severity"].value_counts()
    stops, looks = (int(severities.get(str(s), 0)) for s in (Severity.STOP, Severity.CHECK))
    fates = number_by(records.accounts)
    aside, of_all = int(fates.get("excluded", 0)), used_words(records.accounts)
    if records.nothing is not None:
        lead = f"{sentence(records.nothing.what)} {counted(records_read(records.accounts), 'record')} read"
        lead += f", {counted(stops, 'problem')} to correct first." if stops else "."
    elif stops:
        lead = f"{counted(stops, 'problem')} to correct first. "
        lead += f"{of_all}, and {aside:,} are excluded until then."
    else:
        lead = f"Nothing stops the answer. {of_all}" + (f", and {aside:,} are excluded." if aside else ".")
    blocks: list[Block] = [Paragraph(lead, kind="lead")]
    if looks:
        stated = f"{counted(looks, 'problem')} to look at; what was done is stated."
        blocks.append(Paragraph(stated, see=Link("More", "#look")))
    touched = records.rules[records.rules["records"] > 0]
    if len(touched):
        records_touched = counted(int(touched["records"].sum()), "record")
        told = f"Rules that the study file allows touched {records_touched}."
        blocks.append(Paragraph(told, see=Link("More", "#rules")))
    return tuple(blocks)


def _problems(severity: Severity, kinds: list[Kind]) -> Section:
    heading, _, lead = HEADINGS[severity].partition(": ")
    parts = tuple(
        Section(f"{_KEYS[severity]}-{number}", _heading(kind), _blocks(kind))
        for number, kind in enumerate(kinds, start=1)
    )
    problems = sum(len(kind.spots) for kind in kinds)
    said = f"{counted(problems, 'problem')} of {counted(len(kinds), 'kind')}: {lead}."
    return Section(_KEYS[severity], heading, (Paragraph(said),), parts)


def _heading(kind: Kind) -> str:
    reason = CODES[kind.code].reason if kind.code in CODES else kind.code.replace("-", " ")
    place = f" ({kind.where})" if kind.where else ""
    return capital(reason) + place


def _blocks(kind: Kind) -> tuple[Block, ...]:
    number = len(kind.spots)
    blocks: list[Block] = []
    if kind.what:
        blocks.append(Paragraph(f"{sentence(kind.what)} {counted(number, 'time')}."))
    mends = list(dict.fromkeys(kind.mends))
    if len(mends) == 1:
        blocks.append(Paragraph(sentence(mends[0]), kind="note", label="What to do"))
        blocks.append(Listing(tuple(kind.spots[:_MOST_SPOTS])))
    else:
        rows = tuple(zip(kind.spots[:_MOST_SPOTS], kind.mends[:_MOST_SPOTS], strict=True))
        key = f"{_KEYS[kind.severity]}-{kind.code}-{abs(hash_of(kind))}"
        columns = (Column("where"), Column("what to do"))
        blocks.append(Table(key, "Where, and what to do", columns, rows))
    if number > _MOST_SPOTS:
        more = f"And {number - _MOST_SPOTS:,} more; the workbook marks every one."
        blocks.append(Paragraph(more, kind="small"))
    return tuple(blocks)


def hash_of(kind: Kind) -> int:
    """Return a number that tells the tables of one page apart and is the same every time."""
    return sum((place + 1) * ord(letter) for place, letter in enumerate(kind.where))


def _rules(rules: pd.DataFrame) -> Section:
    heading = "What was corrected by a rule"
    if rules.empty:
        said = "The study file allows no rule that corrects records: nothing was changed."
        return Section("rules", heading, (Paragraph(said),))
    caption = "Rules of the study file, and the records each touched"
    table = table_of("rules-table", caption, ("rule", "what it does", "records"), rules)
    return Section("rules", heading, (table,))


def _accounts(accounts: pd.DataFrame) -> Section:
    counts = counted_up(accounts).groupby(["fate", "reason"], sort=False)["records"].sum().reset_index()
    order = counts.assign(place=counts["fate"].map({fate: n for n, fate in enumerate(_FATES)}))
    order = order.sort_values(["place", "records"], ascending=[True, False], kind="stable")
    shown = order.assign(fate=order["fate"].map(_FATES))[["fate", "reason", "records"]]
    caption = f"What became of the {counted(records_read(accounts), 'record')} read"
    table = table_of("accounts-table", caption, ("fate", "why", "records"), shown)
    return Section("accounts", "Where every record went", (table,))


def _matches(matches: pd.DataFrame) -> Section:
    shown = foreign(matches).astype(str)
    shown["column"] = shown["column"].where(shown["column"] != "", "not used")
    headings = ("file", "sheet", "header or word in it", "taken as", "because")
    table = table_of("matches-table", "Columns and words as understood", headings, shown)
    lead = Paragraph(
        "Correct what is wrong in the study file; survivor check STUDY --write-matches writes these there."
    )
    return Section("matches", "How the sheets were understood", (lead, table))
