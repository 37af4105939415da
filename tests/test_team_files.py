"""Site and aircraft files, and the options that stand in for them: what loads, what is refused."""

from __future__ import annotations

import hashlib
import math
import os
import sys
from fractions import Fraction
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from flightlog.errors import TeamFileError, UsageError
from flightlog.inputs import (
    Baseline,
    Gear,
    GivenWind,
    LinkSetting,
    load_aircraft,
    load_site,
    parse_air_temperature,
    parse_charge,
    parse_mass,
    parse_wind,
)
from flightlog.rules.book import load_rules
from flightlog.team_files.units import converted, units_like

ROOT = Path(__file__).parents[1]

SITE = """\
schema = "flightlog.site/1"
id = "top-field"
elevation_m = 310.0
[runway]
start_deg = [0.0412, -0.0537]
heading_deg = 68.0
slope = 0.004
surface = "mown grass"
[gate]
left_deg = [0.042, -0.0526]
right_deg = [0.0413, -0.0523]
[pilot]
position_deg = [0.0411, -0.0536]
[screen]
height_m = 2.0
"""

AIRCRAFT = """\
schema = "flightlog.aircraft/1"
id = "pannier"
lever_m = [0.10, 0, -0.33]
[mass]
empty_kg = 5.6
reference_kg = 8
[thrust]
static_n = 40.0
b = 0.6
c = 0.02
[polar]
cd0 = 0.035
k = 0.06
cl_ground = 0.4
cd_ground = 0.06
rolling_friction = 0.05
[outputs.3]
name = "motor"
[limits]
"flight.max_airspeed" = { at_most = 24.0, unit = "m/s" }
"""

LOADERS = {"site": (SITE, load_site), "aircraft": (AIRCRAFT, load_aircraft)}


def written(folder: Path, text: str | bytes) -> Path:
    path = folder / "given.toml"
    path.write_bytes(text if isinstance(text, bytes) else text.encode("utf-8"))
    return path


def refused(folder: Path, kind: str, old: str, new: str) -> TeamFileError:
    """Change one thing in a good file, and give the error that loading it raises."""
    good, load = LOADERS[kind]
    assert good.count(old) == 1
    with pytest.raises(TeamFileError) as caught:
        load(written(folder, good.replace(old, new)))
    return caught.value


# --- files that load


def test_a_site_says_what_its_file_says(tmp_path):
    path = written(tmp_path, SITE)
    site = load_site(path)

    assert site.sha256 == hashlib.sha256(path.read_bytes()).hexdigest()
    assert site.runway is not None
    assert site.gate is not None
    assert (0.0412, -0.0537) == site.runway.start_deg
    assert (68.0, 0.004, "mown grass") == (
        site.runway.heading_deg,
        site.runway.slope,
        site.runway.surface,
    )
    assert (0.0413, -0.0523) == site.gate.right_deg
    assert (0.0411, -0.0536) == site.pilot_deg
    assert (310.0, 2.0) == (site.elevation_m, site.screen_height_m)


def test_an_aircraft_says_what_its_file_says(tmp_path):
    aircraft = load_aircraft(written(tmp_path, AIRCRAFT))

    assert (0.10, 0.0, -0.33) == aircraft.lever_m
    assert (5.6, 8.0, None) == (aircraft.empty_kg, aircraft.reference_kg, aircraft.payload_unit_kg)
    assert {3: "motor"} == aircraft.outputs
    assert aircraft.thrust is not None
    assert aircraft.polar is not None
    assert (40.0, 0.6, 0.02) == (aircraft.thrust.static_n, aircraft.thrust.b, aircraft.thrust.c)
    assert 0.05 == aircraft.polar.rolling_friction
    assert {"at_most": 24.0, "unit": "m/s"} == aircraft.limits["flight.max_airspeed"]


def test_what_a_file_leaves_out_is_none(tmp_path):
    site = load_site(written(tmp_path, 'schema = "flightlog.site/1"\nid = "field"\n'))
    aircraft = load_aircraft(written(tmp_path, 'schema = "flightlog.aircraft/1"\nid = "a"\n'))

    assert (None, None, None, None) == (site.runway, site.gate, site.pilot_deg, site.elevation_m)
    assert (None, None, None, {}) == (
        aircraft.empty_kg,
        aircraft.lever_m,
        aircraft.polar,
        aircraft.limits,
    )


def test_a_byte_order_mark_and_other_line_ends_are_tolerated(tmp_path):
    text = b"\xef\xbb\xbf" + SITE.replace("\n", "\r\n").encode()

    assert load_site(written(tmp_path, text)).id == "top-field"


@pytest.mark.parametrize(
    "path",
    sorted([*(ROOT / "sample_flights").glob("*.toml"), *(ROOT / "checklists").glob("*.toml")]),
    ids=lambda p: p.name,
)
def test_every_file_shipped_loads(path):
    loaders = {"site": load_site, "aircraft": load_aircraft, "rules": load_rules}
    kind = path.read_text(encoding="utf-8").partition('schema = "flightlog.')[2].partition("/")[0]
    if kind not in loaders:
        pytest.skip(f"a file of kind {kind!r}, which is read elsewhere")

    assert loaders[kind](path).id


# --- files at fault


@pytest.mark.parametrize(
    ("kind", "old", "new", "where", "found", "fix"),
    [
        ("site", "heading_deg = 68.0", "heading = 68.0", "[runway] heading", "known key",
         "'heading_deg'"),
        ("site", "[runway]", "[runnway]", "runnway", "known key", "'runway'"),
        ("site", "heading_deg = 68.0", "", "[runway] heading_deg", "is missing", "true north"),
        ("site", "heading_deg = 68.0", "heading_deg = 361.0", "[runway] heading_deg", "361.0",
         "0 to 360"),
        ("site", "heading_deg = 68.0", "heading_deg = nan", "[runway] heading_deg", "nan",
         "0 to 360"),
        ("site", "heading_deg = 68.0", 'heading_deg = "68"', "[runway] heading_deg", "'68'",
         "degrees"),
        ("site", "heading_deg = 68.0", "heading_deg = true", "[runway] heading_deg", "True",
         "degrees"),
        ("site", "slope = 0.004", "slope = 0.4", "[runway] slope", "0.4", "-0.3 to 0.3"),
        ("site", "[0.0412, -0.0537]", "[90.5, 0.0]", "[runway] start_deg item 1", "90.5",
         "latitude"),
        ("site", "[0.0412, -0.0537]", "[0.0412]", "[runway] start_deg", "missing", "longitude"),
        ("site", "[0.0412, -0.0537]", "[0.0, 0.0]", "[runway] start_deg", "not known", "leave"),
        ("site", "[0.0413, -0.0523]", "[0.042, -0.0526]", "[gate]", "one place", "two ends"),
        ("site", "elevation_m = 310.0", "elevation_m = inf", "elevation_m", "inf", "metres"),
        ("site", "height_m = 2.0", "height_m = 0", "[screen] height_m", "0", "metres"),
        ("site", 'id = "top-field"', 'id = "top field"', "id", "'top field'", "letters"),
        ("site", "flightlog.site/1", "flightlog.site/2", "schema", "site/2", "update"),
        ("site", "flightlog.site/1", "flightlog.rules/1", "schema", "rules/1", "site file"),
        ("aircraft", "empty_kg = 5.6", "empty_kg = 0.0", "[mass] empty_kg", "0.0", "kg"),
        ("aircraft", "empty_kg = 5.6", "empty_kg = 9.0", "[mass] reference_kg", "8", "both"),
        ("aircraft", "[0.10, 0, -0.33]", "[0.10, -0.33]", "lever_m", "missing", "forward"),
        ("aircraft", "[0.10, 0, -0.33]", "[100, 0, -330]", "lever_m item 1", "100", "metres"),
        ("aircraft", "[outputs.3]", "[outputs.motor]", "[outputs.motor]", "'motor'", "1 to 64"),
        ("aircraft", '"flight.max_airspeed"', '"flight.max_airsped"', "[limits]",
         "not a figure", "'flight.max_airspeed'"),
        ("aircraft", '"flight.max_airspeed"', "flight.max_airspeed", "[limits]", "table",
         '"flight.max_airspeed"'),
        ("aircraft", 'unit = "m/s"', 'unit = "m"', "unit", "'m'", "'km/h'"),
        ("aircraft", ', unit = "m/s"', "", "unit", "missing", "m/s"),
    ],
)  # fmt: skip
def test_a_fault_is_named_with_place_value_and_remedy(tmp_path, kind, old, new, where, found, fix):
    error = refused(tmp_path, kind, old, new)

    assert "given.toml: " in error.where
    assert where in error.where
    assert found in error.found
    assert fix in error.fix


def test_a_fault_in_the_syntax_names_the_line(tmp_path):
    error = refused(tmp_path, "site", "slope = 0.004", "slope = = 1")

    assert error.where.endswith("given.toml:7")


@pytest.mark.parametrize(
    "content",
    [
        b"",
        b"\x00\x01\x02" * 400,
        b"\xff\xfea\x00",
        b"caf\xe9 = 1",
        b"x = " + b"[" * 100_000,
        b"x = " + b"9" * 5_000,
        b"#" * 2_000_000,
        b"schema = 1",
        b'schema = ["flightlog.site/1"]',
    ],
    ids=lambda c: repr(c[:12]),
)
@pytest.mark.parametrize("load", [load_site, load_aircraft, load_rules])
def test_anything_else_is_refused_and_does_not_crash(tmp_path, content, load):
    with pytest.raises(TeamFileError) as caught:
        load(written(tmp_path, content))

    assert "given.toml" in caught.value.where
    assert 3 == caught.value.exit_code


def test_a_file_that_is_not_there_names_its_neighbour(tmp_path):
    (tmp_path / "site.toml").write_text(SITE, encoding="utf-8")

    with pytest.raises(TeamFileError) as caught:
        load_site(tmp_path / "sight.toml")

    assert "'site.toml'" in caught.value.fix


def test_a_folder_is_not_a_file(tmp_path):
    with pytest.raises(TeamFileError, match="folder"):
        load_site(tmp_path)


def test_a_file_that_may_not_be_read(tmp_path):
    path = written(tmp_path, SITE)
    path.chmod(0)
    if sys.platform == "win32" or os.access(path, os.R_OK):
        pytest.skip("this user may read everything")

    with pytest.raises(TeamFileError, match="permissions"):
        load_site(path)


@given(st.binary(max_size=200))
def test_random_bytes_are_refused(tmp_path_factory, content):
    path = written(tmp_path_factory.getbasetemp(), content)

    with pytest.raises(TeamFileError):
        load_site(path)


# --- options


@pytest.mark.parametrize(
    ("text", "wind"),
    [
        ("3.5@270", GivenWind(3.5, 270.0)),
        (" 3 @ 0 ", GivenWind(3.0, 0.0)),
        ("3.5±0.5@270", GivenWind(3.5, 270.0, 0.5)),
        ("3.5+-0.5@270", GivenWind(3.5, 270.0, 0.5)),
        ("3.5@270+-10", GivenWind(3.5, 270.0, from_std_deg=10.0)),
    ],
)
def test_wind_as_people_type_it(text, wind):
    assert wind == parse_wind(text)


@pytest.mark.parametrize(
    "text",
    ["", "a breeze", "3.5", "@", "3.5@", "3,5@270", "-1@270", "41@270", "3@361", "3@-1", "nan@2",
     "inf@270", "3@270@1", "3±@270", "3±-1@270", "3±nan@270", "1_0@270"],
)  # fmt: skip
def test_a_wind_that_cannot_be_meant_is_a_usage_error(text):
    with pytest.raises(UsageError) as caught:
        parse_wind(text)

    assert 2 == caught.value.exit_code
    assert "wind" == caught.value.where


def test_a_wind_with_a_decimal_comma_says_what_to_write():
    with pytest.raises(UsageError, match="full stop"):
        parse_wind("3,5@270")


@pytest.mark.parametrize("text", ["", "heavy", "0", "-8", "101", "nan", "inf", "8,5"])
def test_a_mass_that_cannot_be_meant_is_a_usage_error(text):
    with pytest.raises(UsageError):
        parse_mass(text)


@pytest.mark.parametrize(("text", "kelvin"), [("18.5", 291.65), (" -5 ", 268.15), ("60", 333.15)])
def test_air_temperature_is_typed_in_degrees_celsius(text, kelvin):
    air = parse_air_temperature(text)

    assert air.temperature_k == pytest.approx(kelvin)
    assert 2.0 == air.temperature_std_k


@pytest.mark.parametrize("text", ["", "mild", "288.15", "77F", "-41", "60.1", "nan", "18,5"])
def test_an_air_temperature_that_cannot_be_meant_is_a_usage_error(text):
    with pytest.raises(UsageError) as caught:
        parse_air_temperature(text)

    assert "air temperature" == caught.value.where


@given(st.text(max_size=20))
def test_any_text_is_a_wind_or_a_usage_error(text):
    try:
        wind = parse_wind(text)
    except UsageError:
        return
    assert 0 <= wind.speed_m_s <= 40
    assert 0 <= wind.from_deg <= 360


# --- units


@pytest.mark.parametrize(
    ("value", "unit", "to", "expected"),
    [
        (100.0, "ft", "m", 30.48),
        (400.0, "ft", "m", 121.92),
        (4000.0, "cm", "m", 40.0),
        (0.12, "km", "m", 120.0),
        (36.0, "km/h", "m/s", 10.0),
        (1.0, "kn", "m/s", 1852 / 3600),
        (1.5, "min", "s", 90.0),
        (360.0, "kJ", "Wh", 100.0),
        (3600.0, "J", "Wh", 1.0),
        (5000.0, "mAh", "Ah", 5.0),
        (1.2, "kW", "W", 1200.0),
        (150.0, "g", "kg", 0.15),
        (12.5, "%", "", 0.125),
        (math.pi, "rad", "deg", 180.0),
        (0.1, "m", "m", 0.1),
    ],
)
def test_units_convert_without_a_rounding_of_their_own(value, unit, to, expected):
    assert expected == converted(value, unit, to)


@given(st.floats(-1e6, 1e6), st.sampled_from(["m", "m/s", "s", "Wh", "Ah", "A", "W", "kg", "deg"]))
def test_there_and_back_is_the_same_to_the_last_digits(value, unit):
    for other in units_like(unit):
        back = converted(converted(value, unit, other), other, unit)
        assert math.isclose(back, value, rel_tol=1e-15, abs_tol=1e-300)


def test_units_of_different_kinds_do_not_convert():
    with pytest.raises(ValueError, match="'kg'"):
        converted(1.0, "kg", "m")
    assert ("rpm",) == units_like("rpm")
    assert Fraction(1) == Fraction(converted(1.0, "ohm", "ohm"))


def test_a_charge_typed_in_ampere_hours_is_kept_in_coulombs():
    assert parse_charge("3.12") == pytest.approx(3.12 * 3600)


@pytest.mark.parametrize("text", ["0", "-1", "3120", "3,1", "nan", "full"])
def test_what_is_no_charge_in_ampere_hours_is_refused(text):
    with pytest.raises(UsageError, match=r"Ah|number"):
        parse_charge(text)


@pytest.mark.parametrize("sense", ["0", "2", "1.0", "true", '"1"'])
def test_a_sense_is_one_or_minus_one(tmp_path, sense):
    path = tmp_path / "a.toml"
    path.write_text(
        'schema = "flightlog.aircraft/1"\nid = "a"\n'
        f'[outputs.2]\nname = "elevator"\nsense = {sense}\n',
        encoding="utf-8",
    )
    with pytest.raises(TeamFileError, match="sense"):
        load_aircraft(path)


# --- what wear is measured against

WEAR = """\
schema = "flightlog.aircraft/1"
id = "pannier"
imu_lever_m = [0.07, 0, -0.2]
[outputs.2]
name = "elevator"
deflection = [[1100, 25.0], [1500, 0], [1900, -22.0]]
[outputs.4]
name = "rudder"
sense = 1
[tail]
dihedral_deg = -35
[gear]
stroke_m = 0.05
efficiency = 0.5
[link]
planned_distance_m = 800
raw_scale = 0.526
raw_offset_dbm = -127
[motor]
blades = 2
[structure]
frequencies_hz = [6.5, 11.2]
[baseline]
"surface.elevator.play" = { value = 0.3, spread = 0.1, unit = "deg" }
"battery.resistance" = { value = 31.0, spread = 1.5, unit = "mohm" }
"""


def test_an_aircraft_says_what_wear_is_measured_against(tmp_path):
    aircraft = load_aircraft(written(tmp_path, WEAR))
    assert aircraft.linkages == {2: ((1100.0, 25.0), (1500.0, 0.0), (1900.0, -22.0))}
    assert aircraft.senses == {2: -1, 4: 1}, "measured points tell the sense"
    assert aircraft.tail_dihedral_deg == -35
    assert aircraft.imu_lever_m == (0.07, 0, -0.2)
    assert aircraft.gear == Gear(0.05, 0.5)
    assert aircraft.link == LinkSetting(800, None, 0.526, -127, None)
    assert (aircraft.blades, aircraft.pole_pairs) == (2, None)
    assert aircraft.structure_hz == (6.5, 11.2)
    assert aircraft.baseline == {
        "surface.elevator.play": Baseline(0.3, 0.1),
        "battery.resistance": Baseline(0.031, 0.0015),
    }


@pytest.mark.parametrize(
    ("old", "new", "where", "found"),
    [
        ("[1500, 0]", "[1100, 0]", "[outputs.2] deflection", "pulses that do not rise"),
        ("[1500, 0]", "[1500, 26]", "[outputs.2] deflection", "turn back"),
        ("deflection =", "sense = 1\ndeflection =", "[outputs.2] sense", "+1, and its"),
        ('"surface.elevator.play"', '"surface.elevator.luck"', "[baseline]", "not a figure"),
        ('unit = "deg"', 'unit = "V"', "[baseline] surface.elevator.play unit", "'V' does not"),
        ("spread = 0.1", "spread = -0.1", "spread", "-0.1"),
        ("efficiency = 0.5", "efficiency = 0", "[gear] efficiency", "0"),
        ("dihedral_deg = -35", "dihedral_deg = -95", "[tail] dihedral_deg", "-95"),
    ],
)
def test_a_fault_in_it_is_named(tmp_path, old, new, where, found):
    assert WEAR.count(old) == 1
    with pytest.raises(TeamFileError) as error:
        load_aircraft(written(tmp_path, WEAR.replace(old, new)))
    assert where in error.value.where
    assert found in error.value.found


def test_a_limit_may_be_on_a_member_of_a_family(tmp_path):
    limit = '[limits]\n"surface.elevator.play" = { at_most = 1.0, unit = "deg" }\n'
    assert "surface.elevator.play" in load_aircraft(written(tmp_path, WEAR + limit)).limits
    with pytest.raises(TeamFileError) as error:
        load_aircraft(written(tmp_path, WEAR + limit.replace("elevator.play", "elevator.plai")))
    assert "surface.NAME.play" in error.value.fix
