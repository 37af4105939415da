"""What shakes in cruise: the spectrum, with the propeller's multiples and peaks on the ground."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from flightlog.analyses.propeller import Turning, turning
from flightlog.analyses.vibration_windows import Shaken, shaken
from flightlog.estimation.frames import Array
from flightlog.estimation.spectra import folded, power_spectra
from flightlog.inputs import Aircraft, Inputs
from flightlog.operations.flight_view import FlightView
from flightlog.reports.chart import Chart, Line, Mark, Panel

TITLE = "Vibration in cruise"
LOWEST_HZ = 5.0
"""Slower than this the aircraft manoeuvres and does not shake. [Hz]"""
_LEAST_WINDOWS = 4


def vibration_chart(view: FlightView, why: str) -> Chart:
    """Draw the amplitude density against frequency.

    Parameters
    ----------
    view : FlightView
        The flight.
    why : str
        Why there is no log.
    """
    recording, sortie, takeoff = view.recording, view.sortie, view.takeoff
    if recording is None or sortie is None or takeoff is None:
        lacking = why or "The flight can't be found in its log again."
        return Chart("vibration", TITLE, lacking=lacking)
    found, reason = shaken(recording, sortie, view.path, takeoff)
    if found is None:
        return Chart("vibration", TITLE, lacking=f"Nothing to draw: {reason}.")
    rows = found.phase == "cruise" if found.phases_known else found.airborne
    if np.count_nonzero(rows) < _LEAST_WINDOWS:
        return Chart("vibration", TITLE, lacking="Nothing to draw: the log holds no cruise.")
    every = power_spectra(found.windows)
    power = every[rows]
    inputs = Inputs(aircraft=view.aircraft)
    turns, no_turns = turning(recording, inputs, found.windows, every)
    marks = [
        *_orders(view.aircraft, turns, found, rows),
        *_structure(view.aircraft, found.windows.rate_hz),
    ]
    return Chart(
        "vibration",
        TITLE,
        "frequency",
        "Hz",
        (Panel("Amplitude density", "m/s²/√Hz", tuple(_lines(found, power))),),
        sorted(marks, key=lambda mark: mark.x),
        left_out=f"The propeller's multiples are left out: {no_turns}." if no_turns else "",
    )


def _lines(found: Shaken, power: Array) -> Iterator[Line]:
    """Give the middle of all windows, and what nine of ten stay below."""
    frequency = found.windows.frequency_hz
    shown = frequency >= LOWEST_HZ
    middle, upper = np.sqrt(np.percentile(power[:, shown], [50, 90], axis=0))
    yield Line("in 1 of 10 windows above", frequency[shown], upper, stroke="dotted", strong=False)
    yield Line("the middle of all windows", frequency[shown], middle)


def _orders(
    aircraft: Aircraft | None, turns: Turning | None, found: Shaken, rows: NDArray[np.bool_]
) -> Iterator[Mark]:
    """Mark where the propeller's multiples show, with the stretch over which they moved."""
    if turns is None:
        return
    speed = turns.at(found.windows.middle_s[rows])
    speed = speed[np.isfinite(speed) & (speed > 0)]
    if not speed.size:
        return
    low, middle, high = np.percentile(speed, [10, 50, 90])
    rate = found.windows.rate_hz
    blades = aircraft.blades if aircraft is not None else None
    for order, name in ((1, "once a turn"), *(((blades, "blade passing"),) if blades else ())):
        at = float(folded(order * middle, rate))
        ends = sorted(float(folded(order * each, rate)) for each in (low, high))
        inside = ends[0] <= at <= ends[1]
        seen = "" if order * middle <= rate / 2 else f" ({order * middle:.0f} Hz, folded)"
        yield Mark(f"{name}{seen}", at, *(ends if inside else ()))


def _structure(aircraft: Aircraft | None, rate_hz: float) -> Iterator[Mark]:
    for frequency in aircraft.structure_hz if aircraft is not None else ():
        if LOWEST_HZ <= frequency <= rate_hz / 2:
            yield Mark(f"ground test {frequency:g} Hz", frequency, limit=True)
