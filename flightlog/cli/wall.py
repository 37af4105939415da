"""The wall: the one place where errors become exit codes.

What is raised on purpose becomes one line and its own code. Anything else is a fault of this
program: one line, the code 1, and a file with the details for its developers.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from typing import TypeVar

from flightlog.cli.console import err, out
from flightlog.errors import FlightlogError, Interrupted
from flightlog.reports.faults import fault_of

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
        report(fault_of(error), as_json=as_json)
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
