"""A stored debrief in words says the same as the debrief itself did."""

from __future__ import annotations

import pytest

from flightlog.contract import to_json
from flightlog.reports.numbers import figure_span, figure_value
from flightlog.reports.stored_words import (
    figure_parts,
    in_order,
    outcome_chance,
    outcome_source,
    outcome_text,
)
from tests.made_debriefs import made


def outcome(**changes):
    return {
        "limit": "takeoff-roll",
        "kind": "rule",
        "figure": "takeoff.ground_roll",
        "definition": None,
        "value": 28.9,
        "low": 27.8,
        "high": 30.1,
        "unit": "m",
        "outcome": "met",
        "probability": 0.998,
        "bound": {"op": "<=", "value": 40.0, "unit": "m"},
        "required_probability": 0.95,
        "source": "clause 4.2",
        **changes,
    }


def test_a_stored_figure_prints_as_the_figure_itself():
    debrief = made()
    stored = to_json(debrief)["sorties"][0]["figures"]
    for id_, figure in debrief.sorties[0].figures.items():
        value, unit, interval = figure_parts(id_, stored[id_])
        assert (figure_value(figure), figure_span(figure)) == (value, interval), id_
        assert stored[id_]["unit"] == unit


def test_directions_stay_within_the_circle():
    figure = {"value": 358.0, "low": 350.0, "high": 366.0, "unit": "deg"}
    assert ("358", "deg", "350 to 6") == figure_parts("wind.from_deg", figure)

    anywhere = {"value": 10.0, "low": -200.0, "high": 220.0, "unit": "deg"}
    assert ("10", "deg", "any direction") == figure_parts("wind.from_deg", anywhere)


def test_an_outcome_names_figure_number_and_bound_and_never_rounds_onto_the_bound():
    assert "Ground roll 28.9 m, at most 40 m" == outcome_text(outcome())
    assert "40.04 m" in outcome_text(outcome(value=40.04))
    least = outcome(bound={"op": ">=", "value": 20.0, "unit": "m"})
    assert outcome_text(least).endswith("at least 20 m")
    assert "by the limit's own definition" in outcome_text(outcome(definition={"start": "line"}))
    assert "is not known" in outcome_text(outcome(value=None))


def test_whose_limit_it_is_stands_beside():
    assert "takeoff-roll, clause 4.2" == outcome_source(outcome())
    own = outcome(
        kind="aircraft",
        limit="flight.max_airspeed",
        source='aircraft file, [limits] "flight.max_airspeed"',
    )
    assert 'aircraft file, [limits] "flight.max_airspeed"' == outcome_source(own)
    assert outcome_source(outcome(kind="aircraft", source="")).endswith("aircraft")


def test_the_chance_or_the_reason():
    assert "p 0.998, needs 0.95" == outcome_chance(outcome())
    missing = outcome(probability=None, outcome="not assessable", reason="the log has no gps")
    assert "the log has no gps" == outcome_chance(missing)


def test_the_worst_word_leads():
    words = ["met", "not assessable", "not shown", "not met"]
    found = in_order([outcome(outcome=word) for word in words])

    assert ["not met", "not shown", "not assessable", "met"] == [o["outcome"] for o in found]


@pytest.mark.parametrize("text", ["\x1b[31mred", "a‮b"])
def test_hostile_reasons_come_out_harmless(text):
    found = outcome_chance(outcome(probability=None, reason=text))
    assert not set("\x1b\u202e") & set(found)
