"""Files from the bench: columns stated or recognised, units never guessed, nothing lost."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from flightlog.errors import FlightlogError, LogFileError, TeamFileError
from flightlog.groundtests.registry import GROUND_KINDS
from flightlog.operations.bench_clock import clock_seconds
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


def clocked(times: list[str], head: str = "Time") -> str:
    return f"{head};Voltage (V);Current (A)\n" + "".join(f"{t};12,5;3,25\n" for t in times)


@pytest.mark.parametrize(
    ("head", "times", "seconds"),
    [
        ("Time", ["23:59:58", "23:59:59", "00:00:00", "00:00:01"], [0, 1, 2, 3]),
        ("Time (hh:mm:ss)", ["23:59:59,5", "00:00:00", "00:00:00,5"], [0, 0.5, 1]),
        ("Datum/Uhrzeit", ["02.03.2027 23:59:59", "03.03.2027 00:00:00"], [0, 1]),
        ("Time", ["11:59:59 AM", "12:00:00 PM"], [0, 1]),
        ("Elapsed", ["23:59:59", "24:00:00", "24:00:01"], [86399, 86400, 86401]),
        ("Time (mm:ss)", ["59:59", "60:00"], [3599, 3600]),
        ("Time", ["9:59.5", "10:00.0"], [599.5, 600]),
    ],
)
def test_times_as_a_clock_shows_them_need_no_unit(tmp_path, head, times, seconds):
    reading = read(tmp_path, clocked(times, head), "discharge")

    assert list(reading.table.columns["time"]) == pytest.approx(seconds)


def test_times_that_may_be_minutes_or_hours_have_to_be_stated(tmp_path):
    text = clocked(["12:34", "12:35"])
    with pytest.raises(LogFileError) as caught:
        read(tmp_path, text, "discharge")
    bench = '[columns.time]\nheader = "Time"\nunit = "{}"\n'

    assert "hours and minutes" in caught.value.found
    for unit, step_s in (("mm:ss", 1.0), ("time of day", 60.0)):
        stated = read(tmp_path, text, "discharge", bench.format(unit))
        assert list(stated.table.columns["time"][1:] - stated.table.columns["time"][:1]) == [step_s]
    with pytest.raises(TeamFileError) as wrong:
        read(tmp_path, text, "discharge", bench.format("s"))
    assert "mm:ss" in wrong.value.fix


def test_rows_of_one_whole_second_are_spread_over_it(tmp_path):
    text = clocked([f"10:00:0{s}" for s in range(4) for _ in range(5)])
    reading = read(tmp_path, text, "discharge")

    assert list(reading.table.columns["time"][:3]) == pytest.approx([0.1, 0.3, 0.5])
    assert "time-whole-seconds" in codes(reading)


def test_a_count_of_seconds_is_taken_before_a_clock_beside_it(tmp_path):
    text = "Time;Elapsed (s);Voltage (V)\n10:00:00;0.0;12\n10:00:00;0.5;12\n"
    reading = read(tmp_path, text, "discharge")

    assert list(reading.table.columns["time"]) == [0.0, 0.5]


def test_a_cell_that_is_no_time_is_left_out_and_named_by_its_line(tmp_path):
    reading = read(tmp_path, clocked(["10:00:00", "1x:00:01", "10:00:02"]), "discharge")

    assert math.isnan(reading.table.columns["time"][1])
    assert "line 3" in next(f for f in reading.findings if f.code == "cells-unreadable").message


def test_a_needed_column_without_a_number_is_named_by_its_header(tmp_path):
    with pytest.raises(LogFileError) as caught:
        read(tmp_path, "Load (N),Deflection (mm)\n5,x\n9,y\n")

    assert "'Deflection (mm)' holds no number, but 'x'" in caught.value.found


def test_german_headers_of_a_discharge_are_recognised(tmp_path):
    head = "Zeit [s];Spannung [V];Strom [mA];Temperatur [°F];Kapazität [mAh];Zelle 1 [V]\n"
    columns = read(tmp_path, f"{head}0;12,5;1.300;77;0;3,5\n1;12,4;1.301;77;1;3,5\n", "discharge")

    found = {name: values[1] for name, values in columns.table.columns.items()}
    known = {"time": 1, "voltage": 12.4, "current": 1.301, "temperature": 298.15, "charge": 3.6}
    assert found == pytest.approx({**known, "cell_1": 3.5})


def test_a_file_without_a_header_is_stated_by_places(tmp_path):
    units = {"time": "s", "voltage": "V", "current": "A"}
    bench = "[file]\nheader_line = 0\n" + "".join(
        f'[columns.{name}]\nheader = "column {n}"\nunit = "{unit}"\n'
        for n, (name, unit) in enumerate(units.items(), start=1)
    )
    reading = read(tmp_path, "0;12,5;3\n1;12,4;3\n", "discharge", bench)

    assert list(reading.table.columns["voltage"]) == [12.5, 12.4]


@given(st.lists(st.tuples(st.integers(0, 86_399), st.integers(0, 999)), min_size=2, max_size=6))
def test_times_of_one_length_are_read_as_any_others(moments):
    """The quick way and the slow one: a blank in front of one cell keeps from the quick."""
    cells = [f"{s // 3600:02}:{s // 60 % 60:02}:{s % 60:02}.{ms:03}" for s, ms in moments]
    lines = np.arange(len(cells))
    quick, _, _ = clock_seconds(cells, "time of day", lines)
    slow, _, _ = clock_seconds([" " + cells[0], *cells[1:]], "time of day", lines)

    assert list(quick) == pytest.approx(list(slow), abs=1e-9)
