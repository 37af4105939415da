"""Frequencies of the structure in flight: peaks that stay while the propeller's lines move."""

from __future__ import annotations

import math
from collections.abc import Iterator
from statistics import NormalDist
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from flightlog.analyses.propeller import RUNNING_REV_S, Turning
from flightlog.analyses.vibration_windows import Shaken
from flightlog.estimation.frames import Array
from flightlog.estimation.peaks import (
    DB,
    NARROW_HZ,
    Excess,
    centre,
    excess_of,
    highest,
    slope_with_std,
)
from flightlog.estimation.spectra import folded
from flightlog.figures import Answer, Figure
from flightlog.findings import Finding, make_finding
from flightlog.inputs import Aircraft, Inputs
from flightlog.uncertain import Uncertain

if TYPE_CHECKING:
    from flightlog.recording import Recording

PEAK = "vibration.structure_peak"

NEAR = 0.15
"""Multiple of the propeller over natural frequency less one, within which they meet. [-]"""

SHIFTED = 0.05
"""Change of a natural frequency that asks for an inspection. [-]"""

SAME_MODE = 0.25
"""A peak further from a ground test's frequency is another one. [-]"""

LEAST_HEIGHT = 4 / DB
"""Of a peak over its surroundings: 4 dB. [natural logarithm]"""

SIGMAS = 6.0

STAYS = 0.05
"""Change of frequency over change of the propeller's speed: less does not follow it. [-]"""

LEAST_SPEED_RANGE_REV_S = 4.0
"""Less change of the propeller's speed (5 to 95 %) tells nothing. [1/s]"""

GROWTH_DB = 6.0
"""Growth of a narrow peak with 2 m/s of airspeed that speaks of flutter. [dB]"""

FLUTTER_RATE_HZ = 100.0
"""A slower IMU can't show it. [Hz]"""

_ORDERS = 4
_GROUPS = 5
_LOWEST_HZ = 5.0
_HIGHEST_SHARE = 0.46
_CANDIDATES = 3
_LOUD = 10 / DB
_AIRSPEED_RANGE_M_S = 2.0
_SURE = 0.95
_LEAST_STEPS = 5
_STUDENT = 2.35  # one-sided 95 % with the three degrees of freedom that so many steps leave
_NORMAL = NormalDist()


def structure_answer(
    recording: Recording,
    shown: Shaken,
    power: Array,
    turns: Turning | None,
    why: str,
    inputs: Inputs,
) -> Answer:
    """Give vibration.structure_peak, and compare it with the ground test.

    Parameters
    ----------
    recording : Recording
        Its airspeed.
    shown, power
        Windows of the sortie and their spectra.
    turns : Turning or None
        Speed of the propeller; ``why`` says why there is none.
    inputs : Inputs
        The aircraft's natural frequencies, blades and pole pairs.
    """
    if turns is None:
        return Answer(withheld={PEAK: why})
    aircraft = inputs.aircraft
    findings = list(_near_orders(shown, turns, aircraft)) if aircraft is not None else []
    speed = turns.at(shown.windows.middle_s)
    rows = shown.airborne & np.isfinite(speed)
    speed = np.where(speed > RUNNING_REV_S, speed, 0.0)[rows]
    if speed.size < 2 * _GROUPS:
        return Answer(
            withheld={PEAK: "too little of the flight shows both vibration and motor speed"},
            findings=tuple(findings),
        )
    rate = shown.windows.rate_hz
    excess = excess_of(
        power[rows],
        shown.windows.frequency_hz,
        rate,
        speed,
        _orders(aircraft),
        turns.share_std,
        (_LOWEST_HZ, _HIGHEST_SHARE * rate),
    )
    findings += _growing(recording, shown.windows.middle_s[rows], excess, speed, rate, shown)
    low, high = np.percentile(speed, [5, 95])
    if high - low < LEAST_SPEED_RANGE_REV_S:
        reason = (
            f"the propeller's speed changed by {60 * (high - low):.0f} rpm only, so that nothing "
            "tells what follows it; change the power in flight"
        )
        return Answer(withheld={PEAK: reason}, findings=tuple(findings))
    found = _staying(excess, speed)
    if found is None:
        reason = "no peak stands out beside the multiples of the propeller"
        return Answer(withheld={PEAK: reason}, findings=tuple(findings))
    value, std, height = found
    figure = Figure(
        PEAK,
        Uncertain.of(value, std, "Hz", source="spread between speeds"),
        f"{height * DB:.0f} dB above its surroundings in {rows.sum()} windows of 1 s, "
        f"folded at {rate:.0f} Hz; {turns.how}",
        tuple(dict.fromkeys(("imu", *turns.sources))),
    )
    if aircraft is not None:
        findings += _shifted(value, std, rate, aircraft, shown)
    return Answer({PEAK: figure}, findings=tuple(findings))


def _orders(aircraft: Aircraft | None) -> tuple[float, ...]:
    orders = {float(k) for k in range(1, _ORDERS + 1)}
    if aircraft is not None and aircraft.blades:
        orders |= {float(aircraft.blades), 2.0 * aircraft.blades}
    if aircraft is not None and aircraft.pole_pairs:
        orders.add(float(aircraft.pole_pairs))
    return tuple(sorted(orders))


def _groups(speed: Array) -> list[NDArray[np.bool_]]:
    """Windows in groups of rising speed, about equal in number."""
    place = np.argsort(np.argsort(speed, kind="stable"), kind="stable")
    group = place * _GROUPS // speed.size
    return [np.asarray(group == k) for k in range(_GROUPS)]


def _staying(excess: Excess, speed: Array) -> tuple[float, float, float] | None:
    """Frequency, standard uncertainty and height of the strongest peak that stays."""
    everywhere = np.ones(speed.size, dtype=bool)
    height, std = excess.mean(everywhere)
    for at in highest(height, std, LEAST_HEIGHT, SIGMAS)[:_CANDIDATES]:
        tracked = _tracked(excess, speed, _groups(speed), at, 0.4 * float(height[at]))
        if tracked is None:
            continue
        places, speeds = tracked
        slope, slope_std = slope_with_std(speeds, places)
        if not abs(slope) < STAYS + 2 * slope_std or not slope_std < 2 * STAYS:
            continue
        spread = float(np.std(places, ddof=1)) / math.sqrt(places.size)
        value = centre(excess.frequency_hz, height, at)
        return value, math.hypot(spread, 0.1 * excess.bin_hz), float(height[at])
    return None


def _tracked(
    excess: Excess, speed: Array, groups: list[NDArray[np.bool_]], at: int, least: float
) -> tuple[Array, Array] | None:
    """Where a peak lies in each group [Hz], and the group's speed; None where one lacks it."""
    reach = max(2, round(NARROW_HZ / 2 / excess.bin_hz))
    low, high = max(1, at - reach), min(excess.frequency_hz.size - 1, at + reach + 1)
    places, speeds = [], []
    for rows in groups:
        height, _ = excess.mean(rows)
        near = np.where(np.isfinite(height[low:high]), height[low:high], -np.inf)
        if not near.size or not np.isfinite(near).any():
            continue  # a multiple of the propeller lies there at that speed
        top = low + int(np.argmax(near))
        if height[top] < least:
            return None
        places.append(centre(excess.frequency_hz, height, top))
        speeds.append(float(np.median(speed[rows])))
    if len(places) < 3:
        return None
    return np.array(places), np.array(speeds)


def _near_orders(shown: Shaken, turns: Turning, aircraft: Aircraft) -> Iterator[Finding]:
    """Tell a natural frequency that the propeller meets in cruise or in the take-off roll."""
    orders = sorted({1, *((aircraft.blades,) if aircraft.blades else ())})
    for phase, words in (("cruise", "in cruise"), ("takeoff", "in the take-off roll")):
        speed = turns.at(shown.windows.middle_s[shown.phase == phase])
        speed = speed[np.isfinite(speed) & (speed > RUNNING_REV_S)]
        if speed.size < 3:
            continue
        usual = float(np.median(speed))
        for frequency in aircraft.structure_hz:
            for order in orders:
                apart = abs(order * usual / frequency - 1)
                std = turns.share_std * order * usual / frequency
                if _NORMAL.cdf((NEAR - apart) / max(std, 1e-9)) > _SURE:
                    yield make_finding(
                        "structure-near-order",
                        f"Multiple {order} of the propeller is at {order * usual:.0f} Hz {words}, "
                        f"within {NEAR:.0%} of the natural frequency of {frequency:.1f} Hz.",
                        evidence={
                            "order": order,
                            "order_hz": order * usual,
                            "structure_hz": frequency,
                            "phase": phase,
                        },
                        start_s=shown.start_s,
                        end_s=shown.end_s,
                    )


def _shifted(
    value: float, std: float, rate: float, aircraft: Aircraft, shown: Shaken
) -> Iterator[Finding]:
    """Compare a peak with the nearest frequency of the ground test, folded as it would show."""
    if not aircraft.structure_hz:
        return
    shows = {f: float(folded(f, rate)) for f in aircraft.structure_hz}
    frequency = min(shows, key=lambda f: abs(shows[f] - value))
    apart = abs(value - shows[frequency])
    if not SHIFTED * frequency < apart - 1.645 * std or not apart > 3 * std:
        return
    if apart > SAME_MODE * frequency:
        return
    also = f", which shows at {shows[frequency]:.1f} Hz" if shows[frequency] != frequency else ""
    yield make_finding(
        "structure-peak-shifted",
        f"A peak that does not follow the propeller is at {value:.1f} Hz (± {1.96 * std:.1f}); the "
        f"ground test has {frequency:.1f} Hz{also}.",
        evidence={"peak_hz": value, "structure_hz": frequency, "shows_at_hz": shows[frequency]},
        start_s=shown.start_s,
        end_s=shown.end_s,
    )


def _growing(
    recording: Recording, middle_s: Array, excess: Excess, speed: Array, rate: float, shown: Shaken
) -> Iterator[Finding]:
    """Find a narrow peak that grows with the airspeed and does not follow the propeller."""
    airspeed = _airspeed(recording, middle_s)
    if airspeed is None or rate < FLUTTER_RATE_HZ:
        return
    known = np.isfinite(airspeed)
    if known.sum() < 4 * _GROUPS:
        return
    low, fast = np.percentile(airspeed[known], [5, 75])
    if np.percentile(airspeed[known], 95) - low < _AIRSPEED_RANGE_M_S:
        return
    height, std = excess.mean(known & (airspeed >= fast))
    for at in highest(height, std, _LOUD, SIGMAS)[:_CANDIDATES]:
        rows = known & np.isfinite(excess.height[:, at])
        over = excess.height[rows, at]
        # Over what surrounds it, which falls with the motor's power, and by itself.
        grown = [_growth(airspeed[rows], h) for h in (over, over + excess.level[rows])]
        growth, growth_std = min(grown)
        if not growth - _STUDENT * growth_std > GROWTH_DB:
            continue
        if _follows(excess, speed, known & (airspeed >= fast), at):
            continue
        frequency = centre(excess.frequency_hz, height, at)
        yield make_finding(
            "peak-grows-with-speed",
            f"A narrow peak at {frequency:.1f} Hz grows by {growth:.0f} dB with 2 m/s of airspeed "
            f"(± {1.96 * growth_std:.0f}) and does not follow the propeller, as flutter would.",
            evidence={
                "peak_hz": frequency,
                "growth_db_in_2_m_s": growth,
                "above_m_s": float(fast),
            },
            start_s=shown.start_s,
            end_s=shown.end_s,
        )
        return


def _follows(excess: Excess, speed: Array, rows: NDArray[np.bool_], at: int) -> bool:
    """Whether a peak moves with the propeller from window to window, or may."""
    reach = max(2, round(NARROW_HZ / 2 / excess.bin_hz))
    near = slice(max(0, at - reach), at + reach + 1)
    height = excess.height[rows][:, near]
    whole = np.isfinite(height).all(axis=1)
    places = excess.frequency_hz[near][np.argmax(height[whole], axis=1)]
    slope, std = slope_with_std(speed[rows][whole], places)
    return not (abs(slope) < STAYS + 2 * std and std < STAYS)


def _growth(airspeed: Array, height: Array) -> tuple[float, float]:
    """Growth with 2 m/s of airspeed and its standard uncertainty; -inf where it can't be told.

    By means over steps of airspeed: one growth, however many windows show it. [dB]
    """
    x, y = _steps(airspeed, height)
    slope, std = slope_with_std(x, y) if x.size >= _LEAST_STEPS else (math.nan, math.nan)
    return (2 * DB * slope, 2 * DB * std) if np.isfinite(slope) else (-math.inf, 0.0)


def _steps(airspeed: Array, height: Array) -> tuple[Array, Array]:
    """Means of at least three windows over steps of half a metre a second, of the fastest.

    Slower than that, the peak is lost in what surrounds it and does not grow.
    """
    step = np.floor(2 * (airspeed - airspeed.min())).astype(int)
    if step.size and step.max() > 1000:
        return np.empty(0), np.empty(0)
    count = np.bincount(step)
    full = count >= 3
    full[: max(0, np.flatnonzero(full)[-1] - 5 if full.any() else 0)] = False
    x = np.bincount(step, weights=airspeed)[full] / count[full]
    return x, np.bincount(step, weights=height)[full] / count[full]


def _airspeed(recording: Recording, middle_s: Array) -> Array | None:
    """Mean airspeed about each middle [m/s], NaN without a sample; None without a sensor."""
    table = recording.one("airspeed")
    if table is None or "airspeed_m_s" not in table:
        return None
    time_s = table["time_s"].to_numpy(dtype=float)
    value = table["airspeed_m_s"].to_numpy(dtype=float, na_value=np.nan)
    good = np.isfinite(time_s) & np.isfinite(value) & (np.abs(value) < 1e3)
    if good.sum() < 3:
        return None
    time_s, total = time_s[good], np.concatenate([[0.0], np.cumsum(value[good])])
    first, last = (np.searchsorted(time_s, middle_s + d) for d in (-0.5, 0.5))
    count = last - first
    return np.where(count > 0, (total[last] - total[first]) / np.maximum(count, 1), np.nan)
