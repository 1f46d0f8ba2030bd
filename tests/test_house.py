"""Rules of the house that a reader relies on: small modules, one direction, light import."""

import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
MODULES = sorted((ROOT / "survivor").rglob("*.py"))
MOST_LINES = 400


@pytest.mark.parametrize("module", MODULES, ids=lambda path: str(path.relative_to(ROOT)))
def test_a_module_can_be_read_in_one_sitting(module):
    lines = module.read_text(encoding="utf-8").splitlines()
    assert 0 < len(lines) < MOST_LINES


def test_data_flows_one_way():
    run = subprocess.run(
        [sys.executable, "-c", "from importlinter.cli import lint_imports_command; lint_imports_command()"],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
    )
    assert run.returncode == 0, run.stdout + run.stderr


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


def test_only_figures_draw():
    for module in MODULES:
        if "figures" in module.parts:
            continue
        text = module.read_text(encoding="utf-8")
        typed = text.replace("    from matplotlib.axes import Axes", "")
        assert "import matplotlib" not in typed, module
        assert "import seaborn" not in typed, module
        assert "from matplotlib" not in typed, module


def test_every_public_name_is_there_and_documented():
    import survivor

    for name in survivor.__all__:
        assert getattr(survivor, name).__doc__, name
