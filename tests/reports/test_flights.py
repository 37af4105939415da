from __future__ import annotations

from datetime import timedelta

import pytest

from flightlog.operations.importing import Imported, finish
from flightlog.operations.measurements import Beside
from flightlog.operations.positions import named
from flightlog.operations.sorties import sorties
from flightlog.reports.figure_groups import FLIGHT, WEAR
from flightlog.reports.flights import (
    WITHOUT,
    beside_lines,
    flight_json,
    flight_lines,
    imported_lines,
    list_lines,
)
from tests.operations.conftest import farm, farm_place
from tests.operations.logs import imported, load_sheet, recording, release, stored_debrief, weather
from tests.operations.made import MORNING
from tests.reports.wear import told_of_wear

__all__ = ["farm", "farm_place"]  # fixtures

NINE = MORNING + timedelta(hours=2)


def text(lines):
    return " ".join(" ".join(lines).split())


def test_a_flight_whose_log_ends_in_the_air_has_at_least_its_time(farm):
    (cut,) = imported(farm, NINE, each={"touchdown_s": None, "ends": "air"})
    (whole,) = imported(farm, NINE + timedelta(hours=1), file="whole.bin")

    said = text(list_lines(farm.desk, sorties(farm.desk), 100))

    assert f"≥ {cut.flown_s / 60:.1f} min 1 landing" in said
    assert f"pack not known {whole.flown_s / 60:.1f} min" in said
    assert "2 flights, at least 0." in said
    assert "≥: at least so long" in said
    assert "the log of 1 flight does not hold all of it" in said
    assert [False, True] == [flight_json(farm.desk, f)["whole"] for f in (cut, whole)]
    assert f"≥ {cut.flown_s:.0f} s in the air" in text(flight_lines(farm.desk, cut))


def test_a_flight_in_full_stands_beside_all_that_it_was_flown_under(farm):
    begun = farm.add("list-begun", {
        "list": "pre-flight", "checklist": "ab" * 32, "aircraft": "pannier", "source": "screen",
    })  # fmt: skip
    for item in ("controls", "gear"):
        farm.add("check", {"item": item, "result": "pass"}, ("mechanic", "performed"),
                 cites=[begun])  # fmt: skip
    cites = [begun, load_sheet(farm), weather(farm)]
    signed = release(farm, NINE - timedelta(minutes=10), cites=cites, landings=2)
    (flight,) = imported(farm, NINE)
    measured = {"figure": "climb.best_rate", "method": "judge",
                "value": {"value": "2.0", "unit": "m/s"}}  # fmt: skip
    farm.add("measurement", measured, ("observer", "measured"), cites=[flight.entry])

    said = text(flight_lines(farm.desk, sorties(farm.desk)[0]))

    assert f"Release {named(signed)}, signed 2027-03-15 08:50:00 UTC by pilot" in said
    assert "8.0 kg, 8 payload units, 2 landings" in said
    assert "List pre-flight" in said
    assert "2 pass" in said
    assert "wind 3.3, gusts 4.6 m/s from 70 deg, 17 °C" in said
    assert "(1 sigma 0.015), balance 39.5 %" in said
    # 2.131 m/s with a standard uncertainty of 0.06: 2.01 to 2.25.
    assert "by the log 2.13 m/s (2.01 to 2.25), difference +0.13 m/s: THE INTERVALS DO NOT" in said
    assert "Contradiction" not in said
    assert "no certificate" in said


def test_a_flight_without_a_release_says_so_in_every_list(farm):
    imported(farm, NINE)

    for lines in (list_lines(farm.desk, sorties(farm.desk)),
                  flight_lines(farm.desk, sorties(farm.desk)[0])):  # fmt: skip
        assert WITHOUT in text(lines)


def test_a_list_adds_up_what_was_flown(farm):
    imported(farm, NINE, sorties=3, flown_s=600.0)

    assert text(list_lines(farm.desk, sorties(farm.desk))).endswith(
        "3 flights, 0.50 h, 3 landings; times are UTC"
    )


def test_an_empty_record_says_how_to_fill_it(farm):
    assert "flightlog import LOG" in text(list_lines(farm.desk, ()))


def test_an_import_says_where_each_flight_stands(farm):
    signed = release(farm, NINE - timedelta(minutes=10))
    entry = recording(farm, stored_debrief(NINE, sorties=2))
    done = finish(farm.desk, entry)

    said = text(imported_lines(farm.desk, done))
    assert f"flown under release {named(signed)} with pack-a (by time: signed 10 min before" in said
    assert WITHOUT in said
    assert "[more-flights]" in said
    assert "flightlog sortie pair" in said
    again = text(imported_lines(farm.desk, finish(farm.desk, entry)))
    assert f"made.bin is in the record already, as {named(entry)}" in again


def test_a_log_without_a_flight_says_that(farm):
    entry = recording(farm, stored_debrief(NINE, sorties=0))

    said = text(imported_lines(farm.desk, Imported(entry, (), (entry,), lacking=("no mass",))))
    assert "It holds no flight." in said
    assert "Lacking: no mass." in said


def test_texts_from_outside_can_not_command_the_screen(farm):
    nasty = "\x1b[2Jgone\x07"
    imported(farm, NINE, aircraft="pannier", autopilot=nasty)
    (flight,) = sorties(farm.desk)
    farm.add("pairing", {"reason": nasty, "pack": "pack-b"}, ("pilot", "stated"),
             cites=[flight.entry])  # fmt: skip
    (flight,) = sorties(farm.desk)

    lines = [*flight_lines(farm.desk, flight), *list_lines(farm.desk, [flight])]
    assert not any("\x1b" in line or "\x07" in line for line in lines)


def test_the_figures_of_a_flight_stand_by_group_and_what_wears_comes_last(farm):
    imported(farm, NINE, each=told_of_wear())
    lines = list(flight_lines(farm.desk, sorties(farm.desk)[-1], 200))
    groups = [line.split(":")[0].strip() for line in lines if line.startswith("  ")]

    shown = [name for name in groups if name in (*FLIGHT, *WEAR)]
    assert ["Take-off", "Climb", "Flight", "Energy", "Battery", "Surfaces"] == shown[:6]
    said = text(lines)
    assert "Landing: Sink rate 0.67 m/s (0.53 to 0.81); Peak load factor at touchdown 2.48" in said
    assert "Declared: Take-off mass 8.00 kg" in said


@pytest.mark.parametrize(("value", "word"), [(28.2, "the intervals agree"), (40.0, "DO NOT AGREE")])
def test_a_measurement_stands_with_difference_and_a_word(farm, value, word):
    content = {"value": {"value": f"{value}", "unit": "m"}, "method": "tape",
               "figure": "takeoff.ground_roll"}  # fmt: skip
    remark = farm.add("remark", {"text": "cited"})
    entry = farm.add("measurement", content, ("observer", "measured"), cites=[remark])
    one = Beside(entry, "takeoff.ground_roll", "m", value, None, (28.1, 26.7, 29.5))

    said = text(beside_lines(one))
    assert word in said
    assert f"difference -{value - 28.1:.1f} m" in said
    assert "nobody said how sure" in said


def test_programs_get_the_same(farm):
    imported(farm, NINE)
    (flight,) = sorties(farm.desk)

    body = flight_json(farm.desk, flight, full=True)
    assert (named(flight.entry), "pannier", None) == (
        body["sortie"], body["aircraft"], body["release"]
    )  # fmt: skip
    assert ["without-release"] == [one["code"] for one in body["contradictions"]]
    assert "2027-03-15T09:00:00Z" == body["start"]
    assert 1 == body["debrief"]["number"]
