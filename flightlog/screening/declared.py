"""What people entered, against what the flight shows: mass, payload, battery."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np

from flightlog.analyses.declared import EMPTY_MASS_STD_KG
from flightlog.analyses.wind import flight_wind
from flightlog.estimation.frames import Array
from flightlog.findings import Finding, make_finding
from flightlog.inputs import GivenWind
from flightlog.screening.context import FlightView, LogView
from flightlog.screening.excess_thrust import (
    Climb,
    Drive,
    Roll,
    air_density,
    fitted_in_climb,
    fitted_in_roll,
)
from flightlog.screening.outputs import drives_motor
from flightlog.screening.series import Mask, column, samples
from flightlog.uncertain import Uncertain

SIGNIFICANT = 3.0
"""Standard uncertainties that entered and fitted mass have to be apart."""

PAYLOAD_UNIT_STD = 0.01
"""Standard uncertainty of the mass of a payload unit in the aircraft file, all units alike. [-]"""

PRINTED_ENERGY = 1.05
"""A new battery may hold so much of the energy printed on it: cells are sorted to hold at least
what is printed. [-]"""

_FULL = 0.98
_SPOOL_S = 1.0
_LIFTED_S = 1.0
_LEAST_ROLL_S = 1.0
_LEAST_CLIMB_S = 4.0
_LONGEST_CLIMB_S = 15.0
_MOST_BANK_RAD = math.radians(25)
_USED_OF_LIFTOFF = 0.85
_UNKNOWN_WIND_STD_M_S = 2.0


def payload_contradicts(view: LogView) -> Iterator[Finding]:
    """Compare the entered mass with empty mass and payload units."""
    inputs, aircraft = view.inputs, view.inputs.aircraft
    if inputs.mass is None or inputs.payload_units is None or aircraft is None:
        return
    if aircraft.empty_kg is None or aircraft.payload_unit_kg is None:
        return
    payload = inputs.payload_units * aircraft.payload_unit_kg
    summed = aircraft.empty_kg + payload
    std = math.hypot(inputs.mass.std_kg, EMPTY_MASS_STD_KG, PAYLOAD_UNIT_STD * payload)
    if abs(inputs.mass.kg - summed) <= SIGNIFICANT * std:
        return
    yield make_finding(
        "mass-doubtful",
        f"Entered {inputs.mass.kg:.2f} kg, but {aircraft.empty_kg:.2f} kg empty and "
        f"{inputs.payload_units} payload units of {aircraft.payload_unit_kg:.2f} kg make "
        f"{summed:.2f} (± {2 * std:.2f}) kg: check which of them is right.",
        affects=("takeoff.ground_roll_reference", "flight.min_stall_margin", "payload.*"),
        evidence={"entered_kg": inputs.mass.kg, "sum_kg": summed, "sum_std_kg": std},
    )


def pack_doubtful(view: FlightView) -> Iterator[Finding]:
    """Compare the energy used with the energy printed on the battery."""
    aircraft = view.inputs.aircraft
    used = view.figures.get("energy.used")
    if aircraft is None or aircraft.battery_nominal_wh is None or used is None:
        return
    printed = aircraft.battery_nominal_wh
    low, _ = used.quantity.interval()
    if low <= PRINTED_ENERGY * printed:
        return
    yield make_finding(
        "pack-doubtful",
        f"The flight took {used.quantity.value:.1f} Wh (at least {low:.1f} Wh), more than the "
        f"{printed:.1f} Wh printed on the battery in the aircraft file: another battery flew, or "
        "the current is scaled wrongly.",
        evidence={"used_wh": used.quantity.value, "printed_wh": printed},
        start_s=view.sortie.start_s,
        end_s=view.sortie.end_s,
        widen=used.quantity.value / printed - 1,
    )


def mass_doubtful(view: FlightView) -> Iterator[Finding]:
    """Compare the entered mass with what roll and climb at full throttle fit."""
    mass = view.inputs.mass
    if mass is None:
        return
    fitted = _fitted_mass(view)
    if fitted is None:
        return
    fit, where = fitted
    if abs(fit.value - mass.kg) <= SIGNIFICANT * math.hypot(fit.std, mass.std_kg):
        return
    yield make_finding(
        "mass-doubtful",
        f"Entered {mass.kg:.2f} kg; the {where} at full throttle fits {fit.value:.1f} "
        f"(± {2 * fit.std:.1f}) kg by the aircraft file's thrust and polar: check.",
        evidence={"entered_kg": mass.kg, "fits_kg": fit.value, "fits_std_kg": fit.std},
        start_s=view.sortie.start_s,
        end_s=view.sortie.end_s,
    )


def _fitted_mass(view: FlightView) -> tuple[Uncertain, str] | None:
    """Mass that the flight fits, and by what; None where it can't be told."""
    aircraft = view.inputs.aircraft
    if aircraft is None or aircraft.thrust is None or aircraft.polar is None:
        return None
    if aircraft.wing_area_m2 is None:
        return None
    value, std = air_density(view.recording, view.sortie, view.inputs)
    drive = Drive(aircraft.thrust, aircraft.polar, aircraft.wing_area_m2, value)
    full = _full_throttle(view)
    if full is None:
        return None
    fits: list[tuple[Uncertain, str]] = []
    roll = _roll(view, full)
    climb = _climb(view, full)
    if roll is not None and (fit := fitted_in_roll(roll, drive, std)) is not None:
        fits.append((fit, "roll"))
    if climb is not None and (fit := fitted_in_climb(climb, drive, std)) is not None:
        fits.append((fit, "climb"))
    if not fits:
        return None
    weights = np.array([1 / max(fit.std, 1e-3) ** 2 for fit, _ in fits])
    weights /= weights.sum()
    total = fits[0][0] * float(weights[0])
    for (fit, _), weight in zip(fits[1:], weights[1:], strict=True):
        total = total + fit * float(weight)
    return total, " and ".join(name for _, name in fits)


def _full_throttle(view: FlightView) -> tuple[Array, Mask] | None:
    """Times [s] and whether the motor's output was at its greatest; None where nothing tells."""
    aircraft, outputs = view.inputs.aircraft, view.recording.get("outputs")
    if aircraft is None or outputs is None:
        return None
    motors = [n for n, name in sorted(aircraft.outputs.items()) if drives_motor(name)]
    if not motors:
        return None
    time_s, pulse = samples(outputs.loc[column(outputs, "channel") == motors[0]], "pulse_us")
    if time_s.size < 10:
        return None
    low, high = float(pulse.min()), float(pulse.max())
    if high - low < 300:
        return None
    return time_s, np.asarray(pulse >= low + _FULL * (high - low))


def _held(full: tuple[Array, Mask], start_s: float, end_s: float) -> float:
    """Until when the throttle stays full from a time on; the start where it is not. [s]"""
    time_s, is_full = full
    inside = (time_s >= start_s) & (time_s <= end_s)
    if not inside.any():
        return start_s
    less = np.flatnonzero(inside & ~is_full)
    return float(time_s[less[0]]) if less.size else end_s


def _roll(view: FlightView, full: tuple[Array, Mask]) -> Roll | None:
    takeoff = view.takeoff
    track, liftoff = takeoff.track, takeoff.liftoff_s
    if track is None or takeoff.start_s is None or liftoff is None:
        return None
    speed = track.speed_m_s @ track.weight
    start = takeoff.start_s + _SPOOL_S
    # Near lift-off the wheels are light and the nose comes up: the model ends before.
    fast = float(np.interp(liftoff, track.time_s, speed)) * _USED_OF_LIFTOFF
    rows = (track.time_s >= start) & (track.time_s <= liftoff) & (speed <= fast)
    if not rows.any():
        return None
    end = float(track.time_s[rows][-1])
    if end - start < _LEAST_ROLL_S or _held(full, start, end) < end:
        return None
    rows = (track.time_s >= start) & (track.time_s <= end)
    wind = view.figures.get("takeoff.headwind")
    runway = view.inputs.site.runway if view.inputs.site is not None else None
    return Roll(
        track.time_s[rows],
        speed[rows],
        wind.quantity.value if wind is not None else 0.0,
        wind.quantity.std if wind is not None else _UNKNOWN_WIND_STD_M_S,
        runway.slope if runway is not None else 0.0,
    )


def _climb(view: FlightView, full: tuple[Array, Mask]) -> Climb | None:
    path, liftoff = view.path, view.sortie.liftoff_s
    if path is None or path.height_m is None or liftoff is None:
        return None
    start = liftoff + _LIFTED_S
    end = _held(full, start, min(start + _LONGEST_CLIMB_S, view.sortie.end_s))
    rows = (path.time_s >= start) & (path.time_s <= end)
    wind = _wind(view)
    if end - start < _LEAST_CLIMB_S or rows.sum() < 10 or wind is None:
        return None
    if any(a < end and b > start for a, b in path.gaps_s):
        return None
    time_s = path.time_s[rows]
    bank = _bank(view, time_s)
    if bank is None or float(np.max(bank)) > _MOST_BANK_RAD:
        return None
    north, east = path.north_m_s[rows] - wind[0], path.east_m_s[rows] - wind[1]
    return Climb(time_s, np.hypot(north, east), path.height_m[rows], 1 / np.cos(bank))


def _bank(view: FlightView, time_s: Array) -> Array | None:
    at, roll = samples(view.recording.get("attitude"), "roll_rad")
    if at.size < 10:
        return None
    return np.asarray(np.abs(np.interp(time_s, at, roll)))


def _wind(view: FlightView) -> tuple[float, float] | None:
    """Where the air moves to, north and east [m/s]; None where nothing tells."""
    fit, _ = flight_wind(view.recording, view.sortie, view.path)
    if fit is not None:
        return fit.north_m_s, fit.east_m_s
    given = view.inputs.wind
    return None if given is None else _towards(given)


def _towards(wind: GivenWind) -> tuple[float, float]:
    angle = math.radians(wind.from_deg)
    return -wind.speed_m_s * math.cos(angle), -wind.speed_m_s * math.sin(angle)
