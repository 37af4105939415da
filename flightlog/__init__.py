"""Flight-test records for teams that build their own cargo aircraft."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

__version__ = "0.1.0"

if TYPE_CHECKING:
    from flightlog.debriefing import Debrief, debrief
    from flightlog.errors import FlightlogError
    from flightlog.figures import Figure
    from flightlog.importers import read
    from flightlog.joining import join
    from flightlog.operations.season_figures import season, season_figures, season_files
    from flightlog.recording import Recording

_HOMES = {
    "Debrief": "flightlog.debriefing",
    "Figure": "flightlog.figures",
    "FlightlogError": "flightlog.errors",
    "Recording": "flightlog.recording",
    "debrief": "flightlog.debriefing",
    "join": "flightlog.joining",
    "read": "flightlog.importers",
    "season": "flightlog.operations.season_figures",
    "season_figures": "flightlog.operations.season_figures",
    "season_files": "flightlog.operations.season_figures",
}

__all__ = [
    "Debrief",
    "Figure",
    "FlightlogError",
    "Recording",
    "debrief",
    "join",
    "read",
    "season",
    "season_figures",
    "season_files",
]


def __getattr__(name: str) -> Any:
    # Loaded on first use: the command line must answer --help before pandas is read.
    if name in _HOMES:
        import importlib

        return getattr(importlib.import_module(_HOMES[name]), name)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
