"""How far work is: whoever does it says a count, and whoever shows it listens; nobody has to.

A step of some seconds says how many of its pieces are done without knowing who asks: no function on the way
takes a listener. Where nobody listens, a count costs next to nothing.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from contextvars import ContextVar
from typing import TypeAlias, TypeVar

Listener: TypeAlias = Callable[[str], None]
T = TypeVar("T")


def _nobody(_: str) -> None:
    """Hear nothing."""


_HEARD: ContextVar[Listener] = ContextVar("who listens to counts", default=_nobody)


@contextmanager
def listening(listener: Listener) -> Iterator[None]:
    """Hear every count that is said within."""
    token = _HEARD.set(listener)
    try:
        yield
    finally:
        _HEARD.reset(token)


def unheard() -> None:
    """Let nobody hear what this process says from here on: a copy of a program that shows its own."""
    _HEARD.set(_nobody)


def tell(how_far: str) -> None:
    """Say how far the step under way is, such as ``site 41 of 500``."""
    _HEARD.get()(how_far)


def counted_off(pieces: Sequence[T], noun: str) -> Iterator[T]:
    """Give pieces one by one, and say before each which of how many it is.

    Parameters
    ----------
    pieces
        What is to be done.
    noun
        What one piece is called, such as ``site``.
    """
    for number, piece in enumerate(pieces, start=1):
        tell(f"{noun} {number:,} of {len(pieces):,}")
        yield piece
