"""The map of DEVELOPERS.md, subject to rooms, made from the names in the code.

``python -m tests.house_map`` writes it anew.
"""

from __future__ import annotations

import ast
import re
from collections.abc import Sequence
from functools import cache
from pathlib import Path

ROOT = Path(__file__).parent.parent
BEGIN, END = "<!-- map: begin -->\n", "<!-- map: end -->"

# Subject, and what its names are in the code: a room is a module whose own name is so, or which has a
# function or class that others may use whose name is so.
SUBJECTS = {
    "heights": r"heights?",
    "weed-free patch over time": r"patch",
    "causes of death": r"causes|causes_of_death",
    "planting years": r"planting_years|years",
    "confounding": r"confounding|layout_of_methods|within_between",
    "randomisation": r"randomisation|permutation_test|is_random",
    "radius": r"radius|dose|radius_by_method",
    "where more stops paying": r"plateau|stops_paying",
    "cost of an established plant": r"payoff",
    "break-even and best value": r"breakeven|break_even|best_value",
    "infill and orders": r"infill|infill_order|orders|stems_needed|stocking",
    "rain": r"rain|rainfall|gauge|cumulative_figure",
    "soil water": r"soil_water|moisture|soil|balance|water_figure",
    "dry season": r"dry_season|windows|dryness|dry_seasons",
    "rules for missing plants": r"rules|robustness",
    "prediction for similar sites": r"prediction|like_sites",
    "sensitivity to what was not measured": r"sensitivity",
    "limits": r"limits",
    "strength of evidence": r"grading|grade",
    "works": r"works|diary|works_of|plot_works|works_tables",
    "privacy": r"privacy",
}


@cache
def tree_of(path: Path) -> ast.Module:
    """Parse a module; each is read once."""
    return ast.parse(path.read_text(encoding="utf-8"))


@cache
def nodes_of(path: Path) -> tuple[ast.AST, ...]:
    """Every node of a module, outer ones first."""
    return tuple(ast.walk(tree_of(path)))


def modules() -> list[Path]:
    """Every module of the package."""
    return sorted((ROOT / "survivor").rglob("*.py"))


def table() -> str:
    """Write the map as a table of Markdown."""
    lines = ["| subject | rooms |", "|---|---|"]
    for subject, words in SUBJECTS.items():
        pattern = re.compile(rf"(draw_|check_)?({words})(_figure|_finding|_section)?")
        rooms = [path for path in modules() if pattern.fullmatch(path.stem) or _has(path, pattern)]
        names = [str(path.relative_to(ROOT / "survivor").with_suffix("")) for path in rooms]
        lines.append(f"| {subject} | {', '.join(f'`{name}`' for name in names)} |")
    return "\n".join(lines) + "\n"


def _has(path: Path, pattern: re.Pattern[str]) -> bool:
    return any(pattern.fullmatch(name) for name in _public(path))


@cache
def _public(path: Path) -> list[str]:
    body = tree_of(path).body
    names = [node.name for node in body if isinstance(node, ast.FunctionDef | ast.ClassDef)]
    return [re.sub(r"(?<=[a-z])(?=[A-Z])", "_", name).lower() for name in names if not name.startswith("_")]


def answers() -> list[tuple[str, str, str]]:
    """Read the questions of DEVELOPERS.md that are answered with a path and a name."""
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    return re.findall(r"^- (.+?)\? `(survivor/[\w/]+\.py)`, `(\w+)`", text, flags=re.MULTILINE)


def imports(paths: Sequence[Path]) -> dict[str, set[str]]:
    """Return what each module imports of the package, also inside functions and for types alone."""
    names = {".".join(path.relative_to(ROOT).with_suffix("").parts): path for path in paths}
    names = {name.removesuffix(".__init__"): path for name, path in names.items()}
    needs = {}
    for name, path in names.items():
        needs[name] = {
            full if (full := f"{node.module}.{alias.name}") in names else str(node.module)
            for node in nodes_of(path)
            if isinstance(node, ast.ImportFrom)
            for alias in node.names
        } & names.keys() - {name}
    return needs


def main() -> None:
    """Write the map into DEVELOPERS.md."""
    path = ROOT / "DEVELOPERS.md"
    text = path.read_text(encoding="utf-8")
    before, rest = text.split(BEGIN, 1)
    path.write_text(f"{before}{BEGIN}{table()}{END}{rest.split(END, 1)[1]}", encoding="utf-8")


if __name__ == "__main__":
    main()
