"""The way from arguments to an exit code."""

from __future__ import annotations

import sys
import warnings
from collections.abc import Sequence

import typer

from flightlog.cli import wall
from flightlog.cli.commands import application
from flightlog.cli.console import err, out
from flightlog.errors import FlightlogError, Interrupted

# Public names for what typer raises; where the classes live has changed between its versions.
_UsageError: type[Exception] = typer.BadParameter.__bases__[0]


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
        result = application(sys.argv[1:] if argv is None else argv)(
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
