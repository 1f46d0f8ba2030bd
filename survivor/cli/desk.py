"""``survivor desk FOLDER``: the local page, for everything without a terminal."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer


def desk(
    folder: Annotated[
        Path, typer.Argument(metavar="FOLDER", help="Folder that holds the studies, or is to hold them.")
    ] = Path(),
    browser: Annotated[
        bool, typer.Option("--browser/--no-browser", help="Open the page in your browser.")
    ] = True,
    shortcut: Annotated[
        bool, typer.Option("--shortcut", help="Put an entry on your desktop that opens FOLDER, and stop.")
    ] = False,
    read: Annotated[
        bool,
        typer.Option("--read", help="Read the seasons in FOLDER that have changed, say how much, and stop."),
    ] = False,
    port: Annotated[
        int, typer.Option(min=0, max=65535, help="Port of this machine; default: any that is free.")
    ] = 0,
) -> None:
    """Open the desk: a page of this machine alone, in your own browser. Ctrl-C or its button stops it."""
    import os
    import threading
    import webbrowser

    if shortcut:
        from survivor.desk.folder import Folder
        from survivor.desk.shortcut import write_shortcut

        typer.echo(f"Wrote {write_shortcut(Folder.of(folder).root)}: a double click on it opens the desk.")
        return
    if read:
        from survivor.cli.progress import steps
        from survivor.desk.summaries import read_all

        if hasattr(os, "nice"):
            os.nice(10)  # whoever uses the desk meanwhile goes first
        with steps("Reading the seasons") as say:
            for season, words in read_all(folder):
                typer.echo(f"{season}: {words}") if words else say(f"Reading {season}")
        return
    from survivor.desk.serving import serve

    def ready(address: str) -> None:
        typer.echo(f"The desk is open: {address}")
        typer.echo("It stops with Ctrl-C, or with the button at the foot of each page.")
        if browser:
            threading.Thread(target=webbrowser.open, args=(address,), daemon=True).start()

    serve(folder, ready, port)
    typer.echo("The desk is closed.")
