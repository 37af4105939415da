"""What no stand can have measured is withheld, and sweeps that differ count as few repeats."""

from __future__ import annotations

import numpy as np
import pytest

from flightlog.groundtests.answer import settled
from flightlog.groundtests.bench_table import BenchTable
from flightlog.groundtests.thrust import Setup, reduce
from flightlog.groundtests.thrust_coefficients import Measured, by_level, trend

D_M, RHO = 0.4, 1.2
CT, CP = 0.09, 0.035
SETUP = Setup(
    diameter_m=D_M,
    diameter_std_m=1e-4,
    density_kg_m3=RHO,
    density_std_kg_m3=0.001,
    thrust_std_pct=0.05,
    torque_std_pct=0.05,
    speed_std_rpm=1.0,
    current_std_pct=0.1,
    voltage_std_pct=0.1,
)


def sweep(seed: int = 0, thrust: float = 1.0, torque: float = 1.0) -> BenchTable:
    """One row a step, at rest before and after; thrust and torque off by factors."""
    rng = np.random.default_rng(seed)
    turns = np.array([0.0, 40, 60, 80, 100, 110, 120, 0])
    t = CT * RHO * turns**2 * D_M**4
    q = CP / (2 * np.pi) * RHO * turns**2 * D_M**5
    power = 2 * np.pi * turns * q / 0.75
    columns = {
        "pulse": np.array([1000.0, 1200, 1350, 1500, 1650, 1800, 1950, 1000]),
        "thrust": thrust * t * (1 + 0.001 * rng.standard_normal(8)),
        "torque": torque * q * (1 + 0.001 * rng.standard_normal(8)),
        "voltage": np.full(8, 22.0),
        "current": power / 22.0 + 0.05,
        "speed": 2 * np.pi * turns,
    }
    return BenchTable(f"sweep{seed}.csv", columns)


def answer(*tables: BenchTable, **changed: object):
    from dataclasses import replace

    return settled(reduce(tables, replace(SETUP, **changed)))


def codes(found) -> list[str]:
    return [f.code for f in found.findings]


def test_gram_force_written_as_newton_gives_no_thrust():
    found = answer(*(sweep(k, thrust=1000 / 9.80665) for k in range(3)))

    assert "merit-above-one" in codes(found)
    for id_ in ("greatest", "standard", "ct", "figure_of_merit", "per_watt"):
        assert f"thrust.{id_}" in found.withheld
    assert "thrust.cp" in found.figures


def test_more_thrust_than_the_shaft_can_give_leaves_power_and_current_only():
    """Torque at 0.3: merit 2.1 by the shaft, 0.46 by the battery."""
    found = answer(*(sweep(k, torque=0.3) for k in range(3)))

    assert "merit-above-one" in codes(found)
    assert {"thrust.greatest", "thrust.ct", "thrust.cp", "thrust.speed_greatest"} <= set(
        found.withheld
    )
    assert "thrust.power_greatest" in found.figures


def test_a_reading_beyond_full_scale_is_no_thrust():
    found = answer(*(sweep(k) for k in range(3)), full_scale_n=20.0)

    assert "stand-beyond-range" in codes(found)
    assert "thrust.greatest" in found.withheld
    assert "stand-beyond-range" not in codes(answer(*(sweep(k) for k in range(3)), full_scale_n=50))


def test_the_sweep_that_is_off_is_named():
    found = answer(sweep(0), sweep(1, thrust=0.8), sweep(2))

    said = next(f.message for f in found.findings if f.code == "stand-sweeps-apart")
    assert "thrust of sweep1.csv is 2" in said
    assert "below the middle one of 3 files" in said
    low, high = found.figures["thrust.ct"].quantity.interval()
    assert low < CT < high
    assert "stand-sweeps-apart" not in codes(answer(sweep(0), sweep(1), sweep(2)))


@pytest.mark.parametrize("files", [3, 5])
def test_what_a_whole_sweep_is_off_by_counts_once_and_not_for_each_step(files):
    """Sweeps off by 1 %, steps by 0.1 %: s/√k times Student's t holds the truth in 95 %."""
    rng = np.random.default_rng(5)
    levels = 6
    group = np.tile(np.arange(levels), files)
    number = np.repeat(np.arange(files), levels)
    speed = 40.0 + 15 * group
    held = []
    for _ in range(200):
        off = 1 + 0.01 * rng.standard_normal(files)
        ct = 0.1 * off[number] * (1 + 0.001 * rng.standard_normal(group.size))
        made = Measured(ct, np.full(group.size, 1e-4))
        found = trend(made, speed, number)
        level = by_level(made, group, None, number)
        top = np.eye(levels)[-1]
        for mean in (found.mean, level.mixed(top, "")):
            low, high = mean.interval()
            held.append(low < 0.1 < high)

    assert 0.9 < np.mean(held)


def series(seed: int, most_n: float = np.inf) -> BenchTable:
    """Steps held for 5 s at 10 Hz, with a cell that ends at ``most_n``."""
    rng = np.random.default_rng(seed)
    pulse = np.repeat([1000.0, 1200, 1400, 1600, 1800, 1950, 1000], 50)
    turns = np.where(pulse > 1000, 120 * (np.maximum(pulse - 1000, 0) / 950) ** 0.75, 0.0)
    t = CT * RHO * turns**2 * D_M**4 + 0.05 * rng.standard_normal(pulse.size)
    q = CP / (2 * np.pi) * RHO * turns**2 * D_M**5 + 0.001 * rng.standard_normal(pulse.size)
    columns = {
        "time": np.arange(pulse.size) / 10,
        "pulse": pulse,
        "thrust": np.minimum(t, most_n),
        "torque": q,
        "voltage": np.full(pulse.size, 22.0),
        "current": 0.1 + turns**3 * 2.3e-5,
        "speed": 2 * np.pi * turns,
    }
    return BenchTable(f"series{seed}.csv", columns)


def test_a_cell_at_the_end_of_its_range_gives_no_thrust():
    """40 N are pulled, and the cell shows 30: exactly that in every row of the highest step."""
    found = answer(*(series(k, most_n=30.0) for k in range(3)))

    assert "stand-beyond-range" in codes(found)
    assert "thrust.greatest" in found.withheld
    assert "thrust.greatest" in answer(*(series(k) for k in range(3))).figures


def test_a_torque_cell_that_reads_backward_is_calibrated_all_the_same():
    backward = [{"load_nm": x, "reading_nm": -x} for x in (0.0, 0.5, 1.0, 0.5, 0.0)]
    found = answer(
        *(sweep(k, torque=-1.0) for k in range(3)), torque_calibration=backward, load_std_pct=0.1
    )

    assert found.figures["thrust.cp"].quantity.value == pytest.approx(CP, rel=0.01)
