"""All detectors, in the order in which they are asked."""

from __future__ import annotations

from flightlog.screening import FlightDetector, LogDetector

LOG_DETECTORS: tuple[LogDetector, ...] = (
    # --- clocks, positions, heights, units
    # --- power, outputs, inertial sensors, air data, settings
)

FLIGHT_DETECTORS: tuple[FlightDetector, ...] = (
    # --- clocks, positions, heights, units
    # --- power, outputs, inertial sensors, air data, what was declared
)
