"""Vibration once a turn and at blade passing, followed along the propeller's own phase."""

from __future__ import annotations

import math
from statistics import NormalDist
from typing import TYPE_CHECKING

import numpy as np

from flightlog.analyses.propeller import RUNNING_REV_S, Turning
from flightlog.analyses.vibration_windows import Shaken
from flightlog.estimation.frames import Array
from flightlog.estimation.spectra import (
    LINE_BINS,
    coincident,
    folded,
    mean_with_std,
    order_power,
    turns_of,
)
from flightlog.figures import Answer, Figure
from flightlog.findings import Finding, make_finding
from flightlog.inputs import Baseline, Inputs
from flightlog.uncertain import Uncertain

if TYPE_CHECKING:
    from numpy.typing import NDArray

FIRST, BLADES = "vibration.first_order", "vibration.blade_pass"

REFERENCE_REV_S = 100.0
"""Speed that both are brought to by its square, as the force of an imbalance goes: 6000 turns a
minute. Flights at different power then compare; the number is that of no real speed. [1/s]"""

STRONG = (1, 2, 3, 4)
"""Multiples that may be strong whatever the propeller; those of the blades come on top."""

GROWN = 2.0
"""So many times what is normal, a propeller is to be looked at. [-]"""

SURE = 0.95
"""How sure it has to be that it is more than sound flights scatter. [-]"""

RAISED_AT = 0.75
"""Probability of more than twice normal from which on it is told: a look at a propeller costs a
minute. [-]"""

FAR_BELOW = 1 / 3
"""Of what is normal: less is no propeller that got better, but a line that is not where the
speed says. [-]"""

LEAST_WINDOWS = 10
"""Windows of cruise with the line alone in its place. [-]"""

BLIND_SHARE = 0.6
"""Uncertainty over what is normal from which three times normal may not be told. [-]"""

SCALE_STD = 0.02
"""Standard uncertainty of an accelerometer's scale. [-]"""

_SPEED_BAND = (0.75, 1.3)
_MOST_CHANGE = 0.15
_NORMAL = NormalDist()


def orders_answer(
    shown: Shaken, turns: Turning | None, why: str, inputs: Inputs
) -> tuple[Answer, str]:
    """Give vibration.first_order and vibration.blade_pass, and judge the first by what is normal.

    Parameters
    ----------
    shown : Shaken
        Windows and phases.
    turns : Turning or None
        Speed of the propeller; ``why`` says why there is none.
    inputs : Inputs
        Blades and baseline.

    Returns
    -------
    Answer, str
        And why the log can't show a propeller out of balance; "" where it can.
    """
    aircraft = inputs.aircraft
    blades = aircraft.blades if aircraft is not None else None
    if turns is None:
        return Answer(withheld={FIRST: why, BLADES: why}), why
    lines = _Lines(shown, turns, blades)
    figures: dict[str, Figure] = {}
    withheld: dict[str, str] = {}
    for id_, order in ((FIRST, 1), (BLADES, blades)):
        if order is None:
            withheld[id_] = "needs blades under [motor] in the aircraft file"
            continue
        figure = lines.figure(id_, order)
        if isinstance(figure, str):
            withheld[id_] = figure
        else:
            figures[id_] = figure
    baseline = aircraft.baseline.get(FIRST) if aircraft is not None else None
    blind = withheld.get(FIRST, "")
    findings: tuple[Finding, ...] = ()
    if FIRST in figures and baseline is not None:
        findings = tuple(_grown(figures[FIRST], baseline, shown))
        blind = "" if findings else _lost_in_noise(figures[FIRST], baseline)
    return Answer(figures, withheld, findings), blind


def _lost_in_noise(figure: Figure, baseline: Baseline) -> str:
    value, std = figure.quantity.value, figure.quantity.std
    if value + 2 * std < FAR_BELOW * baseline.value:
        return (
            f"vibration once a turn is {value:.2f} m/s², far below the {baseline.value:.2f} that "
            "is normal; check the motor's logged speed and pole pairs"
        )
    if std <= BLIND_SHARE * baseline.value:
        return ""
    return (
        f"vibration once a turn is only known to {figure.quantity.std:.2f} m/s², where "
        f"{baseline.value:.2f} is normal; log the IMU faster and the motor's speed"
    )


def _grown(figure: Figure, baseline: Baseline, shown: Shaken) -> list[Finding]:
    """Judge the growth: more than twice normal, and more than sound flights scatter."""
    value, std = figure.quantity.value, figure.quantity.std
    if baseline.value <= 0:
        return []
    doubled = _probability(value - GROWN * baseline.value, std)
    unusual = _probability(value - baseline.value, math.hypot(std, baseline.spread))
    if doubled < RAISED_AT or unusual <= SURE:
        return []
    times = value / baseline.value
    return [
        make_finding(
            "propeller-vibration",
            f"Vibration once a turn of the propeller is {value:.2f} m/s² (± {1.96 * std:.2f}), "
            f"{times:.1f} times the {baseline.value:.2f} m/s² that is normal.",
            evidence={
                "value_m_s2": value,
                "normal_m_s2": baseline.value,
                "times_normal": times,
                "probability": min(doubled, unusual),
            },
            start_s=shown.start_s,
            end_s=shown.end_s,
        )
    ]


def _probability(excess: float, std: float) -> float:
    if std <= 0:
        return 1.0 if excess > 0 else 0.0
    return _NORMAL.cdf(excess / std)


class _Lines:
    """The propeller's lines in the windows of cruise."""

    def __init__(self, shown: Shaken, turns: Turning, blades: int | None) -> None:
        windows = shown.windows
        ends = np.stack([windows.time_s[:, 0], windows.middle_s, windows.time_s[:, -1]])
        speed = turns.at(ends)
        rows = (shown.phase == "cruise") & (speed > RUNNING_REV_S).all(axis=0)
        rows &= np.ptp(speed, axis=0) <= _MOST_CHANGE * speed[1]
        if rows.any():
            usual = float(np.median(speed[1][rows]))
            low, high = _SPEED_BAND
            rows &= (speed[1] > low * usual) & (speed[1] < high * usual)
        self._rows: NDArray[np.bool_] = rows
        self._cruise = int((shown.phase == "cruise").sum())
        self._turns = turns
        self._windows = windows.taken(rows)
        self._speed: Array = speed[1][rows]
        self._strong = tuple(sorted({*STRONG, *((blades, 2 * blades) if blades else ())}))

    def figure(self, id_: str, order: int) -> Figure | str:
        """Root mean square of a multiple, or why it is withheld."""
        windows, rate = self._windows, self._windows.rate_hz
        if self._speed.size < LEAST_WINDOWS:
            if self._cruise < LEAST_WINDOWS:
                return "the log holds less than 6 s of cruise"
            return "the propeller's speed is not known, or changed too fast, for most of cruise"
        usual = float(np.median(self._speed))
        half = max(LINE_BINS * windows.bin_hz, 2 * self._turns.share_std * order * usual)
        # A line's flank in the background would be taken off this one.
        apart = 2 * half + LINE_BINS * windows.bin_hz
        shared = coincident(self._speed, order, self._strong, rate, apart)
        clean = np.logical_not(shared)
        if clean.sum() < LEAST_WINDOWS:
            return _shared_text(order, self._strong, usual, rate)
        windows, speed = windows.taken(clean), self._speed[clean]
        turned = turns_of(windows, self._turns.time_s, self._turns.rev_s)
        line, _ = order_power(windows, turned, order, half)
        mean, std = mean_with_std(line * (REFERENCE_REV_S / speed) ** 4)
        value = math.sqrt(max(mean, 0.0))
        # Near nothing, the root of what noise leaves is all that can be said.
        spread = min(std / (2 * value), math.sqrt(std)) if value > 0 else math.sqrt(std)
        effects = {
            "spread between windows": spread,
            "speed of the propeller": 2 * self._turns.share_std * value,
            "accelerometer scale": SCALE_STD * value,
        }
        return Figure(
            id_, Uncertain(value, effects, "m/s²"), self._how(order, usual, clean), self._sources()
        )

    def _sources(self) -> tuple[str, ...]:
        return tuple(dict.fromkeys(("imu", *self._turns.sources)))

    def _how(self, order: int, usual: float, clean: NDArray[np.bool_]) -> str:
        rate = self._windows.rate_hz
        where = f"{order * usual:.0f} Hz"
        if order * usual > rate / 2:
            where += f", folded to {float(folded(order * usual, rate)):.0f} Hz at {rate:.0f} Hz"
        left_out = int((~clean).sum())
        shared = f", {left_out} left out where multiples fold onto it" if left_out else ""
        return (
            f"{clean.sum()} windows of cruise{shared}, about {where}, brought to "
            f"{60 * REFERENCE_REV_S:.0f} rpm by the square of the speed; {self._turns.how}"
        )


def _shared_text(order: int, strong: tuple[int, ...], usual: float, rate: float) -> str:
    place = float(folded(order * usual, rate))
    other = min(
        (o for o in strong if o != order),
        key=lambda o: abs(float(folded(o * usual, rate)) - place),
    )
    itself = min(place, rate / 2 - place)
    beside = abs(float(folded(other * usual, rate)) - place)
    what = "its own mirror image" if itself < beside else f"multiple {other}"
    return (
        f"at {rate:.0f} Hz multiple {order} of the propeller ({order * usual:.0f} Hz in cruise) "
        f"folds onto {what}; log the IMU faster"
    )
