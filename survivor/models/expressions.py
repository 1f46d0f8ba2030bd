"""Combinations of coefficients in words: ``"method[rip] - 0.5 * method[auger] = 0.2"``.

A level stands for its term (``method[rip]`` for ``method[T.rip]``) and the first level of a
factor for zero. Numbers, ``+ - * /`` and brackets are read; a term times a term is not.
"""

from __future__ import annotations

import ast
import operator
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from survivor.arrays import Floats
from survivor.errors import ModelError
from survivor.models.fitted import Fitted
from survivor.models.formulas import ONE_AT_A_TIME


@dataclass(frozen=True)
class Form:
    """A sum of terms and a constant; ``weights`` has shape (q,)."""

    weights: Floats
    constant: float

    def __add__(self, other: Form) -> Form:
        return Form(self.weights + other.weights, self.constant + other.constant)

    def __sub__(self, other: Form) -> Form:
        return Form(self.weights - other.weights, self.constant - other.constant)

    def __neg__(self) -> Form:
        return Form(-self.weights, -self.constant)

    def __pos__(self) -> Form:
        return self

    def __mul__(self, other: Form) -> Form:
        if self.weights.any() and other.weights.any():
            raise ValueError("a term times a term is no sum of terms")
        weights = self.weights * other.constant + other.weights * self.constant
        return Form(weights, self.constant * other.constant)

    def __truediv__(self, other: Form) -> Form:
        if other.weights.any() or other.constant == 0:
            raise ValueError("a sum of terms is divided by a number only")
        return Form(self.weights / other.constant, self.constant / other.constant)


_SIGNS: Final[Mapping[type, Callable[..., Any]]] = {
    ast.Add: operator.add,
    ast.Sub: operator.sub,
    ast.Mult: operator.mul,
    ast.Div: operator.truediv,
    ast.USub: operator.neg,
    ast.UAdd: operator.pos,
}


def terms_there(fit: Fitted) -> str:
    """Name the terms of a fit, as what to do about one that is not."""
    return f"terms: {', '.join(fit.table['term'])}"


def picks_of(fit: Fitted, expressions: Sequence[str]) -> tuple[Floats, Floats]:
    """Read the weights of the terms in each expression, (m, q), and what each is compared with, (m,).

    Raises
    ------
    ModelError
        When an expression is no sum of terms of the table, or holds none.
    """
    names = _names(fit)
    if not expressions:
        raise ModelError("nothing is asked", where="contrast", mend=terms_there(fit))
    found = []
    for text in expressions:
        if not isinstance(text, str):
            raise ModelError(f"{text!r} is no combination of terms", where="contrast", mend=terms_there(fit))
        left, equals, right = text.partition("=")
        form = _read(fit, left, names)
        form = form - _read(fit, right, names) if equals else form
        if not form.weights.any():
            raise ModelError(f"{text!r} compares nothing", where="contrast", mend=terms_there(fit))
        found.append(form)
    return np.array([form.weights for form in found]), np.array([-form.constant for form in found])


def _names(fit: Fitted) -> dict[str, Form]:
    """Every name that an expression may hold; a first level is zero."""
    terms = list(fit.table["term"])
    unit = np.eye(len(terms))
    names = {term: Form(row, 0.0) for term, row in zip(terms, unit, strict=True)}
    names |= {term.replace("[T.", "["): form for term, form in names.items()}
    for column in fit.variables:
        if column in fit.data.columns and any(term.startswith(f"{column}[T.") for term in terms):
            for level in dict.fromkeys(fit.data[column].astype(str)):
                names.setdefault(f"{column}[{level}]", Form(np.zeros(len(terms)), 0.0))
    return names


def _read(fit: Fitted, text: str, names: Mapping[str, Form]) -> Form:
    """Read one side of an expression: names first, the longest first, since they hold signs of their own."""
    places: dict[str, Form] = {}
    rest = text
    for name in sorted(names, key=len, reverse=True):
        if name in rest:
            mark = f"_{len(places)}_"
            places[mark] = names[name]
            rest = rest.replace(name, f" {mark} ")

    def of(node: ast.AST) -> Form:
        match node:
            case ast.Constant(value=int() | float() as value):
                return Form(np.zeros(len(fit.table)), float(value))
            case ast.Name(id=mark) if mark in places:
                return places[mark]
            case ast.UnaryOp(op=sign, operand=one) if type(sign) in _SIGNS:
                single: Form = _SIGNS[type(sign)](of(one))
                return single
            case ast.BinOp(left=one, op=sign, right=other) if type(sign) in _SIGNS:
                both: Form = _SIGNS[type(sign)](of(one), of(other))
                return both
        raise ValueError("no number, term or sum of them")

    try:
        with ONE_AT_A_TIME:
            tree = ast.parse(rest.strip() or "0", mode="eval")
        return of(tree.body)
    except (SyntaxError, ValueError):
        raise ModelError(
            f"no term {text.strip()} in this fit, nor a sum of its terms",
            where="contrast",
            mend=f'write for example "{fit.table["term"].iloc[-1]}"; {terms_there(fit)}',
        ) from None
