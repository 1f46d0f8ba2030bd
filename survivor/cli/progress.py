"""How long work shows its steps: in one line of a terminal, as lines where stderr is kept.

A step that takes longer than two seconds shows how far it is, as often as its work says so.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Final

from survivor.progress import listening

_LONG: Final = 2.0  # seconds after which a step shows how far it is
_AGAIN: Final = {
    True: 0.2,
    False: 10.0,
}  # seconds between two counts: in a terminal, and where lines are kept


@contextmanager
def steps(first: str, clock: Callable[[], float] = time.monotonic) -> Iterator[Callable[[str], None]]:
    """Show a first step on stderr; what is given is called with the name of each further one."""
    from rich.console import Console
    from rich.live import Live

    console = Console(stderr=True)
    step, began, counted = first, clock(), clock()
    # Drawn when a step begins, not by a thread: work is not shared out beside threads (see parallel).
    with Live(first, console=console, auto_refresh=False, transient=True) as line:

        def show(text: str) -> None:
            line.update(f"{text} ...", refresh=True)
            if not console.is_terminal:
                console.print(text, highlight=False)

        def say(name: str) -> None:
            nonlocal step, began
            step, began = name, clock()
            show(name)

        def count(how_far: str) -> None:
            nonlocal counted
            now = clock()
            if now - began >= _LONG and now - counted >= _AGAIN[console.is_terminal]:
                counted = now
                show(f"{step}: {how_far}")

        with listening(count):
            yield say
