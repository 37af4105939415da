"""What the reduction of a thrust stand has to know besides its files."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from flightlog.constants import ZERO_CELSIUS_K
from flightlog.estimation.air import HUMIDITY, HUMIDITY_STD, moist_air
from flightlog.uncertain import Uncertain


@dataclass(frozen=True, slots=True)
class Setup:
    """What the reduction has to know besides the files.

    None is "nobody said". Standard uncertainties ``…_std_pct`` are parts of the reading that all
    readings share; the others are in the unit of their name, shared as well.

    Attributes
    ----------
    diameter_m, diameter_std_m : float or None
        Of the propeller. [m]
    blades : int or None
        Of the propeller.
    pole_pairs : int or None
        Of the motor, by which the file's electrical speed is divided; 1 where the stand did.
    density_kg_m3, density_std_kg_m3 : float or None
        Of the air; else it is had from pressure, temperature and humidity. [kg/m³]
    pressure_hpa, pressure_std_hpa : float
        At the stand, not reduced to sea level. [hPa]
    temperature_c, temperature_std_c : float
        Of the air. [°C]
    humidity_pct, humidity_std_pct : float
        Relative. 50 ± 30 % where nobody measured it, worth 0.5 % of density at most. [%]
    thrust_std_n, thrust_std_pct, torque_std_nm, torque_std_pct : float or None
        Standard uncertainties.
    speed_std_rpm : float or None
        Standard uncertainty of the shaft's speed. [rpm]
    voltage_std_v, voltage_std_pct, current_std_a, current_std_pct, power_std_pct : float or None
        Standard uncertainties; that of the power counts where the file has no voltage and current.
    full_scale_n, full_scale_nm : float or None
        Of the cells of thrust and torque.
    arm_m, arm_std_m : float or None
        Lever arm of the torque cell. [m]
    calibration, torque_calibration : sequence of mapping
        Known loads and readings, up and down: ``mass_kg`` or ``load_n`` with ``reading_n``;
        ``mass_kg`` (on the arm) or ``load_nm`` with ``reading_nm``.
    load_std_pct : float or None
        Standard uncertainty of the known loads that they share. [%]
    tare_before_n, tare_after_n, tare_before_nm, tare_after_nm : float or None
        Readings at rest, where the file holds none.
    tare_std_n, tare_std_nm : float or None
        Their standard uncertainties, without which they don't count.
    rest_pulse_us : float or None
        At and below which the motor stands. [us]
    transient_s : float or None
        Dropped after each change of the throttle; found from the data without. [s]
    settled_s : float
        Settled part that is asked of each step. [s]
    """

    diameter_m: float | None = None
    diameter_std_m: float | None = None
    blades: int | None = None
    pole_pairs: int | None = None
    density_kg_m3: float | None = None
    density_std_kg_m3: float | None = None
    pressure_hpa: float | None = None
    pressure_std_hpa: float = 1.0
    temperature_c: float | None = None
    temperature_std_c: float = 1.0
    humidity_pct: float | None = None
    humidity_std_pct: float = 5.0
    thrust_std_n: float | None = None
    thrust_std_pct: float | None = None
    torque_std_nm: float | None = None
    torque_std_pct: float | None = None
    speed_std_rpm: float | None = None
    voltage_std_v: float | None = None
    voltage_std_pct: float | None = None
    current_std_a: float | None = None
    current_std_pct: float | None = None
    power_std_pct: float | None = None
    full_scale_n: float | None = None
    full_scale_nm: float | None = None
    arm_m: float | None = None
    arm_std_m: float | None = None
    calibration: Sequence[Mapping[str, Any]] = ()
    torque_calibration: Sequence[Mapping[str, Any]] = ()
    load_std_pct: float | None = None
    tare_before_n: float | None = None
    tare_after_n: float | None = None
    tare_std_n: float | None = None
    tare_before_nm: float | None = None
    tare_after_nm: float | None = None
    tare_std_nm: float | None = None
    rest_pulse_us: float | None = None
    transient_s: float | None = None
    settled_s: float = 3.0


def air_of(setup: Setup) -> tuple[Uncertain | None, str]:
    """Give the density of the air at the stand, or why there is none."""
    if setup.density_kg_m3 is not None:
        if setup.density_std_kg_m3 is None:
            return None, "no uncertainty of the density: state density_std_kg_m3 in [thrust]"
        return (
            Uncertain.of(
                setup.density_kg_m3, setup.density_std_kg_m3, "kg/m³", source="air density"
            ),
            "",
        )
    if setup.pressure_hpa is None or setup.temperature_c is None:
        return None, "no density of the air: state pressure_hpa and temperature_c in [thrust]"
    known = setup.humidity_pct is not None
    air = moist_air(
        setup.pressure_hpa * 100,
        setup.temperature_c + ZERO_CELSIUS_K,
        (setup.humidity_pct or 0.0) / 100 if known else HUMIDITY,
        pressure_std_pa=setup.pressure_std_hpa * 100,
        temperature_std_k=setup.temperature_std_c,
        humidity_std=setup.humidity_std_pct / 100 if known else HUMIDITY_STD,
    )
    return air, ""


def diameter_of(setup: Setup) -> tuple[Uncertain | None, str]:
    """Give the diameter of the propeller, or why there is none."""
    if setup.diameter_m is None:
        return None, "no diameter of the propeller: state diameter_m in [thrust]"
    if setup.diameter_std_m is None:
        return None, "no uncertainty of the diameter: state diameter_std_m in [thrust]"
    return (
        Uncertain.of(setup.diameter_m, setup.diameter_std_m, "m", source="propeller diameter"),
        "",
    )
