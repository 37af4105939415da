"""Real and independently simulated logs: who is whose partner. Needs ``FLIGHTLOG_CORPUS``."""

from __future__ import annotations

import os
from dataclasses import replace
from functools import cache
from pathlib import Path

import pytest

from flightlog.importers import read
from flightlog.joining import Sketch, group, sketch
from flightlog.joining.copies import has_rows_of
from flightlog.recording import UtcRelation

CORPUS = os.environ.get("FLIGHTLOG_CORPUS")
pytestmark = pytest.mark.skipif(not CORPUS, reason="FLIGHTLOG_CORPUS is not set")


@cache
def seen(name: str) -> Sketch:
    path = Path(CORPUS or "") / name
    return sketch(read(path), path)


def without_clock(one: Sketch) -> Sketch:
    return replace(one, utc=UtcRelation())


FLIGHTS = [
    *(f"runway/r{n}.bin" for n in range(25, 31)),
    *(f"runway/j{n}.bin" for n in range(31, 41)),
    "dataflash/runway_simulated.bin",
    "telemetry/runway_simulated.tlog",
    "dataflash/copter_starts_in_air.bin",
    "telemetry/copter_seven_flights_reboot.tlog",
    "dataflash/plane_ground_only_a.bin",
    "dataflash/plane_ground_only_b.bin",
    "telemetry/electric_engine_cut_2018.tlog",
    "dataflash/electric_hand_launch_2013.bin",
]


@pytest.mark.parametrize("clocks", ["as logged", "unknown"])
def test_different_flights_stay_apart_at_one_place_with_one_aircraft(clocks):
    """Sixteen of them take off from four runways; those of one aircraft climb out alike."""
    sketches = [seen(name) for name in FLIGHTS]
    if clocks == "unknown":
        sketches = [without_clock(one) for one in sketches]
    grouping = group(sketches)

    assert not grouping.copies
    assert [g.members for g in grouping.groups] == [(n,) for n in range(len(FLIGHTS))]


def test_the_binary_and_the_text_of_one_flight_are_one_recording():
    text = seen("dataflash/electric_hand_launch_2013.log")
    binary = seen("dataflash/electric_hand_launch_2013.bin")
    grouping = group([text, binary])

    # The text has longitudes that the binary has as well, at the same times of the same clock.
    assert has_rows_of(binary, text) or has_rows_of(text, binary)
    assert [c.code for c in grouping.copies] == ["same-recording"]
    assert len(grouping.groups) == 1


def test_a_log_and_its_first_half_are_one(tmp_path):
    whole = Path(CORPUS or "") / "runway/r28.bin"
    half = tmp_path / "copied_too_early.bin"
    half.write_bytes(whole.read_bytes()[: whole.stat().st_size // 2])
    grouping = group([sketch(read(half), half), sketch(read(whole), whole)])

    assert [(c.index, c.of, c.code) for c in grouping.copies] == [(0, 1, "longer-copy")]


def test_half_the_fixes_of_a_log_on_another_clock_find_their_place():
    """Every third fix, one hour off, without UTC: a second logger on the same aircraft."""
    from flightlog.joining import join
    from tests.joining.made import dressed

    for name in ("runway/j33.bin", "dataflash/runway_simulated.bin", "runway/r30.bin"):
        whole = read(Path(CORPUS or "") / name)
        thin = dressed(whole, "second.gpx", clock_s=3600.0, format="gpx")
        thin = type(thin)({"gps": thin["gps"].iloc[1::3].reset_index(drop=True)}, thin.receipt)
        [joined] = join([whole, thin])
        [partner] = joined.receipt.partners
        assert partner.offset_s == pytest.approx(-3600.0, abs=0.05), name
