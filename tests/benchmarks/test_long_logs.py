"""The logs that the benchmarks make are valid, of other flights, and of the wanted length."""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest

from flightlog.debriefing import debrief
from flightlog.importers import read
from flightlog.importers.common import sha256_of_file
from tests.benchmarks.long_logs import Source, source_of, write_log, write_season
from tests.operations.made import SAMPLES

CALM = SAMPLES / "calm.bin"
SIZE = CALM.stat().st_size


@pytest.fixture(scope="module")
def source() -> Source:
    return source_of(CALM, without=())


def test_walking_by_the_declarations_meets_every_byte(source: Source) -> None:
    lengths = [source.formats[id][1].itemsize for id in source.ids.tolist()]
    assert source.starts.tolist() == [0, *np.cumsum(lengths)[:-1].tolist()]
    assert sum(lengths) == SIZE


def test_a_longer_log_is_whole_and_its_clocks_and_counters_go_on(
    source: Source, tmp_path: Path
) -> None:
    path = tmp_path / "long.bin"
    size = write_log(path, source, 3 * SIZE)
    assert size == path.stat().st_size == pytest.approx(3 * SIZE, rel=0.15)
    short, long = read(CALM), read(path)
    assert long.findings == short.findings == ()
    assert long.receipt.dropped == short.receipt.dropped
    for name in ("gps", "imu", "battery"):
        steps, before = (np.diff(r[name]["time_s"]) for r in (long, short))
        assert steps.min() > 0
        assert steps.max() < before.max() + 0.5
    used, once = (r["battery"]["charge_used_coulomb"].to_numpy() for r in (long, short))
    assert np.diff(used).min() >= np.diff(once).min() - 0.001  # it is noisy at rest
    assert np.diff(used).max() <= np.diff(once).max() + 0.001
    fixes = long["gps"]
    assert np.ptp(fixes["time_utc"] - fixes["time_s"]) < 0.01
    moved = np.hypot(np.diff(fixes["latitude_deg"]), np.diff(fixes["longitude_deg"]))
    assert moved.max() * 111_195 < 10  # no leap at a seam: 5 fixes a second, 20 m/s at most


def test_a_shorter_log_is_a_flight_of_fewer_laps(source: Source, tmp_path: Path) -> None:
    path = tmp_path / "short.bin"
    write_log(path, source, round(0.6 * SIZE))
    (flight,) = debrief(read(path)).sorties
    assert {f.code for f in flight.findings} == {"not-excluded"}  # what calm.bin itself has
    truth = json.loads(CALM.with_suffix(".truth.json").read_text(encoding="utf-8"))
    assert flight.figures["takeoff.ground_roll"].quantity.value == pytest.approx(
        truth["ground_roll_m"], rel=0.1
    )


def test_a_season_is_of_different_flights_at_different_times(
    source: Source, tmp_path: Path
) -> None:
    last = datetime(2027, 5, 2, 10, 0, tzinfo=UTC)
    logs = list(write_season(tmp_path, source, 6, round(0.6 * SIZE), last))
    assert sorted(tmp_path.iterdir()) == logs
    assert len({sha256_of_file(log) for log in logs}) == 6
    began = [read(log)["gps"]["time_utc"].iloc[0] for log in (logs[0], logs[1], logs[-1])]
    # Four a day, two hours apart, the last of a day at ten.
    wanted = [last - timedelta(days=1, hours=2), last - timedelta(days=1), last]
    assert began == pytest.approx([t.timestamp() for t in wanted], abs=30)  # and leap seconds
