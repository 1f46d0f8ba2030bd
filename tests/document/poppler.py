"""Documents as poppler reads them: a program that is not ours."""

from __future__ import annotations

import shutil
import subprocess
from pathlib import Path

import pytest

HERE = bool(shutil.which("pdftotext") and shutil.which("pdftoppm"))
needs_poppler = pytest.mark.skipif(not HERE, reason="poppler is not on this machine")


def text_of(file: Path, how: str = "-raw") -> str:
    """Give the words of a document; ``how`` in the order of the page (``-raw``), or as laid out."""
    return subprocess.run(["pdftotext", how, file, "-"], capture_output=True, text=True, check=True).stdout
