"""A programme: every study below a folder, checked, analysed and pooled."""

from survivor.programme.running import run_programme
from survivor.programme.together import Programme
from survivor.programme.writing import write_programme

__all__ = ["Programme", "run_programme", "write_programme"]
