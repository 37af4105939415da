"""``flightlog open``: the pages in a browser of this laptop."""

from __future__ import annotations

import webbrowser
from pathlib import Path
from typing import Annotated

import typer

from flightlog.cli.console import err, out
from flightlog.cli.signing import KeysOption, TeamOption, clock
from flightlog.errors import TeamFolderError, UsageError


def open_pages(
    port: Annotated[
        int | None,
        typer.Option("--port", metavar="N", min=1024, max=65535, help="Where to listen."),
    ] = None,
    no_browser: Annotated[
        bool, typer.Option("--no-browser", help="Only say the address; open no browser.")
    ] = False,
    team: TeamOption = None,
    keys: KeysOption = None,
) -> None:
    """Open the pages: before, after, season, ground tests, records.

    They are served on this laptop alone and need no network. Ctrl-C ends them.

    Example: flightlog open --team pannier-team
    """
    from flightlog.dashboard.server import free_port, is_free, serve
    from flightlog.dashboard.setup import Setup

    if port is not None and not is_free(port):
        raise UsageError("is in use", where=f"--port {port}", fix="Name another, or leave it out.")
    given = Setup(_team(team), tuple(keys or ()), lambda: clock())

    def ready(address: str) -> None:
        out().line(f"The pages are at {address}; Ctrl-C ends them.")
        if not no_browser and not webbrowser.open(address):
            err().line("flightlog: no browser could be opened; type the address into one")

    serve(given, port or free_port(), ready)


def _team(given: Path | None) -> Path | None:
    """Give the team folder that is meant; None where there is none yet, which the pages tell."""
    from flightlog.team.folder import TeamFolder

    try:
        return TeamFolder.find(given).path
    except TeamFolderError:
        if given is not None:
            raise
        return None
