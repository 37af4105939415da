"""The dictionary of findings of ground tests: what to know before trusting a number.

Kinds and severities are those of `flightlog.findings`.
"""

from __future__ import annotations

from functools import partial
from types import MappingProxyType

from flightlog.findings import FindingKind, Severity, make_finding


def _kind(code: str, severity: Severity, spoils: str, remedy: str) -> FindingKind:
    return FindingKind(code, severity, tuple(spoils.split()), remedy)


# A test adds its kinds here, in the block of its subject, before it raises them.
GROUND_FINDINGS: MappingProxyType[str, FindingKind] = MappingProxyType(
    {
        k.code: k
        for k in (
            # --- the file
            _kind(
                "cells-unreadable",
                "degrade",
                "",
                "Cells that hold no number were left out; look at the lines that are named.",
            ),
            _kind(
                "time-not-monotonic",
                "note",
                "",
                "The time of the file goes back, so that rows were taken in the order of the file; "
                "say in the bench file what the column is.",
            ),
            _kind(
                "time-whole-seconds",
                "note",
                "",
                "Let the logger write parts of a second; within one, times are only as even as "
                "its rows.",
            ),
            _kind(
                "columns-guessed",
                "note",
                "",
                "Columns were recognised by their headers; a bench file states them.",
            ),
            _kind(
                "sensor-uncertainty-assumed",
                "degrade",
                "",
                "Write into the bench file how good the instrument is, by its data "
                "sheet or a check against a better one.",
            ),
            # --- thrust: thrust stand
            _kind(
                "thrust-in-gram-force",
                "note",
                "",
                "Nothing to do; a bench file can state the unit.",
            ),
            _kind(
                "stand-steps-found",
                "note",
                "",
                "Look whether these are the steps that were run; state transient_s or "
                "rest_pulse_us in [thrust] where they are not.",
            ),
            _kind(
                "stand-ramp",
                "degrade",
                "thrust.*",
                "Hold each throttle until thrust and speed are settled, then for 3 s more.",
            ),
            _kind(
                "stand-no-steps",
                "stop",
                "thrust.greatest thrust.standard thrust.ct thrust.cp thrust.figure_of_merit "
                "thrust.drive_efficiency thrust.per_watt thrust.power_greatest "
                "thrust.current_greatest thrust.speed_greatest thrust.tip_mach",
                "Hold each throttle for 3 s after it has settled, and log pulse or throttle with "
                "it.",
            ),
            _kind(
                "stand-run-aborted",
                "stop",
                "thrust.greatest thrust.standard thrust.ct thrust.cp thrust.figure_of_merit "
                "thrust.drive_efficiency thrust.per_watt thrust.power_greatest "
                "thrust.current_greatest thrust.speed_greatest thrust.tip_mach",
                "Find why it was aborted before the sweep is run again: stand guarded, nobody in "
                "the plane of the propeller.",
            ),
            _kind(
                "stand-few-sweeps",
                "note",
                "",
                "Sweep up and down three times, and give all files together; stand guarded, nobody "
                "in the plane of the propeller.",
            ),
            _kind(
                "stand-steps-short",
                "note",
                "",
                "Hold each throttle for longer, so that 3 s are left after it has settled.",
            ),
            _kind(
                "stand-zero-unknown",
                "stop",
                "",
                "Record 5 s at rest before and after each sweep, or state tare_before_n and "
                "tare_after_n in [thrust].",
            ),
            _kind(
                "stand-zero-once",
                "degrade",
                "",
                "Record 5 s at rest before and after each sweep.",
            ),
            _kind(
                "stand-zero-drift",
                "degrade",
                "",
                "Let the stand warm up, keep cables off the cell, and repeat the sweep.",
            ),
            _kind(
                "thrust-negative-at-rest",
                "note",
                "",
                "Zero the stand before the sweep; look for a cable that pushes.",
            ),
            _kind(
                "thrust-reversed",
                "stop",
                "thrust.greatest thrust.standard thrust.ct thrust.cp thrust.figure_of_merit "
                "thrust.drive_efficiency thrust.per_watt thrust.power_greatest "
                "thrust.current_greatest thrust.speed_greatest thrust.tip_mach",
                "State sign = -1 in [columns.thrust] where the cell was mounted the other way; "
                "else turn the propeller round.",
            ),
            _kind(
                "torque-silent",
                "stop",
                "thrust.cp thrust.figure_of_merit thrust.drive_efficiency",
                "Fit and calibrate the torque cell, or take the torque column out.",
            ),
            _kind(
                "shaft-speed-missing",
                "note",
                "",
                "Fit an optical sensor, or state pole_pairs in [thrust] where the file has the "
                "electrical speed.",
            ),
            _kind(
                "shaft-speeds-disagree",
                "stop",
                "thrust.ct thrust.cp thrust.figure_of_merit thrust.drive_efficiency "
                "thrust.speed_greatest thrust.tip_mach",
                "Count the magnets of the motor, half of them are pole pairs; check what the "
                "optical sensor sees.",
            ),
            _kind(
                "efficiency-above-100",
                "stop",
                "",
                "Calibrate the torque cell, and check pole pairs and optical marks.",
            ),
            _kind(
                "merit-above-one",
                "stop",
                "",
                "Check units and scale of thrust (g or kg may be written as N), torque, pole "
                "pairs, diameter and air.",
            ),
            _kind(
                "stand-beyond-range",
                "stop",
                "",
                "Check the unit of the column and the full scale; a cell beyond its range has to "
                "be calibrated again.",
            ),
            _kind(
                "stand-sweeps-apart",
                "degrade",
                "",
                "Find what was different in it: zero, cables, air, propeller; repeat it, or leave "
                "it out and write down why.",
            ),
            _kind(
                "coefficients-unusual",
                "note",
                "",
                "Check units of thrust and torque, diameter, air, pole pairs and calibration; "
                "small propellers and part throttle lie outside as well.",
            ),
            _kind(
                "ct-not-constant",
                "degrade",
                "thrust.ct",
                "Zero, speed and walls nearer than 3 diameters bend it; small propellers do it by "
                "themselves.",
            ),
            _kind(
                "supply-sag",
                "note",
                "",
                "Use a regulated supply, or compare at equal speed and not at equal throttle.",
            ),
            _kind(
                "calibration-unusable",
                "note",
                "",
                "Give 3 or more known loads, up and down, each with what the stand read, and "
                "load_std_pct.",
            ),
            _kind(
                "calibration-not-straight",
                "degrade",
                "",
                "Look for a cell near its limit, or a mount that touches.",
            ),
            _kind(
                "calibration-hysteresis",
                "degrade",
                "",
                "Tighten the mount, and look for friction in guides and cables.",
            ),
            # --- discharge: discharge of a pack
            _kind(
                "discharge-clock-back",
                "degrade",
                "discharge.*",
                "Mend the clock of the logger, or log the discharge again.",
            ),
            _kind(
                "discharge-rows-left-out",
                "note",
                "",
                "Look at these rows; a loose plug or a spoilt line leaves such.",
            ),
            _kind(
                "discharge-current-reversed",
                "note",
                "",
                "Write sign = -1 under [columns.current] of the bench file.",
            ),
            _kind(
                "discharge-current-zero",
                "note",
                "",
                "Zero the current sensor before the next test; keep 10 s of rest before "
                "and after the load.",
            ),
            _kind(
                "discharge-charging-left-out",
                "note",
                "",
                "Nothing to do; a file of the discharge alone is clearer.",
            ),
            _kind(
                "discharge-starts-loaded",
                "degrade",
                "discharge.capacity discharge.energy* discharge.nominal_share "
                "discharge.usable_energy "
                "discharge.rate",
                "Start the log 10 s before the load goes on.",
            ),
            _kind(
                "discharge-rows-missing",
                "degrade",
                "discharge.capacity discharge.energy* discharge.nominal_share "
                "discharge.usable_energy "
                "discharge.rate discharge.mean_voltage",
                "Log without breaks; a logger that counts the charge itself bridges them.",
            ),
            _kind(
                "discharge-end-unclear",
                "degrade",
                "discharge.capacity discharge.energy* discharge.nominal_share "
                "discharge.usable_energy",
                "Leave out pulses in the last tenth of the discharge, or compare the voltage "
                "sensor with a better one.",
            ),
            _kind(
                "discharge-counter-disagrees",
                "degrade",
                "discharge.capacity discharge.energy* discharge.nominal_share "
                "discharge.usable_energy "
                "discharge.rate",
                "Compare both with a charger or a known load, and calibrate the current sensor.",
            ),
            _kind(
                "discharge-cells-apart",
                "note",
                "",
                "Balance the pack and test it again; retire it if the same cell stays low.",
            ),
            _kind(
                "discharge-cell-below-cutoff",
                "note",
                "",
                "End the discharge by the weakest cell; a cell below the maker's "
                "cut-off is damaged. Look at that cell before the pack is charged again.",
            ),
            _kind(
                "discharge-few-steps",
                "note",
                "",
                "Pulse the load along the discharge, such as 10 s of twice the current "
                "every 10 % of the charge.",
            ),
            _kind(
                "discharge-capacity-low",
                "note",
                "",
                "Repeat it at 25 °C and at the usual current; if it is the same, retire "
                "the pack from flight.",
            ),
            _kind(
                "discharge-current-late",
                "degrade",
                "discharge.resistance*",
                "Let one instrument log current and voltage at once, without smoothing.",
            ),
            _kind(
                "discharge-rises",
                "stop",
                "discharge.*",
                "Cut the charge off the file, or let the logger write the sign of the current.",
            ),
            _kind(
                "discharge-beyond-nominal",
                "stop",
                "discharge.capacity discharge.energy* discharge.nominal_share "
                "discharge.usable_energy discharge.rate discharge.resistance*",
                "Look at the unit of the current, which may be mA where A is written, at its "
                "scale, and at nominal_capacity_ah.",
            ),
            # --- ringdown: ring-down of a wing or tail
            _kind(
                "ring-not-found",
                "stop",
                "ringdown.*",
                "Let go several times, with a second of rest before each, and let it ring until "
                "it is still.",
            ),
            _kind(
                "ring-disturbed",
                "note",
                "",
                "The window ends before the disturbance; keep hands off until it is still.",
            ),
            _kind(
                "ring-clipped",
                "note",
                "",
                "The window starts inside of the range; let go from less, or set a larger range.",
            ),
            _kind(
                "ring-left-out",
                "note",
                "",
                "It was left out: handling, a jolt, or a ring too short; look at the releases.",
            ),
            _kind(
                "ring-times",
                "note",
                "",
                "Times were put right as told; a logger that writes its own clock needs no help.",
            ),
            _kind(
                "ring-single",
                "note",
                "",
                "Let go five times: only repeats show how much releases differ.",
            ),
            _kind(
                "ring-bends",
                "degrade",
                "",
                "Damping or frequency depends on the amplitude: compare with other tests at "
                "the same amplitude only. Two oscillations too close to be parted, or a cable that "
                "touches, look the same.",
            ),
            _kind(
                "ring-noise-coloured",
                "degrade",
                "",
                "Noise is stronger about this frequency than elsewhere; look for what else moves.",
            ),
            _kind(
                "ring-sampling-slow",
                "stop",
                "",
                "Log four samples a cycle or more; a faster oscillation would show as a slow one.",
            ),
            _kind(
                "ring-near-mains",
                "degrade",
                "",
                "A line of the mains stands where the structure rings; log at another rate, or "
                "from a battery.",
            ),
            _kind(
                "ring-steady-line",
                "note",
                "",
                "It does not decay, so it is none of the structure; look for a motor or a fan.",
            ),
            # --- video: a picture of the wing tip
            _kind(
                "video-followed",
                "note",
                "",
                "Look whether the place is on the part that was meant; name another by marker_px.",
            ),
            _kind(
                "video-scale",
                "degrade",
                "ringdown.*.amplitude",
                "A longer length nearer to the tip, in the plane of its motion, makes it surer.",
            ),
            _kind(
                "video-scale-missing",
                "note",
                "",
                "Frequency and damping need no scale; for amplitudes state scale_from_px, "
                "scale_to_px, scale_length_m and scale_length_std_m under [ringdown.video].",
            ),
            _kind(
                "video-cut-off",
                "note",
                "",
                "The rest of the file can't be decoded; copy it from the camera again.",
            ),
            _kind(
                "marker-lost",
                "stop",
                "ringdown.*",
                "Light the marker evenly, keep hands out of the picture, and stay in focus; or "
                "name "
                "another marker by marker_px.",
            ),
            _kind(
                "frame-times-nominal",
                "note",
                "",
                "Frequency is as right as that rate; use a file with time stamps of its own "
                "(MP4, MOV, MKV).",
            ),
            _kind(
                "capture-rate-stated",
                "note",
                "",
                "Frequency is as right as capture_rate_hz; a clock in the picture proves it.",
            ),
            _kind(
                "video-direction",
                "note",
                "",
                'Hold the camera level, or state direction = "main" under [ringdown.video].',
            ),
            _kind(
                "video-rate-low",
                "note",
                "",
                "Amplitudes are touched; record at a higher rate with a short exposure.",
            ),
            _kind(
                "video-rate-ambiguous",
                "note",
                "ringdown.*",
                "Record at 60 pictures a second or more; or, where a faster sensor or camera "
                "showed it, state nothing_above_hz under [ringdown.video].",
            ),
            _kind(
                "video-repeats",
                "note",
                "",
                "Record in more light, at a fixed rate; do not convert the file to another rate.",
            ),
            _kind(
                "marker-jumped",
                "note",
                "",
                "Look what came before the marker, or whether it left the picture; cut the video "
                "there, or name a marker that nothing else looks like.",
            ),
            _kind(
                "video-motion-tall",
                "note",
                "",
                "Amplitudes are less sure by that; go further away, with the camera square to the "
                "motion.",
            ),
            # --- stiffness: static deflection under load
            _kind(
                "stiffness-no-loading",
                "stop",
                "stiffness.*",
                "Load it in four steps or more, up and down, and read the gauge at each.",
            ),
            _kind(
                "stiffness-reversed",
                "stop",
                "stiffness.*",
                "State sign = -1 in [columns.deflection] where the gauge counts the other way.",
            ),
            _kind(
                "stiffness-rows-left-out",
                "note",
                "",
                "Look for empty cells.",
            ),
            _kind(
                "stiffness-root-unmeasured",
                "note",
                "",
                "Read a second gauge at the fixed end: a clamp that gives makes a wing look soft.",
            ),
            _kind(
                "stiffness-few-steps",
                "note",
                "",
                "Load it in four steps or more, up and down.",
            ),
            _kind(
                "stiffness-rows-off",
                "degrade",
                "",
                "Look at these lines: a number typed wrongly, or a gauge that slipped.",
            ),
            _kind(
                "stiffness-set-large",
                "note",
                "",
                "Look for a joint that slips, a clamp that moves, or a part that yields; inspect "
                "the structure before it flies.",
            ),
            _kind(
                "stiffness-bends",
                "note",
                "",
                "Compare tests over the same loads only; a joint that settles or a skin that "
                "buckles bends the curve.",
            ),
            _kind(
                "stiffness-below-limit-load",
                "note",
                "",
                "This is no proof of the limit load.",
            ),
            _kind(
                "stiffness-deflection-large",
                "note",
                "",
                "Check clearances and the freedom of controls under load.",
            ),
            # --- weighing: aircraft on scales
            _kind(
                "scales-no-balance",
                "stop",
                "weighing.*",
                "Put each wheel on a scale of its own, zero them, and write down arm and side of "
                "each.",
            ),
            _kind(
                "scale-in-two-places",
                "stop",
                "weighing.*",
                "Give each scale one name and one place, or state places in [weighing].",
            ),
            _kind(
                "weighing-rows-left-out",
                "note",
                "",
                "Look at the lines that are named.",
            ),
            _kind(
                "weighings-apart",
                "degrade",
                "weighing.*",
                "The scatter is in the intervals. Level the aircraft, let the tyres roll free, "
                "keep "
                "wind off, zero the scales, and weigh again.",
            ),
            _kind(
                "nose-load-unusual",
                "note",
                "weighing.third_wheel",
                "Compare with the balance that the design asks for.",
            ),
            # --- linkage: servo and linkage
            _kind(
                "linkage-unread",
                "stop",
                "linkage.*",
                "Tell the servo five pulses or more, 500 to 2500 us, up and down, and write down "
                "the angle of the surface at each, in degrees and in that order.",
            ),
            _kind(
                "linkage-rows-left-out",
                "note",
                "",
                "Look at the rows: pulses are 500 to 2500 us, angles up to 90 degrees, both "
                "needed; a test has 40 surfaces at most.",
            ),
            _kind(
                "linkage-one-way",
                "note",
                "",
                "Tell the pulses up and down again, and write down the rows in that order.",
            ),
            _kind(
                "linkage-one-force",
                "note",
                "linkage.*.play",
                "Push with two forces, the larger twice the smaller: what yields is told apart.",
            ),
            _kind(
                "linkage-leads",
                "stop",
                "linkage.*.hysteresis",
                "Write down the rows in the order in which the pulses were told, and read each "
                "angle when the servo has come to rest.",
            ),
            _kind(
                "linkage-turns-back",
                "note",
                "",
                "Look for a horn at its dead centre, a rod that binds, or a servo at its stop; the "
                "aircraft file takes no table that turns back.",
            ),
            _kind(
                "linkage-play-wide",
                "note",
                "",
                "Find where it moves before it flies: horn, clevis, rod, hinge, or the servo's "
                "gear.",
            ),
            # --- baseline: against an earlier test
            _kind(
                "structure-changed",
                "note",
                "",
                "Inspect the structure; fly again when somebody who may has found and signed why.",
            ),
            _kind(
                "structure-change-unclear",
                "note",
                "",
                "Test again, as then, with five repeats or more.",
            ),
            _kind(
                "structure-shifted",
                "note",
                "",
                "Find what was different: mass, temperature, supports, place of the sensor.",
            ),
            _kind(
                "structure-not-compared",
                "note",
                "",
                "Repeat the test as the earlier one was done.",
            ),
        )
    }
)
"""Slug -> kind."""

ground_finding = partial(make_finding, kinds=GROUND_FINDINGS)
"""Make a finding of a ground test; see `flightlog.findings.make_finding`."""
