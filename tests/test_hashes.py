"""Every package of an install has its digests, of the version that the constraints name."""

import re

from tests.hashes import FOLDER, ROOT
from tests.licences import closure

LINE = re.compile(
    r"^([\w.-]+)==(\S+)(?: ; sys_platform == \"win32\")?((?: \\\n    --hash=sha256:[0-9a-f]{64})+)$", re.M
)


def listed(name: str) -> dict[str, tuple[str, int]]:
    """Version of each package, and how many files of it have a digest."""
    text = (FOLDER / name).read_text(encoding="utf-8")
    rows = {package: (version, digests.count("--hash")) for package, version, digests in LINE.findall(text)}
    assert len(rows) == sum("==" in line and not line.startswith("#") for line in text.splitlines())
    return rows


def test_every_package_of_an_install_has_digests_of_the_version_in_the_constraints():
    constraints = (ROOT / "constraints.txt").read_text(encoding="utf-8")
    versions = dict(re.findall(r"^([\w.-]+)==(\S+)$", constraints, re.MULTILINE))
    rows = listed("install.txt")
    assert set(rows) == closure() | {"colorama"}, "python -m tests.hashes"
    assert {name: version for name, (version, _) in rows.items()} == {name: versions[name] for name in rows}


def test_packages_that_are_built_for_each_machine_have_a_digest_for_each():
    rows = listed("install.txt")
    for name in ("numpy", "scipy", "pandas", "matplotlib", "python-calamine"):
        assert rows[name][1] >= 15, name  # three systems on two kinds of machine, four versions of Python


def test_what_builds_the_package_has_digests():
    assert {"hatchling", "setuptools"} <= set(listed("build.txt"))


def test_the_constraints_hold_no_digests():
    """With one in it the command of the README ends: pip then asks for a digest of the folder itself."""
    assert "--hash" not in (ROOT / "constraints.txt").read_text(encoding="utf-8")
