"""Heights: the static port, a barometer that warms up, and which altitude a file holds."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING

import numpy as np

from flightlog.analyses.baro_errors import SLOPE_STD, port_error, warming
from flightlog.analyses.heights import GPS_HEIGHT_STD_M
from flightlog.findings import Finding, make_finding
from flightlog.screening.series import column, read_fixes

if TYPE_CHECKING:
    from flightlog.screening.context import FlightView, LogView

_GIVEN_SLOPE_STD = 0.003


def static_pressure_error(view: FlightView) -> Iterable[Finding]:
    """Find a barometric height that goes with the speed while the wheels are on the ground.

    Heights allow for a pressure coefficient of 0.035 (1 sigma) anyway, and for the measured one
    where it is larger: `flightlog.analyses.heights`. Raises `static-pressure-error`.
    """
    runway = view.inputs.site.runway if view.inputs.site is not None else None
    slope = (runway.slope, _GIVEN_SLOPE_STD) if runway is not None else (0.0, SLOPE_STD)
    error = port_error(view.recording, view.sortie, slope)
    if error is None or not error.is_clear:
        return
    yield make_finding(
        "static-pressure-error",
        f"In the roll, with the wheels on the ground, the barometric height moves by "
        f"{error.error_m:+.2f} m (± {1.96 * error.error_std_m:.2f}) up to "
        f"{error.speed_m_s:.1f} m/s: the static port errs by {-error.coefficient:.3f} of the "
        "dynamic pressure, and heights at speed by as much.",
        evidence={
            "coefficient": -error.coefficient,
            "coefficient_std": error.std,
            "error_m": error.error_m,
            "error_std_m": error.error_std_m,
            "speed_m_s": error.speed_m_s,
        },
        start_s=view.sortie.start_s,
        end_s=view.sortie.end_s,
    )


def baro_warming(view: FlightView) -> Iterable[Finding]:
    """Find a barometer that drifted with its temperature before the flight (`baro-warming`).

    Heights allow for a drift that goes on at the rate of the last minute of the rest.
    """
    found = warming(view.recording, view.sortie)
    if found is None:
        return
    yield make_finding(
        "baro-warming",
        f"At rest before the flight the barometric height moved by {found.move_m:+.1f} m in "
        f"{found.rest_s / 60:.1f} min while the sensor's temperature changed by "
        f"{found.warmed_k:+.1f} K ({found.per_kelvin_m:+.2f} m/K, r = {found.r:.2f}); a drift of "
        f"{60 * found.rate_m_s:+.2f} m/min may go on in flight, and intervals allow for it.",
        evidence={
            "move_m": found.move_m,
            "warmed_k": found.warmed_k,
            "per_kelvin_m": found.per_kelvin_m,
            "r": found.r,
            "rate_m_s": found.rate_m_s,
        },
        start_s=view.sortie.start_s,
        end_s=view.sortie.end_s,
    )


_FROM_HEIGHT = ("climb.best_rate", "climb.height_at_60s", "climb.gradient", "flight.max_height")


def altitude_by_gps(view: FlightView) -> Iterable[Finding]:
    """Say that heights come from the receiver's altitude (`altitude-reference`).

    Only differences of it are used, so that its zero (ellipsoid or sea level) does not matter;
    its slow drift does, and is in the intervals (`flightlog.analyses.heights`).
    """
    baro = view.recording.one("baro")
    if baro is not None and np.isfinite(column(baro, "height_m")).any():
        return
    used = [id_ for id_ in _FROM_HEIGHT if id_ in view.figures]
    if not used:
        return
    drift = 1.96 * GPS_HEIGHT_STD_M * 2**0.5
    yield make_finding(
        "altitude-reference",
        "Without a barometer heights are differences of the receiver's altitude, whose drift "
        f"alone makes ± {drift:.1f} m (95 %).",
        evidence={"drift_95_m": drift},
        start_s=view.sortie.start_s,
        end_s=view.sortie.end_s,
    )


FAR_M = 20.0
"""The vertical error of a sound receiver is about 5 m (1 sigma); 20 m is 4 sigma. Geoid and
ellipsoid are up to 100 m apart. [m]"""

_REST_S = 30.0


def altitude_off_site(view: LogView) -> Iterable[Finding]:
    """Compare the altitude at the start with the site's elevation (`altitude-reference`).

    Nothing depends on it, because heights are differences: a note.
    """
    site = view.inputs.site
    fixes = read_fixes(view.recording)
    if site is None or site.elevation_m is None or fixes is None:
        return
    starts = [s.start_s for s in view.sorties if s.starts == "rest"]
    if not starts:
        return
    rest = (fixes.time_s <= starts[0]) & (fixes.time_s > starts[0] - _REST_S)
    altitude = fixes.altitude_m[rest]
    altitude = altitude[np.isfinite(altitude)]
    if len(altitude) < 5:
        return
    off = float(np.median(altitude)) - site.elevation_m
    if abs(off) < FAR_M:
        return
    yield make_finding(
        "altitude-reference",
        f"At the start the receiver's altitude is {off:+.0f} m off the site's elevation of "
        f"{site.elevation_m:.0f} m: it may be above the ellipsoid, or the site file is wrong; only "
        "differences of it are used.",
        evidence={"off_m": off, "site_elevation_m": site.elevation_m},
        severity="note",
        affects=(),
    )
