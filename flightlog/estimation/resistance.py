"""Resistance of a battery from the current and voltage of a flight.

The voltage of a pack answers a step of the current at once, and then goes on sinking for
minutes. So a resistance has a time scale, and here it is one second: **the voltage lost, as a
mean over the first second after a lasting step of the current, for each ampere of the step**.
With the voltage lost a time t after a step of 1 A being g(t), it is the mean of g over
0 < t < 1 s. A pack of an ohmic part r0 and slow parts r_j with time constants tau_j has
g(t) = r0 + sum r_j (1 - exp(-t / tau_j)), and so ``r0 + sum r_j (1 - tau_j / 1 s
(1 - exp(-1 s / tau_j)))``. It is what a regression on 1 s means would give if nothing slow were
in the voltage.

Nobody knows a pack's time constants, so the model holds a bank of them, each with a share that
may be anything that packs have; the open-circuit voltage is a cubic of the charge. What neither
explains is a random walk, beside white noise. All of it is linear in the unknowns: a generalised
least-squares fit, with the ratio of the two kinds of noise and the delay between the two sensors
weighed by their likelihood. Where the flight does not tell the parts apart the interval widens.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from flightlog.estimation.frames import Array
from flightlog.estimation.second_means import Rows, cut_rows, find_spikes

SCALE_S = 1.0
"""Time scale of the resistance, and length of the means that are fitted. [s]"""

TIME_CONSTANTS_S: Array = 2.0 ** np.arange(9)
"""The bank, 1 to 256 s. A factor of two apart: with three, a pack between two of them came out
2 % too large. [s]"""

SHARES: Array = np.array([0.05, 0.05, *[0.12] * 7])
SHARE_STD = 0.2
"""Prior of the slow parts over the ohmic one, mean and standard deviation: diffusion takes up
voltage as the square root of time, so that little of it is near a second. [-]"""

DRIFT_STD = 0.1
"""Prior of how much the resistance changes from the middle of the fit to an end, as the pack
warms and empties. [-]"""

DELAY_STD_S = 0.15
"""Prior of the delay between the readings of current and voltage. [s]"""

MOST_DELAY_S = 1.2
"""Delays up to here are looked for, in whole samples. [s]"""

WALKS: Array = 10.0 ** np.arange(-5.0, 1.01)
"""Variances of a walk over a second, over that of the white noise, which are tried."""

JITTERS_S: Array = np.array([0.0, 0.005, 0.01, 0.02, 0.04, 0.08, 0.15, 0.3])
"""Uncertain times of single readings which are tried: where the current changes fast, they count
for less. A log of slow samples does not hold what the current did between them. [s]"""

INFLATION, FLOOR = 1.3, 0.005
"""The fit's own standard uncertainty is multiplied by the one, and the other is added in square
as a share: the bank is no pack, and the noise is not as simple. By simulated packs with time
constants and shares drawn at random; `tests.wear.resistance` measures what comes out. [-]"""

_GRID_S = 0.1
_LEAST_NOISE_V = 1e-4
_TURNS = 3
_FREE_OHM, _FREE_V = 3.0, 50.0


@dataclass(frozen=True, slots=True)
class Resistance:
    """A resistance at the scale of `SCALE_S`.

    Attributes
    ----------
    ohm, std_ohm : float
        And its standard uncertainty, the scales of the sensors not in it. [ohm]
    slow_ohm : float
        What all slow parts add, after minutes; a rough number. [ohm]
    delay_s : float
        How late the voltage is read, against the current. [s]
    noise_v : float
        White noise of a 1 s mean of the voltage. [V]
    attenuation : float
        Share by which noise of the current had made it too small; allowed for. [-]
    seconds : float
        How much was fitted. [s]
    """

    ohm: float
    std_ohm: float
    slow_ohm: float
    delay_s: float
    noise_v: float
    attenuation: float
    seconds: float


def share_in_first_second(time_constant_s: Array | float) -> Array:
    """Mean over the first second of ``1 - exp(-t / tau)``. [-]"""
    ratio = SCALE_S / np.asarray(time_constant_s, dtype=float)
    return np.asarray(1.0 + np.expm1(-ratio) / ratio)


def slow_currents(current_a: Array, step_s: float, time_constants_s: Array) -> Array:
    """Currents through first-order lags: the slow overpotentials for each ohm.

    Parameters
    ----------
    current_a : array, shape (n,)
        At even times, straight between them. [A]
    step_s : float
        [s]
    time_constants_s : array, shape (m,)
        [s]

    Returns
    -------
    array, shape (n, m)
        Exact for such a current; at the first time as after long rest at its current.
    """
    out = np.empty((current_a.size, len(time_constants_s)))
    banded = np.ones((2, current_a.size))
    for j, tau in enumerate(time_constants_s):
        keep = math.exp(-step_s / tau)
        mean = -math.expm1(-step_s / tau) * tau / step_s
        fresh = np.empty_like(current_a)
        fresh[0] = current_a[0]
        fresh[1:] = (1.0 - mean) * current_a[1:] + (mean - keep) * current_a[:-1]
        banded[1] = -keep
        out[:, j] = _solve_lower(banded, fresh)
    return out


def _solve_lower(banded: Array, right: Array) -> Array:
    """Solve for a lower triangle of bandwidth one, shape (2, n).

    Straight from LAPACK: the general banded solver looks for pivots first, and takes thrice as
    long.
    """
    from scipy.linalg.lapack import dtbtrs

    found, failed = dtbtrs(banded, right, uplo="L")
    if failed:
        raise np.linalg.LinAlgError("singular triangle")
    return np.asarray(found).reshape(right.shape)


def fit_resistance(
    time_s: Array,
    current_a: Array,
    voltage_v: Array,
    *,
    noise_a: float = 0.0,
    delay_std_s: float = DELAY_STD_S,
    drift_std: float = DRIFT_STD,
) -> Resistance | None:
    """Fit the resistance of a battery to its current and voltage.

    Parameters
    ----------
    time_s, current_a, voltage_v : array, shape (n,)
        Rising times [s] and what was read at them [A], [V]: from rest on, where the log has it.
    noise_a : float
        White noise of one reading of the current. [A]
    delay_std_s : float
        Prior of the delay between the readings of current and voltage; one instrument that reads
        both has little. [s]
    drift_std : float
        Prior of how much the resistance changes from the middle of the fit to an end; over a
        minute little. [-]

    Returns
    -------
    Resistance or None
        None where there is nothing to fit: under a minute of rows, or a voltage that does
        not fall when the current rises. A wide interval is no None.
    """
    keep = ~(find_spikes(current_a) | find_spikes(voltage_v))
    time_s, current_a, voltage_v = time_s[keep], current_a[keep], voltage_v[keep]
    rows = cut_rows(time_s, SCALE_S)
    if rows is None:
        return None
    step_a, step_v = rows.steps(rows.means(current_a)), rows.steps(rows.means(voltage_v))
    power, common = float(step_a @ step_a), -float(step_a @ step_v)
    if not (power > 0 and common > 0):
        return None
    problem = _Problem.of(time_s, current_a, voltage_v, rows, delay_std_s, drift_std)
    return problem.solve(common / power, noise_a)


@dataclass(frozen=True, slots=True)
class _Noise:
    """``white_v`` of a mean [V], ``walk`` of `WALKS`, ``jitter_s`` of `JITTERS_S`."""

    white_v: float
    walk: float
    jitter_s: float


@dataclass(frozen=True, slots=True)
class _Fit:
    """A solution, how likely the noise makes it, and how it answers to noise of the current."""

    ohm: float
    std_ohm: float
    slow_ohm: float
    lag_s: float
    evidence: float
    noise: _Noise
    per_square_ampere: float


@dataclass(frozen=True, slots=True)
class _Problem:
    """Steps of the means of voltage, and all that they may depend on.

    ``step_s``: between samples [s]; ``usual_count``: of samples in a mean.
    """

    time_s: Array
    current_a: Array
    grid_s: Array
    slow: Array
    rows: Rows
    steps_v: Array
    charge: Array
    delay_std_s: float
    drift_std: float
    step_s: float
    usual_count: float

    @classmethod
    def of(
        cls,
        time_s: Array,
        current_a: Array,
        voltage_v: Array,
        rows: Rows,
        delay_std_s: float,
        drift_std: float,
    ) -> _Problem:
        grid = np.arange(time_s[0], time_s[-1] + _GRID_S, _GRID_S)
        amps = np.interp(grid, time_s, current_a)
        taken = np.interp(time_s, grid, np.cumsum(amps) - amps) * _GRID_S
        charge = rows.means(taken)
        half = 0.5 * float(np.ptp(charge))
        return cls(
            time_s,
            current_a,
            grid,
            slow_currents(amps, _GRID_S, TIME_CONSTANTS_S),
            rows,
            -rows.steps(rows.means(voltage_v)),
            (charge - charge.min()) / half - 1.0 if half > 0 else charge * 0.0,
            delay_std_s,
            drift_std,
            max(float(np.median(np.diff(time_s))), _GRID_S),
            float(np.median(rows.count)),
        )

    def design(self, shift: int) -> tuple[Array, Array]:
        """Give the steps of the regressors, and how much the current changes about each row.

        Columns: current, the bank, current times charge, three powers of the charge, and the
        rate of the current, whose coefficient is a delay times the resistance. The voltage is
        taken to be read ``shift`` samples after the current; between samples it would be
        smoothed, which would look like a larger resistance.
        """
        rows, z = self.rows, self.charge
        at, step = self.time_s + shift * self.step_s, self.step_s
        amps = rows.means(self._current(at))
        slow = self._slow(at)
        rate = rows.means((self._current(at + step) - self._current(at - step)) / (2 * step))
        every = [amps, rows.means(slow), amps * z, z, z**2, z**3, rate]
        change = np.abs(np.diff(amps))
        change = 0.5 * (np.append(change, 0.0) + np.insert(change, 0, 0.0))
        return rows.steps(np.column_stack(every)), change

    def _current(self, time_s: Array) -> Array:
        return np.asarray(np.interp(time_s, self.time_s, self.current_a))

    def _slow(self, time_s: Array) -> Array:
        """All slow currents between their grid; looked up once for the whole bank."""
        grid = self.grid_s
        inside = np.clip(time_s, grid[0], grid[-1])
        low = np.clip(np.searchsorted(grid, inside, side="right") - 1, 0, grid.size - 2)
        part = (inside - grid[low]) / (grid[low + 1] - grid[low])
        before = self.slow[low]
        return np.asarray(before + part[:, None] * (self.slow[low + 1] - before))

    def solve(self, guess_ohm: float, noise_a: float) -> Resistance:
        """Find noise and delay that are most likely, and the resistance with them."""
        shift = 0
        noise, ohm = _Noise(0.01, float(WALKS[2]), float(JITTERS_S[3])), guess_ohm
        best = self._fit(*self.design(0), noise, ohm, 0)
        for turn in range(_TURNS):
            if turn == 1:
                most = max(1, int(MOST_DELAY_S / self.step_s))
                shift = max(
                    range(-most, most + 1),
                    key=lambda k: self._fit(*self.design(k), noise, ohm, k).evidence,
                )
            design = self.design(shift)
            for name, values in (("walk", WALKS), ("jitter_s", JITTERS_S)):
                trials = [replace(noise, **{name: float(value)}) for value in values]
                fits = [self._fit(*design, trial, ohm, shift) for trial in trials]
                best = max(fits, key=lambda fit: fit.evidence)
                noise, ohm = best.noise, max(best.ohm, 0.1 * guess_ohm)
        attenuation = noise_a**2 * best.per_square_ampere
        std = math.hypot(INFLATION * best.std_ohm, FLOOR * best.ohm, attenuation * best.ohm)
        return Resistance(
            best.ohm * (1 + attenuation),
            std,
            best.slow_ohm,
            shift * self.step_s + best.lag_s,
            noise.white_v,
            attenuation,
            float(np.diff(self.rows.time_s)[self.rows.adjoin].sum()),
        )

    def _fit(self, design: Array, change: Array, noise: _Noise, ohm: float, shift: int) -> _Fit:
        """Generalised least squares with Gaussian priors, in units of their deviations."""
        weight = 1.0 + (noise.jitter_s * ohm * change / noise.white_v) ** 2
        factor = self._whitening(weight, noise.walk)
        white = _solve_lower(factor, np.column_stack([design, self.steps_v]))
        bank = TIME_CONSTANTS_S.size
        lag = -shift * self.step_s
        mean = ohm * np.array([1.0, *SHARES, 0, 0, 0, 0, lag])
        free = [_FREE_OHM, *[SHARE_STD] * bank, self.drift_std, 0, 0, 0, self.delay_std_s]
        std = np.array(free) * ohm
        std[bank + 2 : bank + 5] = _FREE_V
        x, y = white[:, :-1] * std / noise.white_v, white[:, -1] / noise.white_v
        y = y - x @ (mean / std)
        precision = x.T @ x + np.eye(mean.size)
        part = np.linalg.solve(precision, x.T @ y)
        rest = y - x @ part
        found = max(
            noise.white_v * math.sqrt(float(rest @ rest) / max(rest.size - 8, 1)), _LEAST_NOISE_V
        )
        evidence = -rest.size * math.log(found) - float(np.log(factor[0]).sum())
        evidence -= 0.5 * (float(np.linalg.slogdet(precision)[1]) + float(part @ part))
        value = mean + std * part
        covariance = np.linalg.inv(precision) * np.outer(std, std)
        first_second = np.zeros(mean.size)
        first_second[: bank + 1] = [1.0, *share_in_first_second(TIME_CONSTANTS_S)]
        # Noise of the current adds to the normal equations what no voltage answers to.
        extra = float(np.sum(1.0 / weight)) / self.usual_count / noise.white_v**2
        return _Fit(
            ohm=float(first_second @ value),
            std_ohm=math.sqrt(float(first_second @ covariance @ first_second)),
            slow_ohm=float(value[1 : bank + 1].sum()),
            lag_s=float(value[-1]) / ohm,
            evidence=evidence,
            noise=replace(noise, white_v=found),
            per_square_ampere=extra * float(first_second @ covariance[:, 0]),
        )

    def _whitening(self, weight: Array, walk: float) -> Array:
        """Cholesky factor of the covariance of the steps, lower and banded, shape (2, n)."""
        from scipy.linalg import cholesky_banded

        at = self.rows.adjoin
        apart = np.diff(self.rows.time_s)[at]
        banded = np.zeros((2, at.size))
        banded[0] = weight[at] + weight[at + 1] + walk * apart
        banded[1, :-1] = np.where(np.diff(at) == 1, -weight[at[1:]], 0.0)
        return np.asarray(cholesky_banded(banded, lower=True))
