"""The wall: the one place where errors become exit codes.

What is raised on purpose becomes one line and its own code. Anything else is a fault of this
program: one line, the code 1, and a file with the details for its developers.
"""

from __future__ import annotations

import json
import sys
import tempfile
import traceback
from collections.abc import Callable
from pathlib import Path
from typing import TypeVar

from flightlog import __version__
from flightlog.cli.console import err, out
from flightlog.errors import FlightlogError, Interrupted

Result = TypeVar("Result")

DONE = 0
FAULT = 1
USAGE = 2
FILE_AT_FAULT = 3
NOT_MET = 4
HELD = 5
BROKEN = 6
NOT_WRITABLE = 7
INTERRUPTED = 130

_GRAVEST_FIRST = (FAULT, BROKEN, NOT_WRITABLE, FILE_AT_FAULT, HELD, NOT_MET)


def gravest(codes: list[int]) -> int:
    """Choose the exit code of several steps."""
    return next((code for code in _GRAVEST_FIRST if code in codes), max(codes, default=DONE))


def shielded(step: Callable[[], int], *, as_json: bool = False) -> int:
    """Run one step and give its exit code, whatever it raises.

    Parameters
    ----------
    step : callable
        Gives an exit code.
    as_json : bool
        Whether a program reads standard output: errors then go there as JSON too.

    Raises
    ------
    Interrupted, KeyboardInterrupt
        These end all steps and are left to the caller.
    """
    try:
        return step()
    except Interrupted:
        raise
    except FlightlogError as error:
        report(error, as_json=as_json)
        return error.exit_code
    except Exception as error:  # the wall: a fault must not end in a traceback on a field laptop
        report(_fault(error), as_json=as_json)
        return FAULT


def tried(step: Callable[[], Result]) -> Result | None:
    """Run a step that another way can replace; None when it raises.

    Raises
    ------
    Interrupted, KeyboardInterrupt
        These end everything and are left to the caller.
    """
    try:
        return step()
    except Interrupted:
        raise
    except Exception:  # the other way meets the same fault, and says it
        return None


def report(error: FlightlogError, *, as_json: bool = False) -> None:
    """Say an error as one line on standard error, and as JSON on standard output if asked."""
    err().line(f"flightlog: {error.sentence()}")
    if as_json:
        body = {
            "schema": "flightlog.error/1",
            "where": error.where,
            "found": error.found,
            "fix": error.fix,
        }
        out().json(json.dumps(body))


def _fault(error: Exception) -> FlightlogError:
    details = _keep(error)
    fix = (
        f"Details are in {details}; please send that file to whoever looks after this program."
        if details
        else "The details could not be written to the temporary folder."
    )
    return FlightlogError(f"a fault of this program ({type(error).__name__})", fix=fix)


def _keep(error: Exception) -> Path | None:
    text = "\n".join(
        (
            f"flightlog {__version__}, Python {sys.version}, {sys.platform}",
            f"arguments: {sys.argv[1:]!r}",
            "".join(traceback.format_exception(error)),
        )
    )
    try:
        with tempfile.NamedTemporaryFile(
            "w",
            prefix="flightlog-fault-",
            suffix=".txt",
            delete=False,
            encoding="utf-8",
            errors="backslashreplace",
        ) as file:
            file.write(text)
            return Path(file.name)
    except OSError:
        return None
