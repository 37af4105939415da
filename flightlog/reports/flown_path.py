"""The flown path as charts have it: from the start of the flight, with holes where none was seen.

Between fixes that are far apart the path is interpolation, and nothing of that is drawn.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from flightlog.operations.flight_view import FlightView
from flightlog.reports.chart import Array

SIGMAS = 1.96
"""Half the 95 % interval of a normal distribution, in standard deviations."""


@dataclass(frozen=True, slots=True, eq=False)
class FlownPath:
    """A path from the start of a flight on; all arrays have shape (n,).

    Attributes
    ----------
    time_s : array
        Of the log's clock. [s]
    east_m, north_m : array
        From the start, NaN where no fix was near. [m]
    speed_m_s, speed_half_m_s : array
        Over ground, and half its 95 % interval. [m/s]
    height_m, height_half_m : array
        Of the wheels above the start, and half its 95 % interval; NaN without heights. [m]
    travelled_m : array
        Over ground from the first point on, holes bridged. [m]
    """

    time_s: Array
    east_m: Array
    north_m: Array
    speed_m_s: Array
    speed_half_m_s: Array
    height_m: Array
    height_half_m: Array
    travelled_m: Array

    @property
    def has_height(self) -> bool:
        """Whether there are heights."""
        return bool(np.isfinite(self.height_m).any())

    def within(self, start_s: float, end_s: float) -> NDArray[np.bool_]:
        """Tell which points lie within a stretch of time."""
        return (self.time_s >= start_s) & (self.time_s <= end_s)


def flown_path(view: FlightView) -> FlownPath | None:
    """Give the path of a flight from its start on; None where there is none."""
    path, start = view.path, view.event("start_s")
    if path is None or start is None or not path.time_s.size:
        return None
    t = path.time_s
    seen = np.ones(t.size, dtype=bool)
    for begin, end in path.gaps_s:
        seen &= ~((t > begin) & (t < end))
    speed = np.hypot(path.east_m_s, path.north_m_s)
    steps = np.diff(t) * (speed[1:] + speed[:-1]) / 2
    none = np.full(t.size, np.nan)
    return FlownPath(
        time_s=t,
        east_m=np.where(seen, path.east_m - np.interp(start, t, path.east_m), np.nan),
        north_m=np.where(seen, path.north_m - np.interp(start, t, path.north_m), np.nan),
        speed_m_s=np.where(seen, speed, np.nan),
        speed_half_m_s=SIGMAS * path.speed_std_m_s,
        # Without fixes the barometer may have gone on; its height is no interpolation.
        height_m=none if path.height_m is None else path.height_m,
        height_half_m=none if path.height_std_m is None else SIGMAS * path.height_std_m,
        travelled_m=np.concatenate([[0.0], np.cumsum(steps)]),
    )
