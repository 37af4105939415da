"""Writes what a team would give beside the sample logs: site, aircraft, index of the flights."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path
from typing import TYPE_CHECKING

from . import aircraft as ac
from .flight_truth import gate_deg
from .geodesy import Place

if TYPE_CHECKING:
    from .flights import Sample

RULES = "club_trial_2027.toml"
PACKS = {
    "heavy_misses_limit.bin": "pack_a.toml",
    "marginal.bin": "pack_b.toml",
    "calm.bin": "pack_b.toml",
    "headwind.bin": "pack_a.toml",
    "gusty_crosswind.bin": "pack_a.toml",
    "attempt_then_takeoff.bin": "pack_b.toml",
    "two_flights.bin": "pack_a.toml",
    "position_1hz_only.bin": "pack_b.toml",
    "radio_copy.tlog": "pack_a.toml",
}
"""Log -> file of the pack that was flown; the days of ``season.toml`` say the same."""

AIRCRAFT = """\
schema = "flightlog.aircraft/1"
id = "pannier"
serial = "PN-01"
configuration = "cargo-2"          # wing 2, wide bay
since = 2026-09-05
hours_before = 3.2                 # flown before the record began
landings_before = 14
autopilot_id = "Pannier PN-01"
lever_m = [0.10, 0.0, -0.33]       # GPS aerial from the main axle: forward, right, down
imu_lever_m = [0.065, 0.0, -0.225]  # inertial sensor, the same way

[mass]
empty_kg = 5.6
reference_kg = 8.0
payload_unit_kg = 0.30

[wing]
area_m2 = {area}
stall_speed_m_s = {stall:.1f}             # at reference mass, sea-level air

[battery]
cells = {cells}
nominal_wh = {energy}

[outputs.1]
name = "aileron"
sense = -1                         # a longer pulse lifts the right one's trailing edge
deflection = [[1100, 25.8], [1500, 0.0], [1900, -25.8]]  # pulse in us, trailing edge down in deg
[outputs.2]
name = "elevator"
sense = -1                         # a longer pulse lifts the trailing edge: nose up
deflection = [[1100, 25.8], [1500, 0.0], [1900, -25.8]]
[outputs.3]
name = "motor"
[outputs.4]
name = "rudder"
sense = -1                         # a longer pulse moves the trailing edge to the right

[motor]
blades = 2

[gear]
stroke_m = 0.06                    # from unloaded to its stop
efficiency = 0.5                   # a plain spring

[link]
planned_distance_m = 600.0
sensitivity_dbm = -108.0           # by the maker, at this rate
raw_scale = 0.5                    # dB for each count that the receiver logs
raw_offset_dbm = -147.5
frequency_hz = 868e6

[limits]
"flight.max_airspeed" = {{ at_most = 24.0, unit = "m/s" }}
"landing.sink_rate" = {{ at_most = 1.5, unit = "m/s" }}

[balance]
datum = "tip of the nose"          # arms count aft from there
mac_m = 0.26
lemac_m = 0.35
mac_std_m = 0.001
lemac_std_m = 0.001
envelope = [[4.8, 30.0], [4.8, 45.0], [8.0, 45.0], [10.0, 44.0], [10.0, 32.0], [8.0, 30.0]]

[stations.payload]
arm_m = 0.47
slip_m = 0.01
[stations.battery]
arm_m = 0.38
forward_m = 0.36
aft_m = 0.40

[weather]
wind_mean_m_s = 8.0
wind_gust_m_s = 11.0
crosswind_m_s = 4.0
temperature_min_c = -5.0
temperature_max_c = 40.0
valid_min = 60.0

[[task]]
id = "linkages"
title = "Linkages, servo gears and their screws"
events = ["surface-play", "surface-sense"]
every_hours = 5.0
every_landings = 20
every_days = 30.0
independent = true
list = "periodic"
item = "linkages"
[[task]]
id = "motor-mount"
title = "Motor bearings, mount and screws"
events = ["vibration"]
every_hours = 10.0
independent = true
list = "periodic"
item = "motor-mount"
[[task]]
id = "ring-down"
title = "Ring-down and stiffness of the wing against the baseline"
every_hours = 10.0
events = ["hard-landing", "repair"]
list = "periodic"
item = "ring-down"
[[task]]
id = "reweigh"
title = "Weighing and centre of gravity"
every_days = 365.0
events = ["repair", "configuration-change"]
independent = true
list = "periodic"
item = "reweigh"
[[task]]
id = "strip-down"
title = "Strip-down: spar, glue joints, skins"
every_hours = 25.0
every_days = 365.0
independent = true
list = "periodic"
item = "strip-down"
"""

SITE = """\
schema = "flightlog.site/1"
id = "top-field"

[runway]
start_deg = [{start[0]:.7f}, {start[1]:.7f}]
heading_deg = {heading}
slope = {slope}
surface = "mown grass"
length_m = 350.0                   # from the start line to where it ends

[gate]
left_deg = [{left[0]:.7f}, {left[1]:.7f}]
right_deg = [{right[0]:.7f}, {right[1]:.7f}]
"""

FLIGHT = """
[[flight]]
file = "{file}"
description = "{description}"
site = "site.toml"
aircraft = "pannier.toml"
pack = "{pack}"
rules = "{rules}"
mass_kg = {mass}
payload_units = {units}
"""


def write_inputs(folder: Path, samples: Iterable[Sample], place: Place, slope: float) -> None:
    """Write ``site.toml``, ``pannier.toml`` and ``index.toml`` into ``folder``."""
    left, right = gate_deg(place)
    site = SITE.format(start=[place.latitude, place.longitude], heading=place.heading,
                       slope=slope, left=left, right=right)  # fmt: skip
    aircraft = AIRCRAFT.format(
        area=ac.WING_AREA,
        stall=ac.stall_speed(8.0),
        cells=ac.CELLS,
        energy=ac.NOMINAL_ENERGY_WH,
    )
    index = 'schema = "flightlog.samples/1"\n'
    for sample in samples:
        index += FLIGHT.format(file=sample.file, description=sample.description, rules=RULES,
                               mass=sample.mass_kg, units=sample.units,
                               pack=PACKS[sample.file])  # fmt: skip
        if sample.given_wind:
            speed, origin = sample.given_wind
            index += f'wind = "{speed:g}@{origin:g}"  # by the mast, 2 m above the strip\n'
        if sample.transmitter:
            index += f'transmitter = "{sample.card_file}"  # of the same flight\n'
        if sample.given_air_c is not None:
            index += f"air_temperature_c = {sample.given_air_c:g}  # in the shade\n"
    for name, text in (("site", site), ("pannier", aircraft), ("index", index)):
        (folder / f"{name}.toml").write_text(text, encoding="utf-8", newline="\n")
