"""From metres around the start of the runway to latitude and longitude."""

from __future__ import annotations

from dataclasses import dataclass
from math import cos, radians, sin, sqrt

import numpy as np

from .aircraft import Array

# WGS-84 (NIMA TR8350.2)
SEMI_MAJOR = 6378137.0
ECCENTRICITY2 = 6.69437999014e-3


@dataclass(frozen=True)
class Place:
    """Where the runway is.

    Attributes
    ----------
    latitude, longitude : float
        Middle of the start line. [deg]
    elevation : float
        Above mean sea level. [m]
    heading : float
        Direction of take-off, clockwise from true north. [deg]
    """

    latitude: float
    longitude: float
    elevation: float
    heading: float

    def metres_per_degree(self) -> tuple[float, float]:
        """Length of a degree of latitude and of longitude. [m]"""
        s2 = sin(radians(self.latitude)) ** 2
        meridian = SEMI_MAJOR * (1 - ECCENTRICITY2) / (1 - ECCENTRICITY2 * s2) ** 1.5
        normal = SEMI_MAJOR / sqrt(1 - ECCENTRICITY2 * s2)
        north = radians(meridian + self.elevation)
        east = radians(normal + self.elevation) * cos(radians(self.latitude))
        return north, east

    def north_east(self, s: Array, c: Array) -> tuple[Array, Array]:
        """Turn along and right of the runway into north and east; for vectors too."""
        a = radians(self.heading)
        return s * cos(a) - c * sin(a), s * sin(a) + c * cos(a)

    def latitude_longitude(self, s: Array, c: Array) -> tuple[Array, Array]:
        """Latitude and longitude [deg] of points along and right of the runway [m]."""
        north, east = self.north_east(s, c)
        per_north, per_east = self.metres_per_degree()
        return self.latitude + north / per_north, self.longitude + east / per_east

    def point(self, s: float, c: float) -> list[float]:
        """Latitude and longitude of one point. [deg]"""
        lat, lon = self.latitude_longitude(np.float64(s), np.float64(c))  # type: ignore[arg-type]
        return [float(lat), float(lon)]
