"""Example reports of the demo cohorts, and whether they are still those of the code: ``reports/``."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any, Final

from survivor.errors import DemoError

COHORTS: Final = ("tagged", "counts")
KEPT: Final = ("report.html", "report.pdf", "report.xlsx", "summary.txt", "findings.json")
FINDINGS: Final = "findings.json"


def write_examples(datasets: str | Path, out: str | Path) -> list[Path]:
    """Write the report of each demo cohort that is committed as an example.

    Parameters
    ----------
    datasets
        The folder with the demo cohorts, such as ``datasets``.
    out
        Where the reports go, a folder a cohort; other files there are left alone.

    Returns
    -------
    list of Path
        Every file kept: page, document, workbook, summary and findings.

    Raises
    ------
    DemoError
        When a cohort is not there.
    """
    from survivor.report.page import report_forms
    from survivor.study import load

    written = []
    for name in COHORTS:
        study = Path(datasets) / name
        if not study.is_dir():
            raise DemoError(
                f"the demo cohort {name} is not in {datasets}",
                mend="write it first: python -m survivor.demo datasets",
            )
        forms = report_forms(load(study).analysis)
        folder = Path(out) / name
        folder.mkdir(parents=True, exist_ok=True)
        for form in KEPT:
            (folder / form).write_bytes(forms[form])
            written.append(folder / form)
    return written


def stale(example: str | Path, study: str | Path) -> list[str]:
    """Say in what a committed example differs from what would be made now, without making it.

    Looks at what can be told in a second: the version, the seed, the settings and the digest of
    every input.

    Parameters
    ----------
    example
        Folder of the example.
    study
        Folder of its cohort.
    """
    from survivor.study import load

    told = json.loads((Path(example) / FINDINGS).read_text(encoding="utf-8"))["provenance"]
    now = load(study).provenance
    return [
        f"{name}: {told.get(name, 'not there')} in the example, {now.get(name, 'not there')} now"
        for name in dict.fromkeys([*told, *now])
        if told.get(name) != now.get(name)
    ]


def findings_differ(example: str | Path, made: str) -> list[str]:
    """Say in which findings an example differs from findings made now, at printed precision.

    Parameters
    ----------
    example
        Folder of the example.
    made
        Text of ``findings.json`` as made now.
    """
    old = json.loads((Path(example) / FINDINGS).read_text(encoding="utf-8"))
    new = json.loads(made)
    return [
        f"{place}: {before!r} in the example, {after!r} now"
        for place, before, after in _differences(_printed(old), _printed(new), "findings")
    ]


def _printed(value: Any) -> Any:
    """Round numbers as a report prints them: to three figures that count, and a tenth at least."""
    if isinstance(value, bool) or not isinstance(value, int | float | dict | list):
        return value
    if isinstance(value, dict):
        return {key: _printed(part) for key, part in value.items()}
    if isinstance(value, list):
        return [_printed(part) for part in value]
    return round(float(f"{value:.3g}"), 1) if abs(value) < 1000 else float(f"{value:.3g}")


def _differences(old: Any, new: Any, place: str) -> Iterator[tuple[str, Any, Any]]:
    if isinstance(old, dict) and isinstance(new, dict):
        for key in dict.fromkeys([*old, *new]):
            yield from _differences(old.get(key), new.get(key), f"{place}.{key}")
    elif isinstance(old, list) and isinstance(new, list) and len(old) == len(new):
        for number, (before, after) in enumerate(zip(old, new, strict=True)):
            yield from _differences(before, after, f"{place}[{number}]")
    elif old != new:
        yield place, old, new
