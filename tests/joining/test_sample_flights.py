"""The sample flights: nine of one place and one pilot, and a transmitter's card of one of them."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

import sample_flights
from flightlog.importers import read
from flightlog.joining import group, join, sketch
from sample_flights.generator.flights import SAMPLES

FOLDER = Path(sample_flights.__file__).parent
CARD = "calm_transmitter.csv"


@pytest.fixture(scope="module")
def calm():
    return read(FOLDER / "calm.bin")


@pytest.fixture(scope="module")
def card():
    return read(FOLDER / CARD)


def true_offset_s(card) -> float:
    """What is added to the card's clock, from the generator's truth."""
    known = json.loads((FOLDER / "calm_transmitter.truth.json").read_text(encoding="utf-8"))
    assert card.receipt.utc.offset_s is not None
    return card.receipt.utc.offset_s - known["clock_minus_utc_s"] - known["utc_at_log_zero"]


def test_the_card_finds_its_flight_among_flights_that_look_alike():
    """One simulated pilot flies all of them; only date, and what differs in the air, tells."""
    names = [s.file for s in SAMPLES]
    sketches = [sketch(read(FOLDER / name), FOLDER / name) for name in (CARD, *names)]
    grouping = group(sketches)
    together = [{grouping.files[m] for m in g.members} for g in grouping.groups]

    assert {"calm.bin", CARD} in together
    assert len(together) == len(SAMPLES)
    assert not grouping.copies


def test_the_zone_nobody_wrote_down_and_the_slow_clock_are_found(calm, card):
    [joined] = join([card, calm])
    [partner] = joined.receipt.partners
    error = partner.offset_s - true_offset_s(card)

    assert abs(error) <= 1.96 * partner.offset_std_s
    # The link is late by half of its 0.44 s, up to 0.2 s in the air and up to a row: that is
    # part of the offset of the series, and the interval allows for it.
    assert -0.7 < error < 0.0
    assert partner.offset_std_s < 0.5


def test_without_the_flight_on_board_the_card_stands_by_itself(card):
    other = read(FOLDER / "position_1hz_only.bin")

    assert [len(r.receipt.partners) for r in join([card, other])] == [0, 0]


def test_what_the_log_on_board_lacks_comes_from_the_card(calm, card):
    lacking = calm.without("battery", "link", "inputs")
    [joined] = join([lacking, card])

    assert set(joined.receipt.partners[0].tables) == {"battery", "link", "inputs"}
    assert joined.receipt.chosen_instances.get("battery", 0) == 0
