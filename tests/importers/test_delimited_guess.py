"""What headers, lines of units and cells of unknown tables are taken for."""

from __future__ import annotations

from pathlib import Path

import pytest

import flightlog
from flightlog.importers.delimited_first_map import map_text
from flightlog.importers.delimited_guess import Guess, guess_columns


def guessed(tmp_path: Path, text: str, encoding: str = "utf-8") -> Guess:
    log = tmp_path / "log.csv"
    log.write_bytes(text.encode(encoding))
    return guess_columns(log)


def taken(guess: Guess) -> dict[str, tuple[str, str]]:
    """Header -> house column and unit."""
    return {
        column.header: (f"{a.table}.{a.column}", a.unit)
        for column in guess.columns
        for a in column.assignments
    }


@pytest.mark.parametrize(
    "units", ["ms,deg,km/h,mA", "[ms],[°],[km/h],[mA]", "(ms),(deg),(kmh),(mA)"]
)
def test_a_line_of_units_below_the_names_is_no_row_and_gives_the_units(tmp_path, units):
    rows = "1000,47.5,36,2500\n1500,47.6,72,3500\n2000,47.7,72,4500\n"
    guess = guessed(tmp_path, f"Time,Lat,Speed,Current\n{units}\n{rows}")

    assert guess.time is not None
    assert guess.time.format == "milliseconds"
    assert taken(guess) == {
        "Lat": ("gps.latitude_deg", "deg"),
        "Speed": ("gps.ground_speed_m_s", "km/h"),
        "Current": ("battery.current_a", "mA"),
    }
    first_map = tmp_path / "map.toml"
    first_map.write_text(map_text(guess), encoding="utf-8")
    log = flightlog.read(tmp_path / "log.csv", columns=first_map)
    assert log.receipt.message_counts == {"rows": 3}
    assert "unreadable-cells" not in [f.code for f in log.findings]
    # by hand: 1000 ms, 36 km/h and 2500 mA are 1 s, 10 m/s and 2.5 A
    assert log["gps"]["time_s"].tolist() == [1.0, 1.5, 2.0]
    assert log["gps"]["ground_speed_m_s"].tolist() == [10.0, 20.0, 20.0]
    assert log["battery"]["current_a"].tolist() == [2.5, 3.5, 4.5]


@pytest.mark.parametrize(
    ("header", "cells", "expected"),
    [
        ("Geschwindigkeit [km/h]", "3 4", ("gps.ground_speed_m_s", "km/h")),
        ("Vitesse (km/h)", "3 4", ("gps.ground_speed_m_s", "km/h")),
        ("Velocidad (km/h)", "3 4", ("gps.ground_speed_m_s", "km/h")),
        ("speed_cms", "3 4", ("gps.ground_speed_m_s", "cm/s")),
        ("lat_e7", "475000000 475000010", ("gps.latitude_deg", "1e-7 deg")),
        ("Battery V", "24.1 24.0", ("battery.voltage_v", "V")),
        ("Battery A", "4.1 4.0", ("battery.current_a", "A")),
        ("Akku [mAh]", "4.1 4.5", ("battery.charge_used_coulomb", "mAh")),
        ("Heading", "3 355", ("gps.course_deg", "deg")),
    ],
)
def test_names_of_columns(tmp_path, header, cells, expected):
    first, second = cells.split()
    guess = guessed(tmp_path, f"time [s],{header}\n0,{first}\n1,{second}\n2,{second}\n")

    assert taken(guess) == {header: expected}


@pytest.mark.parametrize(
    "cells",
    ["0.1 6.2", "3500 35900"],  # radians as well as degrees; hundredths of a degree
)
def test_a_course_without_a_unit_that_could_be_another_is_not_recognised(tmp_path, cells):
    first, second = cells.split()
    guess = guessed(tmp_path, f"time [s],Heading\n0,{first}\n1,{second}\n2,{second}\n")

    assert taken(guess) == {}


def test_an_altitude_beside_places_is_the_receivers_which_promises_less(tmp_path):
    rows = "0,47.5,9.5,500\n1,47.6,9.5,501\n2,47.7,9.5,502\n"
    beside = guessed(tmp_path, f"time [s],lat,lon,Altitude (m)\n{rows}")
    alone = guessed(tmp_path, "time [s],Altitude (m)\n0,500\n1,501\n2,502\n")
    both = guessed(
        tmp_path,
        "time [s],lat,GPS alt (m),Altitude (m)\n0,47.5,520,500\n1,47.6,520,501\n2,47.7,520,502\n",
    )

    assert taken(beside)["Altitude (m)"] == ("gps.altitude_msl_m", "m")
    assert "else baro.height_m" in next(c.why for c in beside.columns if "Alt" in c.header)
    assert taken(alone)["Altitude (m)"] == ("baro.height_m", "m")
    assert taken(both)["GPS alt (m)"] == ("gps.altitude_msl_m", "m")
    assert taken(both)["Altitude (m)"] == ("baro.height_m", "m")


def test_dates_with_points_have_the_day_first(tmp_path):
    rows = "{0}{1}04{1}2027 10:00:00,3\n{0}{1}04{1}2027 10:00:01,3\n{0}{1}04{1}2027 10:00:02,3\n"
    pointed = guessed(tmp_path, "date time,Speed (m/s)\n" + rows.format("03", "."))
    slashed = guessed(tmp_path, "date time,Speed (m/s)\n" + rows.format("03", "/"))

    assert pointed.time is not None
    assert slashed.time is not None
    assert (pointed.time.order, pointed.time.unclear) == ("day-month-year", False)
    assert slashed.time.unclear


def test_the_map_of_a_table_without_names_lists_what_a_column_can_be(tmp_path):
    text = map_text(guessed(tmp_path, "".join(f"{n},47.{n},{n + 20}.5\n" for n in range(9))))

    assert 'header = "column 3"' in text
    assert "# The time was not found: the file names no columns" in text
    assert '"gps week"' in text
    assert "# battery: voltage_v current_a" in text
