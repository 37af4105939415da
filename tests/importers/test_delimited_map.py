"""Delimited text by a column map: numbers by hand, and every house table back from its CSV."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import flightlog
from flightlog.columns import TABLES
from flightlog.errors import FlightlogError, LogFileError, TeamFileError
from flightlog.export import write_tables
from flightlog.importers.delimited_first_map import map_text
from flightlog.importers.delimited_guess import guess_columns
from flightlog.recording import Receipt, Recording
from flightlog.resources import data_path
from tests.importers.test_transmitter import ROWS, card

SPEED = """
[[column]]
header = "v"
table = "gps"
is = "ground_speed_m_s"
unit = "km/h"
"""


def by_map(tmp_path: Path, text: str | bytes, time: str, columns: str = SPEED) -> Recording:
    log, given = tmp_path / "log.csv", tmp_path / "map.toml"
    log.write_bytes(text if isinstance(text, bytes) else text.encode())
    given.write_text(f'schema = "flightlog.columns/1"\n{time}\n{columns}', encoding="utf-8")
    return flightlog.read(log, columns=given)


def time(columns: str, format_: str, more: str = "") -> str:
    return f'[time]\ncolumns = [{columns}]\nformat = "{format_}"\n{more}'


def codes(recording: Recording) -> list[str]:
    return [f.code for f in recording.findings]


@pytest.mark.parametrize(
    ("format_", "cells", "expected"),
    [
        ("seconds", "5.5 6.0 6.5", [5.5, 6.0, 6.5]),
        ("milliseconds", "5500 6000 6500", [5.5, 6.0, 6.5]),
        ("microseconds", "5500000 6000000 6500000", [5.5, 6.0, 6.5]),
        ("unix seconds", "1803982499.5 1803982500 1803982500.5", [0.0, 0.5, 1.0]),
        ("unix milliseconds", "1803982499500 1803982500000 1803982500500", [0.0, 0.5, 1.0]),
        ("date and time", "2027-03-02T10:14:59.5Z 2027-03-02T10:15:00Z 2027-03-02T10:15:00.5Z",
         [0.0, 0.5, 1.0]),
        ("time of day", "10:14:59.5 10:15:00 10:15:00.5", [0.0, 0.5, 1.0]),
    ],
)  # fmt: skip
def test_every_format_of_time(tmp_path, format_, cells, expected):
    rows = "".join(f"{t},{36 * n}\n" for n, t in enumerate(cells.split(), start=1))
    log = by_map(tmp_path, "t,v\n" + rows, time('"t"', format_))

    assert log["gps"]["time_s"].tolist() == pytest.approx(expected, abs=1e-6)
    assert log["gps"]["ground_speed_m_s"].tolist() == pytest.approx([10.0, 20.0, 30.0])
    # 2027-03-02 is day 20879; 10:14:59.5 is second 36899.5 of it
    if format_.startswith("unix") or format_ == "date and time":
        assert log.receipt.utc.unix_offset_s == pytest.approx(20879 * 86400 + 36899.5, abs=1e-3)


def test_gps_week_and_time_of_week(tmp_path):
    log = by_map(
        tmp_path,
        "w,s,v\n2340,302400,36\n2340,302401,72\n",
        time('"w", "s"', "gps week"),
    )

    # week 2340, 302400 s, 18 leap seconds: 2024-11-13T11:59:42Z is 1731499182
    assert log.receipt.utc.unix_offset_s == pytest.approx(1731499182.0)


def test_local_time_with_an_offset_gives_utc(tmp_path):
    log = by_map(
        tmp_path,
        "d;t;v\n02/03/2027;11:14:59,5;36\n02/03/2027;11:15:00,5;72\n",
        time('"d", "t"', "date and time", 'order = "day-month-year"\nutc_offset_h = 1.0\n'),
    )

    assert log.receipt.utc.unix_offset_s == pytest.approx(20879 * 86400 + 36899.5, abs=1e-3)
    assert "local-time" not in codes(log)


def test_a_date_whose_order_is_unclear_is_not_given(tmp_path):
    log = by_map(
        tmp_path,
        "d,t,v\n02/03/2027,11:14:59,36\n02/03/2027,11:15:00,72\n",
        time('"d", "t"', "date and time"),
    )

    assert log.receipt.utc.offset_s is None
    assert "date-order-unclear" in codes(log)
    assert log["gps"]["time_s"].tolist() == [0.0, 1.0]


def test_a_day_that_is_said_goes_with_times_alone(tmp_path):
    log = by_map(
        tmp_path,
        "t,v\n23:59:59,36\n00:00:01,72\n",
        time('"t"', "time of day", "date = 2027-03-02\nutc_offset_h = 0.0\n"),
    )

    assert log.receipt.utc.unix_offset_s == pytest.approx(20879 * 86400 + 86399)
    assert log["gps"]["time_s"].tolist() == [0.0, 2.0]


def test_decimal_commas_missing_values_sign_scale_and_wrap(tmp_path):
    columns = """
[[column]]
header = "U"
table = "battery"
is = "voltage_v"
unit = "mV"
scale = 10
[[column]]
header = "I"
table = "battery"
is = "current_a"
unit = "A"
sign = -1
missing = [99.9, "kaputt"]
[[column]]
header = "K"
table = "gps"
is = "course_deg"
unit = "deg"
wrap = 65.536
scale = 10
"""
    text = "t;U;I;K\n0,5;2510,0;-3,5;16,16\n1,0;2500,0;99,9;-30,38\n1,5;2490,0;kaputt;1,5\n"
    log = by_map(tmp_path, text.encode("utf-16"), time('"t"', "seconds"), columns)

    # 2510 * 10 mV is 25.1 V
    assert log["battery"]["voltage_v"].tolist() == pytest.approx([25.1, 25.0, 24.9])
    assert log["battery"]["current_a"].tolist() == pytest.approx([3.5, np.nan, np.nan], nan_ok=True)
    assert log["gps"]["course_deg"].tolist() == pytest.approx([161.6, 351.56, 15.0])
    assert "unreadable-cells" not in codes(log)


def test_a_clock_with_points_in_a_file_of_decimal_commas(tmp_path):
    log = by_map(
        tmp_path,
        "t;v\n0.5;36,5\n1.0;36,5\n1.5;72,0\n",
        '[file]\ndecimal = ","\n' + time('"t"', "seconds"),
    )

    assert log["gps"]["time_s"].tolist() == [0.5, 1.0, 1.5]


def test_channels_instances_cells_and_parts(tmp_path):
    columns = """
column = [
  { header = "gas", table = "inputs", is = "pulse_us", unit = "us", channel = 3 },
  { header = "rud", table = "inputs", is = "pulse_us", unit = "stick", channel = 4 },
  { header = "u1", table = "battery", is = "voltage_v", unit = "V", instance = 0 },
  { header = "u2", table = "battery", is = "voltage_v", unit = "V", instance = 1 },
  { header = "c1", table = "battery", is = "cell_voltages", unit = "V", cell = 1 },
  { header = "c2", table = "battery", is = "cell_voltages", unit = "V", cell = 2 },
  { header = "place", table = "gps", is = "latitude_deg", unit = "deg", part = 1 },
  { header = "place", table = "gps", is = "longitude_deg", unit = "deg", part = 2 },
]
"""
    text = (
        "t,gas,rud,u1,u2,c1,c2,place\n"
        "0,1100,0,25,24,4.1,4.2,0.001S 0.002E\n"
        "1,1200,-1024,25,24,4.0,4.1,0.003S 0.004W\n"
    )
    log = by_map(tmp_path, text, "", columns + time('"t"', "seconds"))

    assert log["inputs"].to_dict("list") == {
        "time_s": [0.0, 0.0, 1.0, 1.0],
        "channel": [3, 4, 3, 4],
        "pulse_us": [1100.0, 1500.0, 1200.0, 988.0],
    }
    battery = log["battery"]
    assert battery["instance"].tolist() == [0, 1, 0, 1]
    assert battery["voltage_v"].tolist() == [25.0, 24.0, 25.0, 24.0]
    assert battery["cell_voltages"].tolist() == [[4.1, 4.2], None, [4.0, 4.1], None]
    assert log["gps"]["latitude_deg"].tolist() == [-0.001, -0.003]
    assert log["gps"]["longitude_deg"].tolist() == [0.002, -0.004]


def test_a_table_has_no_rows_where_the_file_has_nothing_of_it(tmp_path):
    columns = SPEED + '\n[[column]]\nheader = "m"\ntable = "modes"\nis = "mode"\n'
    text = "t,v,m\n0,36,MAN\n1,,MAN\n2,72,AUTO\n3,,\n4,,AUTO\n"
    log = by_map(tmp_path, text, time('"t"', "seconds"), columns)

    assert log["gps"]["time_s"].tolist() == [0.0, 2.0]
    assert log["modes"].to_dict("list") == {"time_s": [0.0, 2.0], "mode": ["MAN", "AUTO"]}


def test_ten_rows_on_each_whole_second(tmp_path):
    text = "t,v\n" + "".join(f"10:00:{n // 10:02d},{n}\n" for n in range(100))
    log = by_map(tmp_path, text, time('"t"', "time of day"))

    assert np.diff(log["gps"]["time_s"]) == pytest.approx(np.full(99, 0.1), abs=1e-9)
    assert "whole-second-stamps" in codes(log)


def test_a_boot_clock_that_restarts_goes_on(tmp_path):
    seconds = [*range(100, 140), *range(2, 42)]
    text = "t,v\n" + "".join(f"{t},{n}\n" for n, t in enumerate(seconds))
    log = by_map(tmp_path, text, time('"t"', "seconds"))

    assert len(log["gps"]) == 80
    assert (np.diff(log["gps"]["time_s"]) > 0).all()
    assert "clock-restart" in codes(log)
    assert log.receipt.seams


def test_a_unit_in_the_cells_that_contradicts_the_map_is_not_read(tmp_path):
    log = by_map(tmp_path, "t,v\n0,36 kn\n1,72 kn\n", time('"t"', "seconds"))

    assert "gps" not in log
    assert "unit-unclear" in codes(log)


def test_thousands_or_decimals_is_unclear_until_the_map_says(tmp_path):
    text = 't,v\n0,"1,234"\n1,"2,345"\n'
    unclear = by_map(tmp_path, text, time('"t"', "seconds"))
    said = by_map(
        tmp_path, text, time('"t"', "seconds"), SPEED.replace('"km/h"', '"m/s"\ndecimal = ","')
    )

    assert "gps" not in unclear
    assert "unit-unclear" in codes(unclear)
    assert said["gps"]["ground_speed_m_s"].tolist() == [1.234, 2.345]


def test_a_header_that_the_file_lacks_names_the_nearest(tmp_path):
    with pytest.raises(TeamFileError, match="Did you mean 'Speed'"):
        by_map(
            tmp_path, "t,Speed\n0,1\n1,2\n", time('"t"', "seconds"), SPEED.replace('"v"', '"Sped"')
        )
    with pytest.raises(TeamFileError, match="Its headers start with 't', 'v'"):
        by_map(tmp_path, "t,v\n0,1\n1,2\n", time('"Zeitpunkt"', "seconds"))


def test_the_map_of_another_file_is_called_that(tmp_path):
    with pytest.raises(TeamFileError, match="it is the map of another file"):
        by_map(tmp_path, "a,b\n1,2\n2,3\n", time('"t"', "seconds"))


@pytest.mark.parametrize("name", ["calm.bin", "radio_copy.tlog"])
def test_a_binary_log_is_not_read_by_a_map(tmp_path, name):
    head = data_path("sample_flights", name).read_bytes()[:20_000]
    with pytest.raises(LogFileError, match="a column map is for tables as text"):
        by_map(tmp_path, head, time('"t"', "seconds"))


def test_no_row_with_a_time_is_an_error_of_the_log(tmp_path):
    with pytest.raises(LogFileError, match=r"Correct \[time\]"):
        by_map(tmp_path, "t,v\nx,1\ny,2\n", time('"t"', "seconds"))


def test_a_map_goes_before_the_importer_of_a_card(tmp_path):
    columns = """
[[column]]
header = "Ptch(rad)"
table = "attitude"
is = "pitch_rad"
unit = "rad"
sign = -1
"""
    log = by_map(tmp_path, card(*ROWS), time('"Date", "Time"', "date and time"), columns)

    assert set(log) == {"attitude"}
    assert log["attitude"]["pitch_rad"].tolist() == [-0.05, -0.05, -0.05]
    # What is known of cards (a copy from the radio, a clock set by hand) still holds of it.
    assert log.receipt.format == "transmitter"


def test_the_receipt_of_any_other_table_names_no_device(tmp_path):
    log = by_map(tmp_path, "t,v\n0,1\n1,2\n2,3\n", time('"t"', "seconds"))

    assert log.receipt.format == "delimited"


def test_the_receipt_names_the_map_and_its_hash(tmp_path):
    import hashlib

    log = by_map(tmp_path, "t,v,w\n0,36,1\n1,72,2\n", time('"t"', "seconds"))

    sha256 = hashlib.sha256((tmp_path / "map.toml").read_bytes()).hexdigest()
    assert f"column map map.toml, SHA-256 {sha256}" in log.receipt.notes
    source = log.receipt.columns[0]
    assert (source.source, source.unit, source.why) == ("v", "km/h", "the column map")
    assert log.receipt.unused == ("w",)


# --- what convert writes comes back


def _values(name: str, column: str, rng: np.random.Generator, rows: int) -> object:
    spec = next(c for c in TABLES[name] if c.name == column)
    if spec.text:
        words = ["MANUAL", 'say "go"', "a, b; c", "", "ÄÖ ü", "#1"]
        return np.array([words[i] for i in rng.integers(0, len(words), rows)], dtype=object)
    if column == "cell_voltages":
        cells = [rng.uniform(3, 4.2, 6).tolist() if rng.random() < 0.7 else None
                 for _ in range(rows)]  # fmt: skip
        return pd.Series(cells, dtype=object)
    if column in ("instance", "channel"):
        return rng.integers(1, 5, rows)
    if column == "time_utc":
        return 1.8e9 + rng.random(rows)
    low = spec.low if spec.low is not None else -1e6
    high = spec.high if spec.high is not None else 1e6
    values = rng.uniform(max(low, -1e3), min(high, 1e6), rows)
    return np.where(rng.random(rows) < 0.2, np.nan, values)


@given(st.integers(0, 2**32 - 1), st.integers(1, 60))
@settings(max_examples=15, deadline=None)
@pytest.mark.parametrize("name", list(TABLES))
def test_every_table_comes_back_through_its_own_map(tmp_path_factory, name, seed, rows):
    rng = np.random.default_rng(seed)
    columns = {c.name: _values(name, c.name, rng, rows) for c in TABLES[name]}
    columns["time_s"] = np.sort(rng.uniform(0, 900, rows))
    table = pd.DataFrame({c: pd.Series(v, dtype=getattr(v, "dtype", None))
                          for c, v in columns.items()})  # fmt: skip
    folder = tmp_path_factory.mktemp("tables")
    write_tables(
        Recording({name: table}, Receipt("a.bin", 9, "ab" * 32, "made", 1)), folder / "t", "csv"
    )
    written, map_path = folder / "t" / f"{name}.csv", folder / "map.toml"
    map_path.write_text(map_text(guess_columns(written)), encoding="utf-8")
    back = flightlog.read(written, columns=map_path)[name]

    pd.testing.assert_frame_equal(back, table, check_dtype=False)


# --- whatever the bytes

_CELLS = st.one_of(
    st.text(max_size=12),
    st.floats(allow_nan=True).map(repr),
    st.sampled_from(["2027-03-02", "10:00:00.5", "", '"', "0.1 0.2", "1,5", "-30.38", "Date"]),
)


@given(
    st.lists(st.lists(_CELLS, max_size=8), max_size=12),
    st.sampled_from([",", ";", "\t"]),
    st.sampled_from(["utf-8", "utf-16", "cp1252"]),
    st.booleans(),
)
@settings(max_examples=75, deadline=None)
def test_any_text_gives_a_recording_or_an_error_of_ours(
    tmp_path_factory, rows, delimiter, encoding, as_card
):
    folder = tmp_path_factory.mktemp("any")
    log, given_map = folder / "log.csv", folder / "map.toml"
    header = "Date,Time,GPS,Hdg(@),RxBt(V),Curr(A),FM,Yaw(rad)".replace(",", delimiter)
    text = header + "\n" + "\n".join(delimiter.join(row) for row in rows)
    log.write_bytes(text.encode(encoding, "replace"))
    try:
        if as_card:
            recording = flightlog.read(log)
        else:
            given_map.write_text(map_text(guess_columns(log)), encoding="utf-8")
            recording = flightlog.read(log, columns=given_map)
    except FlightlogError:
        return
    assert all((np.diff(t["time_s"]) >= 0).all() for t in (recording[n] for n in recording))
