"""What a season takes over from the one that its plan names: rain gauges with their files, and costs."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final

from survivor.planning.planfile import Plan
from survivor.settings import Gauge, Settings, find_study_file, read_settings
from survivor.settings.base import Strict

_NONE: Final = (
    "",
    "# Rain and money: the plan names no past season ([variation] from_study), so nothing is taken over.",
    "# Write [[gauges]], [costs] and the costs of [[methods]] here; the report then answers for them too.",
)


@dataclass(frozen=True)
class Carried:
    """Lines of a study file that come from a past season.

    Attributes
    ----------
    lines
        Gauges, and the costs that all preparations share.
    of_method
        Name of a preparation -> lines on what it costs.
    files
        Files of rain, by the name that the lines give them.
    """

    lines: tuple[str, ...] = _NONE
    of_method: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    files: Mapping[str, bytes] = field(default_factory=dict)


def carried_over(plan: Plan, folder: Path, taken: frozenset[str]) -> Carried:
    """Take gauges and costs over from the past season that a plan names.

    Parameters
    ----------
    plan
        Its sites and preparations: a gauge is kept where it stands for one of them, or for all.
    folder
        What the past season is named relative to.
    taken
        Names of files that a rain file must not have.

    Raises
    ------
    StudyFileError
        When the past season cannot be read.
    """
    if plan.variation.from_study is None:
        return Carried()
    file = find_study_file(folder / plan.variation.from_study)
    past = read_settings(file)
    lines: list[str] = []
    files: dict[str, bytes] = {}
    for gauge in past.gauges:
        lines += _gauge(gauge, plan, file.parent, past.study.outside, taken, files)
    lines += _costs(past)
    whose = {own.name: own for own in past.methods} | {also: own for own in past.methods for also in own.also}
    of_method = {
        method.name: tuple(_values(whose[method.name], ("cost", "costs", "spacing")))
        for method in plan.methods
        if method.name in whose
    }
    if past.costs is not None and (without := [m.name for m in plan.methods if not of_method.get(m.name)]):
        lines += ["# No cost is told for " + ", ".join(without) + ": write costs under its [[methods]]."]
    named = ["", f"# Taken over from {past.study.name}: look it through, prices and gauges may have changed."]
    return Carried((*named, *lines) if lines else _NONE, of_method, files)


def _gauge(
    gauge: Gauge, plan: Plan, home: Path, outside: bool, taken: frozenset[str], files: dict[str, bytes]
) -> Iterator[str]:
    """Write a gauge and take its file along, if it stands for a site of the plan."""
    named = {_folded(site): site for site in (own.name for own in plan.sites)}
    sites = [named[_folded(site)] for site in gauge.sites if _folded(site) in named]
    if gauge.sites and not sites:
        yield f"# The gauge {gauge.name} stood for none of these sites."
        return
    source = (home / gauge.file).resolve()
    if not source.is_file() or not (outside or source.is_relative_to(home.resolve())):
        yield f"# The gauge {gauge.name}: its file, {gauge.file}, was not found beside the past season."
        return
    name = source.name if source.name not in taken else f"rain-{source.name}"
    files[name] = source.read_bytes()
    kept = gauge.model_copy(update={"file": name, "sites": tuple(sites)})
    yield from [
        "",
        "[[gauges]]   # write this season's readings into its file, or name the file that has them",
    ]
    yield from _values(kept, ("name", "file", "sheet", "year", "weekends", "sites", "missing_days"))
    if gauge.columns:
        yield from ["", "[gauges.columns]", *_pairs(gauge.columns)]


def _costs(past: Settings) -> Iterator[str]:
    for name in ("costs", "spacing", "infill"):
        table = getattr(past, name)
        if table is None:
            continue
        yield from [
            "",
            f"[{name}]",
            *_values(table, [word for word in type(table).model_fields if word != "lines"]),
        ]
        if name == "costs":
            for line in table.lines:
                yield from ["", "[[costs.lines]]", *_values(line, type(line).model_fields)]


def _values(model: Strict, words: Any) -> Iterator[str]:
    """Write the keys of a table that are told."""
    told = model.model_dump(exclude_none=True, exclude_defaults=True)
    return _pairs({word: told[word] for word in words if word in told})


def _pairs(table: Mapping[str, Any]) -> Iterator[str]:
    return (f"{word} = {_toml(value)}" for word, value in table.items())


def _toml(value: Any) -> str:
    if isinstance(value, Mapping):
        return "{ " + ", ".join(_pairs(value)) + " }"
    if isinstance(value, list | tuple):
        return "[" + ", ".join(map(_toml, value)) + "]"
    return str(value).lower() if isinstance(value, bool) else json.dumps(value, ensure_ascii=False)


def _folded(name: str) -> str:
    return " ".join(name.casefold().split())
