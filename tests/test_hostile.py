"""Damaged and absurd logs, from the bytes to the words: nothing may crash, hang or lie.

The bytes are those of sample flights, damaged with a fixed seed, and of files made by hand
with an independent writer. Each goes the whole way: reading, debrief, JSON, words.
"""

from __future__ import annotations

import json
import math
import random
import struct
import time
import tracemalloc
from collections.abc import Callable, Iterator
from functools import cache
from itertools import pairwise
from pathlib import Path

import pytest

from flightlog.cli.given import Options, gather
from flightlog.contract import dumps
from flightlog.debriefing import Debrief, debrief
from flightlog.errors import FlightlogError
from flightlog.importers import read
from flightlog.reports.words import debrief_lines
from flightlog.resources import data_path
from tests.importers.dataflash_writer import Writer, with_fmt

SAMPLES = data_path("sample_flights")
LONGEST_S = 20.0
"""For one file; the slowest takes a tenth of it on a laptop. [s]"""

pytestmark = pytest.mark.filterwarnings("error")


@cache
def given():
    return gather(
        Options(
            site=SAMPLES / "site.toml",
            aircraft=SAMPLES / "pannier.toml",
            rules=data_path("checklists", "club_trial_2027.toml"),
            mass="8.0",
            air_temperature="17",
            payload_units=8,
        )
    )


def the_whole_way(path: Path, content: bytes) -> Debrief | None:
    """Debrief a file and say it; None when it is refused on purpose."""
    path.write_bytes(content)
    began = time.monotonic()
    try:
        recording = read(path)
    except FlightlogError:
        return None
    result = debrief(recording, *given())
    json.loads(dumps(result), parse_constant=_refuse)
    for short in (True, False):
        lines = debrief_lines(result, short=short)
        assert lines[0]
        assert not [line for line in lines if len(line) > 80 and " " in line.strip()]
    assert time.monotonic() - began < LONGEST_S
    _in_order(result)
    return result


def _refuse(constant: str) -> float:
    raise AssertionError(f"{constant} in the JSON")


def _in_order(result: Debrief) -> None:
    for sortie in (s.sortie for s in result.sorties):
        events = [sortie.start_s, sortie.liftoff_s, sortie.touchdown_s, sortie.end_s]
        known = [t for t in events if t is not None]
        assert all(a <= b + 1e-6 for a, b in pairwise(known)), events
        assert all(math.isfinite(t) for t in known)


# --- damage to the bytes of a flight


def cut_end(content: bytearray, rng: random.Random) -> None:
    del content[rng.randrange(len(content)) :]


def cut_middle(content: bytearray, rng: random.Random) -> None:
    for _ in range(rng.choice([1, 8])):
        at = rng.randrange(len(content))
        del content[at : at + int(10 ** rng.uniform(1, 5.3))]


def flip_bits(content: bytearray, rng: random.Random) -> None:
    for _ in range(rng.choice([3, 300, 10000])):
        content[rng.randrange(len(content))] ^= 1 << rng.randrange(8)


def erase(content: bytearray, rng: random.Random) -> None:
    for _ in range(rng.choice([1, 10])):
        at = rng.randrange(len(content))
        count = min(int(10 ** rng.uniform(1, 5.3)), len(content) - at)
        content[at : at + count] = rng.choice([bytes(count), b"\xff" * count, rng.randbytes(count)])


def absurd_floats(content: bytearray, rng: random.Random) -> None:
    values = [struct.pack("<f", v) for v in (math.nan, math.inf, -math.inf, 3e38, -3e38, 1e-40)]
    for _ in range(rng.choice([30, 3000])):
        at = rng.randrange(len(content) - 4)
        content[at : at + 4] = rng.choice(values)


def repeat(content: bytearray, rng: random.Random) -> None:
    """Time runs backwards where a part stands twice."""
    at = rng.randrange(len(content))
    content[at:at] = content[at : at + int(10 ** rng.uniform(2, 5.5))]


DAMAGES = (cut_end, cut_middle, flip_bits, erase, absurd_floats, repeat)


TIMES = {"position_1hz_only.bin": 6, "headwind.bin": 2, "radio_copy.tlog": 2}


@pytest.mark.parametrize(("name", "seed"), [(n, seed) for n in TIMES for seed in range(TIMES[n])])
@pytest.mark.parametrize("damage", DAMAGES, ids=lambda d: d.__name__)
def test_a_damaged_flight_is_refused_or_told(tmp_path, name, damage, seed):
    content = bytearray((SAMPLES / name).read_bytes())
    damage(content, random.Random(f"{name} {damage.__name__} {seed}"))

    the_whole_way(tmp_path / name, bytes(content))


# --- a damaged file says the same or says why not


def _records(content: bytes) -> Iterator[tuple[float, int]]:
    """Times [s] and places of the position records of a sample."""
    head = struct.pack("<BBB", 0xA3, 0x95, _gps_type(content))
    at = content.find(head)
    while at >= 0:
        yield struct.unpack_from("<Q", content, at + 3)[0] / 1e6, at
        at = content.find(head, at + 1)


def _gps_type(content: bytes) -> int:
    at = content.index(b"GPS\0", 3)
    return content[at - 2]


def _place(content: bytes, time_s: float) -> int:
    return min(at for t, at in _records(content) if time_s <= t < time_s + 30)


@cache
def _undamaged() -> Debrief:
    return debrief(read(SAMPLES / "heavy_misses_limit.bin"), *given())


def _roll_window() -> tuple[float, float]:
    sortie = _undamaged().sorties[0].sortie
    assert sortie.liftoff_s is not None
    return sortie.start_s, sortie.liftoff_s


HOLES = {
    "the end of the roll and the climb": (0.6, 40.0),
    "just around the lift-off": (0.8, 4.0),
    "all of the roll": (-2.0, 8.0),
    "its middle": (0.3, 2.5),
}
"""Where in the roll a hole begins, as a share of it, and how long it is [s]."""


@pytest.mark.parametrize("hole", HOLES)
def test_a_hole_in_the_roll_never_makes_a_roll_that_is_met(tmp_path, hole):
    content = (SAMPLES / "heavy_misses_limit.bin").read_bytes()
    start, liftoff = _roll_window()
    share, length = HOLES[hole]
    first = start + share * (liftoff - start) if share >= 0 else start + share
    damaged = bytearray(content)
    a, b = _place(content, first), _place(content, first + length)
    damaged[a:b] = bytes(b - a)

    result = the_whole_way(tmp_path / "a.bin", bytes(damaged))
    assert result is not None
    for sortie in result.sorties:
        # The true roll is 47.8 m and the limit 40 m.
        assert "takeoff.ground_roll" in sortie.withheld
        assert "met" not in [o.outcome for o in sortie.outcomes if o.figure.startswith("takeoff")]


def test_a_hole_after_the_climb_leaves_the_roll_and_is_said(tmp_path):
    content = bytearray((SAMPLES / "heavy_misses_limit.bin").read_bytes())
    _, liftoff = _roll_window()
    a, b = _place(content, liftoff + 90), _place(content, liftoff + 100)
    content[a:b] = bytes(b - a)

    result = the_whole_way(tmp_path / "a.bin", bytes(content))
    assert result is not None
    whole, holed = _undamaged().sorties[0], result.sorties[0]
    said = {f.code for f in (*holed.findings, *result.findings)}
    assert "damaged-bytes" in said
    assert "The file is damaged" in " ".join(debrief_lines(result)[:3])
    for id_, figure in holed.figures.items():
        before = whole.figures.get(id_)
        if before is None or not math.isfinite(before.quantity.value):
            continue
        low, high = figure.quantity.interval(0.999)
        low2, high2 = before.quantity.interval(0.999)
        apart = low > high2 or high < low2
        assert not apart or any("gap" in code for code in said), id_


# --- files made by hand


def plane(
    change: Callable[[str, float, list[float]], list[float] | None] | None = None,
) -> bytes:
    """A log of 60 s with the usual messages, in which a test changes every record."""
    log = with_fmt()
    log.declare(130, "GPS", "QBIHBcLLeffff", "TimeUS,Status,GMS,GWk,NSats,HDop,Lat,Lng,Alt,"
                "Spd,GCrs,VZ,Yaw")  # fmt: skip
    log.declare(131, "BARO", "Qfff", "TimeUS,Alt,Press,Temp")
    log.declare(132, "IMU", "Qffffff", "TimeUS,GyrX,GyrY,GyrZ,AccX,AccY,AccZ")
    log.declare(133, "ATT", "Qfff", "TimeUS,Roll,Pitch,Yaw")
    log.declare(134, "BAT", "QBfff", "TimeUS,Inst,Volt,Curr,CurrTot")
    for tick in range(60 * 25):
        t = 10 + tick / 25
        speed = min(max(0.0, 3 * (t - 30)), 14.0)
        height = min(max(0.0, 2.5 * (t - 35)), 40.0)
        rows: list[tuple[str, list[float]]] = [
            ("IMU", [0, 0, 0, 3.0 if 0 < speed < 14 else 0, 0, -9.81])
        ]
        if tick % 5 == 0:
            lat = 10_000_000 + int(8 * speed * (t - 30))
            rows += [
                ("GPS", [3, 1000 * t, 2200, 12, 90, lat, 20_000_000, int(100 * (200 + height)),
                         speed, 5.0, -2.5 if 0 < height < 40 else 0, 0]),
                ("BARO", [height, 98000 - 11.5 * height, 20]),
                ("ATT", [0, 8 if height > 0 else 0, 5]),
                ("BAT", [0, 22.5, 30 if t > 30 else 0.2, 30 * max(0, t - 30) / 3.6]),
            ]  # fmt: skip
        for name, values in rows:
            changed = change(name, t, values) if change else values
            if changed is not None:
                _add(log, name, t, changed)
    return bytes(log.data)


def _add(log: Writer, name: str, t: float, values: list[float]) -> None:
    # A changed list may say its own time first.
    chars = log.types[name][1][1:]
    if len(values) > len(chars):
        t, values = values[0], values[1:]
    cast = [v if c == "f" else int(v) for c, v in zip(chars, values, strict=True)]
    stamp = int(1e6 * t) if math.isfinite(t) else 2**64 - 1
    log.add(name, min(max(stamp, 0), 2**64 - 1), *cast)


def _every_float(value: float) -> Callable[[str, float, list[float]], list[float]]:
    floats = {"GPS": slice(8, 12), "BARO": slice(0, 3), "IMU": slice(0, 6), "ATT": slice(0, 3),
              "BAT": slice(1, 4)}  # fmt: skip

    def change(name: str, _t: float, values: list[float]) -> list[float]:
        values = list(values)
        part = floats[name]
        values[part] = [value] * len(values[part])
        return values

    return change


CHANGES: dict[str, Callable[[str, float, list[float]], list[float] | None]] = {
    "nothing": lambda _n, _t, v: v,
    "nan everywhere": _every_float(math.nan),
    "infinity everywhere": _every_float(math.inf),
    "huge values": _every_float(3e38),
    "tiny values": _every_float(1e-40),
    "zeros": _every_float(0.0),
    "one value for ever": _every_float(7.0),
    "time backwards": lambda _n, t, v: [80 - t, *v],
    "time stands still": lambda _n, _t, v: [50.0, *v],
    "time of the last millennium": lambda _n, t, v: [t + 1.8e13 if t > 40 else t, *v],
    "time jumps about": lambda _n, t, v: [(t * 7919) % 61, *v],
    "one row of each": lambda _n, t, v: v if t < 10.01 else None,
    "silence in the middle": lambda _n, t, v: v if not 33 < t < 50 else None,
    "a year of silence": lambda _n, t, v: [t + 3.2e7, *v] if t > 45 else v,
    "now and then a nan": lambda n, t, v: _every_float(math.nan)(n, t, v) if t % 1 < 0.3 else v,
    "positions at the pole": lambda n, _t, v: [*v[:5], 9e8, *v[6:]] if n == "GPS" else v,
    "positions leap": lambda n, t, v: (
        [*v[:5], -v[5] if int(t * 5) % 2 else v[5], *v[6:]] if n == "GPS" else v
    ),
}


@pytest.mark.parametrize("change", CHANGES)
def test_a_log_of_absurd_values_is_told(tmp_path, change):
    the_whole_way(tmp_path / "a.bin", plane(CHANGES[change]))


@pytest.mark.parametrize("content", [b"", b"\xa3", b"\xa3\x95", b"\xa3\x95\x80", bytes(4096)])
def test_a_file_of_almost_nothing_is_refused(tmp_path, content):
    assert the_whole_way(tmp_path / "a.bin", content) is None


def _declarations(count: int) -> bytes:
    rng = random.Random(5)
    one = bytearray()
    for k in range(count):
        name = f"{k % 10000:04d}".encode()
        one += b"\xa3\x95\x80" + struct.pack(
            "<BB4s16s64s", rng.randrange(256), rng.randrange(256), name, b"QffffZ", b"TimeUS,a,b"
        )
    return bytes(one)


def test_a_hundred_thousand_declarations_take_bounded_time_and_memory(tmp_path):
    content = with_fmt().data + _declarations(100_000)
    tracemalloc.start()
    try:
        the_whole_way(tmp_path / "a.bin", bytes(content))
        peak = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    assert peak < 60 * len(content)


@pytest.mark.parametrize("length", [0, 1, 2, 3, 255])
def test_a_declared_length_that_lies_does_not_hang(tmp_path, length):
    log = with_fmt().declare(130, "GPS", "QB", "TimeUS,Status", length=length)
    for k in range(2000):
        log.add("GPS", k, 3)

    the_whole_way(tmp_path / "a.bin", bytes(log.data))
