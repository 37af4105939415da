"""Vibration by phase of flight, and what of it follows the propeller or the structure."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from flightlog.analyses.phases import Sortie
from flightlog.analyses.propeller import turning
from flightlog.analyses.takeoff import Takeoff
from flightlog.analyses.vibration_orders import orders_answer
from flightlog.analyses.vibration_structure import structure_answer
from flightlog.analyses.vibration_windows import PHASES, Shaken, shaken
from flightlog.estimation.frames import Array
from flightlog.estimation.path import FlightPath
from flightlog.estimation.spectra import mean_with_std, power_spectra
from flightlog.figures import Answer, Figure
from flightlog.findings import Finding, make_finding
from flightlog.inputs import Inputs
from flightlog.uncertain import Uncertain

if TYPE_CHECKING:
    from flightlog.recording import Recording

LOWEST_HZ = 5.0
"""Below this the aircraft manoeuvres; above, it shakes. [Hz]"""

SCALE_STD = 0.02
"""Standard uncertainty of an accelerometer's scale. [-]"""

LEAST_WINDOWS = 4
"""Overlapping windows of one second that make a phase. [-]"""

_PHASE_WORDS = {
    "takeoff": "take-off roll",
    "climb": "steady climb",
    "cruise": "level flight",
    "descent": "steady descent",
}

SUBJECT = (
    *(f"vibration.{phase}" for phase in PHASES),
    "vibration.first_order",
    "vibration.blade_pass",
    "vibration.structure_peak",
)


def answer(
    recording: Recording,
    sortie: Sortie,
    path: FlightPath | None,
    inputs: Inputs,
    takeoff: Takeoff,
) -> Answer:
    """Give the ``vibration.*`` figures of one sortie.

    Parameters
    ----------
    recording : Recording
        Its IMU; the motor's speed, or its output and the battery's voltage.
    sortie : Sortie
        Its bounds.
    path : FlightPath or None
        Climb and descent, which tell the phases apart.
    inputs : Inputs
        Blades, natural frequencies, baseline and outputs of the aircraft.
    takeoff : Takeoff
        The roll.
    """
    shown, reason = shaken(recording, sortie, path, takeoff)
    if shown is None:
        noted = (_not_excluded(reason, sortie),) if _powered(recording) else ()
        return Answer(withheld=dict.fromkeys(SUBJECT, reason), findings=noted)
    power = power_spectra(shown.windows)
    figures, withheld = _phases(shown, power)
    turns, why = turning(recording, inputs, shown.windows, power)
    orders, blind = orders_answer(shown, turns, why, inputs)
    structure = structure_answer(recording, shown, power, turns, why, inputs)
    findings = [*orders.findings, *structure.findings]
    if blind:
        findings.append(_not_excluded(blind, sortie))
    return Answer(
        {**figures, **orders.figures, **structure.figures},
        {**withheld, **orders.withheld, **structure.withheld},
        tuple(findings),
    )


def _powered(recording: Recording) -> bool:
    """Whether the log knows of a motor: a track alone does not."""
    return any(name in recording for name in ("battery", "outputs", "rotation"))


def _not_excluded(why: str, sortie: Sortie) -> Finding:
    return make_finding(
        "not-excluded",
        f"A propeller out of balance cannot be excluded: {why}.",
        evidence={"fault": "propeller"},
        start_s=sortie.start_s,
        end_s=sortie.end_s,
    )


def _phases(shown: Shaken, power: Array) -> tuple[dict[str, Figure], dict[str, str]]:
    """Root mean square in each phase."""
    figures: dict[str, Figure] = {}
    withheld: dict[str, str] = {}
    frequency = shown.windows.frequency_hz
    counted = frequency >= LOWEST_HZ
    squares = power[:, counted].sum(axis=1) * shown.windows.bin_hz
    rate = shown.windows.rate_hz
    for phase in PHASES:
        id_ = f"vibration.{phase}"
        rows = shown.phase == phase
        if phase != "takeoff" and not shown.phases_known:
            withheld[id_] = "nothing tells climb from cruise; log a barometer"
        elif not rows.any():
            withheld[id_] = f"the log holds none of it: no {_PHASE_WORDS[phase]}"
        elif rows.sum() < LEAST_WINDOWS:
            withheld[id_] = "the log holds less than 3 s of it"
        else:
            figures[id_] = _root_mean_square(
                id_,
                squares[rows],
                _chance_share(power[rows][:, counted]),
                f"{rows.sum()} windows of 1 s, {LOWEST_HZ:g} to {rate / 2:.0f} Hz",
            )
    return figures, withheld


def _chance_share(power: Array) -> float:
    """Standard deviation of the mean square by chance, over it: so few values are squared.

    A Gaussian signal's mean square in each bin of three axes has six degrees of freedom, and
    bins under a Hann window share 1.5 of them; overlapping windows share a tenth more.
    """
    mean = power.mean(axis=0)
    total = float(mean.sum())
    if total <= 0:
        return 0.0
    return math.sqrt(1.5 * 1.1 / 3 * float(mean @ mean) / total**2 / len(power))


def _root_mean_square(id_: str, squares: Array, chance: float, how: str) -> Figure:
    mean, std = mean_with_std(squares)
    std = max(std, chance * mean)
    value = math.sqrt(max(mean, 0.0))
    effects = {
        "spread between windows": std / (2 * value) if value > 0 else 0.0,
        "accelerometer scale": SCALE_STD * value,
    }
    return Figure(id_, Uncertain(value, effects, "m/s²"), how, ("imu",))
