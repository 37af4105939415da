"""The dictionary of findings: what the reader must know before trusting a number.

A finding is an instance of a kind from `FINDINGS`. Its severity says what happens to the
figures that it affects: ``stop`` withholds them, ``degrade`` means that they were widened,
``note`` changes nothing. The message carries the numbers; the kind carries the rest.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from fnmatch import fnmatchcase
from types import MappingProxyType
from typing import Literal

Severity = Literal["stop", "degrade", "note"]


@dataclass(frozen=True, slots=True)
class FindingKind:
    """One kind of finding.

    Attributes
    ----------
    code : str
        The slug, one meaning for ever.
    severity : {"stop", "degrade", "note"}
        See the module's text.
    spoils : tuple of str
        Figure ids that it affects unless the detector narrows them; ``*`` matches any run.
    remedy : str
        What the user can do, now or before the next flight.
    """

    code: str
    severity: Severity
    spoils: tuple[str, ...]
    remedy: str


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing found in one recording.

    Attributes
    ----------
    code, severity, affects, remedy :
        As in `FindingKind`; ``affects`` holds patterns of figure ids.
    message : str
        One sentence with the numbers.
    evidence : mapping of str to number or text
        The same numbers for machines.
    start_s, end_s : float or None
        Where on the log's clock [s]; None when it concerns the whole file.
    widen : float
        Standard uncertainty that a ``degrade`` finding adds to what it affects, as a share of
        the value; 0 where the analysis itself allowed for it. [-]
    """

    code: str
    severity: Severity
    message: str
    evidence: Mapping[str, float | int | str] = field(default_factory=dict)
    affects: tuple[str, ...] = ()
    remedy: str = ""
    start_s: float | None = None
    end_s: float | None = None
    widen: float = 0.0


def _kind(code: str, severity: Severity, spoils: str, remedy: str) -> FindingKind:
    return FindingKind(code, severity, tuple(spoils.split()), remedy)


# A room adds its kinds here, in the block of its subject, before it raises them.
FINDINGS: MappingProxyType[str, FindingKind] = MappingProxyType(
    {
        k.code: k
        for k in (
            # --- the file
            _kind(
                "damaged-bytes",
                "note",
                "",
                "Check the card; copy the log from the aircraft again if it is still there.",
            ),
            _kind(
                "truncated",
                "note",
                "",
                "The file stops inside a record; copy it again, or check for a loss of power.",
            ),
            _kind("clock-restart", "note", "", "Look for a reset or a brown-out at that time."),
            _kind(
                "clock-backwards",
                "degrade",
                "",
                "Rows whose time ran backwards were dropped; check the logger.",
            ),
            _kind("log-gap", "degrade", "", "Figures that need this stretch say so."),
            _kind("several-systems", "note", "", "Check that the right system was chosen."),
            _kind("unknown-messages", "note", "", "They were skipped; nothing else was lost."),
            _kind(
                "contradicting-formats",
                "degrade",
                "",
                "The file declares one message type in two ways; the later one was refused.",
            ),
            _kind(
                "values-missing",
                "note",
                "",
                "Values that stand for 'not measured' were left out; check the sensor.",
            ),
            _kind(
                "values-out-of-range",
                "degrade",
                "",
                "Values that no sensor of the kind can give were left out; check the sensor.",
            ),
            _kind(
                "current-not-measured",
                "note",
                "",
                "Fit a current sensor, or set the battery monitor to voltage and current.",
            ),
            _kind(
                "gps-week-rollover",
                "note",
                "",
                "Update the receiver's firmware; check the date against your own notes.",
            ),
            _kind(
                "clock-unbelievable",
                "note",
                "",
                "Rows with an impossible time were left out; the file may be damaged.",
            ),
            _kind(
                "radio-copy",
                "note",
                "",
                "Read the log from the aircraft's own card: peaks and times are limited here.",
            ),
            _kind(
                "missing-fixes",
                "note",
                "",
                "Ask the autopilot for position more often, or read the log from its own card.",
            ),
            _kind(
                "estimated-quantity",
                "note",
                "",
                "An estimate of the autopilot, smoothed and late by unknown amounts; log the "
                "sensor itself.",
            ),
            # --- clocks
            _kind(
                "whole-second-stamps",
                "degrade",
                "laps.* takeoff.*",
                "Log with fractions of a second.",
            ),
            _kind(
                "clock-set",
                "note",
                "",
                "Let the logger know the time before the flight: wait for a position.",
            ),
            _kind(
                "no-clock",
                "stop",
                "takeoff.* climb.* flight.* laps.* energy.* charge.used wind.* battery.*",
                "Record times with the positions.",
            ),
            _kind(
                "local-time",
                "note",
                "",
                "Say the hours ahead of UTC in a column map (utc_offset_h); 'flightlog explain LOG "
                "--map FILE' writes a first one.",
            ),
            _kind(
                "mixed-clocks",
                "stop",
                "energy.* charge.used",
                "Log all sensors by one clock, or correct the column map.",
            ),
            _kind(
                "utc-leap-seconds",
                "note",
                "",
                "Wait until the receiver has downloaded the leap seconds (12 minutes of sky).",
            ),
            _kind("gps-late", "note", "", "Nothing to do: the delay was taken out."),
            _kind(
                "autopilot-fault",
                "note",
                "",
                "Have the report looked at, and the cause found, before the next flight.",
            ),
            # --- text files
            _kind(
                "damaged-lines",
                "note",
                "",
                "Check the card; copy the file again if it is still there.",
            ),
            _kind(
                "odd-rows",
                "note",
                "",
                "Rows with more or fewer cells than the header; look at them in an editor.",
            ),
            _kind(
                "unreadable-cells",
                "degrade",
                "",
                "Look at the cells; correct unit and decimal sign in a column map.",
            ),
            _kind(
                "unit-unclear",
                "degrade",
                "",
                "Say the unit of the column in a column map.",
            ),
            _kind(
                "date-order-unclear",
                "note",
                "",
                "Say the order of day and month in a column map.",
            ),
            # --- several recordings of one flight
            _kind(
                "partner-recording",
                "note",
                "",
                "The lines at the top say what came from which; --apart debriefs each by itself.",
            ),
            _kind("same-recording", "note", "", "It was counted once."),
            _kind("longer-copy", "note", "", "The longer one was used."),
            _kind(
                "partner-unaligned",
                "note",
                "",
                "Log position and speed in both, and let the clocks be set by a position.",
            ),
            # --- screening: is the recording what it says
            _kind(
                "static-pressure-error",
                "degrade",
                "climb.* takeoff.distance_to_screen",
                "Move the static port, or vent the bay of the barometer.",
            ),
            _kind(
                "baro-warming",
                "degrade",
                "climb.* flight.max_height",
                "Switch on five minutes before the flight; shield the sensor from sun and wind.",
            ),
            _kind(
                "altitude-reference",
                "degrade",
                "climb.* flight.max_height",
                "Log the barometer; check which altitude the file holds.",
            ),
            _kind(
                "position-jumps",
                "degrade",
                "flight.distance flight.max_range flight.max_ground_speed laps.* takeoff.*",
                "Check the receiver's aerial and its view of the sky.",
            ),
            _kind(
                "poor-fixes",
                "note",
                "flight.distance flight.max_range laps.* takeoff.*",
                "Wait for more satellites before the start; give the aerial a clear view.",
            ),
            _kind(
                "static-hold",
                "degrade",
                "takeoff.start_time takeoff.ground_roll",
                "Switch off the receiver's static hold.",
            ),
            _kind(
                "speed-unit",
                "stop",
                "takeoff.* flight.* laps.* climb.* wind.* energy.* charge.used",
                "Confirm the unit in a column map, or correct the logger's setting.",
            ),
            _kind(
                "height-unit",
                "stop",
                "climb.* flight.max_height takeoff.*",
                "Confirm the unit in a column map, or correct the logger's setting.",
            ),
            _kind(
                "angle-unit",
                "stop",
                "flight.max_bank takeoff.*",
                "Confirm the unit in a column map, or correct the logger's setting.",
            ),
            _kind(
                "scaled-integers",
                "stop",
                "energy.* charge.used battery.*",
                "Confirm the unit in a column map, or correct the logger's setting.",
            ),
            _kind(
                "accelerometer-unit",
                "stop",
                "takeoff.* flight.max_load_factor flight.min_load_factor flight.min_stall_margin",
                "Confirm unit and sign in a column map, or correct the logger's setting.",
            ),
            _kind(
                "several-sorties",
                "note",
                "",
                "Quote the number of the sortie with each of its figures.",
            ),
            _kind("attempts-first", "note", "takeoff.ground_roll", "Tell the attempts as well."),
            _kind(
                "recomputed",
                "note",
                "",
                "Quote the version of the analyses with the number.",
            ),
            _kind(
                "current-scale",
                "degrade",
                "energy.* charge.used battery.max_current battery.max_power"
                " battery.resistance* battery.sag battery.energy_left",
                "Compare with the charger over five charges before the scale is changed.",
            ),
            _kind(
                "cell-count",
                "stop",
                "battery.*",
                "Say the number of cells in the aircraft file; note the rested voltage.",
            ),
            _kind(
                "wiring-resistance",
                "degrade",
                "battery.min_voltage",
                "Sense the voltage at the battery's own connector.",
            ),
            _kind(
                "surface-sense",
                "stop",
                "surface.*",
                "Don't fly: check the sense of every surface first.",
            ),
            _kind(
                "pulse-unit",
                "stop",
                "surface.*",
                "Log outputs in microseconds, or say their unit in a column map.",
            ),
            _kind(
                "throttle-channel",
                "degrade",
                "surface.*",
                "Check the output numbers in the aircraft file.",
            ),
            _kind(
                "accelerometer-clipped",
                "stop",
                "flight.max_load_factor flight.min_load_factor",
                "Raise the accelerometer's range, or damp its mounting.",
            ),
            _kind(
                "vibration-folds",
                "note",
                "takeoff.* flight.max_load_factor flight.min_load_factor",
                "Log the IMU at 100 Hz or more, or let the logger filter before it samples.",
            ),
            _kind(
                "board-rotated",
                "stop",
                "takeoff.* flight.max_load_factor flight.min_load_factor flight.max_bank",
                "Set the board's orientation in the autopilot and level it again.",
            ),
            _kind(
                "wind-unknown",
                "note",
                "takeoff.headwind takeoff.ground_roll_reference",
                "Measure wind, with its height, and give it with --wind.",
            ),
            _kind(
                "airspeed-unusable",
                "stop",
                "flight.max_airspeed flight.min_stall_margin",
                "Check the tube for a block, a leak or water, and zero it before the flight.",
            ),
            _kind(
                "mass-doubtful",
                "stop",
                "takeoff.ground_roll_reference flight.min_stall_margin payload.mass",
                "Weigh the aircraft as it was flown.",
            ),
            _kind(
                "pack-doubtful",
                "degrade",
                "energy.* charge.used battery.nominal_energy",
                "Check which battery flew, and the scale of the current sensor.",
            ),
            _kind(
                "settings-changed",
                "degrade",
                "",
                "Compare figures before and after the change with care.",
            ),
            # --- position
            _kind("no-position", "stop", "takeoff.* flight.* laps.* climb.gradient", "Log GPS."),
            _kind(
                "repeated-fixes",
                "note",
                "",
                "Set the logger to write each fix once; repeats were not counted as data.",
            ),
            # --- take-off
            _kind(
                "runway-heading",
                "note",
                "",
                "Check the heading in the site file, and which end of the runway was used.",
            ),
            _kind(
                "liftoff-uncertain",
                "degrade",
                "takeoff.ground_roll takeoff.liftoff_time takeoff.first_clear_distance",
                "Log the IMU at 100 Hz or more and the barometer; isolate them from the motor.",
            ),
            _kind(
                "no-inertial-takeoff",
                "degrade",
                "takeoff.*",
                "Log IMU and attitude at 50 Hz or more.",
            ),
            _kind(
                "speeds-contradict",
                "stop",
                "takeoff.*",
                "Check the receiver's aerial, and whether the file is damaged.",
            ),
            _kind(
                "speed-misfit",
                "degrade",
                "takeoff.*",
                "Check the receiver's aerial and its view of the sky.",
            ),
            _kind(
                "roll-model-fails",
                "note",
                "",
                "Check thrust, polar and mass in the aircraft file.",
            ),
            _kind(
                "reference-methods-differ",
                "degrade",
                "takeoff.ground_roll_reference",
                "Check thrust and polar in the aircraft file against a thrust-stand run.",
            ),
            _kind("skipped", "note", "takeoff.ground_roll", "See both distances before judging."),
            # --- battery and energy
            _kind(
                "current-offset",
                "degrade",
                "energy.* charge.used battery.max_current battery.max_power",
                "Calibrate the zero of the current sensor with the motor off.",
            ),
            _kind(
                "current-zero-drift",
                "degrade",
                "energy.* charge.used battery.max_current battery.max_power",
                "Calibrate the current sensor warm; keep it out of the motor's hot air.",
            ),
            _kind(
                "current-zero-unknown",
                "degrade",
                "energy.* charge.used battery.max_current battery.max_power",
                "Log for some seconds with the motor off before or after the flight.",
            ),
            _kind(
                "current-clipped",
                "degrade",
                "energy.* charge.used battery.max_current battery.max_power",
                "Fit a current sensor with a larger range.",
            ),
            _kind(
                "battery-gap",
                "degrade",
                "energy.* charge.used battery.*",
                "Check the logger's buffer or the link; log consumed charge and energy as well.",
            ),
            _kind(
                "battery-slow",
                "note",
                "battery.*",
                "Log the battery at 2 Hz or faster.",
            ),
            _kind(
                "several-packs",
                "note",
                "energy.* charge.used battery.*",
                "Check that the packs are connected as stated.",
            ),
            # --- height
            _kind(
                "baro-drift",
                "degrade",
                "climb.* flight.max_height",
                "Let the barometer warm up before the flight and shield it from sun and wind.",
            ),
            # --- laps and wind
            _kind(
                "gate-edge",
                "note",
                "laps.*",
                "Fly further inside the gate, or make it wider in the site file.",
            ),
            _kind(
                "lap-gap",
                "degrade",
                "laps.* energy.per_lap",
                "Check the receiver's view of the sky; log every fix.",
            ),
            _kind(
                "airspeed-scale",
                "degrade",
                "wind.* takeoff.headwind takeoff.liftoff_airspeed flight.max_airspeed"
                " flight.min_stall_margin",
                "Check the tube for leaks and calibrate the airspeed sensor.",
            ),
            # --- wear
            _kind(
                "not-excluded",
                "note",
                "",
                "The log is too slow, or lacks what would show it: look at the part itself.",
            ),
            # --- wear: battery
            _kind(
                "resistance-high",
                "note",
                "",
                "Take the pack out of service until its capacity and resistance are measured.",
            ),
            _kind(
                "cells-apart",
                "note",
                "",
                "Balance the pack and look again; if it comes back, take it out of service.",
            ),
            _kind(
                "cell-low",
                "note",
                "",
                "Don't charge or fly the pack before it has been inspected.",
            ),
            # --- wear: surfaces
            _kind(
                "surface-saturated",
                "note",
                "",
                "Look for too little travel, a shifted trim, or a load or speed outside the plan.",
            ),
            _kind(
                "trim-shifted",
                "note",
                "",
                "Inspect linkage, horn and servo arm, and check the balance, before the next "
                "flight.",
            ),
            _kind(
                "surface-slow",
                "note",
                "",
                "Inspect servo, linkage and supply of the surface: play, friction or low voltage.",
            ),
            _kind(
                "surface-play",
                "note",
                "",
                "Don't fly: measure the play at the trailing edge and renew what is worn.",
            ),
            _kind(
                "limit-cycle",
                "note",
                "",
                "Look for play and loose hinges, then lower the autopilot's gains.",
            ),
            _kind(
                "servo-supply-low",
                "note",
                "",
                "Inspect the servos' supply: regulator, plugs, a servo that binds.",
            ),
            # --- wear: landing
            _kind(
                "hard-landing",
                "note",
                "",
                "Inspect gear, mounts, wing roots, propeller and battery before the next flight.",
            ),
            # --- wear: link
            _kind(
                "link-dropout",
                "note",
                "",
                "Look at where the aircraft was and which way it faced; check both aerials, their "
                "plugs and leads, and do a range check.",
            ),
            _kind(
                "weak-aspect",
                "note",
                "",
                "Look at the aerial and its lead and at what lies beside it, load and battery "
                "included; repeat the range check turning the aircraft on the spot.",
            ),
            _kind(
                "link-current",
                "note",
                "",
                "Do the range check with the motor running; keep the aerial and its lead away from "
                "battery and motor leads.",
            ),
            # --- wear: vibration
            _kind(
                "propeller-vibration",
                "note",
                "",
                "Look at the propeller for nicks, cracks and a loose nut, and balance it; then at"
                " the motor's shaft, bearings and mount, before the next flight.",
            ),
            _kind(
                "structure-near-order",
                "note",
                "",
                "Keep power away from that speed, or move the frequency: another propeller, a"
                " stiffer mount or part.",
            ),
            _kind(
                "structure-peak-shifted",
                "note",
                "",
                "Repeat the ring-down at the ground test's amplitude and load; look for loose"
                " joints, cracks and soft mounts before the next flight.",
            ),
            _kind(
                "peak-grows-with-speed",
                "note",
                "",
                "Do not fly faster than that. Check the play of the surfaces, their hinges and"
                " balance, and the ring-down of wing and tail before the next flight.",
            ),
            # --- phases
            _kind(
                "no-flight",
                "note",
                "",
                "If the aircraft flew, take the log of that flight from its card.",
            ),
            _kind(
                "starts-in-air",
                "stop",
                "takeoff.* climb.height_at_60s flight.duration flight.distance",
                "Let the logger start while the aircraft still stands, 10 s before the roll.",
            ),
            _kind(
                "starts-rolling",
                "stop",
                "takeoff.* climb.height_at_60s",
                "Let the logger start while the aircraft still stands, 10 s before the roll.",
            ),
            _kind(
                "hand-launch",
                "stop",
                "takeoff.ground_roll takeoff.ground_roll_reference takeoff.start_time"
                " takeoff.first_clear_distance takeoff.skips takeoff.distance_to_screen"
                " takeoff.headwind takeoff.liftoff_airspeed",
                "Nothing to repair: a launch by hand has no roll to measure.",
            ),
            _kind(
                "vertical-launch",
                "stop",
                "takeoff.ground_roll takeoff.ground_roll_reference takeoff.start_time"
                " takeoff.first_clear_distance takeoff.skips takeoff.distance_to_screen"
                " takeoff.headwind takeoff.liftoff_time takeoff.liftoff_ground_speed"
                " takeoff.liftoff_airspeed climb.height_at_60s",
                "Nothing to repair: it rose without a roll.",
            ),
            _kind(
                "power-lost",
                "note",
                "",
                "Look for the cause in battery, connectors and supply before the next flight.",
            ),
            _kind(
                "ends-in-air",
                "stop",
                "landing.* flight.duration flight.distance",
                "Look for a loss of power or a full card; the lowest voltage is a hint.",
            ),
            _kind(
                "restart-in-flight",
                "degrade",
                "flight.* energy.* charge.* laps.*",
                "The parts before and after the restart are listed as two sorties.",
            ),
            _kind("touch-and-go", "note", "", "The sortie counts as one; its landing is the last."),
        )
    }
)
"""Slug -> kind."""


def make_finding(
    code: str,
    message: str,
    *,
    evidence: Mapping[str, float | int | str] | None = None,
    affects: Iterable[str] | None = None,
    severity: Severity | None = None,
    remedy: str | None = None,
    start_s: float | None = None,
    end_s: float | None = None,
    widen: float = 0.0,
    kinds: Mapping[str, FindingKind] = FINDINGS,
) -> Finding:
    """Make a finding of a known kind.

    Parameters
    ----------
    code : str
        Slug in ``kinds``.
    message : str
        One sentence with the numbers that were met.
    evidence : mapping, optional
        The numbers for machines.
    affects : iterable of str, optional
        Patterns of figure ids, narrower than the kind's own.
    severity, remedy : str, optional
        Where this instance is milder or more telling than its kind.
    start_s, end_s : float, optional
        Where on the log's clock. [s]
    widen : float, optional
        Share of the value that is added to the standard uncertainty of what it affects. [-]
    kinds : mapping of str to FindingKind, optional
        The dictionary; there is one of logs, and one of ground tests.

    Raises
    ------
    KeyError
        If the slug is not in the dictionary.
    """
    kind = kinds[code]
    return Finding(
        code=code,
        severity=severity or kind.severity,
        message=message,
        evidence=dict(evidence or {}),
        affects=kind.spoils if affects is None else tuple(affects),
        remedy=kind.remedy if remedy is None else remedy,
        start_s=start_s,
        end_s=end_s,
        widen=widen,
    )


def affected(finding: Finding, figure_id: str) -> bool:
    """Whether the finding speaks about the figure."""
    return any(fnmatchcase(figure_id, pattern) for pattern in finding.affects)
