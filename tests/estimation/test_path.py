"""The smoothed path against motion with known truth."""

from __future__ import annotations

import time
from collections.abc import Callable

import numpy as np
import pandas as pd
import pytest

from flightlog.estimation.path import FlightPath, estimate_path
from flightlog.recording import Recording
from tests.synthetic import Story, as_recording, shifted

LATENCY_S = 0.15
BEGIN_S, END_S = 100.0, 220.0
METRES_PER_DEGREE = 111_319.49079327358  # of longitude at the equator on WGS-84
METRES_PER_LATITUDE = 110_574.27582  # at the equator


Motion = Callable[[np.ndarray], np.ndarray]


def circle(t: np.ndarray) -> np.ndarray:
    """East, north and height: 60 m circles at 18 m/s with slow waves in height."""
    angle = 18.0 / 60.0 * (t - BEGIN_S)
    return np.stack(
        [60 * np.sin(angle), 60 * (1 - np.cos(angle)), 30 + 10 * np.sin(0.2 * (t - BEGIN_S))]
    )


def straight(t: np.ndarray) -> np.ndarray:
    """East, north and height: level at 16 m/s to the north-east."""
    return np.stack([9.6 * (t - BEGIN_S), 12.8 * (t - BEGIN_S), 20.0 + 0 * t])


def rate(motion: Motion, t: np.ndarray) -> np.ndarray:
    return (motion(t + 1e-3) - motion(t - 1e-3)) / 2e-3


def look(
    motion: Motion = circle,
    *,
    hz: float = 5.0,
    latency_s: float = LATENCY_S,
    turn_deg: float = 0.0,
    baro: bool = True,
    noise: float = 1.0,
    seed: int = 5,
) -> Recording:
    """What a receiver and a barometer log of a motion."""
    rng = np.random.default_rng(seed)
    true = np.arange(BEGIN_S, END_S, 1 / hz)
    place, speed = motion(true), rate(motion, true)
    place[:2] += 0.1 * noise * rng.normal(size=(2, true.size))
    speed[:2] += 0.1 * noise * rng.normal(size=(2, true.size))
    speed[2] += 0.2 * noise * rng.normal(size=true.size)
    c, s = np.cos(np.radians(turn_deg)), np.sin(np.radians(turn_deg))
    turn = np.array([[c, s], [-s, c]])  # clockwise
    place[:2], speed[:2] = turn @ place[:2], turn @ speed[:2]
    gps = pd.DataFrame(
        {
            "time_s": true + latency_s,
            "instance": 0,
            "latitude_deg": place[1] / METRES_PER_LATITUDE,
            "longitude_deg": place[0] / METRES_PER_DEGREE,
            "altitude_msl_m": 300 + place[2] + 0.3 * noise * rng.normal(size=true.size),
            "ground_speed_m_s": np.hypot(speed[0], speed[1]),
            "course_deg": np.degrees(np.arctan2(speed[0], speed[1])) % 360,
            "climb_m_s": speed[2],
            "fix": 3,
            "horizontal_accuracy_m": 1.2,
            "speed_accuracy_m_s": 0.01,
        }
    )
    tables = {"gps": gps}
    if baro:
        t = np.arange(BEGIN_S, END_S, 0.05)
        height = motion(t)[2] + 0.2 * noise * rng.normal(size=t.size)
        tables["baro"] = pd.DataFrame({"time_s": t + 0.1, "instance": 0, "height_m": height})
    return as_recording(tables)


def changed(recording: Recording, rows: slice, **columns: float | np.ndarray) -> Recording:
    """The recording with some cells of the gps table replaced."""
    tables = {name: recording[name].copy() for name in recording}
    gps = tables["gps"].astype({c: float for c in columns})
    for column, value in columns.items():
        cells = gps[column].to_numpy(copy=True)
        cells[rows] = value
        gps[column] = cells
    return as_recording({**tables, "gps": gps})


def estimated(recording: Recording, **options: float) -> FlightPath:
    path = estimate_path(recording, BEGIN_S, END_S, **{"latency_s": LATENCY_S, **options})
    assert path is not None
    return path


def errors(path: FlightPath, motion: Motion = circle) -> tuple[np.ndarray, np.ndarray]:
    """Errors of place (less the first fix's, where the frame starts) and velocity."""
    place, speed = motion(path.time_s), rate(motion, path.time_s)
    off = np.stack([path.east_m, path.north_m]) - place[:2]
    off -= off.mean(axis=1, keepdims=True)
    return off, np.stack([path.east_m_s, path.north_m_s]) - speed[:2]


@pytest.mark.parametrize("motion", [straight, circle])
@pytest.mark.parametrize("hz", [5.0, 10.0])
def test_place_and_velocity_within_their_stated_std(motion: Motion, hz: float) -> None:
    path = estimated(look(motion, hz=hz))
    place, speed = errors(path, motion)
    assert np.abs(place).max() < 0.5
    assert np.sqrt(np.mean(speed**2)) < 0.11
    assert 0.80 < np.mean(np.abs(speed) < 2 * path.speed_std_m_s) <= 1.0
    whole = np.hypot(path.position_std_m, path.drift_std_m)
    assert np.mean(np.abs(place) < 2 * whole) > 0.95
    assert np.median(path.speed_std_m_s) < 0.11


def test_one_fix_a_second_still_follows_a_circle() -> None:
    path = estimated(look(hz=1.0))
    place, speed = errors(path)
    assert np.median(np.diff(path.time_s)) == pytest.approx(0.1)
    assert np.abs(place).max() < 1.0
    assert np.mean(np.abs(speed) < 2 * path.speed_std_m_s) > 0.85


def test_height_and_climb_within_their_stated_std() -> None:
    recording = look()
    path = estimated(recording, rest_until_s=BEGIN_S + 0.2)
    assert path.height_m is not None
    assert path.height_std_m is not None
    assert path.climb_m_s is not None
    assert path.climb_std_m_s is not None
    truth = circle(path.time_s)[2]
    off = path.height_m - truth
    off -= np.median(off)
    assert np.mean(np.abs(off) < 2 * path.height_std_m) > 0.85
    climb = path.climb_m_s - rate(circle, path.time_s)[2]
    assert np.mean(np.abs(climb) < 2 * path.climb_std_m_s) > 0.85
    assert np.sqrt(np.mean(climb**2)) < 0.15


def test_height_is_zero_at_rest() -> None:
    story = Story().rest(30).flight()
    recording = story.recording()
    start = story.events["roll"]
    path = estimate_path(recording, start - 5, story.now, rest_until_s=start)
    assert path is not None
    assert path.height_m is not None
    rest = path.time_s < start - 1
    assert np.abs(path.height_m[rest]).max() < 0.2
    assert path.height_m.max() == pytest.approx(40.0, abs=0.9)  # the static port reads low


def test_latency_is_taken_out() -> None:
    """The same flight through a slow and a quick receiver gives the same path."""
    quick = estimated(look(latency_s=0.05), latency_s=0.05, latency_std_s=0.02)
    slow = estimated(look(latency_s=0.30), latency_s=0.30, latency_std_s=0.02)
    assert (quick.latency_s, quick.latency_std_s) == (0.05, 0.02)
    n = min(quick.time_s.size, slow.time_s.size) - 5
    assert quick.time_s[:n] == pytest.approx(slow.time_s[:n])
    assert quick.east_m[:n] == pytest.approx(slow.east_m[:n], abs=0.02)
    assert np.sqrt(np.mean(errors(slow)[1] ** 2)) < 0.1


def test_unknown_latency_takes_the_prior() -> None:
    path = estimate_path(look(), BEGIN_S, END_S)
    assert path is not None
    assert (path.latency_s, path.latency_std_s) == (0.15, 0.07)


@pytest.mark.parametrize(
    "glitch",
    [
        {"ground_speed_m_s": 55.0},
        {"latitude_deg": 0.5},
        {"latitude_deg": 20.0 / METRES_PER_LATITUDE + 0.001},
        {"ground_speed_m_s": 14.0},
    ],
)
def test_glitch_is_rejected(glitch: dict[str, float]) -> None:
    clean = estimated(look())
    path = estimated(changed(look(), slice(200, 201), **glitch))
    assert path.east_m == pytest.approx(clean.east_m, abs=0.1)
    assert path.north_m == pytest.approx(clean.north_m, abs=0.1)
    assert path.east_m_s == pytest.approx(clean.east_m_s, abs=0.25)


def test_fixes_below_three_dimensions_are_left_out() -> None:
    clean = estimated(look())
    bad = changed(look(), slice(200, 203), fix=1, latitude_deg=np.nan, ground_speed_m_s=40.0)
    path = estimated(bad)
    assert path.north_m == pytest.approx(clean.north_m, abs=0.3)
    assert path.gaps_s == ()


def test_gap_is_listed_and_uncertain() -> None:
    path = estimated(changed(look(), slice(200, 225), fix=0))
    ((low, high),) = path.gaps_s
    assert low == pytest.approx(BEGIN_S + 199 / 5)
    assert high == pytest.approx(BEGIN_S + 225 / 5)
    middle = np.abs(path.time_s - (low + high) / 2).argmin()
    assert path.position_std_m[middle] > 5 * np.median(path.position_std_m)
    assert np.isfinite(path.east_m).all()


def test_long_gap_stays_finite() -> None:
    recording = look(straight)
    tables = {name: recording[name].copy() for name in recording}
    for table in tables.values():
        table.loc[table["time_s"] > 160, "time_s"] += 3000.0
    path = estimate_path(as_recording(tables), BEGIN_S, END_S + 3000.0)
    assert path is not None
    assert len(path.gaps_s) == 1
    for values in (path.east_m, path.position_std_m, path.speed_std_m_s):
        assert np.isfinite(values).all()
    assert path.position_std_m.max() > 100


def test_no_barometer_gives_gps_heights() -> None:
    path = estimated(look(baro=False))
    assert path.height_m is not None
    assert path.height_std_m is not None
    off = path.height_m - circle(path.time_s)[2]
    assert np.std(off) < 0.3
    assert np.median(path.height_std_m) > 0.1


def test_no_climb_rate_leaves_the_barometer() -> None:
    path = estimated(changed(look(), slice(None), climb_m_s=np.nan))
    assert path.climb_m_s is not None
    assert path.climb_std_m_s is not None
    assert np.std(path.climb_m_s - rate(circle, path.time_s)[2]) < 0.4


def test_neither_barometer_nor_altitude() -> None:
    gone = changed(look(baro=False), slice(None), altitude_msl_m=np.nan)
    path = estimated(gone)
    assert path.height_m is None
    assert path.height_std_m is None
    assert path.climb_m_s is not None
    assert np.std(path.climb_m_s - rate(circle, path.time_s)[2]) < 0.3
    without = estimated(changed(gone, slice(None), climb_m_s=np.nan))
    assert without.climb_m_s is None


def test_positions_alone_are_enough_for_a_path() -> None:
    recording = changed(look(straight), slice(None), ground_speed_m_s=np.nan)
    path = estimated(recording)
    _, speed = errors(path, straight)
    assert np.mean(np.abs(speed) < 2 * path.speed_std_m_s) > 0.85


def test_heights_end_with_their_barometer() -> None:
    recording = look()
    baro = recording["baro"]
    path = estimated(as_recording({"gps": recording["gps"], "baro": baro[baro["time_s"] < 160.0]}))
    assert path.height_m is not None
    assert np.isfinite(path.height_m[path.time_s < 159.5]).all()
    assert np.isnan(path.height_m[path.time_s > 161.0]).all()


def test_path_does_not_reach_beyond_the_fixes() -> None:
    path = estimate_path(look(), BEGIN_S - 50, END_S + 50, latency_s=LATENCY_S)
    assert path is not None
    assert path.time_s[0] >= BEGIN_S - 0.501
    assert path.time_s[-1] <= END_S + 0.501


@pytest.mark.parametrize(("claimed", "taken"), [(2.5, 2.5), (0.1, 1.5), (40.0, 1.5)])
def test_slow_error_follows_only_a_credible_claim(claimed: float, taken: float) -> None:
    cells = {"horizontal_accuracy_m": claimed, "ground_speed_m_s": np.nan}
    assert estimated(changed(look(), slice(None), **cells)).drift_std_m == taken


@pytest.mark.parametrize("seconds", [-90.0, 12.3, 86_400.0])
def test_clock_offset_moves_only_the_times(seconds: float) -> None:
    recording = look()
    here = estimated(recording)
    there = estimate_path(
        shifted(recording, seconds), BEGIN_S + seconds, END_S + seconds, latency_s=LATENCY_S
    )
    assert there is not None
    assert there.time_s == pytest.approx(here.time_s + seconds, abs=1e-6)
    assert there.east_m == pytest.approx(here.east_m, abs=1e-4)
    assert there.height_m == pytest.approx(here.height_m, abs=1e-4)


@pytest.mark.parametrize("turn_deg", [37.0, 90.0, 211.0])
def test_turned_flight_gives_the_turned_path(turn_deg: float) -> None:
    here, there = estimated(look()), estimated(look(turn_deg=turn_deg))
    c, s = np.cos(np.radians(turn_deg)), np.sin(np.radians(turn_deg))
    assert there.east_m == pytest.approx(c * here.east_m + s * here.north_m, abs=0.02)
    assert there.north_m == pytest.approx(-s * here.east_m + c * here.north_m, abs=0.02)
    assert there.speed_std_m_s == pytest.approx(here.speed_std_m_s, rel=0.02)


def test_repeated_rows_count_once() -> None:
    recording = look()
    gps = recording["gps"]
    twice = pd.concat([gps, gps.assign(time_s=gps["time_s"] + 0.08)]).sort_values("time_s")
    path = estimated(as_recording({"gps": twice.reset_index(drop=True), "baro": recording["baro"]}))
    clean = estimated(recording)
    assert path.east_m == pytest.approx(clean.east_m, abs=1e-6)


HOSTILE: dict[str, dict[str, float]] = {
    "all NaN": {"latitude_deg": np.nan},
    "NaN times": {"time_s": np.nan},
    "time stuck": {"time_s": 130.0},
    "one place": {"latitude_deg": 0.1, "longitude_deg": 0.1, "ground_speed_m_s": 0.0},
    "no fix": {"fix": 0},
    "infinite": {"ground_speed_m_s": np.inf, "altitude_msl_m": np.inf, "climb_m_s": -np.inf},
    "huge": {"altitude_msl_m": 1e300, "climb_m_s": 1e300, "horizontal_accuracy_m": 1e300},
}


@pytest.mark.parametrize("name", HOSTILE)
@pytest.mark.parametrize("rows", [slice(None), slice(100, 400), slice(0, None, 2)])
def test_hostile_tables_never_raise(name: str, rows: slice) -> None:
    path = estimate_path(changed(look(), rows, **HOSTILE[name]), BEGIN_S, END_S)
    if path is not None:
        assert np.isfinite(path.east_m).all()
        assert np.isfinite(path.speed_std_m_s).all()


@pytest.mark.parametrize("rows", [0, 1, 2, 4])
def test_too_few_fixes_give_no_path(rows: int) -> None:
    recording = look()
    short = as_recording({"gps": recording["gps"].head(rows), "baro": recording["baro"]})
    assert estimate_path(short, BEGIN_S, END_S) is None


@pytest.mark.parametrize("seed", range(3))
def test_noise_for_data_never_raises(seed: int) -> None:
    rng = np.random.default_rng(seed)
    recording = look()
    n = len(recording["gps"])
    wild = changed(
        recording,
        slice(None),
        latitude_deg=rng.uniform(-90, 90, n),
        longitude_deg=rng.uniform(-180, 180, n),
        ground_speed_m_s=rng.uniform(0, 100, n),
        course_deg=rng.uniform(0, 360, n),
    )
    estimate_path(wild, BEGIN_S, END_S)
    assert estimate_path(recording, END_S, BEGIN_S) is None
    assert estimate_path(recording, float("nan"), END_S) is None
    assert estimate_path(as_recording({}), BEGIN_S, END_S) is None


def test_ten_minutes_take_well_under_a_second() -> None:
    story = Story().rest(20).flight(cruise_s=540)
    recording = story.recording(gps_hz=10.0, slow_hz=20.0)
    begin = time.perf_counter()
    assert estimate_path(recording, 115.0, story.now) is not None
    assert time.perf_counter() - begin < 2.0  # 0.3 s on a small machine
