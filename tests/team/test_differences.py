"""How two versions of a file differ, and which of the differences are limits."""

from __future__ import annotations

import tomllib
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from flightlog.logbook.flying_kinds import FILE_KINDS
from flightlog.team.differences import FREE, WITHOUT_LIMITS, Difference, differences, is_limit
from flightlog.team_files.reading import table_of

ROOT = Path(__file__).parents[2]


def told(kind: str, before: dict[str, Any], after: dict[str, Any]) -> list[tuple[Any, ...]]:
    return [(d.key, d.before, d.after, d.limit) for d in differences(kind, before, after)]


# --- what differs


def test_keys_are_named_by_their_tables_and_limits_come_first():
    before = {"serial": "PN-01", "limits": {"flight.max_airspeed": {"at_most": 24.0}}}
    after = {"serial": "PN-02", "limits": {"flight.max_airspeed": {"at_most": 26.0}}}

    assert [
        ('limits."flight.max_airspeed".at_most', "24.0", "26.0", True),
        ("serial", '"PN-01"', '"PN-02"', False),
    ] == told("aircraft", before, after)


def test_tables_of_a_list_are_matched_by_their_id():
    one = {"id": "a", "every_hours": 5.0}
    two = {"id": "b", "every_hours": 10.0}
    changed = {"id": "b", "every_hours": 12.0}

    assert [("task.b.every_hours", "10.0", "12.0", True)] == told(
        "pack", {"task": [one, two]}, {"task": [one, changed]}
    )


def test_another_order_of_tables_is_told_and_is_no_limit():
    one, two = {"id": "a", "role": "pilot"}, {"id": "b", "role": "pilot"}

    assert [("item (order)", '["a", "b"]', '["b", "a"]', False)] == told(
        "checklist", {"item": [one, two]}, {"item": [two, one]}
    )


def test_a_table_of_a_list_that_is_gone_or_new_is_one_difference():
    one = {"id": "a", "role": "pilot"}

    assert [("item.a", '{id = "a", role = "pilot"}', None, True)] == told(
        "checklist", {"item": [one]}, {"item": []}
    )
    assert [("item.a", None, '{id = "a", role = "pilot"}', True)] == told(
        "checklist", {}, {"item": [one]}
    )


@pytest.mark.parametrize(
    "tables",
    [[{"id": "a"}, {"id": "a"}], [{"role": "pilot"}], [{"id": 3}]],
    ids=["twice", "without", "no text"],
)
def test_tables_that_can_not_be_told_apart_are_compared_as_a_whole(tables):
    (found,) = differences("checklist", {"item": tables}, {"item": [*tables, {"id": "z"}]})

    assert ("item", True) == (found.key, found.limit)


@pytest.mark.parametrize(
    ("one", "other", "differ"),
    [
        (6, 6.0, False),
        (0.0, -0.0, False),
        (1, True, True),
        (False, 0, True),
        ([1, 2], [2, 1], True),
        ([[4.8, 30.0]], [[4.8, 30]], False),
        (date(2026, 9, 5), date(2026, 9, 6), True),
        ("x", ["x"], True),
        ({}, 0, True),
    ],
)
def test_values_are_compared_by_what_they_mean(one, other, differ):
    assert differ == bool(differences("pack", {"cells": one}, {"cells": other}))


def test_layout_and_comments_are_no_difference():
    one = tomllib.loads('[limits]\n"a.b" = { at_most = 24.0, unit = "m/s" } # so fast\n')
    other = tomllib.loads('limits."a.b".unit = "m/s"\nlimits."a.b".at_most = 24\n')

    assert () == differences("aircraft", one, other)


def test_a_table_in_the_place_of_a_value_is_a_difference_of_the_whole():
    assert [("life", "0", "{hours = 3}", True)] == told("pack", {"life": 0}, {"life": {"hours": 3}})


def test_long_values_are_cut_to_where_they_differ():
    before = [[float(n), 30.0] for n in range(40)]
    after = [*before[:-1], [39.0, 31.0]]

    (found,) = differences(
        "aircraft", {"balance": {"envelope": before}}, {"balance": {"envelope": after}}
    )
    assert "39.0, 30.0]]" in found.before
    assert "39.0, 31.0]]" in found.after
    assert len(found.before) < 200


def test_a_number_of_thousands_of_digits_is_told():
    (found,) = differences("pack", {}, tomllib.loads(f"cells = 0x{'f' * 9000}"))

    assert found.after.startswith("0xffff")


@given(
    st.recursive(
        st.none() | st.booleans() | st.integers() | st.floats() | st.text(),
        lambda inner: (
            st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=4), inner, max_size=3)
        ),
        max_leaves=8,
    ),
    st.sampled_from(FILE_KINDS),
)
@settings(deadline=None)
def test_any_value_can_be_told_in_a_bounded_text(value, kind):
    for found in differences(kind, {}, {"x": value}):
        assert isinstance(found, Difference)
        assert len(found.after or "") <= 160


# --- what is a limit

# The same question answered by hand, from what each key does.
BOUNDS = {
    "aircraft": [
        "limits.f.at_most",
        "limits.f.unit",
        "limits.f.shown_at",
        "balance.envelope",
        "balance.lemac_m",
        "stations.payload.slip_m",
        "weather.crosswind_m_s",
        "life.hours",
        "task.linkages.every_hours",
        "task.linkages.independent",
        "mass.empty_kg",
        "battery.cells",
        "wing.stall_speed_m_s",
        "hours_before",
        "since",
        "some_new_key",
    ],
    "pack": ["limits.f.at_most", "life.cycles", "task.t.every_days", "cells", "nominal_wh"],
    "component": ["life.hours", "task.t.events", "group", "hours_before"],
    "rules": ["limit.takeoff-roll.at_most", "limit.takeoff-roll.enforced", "screen.height_m"],
    "checklist": [
        *("item.a.at_least", "item.a.at_most", "item.a.block", "item.a.second", "item.a.role"),
        *("item.a.kind", "item.a.reopened_by", "item.a.valid_hours", "item.a.text", "valid_hours"),
        *("item.a.not_applicable", "item.a.deferrable", "item.a.renews", "about"),
    ],
    "meter": ["columns.wind.unit", "utc_offset_min", "date_order"],
}
READING = {
    "aircraft": [
        "serial",
        "autopilot_id",
        "configuration",
        "lever_m",
        "outputs.1.name",
        "thrust.b",
    ],
    "pack": ["serial", "chemistry", "task.t.title"],
    "component": ["title", "serial"],
    "rules": ["version", "title", "limit.takeoff-roll.source", "score.total", "score.terms.a"],
    "checklist": ["version", "title", "when", "item.a.section", "item.a.hint", "item.a.title"],
    "site": ["runway.slope", "screen.height_m", "gate.left_deg"],
}


@pytest.mark.parametrize(("kind", "key"), [(k, key) for k in BOUNDS for key in BOUNDS[k]])
def test_what_bounds_a_flight_is_a_limit(kind, key):
    assert is_limit(kind, tuple(key.split(".")))


@pytest.mark.parametrize(("kind", "key"), [(k, key) for k in READING for key in READING[k]])
def test_what_is_for_reading_is_none(kind, key):
    assert not is_limit(kind, tuple(key.split(".")))


def test_every_kind_of_file_has_its_place_in_the_table():
    assert {*FREE, *WITHOUT_LIMITS} == set(FILE_KINDS)
    assert not set(FREE) & set(WITHOUT_LIMITS)


def test_the_name_of_a_limit_can_not_make_it_none():
    # One key with full stops in it is one step, and is not taken for several.
    (found,) = differences("aircraft", {}, {"limits": {"outputs.1.name": 3}, "id": "x"})[:1]

    assert found.limit


def test_the_free_keys_of_an_aircraft_are_keys_that_its_file_has():
    path = ROOT / "sample_flights" / "pannier.toml"
    table = table_of(path.read_bytes(), "aircraft", path)
    found = differences("aircraft", {}, table)

    free = {d.key for d in found if not d.limit}
    assert {"serial", "autopilot_id", "configuration", "lever_m", "outputs.1.name"} <= free
