"""Bytes of the demo files: the same records always give the same bytes."""

from __future__ import annotations

import csv
import io
import json
import zipfile
from collections.abc import Iterable, Sequence
from importlib import resources

from survivor.records.words import COLUMN_WORDS
from survivor.settings.dictionary import key_table

INVENTED = (
    "The parameters behind invented records, kept to check estimates against. Nothing here was measured."
)

_EPOCH = (1980, 1, 1, 0, 0, 0)  # the earliest date that a zip archive can hold


def csv_bytes(header: Sequence[str], rows: Iterable[Sequence[object]]) -> bytes:
    """Comma-separated text in UTF-8 with a line feed at each row's end; None is an empty cell."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(header)
    writer.writerows(rows)
    return text.getvalue().encode("utf-8")


def json_bytes(content: object) -> bytes:
    """Indented JSON in UTF-8; numbers are expected to be rounded already."""
    return (json.dumps(content, indent=2, ensure_ascii=False) + "\n").encode("utf-8")


def text_file(name: str) -> bytes:
    """Read a study file or dictionary that comes with the package, with line feeds."""
    return resources.files("survivor.demo").joinpath("text", name).read_bytes().replace(b"\r\n", b"\n")


def dictionary(name: str) -> bytes:
    """Read a data dictionary and fill in the keys of the study file and the words for columns."""
    words = ", ".join(f"`{word}`" for word in COLUMN_WORDS)
    text = text_file(name).decode("utf-8")
    return text.replace("{{ keys }}", key_table().strip()).replace("{{ words }}", words).encode("utf-8")


def repack(archive: bytes) -> bytes:
    """Store a zip archive again, uncompressed and undated.

    The bytes then do not depend on the compression library of the machine.
    """
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(archive)) as old, zipfile.ZipFile(out, "w", zipfile.ZIP_STORED) as new:
        for item in old.infolist():
            entry = zipfile.ZipInfo(item.filename, date_time=_EPOCH)
            entry.create_system = 3
            new.writestr(entry, old.read(item))
    return out.getvalue()
