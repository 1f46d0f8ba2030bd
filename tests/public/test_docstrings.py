"""Examples in docstrings of what is public give what they print; names that guides lead to are there."""

from __future__ import annotations

import doctest
import importlib
import inspect
import re
from pathlib import Path

import pandas as pd
import pytest

import survivor
from tests.public.called import MADE, public_functions, raises
from tests.public.making import F

#: Modules of what is public, with examples.
MODULES = sorted(
    {"survivor", "survivor.soil", "survivor.sizes", "survivor.proportions", "survivor.models.cox"}
    | {"survivor.season.balance", "survivor.season.evapotranspiration", "survivor.season.soil"}
    | {"survivor.planning.closed_form"}
    | {public.__module__ for name in survivor.__all__ if callable(public := getattr(survivor, name))}
    - {"survivor.errors", "survivor.planning.run", "survivor.pooling.result"}
)


#: Without an example of their own: what needs a file of one's own, draws, or goes with the one beside it.
SHOWN_ELSEWHERE = {"plan", "Fit.plot", "Fit.from_dict", "Curves.plot", "Curves.column", "Curves.groups"}


def test_every_public_function_has_an_example():
    without = {name for name, function in public_functions() if ">>>" not in (inspect.getdoc(function) or "")}
    assert without <= SHOWN_ELSEWHERE


def test_what_raises_and_what_it_gives_back_are_told():
    asked = [*public_functions(), *((kind.__name__, kind) for kind in MADE)]
    found = {name: inspect.getdoc(function) or "" for name, function in asked}
    silent = [name for name, function in asked if raises(function) and "Raises\n---" not in found[name]]
    assert silent == []
    rooms = [name for name, function in asked if inspect.isfunction(function) and "." not in name]
    rooms += [name for name in found if name.startswith("survivor.")]
    assert [name for name in rooms if "Returns\n---" not in found[name]] == []
    # The search finds what raises itself, what calls such a function, and nothing in what does neither.
    assert raises(survivor.e_value)
    assert raises(survivor.curve)
    assert not raises(survivor.Fit.params)


@pytest.mark.slow
def test_every_argument_is_told_of():
    untold = {}
    for name, function in public_functions():
        if isinstance(function, property) or name.endswith((".plot", ".tidy")):
            continue
        text = inspect.getdoc(function) or ""
        asked = inspect.signature(getattr(function, "__func__", function)).parameters
        absent = [own for own in asked if own not in ("self", "cls") and not re.search(rf"\b{own}\b", text)]
        if absent or (len(asked) > 1 and "Parameters\n----" not in text and not name.endswith("from_dict")):
            untold[name] = absent
    assert untold == {}


@pytest.mark.parametrize("name", MODULES)
def test_examples_give_what_they_print(name, monkeypatch):
    monkeypatch.chdir(Path(__file__).parent.parent.parent)
    module = importlib.import_module(name)
    known = {"survivor": survivor, "pd": pd, "intervals": F, "fit": survivor.fit(F, "method + z")}
    found = doctest.testmod(module, extraglobs=known, optionflags=doctest.NORMALIZE_WHITESPACE)
    assert found.failed == 0
    assert found.attempted > 0


def test_the_guide_names_what_there_is():
    guide = survivor.__doc__.split("From a task to its name")[1].split("Coming from")[0]
    named = set(re.findall(r"``(\w+)``", guide))
    methods = {"contrast", "test", "baseline", "predict"}
    assert named - methods <= set(survivor.__all__)
    assert all(hasattr(survivor.Fit, name) for name in methods)
    # What cannot be called is a kind of result or of options.
    left_out = {name for name in set(survivor.__all__) - named if name[0].islower()}
    assert left_out <= {"load", "e_value_of_limit", "scaled_residuals"}


def test_the_package_is_typed_for_its_users():
    assert (Path(survivor.__file__).parent / "py.typed").exists()
