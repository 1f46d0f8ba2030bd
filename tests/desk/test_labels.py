"""What tables and keys are called in a form: each in words, none twice in a table, none that no file has."""

from collections.abc import Iterator

import pytest
from pydantic import BaseModel

from survivor.desk.forms import Field, Group, form_of
from survivor.desk.labels import _CALLED, called, in_words
from survivor.files.faults import Tables
from survivor.guideline.file import GuidelineFile
from survivor.planning.planfile import Plan
from survivor.settings import Settings

MODELS = [Settings, Plan, GuidelineFile]


def tables(parts: tuple[Field | Group, ...]) -> Iterator[tuple[Field | Group, ...]]:
    yield parts
    for part in parts:
        if isinstance(part, Group):
            yield from tables(part.parts)


def name(part: Field | Group) -> str:
    return part.title if isinstance(part, Group) else part.label


@pytest.mark.parametrize("model", MODELS)
def test_a_form_speaks_of_no_table_and_no_key(model: type[BaseModel]):
    for parts in tables(form_of(model, {}, without=frozenset({"records"}))):
        names = [name(part) for part in parts]
        assert len(set(names)) == len(names), names
        for part in parts:
            assert "_" not in name(part)
            assert "[" not in name(part) + part.hint.replace('["', "")
            assert part.hint.casefold() != name(part).casefold()


def test_no_name_is_of_a_key_that_no_file_has():
    there: set[str] = set()
    for model in MODELS:
        for path, table in Tables(model).models.items():
            for key in table.model_fields:
                there |= {key, f"{path[-1] if path else ''}.{key}"}
    assert {name for name in _CALLED if name not in there} == set()


def test_money_has_its_unit():
    assert called(("methods", 0, "cost", "per_plant"), "dollars") == "Per plant, in dollars"
    assert called(("infill", "low"), "dollars") == "Low end"  # of money or of a multiple
    assert called(("costs", "budget")) == "Budget"
    assert called(("soil", "root_depth_m"), "dollars") == "Root depth, in m"


def test_a_reference_to_a_table_or_key_is_in_words():
    assert in_words("in the currency of [costs]") == "in the currency of “Costs”"
    assert in_words("this or times_first; rain_mm", {"times_first"}) == (
        "this or “Times the cost of a first plant”; rain_mm"
    )


def test_a_value_that_holds_without_an_answer_is_named_as_its_choice():
    (rules,) = (part for part in form_of(Settings, {}) if isinstance(part, Group) and part.name == "rules")
    defaults = {part.name: part.default for part in rules.parts if isinstance(part, Field)}
    assert defaults["rules.measured_means_alive"] == "no"
    assert defaults["rules.missing"] == "dead"
