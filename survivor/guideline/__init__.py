"""The local preparation guideline: advice by kind of ground, its rule, its versions and what changed."""

from survivor.guideline.file import read_guideline
from survivor.guideline.making import Guideline, make_guideline
from survivor.guideline.writing import write_guideline

__all__ = ["Guideline", "make_guideline", "read_guideline", "write_guideline"]
