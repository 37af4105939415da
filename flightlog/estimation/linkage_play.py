"""Where a surface is behind a linkage with play, for every width that may be.

Two things can happen in the gap. Friction holds the surface where it is until the gap is used up
(hysteresis). Or the air moves it to where it trails freely, so that it leans on one side of the
gap or the other, and floats between them while the servo crosses: a dead zone about that place,
which shifts with the angle of the air.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
from numpy.typing import NDArray

from flightlog.estimation.frames import Array

WIDEST_PLAY_DEG = 4.0
"""Wider gaps are not looked for: nobody would take off with one. [deg]"""

WIDTHS_DEG: Array = np.linspace(0.0, WIDEST_PLAY_DEG, 21)
"""Whole widths of the gap that are compared. [deg]"""

_SERVO_TIMES_S = (0.0, 0.04, 0.08)
_FLOAT_SERVO_S = 0.04
_COARSE = slice(0, None, 5)
_PLACES = np.linspace(0.04, 0.96, 9)
_SHIFTS_DEG = np.linspace(-1.5, 1.5, 7)
_KEPT = 5
_CLOSER = np.linspace(-0.75, 0.75, 5)
_SMOOTH_S = 0.2
_COLUMNS = 64


def played(command_deg: Array, widths_deg: Array) -> Array:
    """Deflection behind a linkage with play that friction holds in the gap. [deg]

    Parameters
    ----------
    command_deg : array, shape (n,) or (n, m)
        Where the servo is. [deg]
    widths_deg : array, shape (k,)
        Whole width of the gap; 0 follows exactly. [deg]

    Returns
    -------
    array, shape (n, k) or (n, m, k)
        Starting in the middle of the gap.
    """
    half = np.asarray(widths_deg, dtype=float) / 2
    command = np.asarray(command_deg, dtype=float)[..., None]
    low, high = command - half, command + half
    out = np.empty(low.shape)
    place = np.broadcast_to(command[0], low.shape[1:])
    for row, least, most in zip(out, low, high, strict=True):
        np.maximum(place, least, out=row)
        place = np.minimum(row, most, out=row)
    return out


def floated(command_deg: Array, float_deg: Array, widths_deg: Array) -> Array:
    """Deflection from where the surface floats, behind a linkage that lets the air move it. [deg]

    Parameters
    ----------
    command_deg : array, shape (n,)
        Where the servo is. [deg]
    float_deg : array, shape (n,) or (n, m)
        Where the surface would trail freely. [deg]
    widths_deg : array, shape (k,)
        Whole width of the gap. [deg]

    Returns
    -------
    array, shape (n, k) or (n, m, k)
        Zero within the gap.
    """
    half = np.asarray(widths_deg, dtype=float) / 2
    away = (command_deg - float_deg.T).T[..., None]
    out: Array = np.clip(away, -half, half)
    return np.subtract(away, out, out=out)


Spectrum = NDArray[np.complexfloating[Any, Any]]

Spectra = Callable[[Array], Spectrum]
"""Deflections of many cases, shape (n, columns), to the spectrum of each."""

Misfits = Callable[[Spectrum], Array]
"""Spectra of many cases, shape (frequencies, columns), to what each leaves unexplained."""


class Moves:
    """What a command may have come to behind a gap: what each fit to a flight looks at first.

    Parameters
    ----------
    command_deg : array, shape (n,)
        What the servo was told. [deg]
    air : array, shape (n,)
        What shows the angle of the air: specific force over dynamic pressure, any scale.
    step_s : float
        Spacing of the times. [s]
    spectra : callable
        How deflections are transformed.
    """

    def __init__(self, command_deg: Array, air: Array, step_s: float, spectra: Spectra) -> None:
        self.servo = behind_servo(command_deg, _FLOAT_SERVO_S, step_s)
        self.gust = _gusts(air, step_s)
        self._spectra = spectra
        followed = [behind_servo(command_deg, t, step_s) for t in _SERVO_TIMES_S]
        held = played(np.stack(followed, axis=1), WIDTHS_DEG)
        self.held = spectra(held.reshape(self.servo.size, -1))
        # Where it floats, and how far a usual gust shifts that.
        self.cases = [
            (float(place), float(shift))
            for shift in _SHIFTS_DEG
            for place in np.quantile(self.servo - shift * self.gust, _PLACES)
        ]
        self.roughly = self.floating(self.cases, WIDTHS_DEG[_COARSE])

    def floating(self, cases: list[tuple[float, float]], widths: Array) -> Spectrum:
        """Spectra for each case and width, a few cases at a time: the deflections are large."""
        places, shifts = np.array(cases).T
        few = max(1, _COLUMNS // widths.size)
        found = []
        for k in range(0, len(cases), few):
            place, shift = places[k : k + few], shifts[k : k + few]
            moved = floated(self.servo, place + np.outer(self.gust, shift), widths)
            found.append(self._spectra(moved.reshape(self.servo.size, -1)))
        return np.concatenate(found, axis=1)


def least_misfits(moves: Moves, misfits: Misfits, *, rough: bool = False) -> Array:
    """Find how well every width of the gap can explain a flight, in either way.

    Parameters
    ----------
    moves : Moves
        What the command may have come to.
    misfits : callable
        What the fit leaves.
    rough : bool, optional
        Whether a coarse look will do.

    Returns
    -------
    array, shape (k,)
        The least that any case leaves, for each of `WIDTHS_DEG`.
    """
    best = misfits(moves.held).reshape(len(_SERVO_TIMES_S), -1).min(axis=0)
    found = misfits(moves.roughly).reshape(len(moves.cases), -1)
    best[_COARSE] = np.minimum(best[_COARSE], found.min(axis=0))
    if rough:
        return np.asarray(best, dtype=float)
    chosen = [moves.cases[k] for k in np.argsort(found.min(axis=1))[:_KEPT]]
    between = float(np.ptp(moves.servo)) / len(_PLACES)
    step = float(_SHIFTS_DEG[1] - _SHIFTS_DEG[0])
    for place, shift in chosen:
        near = [(place + a * between, shift + b * step) for a in _CLOSER for b in (-0.5, 0.0, 0.5)]
        closer = misfits(moves.floating(near, WIDTHS_DEG)).reshape(len(near), -1)
        best = np.minimum(best, closer.min(axis=0))
    return np.asarray(best, dtype=float)


def _gusts(air: Array, step_s: float) -> Array:
    """Changes of the angle of the air in units of their own size, free of vibration."""
    length = max(1, round(_SMOOTH_S / step_s)) | 1
    smooth = np.convolve(
        np.pad(air, length // 2, mode="edge"), np.full(length, 1 / length), mode="valid"
    )
    size = float(smooth.std())
    return (smooth - smooth.mean()) / size if size > 0 else np.zeros(air.size)


def behind_servo(command: Array, time_s: float, step_s: float) -> Array:
    """Where a servo is that follows its command with a time constant."""
    if time_s <= 0:
        return command
    keep = float(np.exp(-step_s / time_s))
    # A filter of `scipy.signal` does the same, but takes a second to be loaded.
    place, behind = float(command[0]), []
    for told in command.tolist():
        place = (1 - keep) * told + keep * place
        behind.append(place)
    return np.array(behind)
