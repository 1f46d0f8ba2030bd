"""What was mended by a rule that the study file allows, and how many records each rule touched."""

from __future__ import annotations

from typing import Final, NamedTuple

import pandas as pd

from survivor.settings import Settings

RULE_COLUMNS: Final = ("rule", "what", "records")


class _Rule(NamedTuple):
    rule: str
    what: str
    code: str
    word: str = ""  # of the finding; "": any


def rules_in_force(found: pd.DataFrame, settings: Settings) -> pd.DataFrame:
    """List the rules of the study file that mend or read records, and count what they touched.

    Parameters
    ----------
    found
        One row a finding and record, with record, code and word.
    settings
        The study file; a rule left at its default is not listed.

    Returns
    -------
    DataFrame
        rule (as it stands in the study file), what (it did), records (touched by it).
    """
    rows = []
    for rule in _rules(settings):
        own = found[(found["code"] == rule.code) & ((found["word"] == rule.word) | (rule.word == ""))]
        rows.append((rule.rule, rule.what, int(own["record"].nunique())))
    return pd.DataFrame(rows, columns=list(RULE_COLUMNS))


def _rules(settings: Settings) -> list[_Rule]:
    rules, records = settings.rules, settings.records
    sheets = [*records.sheets, *([records.plots] if records.plots is not None else [])]
    every = (
        (
            rules.count_rises == "mend",
            _Rule('[rules] count_rises = "mend"', "a count raised to a later, higher one", "count-mended"),
        ),
        (
            rules.measured_means_alive,
            _Rule(
                "[rules] measured_means_alive = true",
                "a height without a state taken as alive",
                "measured-alive",
            ),
        ),
        (
            rules.blank == "dead",
            _Rule('[rules] blank = "dead"', "a blank that no sighting follows taken as dead", "blank-dead"),
        ),
        (
            rules.missing == "unknown",
            _Rule('[rules] missing = "unknown"', "a missing plant taken as unknown", "missing-unknown"),
        ),
        (
            rules.tags_alike == "join",
            _Rule('[rules] tags_alike = "join"', "two spellings of a tag taken as one", "tag-joined"),
        ),
        (
            any(sheet.species for sheet in sheets),
            _Rule(
                "[records.sheets.species]", "a spelling of a species read as another", "renamed", "species"
            ),
        ),
        (
            any(method.also for method in settings.methods),
            _Rule("[[methods]] also", "a spelling of a preparation read as its name", "renamed", "method"),
        ),
    )
    return [rule for in_force, rule in every if in_force]
