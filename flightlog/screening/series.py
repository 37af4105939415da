"""What the detectors ask of columns: arrays, ratios, lags, and whom a table feeds."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from flightlog.estimation.frames import Array, LocalFrame

if TYPE_CHECKING:
    import pandas as pd

    from flightlog.recording import Recording

Mask = NDArray[np.bool_]

FIGURES_OF: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {
        "gps": (
            *("takeoff.*", "climb.*", "flight.*", "laps.*", "wind.*"),
            *("energy.per_km", "energy.per_lap"),
        ),
        "baro": ("climb.*", "flight.max_height", "takeoff.*"),
        "airspeed": (
            *("flight.max_airspeed", "flight.min_stall_margin", "wind.*"),
            *("takeoff.headwind", "takeoff.liftoff_airspeed", "takeoff.ground_roll_reference"),
        ),
        "imu": (
            *("takeoff.*", "flight.max_load_factor", "flight.min_load_factor"),
            "flight.min_stall_margin",
        ),
        "attitude": ("takeoff.*", "flight.max_bank"),
        "battery": ("energy.*", "charge.used", "battery.*"),
        "outputs": ("surface.*",),
        "rotation": ("motor.*",),
        "link": ("link.*",),
    }
)
"""Table with a stream of samples -> figures that can't be had without it."""

WORDS: Mapping[str, str] = MappingProxyType(
    {
        "gps": "position fixes",
        "baro": "barometer",
        "airspeed": "airspeed sensor",
        "imu": "IMU",
        "attitude": "attitude",
        "battery": "battery monitor",
        "outputs": "outputs",
        "rotation": "rotation sensor",
        "link": "radio link",
    }
)
"""Table -> the word for it in a message."""


ABSURD = 1e15
"""No quantity of any column in any unit is as large; squares of it stay finite."""


def column(table: pd.DataFrame | None, name: str) -> Array:
    """A column as floats; NaN where the log lacks it or is absurd, empty without a table."""
    if table is None:
        return np.empty(0)
    if name not in table:
        return np.full(len(table), np.nan)
    values = np.asarray(table[name].to_numpy(dtype=float, na_value=np.nan))
    if np.abs(values).max(initial=0.0) < ABSURD:  # false with a NaN, too
        return values
    return np.where(np.abs(values) < ABSURD, values, np.nan)


def finite(time_s: Array, value: Array) -> tuple[Array, Array]:
    """Leave out the rows of which time or value is missing."""
    good = np.isfinite(time_s) & np.isfinite(value)
    return time_s[good], value[good]


def samples(table: pd.DataFrame | None, name: str) -> tuple[Array, Array]:
    """Times [s] and values of a column where both are there; empty without table or column."""
    return finite(column(table, "time_s"), column(table, name))


def robust_std(values: Array) -> float:
    """Standard deviation by the median absolute deviation; 0 without values."""
    if not len(values):
        return 0.0
    return 1.4826 * float(np.median(np.abs(values - np.median(values))))


@dataclass(frozen=True, slots=True)
class Fixes:
    """Position fixes in the order of time; repeats left out.

    Attributes
    ----------
    time_s : array
        Log clock. [s]
    east_m, north_m : array
        From the middle of all fixes. [m]
    speed_m_s, course_deg, altitude_m, climb_m_s, utc_s : array
        As logged; NaN where missing.
    """

    time_s: Array
    east_m: Array
    north_m: Array
    speed_m_s: Array
    course_deg: Array
    altitude_m: Array
    climb_m_s: Array
    utc_s: Array

    def rows(self, keep: Mask) -> Fixes:
        """Some of the fixes."""
        return Fixes(*(getattr(self, name)[keep] for name in self.__slots__))

    @property
    def moved_m(self) -> float:
        """Length of the way from fix to fix. [m]"""
        return float(np.hypot(np.diff(self.east_m), np.diff(self.north_m)).sum())


LEAST_FIXES = 5


def read_fixes(recording: Recording) -> Fixes | None:
    """Fixes of the receiver that analyses use, or None with fewer than five."""
    gps = recording.one("gps")
    if gps is None:
        return None
    time_s, lat, lon = (column(gps, n) for n in ("time_s", "latitude_deg", "longitude_deg"))
    good = np.isfinite(time_s + lat + lon) & ~(column(gps, "fix") < 3)
    good &= (np.abs(lat) <= 90) & (np.abs(lon) <= 360)
    if good.sum() < LEAST_FIXES:
        return None
    frame = LocalFrame(float(np.median(lat[good])), float(np.median(lon[good])))
    east, north = frame.east_north(lat[good], lon[good])
    names = ("ground_speed_m_s", "course_deg", "altitude_msl_m", "climb_m_s", "time_utc")
    fixes = Fixes(time_s[good], east, north, *(column(gps, n)[good] for n in names))
    fresh = np.ones(len(east), dtype=bool)
    later = np.diff(fixes.time_s) > 0
    moved = (np.diff(east) != 0) | (np.diff(north) != 0)
    # A receiver at rest may give the same place for long: only a moving one repeats itself.
    fresh[1:] = later & (moved | ~(fixes.speed_m_s[1:] > 1.0))
    fixes = fixes.rows(fresh)
    return fixes if len(fixes.time_s) >= LEAST_FIXES else None


@dataclass(frozen=True, slots=True)
class Ratio:
    """How many times as much one quantity moves as another.

    Attributes
    ----------
    value, std : float
        The ratio and its standard uncertainty. [-]
    samples : int
        Steps that it comes from.
    """

    value: float
    std: float
    samples: int

    def is_about(self, factor: float, tolerance: float) -> bool:
        """Whether a factor is within the tolerance and what the samples leave open."""
        return abs(self.value / factor - 1) <= tolerance + 2 * self.std / abs(factor)

    def told(self) -> str:
        """Value and 95 % interval, in words."""
        return f"{self.value:.3g} (± {1.96 * self.std:.1g})"


def symmetric_slope(x: Array, y: Array, *, least_r: float, least: int = 10) -> Ratio | None:
    """Slope of one series on another where both are noisy; None where they don't agree.

    Parameters
    ----------
    x, y : array
        Changes over the same times, as good as independent.
    least_r : float
        Least correlation, of either sign.
    least : int, optional
        Least number of samples.

    Notes
    -----
    The reduced major axis, ``sign(r) std(y) / std(x)``, whose relative variance is
    ``(1 - r²) / n`` (Kermack & Haldane 1950). Both series enter alike, so that the inverse
    question has the inverse answer.
    """
    good = np.isfinite(x) & np.isfinite(y)
    n = int(good.sum())
    if n < least:
        return None
    x, y = x[good] - x[good].mean(), y[good] - y[good].mean()
    sx, sy = math.sqrt(float(x @ x)), math.sqrt(float(y @ y))
    if sx == 0 or sy == 0:
        return None
    r = float(x @ y) / (sx * sy)
    if abs(r) < least_r:
        return None
    slope = math.copysign(sy / sx, r)
    return Ratio(slope, abs(slope) * math.sqrt(max(0.0, 1 - r * r) / n), n)


@dataclass(frozen=True, slots=True)
class Lag:
    """By how much the second series comes after the first.

    Attributes
    ----------
    value_s, std_s : float
        Positive when the second is late. [s]
    r : float
        Correlation there.
    surplus : float
        How much likelier than no lag within the allowed bounds, as chi squared. [-]
    """

    value_s: float
    std_s: float
    r: float
    surplus: float


LAG_STEP_S = 0.05
LONGEST_LAG_S = 20.0
"""Lags that are tried, and their step. [s]"""

_EDGE_S = 1.0
_MEMORY_S = 1.0


def find_lag(
    first: tuple[Array, Array],
    second: tuple[Array, Array],
    allowed_s: tuple[float, float],
) -> Lag | None:
    """Align the changes of two series.

    Parameters
    ----------
    first, second : (time, value)
        Rising times on the log's clock. [s]
    allowed_s : (float, float)
        Lags that would be no surprise. [s]

    Returns
    -------
    Lag or None
        None with under 30 s in common, or where nothing changes.

    Notes
    -----
    Changes over `_EDGE_S` are correlated, so that steps count and slow trends don't. With n
    independent samples the likelihood of a lag falls as ``n (1 - r²) / (1 - R²)`` over that of
    the best, R; samples are independent at `_MEMORY_S`. The curvature at the top gives the
    uncertainty, to which the sampling of both series adds a twelfth of its squared step.
    """
    t1, x = finite(*first)
    t2, y = finite(*second)
    if len(t1) < 20 or len(t2) < 20:
        return None
    start, end = max(t1[0], t2[0]), min(t1[-1], t2[-1])
    if not 30.0 <= end - start <= 86_400.0:
        return None
    grid = np.arange(start, end, LAG_STEP_S)
    x, y = _changes(np.interp(grid, t1, x)), _changes(np.interp(grid, t2, y))
    sx, sy = float(np.sqrt(x @ x)), float(np.sqrt(y @ y))
    if sx == 0 or sy == 0:
        return None
    reach = min(round(LONGEST_LAG_S / LAG_STEP_S), len(x) // 3)
    r = _correlations(x, y, reach) / (sx * sy)
    lags = np.arange(-reach, reach + 1) * LAG_STEP_S
    at = int(np.argmax(r))
    best = float(r[at])
    if best <= 0 or best >= 1:
        return None
    independent = len(x) * LAG_STEP_S / _MEMORY_S
    usual = (lags >= allowed_s[0] - 1e-9) & (lags <= allowed_s[1] + 1e-9)
    r0 = max(0.0, float(r[usual].max()))
    unexplained = max(1e-3, 1 - best * best)
    surplus = independent * (best * best - r0 * r0) / unexplained
    std = _peak_std(r, at, independent, unexplained)
    sampling = math.hypot(_median_step(t1), _median_step(t2)) / math.sqrt(12)
    return Lag(float(lags[at]), math.hypot(std, sampling), best, surplus)


def _changes(values: Array) -> Array:
    k = round(_EDGE_S / LAG_STEP_S)
    change = values[k:] - values[:-k]
    return np.asarray(change - change.mean())


def _correlations(x: Array, y: Array, reach: int) -> Array:
    """Sums of ``x[i] y[i + k]`` for k from -reach to reach."""
    # Long enough that what wraps around stays beyond the lags that are asked for.
    size = 1 << (len(x) + reach - 1).bit_length()
    product = np.fft.irfft(np.conj(np.fft.rfft(x, size)) * np.fft.rfft(y, size), size)
    return np.concatenate([product[-reach:], product[: reach + 1]])


def _peak_std(r: Array, at: int, independent: float, unexplained: float) -> float:
    """Uncertainty of the place of the highest correlation. [s]"""
    k = max(1, round(0.2 / LAG_STEP_S))
    if at < k or at + k >= len(r):
        return math.inf
    bend = float(2 * r[at] - r[at - k] - r[at + k]) / (k * LAG_STEP_S) ** 2
    if bend <= 0:
        return math.inf
    return math.sqrt(unexplained / (independent * max(float(r[at]), 1e-3) * bend))


def _median_step(time_s: Array) -> float:
    return float(np.median(np.diff(time_s)))


def unit_remedy(recording: Recording) -> str:
    """How the user confirms a unit, by where the log comes from."""
    if recording.receipt.format == "transmitter":
        return (
            "If that is so, say the unit in a column map: `flightlog explain LOG --map FILE` "
            "writes one, `--columns FILE` gives it. Nothing was converted."
        )
    if recording.receipt.format == "delimited":
        return "If that is so, correct the unit in the column map. Nothing was converted."
    return (
        "If that is so, correct the setting of the logger that writes this value, or the program "
        "that converted the file. Nothing was converted."
    )
