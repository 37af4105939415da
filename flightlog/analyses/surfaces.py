"""Surfaces: how they were moved, and how the aircraft answered."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING

import numpy as np

from flightlog.analyses.limit_cycles import limit_cycles
from flightlog.analyses.phases import Sortie
from flightlog.analyses.servo_supply import servo_supply
from flightlog.analyses.surface_answers import answers
from flightlog.analyses.surface_data import Surface, Told, surfaces_of, told
from flightlog.analyses.surface_motion import motion_of
from flightlog.analyses.surface_travel import moves, saturation, steady_flight, trim
from flightlog.analyses.track import Window, airborne_window
from flightlog.estimation.path import FlightPath
from flightlog.figures import Answer, Figure
from flightlog.findings import Finding, make_finding
from flightlog.inputs import Inputs

if TYPE_CHECKING:
    from flightlog.recording import Recording

FIGURES_OF_ONE = (
    *("saturation", "trim", "trim_shift", "reversals", "travel", "lag", "gain", "play"),
)
"""What is told of each surface."""

_SILENT = "the output was not logged in the air; log outputs at 25 Hz"


def answer(
    recording: Recording,
    sortie: Sortie,
    path: FlightPath | None,
    inputs: Inputs,
    takeoff: Answer | None = None,
) -> Answer:
    """Give the surface.* figures of one sortie, and the least voltage of the servos' supply.

    Parameters
    ----------
    recording : Recording
        Outputs, inertial sensors, attitude, airspeed, supply.
    sortie : Sortie
        Its bounds.
    path : FlightPath or None
        Rate of climb.
    inputs : Inputs
        The aircraft file: names of the outputs, linkages, baseline, limits.
    takeoff : Answer, optional
        Its "takeoff.liftoff_time" replaces the sortie's coarse time.
    """
    window = airborne_window(sortie, takeoff)
    parts = [servo_supply(recording, window), *_surfaces(recording, window, path, inputs)]
    figures: dict[str, Figure] = {}
    withheld: dict[str, str] = {}
    findings: list[Finding] = []
    for part in parts:
        figures.update(part.figures)
        withheld.update(part.withheld)
        findings += part.findings
    return Answer(figures, withheld, tuple(findings))


def _surfaces(
    recording: Recording, window: Window, path: FlightPath | None, inputs: Inputs
) -> list[Answer]:
    aircraft = inputs.aircraft
    surfaces = surfaces_of(aircraft)
    if aircraft is None or not surfaces:
        return []
    if "outputs" not in recording:
        return [*(_silent(surface) for surface in surfaces), _nothing_told(surfaces)]
    pulses = told(recording, window.start_s, window.end_s)
    seen: dict[int, Told] = {}
    parts: list[Answer] = []
    for surface in surfaces:
        if (rows := pulses.get(surface.channel)) is None:
            parts.append(_silent(surface))
            continue
        time_s, pulse = rows
        seen[surface.channel] = Told(surface, time_s, pulse, float(np.median(np.diff(time_s))))
    steady, why_not = steady_flight(recording, window, path) if seen else (None, "")
    for one in seen.values():
        surface = one.surface
        share, saturated = saturation(one, window)
        parts.append(Answer({share.id: share}, {}, tuple(saturated)))
        parts.append(Answer(*moves(one)))
        if steady is None:
            reason = why_not if surface.points else surface.needs_points
            ids = (surface.figure("trim"), surface.figure("trim_shift"))
            parts.append(Answer(withheld=dict.fromkeys(ids, reason)))
        else:
            level, missing, shifted = trim(one, steady, aircraft.baseline)
            parts.append(Answer(level, missing, tuple(shifted)))
    if seen:
        motion, why_no_motion = motion_of(recording, window)
        parts.append(answers(seen, pulses, motion, why_no_motion, aircraft))
        parts.append(Answer(findings=tuple(limit_cycles(recording, seen, window))))
    return parts


def _nothing_told(surfaces: Iterable[Surface]) -> Answer:
    """Say once that a log without outputs excludes nothing."""
    names = ", ".join(surface.name for surface in surfaces)
    text = (
        f"Play and a wrong sense of surfaces ({names}) cannot be excluded: the log has no outputs; "
        "log what the servos are told, and the inertial sensor"
    )
    return Answer(
        findings=(make_finding("not-excluded", text, evidence={"fault": "surface-play"}),)
    )


def _silent(surface: Surface) -> Answer:
    return Answer(withheld={surface.figure(what): _SILENT for what in FIGURES_OF_ONE})
