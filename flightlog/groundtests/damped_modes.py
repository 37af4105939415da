"""Which oscillations a ring holds, how many, how damped, and how sure that is."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import TypeGuard

import numpy as np

from flightlog.groundtests.bench_table import FloatArray
from flightlog.groundtests.damped_fit import Fit, Start, as_starts, fit, rescaled, shifted
from flightlog.groundtests.damped_numbers import Mode, bend, mode_of, noise_ratio
from flightlog.groundtests.matrix_pencil import pencil

MOST_MODES = 4
"""More than that no hand excites at once so that it can be told apart. [-]"""
_MAINS_HZ = (50.0, 60.0)
_HARMONICS = (1, 2, 3)
_MAINS_OFF_HZ = 0.12
"""The mains of large grids stay nearer to the nominal frequency. [Hz]"""
_MAINS_SHOWN = 8.0
"""Power of a line over its neighbourhood that chance hardly reaches. [-]"""
_MOST_SAMPLES = 4000
_PENCIL_SAMPLES = 500
_TOO_MANY = 12_000
"""Samples that a fit does not take in bounded time; the first ones are taken. [-]"""
_MOST_DAMPED = 0.35
_USUAL_DAMPING = 0.02
_DOUBT = 10.0
"""Beyond Schwarz's criterion, since the frequency was searched. [-]"""


@dataclass(frozen=True, slots=True, eq=False)
class Ring:
    """What one ring holds.

    Attributes
    ----------
    modes : tuple of Mode
        By frequency; may be empty.
    fit : Fit
        With lines of the mains and steady lines in it; in the unit of the signal.
    which : tuple of int
        Index in the fit of each mode.
    steady_hz : tuple of float
        Frequencies that do not decay: not of the structure.
    t, y : array
        Samples that were fitted: times from the start of the window [s], signal less its mean.
    noise_std : float
        Scatter about the fit. [unit of the signal]
    bent_std : float
        The same about a fit whose decays may bend. [unit of the signal]
    """

    modes: tuple[Mode, ...]
    fit: Fit
    which: tuple[int, ...]
    steady_hz: tuple[float, ...]
    t: FloatArray
    y: FloatArray
    noise_std: float
    bent_std: float

    @property
    def signal(self) -> FloatArray:
        """The samples without offset, drift, mains and steady lines. [unit of the signal]"""
        of_modes: FloatArray = self.fit.modes[list(self.which)].sum(axis=0)
        return of_modes + self.fit.rest

    @property
    def envelope(self) -> FloatArray:
        """Sum of the amplitudes of the oscillations. [unit of the signal]"""
        sizes = self.fit.amplitude[list(self.which), np.newaxis]
        decays = np.exp(np.clip(-self.fit.rate[list(self.which), np.newaxis] * self.t, -200, 50))
        whole: FloatArray = (sizes * decays).sum(axis=0)
        return whole


def ring(
    t: FloatArray,
    y: FloatArray,
    *,
    lowest_hz: float = 1.0,
    highest_hz: float = 100.0,
    most_modes: int = 3,
    mains_hz: float | None = None,
) -> Ring | None:
    """Find the oscillations of a free decay.

    Parameters
    ----------
    t : array, shape (n,)
        Times, rising; evenly spaced or not. [s]
    y : array, shape (n,)
        Signal, finite, in any unit.
    lowest_hz, highest_hz : float
        Where oscillations of the structure are looked for.
    most_modes : int
        As many are looked for.
    mains_hz : float, optional
        Of the mains; 50 and 60 Hz are tried where it is not given.

    Returns
    -------
    Ring or None
        None with too few samples, or a signal that does not change.
    """
    if t.size < 16 or not np.isfinite(y).all() or not np.ptp(t) > 0 or not np.ptp(y) > 0:
        return None
    few_t, few_y = thinned(t, y, highest_hz)
    t, y, scale = shifted(few_t[:_TOO_MANY], few_y[:_TOO_MANY])
    if not math.isfinite(scale):
        return None
    band = (lowest_hz, min(highest_hz, 0.5 / float(np.median(np.diff(t)))))
    best = _chosen(t, y, band, min(most_modes, MOST_MODES), mains_hz)
    if best is None:
        return None
    steady = [i for i in range(best.rate.size) if _steady(best, i)]
    which = tuple(i for i in range(best.rate.size) if i not in steady and best.rate[i] > 0)
    bent = bend(t, y, best) if which else None
    best = rescaled(best, scale)
    bent = None if bent is None else rescaled(bent, scale)
    # A decay that bends may leave the range in which anything rings: that is no oscillation.
    made = [(i, mode_of(t, best, bent, i)) for i in which]
    made = [(i, mode) for i, mode in made if mode.damping <= _MOST_DAMPED]
    which, modes = tuple(i for i, _ in made), tuple(mode for _, mode in made)
    lines = tuple(float(best.omega[i]) / (2 * math.pi) for i in steady)
    left = math.sqrt(best.variance)
    bent_std = left if bent is None else math.sqrt(bent.variance)
    return Ring(modes, best, which, lines, t, y * scale, left, bent_std)


def thinned(t: FloatArray, y: FloatArray, highest_hz: float) -> tuple[FloatArray, FloatArray]:
    """Average neighbouring samples where there are more than a fit needs.

    Means of equally many neighbours keep frequency and decay of an evenly sampled oscillation as
    they are; only blocks that are short against its period are made, so that they keep its
    amplitude, too.
    """
    step = float(np.median(np.diff(t)))
    most = int(0.05 / (highest_hz * step)) if step > 0 else t.size // _MOST_SAMPLES + 1
    count = min(most, t.size // _MOST_SAMPLES)
    if count < 2:
        return t, y
    whole = t.size // count * count
    return t[:whole].reshape(-1, count).mean(axis=1), y[:whole].reshape(-1, count).mean(axis=1)


# --- how many


def _chosen(
    t: FloatArray, y: FloatArray, band: tuple[float, float], most: int, mains_hz: float | None
) -> Fit | None:
    """Fit none, one, two, ... oscillations, and keep as many as the evidence asks for."""
    base, harmonics = _mains(t, y, mains_hz)
    none = fit(t, y, (), mains_hz=base, harmonics=harmonics)
    if none is None:
        return None
    fits = [none]
    while len(fits) <= most:
        made = _with(t, y, fits[-1], len(fits), band)
        if made is None:
            break
        if len(fits) == 1 and made.mains_hz is None:
            # Beside a strong ring a line of the mains shows only once the ring is taken off.
            base, harmonics = _mains(t, made.rest, mains_hz)
            if harmonics:
                again = fit(t, y, as_starts(made), mains_hz=base, harmonics=harmonics)
                made = again if _stays(again, band, float(t[-1])) else made
        fits.append(made)
    best = fits[_evident(t, fits)]
    fine = fit(t, y, as_starts(best), mains_hz=best.mains_hz, harmonics=best.harmonics)
    if fine is not None and fine.mains_hz is not None:
        nominal = (mains_hz,) if mains_hz else _MAINS_HZ
        if min(abs(fine.mains_hz - each) for each in nominal) > 4 * _MAINS_OFF_HZ:
            fine = fit(t, y, as_starts(best))  # it was no line of the mains
    return fine if _stays(fine, band, float(t[-1])) else best


def _with(
    t: FloatArray, y: FloatArray, before: Fit, count: int, band: tuple[float, float]
) -> Fit | None:
    """Give the best fit of ``count`` oscillations, from all places to start from."""
    best: Fit | None = None
    for starts in _starts(t, y, before, count, band):
        made = fit(t, y, starts, mains_hz=before.mains_hz, harmonics=before.harmonics, rough=True)
        if made is None or not _sound(made, band, float(t[-1])):
            continue
        if best is None or made.squares < best.squares:
            best = made
    return best


def _evident(t: FloatArray, fits: list[Fit]) -> int:
    """Say how many oscillations are shown: Schwarz's criterion, with the noise beside each.

    Noise of machines and hands is coloured: judged by noise of all frequencies, a slow drift would
    count as an oscillation. So each gain counts in units of the noise about the new frequency, as
    the fullest fit leaves it. One that helps only together with the next is met by the sum.
    """
    fullest = fits[-1]
    total, best, most = 0.0, 0, 0.0
    for count in range(1, len(fits)):
        fewer, more = fits[count - 1], fits[count]
        apart = np.abs(fewer.omega[:, np.newaxis] - more.omega)
        new = int(np.argmax(apart.min(axis=0))) if fewer.omega.size else 0
        noise = fullest.variance * noise_ratio(t, fullest, float(more.omega[new]))
        gain = fewer.squares - more.squares
        if noise <= 1e-24:  # of a signal of size one: exact to the last digit
            gain, noise = gain * (fewer.squares > 1e-20 * t.size), 1e-24
        total += gain / noise - 4 * math.log(t.size) - _DOUBT
        if total > most:
            best, most = count, total
    return best


def _sound(made: Fit, band: tuple[float, float], duration_s: float) -> bool:
    """Ask whether these can be oscillations of their own, that a ring can show."""
    hertz = made.omega / (2 * math.pi)
    if (hertz < band[0]).any() or (hertz > band[1]).any() or (hertz * duration_s < 1.5).any():
        return False
    if (made.rate > _MOST_DAMPED * made.omega).any() or (made.rate * duration_s < -0.5).any():
        return False
    # Two that stand closer than their own widths, or than the record can part, are one whose decay
    # is not exponential.
    rate = np.abs(made.rate)
    widths = np.maximum(0.5 * (rate[:-1] + rate[1:]), math.pi / duration_s)
    return bool((np.diff(made.omega) > widths).all())


def _stays(made: Fit | None, band: tuple[float, float], duration_s: float) -> TypeGuard[Fit]:
    """Ask whether a finer fit is there, and did not run off to what can't ring."""
    return made is not None and _sound(made, band, duration_s)


def _steady(found: Fit, i: int) -> bool:
    """Ask whether an oscillation does not decay, as far as the record tells."""
    std = math.sqrt(found.variance * float(found.cov[i, i]))
    return bool(found.rate[i] <= 2 * std and found.rate[i] < 0.002 * found.omega[i])


# --- where to start


def _starts(
    t: FloatArray, y: FloatArray, before: Fit, count: int, band: tuple[float, float]
) -> Iterator[tuple[Start, ...]]:
    """Give places to start from for ``count`` oscillations."""
    known = as_starts(before)
    ringing = before.rest + before.modes.sum(axis=0)
    even, rate_hz = _even(t, ringing, _top_hz(t, ringing, band))
    taken = pencil(even, rate_hz)
    for keep in (count, count + 1, count + 3) if taken is not None else ():
        found = [
            Start(m.damping * 2 * math.pi * m.frequency_hz, 2 * math.pi * m.frequency_hz)
            for m in (taken.modes(keep) if taken is not None else ())
            if band[0] <= m.frequency_hz <= band[1] and -0.02 < m.damping < _MOST_DAMPED
        ]
        if len(found) >= count:
            yield tuple(_strongest(t, ringing, found, count))
    peak_hz = _peak_hz(t, before.rest, band)
    if peak_hz is not None:
        omega = 2 * math.pi * peak_hz
        yield (*known, Start(_USUAL_DAMPING * omega, omega))
    if known:
        # One that is two: part it by what a record of this length can just tell apart.
        at = int(np.argmax((before.modes**2).sum(axis=1)))
        one, half = known[at], 0.75 * math.pi / float(t[-1])
        others = known[:at] + known[at + 1 :]
        yield (*others, Start(one.rate, one.omega - half), Start(one.rate, one.omega + half))


def _strongest(t: FloatArray, y: FloatArray, found: list[Start], count: int) -> list[Start]:
    """Of more poles than wanted, keep those that hold most of the signal."""
    if len(found) == count:
        return found
    rows = [np.exp(np.clip((1j * s.omega - s.rate) * t, -200, 50).astype(complex)) for s in found]
    base = np.array([*(r.real for r in rows), *(r.imag for r in rows)]).T
    size, *_ = np.linalg.lstsq(base, y, rcond=None)
    energy = [
        float(((base[:, i] * size[i] + base[:, i + len(found)] * size[i + len(found)]) ** 2).sum())
        for i in range(len(found))
    ]
    best = sorted(range(len(found)), key=lambda i: -energy[i])[:count]
    return [found[i] for i in best]


def _even(t: FloatArray, y: FloatArray, top_hz: float) -> tuple[FloatArray, float]:
    """Give evenly spaced samples, no more of them than the pencil needs for ``top_hz``."""
    duration = float(t[-1])
    own = 1 / float(np.median(np.diff(t)))
    rate = min(own, max(5 * top_hz, 64 / duration))
    n = int(min(duration * rate, _PENCIL_SAMPLES)) + 1
    if n >= 0.9 * t.size:
        at = np.linspace(0.0, duration, min(t.size, _PENCIL_SAMPLES))
        even: FloatArray = np.interp(at, t, y)
        return even, (at.size - 1) / duration
    # Means over the spacing: what is faster than it does not fold into the band.
    edges = np.linspace(0.0, duration, n + 1)
    total = np.concatenate([[0.0], np.cumsum(0.5 * (y[1:] + y[:-1]) * np.diff(t))])
    means = np.diff(np.interp(edges, t, total)) * n / duration
    return means, n / duration


def _spectrum(t: FloatArray, y: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Give frequencies [Hz] and power of evenly interpolated samples, padded to four lengths."""
    n = t.size
    even = np.interp(np.linspace(t[0], t[-1], n), t, y)
    padded = 1 << (4 * n - 1).bit_length()
    power = np.abs(np.fft.rfft(even - even.mean(), padded)) ** 2 / n
    hertz = np.fft.rfftfreq(padded, float(t[-1] - t[0]) / (n - 1))
    return np.asarray(hertz, dtype=np.float64), power


def _peak_hz(t: FloatArray, y: FloatArray, band: tuple[float, float]) -> float | None:
    hertz, power = _spectrum(t, y)
    inside = (hertz >= max(band[0], 1.5 / float(t[-1]))) & (hertz <= band[1])
    if not inside.any() or not power[inside].max() > 0:
        return None
    return float(hertz[inside][np.argmax(power[inside])])


def _top_hz(t: FloatArray, y: FloatArray, band: tuple[float, float]) -> float:
    """Frequency above which the spectrum holds no peak worth a pencil."""
    hertz, power = _spectrum(t, y)
    inside = (hertz >= band[0]) & (hertz <= band[1])
    if not inside.any():
        return band[1]
    floor = max(1e-4 * power[inside].max(), 20 * float(np.median(power[inside])))
    above = hertz[inside][power[inside] > floor]
    return float(above.max()) if above.size else band[1]


# --- the mains


def _mains(
    t: FloatArray, y: FloatArray, mains_hz: float | None
) -> tuple[float | None, tuple[int, ...]]:
    """Say which lines of the mains stand out from their neighbourhood."""
    best: tuple[float, float | None, tuple[int, ...]] = (0.0, None, ())
    for base in (mains_hz,) if mains_hz else _MAINS_HZ:
        lines = {k: _line(t, y, k, base) for k in _HARMONICS}
        shown = tuple(k for k, (strength, _) in lines.items() if strength > _MAINS_SHOWN)
        if shown and lines[shown[0]][0] > best[0]:
            strength, at = lines[shown[0]]
            best = (strength, at, shown)
    return best[1], best[2]


def _line(t: FloatArray, y: FloatArray, k: int, base_hz: float) -> tuple[float, float]:
    """Give the power of a multiple of the mains over its neighbourhood, and where base_hz is.

    By the real times: a line beyond half of the sampling rate shows as what it is.
    """
    duration = float(t[-1] - t[0])
    # Never the nominal frequency itself: sampled twice a turn, a line there has one phase only.
    tried = base_hz + _MAINS_OFF_HZ * (np.arange(-4, 5) + 0.13) / 4
    beside = np.array([-8, -7, -6, -5, -4, -3, 3, 4, 5, 6, 7, 8]) / duration
    # A window keeps the skirt of the ring, thousands of times as strong, from the neighbourhood.
    level = np.hanning(t.size) * (y - y.mean())

    def power(hertz: FloatArray) -> FloatArray:
        power: FloatArray = np.abs(np.exp(-2j * math.pi * np.outer(hertz, t)) @ level) ** 2
        return power

    around, here = float(np.mean(power(k * base_hz + beside))), power(k * tried)
    top = int(np.argmax(here))
    return (float(here[top]) / around if around > 0 else 0.0), float(tried[top])
