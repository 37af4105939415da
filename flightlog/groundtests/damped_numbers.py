"""From a fit to frequency, damping and amplitude of each oscillation, and how sure each is."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from flightlog.groundtests.bench_table import FloatArray
from flightlog.groundtests.damped_fit import Fit, as_starts, fit

_BENT_AT = 13.8
"""Chi² with two degrees of freedom that chance exceeds once in a thousand. [-]"""


@dataclass(frozen=True, slots=True)
class Mode:
    """One oscillation of one ring; its numbers are for where the damping rests on.

    Attributes
    ----------
    frequency_hz, frequency_std_hz : float
        Undamped natural frequency.
    damping, damping_std : float
        Ratio to critical damping. [-]
    amplitude, amplitude_std : float
        Of the oscillation where frequency and damping hold. [unit of the signal]
    first_amplitude, last_amplitude : float
        At both ends of the ring. [unit of the signal]
    noise_ratio : float
        Noise about its frequency, over noise of all; its root widened the uncertainties. [-]
    bent : bool
        Whether damping or frequency changes along the ring, shown beyond chance.
    first_damping, last_damping : float or None
        Damping ratio where the ring is strongest, and where a tenth of that, or the end, is
        reached; None where it is not bent. [-]
    frequency_change_std_hz, damping_change_std : float
        Part of the standard uncertainties that stands for the change along the ring, which more
        releases make no smaller.
    """

    frequency_hz: float
    frequency_std_hz: float
    damping: float
    damping_std: float
    amplitude: float
    amplitude_std: float
    first_amplitude: float
    last_amplitude: float
    noise_ratio: float = 1.0
    bent: bool = False
    first_damping: float | None = None
    last_damping: float | None = None
    frequency_change_std_hz: float = 0.0
    damping_change_std: float = 0.0


def noise_ratio(t: FloatArray, found: Fit, omega: float) -> float:
    """Noise power about a frequency over that of all frequencies, as the residuals show it.

    The lines next to the frequency are left out: the fit has emptied them.
    """
    n, duration = t.size, float(t[-1])
    even = np.interp(np.linspace(0.0, duration, n), t, found.rest)
    power = np.abs(np.fft.rfft(even)) ** 2 / n
    at = omega / (2 * math.pi) * duration
    lines = np.arange(power.size)
    away = np.abs(lines - at)
    width = max(8.0, 0.15 * at)
    near = (away > 1.5) & (away <= width + 1.5) & (lines >= 1) & (lines < power.size - 1)
    if np.count_nonzero(near) < 6:
        return 1.0
    ratio = float(power[near].mean()) / found.variance if found.variance > 0 else 1.0
    # So many lines scatter by that much about one; less is no colour.
    chance = 1 + 2.0 / math.sqrt(np.count_nonzero(near))
    return ratio if ratio > chance else 1.0


def _close_ratio(t: FloatArray, found: Fit, omega: float) -> float:
    """As `_noise_ratio`, of the few lines next to the frequency: what the fit itself leaves."""
    n, duration = t.size, float(t[-1])
    even = np.interp(np.linspace(0.0, duration, n), t, found.rest)
    power = np.abs(np.fft.rfft(even)) ** 2 / n
    near = np.abs(np.arange(power.size) - omega / (2 * math.pi) * duration) <= 2.5
    if found.variance <= 0 or not near.any():
        return 1.0
    ratio = float(power[near].mean()) / found.variance
    return ratio if ratio > 3.0 else 1.0


def bend(t: FloatArray, y: FloatArray, straight: Fit) -> Fit | None:
    """Fit again with bent decays, about the middle of what the strongest shows."""
    strongest = int(np.argmax((straight.modes**2).sum(axis=1)))
    middle = min(0.5 * float(t[-1]), 1 / max(float(straight.rate[strongest]), 1e-9))
    bent = fit(
        t,
        y,
        as_starts(straight),
        mains_hz=straight.mains_hz,
        harmonics=straight.harmonics,
        bend_at=middle,
    )
    if bent is None or bent.squares > straight.squares:
        return None
    # The same oscillations, or it tells nothing of them.
    gaps = np.diff(straight.omega, prepend=-np.inf, append=np.inf)
    far = np.minimum(0.05 * straight.omega, 0.3 * np.minimum(gaps[:-1], gaps[1:]))
    return None if (np.abs(bent.omega - straight.omega) > far).any() else bent


def _rests_at(rate: float, duration_s: float) -> float:
    """Time at which a fitted decay is the true one where that changes along the ring. [s]

    Least squares weigh the slope of ln(amplitude) by amplitude²; a slope that changes evenly is
    met where the weighted line and the weighted parabola agree.
    """
    t = np.linspace(0.0, duration_s, 200)
    w = np.exp(-2 * max(rate, 0.0) * t)
    off = t - float(w @ t) / float(w.sum())
    return 0.5 * float(w @ (off * t * t)) / float(w @ (off * t))


def mode_of(t: FloatArray, found: Fit, bends: Fit | None, i: int) -> Mode:
    """Turn one oscillation of a fit into frequency, damping and amplitude, where they rest."""
    duration = float(t[-1])
    rate, omega = float(found.rate[i]), float(found.omega[i])
    ratio = max(noise_ratio(t, found, omega), _close_ratio(t, found, omega))
    at = _rests_at(rate, duration)
    use, changing = found, None
    if bends is not None:
        ratio_bent = max(noise_ratio(t, bends, omega), _close_ratio(t, bends, omega))
        noise = bends.variance * ratio_bent
        if _is_bent(bends, i, noise):
            use, changing, ratio = bends, bends, ratio_bent
    numbers, cov = _local(use, i, at)
    cov = cov * use.variance * ratio
    natural, damping, slopes = _natural(numbers[0], numbers[1])
    spread = slopes @ cov[:2, :2] @ slopes.T
    size = float(np.exp(numbers[2]))
    ends = [float(np.exp(_local(use, i, when)[0][2])) for when in (0.0, duration)]
    first = last = None
    frequency_change = damping_change = 0.0
    if changing is not None:
        late = min(duration, 2.3 / max(rate, 1e-9))
        (f0, first), (f1, last) = (
            _natural(*_local(changing, i, when)[0][:2])[:2] for when in (0.0, late)
        )
        # A number that changes along the ring is not known to better than it changes.
        frequency_change = abs(f0 - f1) / math.sqrt(12) / (2 * math.pi)
        damping_change = abs(first - last) / math.sqrt(12)
    return Mode(
        natural / (2 * math.pi),
        math.hypot(math.sqrt(spread[0, 0]) / (2 * math.pi), frequency_change),
        damping,
        math.hypot(math.sqrt(spread[1, 1]), damping_change),
        size,
        size * math.sqrt(cov[2, 2]),
        ends[0],
        ends[1],
        ratio,
        changing is not None,
        first,
        last,
        frequency_change,
        damping_change,
    )


def _is_bent(bends: Fit, i: int, noise: float) -> bool:
    m = bends.rate.size
    which = [2 * m + i, 3 * m + i]
    cov = bends.cov[np.ix_(which, which)] * noise
    bend = bends.bend[i] if bends.bend is not None else np.zeros(2)
    try:
        return float(bend @ np.linalg.solve(cov, bend)) > _BENT_AT
    except np.linalg.LinAlgError:
        return False


def _local(found: Fit, i: int, at: float) -> tuple[FloatArray, FloatArray]:
    """Give decay, circular frequency and ln(amplitude) at a time, with their covariance."""
    m = found.rate.size
    a, b = float(found.cosine[i]), float(found.sine[i])
    size = math.hypot(a, b) or 1e-300
    bend = found.bend[i] if found.bend is not None else np.zeros(2)
    off = at - found.bend_at
    numbers = np.array(
        [
            found.rate[i] - 2 * bend[0] * off,
            found.omega[i] + 2 * bend[1] * off,
            math.log(size) - found.rate[i] * at + bend[0] * off * off,
        ]
    )
    blocks = found.cov.shape[0] // m if m else 0
    slopes = np.zeros((3, found.cov.shape[0]))
    slopes[0, i] = slopes[1, m + i] = 1.0
    slopes[2, i] = -at
    if blocks == 6:
        slopes[0, 2 * m + i], slopes[1, 3 * m + i] = -2 * off, 2 * off
        slopes[2, 2 * m + i] = off * off
    slopes[2, (blocks - 2) * m + i] = a / size**2
    slopes[2, (blocks - 1) * m + i] = b / size**2
    return numbers, slopes @ found.cov @ slopes.T


def _natural(rate: float, omega: float) -> tuple[float, float, FloatArray]:
    """Give undamped circular frequency, damping ratio, and their derivatives."""
    rate, omega = float(rate), float(omega)
    whole = math.hypot(rate, omega)
    slopes = np.array(
        [[rate / whole, omega / whole], [omega**2 / whole**3, -rate * omega / whole**3]]
    )
    return whole, rate / whole, slopes
