"""A fault of this program as an error that can be told, with its details in a file."""

from __future__ import annotations

import sys
import tempfile
import traceback
from pathlib import Path

from flightlog.errors import FlightlogError


def fault_of(error: Exception) -> FlightlogError:
    """Give a fault in one sentence; its details go into a file for those who develop this."""
    details = _keep(error)
    fix = (
        f"Details are in {details}; please send that file to whoever looks after this program."
        if details
        else "The details could not be written to the temporary folder."
    )
    return FlightlogError(f"a fault of this program ({type(error).__name__})", fix=fix)


def _keep(error: Exception) -> Path | None:
    from flightlog import __version__

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
