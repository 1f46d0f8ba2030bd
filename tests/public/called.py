"""What of the package is public: functions, methods of results, and classes to make."""

from __future__ import annotations

import ast
import inspect
import textwrap
from collections.abc import Iterator
from typing import Any

import survivor


def public_functions() -> Iterator[tuple[str, Any]]:
    """Every function that is public, and what fits and curves can be asked."""
    for name in survivor.__all__:
        if inspect.isfunction(function := getattr(survivor, name)):
            yield name, function
    for room in (survivor.proportions, survivor.sizes, survivor.soil):
        for name, function in vars(room).items():
            room_of = getattr(function, "__module__", "")
            own = room_of.startswith("survivor.") and room_of != "survivor.arguments"
            if own and inspect.isfunction(function) and name[0] != "_":
                yield f"{room.__name__}.{name}", function
    for kind in (survivor.Fit, survivor.Curves, survivor.LogRank):
        for name, method in vars(kind).items():
            if name[0] != "_" and (callable(method) or isinstance(method, property | classmethod)):
                yield f"{kind.__name__}.{name}", method


#: Classes that a user makes.
MADE = (
    survivor.Grouped,
    survivor.Logistic,
    survivor.Mixed,
    survivor.DayPieces,
    survivor.SeasonPieces,
    survivor.sizes.Arms,
    survivor.soil.Patch,
)


def plain_function(function: Any) -> Any:
    """Function behind a property, a class method or the making of a class."""
    if inspect.isclass(function):
        return vars(function).get("__post_init__")
    return function.fget if isinstance(function, property) else getattr(function, "__func__", function)


def raises(function: Any, deep: int = 2) -> bool:
    """Whether a function raises, or calls one of the package that does, so many calls deep."""
    function = plain_function(function)
    if function is None:
        return False
    tree = ast.parse(textwrap.dedent(inspect.getsource(function)))
    if any(isinstance(part, ast.Raise) for part in ast.walk(tree)):
        return True
    names = {ast.unparse(part.func) for part in ast.walk(tree) if isinstance(part, ast.Call)}
    called = [_named(function, name) for name in names if deep]
    return any(raises(other, deep - 1) for other in called if inspect.isfunction(other))


def _named(function: Any, name: str) -> Any:
    first, *rest = name.split(".")
    found = function.__globals__.get(first)
    for part in rest:
        found = getattr(found, part, None)
    own = getattr(found, "__module__", None) or ""
    return found if own.startswith("survivor") else None
