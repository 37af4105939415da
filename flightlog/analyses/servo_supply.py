"""The voltage that feeds the servos: the least of it, and dips while they work."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

import numpy as np

from flightlog.analyses.surface_data import column, series, series_of_channels
from flightlog.analyses.track import Window
from flightlog.estimation.frames import Array
from flightlog.figures import Answer, Figure
from flightlog.findings import Finding, make_finding
from flightlog.uncertain import Uncertain

if TYPE_CHECKING:
    from flightlog.recording import Recording

LEAST_VOLTAGE = 4.8
"""Servos of the 5 V kind lose torque and speed below this. [V]"""

VOLTAGE_SCALE_STD = 0.01
"""Standard uncertainty of the sensor's scale: one per cent, as of battery monitors. [-]"""

_VOLTAGE_ZERO_STD = 0.02
_DISCONNECTED_V = 1.0
_BEFORE_S, _AFTER_S = 0.5, 0.3
_STEP_S = 0.1
_LONG_S = 5.0
_MIN_VOLTAGE = "supply.min_voltage"


def servo_supply(recording: Recording, window: Window) -> Answer:
    """Give supply.min_voltage, and a finding where it dips while servos move.

    Parameters
    ----------
    recording : Recording
        Its tables ``supply`` and ``outputs``.
    window : Window
        Airborne.
    """
    table = recording.get("supply")
    if table is None:
        return Answer()
    rows = series(table, ("servo_voltage_v",), window.start_s, window.end_s)
    if rows is None:
        return Answer(withheld={_MIN_VOLTAGE: _why_not(column(table, "servo_voltage_v"))})
    time_s, voltage = rows[0], rows[1][:, 0]
    if float(np.median(voltage)) < _DISCONNECTED_V:
        why = "the servos' supply reads about 0 V: nothing is connected to its sensor"
        return Answer(withheld={_MIN_VOLTAGE: why})
    least = float(voltage.min())
    step = float(np.median(np.diff(time_s)))
    figure = Figure(
        _MIN_VOLTAGE,
        Uncertain(
            least,
            {"sensor scale": VOLTAGE_SCALE_STD * least, "sensor zero": _VOLTAGE_ZERO_STD},
            "V",
        ),
        f"least sample in the air, logged at {1 / step:.0f} Hz; shorter dips are not seen",
        ("supply",),
    )
    findings = tuple(_low(recording, window, time_s, voltage, step))
    return Answer({_MIN_VOLTAGE: figure}, {}, findings)


def _why_not(voltage: Array) -> str:
    if not np.isfinite(voltage).any():
        return "the log has no voltage of the servos' supply; connect its sensor and log it"
    return "the servos' supply was not logged in the air"


def _low(
    recording: Recording, window: Window, time_s: Array, voltage: Array, step: float
) -> Iterator[Finding]:
    low = voltage < LEAST_VOLTAGE
    if not low.any():
        return
    seconds = float(low.sum()) * step
    moving = _moved(recording, window, time_s[low])
    working = float(moving.mean()) if moving is not None else 0.0
    if moving is not None and not moving.any() and seconds < _LONG_S:
        return
    told = (
        "whether servos worked then was not logged"
        if moving is None
        else f"servos were moving more than usual in {100 * working:.0f} % of these moments"
    )
    yield make_finding(
        "servo-supply-low",
        f"The servos' supply fell below {LEAST_VOLTAGE} V, to {voltage.min():.2f} V, for "
        f"{seconds:.1f} s in all; {told}.",
        evidence={
            "least_v": float(voltage.min()),
            "below_s": seconds,
            "share_while_moving": working,
        },
        start_s=float(time_s[low][0]),
        end_s=float(time_s[low][-1]),
    )


def _moved(recording: Recording, window: Window, when_s: Array) -> Array | None:
    """Whether the outputs together moved more than their median about each time."""
    rows = series_of_channels(recording.get("outputs"), window.start_s, window.end_s)
    if not rows or not 0 < window.length_s < 1e5:
        return None
    grid = np.arange(window.start_s, window.end_s, _STEP_S)
    gone = np.zeros(grid.size)
    for time_s, pulse in rows.values():
        if time_s.size > 1:
            way = np.concatenate([[0.0], np.cumsum(np.abs(np.diff(pulse)))])
            gone += np.interp(grid, time_s, way)

    def moves(at_s: Array) -> Array:
        after = np.interp(at_s + _AFTER_S, grid, gone)
        moved: Array = after - np.interp(at_s - _BEFORE_S, grid, gone)
        return moved

    more: Array = (moves(when_s) > float(np.median(moves(grid)))).astype(float)
    return more
