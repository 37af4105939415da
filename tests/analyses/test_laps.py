from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from flightlog.analyses import laps
from flightlog.analyses.gates import Line, crossings, find_line
from flightlog.estimation.frames import LocalFrame
from flightlog.estimation.path import FlightPath
from flightlog.inputs import GivenGate, Inputs, Site
from flightlog.uncertain import Uncertain
from tests.analyses.made import battery, recording, sortie

# Worked examples E4_gate and E4_wind.
E4 = {"t_cross": 100.295, "v_n": 20.0, "lam": 0.475, "u_t_white": 0.0177, "interp_err_max": 0.0005}
E4E = {"t_leg_still": 33.333333333333336, "t_leg_wind": 35.064935064935064}

SPEED, RADIUS, LEG = 20.0, 50.0, 300.0
LAP_S = (2 * LEG + 2 * math.pi * RADIUS) / SPEED
FRAME = LocalFrame(0.05, -0.05)


def made(
    t: np.ndarray,
    east: np.ndarray,
    north: np.ndarray,
    east_v: np.ndarray,
    north_v: np.ndarray,
    *,
    std: float = 0.3,
    drift: float = 0.0,
    gaps: tuple[tuple[float, float], ...] = (),
) -> FlightPath:
    one = np.ones(t.size)
    return FlightPath(
        FRAME,
        t,
        east,
        north,
        east_v,
        north_v,
        std * one,
        0.1 * one,
        None,
        None,
        None,
        None,
        drift,
        50.0,
        0.15,
        0.03,
        gaps,
    )


def oval(
    t: np.ndarray, heading_deg: float = 0.0, phase_m: float = 0.0, **more: object
) -> FlightPath:
    """Two legs of 300 m, the first along the heading, joined by half circles to the left."""
    s = (SPEED * (t - t[0]) + phase_m) % (2 * LEG + 2 * math.pi * RADIUS)
    half = math.pi * RADIUS
    turn = np.clip((s - LEG) / RADIUS, 0, math.pi)
    turn += np.clip((s - 2 * LEG - half) / RADIUS, 0, math.pi)
    first, last = s < LEG, (s >= LEG + half) & (s < 2 * LEG + half)
    along = np.where(first, s, np.where(last, LEG - (s - LEG - half), 0.0))
    along = np.where((s >= LEG) & (s < LEG + half), LEG + RADIUS * np.sin(turn), along)
    along = np.where(s >= 2 * LEG + half, RADIUS * np.sin(turn), along)
    left = RADIUS * (1 - np.cos(turn))
    psi = math.radians(heading_deg)
    course = psi - turn
    east = along * math.sin(psi) - left * math.cos(psi)
    north = along * math.cos(psi) + left * math.sin(psi)
    return made(t, east, north, SPEED * np.sin(course), SPEED * np.cos(course), **more)  # type: ignore[arg-type]


def gate(along_m: float = 150.0, left_m: float = 40.0, right_m: float = 40.0) -> Inputs:
    """Across the first leg of `oval` with heading north."""
    ends = GivenGate(FRAME.position(-left_m, along_m), FRAME.position(right_m, along_m))
    return Inputs(site=Site("strip", "", gate=ends))


T = np.arange(0.0, 200.0, 0.1)
FLIGHT = sortie(0.0, 200.0, liftoff=0.0, touchdown=200.0)


def run(
    path: FlightPath | None, inputs: Inputs | None = None, **tables: object
) -> tuple[laps.Answer, laps.Gate | None, tuple[laps.Lap, ...]]:
    given = gate() if inputs is None else inputs
    return laps.answer(recording(**tables), FLIGHT, path, given, None)  # type: ignore[arg-type]


def test_crossing_time_matches_the_worked_example_e4() -> None:
    t = np.array([100.0, 100.2, 100.4, 100.6])
    north = np.array([-5.9, -1.9, 2.1, 6.1])
    zero = np.zeros(4)
    path = made(t, zero, north, zero, zero + 20.0, std=0.5)
    (one,) = crossings(path, Line(0.0, 0.0, (0.0, 1.0), 40.0), 100.0, 101.0)
    assert one.time.value == pytest.approx(E4["t_cross"], abs=1e-9)
    assert (one.time.value - 100.2) / 0.2 == pytest.approx(E4["lam"], abs=1e-8)
    assert one.speed_m_s == pytest.approx(E4["v_n"])
    # The example averages two independent fixes; points of a smoothed path are not independent.
    own = one.time.sources["crossing at 100.295 s"]
    assert own == pytest.approx(0.5 / 20)
    assert E4["u_t_white"] < own < 1.5 * E4["u_t_white"]


def test_an_accelerated_crossing_is_found_within_the_interpolation_error_of_e4() -> None:
    t = np.arange(100.0, 101.01, 0.2)
    zero = np.zeros(t.size)
    u = t - 100.3
    path = made(t, zero, 20 * u + u**2, zero, 20 + 2 * u)
    (one,) = crossings(path, Line(0.0, 0.0, (0.0, 1.0), 40.0), 100.0, 101.0)
    assert abs(one.time.value - 100.3) < E4["interp_err_max"]
    assert abs(one.time.value - 100.3) < 1e-6  # a parabola is exact for a cubic


def test_a_turning_crossing_at_one_hertz_is_good_to_5_ms() -> None:
    t = np.arange(0.0, 60.0)
    path = oval(t)
    truth = oval(np.arange(0.0, 60.0, 0.001))
    normal = (-math.sqrt(0.5), math.sqrt(0.5))
    line = Line(-RADIUS * (1 - math.sqrt(0.5)), LEG + RADIUS * math.sqrt(0.5), normal, 40.0)
    (coarse,) = crossings(path, line, 0.0, 60.0)
    (fine,) = crossings(truth, line, 0.0, 60.0)
    assert coarse.time.value == pytest.approx(fine.time.value, abs=0.005)


def test_laps_of_an_oval_are_counted_and_timed() -> None:
    answer, where, found = run(oval(T))
    assert where is not None
    assert where.origin == "given"
    assert answer.figures["laps.count"].quantity.value == 4
    assert answer.figures["laps.count"].quantity.std == 0
    assert [lap.number for lap in found] == [1, 2, 3, 4]
    for lap in found:
        assert lap.time.value == pytest.approx(LAP_S, abs=0.002)
        assert lap.distance is not None
        assert lap.distance.value == pytest.approx(LAP_S * SPEED, rel=1e-3)
        assert lap.energy is None
    assert answer.figures["laps.mean_time"].quantity.value == pytest.approx(LAP_S, abs=0.001)
    assert answer.figures["laps.best_time"].quantity.value == pytest.approx(LAP_S, abs=0.03)
    assert "current" in answer.withheld["energy.per_lap"]
    assert not answer.findings


def test_legs_along_and_against_the_wind_take_the_time_of_e4e() -> None:
    # V = 18, w = 4 over legs of 300 m: 14 m/s out, 22 m/s home.
    still, windy = 300 / 18 * 2, 300 / 14 + 300 / 22
    assert still == pytest.approx(E4E["t_leg_still"])
    assert windy == pytest.approx(E4E["t_leg_wind"])
    t = np.arange(0.0, 3.5 * windy, 0.1)
    inside = t % windy
    out = inside < 300 / 14
    north = np.where(out, 14 * inside, 300 - 22 * (inside - 300 / 14))
    path = made(t, np.zeros(t.size), north, np.zeros(t.size), np.where(out, 14.0, -22.0))
    _, _, found = run(path)
    assert [lap.time.value for lap in found] == pytest.approx([windy] * 3, abs=1e-6)


def test_neighbouring_laps_share_the_crossing_between_them() -> None:
    answer, _, found = run(oval(T))
    one, two = found[0].time, found[1].time
    assert isinstance(one, Uncertain)
    assert isinstance(two, Uncertain)
    u = 0.3 / SPEED
    assert one.std == pytest.approx(math.sqrt(2) * u, rel=1e-3)
    assert (one + two).std == pytest.approx(math.sqrt(2) * u, rel=1e-3)
    mean = answer.figures["laps.mean_time"].quantity
    assert mean.std == pytest.approx(math.sqrt(2) * u / 4, rel=1e-3)


def test_slow_error_and_latency_follow_the_stated_formula() -> None:
    _, _, found = run(oval(T, std=1e-6, drift=1.5))
    expected = 1.5 * math.sqrt(2 * (1 - math.exp(-LAP_S / 50))) / SPEED
    for lap in found:
        assert lap.time.std == pytest.approx(expected, rel=1e-3)
    whole = Uncertain(0.0, {}, "s")
    for lap in found:
        assert isinstance(lap.time, Uncertain)
        whole = whole + lap.time
    assert whole.std == pytest.approx(
        1.5 * math.sqrt(2 * (1 - math.exp(-4 * LAP_S / 50))) / SPEED, rel=1e-3
    )


def test_intervals_hold_the_true_lap_time() -> None:
    rng = np.random.default_rng(11)
    held = []
    clean = oval(T)
    keep = math.exp(-0.1 / 50)
    for _ in range(60):
        noise = np.empty((2, T.size))
        x = rng.normal(0, 1.5, 2)
        for k in range(T.size):
            x = keep * x + math.sqrt(1 - keep**2) * rng.normal(0, 1.5, 2)
            noise[:, k] = x
        path = replace(
            clean, east_m=clean.east_m + noise[0], north_m=clean.north_m + noise[1], drift_std_m=1.5
        )
        path = replace(path, position_std_m=np.full(T.size, 0.1))
        answer, _, found = run(path)
        held += [lap.time.interval()[0] < LAP_S < lap.time.interval()[1] for lap in found]
        low, high = answer.figures["laps.best_time"].quantity.interval()
        held.append(low < LAP_S < high)
    assert 0.91 <= np.mean(held) <= 0.99


@pytest.mark.parametrize("count", [2, 5, 20])
@pytest.mark.parametrize("spread", [0.0, 1.0, 5.0])
def test_the_best_lap_is_one_of_the_table_and_its_interval_holds(count: int, spread: float) -> None:
    # Neighbours share a crossing; the plain minimum of twenty equal ones is 0.13 s too short.
    rng = np.random.default_rng(5)
    held = []
    for _ in range(200):
        true = 60 + 0.05 * spread * rng.standard_normal(count)
        late = 0.05 * rng.standard_normal(count + 1)
        times = [
            Uncertain(
                float(true[k] + late[k + 1] - late[k]), {f"{k + 1}": 0.05, f"{k}": -0.05}, "s"
            )
            for k in range(count)
        ]
        best = laps.shortest(times)
        values = [time.value for time in times]
        assert best.value == min(values) <= np.mean(values)
        low, high = best.interval()
        held.append(low <= true.min() <= high)
    assert np.mean(held) >= 0.93


def test_shifting_time_shifts_crossings_only() -> None:
    path = oval(T, drift=1.0)
    later = replace(path, time_s=path.time_s + 1000)
    moved = sortie(1000.0, 1200.0, liftoff=1000.0, touchdown=1200.0)
    _, _, one = run(path)
    _, _, other = laps.answer(recording(), moved, later, gate(), None)
    assert [lap.start_s + 1000 for lap in one] == pytest.approx([lap.start_s for lap in other])
    assert [lap.time.value for lap in one] == pytest.approx([lap.time.value for lap in other])
    assert [lap.time.std for lap in one] == pytest.approx([lap.time.std for lap in other])


@pytest.mark.parametrize("heading", [0.0, 70.0, 200.0])
def test_a_gate_is_found_and_counts_the_same_in_every_direction(heading: float) -> None:
    path = oval(T, heading, phase_m=60.0)
    answer, where, found = laps.answer(recording(), FLIGHT, path, Inputs(), heading)
    assert where is not None
    assert where.origin == "found"
    assert answer.figures["laps.count"].quantity.value == len(found) == 4
    assert [lap.time.value for lap in found] == pytest.approx([LAP_S] * 4, abs=0.002)
    ends = np.array([where.left_deg, where.right_deg])
    east, north = FRAME.east_north(ends[:, 0], ends[:, 1])
    # From left to right it points to the right of the runway.
    right = math.degrees(math.atan2(east[1] - east[0], north[1] - north[0]))
    assert right % 360 == pytest.approx((heading + 90) % 360, abs=1.0)
    assert math.hypot(east[1] - east[0], north[1] - north[0]) == pytest.approx(80, abs=0.1)


def test_a_found_gate_is_not_moved_to_count_the_landing() -> None:
    """Two ovals, then a wide one to land: the start of the leg is passed once more."""
    t = np.arange(0.0, 2.2 * LAP_S, 0.1)
    path = oval(t)
    wide = np.arange(t[-1] + 0.1, t[-1] + 75.0, 0.1)
    # Off to the side for 60 s, and back over the first 40 m of the leg.
    gone = wide < wide[-1] - 4
    east = np.where(gone, 400.0, 0.0)
    north = np.where(gone, -500 + 0.1 * (wide - wide[0]), 40 - 20 * (wide[-1] - wide))
    slow = np.where(gone, 0.1, 20.0)
    long = made(
        np.concatenate([t, wide]),
        np.concatenate([path.east_m, east]),
        np.concatenate([path.north_m, north]),
        np.concatenate([path.east_m_s, 0 * wide]),
        np.concatenate([path.north_m_s, slow]),
    )
    _, _, found = run(long, Inputs())
    assert [lap.time.value for lap in found] == pytest.approx([LAP_S] * len(found), abs=0.01)
    assert len(found) == 2


def test_flying_the_other_way_is_no_lap() -> None:
    ends = GivenGate(FRAME.position(20, 150), FRAME.position(-20, 150))
    answer, _, found = run(oval(T), Inputs(site=Site("strip", "", gate=ends)))
    assert found == ()
    assert answer.figures["laps.count"].quantity.value == 0
    assert "never" in answer.withheld["laps.mean_time"]


def test_a_flight_without_repeated_legs_has_no_gate() -> None:
    t = np.arange(0.0, 60.0, 0.1)
    away = made(t, 0 * t, 20 * t, 0 * t, 0 * t + 20)
    assert find_line(away, 0.0, 60.0, None) is None
    answer, where, found = run(away, Inputs())
    assert where is None
    assert found == ()
    assert "--site" in answer.withheld["laps.count"]
    assert "GPS" in run(None)[0].withheld["laps.count"]


def test_crossings_on_the_ground_do_not_count() -> None:
    rolling = sortie(0.0, 200.0, liftoff=10.0, touchdown=3.2 * LAP_S)
    _, _, found = laps.answer(recording(), rolling, oval(T), gate(), None)
    # The first crossing is at 7.5 s, the others follow a lap apart.
    assert found[0].start_s == pytest.approx(7.5 + LAP_S, abs=0.01)
    assert len(found) == 2


def test_a_path_that_dithers_on_the_line_crosses_once() -> None:
    path = oval(T)
    north = path.north_m.copy()
    at = int(np.searchsorted(T, 7.5))
    north[at - 5 : at + 6] = 150 + np.tile([-0.4, 0.4], 6)[:11]
    _, _, found = run(replace(path, north_m=north))
    assert len(found) == 4


def test_a_crossing_just_outside_the_gate_counts_and_says_so() -> None:
    answer, _, _ = run(oval(T), gate(left_m=30, right_m=-0.3))
    edge = [f for f in answer.findings if f.code == "gate-edge"]
    assert len(edge) == 5
    assert edge[0].severity == "note"
    assert answer.figures["laps.count"].quantity.std > 0.3
    answer, _, found = run(oval(T), gate(left_m=30, right_m=-5))
    assert found == ()


def test_a_crossing_without_fixes_widens_its_laps_or_withholds_them() -> None:
    at = 7.5 + LAP_S
    answer, _, found = run(oval(T, gaps=((at - 1, at + 1),)))
    assert len(found) == 4
    assert found[0].time.std > 2 * found[2].time.std
    assert [f.evidence["lap"] for f in answer.findings] == [1, 2]
    answer, _, found = run(oval(T, gaps=((at - 4, at + 4),)))
    assert [lap.number for lap in found] == [3, 4]
    assert answer.figures["laps.count"].quantity.value == 4
    assert {f.code for f in answer.findings} == {"lap-gap"}


def test_a_long_lap_with_a_long_gap_may_be_two() -> None:
    path = oval(T)
    east = path.east_m.copy()
    lost = (T > 7.5 + LAP_S - 5) & (T < 7.5 + LAP_S + 5)
    east[lost] = 500.0
    gone = replace(path, east_m=east, gaps_s=((7.5 + LAP_S - 5, 7.5 + LAP_S + 5),))
    answer, _, _ = run(gone)
    assert answer.figures["laps.count"].quantity.std >= 1
    assert "more than one" in answer.findings[0].message


def test_energy_per_lap_leaves_out_the_first() -> None:
    power = np.where(T < 7.5 + LAP_S, 600.0, 300.0)
    answer, _, found = run(oval(T), battery=battery(T, 22.0, power / 22.0))
    assert found[0].energy is not None
    assert found[0].energy.value == pytest.approx(600 * LAP_S / 3600, rel=1e-2)
    per_lap = answer.figures["energy.per_lap"].quantity
    assert per_lap.value == pytest.approx(300 * LAP_S / 3600, rel=1e-2)
    assert 0 < per_lap.std < 0.05 * per_lap.value


def test_one_lap_is_not_enough_for_energy_per_lap() -> None:
    t = np.arange(0.0, 60.0, 0.1)
    answer, _, found = run(oval(t), battery=battery(t, 22.0, 20.0))
    assert len(found) == 1
    assert "climb" in answer.withheld["energy.per_lap"]
    assert answer.figures["laps.best_time"].quantity.value == found[0].time.value
