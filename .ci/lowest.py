"""Print the lowest versions that pyproject.toml promises, as constraints for pip."""

import re
import sys
import tomllib
from pathlib import Path

PROJECT = tomllib.loads((Path(__file__).parents[1] / "pyproject.toml").read_text(encoding="utf-8"))["project"]
FROM = re.compile(r"(?P<name>[\w.-]+)>=(?P<version>[\d.]+)")

for requirement in [*PROJECT["dependencies"], *PROJECT["optional-dependencies"]["test"]]:
    bound = FROM.fullmatch(requirement)
    if bound is None:
        sys.exit(f"pyproject.toml: {requirement!r} has no lowest version: write name>=version")
    print(f"{bound['name']}=={bound['version']}")
