"""Files from the bench: columns stated or recognised, units never guessed, nothing lost."""

from __future__ import annotations

import math
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from flightlog.errors import FlightlogError, LogFileError, TeamFileError
from flightlog.groundtests.registry import GROUND_KINDS
from flightlog.operations.bench_reading import BenchReading, read_bench_table
from flightlog.operations.ground_test import GroundTest, run_ground_test
from flightlog.team_files.bench_file import read_bench_file

STIFFNESS = GROUND_KINDS["stiffness"]
THRUST = GROUND_KINDS["thrust"]


def read(
    root: Path, text: str, kind: str = "stiffness", bench: str = "", encoding: str = "utf-8"
) -> BenchReading:
    path = root / "bench.csv"
    path.write_bytes(text.encode(encoding))
    stated = None
    if bench:
        file = root / "bench.toml"
        head = f'schema = "flightlog.bench/1"\nid = "b"\nkind = "{kind}"\n'
        file.write_text(head + bench, encoding="utf-8")
        stated = read_bench_file(file)
    return read_bench_table(path, GROUND_KINDS[kind], stated)


def tried(kind: str, path: Path) -> GroundTest | None:
    """Run a test; None where its file was refused by an error of ours."""
    try:
        return run_ground_test(kind, [path])
    except FlightlogError:
        return None


def codes(reading: BenchReading) -> list[str]:
    return [finding.code for finding in reading.findings]


def test_headers_with_units_are_recognised_and_turned_into_the_units_of_the_house(tmp_path):
    reading = read(tmp_path, "Mass (g);Reading (mm)\n1000;18,5\n2000;37,0\n")

    assert list(reading.table.columns["mass"]) == [1.0, 2.0]
    assert list(reading.table.columns["deflection"]) == pytest.approx([0.0185, 0.037])
    assert codes(reading) == ["columns-guessed"]


def test_gram_force_is_a_force(tmp_path):
    """1000 gf are 9.80665 N by the definition of standard gravity."""
    reading = read(tmp_path, "Time (s),Thrust (gf)\n0,1000\n1,2000\n", "thrust")

    assert list(reading.table.columns["thrust"]) == pytest.approx([9.80665, 19.6133])


def test_what_a_bench_file_states_is_taken_as_it_says(tmp_path):
    stated = '[columns.deflection]\nheader = "Gauge"\nunit = "mm"\nsign = -1\nscale = 2.0\n'
    reading = read(tmp_path, "Load (N),Gauge,Deflection (m)\n5,-1,99\n9,-2,99\n", bench=stated)

    assert list(reading.table.columns["deflection"]) == pytest.approx([0.002, 0.004])
    assert list(reading.table.columns["load"]) == [5.0, 9.0]


def test_a_number_without_a_unit_is_not_taken(tmp_path):
    with pytest.raises(LogFileError) as caught:
        read(tmp_path, "Load (N),Deflection\n5,1\n9,2\n")

    assert "does not say its unit" in caught.value.found
    assert "[columns.deflection]" in caught.value.fix


def test_a_unit_of_another_quantity_is_told(tmp_path):
    with pytest.raises(LogFileError) as caught:
        read(tmp_path, "Load (N),Deflection (V)\n5,1\n9,2\n")

    assert "no unit of it" in caught.value.found


@pytest.mark.parametrize(
    ("bench", "found"),
    [
        ('[columns.deflection]\nheader = "Gauge"\nunit = "N"\n', "no unit of it"),
        ('[columns.deflection]\nheader = "Gauge"\n', "is missing"),
        ('[columns.torque]\nheader = "Gauge"\nunit = "mm"\n', "no column of this test"),
        ('[columns.cell_3]\nheader = "Gauge"\nunit = "V"\n', "no column of this test"),
    ],
)
def test_faults_of_a_bench_file_are_told_by_its_key(tmp_path, bench, found):
    with pytest.raises(TeamFileError) as caught:
        read(tmp_path, "Load (N),Gauge\n5,1\n9,2\n", bench=bench)

    assert found in caught.value.found


def test_a_header_that_is_not_there_is_told_with_the_near_one(tmp_path):
    bench = '[columns.deflection]\nheader = "Gage"\nunit = "mm"\n'

    with pytest.raises(LogFileError) as caught:
        read(tmp_path, "Load (N),Gauge\n5,1\n9,2\n", bench=bench)

    assert "Gauge" in caught.value.fix


def test_cells_of_a_pack_are_numbered(tmp_path):
    text = "Time (s),Voltage (V),Cell 1 (V),Cell 2 (V)\n0,8.4,4.2,4.2\n1,8.3,4.1,4.2\n"

    assert {"cell_1", "cell_2"} <= set(read(tmp_path, text, "discharge").table.columns)


def test_cells_that_hold_no_number_are_left_out_and_named_by_their_line(tmp_path):
    reading = read(tmp_path, "Load (N),Deflection (mm)\n5,1\n9,broken\n12,3\n")

    assert math.isnan(reading.table.columns["deflection"][1])
    unreadable = next(f for f in reading.findings if f.code == "cells-unreadable")
    assert "line 3" in unreadable.message


def test_a_clock_that_goes_back_is_told_and_the_rows_stay_in_order(tmp_path):
    text = "Time (s),Thrust (N)\n0.42,1\n0.37,2\n4.3,3\n"
    reading = read(tmp_path, text, "thrust")

    assert list(reading.table.columns["thrust"]) == [1.0, 2.0, 3.0]
    assert "time-not-monotonic" in codes(reading)


def test_decimal_commas_and_a_byte_order_mark_are_read(tmp_path):
    text = "Load (N);Deflection (mm)\n5,5;1,25\n9,5;2,5\n"
    reading = read(tmp_path, text, encoding="utf-8-sig")

    assert list(reading.table.columns["load"]) == [5.5, 9.5]


@pytest.mark.parametrize("text", ["", "\n\n", "Load (N),Deflection (mm)\n", "\0\0\0", "hello"])
def test_what_is_no_table_is_refused_with_what_to_do(tmp_path, text):
    with pytest.raises(FlightlogError) as caught:
        read(tmp_path, text)

    assert caught.value.fix


def test_a_folder_and_a_missing_file_are_refused(tmp_path):
    for path in (tmp_path, tmp_path / "none.csv"):
        with pytest.raises(FlightlogError):
            read_bench_table(path, STIFFNESS, None)


def test_a_bench_file_of_another_kind_is_refused(tmp_path):
    data, bench = tmp_path / "a.csv", tmp_path / "b.toml"
    data.write_text("Time (s),Thrust (N)\n0,1\n1,2\n", encoding="utf-8")
    bench.write_text('schema = "flightlog.bench/1"\nid = "b"\nkind = "stiffness"\n', "utf-8")

    with pytest.raises(TeamFileError, match="is for stiffness"):
        run_ground_test("thrust", [data], bench)


@given(st.binary(max_size=400), st.sampled_from(sorted(GROUND_KINDS)))
@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)
def test_any_bytes_are_a_test_or_a_clear_error(tmp_path, data, kind):
    path = tmp_path / "any.csv"
    path.write_bytes(data)
    test = tried(kind, path)

    assert test is None or test.files[0].sha256


_CELL = st.one_of(
    st.floats(allow_nan=True, allow_infinity=True).map(repr),
    st.sampled_from(["", "-", "1e300", "-1e300", "0", "1", "x", "1,5", "9" * 400]),
)
_HEADS = {
    "thrust": "Time (s),Throttle (%),Thrust (N),Torque (Nm),Voltage (V),Current (A),Speed (rpm)",
    "discharge": "Time (s),Voltage (V),Current (A),Temp (°C),Cell 1 (V),Cell 2 (V),Charge (Ah)",
    "ringdown": "Time (s),Acceleration (m/s2),Release,a,b,c,d",
    "stiffness": "Load (N),Deflection (mm),Root (mm),Cycle,a,b,c",
    "weighing": "Scale,Arm (m),Side (m),Reading (kg),Tare (kg),Repeat,a",
    "linkage": "Pulse (us),Angle (deg),Arm angle (deg),Force (N),Surface name,a,b",
}


@given(st.data(), st.sampled_from(sorted(GROUND_KINDS)))
@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)
def test_any_numbers_are_a_test_or_a_clear_error(tmp_path, data, kind):
    """Infinities, huge numbers, holes and constants neither crash a reduction nor get out of it."""
    rows = data.draw(st.lists(st.lists(_CELL, min_size=7, max_size=7), min_size=1, max_size=12))
    path = tmp_path / "any.csv"
    lines = [_HEADS[kind], *(",".join(f'"{c}"' if "," in c else c for c in row) for row in rows)]
    path.write_text("\n".join(lines), encoding="utf-8")
    test = tried(kind, path)
    for figure in test.answer.figures.values() if test is not None else ():
        assert math.isfinite(figure.quantity.value)
        assert math.isfinite(figure.quantity.std)
        assert figure.quantity.std >= 0
