"""The tables of a bench file that one kind of test has for itself: ``[thrust]`` and the like.

The keys of a table are the fields of the ``Setup`` of its module in `flightlog.groundtests`.
"""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import Field, Strict

from flightlog.team_files.checking import Slug, Table

# --- thrust: thrust stand


class KnownLoad(Table):
    """One reading of a calibration: ``{ mass_kg = 1.0, reading_n = 9.79 }``, in the order read."""

    mass_kg: float | None = Field(default=None, ge=0, le=1000)
    load_n: float | None = Field(default=None, ge=-10000, le=10000)
    reading_n: float = Field(ge=-100000, le=100000, description="what the stand read, in N")


class KnownTorque(Table):
    """One reading of a calibration: ``{ mass_kg = 0.2, reading_nm = 0.295 }`` on the arm."""

    mass_kg: float | None = Field(default=None, ge=0, le=1000)
    load_nm: float | None = Field(default=None, ge=-1000, le=1000)
    reading_nm: float = Field(ge=-10000, le=10000, description="what the stand read, in N·m")


def _std(most: float, of: str) -> Any:
    return Field(default=None, ge=0, le=most, description=f"standard uncertainty of {of}")


class ThrustBench(Table):
    """``[thrust]``.

    ::

        diameter_m = 0.4064         # of the propeller
        diameter_std_m = 0.0005
        blades = 2
        pole_pairs = 7              # 1 where the stand has divided the electrical speed already
        pressure_hpa = 968.2        # at the stand, not reduced to sea level
        temperature_c = 17.5
        humidity_pct = 62
        thrust_std_pct = 0.5        # how right the stand is, by its calibration
        torque_std_pct = 1.0
        speed_std_rpm = 10.0
        voltage_std_v = 0.02
        current_std_pct = 1.0
        full_scale_n = 50.0
        calibration = [             # known loads up and down, in place of thrust_std_...
            { mass_kg = 0.0, reading_n = 0.02 },
            { mass_kg = 2.0, reading_n = 19.55 },
            { mass_kg = 4.0, reading_n = 39.13 },
        ]
        load_std_pct = 0.1          # how right the loads are
    """

    diameter_m: float | None = Field(default=None, ge=0.02, le=3)
    diameter_std_m: float | None = _std(0.1, "the diameter, in m")
    blades: int | None = Field(default=None, ge=1, le=12)
    pole_pairs: int | None = Field(
        default=None, ge=1, le=60, description="pole pairs; 1 where the stand has divided already"
    )
    density_kg_m3: float | None = Field(default=None, ge=0.3, le=2)
    density_std_kg_m3: float | None = _std(0.5, "the density, in kg/m³")
    pressure_hpa: float | None = Field(
        default=None, ge=300, le=1100, description="pressure at the stand itself, in hPa"
    )
    pressure_std_hpa: float = Field(default=1.0, ge=0, le=50)
    temperature_c: float | None = Field(default=None, ge=-45, le=60)
    temperature_std_c: float = Field(default=1.0, ge=0, le=20)
    humidity_pct: float | None = Field(default=None, ge=0, le=100)
    humidity_std_pct: float = Field(default=5.0, ge=0, le=50)
    thrust_std_n: float | None = _std(1000, "the thrust, in N")
    thrust_std_pct: float | None = _std(100, "the thrust, in % of the reading")
    torque_std_nm: float | None = _std(1000, "the torque, in N·m")
    torque_std_pct: float | None = _std(100, "the torque, in % of the reading")
    speed_std_rpm: float | None = _std(10000, "the shaft's speed, in rpm")
    voltage_std_v: float | None = _std(100, "the voltage, in V")
    voltage_std_pct: float | None = _std(100, "the voltage, in % of the reading")
    current_std_a: float | None = _std(1000, "the current, in A")
    current_std_pct: float | None = _std(100, "the current, in % of the reading")
    power_std_pct: float | None = _std(100, "the electrical power, in % of the reading")
    full_scale_n: float | None = Field(
        default=None, gt=0, le=100000, description="the most that the thrust cell can read, in N"
    )
    full_scale_nm: float | None = Field(
        default=None, gt=0, le=10000, description="the most that the torque cell can read, in N·m"
    )
    arm_m: float | None = Field(
        default=None, gt=0, le=5, description="lever arm of the torque cell, in m"
    )
    arm_std_m: float | None = _std(1, "the arm, in m")
    calibration: list[KnownLoad] = Field(
        default_factory=list,
        max_length=200,
        description="known loads up and down, and readings",
        examples=["[{ mass_kg = 0.0, reading_n = 0.02 }, { mass_kg = 2.0, reading_n = 19.6 }]"],
    )
    torque_calibration: list[KnownTorque] = Field(
        default_factory=list,
        max_length=200,
        description="the same for the torque",
        examples=["[{ load_nm = 0.0, reading_nm = 0.0 }, { load_nm = 0.3, reading_nm = 0.295 }]"],
    )
    load_std_pct: float | None = _std(20, "the known loads, in %")
    tare_before_n: float | None = Field(
        default=None,
        ge=-10000,
        le=10000,
        description="reading at rest before, in N, where the file has none",
    )
    tare_after_n: float | None = Field(default=None, ge=-10000, le=10000, description="and after")
    tare_std_n: float | None = _std(1000, "the readings at rest, in N")
    tare_before_nm: float | None = Field(
        default=None, ge=-1000, le=1000, description="reading at rest before, in N·m"
    )
    tare_after_nm: float | None = Field(default=None, ge=-1000, le=1000, description="and after")
    tare_std_nm: float | None = _std(1000, "the readings at rest, in N·m")
    rest_pulse_us: float | None = Field(
        default=None, ge=500, le=2500, description="pulse at and below which the motor stands"
    )
    transient_s: float | None = Field(
        default=None,
        ge=0,
        le=600,
        description="left out after each change of the throttle; found from the data without it",
    )
    settled_s: float = Field(
        default=3.0, gt=0, le=600, description="how long each step has to be settled"
    )


# --- discharge: discharge of a pack


_ShareStd = Annotated[float, Field(ge=0, le=0.5)]


class DischargeBench(Table):
    """``[discharge]``; the words of `flightlog.groundtests.discharge.Setup`."""

    cells: int | None = Field(default=None, ge=1, le=28, description="cells in series, 1 to 28")
    cutoff_cell_v: float | None = Field(
        default=None,
        ge=0.5,
        le=4.5,
        description="the voltage per cell under load at which it ends, the maker's cut-off",
    )
    charged_cell_v: float | None = Field(
        default=None,
        ge=1.0,
        le=5.0,
        description="the voltage per cell to which the pack was charged before",
    )
    nominal_capacity_ah: float | None = Field(
        default=None, gt=0, le=200, description="the capacity in Ah printed on the pack"
    )
    mass_kg: float | None = Field(default=None, gt=0, le=50, description="the mass in kg")
    mass_std_kg: float | None = Field(
        default=None, ge=0, le=5, description="the standard uncertainty of the mass in kg"
    )
    reserve_share: float | None = Field(
        default=None, ge=0, le=0.9, description="the share of its energy left at landing, 0 to 0.9"
    )
    ambient_c: float | None = Field(
        default=None, ge=-40, le=60, description="the temperature of the room in °C"
    )
    current_scale_std: _ShareStd | None = Field(
        default=None,
        description="the standard uncertainty of the current's scale as a share, 0.01 for 1 %",
    )
    voltage_scale_std: _ShareStd | None = Field(
        default=None,
        description="the standard uncertainty of the voltage's scale as a share, 0.002 for 0.2 %",
    )
    current_zero_std_a: float | None = Field(
        default=None,
        ge=0,
        le=20,
        description="the standard uncertainty in A of the current's zero, for a log without rest",
    )
    cell_std_v: float | None = Field(
        default=None, ge=0, le=0.5, description="the standard uncertainty in V of a cell's reading"
    )
    temperature_std_k: float | None = Field(
        default=None, ge=0, le=20, description="the standard uncertainty in K of a rise"
    )


# --- video: a picture of the wing tip

_Place = Annotated[list[Annotated[float, Field(ge=0, le=20000)]], Field(min_length=2, max_length=2)]


class VideoBench(Table):
    """``[ringdown.video]``; places are pixels of the first picture: to the right, down."""

    marker_px: _Place | None = Field(
        default=None, description="the middle of the marker, [to the right, down]"
    )
    marker_size_px: int | None = Field(
        default=None, ge=7, le=401, description="the side of the square to follow, 7 to 401 pixels"
    )
    ref_px: _Place | None = Field(
        default=None, description="a place that stands still, [to the right, down]"
    )
    scale_from_px: _Place | None = Field(
        default=None, description="one end of the known length, [to the right, down]"
    )
    scale_to_px: _Place | None = Field(
        default=None, description="its other end, [to the right, down]"
    )
    scale_length_m: float | None = Field(
        default=None, ge=1e-4, le=100, description="a length near the tip, 0.0001 to 100 m"
    )
    scale_length_std_m: float | None = Field(
        default=None, ge=0, le=10, description="its standard uncertainty, 0 to 10 m"
    )
    direction: Literal["vertical", "horizontal", "main"] = Field(
        default="vertical", description="which motion counts: vertical, horizontal or main"
    )
    capture_rate_hz: float | None = Field(
        default=None, ge=1, le=100000, description="pictures a second while it was recorded"
    )
    nothing_above_hz: float | None = Field(
        default=None,
        gt=0,
        le=10000,
        description="nothing on the part rings faster, in Hz, as a faster sensor or camera showed",
    )


# --- ringdown: ring-down of a wing or tail


class EarlierRing(Table):
    """``[ringdown.baseline.first]``: one oscillation of an earlier test."""

    frequency_hz: float | None = Field(
        default=None, gt=0, le=1e4, description="its natural frequency in Hz"
    )
    frequency_std_hz: float | None = Field(
        default=None, ge=0, le=1e3, description="the standard uncertainty of it in Hz"
    )
    damping_percent: float | None = Field(
        default=None, gt=0, le=100, description="its damping ratio in %"
    )
    damping_std_percent: float | None = Field(
        default=None, ge=0, le=100, description="the standard uncertainty of it in %"
    )
    amplitude_mm: float | None = Field(
        default=None, gt=0, le=1e5, description="the amplitude in mm at which the damping holds"
    )
    mass_kg: float | None = Field(
        default=None, gt=0, le=1000, description="the mass in kg of what was tested"
    )


_Window = Annotated[
    list[Annotated[float, Field(ge=-1e9, le=1e9)]], Field(min_length=2, max_length=2)
]


class RingdownBench(Table):
    """``[ringdown]``.

    ::

        lowest_hz = 2.0             # where oscillations are looked for
        highest_hz = 40.0
        most_modes = 2              # 1 to 4
        mains_hz = 50.0             # 50 and 60 are both looked for where it is left out
        windows_s = [[12.4, 16.0], [31.0, 34.5]]    # in place of what would be found
        mass_kg = 7.9               # of what was tested, as it was
        baseline.first = { frequency_hz = 6.52, frequency_std_hz = 0.02, damping_percent = 1.8,
                           damping_std_percent = 0.1, amplitude_mm = 4.0, mass_kg = 7.9 }
    """

    lowest_hz: float = Field(
        default=1.0, gt=0, le=1e3, description="the lowest frequency in Hz that is looked for"
    )
    highest_hz: float = Field(
        default=100.0, gt=0, le=1e4, description="the highest frequency in Hz that is looked for"
    )
    most_modes: int = Field(
        default=3, ge=1, le=4, description="how many oscillations are looked for, 1 to 4"
    )
    mains_hz: float | None = Field(
        default=None, ge=10, le=500, description="the frequency of the mains in Hz"
    )
    windows_s: Annotated[list[_Window], Field(max_length=50)] = Field(
        default_factory=list,
        description="pairs of start and end in s, by the clock of the file",
        examples=["[[12.4, 16.0], [31.0, 34.5]]"],
    )
    mass_kg: float | None = Field(
        default=None, gt=0, le=1000, description="the mass in kg of what was tested"
    )
    baseline: dict[Literal["first", "second", "third", "fourth"], EarlierRing] = Field(
        default_factory=dict,
        description="oscillations of an earlier test, by name",
        examples=["{ first = { frequency_hz = 6.52, frequency_std_hz = 0.02 } }"],
    )
    video: VideoBench | None = Field(
        default=None,
        description="where the file is a video of the wing tip",
        examples=["{ marker_px = [610, 182] }"],
    )


# --- stiffness: static deflection under load


class StiffnessBench(Table):
    """``[stiffness]``.

    ::

        load_std_pct = 0.2          # how right the loads are, all together
        load_std_n = 0.01           # and each by itself
        deflection_std_pct = 0.5    # how right the scale of the gauge is
        reading_std_mm = 0.02       # of one reading; the scatter shows it where rows are many
        gravity_m_s2 = 9.812        # where masses are hung on
        length_m = 1.00             # fixed end to load: for EI
        length_std_m = 0.002
        tip_mass_kg = 0.10          # for the frequency
        wing_mass_kg = 0.45
        limit_load_n = 45.0         # at this place
        semispan_m = 1.10
        baseline_n_m = 1081.0       # by an earlier test
        baseline_std_n_m = 6.0
    """

    load_std_pct: float | None = _std(50, "all loads together, in %")
    load_std_n: float | None = _std(1000, "each load by itself, in N")
    deflection_std_pct: float | None = _std(50, "the scale of the gauge, in %")
    reading_std_mm: float | None = _std(100, "one reading of the gauge, in mm")
    gravity_m_s2: float | None = Field(
        default=None, ge=9.7, le=9.9, description="gravity at the place in m/s², 9.7 to 9.9"
    )
    length_m: float | None = Field(
        default=None, gt=0, le=20, description="from the fixed end to the load in m"
    )
    length_std_m: float = Field(default=0.0, ge=0, le=1, description="its standard uncertainty")
    tip_mass_kg: float | None = Field(
        default=None, ge=0, le=100, description="mass at the tip in kg, 0 where there is none"
    )
    tip_mass_std_kg: float = Field(default=0.0, ge=0, le=10, description="its std in kg")
    wing_mass_kg: float | None = Field(
        default=None, ge=0, le=100, description="mass from the fixed end to the tip in kg"
    )
    wing_mass_std_kg: float = Field(default=0.0, ge=0, le=10, description="its std in kg")
    limit_load_n: float | None = Field(
        default=None, gt=0, le=1e5, description="the load here that stands for limit load, in N"
    )
    semispan_m: float | None = Field(default=None, gt=0, le=20, description="half the span in m")
    baseline_n_m: float | None = Field(
        default=None, gt=0, le=1e9, description="stiffness by an earlier test in N/m"
    )
    baseline_std_n_m: float = Field(
        default=0.0, ge=0, le=1e9, description="its standard uncertainty in N/m"
    )


# --- weighing: aircraft on scales


class WeighingBench(Table):
    """``[weighing]``.

    ::

        reading_std_kg = 0.005      # of one scale; without both the figures are withheld
        arm_std_m = 0.001           # of its place
        lemac_m = 0.350             # leading edge of the mean aerodynamic chord, aft of the datum
        lemac_std_m = 0.001
        mac_m = 0.260
        mac_std_m = 0.001
        empty = true                # without payload: load sheets start from this weighing
        with_pack = "pack-a"        # the pack that was on board then; it is taken off again
        [weighing.places]           # where the file does not say: arm aft, side to the right
        nose = [-0.020, 0.0]
    """

    reading_std_kg: float | None = _std(1, "one scale, in kg")
    arm_std_m: float | None = _std(0.1, "arm and side of a scale, in m")
    places: dict[
        str,
        Annotated[
            tuple[Annotated[float, Field(ge=-10, le=10)], Annotated[float, Field(ge=-10, le=10)]],
            Strict(False),
        ],
    ] = Field(
        default_factory=dict,
        description="name of a scale and its [arm aft of the datum, side to the right] in m",
        examples=["{ nose = [-0.02, 0.0] }"],
    )
    lemac_m: float | None = Field(
        default=None, ge=-10, le=10, description="leading edge of the chord, aft of the datum, in m"
    )
    lemac_std_m: float = Field(default=0.0, ge=0, le=1, description="its standard uncertainty in m")
    mac_m: float | None = Field(
        default=None, gt=0, le=5, description="the mean aerodynamic chord, in m"
    )
    mac_std_m: float = Field(default=0.0, ge=0, le=1, description="its standard uncertainty in m")
    empty: bool = Field(
        default=False, description="true without payload: load sheets start from such a weighing"
    )
    with_pack: Slug | None = Field(
        default=None, description="the pack that was on board of the empty aircraft, by its id"
    )


# --- linkage: servo and linkage


class LinkageBench(Table):
    """``[linkage]``.

    ::

        surface = "elevator"        # where the file does not name it
        angle_std_deg = 0.1         # of the gauge; without it the figures are withheld
        outputs = { elevator = 2 }  # for the lines of the aircraft file
    """

    surface: str | None = Field(
        default=None,
        min_length=1,
        max_length=40,
        description="name of the surface, where the file has no column for it",
    )
    angle_std_deg: float | None = Field(
        default=None,
        ge=0,
        le=30,
        description="standard uncertainty of the angle gauge in deg, by its data sheet or a check",
    )
    outputs: dict[str, Annotated[int, Field(ge=1, le=64)]] = Field(
        default_factory=dict,
        max_length=40,
        description="name of a surface and the number of its output, 1 to 64",
        examples=["{ elevator = 2 }"],
    )
