"""How an aircraft answers one surface: lag, strength, and play in the linkage, from a flight.

The turning acceleration about an axis is a sum of terms that a log holds: the turning rates
(damping), the specific force (which shows the angle of the air: lift and side force are what it
makes), and the deflections. Each of them is transformed to frequencies, and the acceleration
fitted by least squares there, weighted by how much is left unexplained around each frequency
(equation error in the frequency domain: Klein and Morelli, Aircraft System Identification, 2006,
chapter 7; with these weights the likelihood is Whittle's of 1953). A derivative and a delay are
then exact factors, slow drifts and vibration lie outside the band, and neighbouring residuals
that agree do no harm. An autopilot that moves the surface because the aircraft turns does little
harm either, since what turned the aircraft is among the terms.

A linkage with play passes a move on only in part: fits with every width of the gap are compared.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from flightlog.estimation.frames import Array
from flightlog.estimation.linkage_play import WIDTHS_DEG, Moves, Spectrum, least_misfits

STEP_S = 0.04
"""Step of the evenly spaced times that the fit needs. [s]"""

BAND_HZ = (0.15, 6.0)
"""Slower are gusts, throttle and trim; faster the servo and the aircraft no longer follow. [Hz]"""

LEAST_S = 20.0
"""Shorter flights hold too few moves. [s]"""

LONGEST_S = 300.0
"""Longer ones are cut to their middle, to stay quick. [s]"""

HORIZON_S = 0.3
"""The gain is that of the turning rate so long after a step. [s]"""

_DELAYS_S: Array = np.arange(-0.05, 0.301, 0.01)
_PLAY_DELAYS_S: Array = np.arange(0.0, 0.121, 0.02)
_NOISE_BANDS = 8
_ROUNDS = 3
_TAPER = 0.05
# The model is not the aircraft: the likelihood counts as if only every so many-th value were new.
_DISCOUNT = 5.0


@dataclass(frozen=True, slots=True)
class Answered:
    """What a fit found, for one axis and one surface.

    Attributes
    ----------
    lag_s, lag_std_s : float
        From command to turning acceleration, without play. [s]
    gain, gain_std : float
        Turning rate `HORIZON_S` after a step for each degree, without play. [1/s]
    significance : float
        Standard uncertainties that the best fit is better than one without the surface. [-]
    widths_deg, probability : array, shape (k,)
        Possible widths of play, and how likely each is with all equally likely before; empty
        where play was not looked for. [deg], [-]
    """

    lag_s: float
    lag_std_s: float
    gain: float
    gain_std: float
    significance: float
    widths_deg: Array
    probability: Array


def answer_to_surface(
    rate: Array,
    command_deg: Array,
    others: Sequence[Array],
    strength: Array | None = None,
    air: Array | None = None,
) -> Answered | None:
    """Fit how a turning rate answers a surface.

    Parameters
    ----------
    rate : array, shape (n,)
        Turning rate about the axis at times `STEP_S` apart. [deg/s]
    command_deg : array, shape (n,)
        Deflection that the servo was told. A pulse will do; the gain is then one of pulses. [deg]
    others : sequence of array, shape (n,)
        Everything else that turns the aircraft: the three turning rates, the specific force, the
        other deflections.
    strength : array, shape (n,), optional
        How strong the surface is at each time against its mean: dynamic pressure. [-]
    air : array, shape (n,), optional
        What shows the angle of the air, any scale; without it play is not looked for.

    Returns
    -------
    Answered or None
        None where the flight is too short or the surface did not move.
    """
    keep = _middle(rate.size)
    rate, command = rate[keep], np.asarray(command_deg, dtype=float)[keep]
    strong = np.ones(rate.size) if strength is None else strength[keep]
    if rate.size * STEP_S < LEAST_S or float(np.ptp(command)) < 1e-6 or float(np.ptp(rate)) == 0:
        return None
    terms = [x for x in (o[keep] for o in others) if float(np.ptp(x)) > 1e-9]
    fit = _Fit(rate, terms)
    plain = fit.transform((command * strong)[:, None])
    weight: Array = np.ones(fit.size)
    for _ in range(_ROUNDS):
        weight = fit.weights(plain, _DELAYS_S, weight)
    lag, lag_std, gain, gain_std, significance = fit.lag_and_gain(plain, weight)
    widths: Array = np.empty(0)
    probability: Array = np.empty(0)
    if air is not None:
        widths, air = WIDTHS_DEG, air[keep]
        # Single precision: a thousandth of what decides, in half the time.
        moves = Moves(
            command,
            air,
            STEP_S,
            lambda moved: fit.transform((moved * strong[:, None]).astype(np.float32)),
        )
        looked = _Looked(fit, weight)
        least_misfits(moves, looked, rough=True)
        weight = fit.weights(looked.best, _PLAY_DELAYS_S, weight)
        looked = _Looked(fit, weight)
        least = least_misfits(moves, looked)
        likely = np.exp(-0.5 * (least - least.min()) / _DISCOUNT)
        probability = likely / likely.sum()
        significance = max(significance, looked.significance)
    return Answered(lag, lag_std, gain, gain_std, significance, widths, probability)


class _Looked:
    """What deflections leave unexplained; remembers the best of all that it was shown."""

    def __init__(self, fit: _Fit, weight: Array) -> None:
        self._fit, self._weight = fit, weight
        self._least = math.inf
        self.best: Spectrum = np.empty((fit.size, 1), dtype=complex)
        self.significance = 0.0

    def __call__(self, spectra: Spectrum) -> Array:
        misfit, whole, _ = self._fit.misfits(spectra, _PLAY_DELAYS_S, self._weight)
        least: Array = misfit.min(axis=0)
        k = int(least.argmin())
        if least[k] < self._least:
            self._least, self.best = float(least[k]), spectra[:, [k]]
            self.significance = math.sqrt(max(whole - self._least, 0.0) / _DISCOUNT)
        return least


class _Fit:
    """Transforms in the band, and weighted least squares of them."""

    def __init__(self, rate: Array, terms: list[Array]) -> None:
        frequency = np.fft.rfftfreq(rate.size, STEP_S)
        self._use = (frequency >= BAND_HZ[0]) & (frequency <= BAND_HZ[1])
        self._turning = 2j * np.pi * frequency[self._use]
        self.size = self._turning.size
        self._window = _tapered(rate.size)
        edges = np.geomspace(*BAND_HZ, _NOISE_BANDS + 1)
        place = np.searchsorted(edges, frequency[self._use], side="right") - 1
        self._band = np.clip(place, 0, _NOISE_BANDS - 1)
        seen = self.transform(np.column_stack([rate, *terms]))
        self._wanted, self._terms = self._turning * seen[:, 0], seen[:, 1:]
        self._damping = next((k for k, x in enumerate(terms) if np.array_equal(x, rate)), None)

    def transform(self, values: Array) -> Spectrum:
        """Spectra of columns within the band: shape (frequencies, columns)."""
        steady = values - values.mean(axis=0)
        shaped = steady * self._window[:, None].astype(values.dtype)
        spectrum: Spectrum = np.fft.rfft(shaped, axis=0)[self._use]
        return spectrum

    def weights(self, moved: Spectrum, delays: Array, weight: Array) -> Array:
        """One over the power that one move leaves at its best delay, band by band."""
        misfit, _, _ = self.misfits(moved, delays, weight)
        delay = float(delays[int(misfit[:, 0].argmin())])
        coefficients, full = self._solved(moved[:, 0] * self._delayed(delay), weight)
        left = np.abs(self._wanted - full @ coefficients) ** 2
        count = np.maximum(np.bincount(self._band, minlength=_NOISE_BANDS), 1)
        power = np.bincount(self._band, left, _NOISE_BANDS) / count
        if not float(power.max()) > 0:
            return weight
        usable: Array = 2.0 / np.maximum(power, 1e-9 * power.max())[self._band]
        return usable

    def lag_and_gain(
        self, moved: Spectrum, weight: Array
    ) -> tuple[float, float, float, float, float]:
        """Lag, gain, each with its standard uncertainty, and the significance of the gain."""
        misfit, whole, information = self.misfits(moved, _DELAYS_S, weight)
        misfit, best = misfit[:, 0], int(misfit.argmin())
        likely = np.exp(-0.5 * (misfit - misfit.min()) / _DISCOUNT)
        likely /= likely.sum()
        lag = float(likely @ _DELAYS_S)
        step = float(_DELAYS_S[1] - _DELAYS_S[0])
        lag_std = math.sqrt(float(likely @ (_DELAYS_S - lag) ** 2) + step**2 / 12)
        coefficients, _ = self._solved(moved[:, 0] * self._delayed(_DELAYS_S[best]), weight)
        damping = 0.0 if self._damping is None else max(-float(coefficients[self._damping]), 0.0)
        worth = -math.expm1(-damping * HORIZON_S) / damping if damping > 1e-6 else HORIZON_S
        told = float(information[0])
        std = math.sqrt(_DISCOUNT / told) if 0 < told < math.inf else 1e9
        significance = math.sqrt(max(whole - float(misfit[best]), 0.0) / _DISCOUNT)
        return lag, lag_std, float(coefficients[-1]) * worth, std * worth, significance

    def misfits(self, moved: Spectrum, delays: Array, weight: Array) -> tuple[Array, float, Array]:
        """Weighted squares left (delays, columns), those without the move, and information."""
        root = np.sqrt(weight)[:, None]
        basis, _ = np.linalg.qr(_real(self._terms * root))
        wanted = _real(self._wanted[:, None] * root)[:, 0]
        wanted = wanted - basis @ (basis.T @ wanted)
        whole = float(wanted @ wanted)
        # Delay turns real into imaginary parts, so that each needs its own projections: products
        # of the halves give them without building the delayed columns.
        scaled = moved * root.astype(moved.real.dtype)
        halves = len(scaled)
        aim = (wanted[:halves] - 1j * wanted[halves:]).astype(moved.dtype)
        axes = (basis[:halves] - 1j * basis[halves:]).astype(moved.dtype)
        size = np.einsum("ij,ij->j", scaled.conj(), scaled).real
        misfit = np.empty((delays.size, moved.shape[1]))
        told = size
        for j, delay in enumerate(delays):
            turn = self._delayed(delay).astype(moved.dtype)
            along = ((axes * turn[:, None]).T @ scaled).real
            free = size - np.einsum("ij,ij->j", along, along)
            # What lies in the space of the other terms to the last digits tells nothing.
            told = np.where(free > 1e-4 * size, free, np.inf)
            misfit[j] = whole - ((aim * turn) @ scaled).real ** 2 / told
        return misfit, whole, told

    def _delayed(self, delay: float) -> Spectrum:
        turn: Spectrum = np.exp(-self._turning * delay)
        return turn

    def _solved(self, moved: Spectrum, weight: Array) -> tuple[Array, Spectrum]:
        full = np.column_stack([self._terms, moved])
        root = np.sqrt(weight)[:, None]
        wanted = _real(self._wanted[:, None] * root)[:, 0]
        return np.linalg.lstsq(_real(full * root), wanted, rcond=None)[0], full


def _middle(count: int) -> slice:
    most = round(LONGEST_S / STEP_S)
    length = min(count, most)
    # Lengths with small factors are transformed quickly.
    length -= length % 64 if length > 640 else 0
    first = (count - length) // 2
    return slice(first, first + length)


def _real(values: Spectrum) -> Array:
    stacked: Array = np.concatenate([values.real, values.imag], axis=0)
    return stacked


def _tapered(count: int) -> Array:
    """Ones that fall to zero over a small share at either end (a cosine)."""
    window = np.ones(count)
    length = max(1, int(_TAPER * count / 2))
    rise = 0.5 - 0.5 * np.cos(np.pi * (np.arange(length) + 0.5) / length)
    window[:length], window[count - length :] = rise, rise[::-1]
    return window
