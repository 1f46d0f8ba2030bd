"""Rules of the tests themselves: folders as in the package, helpers in places of their own."""

from __future__ import annotations

import ast
from pathlib import Path

TESTS = Path(__file__).parent
PACKAGE = TESTS.parent / "survivor"
#: Folders that follow no package: what a user imports, and what is measured or published.
OTHER = {"public", "reference", "calibration", "benchmarks"}
#: Tests of no single module: the house, and these.
WHOLE = {"hashes", "house", "licences", "tests"}


def test_folders_and_loose_tests_are_named_as_packages_and_modules():
    folders = {path.name for path in TESTS.iterdir() if path.is_dir() and not path.name.startswith("__")}
    assert {name for name in folders - OTHER if not (PACKAGE / name).is_dir()} == set()
    loose = {path.stem.removeprefix("test_") for path in TESTS.glob("test_*.py")}
    assert {name for name in loose - WHOLE if not (PACKAGE / f"{name}.py").is_file()} == set()


def test_nothing_is_imported_from_a_test_module_or_a_conftest():
    taken = [
        f"{path.relative_to(TESTS)}:{node.lineno}"
        for path in sorted(TESTS.rglob("*.py"))
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("tests")
        if node.module.rpartition(".")[2].startswith(("test_", "conftest"))
    ]
    assert taken == []
