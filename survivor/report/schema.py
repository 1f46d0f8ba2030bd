"""The shape of ``findings.json``, published so that other programs can rely on it."""

from __future__ import annotations

import json
from importlib.resources import files
from typing import Any, Final

from pydantic import BaseModel, ConfigDict, Field, TypeAdapter

from survivor.evidence import Finding
from survivor.report.tables import VERSION

SCHEMA: Final = "findings.schema.json"


class FindingsFile(BaseModel):
    """Everything that ``findings.json`` holds."""

    model_config = ConfigDict(extra="forbid", title="Findings of an establishment survival season")

    format: str = Field(description="Version of this file's shape.", pattern=rf"^{VERSION}$")
    study: str = Field(description="Name of the study.")
    milestone: str = Field(description="Name of the milestone that the first screen answers for.")
    at_day: float | None = Field(description="Days since planting that the answers are for.")
    allocation: str = Field(description="How plots got their preparation.")
    findings: list[Finding] = Field(description="The answers, the headline first; limits are two-sided 95 %.")
    cannot: list[str] = Field(description="What cannot be said, and why.")
    notes: list[str] = Field(description="What was decided on the way.")
    provenance: dict[str, str] = Field(description="Version, seed, and digests of settings and files.")


def schema() -> dict[str, Any]:
    """Return the JSON Schema (draft 2020-12) of ``findings.json``."""
    found = TypeAdapter(FindingsFile).json_schema()
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", **found}


def published() -> str:
    """Return the schema as it is published with the package."""
    return files("survivor.report").joinpath(SCHEMA).read_text(encoding="utf-8")


def as_text(found: dict[str, Any]) -> str:
    """Write a schema as the published file has it."""
    return json.dumps(found, indent=2, ensure_ascii=False) + "\n"
