"""Rules of the house that a reader relies on: one subject a module, one direction, plain names."""

import ast
import re
import subprocess
import sys
from pathlib import Path

import pytest

from tests import house_map
from tests.house_map import nodes_of, tree_of

ROOT = Path(__file__).parent.parent
MODULES = sorted((ROOT / "survivor").rglob("*.py"))

MOST_LINES, LEAST_LINES = 600, 60
# Modules under 60 lines, and why each is one by itself. Verbs of the command line need no other reason.
SHORT = {
    "effects/english.py": "every sentence on differences and the radius, none beside the numbers",
    "report/heights.py": "one section of the annex; its sentences stand with the others",
    "_version.py": "read by the build, which imports nothing",
    "memory.py": "freed memory is given back by whoever reads large tables, and before a copy is made",
    "progress.py": "whoever works says how far, without knowing whoever shows it",
    "soil.py": "the public door to what lies in several modules of season",
    "__main__.py": "what python -m survivor does",
    "demo/__main__.py": "what python -m survivor.demo does",
    "season/wet_works.py": "one check of the diary, by the rain of a gauge",
    "demo/examples.py": "loads the report, which the cohorts need not",
    "figures/colours.py": "read by pages that draw nothing, which load no drawing library",
    "files/kinds.py": "asked of files without loading what reads them",
    "figures/patch.py": "one figure of a subject of its own",
    "proposing/reading.py": "a season is read without loading what proposes a study file",
    "report/planting_years.py": "one section of a subject of its own",
    "analysis/confounding.py": "one part of the analysis",
    "files/content.py": "every reader of a file, and who certifies what was read",
    "programme/twice.py": "the one question on studies that reads them twice",
    "models/formulas.py": "whoever reads a formula, here or in a library, takes a turn",
    "files/markup.py": "how markup is looked through, for the three modules that do",
    "records/reading.py": "records are read at once or in parts, by modules that need not know it",
    "records/renaming.py": "other names for what the records name",
    "records/checks/blanks.py": "one check, with the reading that its answer asks for",
}

# Imports inside functions. Verbs of the command line load what they need; a result draws itself only when
# asked; these libraries are heavy or rarely needed. Any other has its reason here.
HEAVY = {
    "distributed",
    "lifelines",
    "matplotlib",
    "pyarrow",
    "pyet",
    "scipy",
    "statsmodels",
    "typst",
    "xlsxwriter",
}
INSIDE = {
    **dict.fromkeys(
        [
            "desk/changes.py",
            "desk/choosing.py",
            "desk/guard.py",
            "desk/readings.py",
            "desk/study_file.py",
            "desk/summaries.py",
            "desk/uploads.py",
            *(
                f"desk/rooms/{room}.py"
                for room in ("about", "guideline", "plan", "problems", "report", "seasons", "sheets")
            ),
        ],
        "the desk opens before what reads and checks records is loaded",
    ),
    "demo/examples.py": "the cohorts are written without loading the analysis",
    "words.py": "words are written, and the desk opens, without loading pandas",
    "files/writing.py": "a file is written, and the desk opens, without loading pandas",
    "frames.py": "a table that is pandas' own needs no other library",
    "guideline/making.py": "a guideline file is read without loading the analysis",
    "models/fit.py": "each model loads what it alone needs",
    "planning/run.py": "a plan is worked out without loading its page",
    "planning/variation.py": "a past study is loaded only where a plan names one",
    "study.py": "a folder is checked without loading the analysis",
}

# Functions with so many parameters or more: no more of them than there are, and none wider.
MANY, WIDE_FUNCTIONS, WIDEST = 7, 19, 12

# Words of no field, or of another meaning in ours, that have a plain one (DEVELOPERS.md, "Our own words").
DIALECT = re.compile(
    r"(^|_)(abreast|backed|backing|lasting|losses|of_found|relabel|relabelled|reworded|rewording|runaway|"
    r"strangers|swayed|tall)(_|$)"
)


def name_of(path: Path) -> str:
    return str(path.relative_to(ROOT / "survivor"))


def functions(path: Path) -> list[ast.FunctionDef]:
    return [node for node in nodes_of(path) if isinstance(node, ast.FunctionDef)]


def imports_inside(path: Path) -> set[tuple[str, str]]:
    """Names of functions with what they import inside."""
    inside = set()
    for function in functions(path):
        for node in ast.walk(function):
            if isinstance(node, ast.ImportFrom):
                inside.add((function.name, str(node.module)))
            elif isinstance(node, ast.Import):
                inside |= {(function.name, alias.name) for alias in node.names}
    return inside


def test_a_module_has_one_subject_and_can_be_read_in_one_sitting():
    lines = {name_of(path): path.read_text(encoding="utf-8").count("\n") for path in MODULES}
    assert {name: count for name, count in lines.items() if not 0 < count <= MOST_LINES} == {}
    short = {
        name: count
        for name, count in lines.items()
        if count < LEAST_LINES and not name.endswith("__init__.py") and not name.startswith("cli/")
    }
    assert {name: count for name, count in short.items() if name not in SHORT} == {}


def test_imports_inside_functions_have_a_reason():
    unexplained = {
        f"{name_of(path)}: {function} imports {module}"
        for path in MODULES
        if not name_of(path).startswith("cli/") and name_of(path) not in INSIDE
        for function, module in imports_inside(path)
        if module.split(".")[0] not in HEAVY
        and not (function == "plot" and module.startswith("survivor.figures."))
    }
    assert unexplained == set()


def test_parameters_do_not_grow():
    wide = {
        f"{name_of(path)}: {function.name}": count
        for path in MODULES
        for function in functions(path)
        if (count := len([*function.args.args, *function.args.kwonlyargs, *function.args.posonlyargs]))
        >= MANY
    }
    assert len(wide) <= WIDE_FUNCTIONS, wide
    assert max(wide.values()) <= WIDEST, wide


def test_nothing_travels_hidden_in_a_frame():
    assert [name_of(path) for path in MODULES if re.search(r"\.attrs\b", path.read_text("utf-8"))] == []


def test_names_are_those_of_the_field():
    named = {
        f"{name_of(path)}: {node.name}"
        for path in MODULES
        for node in nodes_of(path)
        if isinstance(node, ast.FunctionDef | ast.ClassDef) and DIALECT.search(node.name.lower())
    }
    modules = {name_of(path) for path in MODULES if DIALECT.search(path.stem)}
    assert named | modules == set()


def test_helpers_are_not_taken_from_tests():
    taken = re.compile(r"^ *from tests(\.\w+)*\.(test_\w+|conftest) import", re.MULTILINE)
    tests = (ROOT / "tests").rglob("*.py")
    assert [str(path.relative_to(ROOT)) for path in tests if taken.search(path.read_text("utf-8"))] == []


def test_data_flows_one_way():
    assert "ignore_imports" not in (ROOT / "pyproject.toml").read_text(encoding="utf-8")
    run = subprocess.run(
        [sys.executable, "-c", "from importlinter.cli import lint_imports_command; lint_imports_command()"],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
    )
    assert run.returncode == 0, run.stdout + run.stderr


def test_no_module_needs_one_that_needs_it():
    needs = house_map.imports(MODULES)
    done: set[str] = set()
    while ready := {name for name in needs.keys() - done if needs[name] <= done}:
        done |= ready
    assert needs.keys() - done == set()


def test_the_map_of_the_house_is_as_the_house_is():
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    assert house_map.table() in text, "run python -m tests.house_map, and read what changed"


@pytest.mark.parametrize(("question", "path", "name"), house_map.answers())
def test_answers_of_the_map_are_where_they_say(question: str, path: str, name: str):
    defined = {
        target.id
        for node in tree_of(ROOT / path).body
        if isinstance(node, ast.Assign | ast.AnnAssign)
        for target in (node.targets if isinstance(node, ast.Assign) else [node.target])
        if isinstance(target, ast.Name)
    }
    defined |= {
        node.name for node in nodes_of(ROOT / path) if isinstance(node, ast.FunctionDef | ast.ClassDef)
    }
    assert name in defined, question


def imported_by(statement: str) -> set[str]:
    code = f"import sys\n{statement}\nprint(*sorted({{name.split('.')[0] for name in sys.modules}}))"
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    return set(run.stdout.split())


def test_importing_the_package_costs_nothing():
    heavy = {"pandas", "numpy", "scipy", "lifelines", "statsmodels", "seaborn", "matplotlib"}
    assert not heavy & imported_by("import survivor")


def test_help_loads_no_statistics():
    heavy = {"pandas", "scipy", "lifelines", "statsmodels", "seaborn", "matplotlib"}
    assert not heavy & imported_by("import survivor.cli")


def test_the_desk_opens_before_what_reads_records_is_loaded():
    heavy = {"pandas", "numpy", "scipy", "pydantic", "tomlkit", "calamine", "xlsxwriter"}
    assert not heavy & imported_by("import survivor.cli, survivor.desk.serving")


def test_only_figures_draw():
    for module in MODULES:
        if "figures" in module.parts:
            continue
        text = module.read_text(encoding="utf-8")
        typed = text.replace("    from matplotlib.axes import Axes", "")
        assert "import matplotlib" not in typed, module
        assert "import seaborn" not in typed, module
        assert "from matplotlib" not in typed, module


# What writes files by itself, and why; all else goes through `writing` or `write_whole`.
WRITERS = {
    "files/writing.py": "the one way to write",
    "files/lock.py": "who writes",
    "desk/uploads.py": "files as large as disks, piece by piece beside their place, then renamed",
}


def test_there_is_one_way_to_write():
    writes = re.compile(
        r"\.write_(text|bytes)\(|\bopen\([^)\n]*[\"'][wax]b?[+]?[\"']|shutil\.(copy|move)|\bos\.(replace|rename|open)\("
        r"|\.to_(csv|excel|json)\(\s*(path|file|folder|out)"
    )
    found = {
        module.relative_to(ROOT / "survivor").as_posix()
        for module in MODULES
        if writes.search(module.read_text(encoding="utf-8"))
    }
    assert found == set(WRITERS)


def test_every_public_name_is_there_and_documented():
    import survivor

    for name in survivor.__all__:
        assert getattr(survivor, name).__doc__, name
