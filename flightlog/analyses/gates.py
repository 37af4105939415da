"""The line that laps are counted at: given or found, and the moments at which it is crossed."""

from __future__ import annotations

import math
from dataclasses import dataclass
from statistics import NormalDist, median

import numpy as np
from numpy.typing import NDArray

from flightlog.estimation.frames import Array
from flightlog.estimation.path import FlightPath
from flightlog.inputs import GivenGate
from flightlog.uncertain import Uncertain

FOUND_HALF_WIDTH_M = 40.0
"""Half the width of a gate that the analysis places. [m]"""

SHORTEST_LAP_S = 5.0
"""Crossings closer than this are one: no aircraft of the kind flies such a lap. [s]"""

DEBOUNCE_SHARE = 0.3
"""Share of the median lap that the next crossing must be away."""

MAX_GAP_S = 5.0
"""Longest stretch without fixes in which a crossing is still timed. [s]"""

_MIN_SPEED_M_S = 4.0
_STRAIGHT_RAD_S = math.radians(4.0)
_SAME_WAY_COS = math.cos(math.radians(30.0))
_CANDIDATE_STEP_S = 2.0
_MOST_CANDIDATES = 400
_ALIKE = 0.2
_UNSEEN_ACCELERATION_M_S2 = 4.0
_HERMITE_SHARE = 0.2
_NORMAL = NormalDist()


@dataclass(frozen=True, slots=True)
class Line:
    """A gate in the path's own metres.

    Attributes
    ----------
    east_m, north_m : float
        Middle. [m]
    normal : tuple of float
        Unit vector east, north, in the direction of flight.
    half_m : float
        Half the width. [m]
    """

    east_m: float
    north_m: float
    normal: tuple[float, float]
    half_m: float

    def ahead(self, east: Array, north: Array) -> Array:
        """Metres beyond the line."""
        out: Array = (east - self.east_m) * self.normal[0] + (north - self.north_m) * self.normal[1]
        return out

    def right(self, east: Array, north: Array) -> Array:
        """Metres to the right of the middle."""
        out: Array = (east - self.east_m) * self.normal[1] - (north - self.north_m) * self.normal[0]
        return out


@dataclass(frozen=True, slots=True)
class Crossing:
    """One crossing of the gate.

    Attributes
    ----------
    time : Uncertain
        When; crossings of one path share the sources of slow errors. [s]
    speed_m_s : float
        Speed across the line. [m/s]
    right_m : float
        Where, to the right of the middle. [m]
    outside_m : float
        Distance beyond the nearer end, negative inside. [m]
    doubt : float
        Probability that it was on the other side of the end.
    gap_s : float
        Length of the stretch without fixes that it lies in, else 0. [s]
    """

    time: Uncertain
    speed_m_s: float
    right_m: float
    outside_m: float
    doubt: float
    gap_s: float


def line_of(given: GivenGate, path: FlightPath) -> Line | None:
    """Place a given gate in the path's metres; None when its ends are one point."""
    lat = np.array([given.left_deg[0], given.right_deg[0]])
    lon = np.array([given.left_deg[1], given.right_deg[1]])
    east, north = path.frame.east_north(lat, lon)
    across = float(east[1] - east[0]), float(north[1] - north[0])
    width = math.hypot(*across)
    if not width > 0:
        return None
    return Line(
        float(east.mean()),
        float(north.mean()),
        (-across[1] / width, across[0] / width),
        width / 2,
    )


def ends_of(line: Line, path: FlightPath) -> tuple[tuple[float, float], tuple[float, float]]:
    """Latitude and longitude of the left and the right end. [deg]"""
    east, north = line.half_m * line.normal[1], -line.half_m * line.normal[0]
    return (
        path.frame.position(line.east_m - east, line.north_m - north),
        path.frame.position(line.east_m + east, line.north_m + north),
    )


def find_line(
    path: FlightPath, start_s: float, end_s: float, heading_deg: float | None
) -> Line | None:
    """Place a gate across the straight leg that was flown most often.

    Parameters
    ----------
    path : FlightPath
        The flown path.
    start_s, end_s : float
        The airborne part. [s]
    heading_deg : float or None
        Direction of the runway: decides between legs flown equally often. [deg]

    Returns
    -------
    Line or None
        None when no straight leg was flown twice in the same direction.
    """
    rows = np.flatnonzero((path.time_s >= start_s) & (path.time_s <= end_s))
    if rows.size < 10:
        return None
    t, east, north = path.time_s[rows], path.east_m[rows], path.north_m[rows]
    ve, vn = path.east_m_s[rows], path.north_m_s[rows]
    speed = np.hypot(ve, vn)
    turn = np.gradient(np.unwrap(np.arctan2(ve, vn)), t)
    step = float(np.median(np.diff(t)))
    calm = _smooth(np.abs(turn), max(1, round(2.0 / step)))
    good = (speed > _MIN_SPEED_M_S) & (calm < _STRAIGHT_RAD_S)
    tried = np.flatnonzero(good)[:: max(1, round(_CANDIDATE_STEP_S / step))]
    tried = tried[:: -(-tried.size // _MOST_CANDIDATES) or 1]
    best: tuple[float, ...] = ()
    found: Line | None = None
    for k in tried:
        normal = (float(ve[k] / speed[k]), float(vn[k] / speed[k]))
        line = Line(float(east[k]), float(north[k]), normal, FOUND_HALF_WIDTH_M)
        at = _similar(line, t, east, north, ve, vn)
        if at.size < 2:
            continue
        laps = _regular(t[at])
        if best and laps < best[0]:
            continue
        right = line.right(east[at], north[at])
        off = 0.0
        if heading_deg is not None:
            psi = math.radians(heading_deg)
            off = 1 - (normal[0] * math.sin(psi) + normal[1] * math.cos(psi))
        # Most laps; then along the runway, in steps of about 40 degrees; then the straightest
        # and tightest place of the leg.
        score = (
            laps,
            -round(off * 4),
            -float(calm[at].max()) * 50 - float(np.ptp(right)),
        )
        if not best or score > best:
            best = score
            middle = float(np.median(right))
            found = Line(
                line.east_m + middle * normal[1],
                line.north_m - middle * normal[0],
                normal,
                FOUND_HALF_WIDTH_M,
            )
    return found


def _regular(times: Array) -> float:
    """Laps of about the usual length less the others, such as one that ends in the landing."""
    distances = np.diff(times)
    # Of a handful of numbers: ten times quicker than for arrays.
    usual = median(distances.tolist())
    alike = np.abs(distances - usual) <= _ALIKE * usual
    return float(2 * alike.sum() - alike.size)


def _smooth(values: Array, width: int) -> Array:
    kernel = np.ones(width)
    weight = np.convolve(np.ones(values.size), kernel, "same")
    out: Array = np.convolve(values, kernel, "same") / weight
    return out[: values.size]


def _similar(
    line: Line, t: Array, east: Array, north: Array, ve: Array, vn: Array
) -> NDArray[np.intp]:
    """Rows just before the line is crossed, in about its own direction."""
    ahead = line.ahead(east, north)
    at = np.flatnonzero((ahead[:-1] < 0) & (ahead[1:] >= 0))
    along = (ve[at] * line.normal[0] + vn[at] * line.normal[1]) / np.hypot(ve[at], vn[at])
    near = np.abs(line.right(east[at], north[at])) <= line.half_m
    at = at[near & (along > _SAME_WAY_COS)]
    kept = np.ones(at.size, dtype=bool)
    kept[1:] = np.diff(t[at]) > SHORTEST_LAP_S
    return at[kept]


def crossings(path: FlightPath, line: Line, start_s: float, end_s: float) -> tuple[Crossing, ...]:
    """Times at which the gate is crossed in its direction.

    Parameters
    ----------
    path : FlightPath
        The flown path.
    line : Line
        The gate.
    start_s, end_s : float
        The airborne part. [s]

    Notes
    -----
    Cubic Hermite interpolation of position and velocity. The slow error of the position is a
    first-order process: crossings share its past, so that the difference over T carries
    ``drift_std * sqrt(2 (1 - exp(-T / drift_time)))``, and the latency cancels.
    """
    t = path.time_s
    ahead = line.ahead(path.east_m, path.north_m)
    right = line.right(path.east_m, path.north_m)
    v_ahead = path.east_m_s * line.normal[0] + path.north_m_s * line.normal[1]
    v_right = path.east_m_s * line.normal[1] - path.north_m_s * line.normal[0]
    spread = float(np.hypot(np.median(path.position_std_m), path.drift_std_m))
    seen: list[tuple[float, float, float, float, float]] = []
    for k in np.flatnonzero((ahead[:-1] < 0) & (ahead[1:] >= 0)):
        dt = float(t[k + 1] - t[k])
        share = _root(ahead[k], ahead[k + 1], v_ahead[k] * dt, v_ahead[k + 1] * dt)
        time_s = float(t[k]) + share * dt
        across = float(v_ahead[k] + share * (v_ahead[k + 1] - v_ahead[k]))
        if not start_s <= time_s <= end_s or across <= 0:
            continue
        where = _hermite(share, right[k], right[k + 1], v_right[k] * dt, v_right[k + 1] * dt)
        if abs(where) > line.half_m + 2 * spread:
            continue
        straight = -float(ahead[k]) / float(ahead[k + 1] - ahead[k])
        seen.append((time_s, across, where, abs(straight - share) * dt, _fast_std(path, time_s)))
    times = _without_echoes([s[0] for s in seen])
    return _with_errors(path, line, [s for s in seen if s[0] in times], spread)


def _root(p0: float, p1: float, m0: float, m1: float) -> float:
    """Where in 0 to 1 the cubic through both ends with both slopes is zero; p0 < 0 <= p1."""
    low, high = 0.0, 1.0
    for _ in range(50):
        middle = 0.5 * (low + high)
        if _hermite(middle, p0, p1, m0, m1) < 0:
            low = middle
        else:
            high = middle
    return 0.5 * (low + high)


def _hermite(x: float, p0: float, p1: float, m0: float, m1: float) -> float:
    y = 1 - x
    return float(
        (1 + 2 * x) * y * y * p0 + x * y * y * m0 + x * x * (3 - 2 * x) * p1 - x * x * y * m1
    )


def gap_at(path: FlightPath, time_s: float) -> float:
    """Length of the stretch without fixes around a time, else 0. [s]"""
    return max((b - a for a, b in path.gaps_s if a <= time_s <= b), default=0.0)


def _fast_std(path: FlightPath, time_s: float) -> float:
    """Fast part of the position error. Smoothing makes neighbours agree: no averaging. [m]"""
    std = float(np.interp(time_s, path.time_s, path.position_std_m))
    gap = gap_at(path, time_s)
    return max(std, _UNSEEN_ACCELERATION_M_S2 * gap**2 / 16)


def _without_echoes(times: list[float]) -> set[float]:
    """Crossings that are a lap apart; of several close together the first."""
    distances = [d for d in np.diff(times) if d > SHORTEST_LAP_S]
    least = max(SHORTEST_LAP_S, DEBOUNCE_SHARE * float(np.median(distances)) if distances else 0.0)
    kept: list[float] = []
    for time_s in times:
        if not kept or time_s - kept[-1] >= least:
            kept.append(time_s)
    return set(kept)


def _with_errors(
    path: FlightPath,
    line: Line,
    seen: list[tuple[float, float, float, float, float]],
    spread: float,
) -> tuple[Crossing, ...]:
    out: list[Crossing] = []
    slow: dict[str, float] = {}
    for number, (time_s, across, where, bend_s, fast_m) in enumerate(seen):
        if number:
            kept = math.exp(-(time_s - seen[number - 1][0]) / path.drift_time_s)
            slow = {name: kept * effect for name, effect in slow.items()}
            fresh = math.sqrt(max(0.0, 1 - kept**2))
        else:
            fresh = 1.0
        slow[f"position drift {number}"] = fresh * path.drift_std_m
        sources = {name: -effect / across for name, effect in slow.items()}
        name = f"crossing at {time_s:.3f} s"
        sources[name] = math.hypot(fast_m / across, _HERMITE_SHARE * bend_s)
        sources["position latency"] = path.latency_std_s
        outside = abs(where) - line.half_m
        doubt = _NORMAL.cdf(-abs(outside) / spread) if spread > 0 else 0.0
        out.append(
            Crossing(
                Uncertain(time_s, sources, "s"),
                across,
                where,
                outside,
                doubt,
                gap_at(path, time_s),
            )
        )
    return tuple(out)
