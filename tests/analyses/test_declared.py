import pytest

from flightlog.analyses import declared
from flightlog.inputs import Aircraft, Inputs, Mass, Pack

PANNIER = Aircraft("pannier", "", empty_kg=5.6, battery_nominal_wh=88.8)


def test_all_is_declared():
    answer = declared.answer(
        Inputs(aircraft=PANNIER, mass=Mass(8.0, 0.05, "option"), payload_units=8)
    )
    values = {k: f.quantity.value for k, f in answer.figures.items()}
    assert values == {
        "mass.takeoff": 8.0,
        "payload.mass": pytest.approx(2.4),
        "payload.units": 8.0,
        "battery.nominal_energy": 88.8,
    }
    assert {f.sources for f in answer.figures.values()} == {("declared",)}
    assert not answer.withheld


def test_the_energy_is_that_of_the_pack_that_was_flown():
    flown = declared.answer(Inputs(aircraft=PANNIER, pack=Pack("pack-a", "", nominal_wh=66.6)))
    assert flown.figures["battery.nominal_energy"].quantity.value == 66.6
    unsaid = declared.answer(Inputs(aircraft=PANNIER, pack=Pack("pack-a", "")))
    assert unsaid.figures["battery.nominal_energy"].quantity.value == 88.8


def test_an_error_of_the_mass_is_one_error():
    answer = declared.answer(Inputs(aircraft=PANNIER, mass=Mass(8.0, 0.05, "option")))
    empty = answer.figures["mass.takeoff"].quantity - answer.figures["payload.mass"].quantity
    assert empty.value == pytest.approx(5.6)
    assert empty.std == pytest.approx(0.01)


@pytest.mark.parametrize(
    ("inputs", "figure", "reason"),
    [
        (Inputs(), "mass.takeoff", "--mass"),
        (Inputs(), "payload.mass", "give --mass KG and give the aircraft file"),
        (Inputs(mass=Mass(8, 0.05, "option")), "payload.mass", "[mass] empty_kg"),
        (Inputs(aircraft=PANNIER), "payload.mass", "--mass"),
        (Inputs(), "payload.units", "--payload-units"),
        (Inputs(), "battery.nominal_energy", "aircraft file"),
        (
            Inputs(aircraft=PANNIER, mass=Mass(5.0, 0.05, "option")),
            "payload.mass",
            "5.00 kg is below the empty mass 5.60 kg",
        ),
    ],
)
def test_reasons_name_what_unlocks(inputs, figure, reason):
    answer = declared.answer(inputs)
    assert figure not in answer.figures
    assert reason in answer.withheld[figure]
