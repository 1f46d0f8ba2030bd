"""``findings.json`` against its published schema, checked with jsonschema."""

from __future__ import annotations

import json

import jsonschema
import pytest
from pydantic import BaseModel, ConfigDict, Field, TypeAdapter

from survivor.analysis import Analysis
from survivor.evidence.finding import Finding
from survivor.report.summary import published
from survivor.report.tables import VERSION, findings_json
from tests.report.making import build


class FindingsFile(BaseModel):
    """Everything that ``findings.json`` holds."""

    model_config = ConfigDict(extra="forbid", title="Findings of an establishment survival season")

    format: str = Field(description="Version of this file's shape.", pattern=rf"^{VERSION}$")
    study: str = Field(description="Name of the study.")
    milestone: str = Field(description="Name of the milestone that the first screen answers for.")
    at_day: float | None = Field(description="Days since planting that the answers are for.")
    allocation: str = Field(description="How plots got their preparation.")
    findings: list[Finding] = Field(description="The answers, the headline first; limits are two-sided 95 %.")
    cannot: list[str] = Field(description="Questions these records cannot answer, and why.")
    notes: list[str] = Field(description="Choices made in the analysis.")
    provenance: dict[str, str] = Field(description="Version, seed, and digests of settings and files.")


def test_the_published_schema_is_that_of_the_code() -> None:
    found = TypeAdapter(FindingsFile).json_schema()
    told = {"$schema": "https://json-schema.org/draft/2020-12/schema", **found}
    assert published() == json.dumps(told, indent=2, ensure_ascii=False) + "\n"


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
