"""A guideline file to strict models, every fault named with its line, value and mend."""

from __future__ import annotations

import datetime as dt
import json
import tomllib
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from survivor.errors import GuidelineError
from survivor.guideline.file import GuidelineFile
from survivor.settings.filekinds import another_kind
from survivor.settings.lines import Place, key_lines, line_of
from survivor.settings.nearest import nearest


def read_guideline(path: str | Path) -> GuidelineFile:
    """Read a guideline file.

    Raises
    ------
    GuidelineError
        When there is no such file, it is not TOML or of another kind, or a key or value in it is not known;
        every fault is listed with its line, key, value and the mend.
    """
    file = Path(path)
    if not file.is_file():
        raise GuidelineError(
            "no guideline file here",
            where=str(path),
            mend="name a guideline file; `survivor demo DIR` writes one to start from, "
            "DIR/seasons/guideline.toml",
        )
    try:
        text = file.read_text(encoding="utf-8-sig")
        raw = tomllib.loads(text)
    except UnicodeDecodeError as error:
        raise GuidelineError(
            "the guideline file is not text in UTF-8", where=file.name, mend="save it again as UTF-8 text"
        ) from error
    except tomllib.TOMLDecodeError as error:
        raise GuidelineError(
            f"the guideline file cannot be read as TOML: {error}",
            where=file.name,
            mend='look in that line for a missing quotation mark, bracket or "=" sign, or a key given twice',
        ) from error
    if (other := another_kind(raw, "guideline")) is not None:
        raise GuidelineError(other[0], where=file.name, mend=other[1])
    try:
        # Through JSON mode so that TOML arrays become the tuples of the frozen models.
        return GuidelineFile.model_validate_json(json.dumps(raw, default=_iso))
    except ValidationError as error:
        said = _faults(error, key_lines(text))
        lead = "1 fault" if len(said) == 1 else f"{len(said)} faults"
        raise GuidelineError(
            f"{lead} in the guideline file:\n  " + "\n  ".join(said),
            where=file.name,
            mend="correct what is named above; the demo's guideline.toml explains every key",
        ) from error


def _iso(value: object) -> str:
    if isinstance(value, dt.date | dt.datetime | dt.time):
        return value.isoformat()
    raise TypeError(f"{value!r} has no place in a guideline file")


def _faults(error: ValidationError, lines: dict[Place, int]) -> list[str]:
    found = []
    misspelt: set[Place] = set()
    needed: list[tuple[Place, int, str]] = []
    for fault in error.errors(include_url=False):
        place: Place = tuple(fault["loc"])
        name = ".".join(str(part + 1) if isinstance(part, int) else part for part in place)
        line = line_of(place, lines)
        at = f"line {line}: " if line else ""
        if fault["type"] == "extra_forbidden":
            guess = nearest(str(place[-1]), _keys(place[:-1]))
            misspelt.add((*place[:-1], guess or ""))
            maybe = f"; did you mean {guess}?" if guess else ""
            found.append(
                (line or 0, f"{at}{name} = {fault['input']!r} is not a key that survivor knows{maybe}")
            )
        elif fault["type"] == "missing":
            needed.append((place, line or 0, f"{at}{name} is needed and is not there"))
        else:
            text = fault["msg"].removeprefix("Value error, ")
            given = "" if fault["type"] == "value_error" else f", not {fault['input']!r}"
            found.append((line or 0, f"{at}{name + ': ' if name else ''}{text}{given}"))
    # A key that is there under a slip of the pen is one fault, not two.
    found += [(line, text) for place, line, text in needed if place not in misspelt]
    return [text for _, text in sorted(found, key=lambda pair: pair[0])]


def _keys(place: Place) -> list[str]:
    model: Any = GuidelineFile
    for part in place:
        if isinstance(part, int):
            continue
        field = model.model_fields.get(part)
        if field is None:
            return []
        inner = getattr(field.annotation, "__args__", (field.annotation,))[0]
        model = inner
        if not hasattr(model, "model_fields"):
            return []
    return list(model.model_fields)
