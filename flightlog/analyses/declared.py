"""What the team declared: mass, payload, battery. Nothing here is measured."""

from __future__ import annotations

from flightlog.figures import Answer, Figure
from flightlog.inputs import Inputs
from flightlog.uncertain import Uncertain

EMPTY_MASS_STD_KG = 0.01
"""Standard uncertainty of the empty mass in the aircraft file: two scales' readings. [kg]"""

_SOURCES = ("declared",)


def answer(inputs: Inputs) -> Answer:
    """Give the declared figures, or what has to be declared to have them.

    Parameters
    ----------
    inputs : Inputs
        Mass option, aircraft file and payload units.
    """
    figures: dict[str, Figure] = {}
    withheld: dict[str, str] = {}
    for id_, found in (
        ("mass.takeoff", _takeoff_mass(inputs)),
        ("payload.mass", _payload_mass(inputs)),
        ("payload.units", _payload_units(inputs)),
        ("battery.nominal_energy", _nominal_energy(inputs)),
    ):
        if isinstance(found, str):
            withheld[id_] = found
        else:
            quantity, method = found
            figures[id_] = Figure(id_, quantity, method, _SOURCES)
    return Answer(figures, withheld)


_Found = tuple[Uncertain, str] | str

_SHEET = ", or release the flight with its load sheet"
"""What a flight of the record has instead of options."""


def _takeoff_mass(inputs: Inputs) -> _Found:
    if inputs.mass is None:
        return f"no take-off mass was given; give --mass KG{_SHEET}"
    mass = Uncertain.of(inputs.mass.kg, inputs.mass.std_kg, "kg", source="weighing")
    return mass, f"declared ({inputs.mass.source})"


def _payload_mass(inputs: Inputs) -> _Found:
    aircraft = inputs.aircraft
    lacking = []
    if inputs.mass is None:
        lacking.append("give --mass KG")
    if aircraft is None or aircraft.empty_kg is None:
        lacking.append("give the aircraft file with [mass] empty_kg")
    if inputs.mass is None or aircraft is None or aircraft.empty_kg is None:
        return f"payload is take-off mass less empty mass; {' and '.join(lacking)}"
    payload = inputs.mass.kg - aircraft.empty_kg
    if payload < 0:
        return (
            f"take-off mass {inputs.mass.kg:.2f} kg is below the empty mass "
            f"{aircraft.empty_kg:.2f} kg; check --mass and [mass] empty_kg"
        )
    sources = {"weighing": inputs.mass.std_kg, "empty mass": -EMPTY_MASS_STD_KG}
    return Uncertain(payload, sources, "kg"), "take-off mass less empty mass, both declared"


def _payload_units(inputs: Inputs) -> _Found:
    if inputs.payload_units is None:
        return f"no payload units were given; give --payload-units N{_SHEET}"
    return Uncertain(float(inputs.payload_units), {}, ""), "declared"


def _nominal_energy(inputs: Inputs) -> _Found:
    aircraft, pack = inputs.aircraft, inputs.pack
    if pack is not None and pack.nominal_wh is not None:
        return Uncertain(pack.nominal_wh, {}, "Wh"), "pack file"
    if aircraft is None or aircraft.battery_nominal_wh is None:
        return "no nominal battery energy was given; give it in the aircraft file"
    return Uncertain(aircraft.battery_nominal_wh, {}, "Wh"), "aircraft file"
