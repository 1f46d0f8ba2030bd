"""Why a part of the answer could not be made: collected, never raised past the report."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Final, TypeVar

from survivor.errors import SurvivorError

Made = TypeVar("Made")

_TERM: Final = re.compile(r"\w+\[T\.((?:[^\[\]]|\[[^\[\]]*\])*)\]")


class Reasons:
    """Sentences that say what cannot be answered and why, in the order met."""

    def __init__(self) -> None:
        self.said: list[str] = []

    def say(self, *sentences: str) -> None:
        """Keep sentences that are not kept yet."""
        self.said += [text for text in sentences if text not in self.said]

    def besides(self, *subjects: str) -> str:
        """Return the sentences that speak of something else than these subjects."""
        return " ".join(text for text in self.said if not text.startswith(subjects))

    def attempt(self, subject: str, make: Callable[[], Made]) -> Made | None:
        """Make a part, or keep the reason why it cannot be made and return None."""
        try:
            return make()
        except SurvivorError as fault:
            mend = f" {sentence(fault.mend)}" if fault.mend else ""
            self.say(f"{subject}: {fault.what}.{mend}")
            return None


def plain_terms(text: str) -> str:
    """Put the terms of a model into the words of the records.

    Examples
    --------
    >>> plain_terms("no limits for method[T.spot spray]: one plot decides it")
    'no limits for spot spray: one plot decides it'
    """
    words = re.sub(r"\]:(?=\w+\[T\.)", "] with ", text)
    return _TERM.sub(r"\1", words).replace("weed_free_radius_m", "the weed-free radius")


def sentence(text: str) -> str:
    """Start with a capital and end with a full stop."""
    return text[:1].upper() + text[1:] + ("" if text.endswith((".", "?", "!")) else ".")
