"""Units of speed and height, judged by the physics: places against speed, pressure against height.

Nothing is converted: a number that was silently put right would hide that the logger, or the
column map, is wrong in other places too.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from flightlog.analyses.wind import flight_wind, true_over_equivalent
from flightlog.constants import (
    FOOT_M,
    G0_M_S2,
    ISA_T0_K,
    KNOT_M_S,
    MILE_PER_HOUR_M_S,
    R_DRY_J_KG_K,
)
from flightlog.estimation.frames import Array
from flightlog.findings import Finding, make_finding
from flightlog.screening.series import (
    Fixes,
    Ratio,
    column,
    finite,
    read_fixes,
    robust_std,
    symmetric_slope,
    unit_remedy,
)

if TYPE_CHECKING:
    import pandas as pd

    from flightlog.recording import Recording
    from flightlog.screening.context import FlightView, LogView

SPEED_FACTORS: Mapping[float, str] = {
    3.6: "it looks like km/h",
    1 / KNOT_M_S: "it looks like knots",
    1 / MILE_PER_HOUR_M_S: "it looks like mph",
    1 / FOOT_M: "it looks like ft/s",
    100.0: "it looks like cm/s",
    1000.0: "it looks like mm/s, or times in ms were taken for seconds",
    1 / 3.6: "it looks like m/s that were taken for km/h",
    KNOT_M_S: "it looks like m/s that were taken for knots",
    MILE_PER_HOUR_M_S: "it looks like m/s that were taken for mph",
    0.01: "it looks like m/s that were taken for cm/s",
}
"""How many times the true number a speed shows -> what that looks like."""

SPEED_TOLERANCE = 0.03
"""Units of speed are 11 % apart and more; Doppler and place of one receiver agree within 1.5 %
on every log that was looked at. [-]"""

LEAST_WAY_M = 200.0
"""So much way, by places or by speed, is motion and not the wander of a parked receiver. [m]"""

ODD_RATIO = 0.10
"""A speed that is off by more, beyond doubt, is wrong whatever its unit. [-]"""

_STEP_S = 1.0
_LONGEST_STEP_S = 3.0
_MOST_SPREAD = 0.15
_LEAST_STEPS = 20


def speed_ratio(fixes: Fixes) -> Ratio | None:
    """How many times as fast as the places the stated speed moves.

    Parameters
    ----------
    fixes : Fixes
        In the order of time.

    Returns
    -------
    Ratio or None
        None without enough steady motion.

    Notes
    -----
    Over steps of about a second, the way by the stated speed (trapezoids) over the chord between
    the places; the median over the faster steps. A turn of 20°/s shortens a chord by 0.5 %.
    """
    known = np.isfinite(fixes.speed_m_s)
    t, speed = fixes.time_s[known], fixes.speed_m_s[known]
    if len(t) < _LEAST_STEPS:
        return None
    way = np.concatenate([[0.0], np.cumsum(np.diff(t) * (speed[1:] + speed[:-1]) / 2)])
    tick = np.floor((t - t[0]) / _STEP_S)
    knots = np.flatnonzero(np.concatenate([[True], np.diff(tick) > 0]))
    dt, stated = np.diff(t[knots]), np.diff(way[knots])
    chord = np.hypot(np.diff(fixes.east_m[known][knots]), np.diff(fixes.north_m[known][knots]))
    use = (dt > 0.4) & (dt < _LONGEST_STEP_S)
    if use.sum() < _LEAST_STEPS:
        return None
    dt, stated, chord = dt[use], stated[use], chord[use]
    fast = chord / dt > 0.4 * float(np.percentile(chord / dt, 95))
    if fast.sum() < _LEAST_STEPS:
        return None
    if max(stated[fast].sum(), chord[fast].sum()) < LEAST_WAY_M:
        return None
    ratios = stated[fast] / chord[fast]
    middle, spread = float(np.median(ratios)), robust_std(ratios)
    if middle <= 0 or spread > _MOST_SPREAD * middle:
        return None
    # The median of n costs 1.25; neighbouring steps share a knot.
    return Ratio(middle, 1.25 * spread * (2 / len(ratios)) ** 0.5, len(ratios))


def named_factor(ratio: Ratio, factors: Mapping[float, str], tolerance: float) -> str:
    """What a ratio looks like; "" when it fits no factor."""
    near = [f for f in factors if ratio.is_about(f, tolerance)]
    return factors[min(near, key=lambda f: abs(ratio.value / f - 1))] if near else ""


RADIANS = 57.29578
MINUTES = 1 / 0.6
"""Stated speed over that of the places when these are radians, or degrees and minutes (ddmm.m)
over a hundred that were taken for degrees. [-]"""

_PLACE_FACTORS = {
    RADIANS: "latitude and longitude look like radians",
    MINUTES: "latitude and longitude look like degrees and minutes that were taken for degrees",
}


def speed_unit(view: LogView) -> Iterable[Finding]:
    """Find a ground speed that does not go with the positions (`speed-unit`, `angle-unit`)."""
    fixes = read_fixes(view.recording)
    ratio = None if fixes is None else speed_ratio(fixes)
    if ratio is None:
        return
    if abs(ratio.value - 1) - 2 * ratio.std <= ODD_RATIO:
        return
    looks = named_factor(ratio, SPEED_FACTORS, SPEED_TOLERANCE)
    places = "" if looks else named_factor(ratio, _PLACE_FACTORS, SPEED_TOLERANCE)
    yield make_finding(
        "angle-unit" if places else "speed-unit",
        f"gps.ground_speed_m_s moves {ratio.told()} times as fast as the positions: "
        f"{looks or places or 'speed or positions are wrong, and no usual unit explains it'}.",
        evidence={"ratio": ratio.value, "ratio_std": ratio.std, "steps": ratio.samples},
        affects=("takeoff.*", "flight.*", "laps.*", "climb.*", "wind.*", "energy.*", "charge.used"),
        remedy=unit_remedy(view.recording),
    )


_AIRSPEED_FIGURES = (
    *("flight.max_airspeed", "flight.min_stall_margin", "wind.*"),
    *("takeoff.headwind", "takeoff.liftoff_airspeed", "takeoff.ground_roll_reference"),
)


def airspeed_unit(view: FlightView) -> Iterable[Finding]:
    """Find an airspeed in another unit, by the turns flown (`speed-unit`).

    The fit of the wind tells by how much logged airspeeds have to be multiplied to fit a circle
    of ground velocities; a sensor's own error is within 0.9 to 1.1.
    """
    airspeed = view.recording.one("airspeed")
    if airspeed is None or not np.isfinite(column(airspeed, "airspeed_m_s")).any():
        return
    fit, _ = flight_wind(view.recording, view.sortie, view.path)
    if fit is None or fit.scale is None or fit.scale_std is None or fit.scale <= 0:
        return
    thin = true_over_equivalent(view.recording, view.sortie.start_s, view.sortie.end_s)
    shown = thin / fit.scale
    ratio = Ratio(shown, shown * fit.scale_std / fit.scale, 0)
    looks = named_factor(ratio, SPEED_FACTORS, SPEED_TOLERANCE)
    if not looks or ratio.std > 0.05 * shown or not _positions_agree(view.recording):
        return
    yield make_finding(
        "speed-unit",
        f"airspeed.airspeed_m_s shows {ratio.told()} times the airspeed that the turns over ground "
        f"tell: {looks}.",
        evidence={"ratio": ratio.value, "ratio_std": ratio.std},
        affects=_AIRSPEED_FIGURES,
        remedy=unit_remedy(view.recording),
        start_s=view.sortie.start_s,
        end_s=view.sortie.end_s,
    )


def _positions_agree(recording: Recording) -> bool:
    """Whether the ground speed, by which the airspeed is judged, is sound itself."""
    fixes = read_fixes(recording)
    ratio = None if fixes is None else speed_ratio(fixes)
    return ratio is None or abs(ratio.value - 1) <= ODD_RATIO


# --- heights

HEIGHT_FACTORS: Mapping[float, str] = {
    1 / FOOT_M: "it looks like feet",
    FOOT_M: "it looks like metres that were taken for feet",
    100.0: "it looks like centimetres",
    0.01: "it looks like metres that were taken for centimetres",
    1000.0: "it looks like millimetres",
    0.001: "it looks like metres that were taken for millimetres",
    10.0: "it looks like decimetres",
    0.1: "it looks like metres that were taken for decimetres",
    -1.0: "its sign is the wrong way round: up should be positive",
}

CLIMB_FACTORS: Mapping[float, str] = {
    **{k: v for k, v in HEIGHT_FACTORS.items() if k not in (1 / FOOT_M, FOOT_M)},
    1 / FOOT_M: "it looks like ft/s",
    FOOT_M: "it looks like m/s that were taken for ft/s",
    60 / FOOT_M: "it looks like ft/min",
}

HEIGHT_TOLERANCE = 0.15
"""Air 25 K off the standard stretches a pressure height by 9 %, and a receiver's altitude is
noisy; units of height are a factor of three apart. [-]"""

_WINDOW_S = 10.0
_STRIDE_S = 5.0
_LEAST_RISE_M = 5.0
_LEAST_R = 0.8


@dataclass(frozen=True, slots=True)
class Rises:
    """Changes of height over the same windows by every source; NaN where one is silent. [m]"""

    baro: Array
    pressure: Array
    altitude: Array
    climb: Array


def rises(recording: Recording) -> Rises | None:
    """Change of height over windows of 10 s, by each source of the log."""
    baro, fixes = recording.one("baro"), read_fixes(recording)
    ends = [column(baro, "time_s")] if baro is not None else []
    ends += [fixes.time_s] if fixes is not None else []
    if not ends:
        return None
    start, end = min(t[0] for t in ends), max(t[-1] for t in ends)
    if not _WINDOW_S < end - start <= 86_400.0:
        return None
    first = np.arange(start, end - _WINDOW_S, _STRIDE_S)
    return Rises(*_by_baro(baro, first), *_by_receiver(fixes, first))


def _by_baro(baro: pd.DataFrame | None, first_s: Array) -> tuple[Array, Array]:
    """Changes of the stated height, and of that in the standard atmosphere. [m]"""
    if baro is None:
        return np.full(len(first_s), np.nan), np.full(len(first_s), np.nan)
    t, pressure = column(baro, "time_s"), column(baro, "pressure_pa")
    with np.errstate(invalid="ignore", divide="ignore"):
        isa = -R_DRY_J_KG_K * ISA_T0_K / G0_M_S2 * np.log(np.where(pressure > 0, pressure, np.nan))
    return _change(t, column(baro, "height_m"), first_s), _change(t, isa, first_s)


def _by_receiver(fixes: Fixes | None, first_s: Array) -> tuple[Array, Array]:
    """Changes of the altitude, and sums of the vertical speed. [m]"""
    if fixes is None:
        return np.full(len(first_s), np.nan), np.full(len(first_s), np.nan)
    known = np.isfinite(fixes.climb_m_s)
    t, rate = fixes.time_s[known], fixes.climb_m_s[known]
    summed = np.concatenate([[0.0], np.cumsum(np.diff(t) * (rate[1:] + rate[:-1]) / 2)])
    climb = _change(t, summed[: len(t)], first_s)
    return _change(fixes.time_s, fixes.altitude_m, first_s), climb


def _change(time_s: Array, value: Array, first_s: Array) -> Array:
    """Change of means of a second over the window; NaN where a second has no sample."""
    t, v = finite(time_s, value)
    total = np.concatenate([[0.0], np.cumsum(v)])

    def mean(at: Array) -> Array:
        # Half a second either way, or the nearest samples of a slow stream.
        low = np.searchsorted(t, at - 0.55)
        high = np.searchsorted(t, at + 0.55)
        n = high - low
        return np.where(n > 0, (total[high] - total[low]) / np.maximum(n, 1), np.nan)

    if len(t) < 2:
        return np.full(len(first_s), np.nan)
    return np.asarray(mean(first_s + _WINDOW_S) - mean(first_s))


def height_ratio(reference: Array, shown: Array, *, still: bool = False) -> Ratio | None:
    """How many times as much a height moves as a reference.

    Parameters
    ----------
    reference, shown : array
        Changes over the same windows. [m]
    still : bool, optional
        Whether the two agree even at rest because they come from one sensor.
    """
    good = np.isfinite(reference) & np.isfinite(shown)
    if not good.any():
        return None
    most = max(np.abs(reference[good]).max(), np.abs(shown[good]).max())
    if most < _LEAST_RISE_M and not still:
        return None
    return symmetric_slope(reference, shown, least_r=_LEAST_R)


def height_unit(view: LogView) -> Iterable[Finding]:
    """Find heights in another unit or of the wrong sign (`height-unit`).

    Pressure decides where it was logged: its unit is known by its range, and the standard
    atmosphere gives the metres. Without it two of barometer, altitude and vertical speed outvote
    the third; two alone can only be told to disagree. A vertical speed that is surely wrong is
    left out (`flightlog.screening.left_out`): heights come from other columns, which then stand.
    """
    moved = rises(view.recording)
    if moved is None:
        return
    found = list(_against_pressure(moved)) or list(_against_each_other(moved))
    for name, reference, ratio, looks, certain in found:
        # Where there is a barometer, heights come from it.
        spare = name == "gps.altitude_msl_m" and bool(np.isfinite(moved.baro).any())
        out = certain and name == "gps.climb_m_s"
        evidence: dict[str, float | int | str] = {
            "column": name,
            "ratio": ratio.value,
            "ratio_std": ratio.std,
        }
        yield make_finding(
            "height-unit",
            f"{name} moves {ratio.told()} times as much as {reference}: {looks}."
            f"{' It is not used.' if out else ''}",
            evidence=evidence | ({"left_out": name} if out else {}),
            severity="note" if spare else "degrade" if out else None,
            affects=() if spare else ("climb.*", "flight.max_height", "takeoff.*"),
            remedy=unit_remedy(view.recording),
        )


class _Found(NamedTuple):
    """A column, what it was compared with, and whether it must be the wrong one of the two."""

    column: str
    reference: str
    ratio: Ratio
    looks: str
    certain: bool = True


def _odd(
    name: str, reference: str, x: Array, y: Array, factors: Mapping[float, str]
) -> _Found | None:
    """One column that moves by a known factor more than its reference."""
    ratio = height_ratio(x, y, still=reference == "the pressure says")
    looks = "" if ratio is None else named_factor(ratio, factors, HEIGHT_TOLERANCE)
    return _Found(name, reference, ratio, looks) if ratio is not None and looks else None


def _against_pressure(moved: Rises) -> Iterable[_Found]:
    says = "the pressure says"
    for name, values, factors in (
        ("baro.height_m", moved.baro, HEIGHT_FACTORS),
        ("gps.altitude_msl_m", moved.altitude, HEIGHT_FACTORS),
        ("gps.climb_m_s", moved.climb, CLIMB_FACTORS),
    ):
        found = _odd(name, says, moved.pressure, values, factors)
        if found is not None:
            yield found


def _against_each_other(moved: Rises) -> Iterable[_Found]:
    """Without pressure: the column that two others outvote, or the pair that disagrees."""
    columns = {
        "baro.height_m": (moved.baro, HEIGHT_FACTORS),
        "gps.altitude_msl_m": (moved.altitude, HEIGHT_FACTORS),
        "gps.climb_m_s": (moved.climb, CLIMB_FACTORS),
    }
    odd: dict[str, list[_Found]] = {name: [] for name in columns}
    for name, (values, factors) in columns.items():
        for other, (moved_by, _) in columns.items():
            found = _odd(name, other, moved_by, values, factors) if other != name else None
            if found is not None:
                odd[name].append(found)
    outvoted = [found for found in odd.values() if len(found) == 2]
    if outvoted:
        yield outvoted[0][0]
        return
    for pair in odd.values():
        for name, reference, ratio, looks, _ in pair[:1]:
            either = f"{looks}; or {reference} is in another unit"
            yield _Found(name, reference, ratio, either, certain=False)
            return
