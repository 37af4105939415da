"""The take-off against simulated ones with known truth, and against nonsense."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from scipy.stats import binom

from flightlog.analyses import takeoff as analysis
from flightlog.analyses.phases import Sortie
from flightlog.analyses.takeoff import Takeoff, measure_takeoff, refined
from flightlog.estimation.liftoff import LiftoffPosterior
from flightlog.inputs import Inputs, Runway, Site
from flightlog.recording import Receipt, Recording
from sample_flights.generator.takeoffs import Tables, Truth, simulate_takeoffs

from .made import sortie as plain_sortie

FIGURES = {
    "takeoff.start_time",
    "takeoff.liftoff_time",
    "takeoff.ground_roll",
    "takeoff.first_clear_distance",
    "takeoff.skips",
    "takeoff.liftoff_ground_speed",
}
ROLL = "takeoff.ground_roll"
Both = tuple[Tables, Truth]


def sortie_of(truth: Truth) -> Sortie:
    start, off = truth["t_start_roll"], truth["t_liftoff"]
    search = (max(0.0, start - 12.0), off + 9.0)
    return Sortie(1, "runway", "rest", "air", start, off, None, off + 9.0, search)


def recording_of(tables: Tables) -> Recording:
    return Recording(tables, Receipt("made.bin", 0, "", "simulated", 1))


def measured(both: Both, inputs: Inputs | None = None) -> Takeoff:
    tables, truth = both
    return measure_takeoff(recording_of(tables), sortie_of(truth), inputs or Inputs())


def runway(heading: float) -> Inputs:
    return Inputs(site=Site("strip-2", "", Runway(heading)))


def complete(takeoff: Takeoff) -> bool:
    """Every figure is given or withheld with a reason, and all numbers are finite."""
    given_, withheld = takeoff.answer.figures, takeoff.answer.withheld
    numbers = [
        x
        for f in given_.values()
        for x in (f.quantity.value, f.quantity.std, *f.quantity.interval())
    ]
    return (
        set(given_) | set(withheld) == FIGURES
        and not set(given_) & set(withheld)
        and all(withheld.values())
        and all(math.isfinite(x) for x in numbers)
    )


@pytest.fixture(scope="module")
def several() -> list[tuple[Both, Takeoff]]:
    return [(both, measured(both)) for both in simulate_takeoffs(12, 4711, after_s=9.5)]


@pytest.fixture(scope="module")
def good() -> Both:
    """One with every sensor, little vibration and a clean lift-off."""
    return simulate_takeoffs(
        1, 52, gps_hz=5, imu="100-400", surface="smooth", air="calm", liftoff="clean",
        vibration=(0.1, 0.4), run_up=False, after_s=9.5,
    )[0]  # fmt: skip


# --- against truth


@pytest.mark.parametrize(
    ("id_", "known"),
    [
        (ROLL, lambda t: t["ground_roll_m"]),
        ("takeoff.first_clear_distance", lambda t: t["first_airborne_dist_m"]),
        ("takeoff.liftoff_time", lambda t: t["t_liftoff"]),
        ("takeoff.liftoff_ground_speed", lambda t: t["liftoff_groundspeed"]),
    ],
)
def test_intervals_hold_the_truth(several, id_, known):
    hits = 0
    for (_, truth), takeoff in several:
        low, high = takeoff.answer.figures[id_].quantity.interval()
        hits += low <= known(truth) <= high
    # A fair 95 % interval has fewer hits with a probability below 0.001.
    assert hits >= binom.ppf(1e-3, len(several), 0.95)


def test_errors_are_small_and_not_all_to_one_side(several):
    error = np.array(
        [
            takeoff.answer.figures[ROLL].quantity.value - truth["ground_roll_m"]
            for (_, truth), takeoff in several
        ]
    )
    assert np.sqrt(np.mean(error**2)) < 6.0
    assert abs(np.median(error)) < 2.0


def test_start_of_roll_is_found(several):
    for (_, truth), takeoff in several:
        late = takeoff.answer.figures["takeoff.start_time"].quantity.value - truth["t_start_roll"]
        inertial = takeoff.track is not None and takeoff.track.inertial
        assert abs(late) < (0.35 if inertial else 0.9)


def test_a_good_log_gives_a_sharp_answer(good):
    takeoff = measured(good)
    _, truth = good
    roll = takeoff.answer.figures[ROLL]
    low, high = roll.quantity.interval()
    assert low <= truth["ground_roll_m"] <= high
    assert high - low < 12.0
    assert roll.quantity.value == pytest.approx(truth["ground_roll_m"], abs=4.0)
    assert set(roll.sources) == {"gps", "imu", "attitude", "baro"}
    heading = truth["runway"]["heading_deg"]
    assert abs((takeoff.heading_deg - heading + 180) % 360 - 180) < 3.0
    assert takeoff.latency_s == pytest.approx(truth["latency_s"], abs=0.08)
    assert takeoff.answer.withheld == {}


def test_every_figure_is_given_or_withheld(several):
    for _, takeoff in several:
        assert complete(takeoff)


# --- launches without a roll


@pytest.mark.parametrize(
    ("kind", "reason"),
    [
        ({"launch": "hand"}, "launched by hand"),
        ({"launch": "air", "starts": "air"}, "the log starts in the air"),
        ({"starts": "air"}, "the log starts in the air"),
        ({"starts": "rolling"}, "no standstill before the take-off"),
        ({"launch": "unknown"}, "no standstill before the take-off"),
    ],
)
def test_without_a_roll_all_is_withheld_with_the_reason(good, kind, reason):
    tables, truth = good
    takeoff = measure_takeoff(recording_of(tables), replace(sortie_of(truth), **kind), Inputs())
    assert takeoff.answer.figures == {}
    assert set(takeoff.answer.withheld) == FIGURES
    assert all(reason in why for why in takeoff.answer.withheld.values())
    assert takeoff.start_s is None
    assert refined(sortie_of(truth), takeoff) == sortie_of(truth)


# --- findings


def test_a_heading_that_disagrees_is_a_finding(good):
    true = good[1]["runway"]["heading_deg"]
    off = measured(good, runway((true + 25) % 360))
    finding = next(f for f in off.answer.findings if f.code == "runway-heading")
    assert finding.evidence["given_deg"] == pytest.approx((true + 25) % 360)
    assert f"{(true + 25) % 360:.0f}°" in finding.message
    # The roll is its own; the site file does not bend it.
    assert off.answer.figures[ROLL].quantity.value == pytest.approx(
        measured(good).answer.figures[ROLL].quantity.value
    )


@pytest.mark.parametrize("turn", [0, 5, -5, 180, 175])
def test_the_runways_own_heading_and_its_other_end_are_no_finding(good, turn):
    true = good[1]["runway"]["heading_deg"]
    takeoff = measured(good, runway((true + turn) % 360))
    assert "runway-heading" not in [f.code for f in takeoff.answer.findings]


def without(tables: Tables, *names: str) -> Tables:
    return {n: t for n, t in tables.items() if n not in names}


def imu_cut(tables: Tables, keep: Any) -> Tables:
    imu = tables["imu"]
    return {**tables, "imu": imu[keep(imu["time_s"])].reset_index(drop=True)}


@pytest.mark.parametrize("what", ["hole", "none", "no attitude", "slow"])
def test_an_unusable_imu_is_said_and_the_roll_still_measured(good, what):
    tables, truth = good
    off = truth["t_liftoff"]
    poor, why = {
        "hole": (
            imu_cut(tables, lambda t: (t < off - 2.0) | (t > off - 1.4)),
            "the IMU has a hole of 0.6 s in the roll",
        ),
        "none": (without(tables, "imu"), "no IMU data"),
        "no attitude": (without(tables, "attitude"), "no attitude"),
        "slow": (imu_cut(tables, lambda t: t.index % 20 == 0), "20 Hz are needed"),
    }[what]
    takeoff = measured((poor, truth))
    finding = next(f for f in takeoff.answer.findings if f.code == "no-inertial-takeoff")
    assert why in finding.message
    low, high = takeoff.answer.figures[ROLL].quantity.interval()
    assert low <= truth["ground_roll_m"] <= high
    best = measured(good).answer.figures[ROLL].quantity.interval()
    assert high - low > best[1] - best[0]
    assert "takeoff.skips" in takeoff.answer.withheld
    assert "imu" not in takeoff.answer.figures[ROLL].sources


def test_a_short_hole_in_the_imu_is_bridged(good):
    tables, truth = good
    off = truth["t_liftoff"]
    takeoff = measured((imu_cut(tables, lambda t: (t < off - 2.0) | (t > off - 1.8)), truth))
    assert "no-inertial-takeoff" not in [f.code for f in takeoff.answer.findings]


def test_without_barometer_and_climb_rate_there_is_no_lift_off(good):
    tables, truth = good
    poor = without(tables, "baro")
    poor["gps"] = tables["gps"].drop(columns="climb_m_s")
    takeoff = measured((poor, truth))
    assert set(takeoff.answer.withheld) == FIGURES
    assert "barometer nor GPS climb rate" in takeoff.answer.withheld[ROLL]


def test_without_fixes_there_is_no_roll(good):
    tables, truth = good
    takeoff = measured((without(tables, "gps"), truth))
    assert "no usable position fixes" in takeoff.answer.withheld[ROLL]
    flat = {**tables, "gps": tables["gps"].assign(fix=2)}
    assert "no usable position fixes" in measured((flat, truth)).answer.withheld[ROLL]


def test_standing_still_is_no_take_off(good):
    tables, truth = good
    still = {**tables, "gps": tables["gps"].assign(ground_speed_m_s=0.1)}
    assert "never passed 5 m/s" in measured((still, truth)).answer.withheld[ROLL]


# --- laws


def same(a: Takeoff, b: Takeoff, shift: float = 0.0) -> None:
    x, y = a.answer.figures, b.answer.figures
    assert set(x) == set(y)
    for id_ in (ROLL, "takeoff.first_clear_distance", "takeoff.liftoff_ground_speed"):
        assert y[id_].quantity.value == pytest.approx(x[id_].quantity.value, abs=0.3)
        assert y[id_].quantity.interval() == pytest.approx(x[id_].quantity.interval(), abs=1.0)
    for id_ in ("takeoff.start_time", "takeoff.liftoff_time"):
        assert y[id_].quantity.value - shift == pytest.approx(x[id_].quantity.value, abs=0.03)


@pytest.mark.parametrize("turn", [37.0, 180.0, 271.5])
def test_the_direction_of_the_runway_does_not_matter(good, turn):
    tables, truth = good
    gps = tables["gps"]
    turned = {**tables, "gps": gps.assign(course_deg=(gps["course_deg"] + turn) % 360)}
    before, after = measured(good), measured((turned, truth))
    same(before, after)
    assert (after.heading_deg - before.heading_deg) % 360 == pytest.approx(turn, abs=1e-6)


@pytest.mark.parametrize("shift", [1000.0, 86_400.0])
def test_the_origin_of_the_clock_does_not_matter(good, shift):
    tables, truth = good
    later = {n: t.assign(time_s=t["time_s"] + shift) for n, t in tables.items()}
    moved = {**truth, "t_start_roll": truth["t_start_roll"] + shift,
             "t_liftoff": truth["t_liftoff"] + shift}  # fmt: skip
    same(measured(good), measured((later, moved)), shift)


def test_the_place_does_not_matter(good):
    tables, truth = good
    gps = tables["gps"]
    away = gps.assign(latitude_deg=gps["latitude_deg"] + 45, longitude_deg=179.9999)
    same(measured(good), measured(({**tables, "gps": away}, truth)))


def test_the_same_log_gives_the_same_numbers(good):
    a, b = measured(good).answer.figures[ROLL], measured(good).answer.figures[ROLL]
    assert (a.quantity.value, a.quantity.interval()) == (b.quantity.value, b.quantity.interval())


def test_the_measured_times_refine_the_sortie(good):
    takeoff, coarse = measured(good), sortie_of(good[1])
    better = refined(replace(coarse, start_s=0.0, liftoff_s=1.0), takeoff)
    assert (better.start_s, better.liftoff_s) == (takeoff.start_s, takeoff.liftoff_s)


# --- nonsense

SENSORS = ("gps", "imu", "attitude", "baro")


def damaged(table: pd.DataFrame, how: str, rng: np.random.Generator) -> pd.DataFrame:
    numbers = [c for c in table.columns if c not in {"time_s", "instance", "fix"}]
    table = table.copy()
    if how == "empty":
        return table.iloc[:0]
    if how == "two rows":
        return table.iloc[[0, len(table) - 1]].reset_index(drop=True)
    if how == "time stuck":
        return table.assign(time_s=float(table["time_s"].iloc[len(table) // 2]))
    if how == "time only":
        return table[["time_s", *[c for c in ("instance",) if c in table]]]
    value = {"nan": math.nan, "constant": 7.0, "zero": 0.0, "infinite": math.inf,
             "minus infinite": -math.inf, "huge": 1e300, "large": 1e6}  # fmt: skip
    if how in value:
        return table.assign(**dict.fromkeys(numbers, value[how]))
    spots = rng.random(len(table)) < 0.2
    for name in numbers:
        column = table[name].to_numpy(dtype=float).copy()
        column[spots] = rng.choice([math.nan, math.inf, -1e300, 1e9, 0.0], spots.sum())
        table[name] = column
    return table


WAYS = ("empty", "two rows", "time stuck", "time only", "nan", "constant", "zero", "infinite",
        "minus infinite", "huge", "large", "specks")  # fmt: skip


@pytest.mark.parametrize("which", [*SENSORS, "all"])
@pytest.mark.parametrize("how", WAYS)
def test_nonsense_never_raises(good, which, how):
    tables, truth = good
    rng = np.random.default_rng(1)
    spoilt = {n: damaged(t, how, rng) if which in (n, "all") else t for n, t in tables.items()}
    assert complete(measured((spoilt, truth)))


@settings(max_examples=10, deadline=None, suppress_health_check=list(HealthCheck))
@given(
    start=st.floats(-1e6, 1e6),
    length=st.floats(0, 60),
    liftoff=st.one_of(st.none(), st.floats(-1e6, 1e6)),
    near=st.booleans(),
)
def test_a_window_anywhere_never_raises(good, start, length, liftoff, near):
    tables, truth = good
    if near:
        start = truth["t_start_roll"] + start / 5e4
        liftoff = None if liftoff is None else truth["t_liftoff"] + liftoff / 1e5
    odd = replace(plain_sortie(), liftoff_s=liftoff, search_s=(start, start + length))
    assert complete(measure_takeoff(recording_of(tables), odd, Inputs()))


def test_an_empty_recording_is_withheld():
    takeoff = measure_takeoff(recording_of({}), plain_sortie(), Inputs())
    assert set(takeoff.answer.withheld) == FIGURES


@pytest.mark.parametrize(
    ("probability", "seen", "value", "interval"),
    [
        (0.0, 0, 0, (0, 2)),  # most skips lift the wheels by less than shows
        (1.0, 1, 1, (1, 2)),
        (1.0, 2, 1, (1, 3)),  # the second push may be the gear that swings
        (0.9, 1, 1, (0, 2)),
    ],
)
def test_skips_are_as_many_as_they_may_be(probability, seen, value, interval):
    grid = np.ones(3) / 3
    posterior = LiftoffPosterior(np.arange(3.0), grid, grid, probability, seen, 0.1, 0.1)
    skips = analysis._skips(posterior)

    assert not isinstance(skips, str)
    assert skips.value == value
    assert skips.interval() == interval
