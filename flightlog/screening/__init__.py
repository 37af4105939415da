"""Is the log what it says it is? What must be said before anyone trusts a number.

Each detector looks for one way in which a log or what was given beside it misleads, and gives
findings; none changes a value. What a ``stop`` finding spoils is withheld by
`flightlog.figures.settle`, as everywhere. One file per subject; the lists below are the order.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import TYPE_CHECKING

from flightlog.screening.context import FlightView, LogView

if TYPE_CHECKING:
    from flightlog.findings import Finding

__all__ = [
    "FlightView",
    "LogView",
    "left_out",
    "screen_flight",
    "screen_log",
    "screen_sensors",
]

LogDetector = Callable[[LogView], "Iterable[Finding]"]
FlightDetector = Callable[[FlightView], "Iterable[Finding]"]

UNUSABLE = {"airspeed-unusable": "airspeed"}
"""Finding -> the table that can't be used when the finding stops."""


def left_out(finding: Finding) -> str:
    """The column (``table.column``) that a finding keeps from all analyses; "" for none."""
    return str(finding.evidence.get("left_out", ""))


def screen_log(view: LogView) -> tuple[Finding, ...]:
    """Look at a whole recording, once its sorties are known.

    Findings with a time concern the sorties at that time, those without one concern all.
    """
    from flightlog.screening.lists import LOG_DETECTORS

    return tuple(finding for detect in LOG_DETECTORS for finding in detect(view))


def screen_sensors(view: FlightView) -> tuple[Finding, ...]:
    """Look at the sensors of one sortie once its path is known, before anything builds on them.

    What a ``stop`` finding of `UNUSABLE` speaks of is not shown to the analyses that follow, so
    that they fall back on other sensors.
    """
    from flightlog.screening.lists import SENSOR_DETECTORS

    return tuple(finding for detect in SENSOR_DETECTORS for finding in detect(view))


def screen_flight(view: FlightView) -> tuple[Finding, ...]:
    """Look at one sortie, once it is measured."""
    from flightlog.screening.lists import FLIGHT_DETECTORS

    return tuple(finding for detect in FLIGHT_DETECTORS for finding in detect(view))
