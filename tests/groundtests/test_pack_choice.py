"""Battery against payload, and real packs: against the worked optimum and against plain search."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from flightlog.errors import NotEnoughDataError
from flightlog.groundtests.draws import Known
from flightlog.groundtests.limits_of_choice import FITS, OPEN, OUT
from flightlog.groundtests.pack_choice import (
    BATTERY,
    BOTH,
    EVEN,
    PAYLOAD,
    Pack,
    PackTask,
    battery_for,
    best_split,
    choose_pack,
)

USABLE_J_KG = 150 * 0.8 * 3600


def split(**bounds):
    return best_split(12.0, 5.0, USABLE_J_KG, 0.5, 9.0, **bounds)


def test_the_worked_optimum():
    s = split()

    assert (3.5, 3.5, EVEN) == (s.battery_kg, s.payload_kg, s.binds)
    assert 57.817909275848535 == pytest.approx(s.range_m / 1000)
    assert 202.36268246546987 == pytest.approx(s.score_kg_m / 1000)


@pytest.mark.parametrize(
    ("bounds", "battery", "payload", "binds"),
    [
        ({"most_battery_kg": 2.0}, 2.0, 5.0, BATTERY),
        ({"most_payload_kg": 2.0}, 5.0, 2.0, PAYLOAD),
        ({"most_battery_kg": 4.0, "most_payload_kg": 4.0}, 3.5, 3.5, EVEN),
        ({"most_battery_kg": 4.5, "most_payload_kg": 3.0}, 4.0, 3.0, PAYLOAD),
        ({"most_battery_kg": 2.0, "most_payload_kg": 2.0}, 2.0, 2.0, BOTH),
    ],
)
def test_bounds_take_over_where_they_come_first(bounds, battery, payload, binds):
    s = split(**bounds)

    assert (battery, payload, binds) == (s.battery_kg, s.payload_kg, s.binds)
    assert s.gross_kg == 5.0 + battery + payload


@given(st.floats(0.2, 8), st.floats(0.2, 8), st.floats(0.5, 9))
def test_no_other_split_scores_more(most_battery, most_payload, empty):
    s = best_split(
        12.0,
        empty,
        USABLE_J_KG,
        0.5,
        9.0,
        most_battery_kg=most_battery,
        most_payload_kg=most_payload,
    )
    battery, payload = np.meshgrid(
        np.linspace(0, min(most_battery, 12 - empty), 60),
        np.linspace(0, min(most_payload, 12 - empty), 60),
    )
    score = battery * payload / (empty + battery + payload)
    score[battery + payload > 12 - empty] = 0

    mine = s.battery_kg * s.payload_kg / s.gross_kg
    assert mine >= score.max() * (1 - 1e-9)
    assert s.gross_kg <= 12 + 1e-9


def test_a_given_distance_takes_its_battery_and_nothing_more():
    # The range of 3.5 kg, and the other way.
    need = battery_for(57817.909275848535, 12.0, USABLE_J_KG, 0.5, 9.0)
    kept = battery_for(57817.909275848535, 12.0, USABLE_J_KG, 0.5, 9.0, reserve=0.2)

    assert 3.5 == pytest.approx(need)
    assert 3.5 / 0.8 == pytest.approx(kept)


def test_nothing_left_to_split_is_refused():
    with pytest.raises(NotEnoughDataError, match="leave nothing"):
        best_split(5.0, 5.0, USABLE_J_KG, 0.5, 9.0)


TASK = PackTask(
    gross_kg=Known(8.6),
    empty_kg=Known(5.2, 0.01),
    distance_m=8000,
    wh_per_km=Known(6.0, 0.3),
    overhead_wh=Known(8.0, 1.0),
    reserve=0.2,
    current_a=Known(42.0, 1.0),
    unit_kg=0.30,
    nominal_wh=100.0,
    full_v=25.3,
)
SMALL = Pack("3.0 Ah", Known(0.46, 0.005), Known(58.0, 1.5), 66.6, 25.2, 75)
MIDDLE = Pack("4.0 Ah", Known(0.61, 0.005), Known(79.0, 1.5), 88.8, 25.2, 100)
LARGE = Pack("5.0 Ah", Known(0.78, 0.005), Known(99.0, 1.5), 111.0, 25.2, 125)


def test_the_lightest_pack_that_holds_the_distance_carries_the_most():
    # Needed: 8 + 48 Wh above a reserve of a fifth, 70 Wh; the small one has 58, the large one 111
    # on its label where 100 is allowed.
    choice = choose_pack(TASK, [SMALL, MIDDLE, LARGE])

    assert {w.name: w.state for w in choice.packs} == {"3.0 Ah": OUT, "4.0 Ah": FITS, "5.0 Ah": OUT}
    assert "4.0 Ah" == choice.best
    middle = choice.packs[1]
    assert 8.6 - 5.2 - 0.61 == pytest.approx(middle.figures["payload_kg"].value, abs=1e-3)
    assert math.floor((8.6 - 5.2 - 0.61 - 1.645 * math.hypot(0.01, 0.005)) / 0.30) == middle.units
    assert 79 * 0.8 - 56 == pytest.approx(middle.figures["energy_left_wh"].value, abs=0.1)
    left = math.hypot(0.8 * 1.5, 8 * 0.3, 1.0)
    assert left == pytest.approx(np.std(middle.figures["energy_left_wh"].draws), rel=0.05)
    assert (79 * 0.8 - 8) / 6 == pytest.approx(middle.figures["distance_km"].value, rel=0.01)


def test_without_the_bound_of_the_book_the_larger_holds_too_and_carries_less():
    choice = choose_pack(replace(TASK, nominal_wh=None), [MIDDLE, LARGE])

    assert "4.0 Ah" == choice.best
    assert () == choice.as_good
    assert {FITS} == {w.state for w in choice.packs}
    assert {""} == {w.beaten_by for w in choice.packs}  # one carries more, the other reaches more


def test_heavier_for_less_is_beaten():
    old = Pack("old", Known(0.70, 0.005), Known(70.0, 1.5), 88.8, 25.2, 100)
    choice = choose_pack(replace(TASK, distance_m=4000), [MIDDLE, old])

    assert "4.0 Ah" == choice.packs[1].beaten_by


def test_a_distance_that_is_held_by_a_hair_is_not_shown():
    choice = choose_pack(replace(TASK, distance_m=9200), [MIDDLE])

    assert OPEN == choice.packs[0].state
    assert "" == choice.best


def test_what_is_not_stated_is_not_assessable():
    bare = PackTask(gross_kg=Known(8.6), empty_kg=Known(5.2))
    choice = choose_pack(bare, [Pack("x", Known(0.6), Known(80.0))])

    whys = {j.demand.figure: j.why for j in choice.packs[0].demands if j.word == "not assessable"}
    assert {"energy_left_wh", "current_a"} == set(whys)
    assert "wh_per_km" in whys["energy_left_wh"]
    assert OPEN == choice.packs[0].state
    assert choice.packs[0].units is None
