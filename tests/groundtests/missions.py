"""A mission of the hill farm's cooperative, as people write it."""

from __future__ import annotations

MISSION = """\
schema = "flightlog.mission/1"
id = "probes-upper-field"
title = "Soil probes to the upper field"
objective = "energy"

[task]
mass_kg = 8.6
mass_kg_std = 0.02
empty_mass_kg = 5.2
empty_mass_kg_std = 0.01
payload_unit_kg = 0.30
cruise_m_s = 17.0
cruise_m_s_std = 0.5
climb_m_s = 15.0
laps = 3
lap_length_m = 2000
reserve_percent = 20
overhead_wh = 6.0
overhead_wh_std = 1.0

[air]
pressure_hpa = 986
temperature_c = 24
humidity_percent = 50
density_percent_std = 0.7

[aerodynamics]
wing_area_m2 = 0.55
cl_ground = 0.50
cd_ground = 0.055
cd_ground_std = 0.005
cl_liftoff = 1.24
cl_liftoff_std = 0.02
rolling_friction = 0.05
rolling_friction_std = 0.01
cd0 = 0.040
cd0_std = 0.003
induced = 0.050

[limits]
roll_m = 50
current_a = 60
pack_energy_wh = 100
shown_at = 0.95
source = "club rules 4.2"

[[propeller]]
name = "16x8"
diameter_in = 16
speed_rpm = 7000
speed_rpm_std = 20
voltage_v = 22.4
voltage_v_std = 0.1
drive_efficiency = 0.72
drive_efficiency_std = 0.015
cruise_drive_efficiency = 0.68
cruise_drive_efficiency_std = 0.02
curve = [[0, 0.0753, 0.0293], [0.2, 0.068, 0.0305], [0.4, 0.050, 0.0285], [0.7, 0.005, 0.012]]
ct_percent_std = 1.5
cp_percent_std = 2.0
hub_height_mm = 240
hub_height_mm_std = 2
max_rpm = 9060

[[propeller]]
name = "15x10"
diameter_in = 15
speed_rpm = 7300
speed_rpm_std = 20
voltage_v = 22.2
drive_efficiency = 0.71
cruise_drive_efficiency = 0.66
ct = 0.083
ct_percent_std = 1.5
cp = 0.041
cp_percent_std = 2.0
zero_thrust_j = 0.75
zero_thrust_j_std = 0.05
cruise_efficiency = 0.55
cruise_efficiency_std = 0.03
hub_height_mm = 240

[[pack]]
name = "3.0 Ah"
mass_kg = 0.46
usable_wh = 58
usable_wh_std = 1.5
nominal_wh = 66.6
full_v = 25.2
most_current_a = 75

[[pack]]
name = "4.0 Ah"
mass_kg = 0.61
usable_wh = 79
usable_wh_std = 1.5
nominal_wh = 88.8
full_v = 25.2
most_current_a = 100
"""


def stand_file(thrust_of_power: float, *, sweeps: int = 3, noise=None) -> str:
    """Write a stand's file: sweeps of steps whose thrust is a factor times power^(2/3).

    Parameters
    ----------
    thrust_of_power : float
        The factor. [N/W^(2/3)]
    sweeps : int
        How often it goes from 200 to 1000 W.
    noise : iterator of float, optional
        Relative error of each sweep.
    """
    rows = ["Time (s),Throttle (%),Thrust (N),Voltage (V),Current (A),Speed (RPM),Sweep"]
    now = 0.0

    def hold(*cells: float) -> None:
        nonlocal now
        for _ in range(25):
            rows.append(",".join(f"{x:.7g}" for x in (now, *cells)))
            now += 0.2

    for sweep in range(1, sweeps + 1):
        hold(0, 0, 23, 0, 0, sweep)
        factor = thrust_of_power * (1 + (next(noise) if noise is not None else 0.0))
        for step in range(5):
            power = 200.0 + 200.0 * step
            speed = 700 * power ** (1 / 3)
            hold(20 + 15 * step, factor * power ** (2 / 3), 22.0, power / 22, speed, sweep)
    hold(0, 0, 23, 0, 0, sweeps)
    return "\n".join(rows) + "\n"
