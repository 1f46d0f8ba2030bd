"""What reads formulas takes turns among threads.

Python before 3.11.8 and 3.12.2 keeps one count for all threads while it makes a syntax
tree: two threads that read at one time can end with a ``SystemError`` (CPython's issue
gh-106905). Formulas are read as such trees, here and in lifelines, and their warnings are a
setting of the whole program; so whoever reads one holds this lock meanwhile.
"""

from __future__ import annotations

import os
from threading import RLock
from typing import Any

import numpy as np
import pandas as pd
from formulaic import Formula, ModelSpec, model_matrix

ONE_AT_A_TIME = RLock()
# A copy of the process has none of the threads that might hold it: it is copied while nobody else does.
if hasattr(os, "register_at_fork"):  # Windows copies no process
    os.register_at_fork(
        before=ONE_AT_A_TIME.acquire,
        after_in_parent=ONE_AT_A_TIME.release,
        after_in_child=ONE_AT_A_TIME.release,
    )


def parsed(text: str) -> tuple[Formula, list[str]]:
    """Read the formula that a text writes, and name the columns that it needs, sorted."""
    with ONE_AT_A_TIME:
        formula = Formula(text)
        return formula, _columns_of(formula)


def terms_and_columns(formula: str) -> list[tuple[str, frozenset[str]]]:
    """Each term of a right-hand side but the intercept, with the columns that it reads."""
    with ONE_AT_A_TIME:
        terms = [str(term) for term in Formula("1 + " + formula.replace("~", " "))]
        return [(term, frozenset(_columns_of(Formula(f"0 + {term}")))) for term in terms if term != "1"]


def matrix_of(formula: Formula | ModelSpec | str, frame: pd.DataFrame, **options: Any) -> Any:
    """Make the columns of a formula for a table; what has no value in them is the caller's to refuse."""
    with ONE_AT_A_TIME, np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        if isinstance(formula, str):
            return model_matrix(formula, frame, **options)
        return formula.get_model_matrix(frame, **options)


def _columns_of(formula: Formula) -> list[str]:
    # Only a formula of one part has them; what has several is for the caller to refuse.
    return sorted(str(name) for name in getattr(formula, "required_variables", ()))
