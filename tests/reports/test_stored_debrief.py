"""A debrief that was stored is told in the same words as the one that was just made."""

from __future__ import annotations

import json

import pytest

from flightlog.contract import dumps, to_json
from flightlog.reports.headline import headline, sortie_headline
from flightlog.reports.numbers import figure_span, figure_value
from flightlog.reports.stored_debrief import stored_sortie
from tests.made_debriefs import made


def stored(debrief, number=0):
    whole = json.loads(dumps(debrief))
    return stored_sortie(whole["sorties"][number], whole)


def test_the_sentence_is_the_same():
    debrief = made()
    found = stored(debrief)

    assert headline(debrief) == sortie_headline(found, found.of_log)


def test_numbers_and_intervals_are_the_same():
    debrief = made()
    found = stored(debrief)
    figures = debrief.sorties[0].figures

    assert list(figures) == list(found.figures)
    for id_, figure in figures.items():
        told = found.figures[id_]
        assert figure_value(figure) == figure_value(told), id_
        assert figure_span(figure) == figure_span(told), id_


def test_a_figure_of_a_newer_program_is_kept_as_it_is():
    whole = to_json(made())
    number = {"value": 3.0, "low": 2.0, "high": 4.0, "unit": "m", "method": "x", "sources": []}
    whole["sorties"][0]["figures"] = {
        "roll.of_tomorrow": number,
        "takeoff.ground_roll": number | {"unit": "ft"},
    }
    found = stored_sortie(whole["sorties"][0], whole)

    assert not found.figures
    assert ["roll.of_tomorrow", "takeoff.ground_roll"] == [id_ for id_, _ in found.strange]


@pytest.mark.parametrize("key", ["figures", "outcomes", "laps", "findings", "withheld"])
def test_what_is_not_of_its_shape_is_not_read(key):
    whole = to_json(made())
    broken = dict(whole["sorties"][0])
    del broken[key]

    assert stored_sortie(broken, whole) is None
    assert stored_sortie({**broken, key: 5}, whole) is None


def test_nothing_is_computed_from_what_was_not_stored():
    quantity = next(iter(stored(made()).figures.values())).quantity

    with pytest.raises(ValueError, match="not stored"):
        quantity.probability_below(1.0)
    with pytest.raises(ValueError, match="only the interval"):
        quantity.interval(0.9)
