"""What a spectrum of a short record can't tell, and what no method can."""

from __future__ import annotations

import math


def resolution_hz(duration_s: float) -> float:
    """Width of a line of the spectrum of a record. [Hz]"""
    return 1 / duration_s


def half_power_damping(lower_hz: float, upper_hz: float, peak_hz: float) -> float:
    """Damping ratio from the frequencies on both sides of a peak at half of its power. [-]"""
    return (upper_hz - lower_hz) / (2 * peak_hz)


def needed_duration_s(frequency_hz: float, damping: float) -> float:
    """Duration from which the half-power width of a peak could be read.

    The width is 2ζf; to read it, its lines must stand closer than a quarter of it. A ring-down
    of that length has long fallen into the noise: after it, e^(-4π) of the amplitude is left
    whatever frequency and damping. So no longer record helps, and damping is read from the decay.
    """
    return 2 / (damping * frequency_hz)


def undamped_frequency_bound_hz(power_ratio: float, samples: int, duration_s: float) -> float:
    """Least standard uncertainty of the frequency of a steady oscillation. [Hz]

    Parameters
    ----------
    power_ratio : float
        Amplitude² over the variance of the noise. [-]
    samples : int
        Of the record.
    duration_s : float
        Of the record.

    Notes
    -----
    Cramér-Rao bound for amplitude, phase and frequency unknown; D. C. Rife and R. R. Boorstyn,
    IEEE Trans. IT 20 (1974) 591.
    """
    return math.sqrt(6 / (samples * power_ratio)) / (math.pi * duration_s)
