"""What a column map may hold, and what it says of faults."""

from __future__ import annotations

import pytest

from flightlog.columns import TABLES
from flightlog.errors import TeamFileError
from flightlog.team_files.column_map import read_column_map
from flightlog.team_files.column_units import named_unit, spelled_unit, units_for

GOOD = """
schema = "flightlog.columns/1"
[file]
encoding = "cp1252"
delimiter = ";"
decimal = ","
header_line = 3
skip_lines = 2
comment = "//"
missing = [-1, "--"]
[time]
columns = ["Datum", "Zeit"]
format = "date and time"
order = "day-month-year"
utc_offset_h = 1.5
[[column]]
header = "v"
table = "gps"
is = "ground_speed_m_s"
unit = "km/h"
[[column]]
header = "Gas"
table = "inputs"
is = "pulse_us"
unit = "stick"
channel = 3
sign = -1
"""


def read(tmp_path, text):
    path = tmp_path / "map.toml"
    path.write_text(text, encoding="utf-8")
    return read_column_map(path)


def test_a_map_with_every_key_of_the_file_and_the_time_is_read(tmp_path):
    made, sha256 = read(tmp_path, GOOD)

    assert (made.file.delimiter, made.file.decimal, made.file.header_line) == (";", ",", 3)
    assert made.file.missing == [-1, "--"]
    assert (made.time.columns, made.time.order) == (["Datum", "Zeit"], "day-month-year")
    assert [c.is_ for c in made.column] == ["ground_speed_m_s", "pulse_us"]
    assert len(sha256) == 64


@pytest.mark.parametrize(
    ("old", "new", "where", "found", "fix"),
    [
        ('"gps"', '"gsp"', "number 1 table", "no table", "Did you mean 'gps'?"),
        (
            '"ground_speed_m_s"',
            '"ground_sped_m_s"',
            "number 1 is",
            "no column of gps",
            "Did you mean 'ground_speed_m_s'?",
        ),
        ('"ground_speed_m_s"', '"time_s"', "number 1 is", "no column", "under [time]"),
        ('"km/h"', '"kmh"', "number 1 unit", "no unit of ground_speed_m_s", "Write 'km/h'."),
        ('"km/h"', '"V"', "number 1 unit", "no unit", "Units that fit: m/s"),
        ('unit = "km/h"\n', "", "number 1 unit", "is missing", "km/h"),
        ("channel = 3\n", "", "number 2 channel", "is missing", "number of the channel"),
        ("channel = 3", "chanel = 3", "number 2 chanel", "not a known key", "'channel'"),
        ("sign = -1", "sign = 2", "number 2 sign", "is 2", "-1"),
        ("sign = -1", "scale = 0", "number 2 scale", "is 0", "multiply"),
        ("sign = -1", "cell = 1", "number 2 cell", "not one battery cell", "cell_voltages"),
        ('unit = "km/h"', 'unit = "km/h"\nchannel = 1', "number 1 channel", "no channels", "Leave"),
        ('delimiter = ";"', 'delimiter = "ab"', "[file] delimiter", "not one character", "tab"),
        ('"cp1252"', '"utf8x"', "[file] encoding", "no encoding", "'utf-8'"),
        ('"cp1252"', '"rot13"', "[file] encoding", "no encoding", "utf-8"),
        ('decimal = ","', 'decimal = ";"', "[file] decimal", "is ';'", "decimal sign"),
        ('"date and time"', '"seconds"', "[time] columns", "stands in one", "Name"),
        ('"date and time"', '"secs"', "[time] format", "is 'secs'", "unix"),
        ('"Datum", "Zeit"', "", "[time] columns", "too few", "headers"),
        ("utc_offset_h", "utc_ofset_h", "[time] utc_ofset_h", "not a known key", "utc_offset_h"),
        ('"Datum", "Zeit"]\nformat = "date and time"', '"w", "t"]\nformat = "gps week"',
         "[time] order", "does not go with", "Leave it out"),
        ("columns/1", "site/1", "schema", "not 'flightlog.columns/1'", "columns file"),
    ],
)  # fmt: skip
def test_faults_are_told_with_place_and_way_out(tmp_path, old, new, where, found, fix):
    assert old in GOOD
    with pytest.raises(TeamFileError) as caught:
        read(tmp_path, GOOD.replace(old, new, 1))

    assert where in caught.value.where
    assert found in caught.value.found
    assert fix in caught.value.fix


def test_two_columns_for_one_are_refused(tmp_path):
    again = '[[column]]\nheader = "w"\ntable = "gps"\nis = "ground_speed_m_s"\nunit = "kn"\n'

    with pytest.raises(TeamFileError, match="number 1 does already"):
        read(tmp_path, GOOD + again)


def test_a_map_without_time_or_columns_is_refused(tmp_path):
    with pytest.raises(TeamFileError, match="time: is missing"):
        read(
            tmp_path, 'schema = "flightlog.columns/1"\ncolumn = [{header="a",table="gps",is="fix"}]'
        )
    with pytest.raises(TeamFileError, match="column: is missing"):
        read(
            tmp_path,
            'schema = "flightlog.columns/1"\n[time]\ncolumns = ["t"]\nformat = "seconds"\n',
        )


def test_every_column_of_the_house_has_a_unit_that_a_map_can_name():
    for table, columns in TABLES.items():
        for column in columns:
            own = [u for u in units_for(column.unit) if (u.times, u.over, u.offset) == (1, 1, 0)]
            assert own, f"{table}.{column.name}"


@pytest.mark.parametrize(
    ("unit", "house", "value", "expected"),
    [
        ("ft", "m", 1000.0, 304.8),
        ("kn", "m/s", 3600.0, 1852.0),
        ("mph", "m/s", 100.0, 44.704),
        ("ft/min", "m/s", 60.0, 0.3048),
        ("degC", "K", 25.0, 298.15),
        ("degF", "K", 212.0, 373.15),
        ("hPa", "Pa", 1013.25, 101325.0),
        ("mAh", "C", 1000.0, 3600.0),
        ("Wh", "J", 1.0, 3600.0),
        ("stick", "us", -1024.0, 988.0),
        ("stick %", "us", 100.0, 2012.0),
        ("g", "m/s²", -1.0, -9.80665),
        ("rpm", "rad/s", 60.0, 6.283185307179586),
        ("1e-7 deg", "deg", 123456789.0, 12.3456789),
        ("cdeg", "rad", 18000.0, 3.141592653589793),
    ],
)
def test_units_by_their_definitions(unit, house, value, expected):
    from numpy import array

    from flightlog.importers.delimited_tables import to_house

    found = named_unit(unit, house)
    assert found is not None
    assert to_house(array([value]), found)[0] == pytest.approx(expected, rel=1e-14)


@pytest.mark.parametrize(
    ("spelling", "house", "name"),
    [
        ("kmh", "m/s", "km/h"),
        ("kts", "m/s", "kn"),
        ("@", "deg", "deg"),
        ("@C", "K", "degC"),
        ("°F", "K", "degF"),
        ("C", "K", "degC"),
        ("C", "C", "C"),
        ("mah", "C", "mAh"),
        ("Ft", "m", "ft"),
        ("dB", "dBm", "dBm"),
        ("V", "m", None),
        ("furlong", "m", None),
        ("", "m", None),
    ],
)
def test_spellings_of_headers(spelling, house, name):
    found = spelled_unit(spelling, house)

    assert (found.name if found else None) == name
