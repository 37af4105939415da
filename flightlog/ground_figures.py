"""The dictionary of figures that are measured on the ground.

They are kept apart from those of flights (`flightlog.figures`), since no log gives them and no
debrief misses them. As there, an id has one definition for ever. A family stands for one figure of
many things: ``ringdown.NAME.frequency`` is that of whatever mode was found.
"""

from __future__ import annotations

from collections.abc import Iterable

from flightlog.figures import FigureKind, Kinds

GROUND_VERSION = 1
"""Rises whenever a figure's number can change for the same files."""


def _kind(id_: str, unit: str, decimals: int, label: str, definition: str) -> FigureKind:
    return FigureKind(id_, unit, label, definition, decimals)


def _kinds() -> Iterable[FigureKind]:
    # --- thrust: thrust stand
    yield _kind(
        "thrust.greatest",
        "N",
        2,
        "Greatest thrust",
        "mean thrust of the repeats of the highest settled step, in the air of the day",
    )
    yield _kind(
        "thrust.standard",
        "N",
        2,
        "Greatest thrust, standard air",
        "greatest thrust times 1.225 kg/m³ over the density of the day: that of the same shaft "
        "speed in standard air at sea level",
    )
    yield _kind(
        "thrust.ct",
        "",
        4,
        "Thrust coefficient",
        "T/(rho n² D⁴), n in turns a second, weighted mean of all settled steps",
    )
    yield _kind(
        "thrust.cp",
        "",
        4,
        "Power coefficient",
        "shaft power/(rho n³ D⁵) = 2 pi Q/(rho n² D⁵), weighted mean of all settled steps",
    )
    yield _kind(
        "thrust.figure_of_merit",
        "",
        3,
        "Figure of merit",
        "power of an ideal disc of this thrust and diameter over shaft power, at the highest "
        "settled step",
    )
    yield _kind(
        "thrust.drive_efficiency",
        "%",
        1,
        "Drive efficiency",
        "shaft power over electrical power at the controller, at the highest settled step",
    )
    yield _kind(
        "thrust.per_watt",
        "g/W",
        2,
        "Thrust per watt",
        "thrust in gram-force over electrical power, at the highest settled step",
    )
    yield _kind(
        "thrust.power_greatest",
        "W",
        1,
        "Greatest power",
        "electrical power at the controller, at the highest settled step",
    )
    yield _kind(
        "thrust.current_greatest",
        "A",
        2,
        "Greatest current",
        "drawn by the controller, mean at the highest settled step",
    )
    yield _kind(
        "thrust.speed_greatest",
        "rpm",
        0,
        "Greatest speed",
        "of the shaft, mean at the highest settled step",
    )
    yield _kind(
        "thrust.tip_mach",
        "",
        3,
        "Tip Mach number",
        "speed of the blade tip on the stand over that of sound, at the highest settled step",
    )
    yield _kind(
        "thrust.tare_drift",
        "%",
        2,
        "Drift of the zero",
        "last minus first thrust at rest over full scale, of the file where it is largest",
    )
    yield _kind(
        "thrust.scale",
        "",
        4,
        "Scale of the thrust cell",
        "known load over reading, slope of a straight line through the calibration",
    )
    # --- discharge: discharge of a pack
    yield _kind(
        "discharge.capacity",
        "Ah",
        2,
        "Capacity",
        "charge drawn from the full pack until its voltage under load is at the cut-off to stay",
    )
    yield _kind(
        "discharge.energy",
        "Wh",
        1,
        "Energy",
        "energy that the pack gave at its terminals over discharge.capacity",
    )
    yield _kind(
        "discharge.nominal_share",
        "%",
        0,
        "Share of nominal",
        "discharge.capacity over the capacity that is printed on the pack",
    )
    yield _kind(
        "discharge.mean_voltage",
        "V",
        2,
        "Mean voltage",
        "energy over charge from the load on to the cut-off, or to the end of the load before it",
    )
    yield _kind(
        "discharge.rate",
        "1/h",
        2,
        "Rate (C)",
        "mean current under load over the capacity that is printed on the pack",
    )
    yield _kind(
        "discharge.resistance",
        "ohm",
        4,
        "Resistance",
        "mean loss of voltage over the first second after a step of the current, for each ampere; "
        "of the whole pack at its terminals, above 30 % of charge where that is known",
    )
    yield _kind(
        "discharge.resistance_25c",
        "ohm",
        4,
        "Resistance at 25 °C",
        "discharge.resistance brought to a pack of 25 °C",
    )
    yield _kind(
        "discharge.energy_per_kg",
        "Wh/kg",
        0,
        "Energy per mass",
        "discharge.energy over the mass of the pack",
    )
    yield _kind(
        "discharge.usable_energy",
        "Wh",
        1,
        "Usable energy",
        "discharge.energy less the share of it that stays in the pack at landing",
    )
    yield _kind(
        "discharge.temperature_rise",
        "K",
        1,
        "Temperature rise",
        "highest temperature of the pack from the load on until 10 min after the end, less that "
        "when the load went on",
    )
    yield _kind(
        "discharge.cell_spread",
        "V",
        3,
        "Cell spread at the end",
        "highest less lowest cell under load, over the last 2 s of the discharge",
    )
    # --- ringdown: ring-down of a wing or tail
    yield _kind(
        "ringdown.NAME.frequency",
        "Hz",
        3,
        "Natural frequency",
        "undamped natural frequency of an oscillation in a free decay; first is the slowest of "
        "those found",
    )
    yield _kind(
        "ringdown.NAME.damping",
        "%",
        2,
        "Damping ratio",
        "share of critical damping of an oscillation in a free decay, at the amplitude that stands "
        "beside it",
    )
    yield _kind(
        "ringdown.NAME.amplitude",
        "mm",
        2,
        "Amplitude",
        "of the oscillation at the place of the sensor, where frequency and damping hold; half of "
        "peak to peak",
    )
    # --- stiffness: static deflection under load
    yield _kind(
        "stiffness.stiffness",
        "N/m",
        1,
        "Stiffness",
        "load over deflection of the loaded place: slope of the line through all loadings, each "
        "way with a start of its own, movement of the fixed end taken off where it was measured",
    )
    yield _kind(
        "stiffness.bending",
        "N·m²",
        1,
        "Bending stiffness EI",
        "stiffness times the cube of the length over 3: that of a uniform cantilever loaded at its "
        "end",
    )
    yield _kind(
        "stiffness.tip_frequency",
        "Hz",
        2,
        "Frequency from stiffness",
        "of the stiffness with the mass at the tip and 33/140 of the wing's mass",
    )
    yield _kind(
        "stiffness.hysteresis",
        "%",
        2,
        "Hysteresis",
        "area between the way up and the way down over half of load times deflection, mean of all "
        "loadings that go back to where they began",
    )
    yield _kind(
        "stiffness.set",
        "%",
        2,
        "Set",
        "what all loadings left of the deflection, read when the load is off again, over the "
        "greatest deflection",
    )
    yield _kind(
        "stiffness.change_with_load",
        "%",
        1,
        "Change of stiffness with load",
        "stiffness at the greatest load over that at no load, less 100 %, by a curve of second "
        "order",
    )
    yield _kind("stiffness.greatest_load", "N", 1, "Greatest load", "the largest load of the test")
    yield _kind(
        "stiffness.greatest_deflection",
        "mm",
        2,
        "Greatest deflection",
        "at the greatest load, from that at the start of the same loading",
    )
    yield _kind(
        "stiffness.load_share",
        "%",
        1,
        "Load reached",
        "greatest load over the limit load that the bench file states for this place",
    )
    yield _kind(
        "stiffness.deflection_share",
        "%",
        2,
        "Deflection at limit load",
        "of the loaded place at the limit load, over the semispan",
    )
    # --- weighing: aircraft on scales
    yield _kind("weighing.mass", "kg", 3, "Mass", "sum of what the scales bear, tares taken off")
    yield _kind(
        "weighing.arm", "m", 4, "Centre of gravity", "aft of the datum of the aircraft's file"
    )
    yield _kind("weighing.side", "mm", 1, "Centre of gravity, to the right", "of the middle")
    yield _kind(
        "weighing.balance",
        "%",
        2,
        "Balance",
        "centre of gravity behind the leading edge of the mean aerodynamic chord, over that chord",
    )
    yield _kind(
        "weighing.third_wheel",
        "%",
        1,
        "Share of nose or tail wheel",
        "of the mass, borne by the one of three wheels that stands by itself",
    )
    # --- linkage: servo and linkage
    yield _kind(
        "linkage.NAME.gain",
        "deg/us",
        5,
        "Deflection per pulse",
        "slope of the straight line of least squares through the deflections of all pulses, each "
        "the middle of both ways; trailing edge down (rudder: left) positive",
    )
    yield _kind(
        "linkage.NAME.play",
        "deg",
        2,
        "Play on the ground",
        "whole width of the free movement of the surface with the pulse held, from light pushes "
        "both ways, mean over the pulses; what the push bends is in it unless pushes of two sizes "
        "tell it apart. The play of a flight (surface.NAME.play) is a whole width, too, and holds "
        "the servo's own dead band besides",
    )
    yield _kind(
        "linkage.NAME.hysteresis",
        "deg",
        2,
        "Hysteresis",
        "by how much the surface stands elsewhere where a pulse was reached from the other side, "
        "lagging positive, mean over the pulses: the play as far as friction holds the surface in "
        "it, and the servo's own dead band",
    )
    yield _kind(
        "linkage.NAME.travel_up",
        "deg",
        2,
        "Travel, trailing edge up",
        "greatest deflection with the trailing edge up (rudder: right), middle of both ways, "
        "from where the gauge reads 0",
    )
    yield _kind(
        "linkage.NAME.travel_down",
        "deg",
        2,
        "Travel, trailing edge down",
        "greatest deflection with the trailing edge down (rudder: left), middle of both ways, "
        "from where the gauge reads 0",
    )
    yield _kind(
        "linkage.NAME.neutral",
        "us",
        1,
        "Neutral pulse",
        "pulse at which the gauge reads 0, middle of both ways",
    )


GROUND_FIGURES = Kinds(_kinds())
"""Figure id -> what it means."""
