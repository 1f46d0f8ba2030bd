"""Sentences as they are shown: names apart, a capital at the beginning, lines kept."""

from __future__ import annotations

from survivor.document.page import lines_of
from survivor.sentences import NEW_LINE, Name, Value, plain_text, runs_of, say

HAD = say(
    "{name} had {more} more than {other}.", name=Name("rip"), more=Value("12", 12.3), other=Name("scalp")
)


def test_a_name_begins_a_sentence_with_a_capital_where_it_has_no_quotation_marks() -> None:
    assert [run.text for run in runs_of(HAD) if run.name] == ["Rip", "scalp"]
    assert plain_text(HAD) == "“rip” had 12 more than “scalp”."


def test_what_follows_a_new_line_is_a_line_of_its_own() -> None:
    lines = lines_of((HAD, HAD, NEW_LINE, HAD))
    assert [plain_text(line) for line in lines] == [plain_text((HAD, HAD)), plain_text(HAD)]
    assert lines_of("one\ntwo") == ["one", "two"]
