"""Distance from the painted start line to lift-off, for rules that measure from the line.

The roll as measured, plus how far in front of the line the aircraft stood: the median position
of the fixes at rest before the roll, less the aerial's place on the aircraft. One position is
good to a metre or two, so this distance is less sure than the roll itself; a tape measure from
the line to the wheels would be better.
"""

from __future__ import annotations

import math

import numpy as np

from flightlog.analyses.takeoff import Takeoff
from flightlog.analyses.takeoff_data import USABLE_FIX, column, window
from flightlog.estimation.frames import LocalFrame, along_cross
from flightlog.figures import Answer, Figure
from flightlog.inputs import Inputs
from flightlog.recording import Recording
from flightlog.uncertain import Posterior

FIGURE = "takeoff.distance_from_line"

REST_S = 10.0
"""Fixes of so long before the roll give the place where it stood. [s]"""

POSITION_STD_M = 1.5
"""Slow error of a position fix, where the receiver claims nothing believable. [m]"""

BELIEVABLE_M = (0.8, 5.0)
"""Claimed accuracies outside are not believed. [m]"""

FARTHEST_M = 200.0
"""An aircraft that stood farther from the line was on another strip. [m]"""

_NODES = np.linspace(-2.4, 2.4, 25)


def answer(recording: Recording, takeoff: Takeoff, inputs: Inputs) -> Answer:
    """``takeoff.distance_from_line``, or why it can't be had.

    Parameters
    ----------
    recording : Recording
        Its positions at rest before the roll.
    takeoff : Takeoff
        Measured roll and its direction.
    inputs : Inputs
        The site's ``[runway] start_deg``; the aircraft's ``lever_m`` where it is given.
    """
    roll = takeoff.answer.figures.get("takeoff.ground_roll")
    if roll is None or takeoff.start_s is None or takeoff.heading_deg is None:
        return _withheld("the ground roll itself is withheld")
    runway = inputs.site.runway if inputs.site is not None else None
    if runway is None or runway.start_deg is None:
        return _withheld("needs the start line: [runway] start_deg in a site file (--site)")
    stood = _stood(recording, takeoff.start_s, runway.start_deg, takeoff.heading_deg)
    if stood is None:
        return _withheld("the log has no position fixes at rest before the roll")
    offset, std = stood
    if abs(offset) > FARTHEST_M:
        return _withheld(
            f"the aircraft stood {abs(offset):.0f} m from the start line of the site file"
        )
    lever = inputs.aircraft.lever_m if inputs.aircraft is not None else None
    offset -= lever[0] if lever is not None else 0.0
    samples = np.array([roll.quantity.interval(level) for level in np.linspace(0.02, 0.98, 25)])
    shifted = samples.ravel()[:, None] + offset + std * _NODES
    weights = np.broadcast_to(np.exp(-0.5 * _NODES**2), shifted.shape)
    quantity = Posterior.from_samples(shifted, weights, "m")
    method = "ground roll plus the place where it stood before the line"
    return Answer({FIGURE: Figure(FIGURE, quantity, method, roll.sources)})


def _withheld(reason: str) -> Answer:
    return Answer(withheld={FIGURE: reason})


def _stood(
    recording: Recording, start_s: float, line_deg: tuple[float, float], heading_deg: float
) -> tuple[float, float] | None:
    """Metres beyond the line along the roll at rest, and the standard uncertainty. [m]"""
    rows = window(recording.one("gps"), start_s - REST_S, start_s)
    if rows is None:
        return None
    latitude, longitude = column(rows, "latitude_deg"), column(rows, "longitude_deg")
    good = np.isfinite(latitude) & np.isfinite(longitude) & ~(column(rows, "fix") < USABLE_FIX)
    if good.sum() < 3:
        return None
    frame = LocalFrame(line_deg[0], line_deg[1])
    east, north = frame.east_north(latitude[good], longitude[good])
    along, _ = along_cross(east, north, heading_deg)
    claimed = column(rows, "horizontal_accuracy_m")[good]
    claim = float(np.nanmedian(claimed)) if np.isfinite(claimed).any() else math.nan
    believed = BELIEVABLE_M[0] <= claim <= BELIEVABLE_M[1]
    return float(np.median(along)), claim if believed else POSITION_STD_M
