"""The sample flight and the card that its transmitter wrote, against the flight's truth."""

from __future__ import annotations

import json
from functools import cache

import pytest

import flightlog
from flightlog.debriefing import Debrief
from flightlog.resources import data_path


def sample(name: str):
    return data_path("sample_flights", name)


@cache
def joined() -> Debrief:
    """The flight as it would be without a battery monitor on board."""
    onboard = flightlog.read(sample("calm.bin")).without("battery", "link")
    (recording,) = flightlog.join([flightlog.read(sample("calm_transmitter.csv")), onboard])
    return flightlog.debrief(recording)


def test_the_offset_holds_the_true_one():
    truth = json.loads(sample("calm_transmitter.truth.json").read_text(encoding="utf-8"))
    card = flightlog.read(sample("calm_transmitter.csv")).receipt
    # The card's zero by its own clock, freed of the clock's error, on the log's clock.
    true = card.utc.offset_s - truth["clock_minus_utc_s"] - truth["utc_at_log_zero"]
    (partner,) = joined().receipt.partners

    assert partner.tables == ("battery", "link")
    assert partner.offset_s == pytest.approx(true, abs=1.96 * partner.offset_std_s)


@pytest.mark.parametrize(
    ("figure", "key", "factor"),
    [
        ("energy.used", "roll_to_end_J", 3600.0),
        ("charge.used", "charge_roll_to_end_mAh", 1000.0),
    ],
)
def test_energy_and_charge_from_the_card_hold_the_truth(figure, key, factor):
    truth = json.loads(sample("calm.truth.json").read_text(encoding="utf-8"))["energy"]
    (sortie,) = joined().sorties
    low, high = sortie.figures[figure].quantity.interval(0.95)

    assert low <= truth[key] / factor <= high


def test_the_roll_is_still_that_of_the_sensors_on_board():
    (sortie,) = joined().sorties
    (alone,) = flightlog.debrief(flightlog.read(sample("calm.bin"))).sorties

    roll = sortie.figures["takeoff.ground_roll"].quantity.value
    assert roll == pytest.approx(alone.figures["takeoff.ground_roll"].quantity.value, abs=0.3)
