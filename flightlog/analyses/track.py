"""Distance over ground, and the windows that several analyses measure in."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from flightlog.analyses.phases import Sortie
from flightlog.estimation.path import FlightPath
from flightlog.figures import Answer
from flightlog.uncertain import Uncertain

COARSE_STD_S = 0.5
"""Standard uncertainty of the event times of a sortie that is not yet measured. [s]"""

TOUCHDOWN_STD_S = 1.0
"""Standard uncertainty of a touchdown that only the phases told: a flare is long and flat, and
the simulated ones were found 0.8 to 1.7 s early. [s]"""

MAX_UNSEEN_SHARE = 0.05
"""Share of a window without fixes above which its distance is withheld."""

_SMOOTHING_STD = 0.002
_SPEED_CORRELATION_S = 1.0


@dataclass(frozen=True, slots=True)
class Window:
    """A stretch of the flight.

    Attributes
    ----------
    start_s, end_s : float
        Log clock. [s]
    start_std_s, end_std_s : float
        Standard uncertainty of the ends; 0 for an end of the log. [s]
    missing : str
        What of the flight the log does not hold; "" when it holds all.
    """

    start_s: float
    end_s: float
    start_std_s: float
    end_std_s: float
    missing: str

    @property
    def length_s(self) -> float:
        """End minus start. [s]"""
        return self.end_s - self.start_s


def start_of_roll(sortie: Sortie, takeoff: Answer | None) -> Uncertain:
    """Start of the roll as the take-off analysis gives it, else as the sortie was found. [s]"""
    measured = _measured(takeoff, "takeoff.start_time")
    if measured is not None:
        return measured
    std = 0.0 if sortie.starts == "air" else COARSE_STD_S
    return Uncertain.of(sortie.start_s, std, "s", source="start of roll")


def airborne_window(sortie: Sortie, takeoff: Answer | None) -> Window:
    """Lift-off to touchdown, or what the log holds of it."""
    measured = _measured(takeoff, "takeoff.liftoff_time")
    start, start_std = sortie.liftoff_s, COARSE_STD_S
    if measured is not None:
        start, start_std = measured.value, measured.std
    end, end_std = sortie.touchdown_s, TOUCHDOWN_STD_S
    if sortie.touchdown_std_s is not None:
        end_std = sortie.touchdown_std_s
    missing = []
    if start is None:
        start, start_std = sortie.start_s, 0.0
        missing.append("starts")
    if end is None:
        end, end_std = sortie.end_s, 0.0
        missing.append("ends")
    text = f"the log {' and '.join(missing)} in the air" if missing else ""
    return Window(start, end, start_std, end_std, text)


def _measured(takeoff: Answer | None, figure: str) -> Uncertain | None:
    if takeoff is None or figure not in takeoff.figures:
        return None
    quantity = takeoff.figures[figure].quantity
    return Uncertain.of(quantity.value, quantity.std, "s", source=figure)


def unseen_s(path: FlightPath, start_s: float, end_s: float) -> float:
    """Seconds of a window without fixes, outside the path included. [s]"""
    lost = sum(max(0.0, min(b, end_s) - max(a, start_s)) for a, b in path.gaps_s)
    before = max(0.0, float(path.time_s[0]) - start_s)
    after = max(0.0, end_s - float(path.time_s[-1]))
    return min(end_s - start_s, lost + before + after)


def ground_distance(path: FlightPath, start_s: float, end_s: float) -> Uncertain | None:
    """Length of the ground track in a window.

    The integral of the smoothed ground speed: summed distances between positions would grow
    with their noise.

    Returns
    -------
    Uncertain or None
        Distance [m]; None when over `MAX_UNSEEN_SHARE` of the window has no fixes.
    """
    length = end_s - start_s
    if length <= 0 or path.time_s.size < 2:
        return None
    unseen = unseen_s(path, start_s, end_s)
    if unseen > MAX_UNSEEN_SHARE * length:
        return None
    t = path.time_s
    speed = np.hypot(path.east_m_s, path.north_m_s)
    inside = (t > start_s) & (t < end_s)
    knots = np.concatenate([[start_s], t[inside], [end_s]])
    at = np.interp(knots, t, speed)
    distance = float(np.sum(0.5 * (at[1:] + at[:-1]) * np.diff(knots)))
    noise = float(np.median(path.speed_std_m_s)) * math.sqrt(2 * _SPEED_CORRELATION_S * length)
    slow = path.drift_std_m * math.sqrt(2 * (1 - math.exp(-length / path.drift_time_s)))
    name = f"{start_s:.3f}-{end_s:.3f}"
    # Nearly every window is seen whole.
    guessed = 0.2 * unseen * float(np.median(speed)) if unseen else 0.0
    return Uncertain(
        distance,
        {
            f"track noise {name}": noise,
            f"track drift {name}": slow,
            "track smoothing": _SMOOTHING_STD * distance,
            f"track gaps {name}": guessed,
        },
        "m",
    )
