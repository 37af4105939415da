"""The list of commands, and the way from arguments to an exit code."""

from __future__ import annotations

import sys
import warnings
from collections.abc import Sequence
from typing import Annotated

import typer

from flightlog import __version__
from flightlog.cli import wall
from flightlog.cli.balance import balance_app
from flightlog.cli.card import card_app
from flightlog.cli.checks import checks_app
from flightlog.cli.clauses import clauses_app
from flightlog.cli.console import err, out
from flightlog.cli.debriefing import debrief
from flightlog.cli.defect import defect_app
from flightlog.cli.demo import demo
from flightlog.cli.files import convert, explain
from flightlog.cli.fitness import fitness_app
from flightlog.cli.groundtest import ground_app
from flightlog.cli.importing import import_logs
from flightlog.cli.incident import incident_app
from flightlog.cli.load import load
from flightlog.cli.logbook import logbook_app
from flightlog.cli.opening import open_pages
from flightlog.cli.release import release_app
from flightlog.cli.service import event, service_app
from flightlog.cli.sheet import sheet
from flightlog.cli.sortie import sortie_app
from flightlog.cli.team import team_app
from flightlog.cli.trends import trends
from flightlog.cli.weather import weather_app
from flightlog.errors import FlightlogError, Interrupted

app = typer.Typer(
    name="flightlog",
    add_completion=False,
    # Plain help: no markup in our texts, and it starts in a third of the time.
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    context_settings={"help_option_names": ["--help", "-h"]},
)
app.command()(demo)
app.command()(debrief)
app.command()(explain)
app.command()(convert)
app.command("open")(open_pages)
app.command("import")(import_logs)
app.add_typer(sortie_app)
app.command()(trends)
app.add_typer(ground_app)
app.command()(sheet)
app.add_typer(checks_app)
app.add_typer(weather_app)
app.add_typer(balance_app)
app.command()(load)
app.add_typer(card_app)
app.add_typer(fitness_app)
app.add_typer(release_app)
app.add_typer(defect_app)
app.command()(event)
app.add_typer(service_app)
app.add_typer(clauses_app)
app.add_typer(incident_app)
app.add_typer(team_app)
app.add_typer(logbook_app)

# Public names for what typer raises; where the classes live has changed between its versions.
_UsageError: type[Exception] = typer.BadParameter.__bases__[0]


def _show_version(wanted: bool) -> None:
    if wanted:
        out().line(f"flightlog {__version__}")
        raise typer.Exit


@app.callback(invoke_without_command=True)
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


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command and give its exit code; nothing is raised.

    Parameters
    ----------
    argv : sequence of str, optional
        Arguments without the program's name; those of the process when not given.
    """
    arguments = sys.argv[1:] if argv is None else list(argv)
    as_json = "--json" in arguments
    if not sys.warnoptions:
        # Meant for developers; a person in the field can do nothing about them.
        warnings.simplefilter("ignore")
    try:
        return wall.shielded(lambda: _command(argv, as_json), as_json=as_json)
    except (KeyboardInterrupt, typer.Abort, Interrupted):
        wall.report(FlightlogError("stopped before the end"), as_json=as_json)
        return wall.INTERRUPTED


def _command(argv: Sequence[str] | None, as_json: bool) -> int:
    try:
        result = app(
            args=None if argv is None else list(argv),
            prog_name="flightlog",
            standalone_mode=False,
        )
    except _UsageError as error:
        if type(error).__name__ == "NoArgsIsHelpError":  # a group alone: its help is no error
            out().lines(str(error).splitlines())
        else:
            _usage(error, as_json)
        return wall.USAGE
    except typer.Exit as end:
        return int(end.exit_code)
    if result == wall.INTERRUPTED:
        raise Interrupted("stopped")  # newer versions of typer turn Ctrl-C into a code
    return result if isinstance(result, int) else wall.DONE


def _usage(error: Exception, as_json: bool) -> None:
    context = getattr(error, "ctx", None)
    if context is not None:
        err().lines(context.get_usage().splitlines())
    message = getattr(error, "format_message", lambda: str(error))()
    command = context.command_path if context is not None else "flightlog"
    wall.report(FlightlogError(message.rstrip("."), fix=f"See {command} --help."), as_json=as_json)
