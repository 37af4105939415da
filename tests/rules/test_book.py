"""Rule books and aircraft limits: what loads, what is refused and how it says so."""

from __future__ import annotations

import hashlib
from dataclasses import replace
from pathlib import Path

import pytest

from flightlog.errors import FormulaError, TeamFileError
from flightlog.figures import FIGURES
from flightlog.inputs import Aircraft, load_aircraft, load_pack
from flightlog.rules.book import (
    RuleBook,
    aircraft_limits,
    limits_after_flight,
    load_rules,
    pack_limits,
    whose,
)
from flightlog.rules.outcomes import Bound

ROOT = Path(__file__).parents[2]

BOOK = """\
schema = "flightlog.rules/1"
id = "field-day"
version = "3"
[screen]
height_m = 2.0
[[limit]]
id = "roll"
figure = "takeoff.ground_roll"
at_most = 40.0
unit = "m"
shown_at = 0.9
plan_at = 0.8
enforced = "both"
source = "clause 4.2"
[[limit]]
id = "climb"
figure = "climb.height_at_60s"
at_least = 60
unit = "ft"
[score]
total = "cargo + climb"
[score.variables]
units = "payload.units"
laps = "laps.count"
height = "climb.height_at_60s"
[score.entered]
field_best = { meaning = "the best of the day" }
[score.terms]
climb = "capped / 10"
cargo = "100 * units * laps / field_best"
capped = "min(height, 100)"
"""


def written(folder: Path, text: str) -> Path:
    path = folder / "book.toml"
    path.write_text(text, encoding="utf-8", newline="\n")
    return path


def changed(folder: Path, old: str, new: str) -> RuleBook:
    assert BOOK.count(old) == 1
    return load_rules(written(folder, BOOK.replace(old, new)))


def test_a_book_says_what_its_file_says(tmp_path):
    path = written(tmp_path, BOOK)
    book = load_rules(path)
    roll, climb = book.limits

    sha256 = hashlib.sha256(path.read_bytes()).hexdigest()
    assert {"id": "field-day", "version": "3", "sha256": sha256} == book.reference
    assert 2.0 == book.screen_height_m
    assert ("roll", "rule", "takeoff.ground_roll") == (roll.id, roll.kind, roll.figure)
    assert Bound("<=", 40.0, "m") == roll.bound
    assert (0.9, 0.8, "both") == (roll.shown_at, roll.plan_at, roll.enforced)
    assert "clause 4.2" == roll.source
    assert (0.95, 0.95, "after_flight") == (climb.shown_at, climb.plan_at, climb.enforced)


def test_a_bound_in_another_unit_is_converted_exactly_and_says_so(tmp_path):
    climb = load_rules(written(tmp_path, BOOK)).limits[1]

    assert Bound(">=", 18.288, "m") == climb.bound
    assert "60 ft" in climb.source


def test_terms_come_after_those_that_they_use(tmp_path):
    score = load_rules(written(tmp_path, BOOK)).score

    assert score is not None
    order = list(score.terms)
    assert {"climb", "cargo", "capped"} == set(order)
    assert order.index("capped") < order.index("climb")
    assert "the best of the day" == score.entered["field_best"].meaning


def test_a_book_without_score_and_limits_is_one(tmp_path):
    book = load_rules(
        written(tmp_path, 'schema = "flightlog.rules/1"\nid = "none"\nversion = "1"\n')
    )

    assert ((), None, None) == (book.limits, book.score, book.screen_height_m)


@pytest.mark.parametrize(
    ("old", "new", "where", "found", "fix"),
    [
        ("at_most = 40.0", "at_msot = 40.0", "[[limit]] number 1 at_msot", "known key",
         "'at_most'"),
        ("at_most = 40.0", "", '[[limit]] "roll"', "neither", "exactly one"),
        ("at_most = 40.0", "at_most = 40.0\nat_least = 1.0", '[[limit]] "roll"', "both",
         "exactly one"),
        ("at_most = 40.0", "at_most = nan", "[[limit]] number 1 at_most", "nan", "largest"),
        ("at_most = 40.0", 'at_most = "40"', "[[limit]] number 1 at_most", "'40'", "largest"),
        ("takeoff.ground_roll", "takeoff.groundroll", '"roll" figure', "not a figure",
         "'takeoff.ground_roll'"),
        ("takeoff.ground_roll", "takeoff.q", '"roll" figure', "not a figure", "takeoff.skips"),
        ('unit = "m"\n', "", '"roll" unit', "missing", 'unit = "m"'),
        ('unit = "m"\n', 'unit = "s"\n', '"roll" unit', "'s'", "'ft'"),
        ('unit = "m"\n', 'unit = "M"\n', '"roll" unit', "'M'", "'m'"),
        ('unit = "ft"', 'unit = "yard"', '"climb" unit', "'yard'", "'ft'"),
        ("shown_at = 0.9", "shown_at = 0.5", "number 1 shown_at", "0.5", "0.95"),
        ("shown_at = 0.9", "shown_at = 1.0", "number 1 shown_at", "1.0", "0.95"),
        ("plan_at = 0.8", "plan_at = 95", "number 1 plan_at", "95", "0.95"),
        ('"both"', '"always"', "number 1 enforced", "'always'", "before_flight"),
        ('id = "climb"', 'id = "roll"', '[[limit]] "roll"', "two limits", "own"),
        ('unit = "ft"', 'unit = "ft"\ndefinition = { clock = "gun" }', '"climb" definition',
         "'gun'", "leave the key out"),
        ('unit = "m"\n', 'unit = "m"\ndefinition = { liftoff = "clear" }\n',
         '"roll" definition', "'clear'", 'liftoff = "first_clear"'),
        ('version = "3"', "version = 3", "version", "3", '"1"'),
        ("height_m = 2.0", "height_m = -1.0", "[screen] height_m", "-1.0", "metres"),
        ('units = "payload.units"', 'units = "payload.unit"', "[score.variables] units",
         "not a figure", "'payload.units'"),
        ("field_best = {", "laps = {", "laps", "laps", "own"),
    ],
)  # fmt: skip
def test_a_fault_is_named_with_place_value_and_remedy(tmp_path, old, new, where, found, fix):
    with pytest.raises(TeamFileError) as caught:
        changed(tmp_path, old, new)

    assert "book.toml: " in caught.value.where
    assert where in caught.value.where
    assert found in caught.value.found
    assert fix in caught.value.fix


@pytest.mark.parametrize(
    "formula",
    ["", "cargo +", "unknown * 2", "__import__('os')", "units.real", "9 ** 9 ** 9", "total"],
)
def test_a_formula_at_fault_names_its_place(tmp_path, formula):
    with pytest.raises(FormulaError) as caught:
        changed(tmp_path, '"cargo + climb"', f'"{formula}"')

    assert "[score] total" in caught.value.where


def test_terms_in_a_circle_are_refused(tmp_path):
    with pytest.raises(FormulaError, match=r"circle: (climb\b.*capped|capped\b.*climb)"):
        changed(tmp_path, '"min(height, 100)"', '"climb * 2"')


def test_a_bound_too_large_for_its_unit_is_refused(tmp_path):
    with pytest.raises(TeamFileError, match="too large"):
        changed(tmp_path, 'at_most = 40.0\nunit = "m"', 'at_most = 1e308\nunit = "km"')


def test_first_clear_is_judged_on_its_own_figure(tmp_path):
    book = changed(
        tmp_path, 'unit = "m"\n', 'unit = "m"\ndefinition = { liftoff = "first_clear" }\n'
    )
    roll, other = book.limits

    assert "takeoff.ground_roll" == roll.figure
    assert "takeoff.first_clear_distance" == roll.measured
    assert {"liftoff": "first_clear"} == roll.definition
    assert (None, other.figure) == (other.definition, other.measured)
    assert FIGURES[roll.figure].unit == FIGURES[roll.measured].unit


# --- the aircraft's own limits


def test_an_aircrafts_limits_are_of_its_kind_and_name_their_place():
    aircraft = load_aircraft(ROOT / "sample_flights" / "pannier.toml")
    limit, *_ = aircraft_limits(aircraft)

    assert ("flight.max_airspeed", "aircraft") == (limit.id, limit.kind)
    assert Bound("<=", 24.0, "m/s") == limit.bound
    assert "flight.max_airspeed" in limit.source


def test_a_packs_limits_are_judged_after_the_flight_and_name_its_file():
    pack = load_pack(ROOT / "sample_flights" / "pack_a.toml")
    (limit,) = limits_after_flight(None, None, pack)

    assert ("battery.resistance", "aircraft") == (limit.id, limit.kind)
    assert Bound("<=", 0.045, "ohm") == limit.bound
    assert 'pack file, [limits] "battery.resistance"' == limit.source
    assert "pack" == whose(limit.kind, limit.source)
    said = {"battery.resistance": {"at_most": 45, "unit": "mohm", "source": "maker's sheet"}}
    (given,) = pack_limits(replace(pack, limits=said))
    assert given.source.startswith("pack file, maker's sheet")
    assert ("", "aircraft") == (whose("rule", "pack file"), whose("aircraft", "maker's sheet"))


def test_an_aircraft_without_limits_has_none():
    assert () == aircraft_limits(Aircraft("a", ""))
    assert () == limits_after_flight(None, None)


def test_what_only_plans_is_not_judged_after_the_flight(tmp_path):
    book = changed(tmp_path, '"both"', '"before_flight"')

    assert ["climb"] == [limit.id for limit in limits_after_flight(book, None)]


# --- the book that is shipped


def test_the_shipped_book_holds_the_limits_of_a_trial():
    book = load_rules(ROOT / "checklists" / "club_trial_2027.toml")
    bounds = {limit.figure: (limit.bound.op, limit.bound.value) for limit in book.limits}

    assert ("club-trial-2027", "1") == (book.id, book.version)
    assert ("<=", 40.0) == bounds["takeoff.ground_roll"]
    assert ("<=", 120.0) == bounds["flight.max_height"]
    assert ("<=", 60.0) == bounds["battery.max_current"]
    assert ("<=", 12.0) == bounds["mass.takeoff"]
    assert ("<=", 100.0) == bounds["battery.nominal_energy"]
    assert ">=" == bounds["climb.height_at_60s"][0]
    assert all(limit.source for limit in book.limits)
    assert book.score is not None
    assert {"field_best"} == set(book.score.entered)


def test_every_sample_names_a_book_that_is_shipped():
    index = (ROOT / "sample_flights" / "index.toml").read_text(encoding="utf-8")
    named = {line.split('"')[1] for line in index.splitlines() if line.startswith("rules = ")}

    assert {"club_trial_2027.toml"} == named
    assert all((ROOT / "checklists" / name).is_file() for name in named)
