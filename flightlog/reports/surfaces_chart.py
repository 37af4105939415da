"""A surface and its answer: what it was told, and the turning rate that followed."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from flightlog.analyses.surface_answers import axis_of
from flightlog.analyses.surface_data import Surface, Told, surfaces_of, told
from flightlog.analyses.surface_motion import Motion, motion_of
from flightlog.analyses.track import airborne_window
from flightlog.estimation.frames import Array
from flightlog.operations.flight_view import FlightView
from flightlog.reports.chart import Chart, Line, Panel
from flightlog.reports.plain import plain
from flightlog.reports.stored_words import figure_text

TITLE = "Surfaces: command and answer"
SHOWN_S = 12.0
"""So long a stretch is shown: the one in which the surface moved most. [s]"""
NO_SURFACES = "Nothing to draw: name the outputs that drive surfaces in the aircraft file."
NO_OUTPUTS = "Nothing to draw: log what the outputs were told, at 25 Hz or faster."
_AXES = {"roll": 0, "pitch": 1, "yaw": 2}
_RATES = {
    "roll": "Roll rate, right wing down",
    "pitch": "Pitch rate, nose up",
    "yaw": "Yaw rate, nose right",
}


def surfaces_chart(view: FlightView, why: str) -> Chart:
    """Draw the deflection and the turning rate of the surface that tells most.

    Parameters
    ----------
    view : FlightView
        The flight.
    why : str
        Why there is no log.
    """
    if view.recording is None or view.sortie is None or view.takeoff is None:
        lacking = why or "The flight can't be found in its log again."
        return Chart("surfaces", TITLE, lacking=lacking)
    surfaces = [s for s in surfaces_of(view.aircraft) if axis_of(s) is not None]
    if not surfaces:
        return Chart("surfaces", TITLE, lacking=NO_SURFACES)
    window = airborne_window(view.sortie, view.takeoff.answer)
    pulses = told(view.recording, window.start_s, window.end_s)
    seen = [
        Told(s, *pulses[s.channel], float(np.median(np.diff(pulses[s.channel][0]))))
        for s in surfaces
        if s.channel in pulses
    ]
    if not seen:
        return Chart("surfaces", TITLE, lacking=NO_OUTPUTS)
    one = max(seen, key=lambda each: _telling(view, each))
    motion, no_motion = motion_of(view.recording, window)
    return _drawn(view, one, motion, no_motion)


def _telling(view: FlightView, one: Told) -> tuple[bool, float, float]:
    """Rank a surface: one that was found at fault, then by its play, then by its moves."""
    faults = {f["evidence"].get("channel") for f in view.debrief.get("findings") or ()}
    play = view.figure(one.surface.figure("play"))
    moved = float(np.abs(np.diff(one.pulse_us)).sum())
    return one.surface.channel in faults, play[0] if play is not None else 0.0, moved


def _drawn(view: FlightView, one: Told, motion: Motion | None, no_motion: str) -> Chart:
    surface = one.surface
    begin = _busiest(one, motion)
    end = begin + SHOWN_S
    name = plain(surface.name, 40)
    panels = [Panel(f"Told to the {name}", *_command(view, one, begin, end))]
    left_out = ""
    axis = axis_of(surface)
    if motion is None or axis is None:
        left_out = f"The answer is left out: {no_motion}."
    else:
        rows = (motion.grid_s >= begin) & (motion.grid_s <= end)
        rate = motion.rates[rows, _AXES[axis]]
        line = Line("turning rate", motion.grid_s[rows], rate)
        panels.append(Panel(_RATES[axis], "°/s", (line,)))
        left_out = " ".join(_said(view, surface))
    return Chart("surfaces", TITLE, "time of the log", "s", panels, left_out=left_out)


def _busiest(one: Told, motion: Motion | None) -> float:
    """Give where the stretch begins in which the output moved most, with an answer to it. [s]"""
    moved = np.concatenate([[0.0], np.cumsum(np.abs(np.diff(one.pulse_us)))])
    ends = np.interp(one.time_s + SHOWN_S, one.time_s, moved)
    first, last = float(one.time_s[0]), float(one.time_s[-1])
    if motion is not None and motion.grid_s[0] < last and motion.grid_s[-1] > first:
        first, last = max(first, float(motion.grid_s[0])), min(last, float(motion.grid_s[-1]))
    inside = (one.time_s >= first) & (one.time_s <= max(last - SHOWN_S, first))
    if not inside.any():
        return first
    return float(one.time_s[inside][int(np.argmax((ends - moved)[inside]))])


def _command(view: FlightView, one: Told, begin: float, end: float) -> tuple[str, tuple[Line, ...]]:
    """Give unit and line of what the surface was told, as wide as its play."""
    rows = (one.time_s >= begin) & (one.time_s <= end)
    t, angle = one.time_s[rows], one.deflection_deg
    if angle is None:
        return "µs", (Line("pulse", t, one.pulse_us[rows]),)
    play = view.figure(one.surface.figure("play"))
    half: Array = np.full(t.size, play[0] / 2 if play is not None else 0.0)
    if play is None:
        return "°", (Line("deflection, trailing edge down", t, angle[rows]),)
    name = "deflection, trailing edge down; band: its play"
    return "°", (Line(name, t, angle[rows], angle[rows] - half, angle[rows] + half),)


def _said(view: FlightView, surface: Surface) -> Iterable[str]:
    """Say the figures of the surface below the picture."""
    for what in ("play", "lag", "gain"):
        body = view.debrief["figures"].get(surface.figure(what))
        if body is not None:
            yield f"{what.capitalize()} {figure_text(surface.figure(what), body)}."
