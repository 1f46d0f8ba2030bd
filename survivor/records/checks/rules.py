"""Rules of the study file that its kind of records does not know."""

from __future__ import annotations

import json
from typing import Final

from survivor.records.checks.study_names import StudyLines
from survivor.settings import Settings

_OF: Final = {
    "tagged": ("missing", "blank", "measured_means_alive", "tagged", "tags_alike"),
    "counts": ("count_rises",),
}
_SEEDLINGS: Final = {"tagged": "tagged seedlings", "counts": "counts"}


def check_rules(settings: Settings, notes: StudyLines) -> None:
    """Find rules for the other kind of records; one that says what holds anyway is not asked about."""
    kind = settings.records.kind
    other = "counts" if kind == "tagged" else "tagged"
    for name in _OF[other]:
        value = getattr(settings.rules, name)
        if value == type(settings.rules).model_fields[name].default:
            continue
        notes.say(
            "rule-without-use",
            ("rules", name),
            f"[rules] {name}",
            json.dumps(value),
            f"a rule for {_SEEDLINGS[other]}, and the records are {_SEEDLINGS[kind]}: it changes nothing",
            "nothing, or take the line out of the study file; if the kind is wrong, correct [records] kind",
        )
