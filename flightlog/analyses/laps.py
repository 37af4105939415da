"""Laps between crossings of a gate."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from flightlog.uncertain import Quantity


@dataclass(frozen=True, slots=True)
class Gate:
    """The line that laps are counted at.

    Attributes
    ----------
    origin : {"given", "found"}
        From the site file, or placed by the analysis.
    left_deg, right_deg : tuple of float
        Latitude, longitude of its ends; crossed with ``left`` on the left hand. [deg]
    """

    origin: Literal["given", "found"]
    left_deg: tuple[float, float]
    right_deg: tuple[float, float]


@dataclass(frozen=True, slots=True)
class Lap:
    """One whole lap.

    Attributes
    ----------
    number : int
        From 1.
    start_s, end_s : float
        Gate crossings. [s]
    time, energy, distance : Quantity
        In s, Wh and m; energy and distance None where they can't be had.
    """

    number: int
    start_s: float
    end_s: float
    time: Quantity
    energy: Quantity | None
    distance: Quantity | None
