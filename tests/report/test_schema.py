"""``findings.json`` against its published schema, checked with jsonschema."""

from __future__ import annotations

import json

import jsonschema
import pytest

from survivor.analysis import Analysis
from survivor.report.summary import as_text, published, schema
from survivor.report.tables import findings_json
from tests.report.making import build


def test_the_published_schema_is_that_of_the_code() -> None:
    assert published() == as_text(schema())


def test_it_is_a_schema() -> None:
    jsonschema.Draft202012Validator.check_schema(json.loads(published()))


def test_the_findings_keep_to_it(analysis: Analysis) -> None:
    for content in (analysis, build("random within blocks")):
        jsonschema.validate(json.loads(findings_json(content)), json.loads(published()))


@pytest.mark.parametrize(
    ("key", "value"), [("grade", "certain"), ("estimate", "many"), ("n_plots", 1.5), ("verdict", "yes")]
)
def test_what_a_finding_cannot_be_is_refused(analysis: Analysis, key: str, value: object) -> None:
    content = json.loads(findings_json(analysis))
    content["findings"][0][key] = value
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate(content, json.loads(published()))
