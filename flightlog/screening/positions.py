"""Positions that no aircraft can fly, and a receiver that holds still while it rolls."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from flightlog.estimation.frames import Array
from flightlog.findings import Finding, make_finding
from flightlog.screening.series import Fixes, Mask, column, read_fixes, robust_std

if TYPE_CHECKING:
    from flightlog.screening.context import FlightView, LogView

LARGEST_ACCELERATION_M_S2 = 20.0
"""Two g in the plane from fix to fix and back: a velocity that leaves its neighbours faster, and
returns to them, is no manoeuvre. (A turn may hold more, but neighbours then turn along.) [m/s²]"""

LEAST_JUMP_M = 10.0
"""Position noise of a sound receiver is under 2 m: 10 m from where the speed leads is 5 sigma
and more. [m]"""

LEAST_SPEED_JUMP_M_S = 3.0
"""Doppler noise of a poor receiver is 0.5 m/s an axis; 3 m/s is 4 sigma of a difference. [m/s]"""

STOP_SHARE = 0.2
"""When more of the steps than this can't be flown, the smoother has no majority to follow. [-]"""

_LONGEST_STEP_S = 3.0
_SIGMAS = 6.0
_WHOLE_S = 1e-3

_BY_PLACES = ("flight.max_ground_speed", "flight.distance", "energy.per_km")
"""What a jump spoils for good where no speed was logged: nothing else tells how fast it was."""


@dataclass(frozen=True, slots=True)
class Jumps:
    """Steps from fix to fix that can't be flown.

    Attributes
    ----------
    place, speed : array of bool
        For each step: its end is not where the speed leads; the velocity at its end is unlike
        those before and after.
    off_m, odd_m_s : array
        Distance from where the speed leads [m]; difference from the mean of the neighbours [m/s].
    """

    place: Mask
    speed: Mask
    off_m: Array
    odd_m_s: Array

    @property
    def any(self) -> Mask:
        """Either of the two."""
        return self.place | self.speed


def find_jumps(fixes: Fixes) -> Jumps:
    """Judge every step between neighbouring fixes.

    Notes
    -----
    A step of dt is off when its end lies farther from where the mean velocity leads than six
    robust standard deviations of all steps, `LEAST_JUMP_M`, and what `LARGEST_ACCELERATION_M_S2`
    can do in dt; a velocity when it differs from the mean of its neighbours by as much. Without
    logged velocities the steps before and after lead. Steps over 3 s, and velocities without a
    course, are not judged.
    """
    dt = np.diff(fixes.time_s)
    way = np.radians(np.where(fixes.speed_m_s < 0.5, 0.0, fixes.course_deg))
    east, north = fixes.speed_m_s * np.sin(way), fixes.speed_m_s * np.cos(way)
    short = (dt > 0) & (dt <= _LONGEST_STEP_S)
    off = np.hypot(
        np.diff(fixes.east_m) - dt * (east[1:] + east[:-1]) / 2,
        np.diff(fixes.north_m) - dt * (north[1:] + north[:-1]) / 2,
    )
    alone, slack = _off_by_neighbours(fixes, dt, short)
    blind = np.isnan(off) & ~_has_speed(fixes)
    off = np.where(blind, alone, off)
    odd = np.hypot(np.diff(east, 2), np.diff(north, 2)) / 2
    odd = np.append(np.where(short[1:] & short[:-1], odd, np.nan), np.nan)
    reach = LARGEST_ACCELERATION_M_S2 * dt / 2
    with np.errstate(invalid="ignore"):
        place = off > _least(off[short], LEAST_JUMP_M) + reach * dt + np.where(blind, slack, 0.0)
        speed = odd > _least(odd, LEAST_SPEED_JUMP_M_S) + reach
        # A jump misleads the steps beside it by half of its size; there and back are alike.
        beside = np.nan_to_num(_beside(off)).max(axis=0)
        place &= ~blind | (off >= 0.75 * beside)
        # A wrong velocity spoils its neighbours' neighbours: the largest of three is the one.
        around = np.nan_to_num(odd)
        speed[1:] &= around[1:] >= around[:-1]
        speed[:-1] &= around[:-1] >= around[1:]
    return Jumps(place & short, speed, off, odd)


def _has_speed(fixes: Fixes) -> Mask:
    """Whether a speed was logged at both ends of each step."""
    known = np.isfinite(fixes.speed_m_s)
    return np.asarray(known[1:] & known[:-1], dtype=bool)


def _off_by_neighbours(fixes: Fixes, dt: Array, short: Mask) -> tuple[Array, Array]:
    """How far each step ends from where the steps beside it lead, and what that allows. [m]

    With one neighbour alone the velocity is that of another moment: as much again of what
    acceleration can do. Stamps of whole seconds may be a second off.
    """
    east, north = (
        np.where(short, np.diff(place) / np.where(short, dt, 1.0), np.nan)
        for place in (fixes.east_m, fixes.north_m)
    )
    beside = np.stack([_beside(east), _beside(north)])
    known = np.isfinite(beside).all(axis=0)
    sides = known.sum(axis=0)
    lead_east, lead_north = np.where(known, beside, 0.0).sum(axis=1) / np.maximum(sides, 1)
    off = np.where(sides > 0, np.hypot(east - lead_east, north - lead_north) * dt, np.nan)
    whole = bool((np.abs(dt - np.round(dt)) < _WHOLE_S).all())
    slack = np.hypot(lead_east, lead_north) if whole else np.zeros(len(dt))
    return off, slack + np.where(sides == 1, LARGEST_ACCELERATION_M_S2 * dt * dt / 2, 0.0)


def _beside(values: Array) -> Array:
    """The values before and after each; NaN beyond the ends."""
    return np.stack([np.append(np.nan, values[:-1]), np.append(values[1:], np.nan)])


def _least(values: Array, floor: float) -> float:
    values = values[np.isfinite(values)]
    if not len(values):
        return floor
    return max(floor, float(np.median(values)) + _SIGMAS * robust_std(values))


def position_jumps(view: LogView) -> Iterable[Finding]:
    """Find fixes that jump (`position-jumps`) in each sortie.

    The path leaves such fixes out and is less sure where they are missing, so that distance and
    laps are wider by themselves; with a majority of them it could not tell which are right, and
    from `STOP_SHARE` on the figures are withheld. Without logged speeds `_BY_PLACES` are.
    """
    fixes = read_fixes(view.recording)
    if fixes is None:
        return
    jumps = find_jumps(fixes)
    for sortie in view.sorties:
        inside = (fixes.time_s[1:] >= sortie.start_s) & (fixes.time_s[1:] <= sortie.end_s)
        rows = np.flatnonzero(inside & jumps.any)
        if not rows.size:
            continue
        share = rows.size / int(inside.sum())
        many, blind = share > STOP_SHARE, bool((jumps.place & ~_has_speed(fixes))[rows].any())
        places, speeds = int(jumps.place[rows].sum()), int(jumps.speed[rows].sum())
        said = []
        if places:
            worst = rows[int(np.argmax(np.where(jumps.place[rows], jumps.off_m[rows], -1)))]
            said.append(
                f"{places} of place, the largest {jumps.off_m[worst]:.0f} m away from where "
                f"{'its neighbours lead' if blind else 'the speed leads'}, at "
                f"{fixes.time_s[worst + 1]:.1f} s"
            )
        if speeds:
            worst = rows[int(np.argmax(np.where(jumps.speed[rows], jumps.odd_m_s[rows], -1)))]
            said.append(
                f"{speeds} of velocity, the largest {jumps.odd_m_s[worst]:.0f} m/s away from its "
                f"neighbours, at {fixes.time_s[worst + 1]:.1f} s"
            )
        yield make_finding(
            "position-jumps",
            f"{rows.size} of {int(inside.sum())} steps between position fixes can't be flown: "
            f"{'; '.join(said)}.",
            evidence={
                "place_jumps": places,
                "speed_jumps": speeds,
                "steps": int(inside.sum()),
                "share": share,
                "largest_m": float(np.nanmax(np.where(jumps.place[rows], jumps.off_m[rows], 0.0))),
            },
            severity="stop" if many or blind else None,
            affects=_BY_PLACES if blind and not many else None,
            start_s=float(fixes.time_s[rows[0] + 1]),
            end_s=float(fixes.time_s[rows[-1] + 1]),
        )


# --- few satellites

POOR_HDOP = 2.0
FEW_SATELLITES = 7
"""A fix with a larger dilution, or fewer satellites, is one to doubt (METHODS 14, G2). [-]"""

POOR_SHARE = 0.5
"""Single doubtful fixes show by their scatter; this tells a receiver that had no better. [-]"""


def poor_fixes(view: LogView) -> Iterable[Finding]:
    """Tell flights most of whose fixes had a poor geometry (`poor-fixes`), once for the log.

    Roll and path weigh fixes by how they scatter; that the slow error grows with the dilution no
    log shows.
    """
    gps = view.recording.one("gps")
    if gps is None:
        return
    t, hdop, satellites = (column(gps, n) for n in ("time_s", "hdop", "satellites"))
    with np.errstate(invalid="ignore"):
        poor = (hdop > POOR_HDOP) | (satellites < FEW_SATELLITES)
    flown = np.zeros(len(t), dtype=bool)
    flights = []
    for sortie in view.sorties:
        inside = (t >= sortie.start_s) & (t <= sortie.end_s)
        if inside.any() and float(poor[inside].mean()) > POOR_SHARE:
            flights.append(str(sortie.number))
            flown |= inside
    if not flights:
        return
    share = float(poor[flown].mean())
    known = {"HDOP": _median(hdop[flown]), "satellites": _median(satellites[flown])}
    said = ", ".join(f"{name} {v:.3g}" for name, v in known.items() if v is not None)
    yield make_finding(
        "poor-fixes",
        f"{100 * share:.0f} % of the position fixes in flight {', '.join(flights)} have an HDOP "
        f"above {POOR_HDOP:g} or fewer than {FEW_SATELLITES} satellites (median {said}): their "
        "slow error may be larger than the intervals allow for.",
        evidence={"share": share} | {k.lower(): v for k, v in known.items() if v is not None},
    )


def _median(values: Array) -> float | None:
    values = values[np.isfinite(values)]
    return float(np.median(values)) if len(values) else None


# --- static hold

LEAST_ZEROS = 5
"""So many speeds of exactly zero in a row come from a receiver that holds still, or from one
that stands; what follows tells. [-]"""

HELD_S = 0.3
"""A hold as short as this is within what the start of a roll is known to. [s]"""

_DISTANCES = (
    "takeoff.ground_roll",
    "takeoff.first_clear_distance",
    "takeoff.distance_to_screen",
    "takeoff.distance_from_line",
    "takeoff.ground_roll_reference",
)
_FIRST_M_S = 1.0
_RAMP_S = 1.5
_SPEED_STD_M_S = 0.15


@dataclass(frozen=True, slots=True)
class Hold:
    """A speed that stayed at zero while the aircraft rolled.

    Attributes
    ----------
    last_zero_s, first_s : float
        Last fix with speed zero, and the one after it. [s]
    first_m_s : float
        The speed to which it jumped. [m/s]
    held_s, std_s : float
        How long it had rolled by the last zero, from the acceleration that followed. [s]
    """

    last_zero_s: float
    first_s: float
    first_m_s: float
    held_s: float
    std_s: float


def find_static_hold(time_s: Array, speed_m_s: Array) -> Hold | None:
    """Find a speed that stays at zero and then starts with a jump.

    Parameters
    ----------
    time_s, speed_m_s : array
        Fixes about the start of one roll. [s], [m/s]

    Notes
    -----
    The acceleration of the 1.5 s after the jump, carried back, gives the start of the roll; it is
    compared with the last fix that still said zero.
    """
    zero = speed_m_s == 0.0
    ends = np.flatnonzero(zero[:-1] & (speed_m_s[1:] >= _FIRST_M_S))
    for k in ends[::-1].tolist():
        if k + 1 < LEAST_ZEROS or not zero[k + 1 - LEAST_ZEROS : k + 1].all():
            continue
        ramp = np.flatnonzero((time_s > time_s[k]) & (time_s <= time_s[k + 1] + _RAMP_S))
        ramp = ramp[np.isfinite(speed_m_s[ramp])]
        if ramp.size < 3 or time_s[ramp[-1]] <= time_s[ramp[0]]:
            continue
        t, v = time_s[ramp] - time_s[k + 1], speed_m_s[ramp]
        rise, start = (float(c) for c in np.polyfit(t, v, 1))
        rise_std = _SPEED_STD_M_S / math.sqrt(float(((t - t.mean()) ** 2).sum()))
        if rise <= 3 * rise_std or start <= 0:
            continue
        back = start / rise
        held = back - float(time_s[k + 1] - time_s[k])
        std = math.hypot(_SPEED_STD_M_S / rise, back * rise_std / rise)
        if held - 2 * std > HELD_S:
            first = float(speed_m_s[k + 1])
            return Hold(float(time_s[k]), float(time_s[k + 1]), first, held, std)
    return None


def static_hold(view: FlightView) -> Iterable[Finding]:
    """Find a receiver that gave speed zero while the roll had begun (`static-hold`).

    The start of the roll then comes from the IMU, where there is one: it sees the push itself.
    The held speeds still pull at the distance, by up to half of what was rolled meanwhile; as an
    even chance of that it widens the roll. Without an IMU nothing in the log shows when the roll
    began, and what counts from it is withheld.
    """
    gps = view.recording.one("gps")
    if gps is None or view.sortie.launch != "runway":
        return
    t, speed = column(gps, "time_s"), column(gps, "ground_speed_m_s")
    near = (t >= view.sortie.search_s[0]) & (t <= view.sortie.search_s[1])
    hold = find_static_hold(t[near], speed[near])
    if hold is None:
        return
    track = view.takeoff.track
    inertial = track is not None and track.inertial
    roll = view.figures.get("takeoff.ground_roll")
    missed_m = hold.first_m_s * hold.held_s / 2
    widen = missed_m / math.sqrt(3) / roll.quantity.value if inertial and roll is not None else 0.0
    source = "the IMU shows the start" if inertial else "without an IMU the start is not known"
    yield make_finding(
        "static-hold",
        f"The receiver's speed stays at exactly 0 until {hold.last_zero_s:.1f} s and then jumps to "
        f"{hold.first_m_s:.1f} m/s: by the acceleration that follows it had rolled for "
        f"{hold.held_s:.1f} s (± {1.96 * hold.std_s:.1f}); {source}.",
        evidence={
            "held_s": hold.held_s,
            "held_std_s": hold.std_s,
            "first_m_s": hold.first_m_s,
            "last_zero_s": hold.last_zero_s,
            "missed_m": missed_m,
        },
        severity="degrade" if inertial else "stop",
        affects=_DISTANCES if inertial else (*_DISTANCES, "takeoff.start_time"),
        widen=widen,
        start_s=hold.last_zero_s,
        end_s=hold.first_s,
    )
