"""How long work shows its steps: in one line of a terminal, as lines where stderr is kept."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager


@contextmanager
def steps(first: str) -> Iterator[Callable[[str], None]]:
    """Show a first step on stderr; what is given is called with the name of each further one."""
    from rich.console import Console
    from rich.live import Live

    console = Console(stderr=True)
    # Drawn when a step begins, not by a thread: work is not shared out beside threads (see parallel).
    with Live(first, console=console, auto_refresh=False, transient=True) as line:

        def say(step: str) -> None:
            line.update(f"{step} ...", refresh=True)
            if not console.is_terminal:
                console.print(step, highlight=False)

        yield say
