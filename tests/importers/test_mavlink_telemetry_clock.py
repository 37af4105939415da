"""The clocks of a telemetry file: boot, arrival and UTC."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from tests.importers.test_mavlink_telemetry import (
    START_US,
    Tape,
    attitude,
    codes,
    heartbeat,
    power,
    read,
    short_flight,
)


def test_microseconds_in_32_bits_wrap(tmp_path: Path) -> None:
    tape = Tape()
    start = 2**32 / 1e6 - 1.0
    for step in range(20):
        boot = start + 0.1 * step
        attitude(tape, 0.1 * step, boot)
        pulses = {f"servo{n}_raw": 1500 for n in range(1, 9)}
        tape.add(
            0.1 * step, "SERVO_OUTPUT_RAW", time_usec=round(boot * 1e6) % 2**32, port=0, **pulses
        )
    outputs = read(tmp_path, tape)["outputs"].query("channel == 1")
    np.testing.assert_allclose(outputs["time_s"], start + 0.1 * np.arange(20), atol=1e-6)


def test_restart_goes_on_by_times_of_arrival(tmp_path: Path) -> None:
    tape = Tape()
    for step in range(100):
        attitude(tape, 0.1 * step, 200 + 0.1 * step, roll=0.1)
    for step in range(100):
        attitude(tape, 30 + 0.1 * step, 12 + 0.1 * step, roll=0.2)
    recording = read(tmp_path, tape)
    times = recording["attitude"]["time_s"].to_numpy()
    assert len(times) == 200
    assert (np.diff(times) > 0).all()
    assert recording.receipt.seams == (pytest.approx(230.0),)
    restart = next(f for f in recording.findings if f.code == "clock-restart")
    assert (restart.start_s, restart.end_s) == (pytest.approx(209.9), pytest.approx(230.0))
    assert "log-gap" not in codes(recording)


def test_a_damaged_arrival_time_moves_nothing(tmp_path: Path) -> None:
    tape = short_flight()
    want = read(tmp_path, tape)["arming"]["time_s"].tolist()
    for index, part in enumerate(tape.parts):
        if part[8 + 7] == 0 and index > 0:  # a heartbeat
            tape.parts[index] = b"\x00\x0f" + part[2:]
    got = read(tmp_path, tape)["arming"]["time_s"].tolist()
    assert got == pytest.approx(want, abs=0.2)


def test_no_boot_stamps_at_all(tmp_path: Path) -> None:
    tape = Tape()
    for step in range(10):
        heartbeat(tape, float(step))
        power(tape, step + 0.5, voltage=24_000, current=100)
    recording = read(tmp_path, tape)
    assert recording.receipt.time_origin == "first row"
    np.testing.assert_allclose(recording["battery"]["time_s"], np.arange(10) + 0.5)


@pytest.mark.parametrize(
    ("aircraft_unix", "offset", "std"),
    [(1_750_000_010, 1_750_000_000.0, 0.2), (0, START_US / 1e6 - 10.0, 60.0)],
)
def test_utc_from_the_aircraft_else_from_the_recorder(
    tmp_path: Path, aircraft_unix: int, offset: float, std: float
) -> None:
    tape = Tape()
    for step in range(10):
        unix = (aircraft_unix + step) * 10**6 if aircraft_unix else 0
        tape.add(step, "SYSTEM_TIME", time_unix_usec=unix, time_boot_ms=10_000 + 1000 * step)
        attitude(tape, step, 10 + step)
    utc = read(tmp_path, tape).receipt.utc
    assert utc.offset_s == pytest.approx(offset, abs=1e-3)
    assert utc.std_s == pytest.approx(std)


def test_silence_is_a_gap(tmp_path: Path) -> None:
    tape = Tape()
    for step in (*range(20), *range(80, 100)):
        attitude(tape, 0.1 * step, 10 + 0.1 * step)
    gap = next(f for f in read(tmp_path, tape).findings if f.code == "log-gap")
    assert (gap.start_s, gap.end_s) == (pytest.approx(11.9), pytest.approx(18.0))


def test_low_rates_are_told(tmp_path: Path) -> None:
    finding = next(f for f in read(tmp_path, short_flight()).findings if f.code == "radio-copy")
    assert finding.evidence["attitude_hz"] == pytest.approx(5.0)
