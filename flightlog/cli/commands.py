"""The list of commands, and the application of all of them or of the one that is called.

typer makes every option of every command that an application holds before it looks at the first
word. With a hundred commands that takes longer than most of what they do. So the application holds
only what the first words name, and only that module is loaded.
"""

from __future__ import annotations

import copy
from collections.abc import Sequence
from importlib import import_module
from typing import Annotated, Any

import typer

from flightlog import __version__
from flightlog.cli import wall
from flightlog.cli.console import out

HOMES = {
    "demo": "demo:demo",
    "debrief": "debriefing:debrief",
    "explain": "files:explain",
    "convert": "files:convert",
    "open": "opening:open_pages",
    "import": "importing:import_logs",
    "trends": "trends:trends",
    "sheet": "sheet:sheet",
    "load": "load:load",
    "event": "service:event",
    "sortie": "sortie:sortie_app",
    "groundtest": "groundtest:ground_app",
    "checks": "checks:checks_app",
    "weather": "weather:weather_app",
    "balance": "balance:balance_app",
    "card": "card:card_app",
    "fitness": "fitness:fitness_app",
    "release": "release:release_app",
    "defect": "defect:defect_app",
    "service": "service:service_app",
    "clauses": "clauses:clauses_app",
    "incident": "incident:incident_app",
    "team": "team:team_app",
    "logbook": "logbook:logbook_app",
}
"""First word -> module and name of a command or a group of them, in the order of the help."""


_OVERVIEW = ("--help", "-h", "--version")
"""After these, or nothing, the groups show their names only."""


def application(words: Sequence[str] | None = None) -> typer.Typer:
    """Make the application of all commands, or only of what the first words need.

    Parameters
    ----------
    words : sequence of str, optional
        What was typed after the program's name; everything is there when not given. Where the
        first word names no command, be it an option or a slip, all are there, so that help and
        hints can tell them.
    """
    named = [words[0]] if words and words[0] in HOMES else []
    parts = {name: _at_home(name) for name in named or HOMES}
    for name, part in parts.items():
        if not isinstance(part, typer.Typer) or words is None:
            continue
        if named:
            parts[name], inner = _narrowed(part, words[1:])
            named += inner
        elif not words or words[0] in _OVERVIEW:
            parts[name] = _only(part, [], [])
    app = typer.Typer(
        name="flightlog",
        add_completion=False,
        # Plain help: no markup in our texts, and it starts in a third of the time.
        rich_markup_mode=None,
        pretty_exceptions_enable=False,
        context_settings={
            "help_option_names": ["--help", "-h"],
            "default_map": _help_not_asked(named),
        },
    )
    app.callback(invoke_without_command=True)(_start)
    for name, part in parts.items():
        if isinstance(part, typer.Typer):
            app.add_typer(part, name=name)
        else:
            app.command(name)(part)
    return app


def _at_home(name: str) -> Any:
    module, attribute = HOMES[name].split(":")
    return getattr(import_module(f"flightlog.cli.{module}"), attribute)


def _narrowed(group: typer.Typer, words: Sequence[str]) -> tuple[typer.Typer, list[str]]:
    """Leave in a copy of a group only what the next word names, if it does; and the words used."""
    if not words:
        return group, []
    commands = [c for c in group.registered_commands if c.name == words[0]]
    groups = [copy.copy(g) for g in group.registered_groups if _name(g.typer_instance) == words[0]]
    if not commands and not groups:
        return group, []
    used = [words[0]]
    for info in groups:
        if info.typer_instance is not None:
            info.typer_instance, inner = _narrowed(info.typer_instance, words[1:])
            used += inner
    return _only(group, commands, groups), used


def _only(group: typer.Typer, commands: list[Any], groups: list[Any]) -> typer.Typer:
    only = copy.copy(group)
    only.registered_commands, only.registered_groups = commands, groups
    return only


def _name(group: typer.Typer | None) -> Any:
    return None if group is None else group.info.name


def _help_not_asked(words: Sequence[str]) -> dict[str, Any]:
    """Give ``--help`` a value on the way to a command, where it is not asked for.

    For an option without a value typer builds a validator, and loads a whole library for that.
    """
    inner = {words[0]: _help_not_asked(words[1:])} if words else {}
    return {"help": False, **inner}


def _show_version(wanted: bool) -> None:
    if wanted:
        out().line(f"flightlog {__version__}")
        raise typer.Exit


def _start(
    context: typer.Context,
    version: Annotated[
        bool,
        typer.Option(
            "--version", help="Print the version and end.", callback=_show_version, is_eager=True
        ),
    ] = False,
) -> None:
    """Say what a flight did, how sure that is, and whether it met its limits.

    Reads the logs of an aircraft's autopilot, telemetry link or transmitter card, tracks, and
    other tables as text by a column map.

    Start with: flightlog demo
    """
    if context.invoked_subcommand is None:
        out().lines(context.get_help().splitlines())
        raise typer.Exit(wall.USAGE)
