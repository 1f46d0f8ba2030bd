"""Digests of everything that an install brings, as pip finds them; ``python -m tests.hashes`` writes them.

pip takes digests from a file of requirements only. In a file of constraints they turn its checks on for the
folder ``.`` as well, which has no digest, and pip ends with an error: so they stand beside constraints.txt.
"""

from __future__ import annotations

import json
import subprocess
import sys
import tempfile
from collections import defaultdict
from collections.abc import Collection, Iterable
from pathlib import Path
from typing import NamedTuple

from packaging.utils import canonicalize_name

from tests.licences import closure

ROOT = Path(__file__).parents[1]
FOLDER = ROOT / ".ci" / "hashes"
HEAD = {
    "build.txt": """\
# Digests of what builds this package, and the dependencies that come as source.
# `python -m tests.hashes` writes this file.
""",
    "install.txt": """\
# Digests of all that a plain install brings, of the versions in constraints.txt. pip refuses any other file:
#     python3 -m venv .venv
#     .venv/bin/pip install --require-hashes -r .ci/hashes/build.txt
#     .venv/bin/pip install --require-hashes --no-build-isolation -r .ci/hashes/install.txt
#     .venv/bin/pip install --no-build-isolation --no-deps .
# They cannot stand in constraints.txt: pip then asks for a digest of the folder "." too, which has none.
# `python -m tests.hashes` writes this file.
""",
}
BUILDERS = ("hatchling", "setuptools")
PYTHONS = ("3.11", "3.12", "3.13", "3.14")
# System -> tags of the files that it takes.
SYSTEMS = {
    "Linux": [*(f"manylinux_2_{minor}_x86_64" for minor in (28, 27, 24, 17)), "manylinux2014_x86_64"],
    "Linux on ARM": [
        *(f"manylinux_2_{minor}_aarch64" for minor in (28, 27, 24, 17)),
        "manylinux2014_aarch64",
    ],
    "macOS": [f"macosx_{major}_0_arm64" for major in (14, 13, 12, 11)] + ["macosx_11_0_universal2"],
    "macOS on Intel": [f"macosx_{at}_x86_64" for at in ("14_0", "13_0", "12_0", "11_0", "10_13", "10_12")],
    "Windows": ["win_amd64"],
}


class File(NamedTuple):
    """A file that pip would install."""

    name: str
    version: str
    file: str
    digest: str


def found(requirements: Iterable[str], *options: str) -> list[File]:
    """Ask pip what it would install; empty where it finds no file for one of them."""
    with tempfile.TemporaryDirectory() as held:
        report = Path(held) / "report.json"
        pip = [sys.executable, "-m", "pip", "install", "--dry-run", "--quiet", "--ignore-installed"]
        asked = [*pip, "--report", str(report), *options, *requirements]
        if subprocess.run(asked, capture_output=True, check=False).returncode:
            return []
        told = json.loads(report.read_text(encoding="utf-8"))["install"]
    return [
        File(
            str(canonicalize_name(each["metadata"]["name"])),
            each["metadata"]["version"],
            each["download_info"]["url"].rpartition("/")[2],
            each["download_info"]["archive_info"]["hashes"]["sha256"],
        )
        for each in told
    ]


def elsewhere(files: Collection[File]) -> list[File]:
    """Find the files of other systems and versions of Python, of packages that are not the same for all."""
    own = [f"{each.name}=={each.version}" for each in files if _of_one_system(each.file)]
    more: list[File] = []
    for system, tags in SYSTEMS.items():
        for python in PYTHONS:
            options = ["--no-deps", "--only-binary=:all:", "--python-version", python, "--target", "x"]
            options += [part for tag in tags for part in ("--platform", tag)]
            whole = found(own, *options)
            more += whole or [each for requirement in own for each in found([requirement], *options)]
            missing = {line.partition("==")[0] for line in own} - {each.name for each in more}
            print(f"{system}, Python {python}: {sorted(missing) or 'all'}", flush=True)
    return more


def _of_one_system(file: str) -> bool:
    return file.endswith(".whl") and not file.endswith("-any.whl")


def text(name: str, files: Iterable[File]) -> str:
    """Write requirements with their digests, in the order of their names."""
    digests: dict[tuple[str, str], set[str]] = defaultdict(set)
    for each in files:
        digests[each.name, each.version].add(each.digest)
    lines = [HEAD[name]]
    for (package, version), held in sorted(digests.items()):
        only = ' ; sys_platform == "win32"' if package == "colorama" else ""
        own = [f"    --hash=sha256:{each}" for each in sorted(held)]
        lines.append(" \\\n".join([f"{package}=={version}{only}", *own]) + "\n")
    return "".join(lines)


def write() -> None:
    FOLDER.mkdir(exist_ok=True)
    constrained = ["-c", str(ROOT / "constraints.txt")]
    here = found([*closure(), "colorama"], *constrained)
    (FOLDER / "install.txt").write_text(text("install.txt", [*here, *elsewhere(here)]), encoding="utf-8")
    (FOLDER / "build.txt").write_text(text("build.txt", found(BUILDERS, *constrained)), encoding="utf-8")


if __name__ == "__main__":
    write()
