"""Patterns of tags and elements in the XML of a workbook, whose time grows with its length whatever it holds.

A pattern for the text up to an end that may never come (``.*?</c>``) looks through all that follows from
every beginning: some thousand beginnings in a file of a few kilobytes would hold a check up for hours. Here
no tag reaches over another one's ``<``, no element over the next of its name, and nothing is tried twice.
"""

from __future__ import annotations

import re
from html import unescape
from typing import Final

ANY_PREFIX: Final = r"(?:\w++:)?"  # of a name: XLSX may say x:c for c
_ATTRIBUTE: Final = re.compile(r"""(?<![\w:.-])([\w:.-]++)\s*+=\s*+(?:"([^"]*+)"|'([^']*+)')""")


def tag(name: str) -> str:
    """Pattern of a beginning or empty tag; ``marks`` are its attributes.

    Parameters
    ----------
    name
        Pattern of its name, with no group that is counted.
    """
    return rf"<{name}(?=[\s/>])(?P<marks>[^<>]*+)>"


def element(name: str) -> str:
    """Pattern of an element that holds no other of its name: ``marks``, and ``held`` where it is not empty.

    Parameters
    ----------
    name
        As for `tag`.
    """
    held = rf"[^<]*+(?:<(?!/?{name}[\s/>])[^<]*+)*+"
    return rf"{tag(name)}(?:(?<=/>)|(?P<held>{held})</{name}\s*+>)"


def attributes(marks: str) -> dict[str, str]:
    """Read the attributes of a tag."""
    return {name: unescape(double or single) for name, double, single in _ATTRIBUTE.findall(marks)}
