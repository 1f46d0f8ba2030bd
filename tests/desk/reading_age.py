"""The age at which a text can be read, by the grade formula of Flesch and Kincaid.

J. P. Kincaid, R. P. Fishburne, R. L. Rogers and B. S. Chissom (1975), Derivation of new readability formulas
for Navy enlisted personnel, Research Branch Report 8-75, Naval Technical Training Command: grade =
0.39 words per sentence + 11.8 syllables per word - 15.59 (formula from memory). A reader in grade g is about
g + 5 years old (common practice, no source). Syllables are counted by groups of vowels, a silent e left out;
a silent e within a word (guideline) is counted, which makes a text look harder than it is.
"""

from __future__ import annotations

import re
from collections.abc import Iterable

YEARS_AT_GRADE_0 = 5
_WORD = re.compile(r"[A-Za-z]+(?:['’-][A-Za-z]+)*")
_VOWELS = re.compile(r"[aeiouy]+")
_SILENT = re.compile(r"(?:[^aeiouyl]e|[^aeiouy]les?|[^aeiouydt]ed|[^aeiouyscxz]es)$")
_SPOKEN_LE = re.compile(r"[^aeiouyr]les?$")  # table, bottles: spoken
_APART = re.compile(r"i[ao](?!us|n)|[^q]ua|ea$|ying$")  # vowels that are spoken apart: trial, ratio, usual


def syllables(word: str) -> int:
    """Count the syllables of an English word."""
    return sum(_of_part(part) for part in re.split(r"['’-]", word.casefold()) if part)


def _of_part(word: str) -> int:
    count = len(_VOWELS.findall(word)) + len(_APART.findall(word))
    if _SILENT.search(word) and not _SPOKEN_LE.search(word):
        count -= 1
    return max(count, 1)


def grade(sentences: Iterable[str]) -> float:
    """Return the grade of some sentences."""
    words = [found for sentence in sentences if (found := _WORD.findall(sentence))]
    every = [word for sentence in words for word in sentence]
    return 0.39 * len(every) / len(words) + 11.8 * sum(map(syllables, every)) / len(every) - 15.59


def reading_age(sentences: Iterable[str]) -> float:
    """Return the age in years at which some sentences can be read."""
    return grade(sentences) + YEARS_AT_GRADE_0


def sentences_of(blocks: Iterable[str], fewest: int = 5) -> list[str]:
    """Part blocks of text into sentences; of fewer words they are labels, which make a text look easy."""
    parts = [part for block in blocks for part in re.split(r"(?<=[.!?:;])\s+", block)]
    return [part for part in parts if len(_WORD.findall(part)) >= fewest]
