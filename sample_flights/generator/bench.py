"""Files from the bench: what stand, logger, sensor, scales and angle gauge wrote, and the truth.

Every model is as plain as it can be and still hold what a reduction has to cope with: zeros that
drift, scales that are a little off, sweeps, pulses, hum, play. No constant of an estimator is used.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass
from math import exp, pi, sqrt
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Truth = dict[str, Any]
Rows = tuple[list[str], Sequence[Sequence[str]]]

G = 9.80665
YEAR = 2027
TEMPERATURE_C, PRESSURE_HPA, HUMIDITY_PCT = 17.0, 988.1, 50.0


def _rng(seed: int) -> np.random.Generator:
    return np.random.default_rng((YEAR, 9, seed))


def _density() -> float:
    """Density of the air in the shed: two ideal gases, vapour by Tetens. [kg/m³]"""
    kelvin = TEMPERATURE_C + 273.15
    vapour = HUMIDITY_PCT * 6.1078 * exp(17.27 * TEMPERATURE_C / (TEMPERATURE_C + 237.3))
    return (PRESSURE_HPA * 100 - vapour) / (287.05 * kelvin) + vapour / (461.5 * kelvin)


# --- thrust stand


@dataclass(frozen=True)
class Propeller:
    """A propeller on the Pannier's motor."""

    ct: float
    cp: float
    rpm_at_full: float
    diameter_m: float = 0.4064


PROPELLER_A = Propeller(0.0753, 0.0293, 7000.0)
PROPELLER_B = Propeller(0.0802, 0.0330, 6760.0)
PULSES_US = (1300, 1450, 1600, 1750, 1900)
REST_US, REST_S, STEP_S, STAND_HZ = 1000, 4.0, 6.0, 20.0


def _drive_efficiency(share: float) -> float:
    """Of motor and controller, by the share of full speed: worst when slow. [-]"""
    return 0.715 - 0.16 * (1 - share) ** 2


def _steady(propeller: Propeller, pulse_us: float) -> dict[str, float]:
    """What the drive does once it has settled; at rest nothing."""
    share = 0.0 if pulse_us <= REST_US else 0.35 + 0.65 * (pulse_us - 1300) / 600
    n = propeller.rpm_at_full * share / 60
    shaft_w = propeller.cp * _density() * n**3 * propeller.diameter_m**5
    power_w = shaft_w / _drive_efficiency(share) if n else 0.0
    open_v, ohm = 22.95, 0.0145  # of the supply and its leads
    volt = (open_v + sqrt(open_v**2 - 4 * ohm * power_w)) / 2
    return {
        "rpm": 60 * n,
        "thrust_n": propeller.ct * _density() * n**2 * propeller.diameter_m**4,
        "torque_nm": shaft_w / (2 * pi * n) if n else 0.0,
        "shaft_w": shaft_w,
        "power_w": power_w,
        "voltage_v": volt,
        "current_a": power_w / volt,
    }


def _sweep(propeller: Propeller, rng: np.random.Generator) -> tuple[Array, dict[str, Array]]:
    """One sweep from rest to rest: pulses, and what truly was."""
    pulses = [REST_US, *PULSES_US, REST_US]
    lengths = [REST_S, *[STEP_S] * len(PULSES_US), REST_S]
    told = np.repeat(pulses, [round(s * STAND_HZ) for s in lengths]).astype(float)
    target = np.array([_steady(propeller, p)["rpm"] for p in told])
    rpm = np.zeros_like(target)
    for i in range(1, len(rpm)):
        rpm[i] = rpm[i - 1] + (target[i] - rpm[i - 1]) * (1 - exp(-1 / (0.35 * STAND_HZ)))
    rpm *= 1 + 0.0012 * np.sin(2 * pi * 0.21 * np.arange(len(rpm)) / STAND_HZ + rng.uniform(0, 6))
    n = rpm / 60
    thrust = propeller.ct * _density() * n**2 * propeller.diameter_m**4
    torque = propeller.cp / (2 * pi) * _density() * n**2 * propeller.diameter_m**5
    efficiency = np.array([_drive_efficiency(r / propeller.rpm_at_full) for r in rpm])
    power = 2 * pi * n * torque / efficiency
    volt = (22.95 + np.sqrt(22.95**2 - 4 * 0.0145 * power)) / 2
    return told, {"rpm": rpm, "thrust": thrust, "torque": torque, "volt": volt,
                  "ampere": power / volt}  # fmt: skip


def thrust_file(propeller: Propeller, seed: int) -> tuple[Rows, Truth]:
    """Three sweeps of a propeller, the zero of the stand drifting meanwhile."""
    rng = _rng(seed)
    thrust_scale, torque_scale = 1 + rng.normal(0, 0.002), 1 + rng.normal(0, 0.004)
    rows: list[list[str]] = []
    clock = 0.0
    for sweep in (1, 2, 3):
        told, was = _sweep(propeller, rng)
        size = len(told)
        time = clock + np.arange(size) / STAND_HZ
        clock = float(time[-1]) + 60.0
        zero = 0.12 + 0.0002 * time
        thrust = was["thrust"] * thrust_scale + zero + rng.normal(0, 0.22, size)
        torque = was["torque"] * torque_scale + 0.004 + rng.normal(0, 0.006, size)
        rpm = np.where(was["rpm"] > 60, was["rpm"] + rng.normal(0, 9, size), 0.0)
        volt = was["volt"] + rng.normal(0, 0.012, size)
        ampere = was["ampere"] + rng.normal(0, 0.12, size)
        rows += [
            [f"{t:.2f}", f"{p:.0f}", f"{f:.2f}", f"{q:.3f}", f"{u:.2f}", f"{i:.2f}", f"{r:.0f}",
             f"{sweep}"]
            for t, p, f, q, u, i, r in zip(
                time, told, thrust, torque, volt, ampere, rpm, strict=True
            )
        ]  # fmt: skip
    header = ["time (s)", "pulse (us)", "thrust (N)", "torque (N m)", "voltage (V)", "current (A)",
              "speed (rpm)", "sweep"]  # fmt: skip
    steps = [{"pulse_us": p, **_steady(propeller, p)} for p in PULSES_US]
    top = steps[-1]
    truth = {
        "density_kg_m3": _density(),
        **asdict(propeller),
        "figure_of_merit": sqrt(2 / pi) * propeller.ct**1.5 / propeller.cp,
        "standard_thrust_n": top["thrust_n"] * 1.225 / _density(),
        "drive_efficiency": _drive_efficiency(1.0),
        "steps": steps,
    }
    return (header, rows), truth


# --- discharge

CELLS, CAPACITY_AH, CUTOFF_CELL_V = 6, 4.06, 3.3
LOAD_A, PULSE_A, PULSE_EVERY_S, PULSE_S = 12.0, 30.0, 120, 12
RESISTANCE_OHM, SLOW_OHM, SLOW_S = 0.0274, 0.009, 28.0
WEAK_CELL = 4


def _open_v(left: float) -> float:
    """Voltage of a cell without load, by the share of charge that is left. [V]"""
    return 3.58 + 0.59 * left - 0.30 * exp(-left / 0.05)


def discharge_file(seed: int) -> tuple[Rows, Truth]:
    """Rest, a constant load with pulses on it until the cut-off, and rest again; at 1 Hz."""
    rng = _rng(seed)
    rows: list[list[str]] = []
    drawn_as, energy_j, slow_v, warm_k = 0.0, 0.0, 0.0, 0.0
    second, ended, below = 0, 0, 0
    full: tuple[float, float] = (0.0, 0.0)
    while not ended or second < ended + 90:
        on = second >= 30 and not ended
        pulse = on and (second - 30) % PULSE_EVERY_S >= PULSE_EVERY_S - PULSE_S
        left = 1 - drawn_as / (CAPACITY_AH * 3600)
        ampere = (PULSE_A if pulse and left > 0.12 else LOAD_A) if on else 0.0
        ohm = RESISTANCE_OHM * exp(1800 * (1 / (298.15 + warm_k - 1.0) - 1 / 298.15))
        cell_v = _open_v(left) - (ampere * ohm + slow_v) / CELLS
        cells = np.full(CELLS, cell_v)
        cells[WEAK_CELL - 1] -= 0.03 * exp(-left / 0.06)
        volt = float(cells.sum())
        if on and volt <= CUTOFF_CELL_V * CELLS and left < 0.12:
            full = full if below else (drawn_as, energy_j)
            below += 1
            if below > 4:  # whoever stands beside it takes a moment to switch off
                ended = second
                continue
        read = [f"{v + rng.normal(0, 0.0015):.3f}" for v in cells]
        noisy = ampere * 1.004 + rng.normal(0, 0.04)
        rows.append([f"{second}", f"{volt + rng.normal(0, 0.004):.3f}", f"{noisy:.2f}",
                     f"{24 + warm_k + rng.normal(0, 0.08):.1f}", *read])  # fmt: skip
        drawn_as += ampere
        energy_j += ampere * volt
        slow_v += (ampere * SLOW_OHM - slow_v) * (1 - exp(-1 / SLOW_S))
        warm_k += (ampere**2 * (ohm + SLOW_OHM) / 620.0) - warm_k / 1500.0
        second += 1
    header = ["time (s)", "voltage (V)", "current (A)", "temperature (C)",
              *[f"cell {k} (V)" for k in range(1, CELLS + 1)]]  # fmt: skip
    # Of the slow part a second sees the little that has built up by then.
    first_second = RESISTANCE_OHM + SLOW_OHM * (1 - SLOW_S * (1 - exp(-1 / SLOW_S)))
    truth = {
        "capacity_ah": full[0] / 3600,
        "energy_wh": full[1] / 3600,
        "resistance_25c_ohm": first_second,
        "weak_cell": WEAK_CELL,
        "current_scale": 1.004,
    }
    return (header, rows), truth


# --- ring-down


@dataclass(frozen=True)
class Ring:
    """One oscillation of the wing: at the tip, first swing after a release."""

    frequency_hz: float
    damping: float
    amplitude_m_s2: float


BEFORE = (Ring(6.52, 0.018, 9.0), Ring(7.30, 0.016, 5.0))
AFTER = (Ring(6.52 * 0.93, 0.023, 8.6), Ring(7.27, 0.017, 4.6))
SENSOR_HZ, HOLD_S, RING_S, RELEASES = 200.0, 2.0, 4.6, 5


def ringdown_file(rings: Sequence[Ring], seed: int) -> tuple[Rows, Truth]:
    """Five releases: the tip is held, let go, and caught again by hand."""
    rng = _rng(seed)
    per = round((HOLD_S + RING_S) * SENSOR_HZ)
    time = np.arange(per * RELEASES + round(SENSOR_HZ)) / SENSOR_HZ
    signal = np.full(len(time), G)
    releases = []
    for k in range(RELEASES):
        start = k * per / SENSOR_HZ + HOLD_S + rng.uniform(-0.2, 0.2)
        releases.append(round(start, 3))
        size = 1 + 0.12 * rng.standard_normal()
        t = time - start
        free = (t >= 0) & (t < RING_S - 0.3)
        for ring in rings:
            omega = 2 * pi * ring.frequency_hz
            swing = np.exp(-ring.damping * omega * t[free])
            swing *= np.cos(omega * sqrt(1 - ring.damping**2) * t[free] + rng.normal(0, 0.1))
            signal[free] += size * ring.amplitude_m_s2 * swing
        hand = (t > -1.3) & (t < -0.5)
        push = np.convolve(rng.standard_normal(int(hand.sum())), np.hanning(25) / 8, mode="same")
        signal[hand] += 0.9 * push * np.hanning(len(push))
    signal += 0.35 * np.sin(2 * pi * 50.02 * time + rng.uniform(0, 6))
    signal += rng.normal(0, 0.12, len(time))
    rows = [[f"{t:.3f}", f"{a:.2f}"] for t, a in zip(time, signal, strict=True)]
    truth = {"modes": [asdict(r) for r in rings], "releases_s": releases, "hum_hz": 50.02}
    return (["time (s)", "acceleration (m/s2)"], rows), truth


# --- static deflection, weighing, linkage

STIFFNESS_N_M, ROOT_M_N, PLAY_OF_LOADING_M = 1081.0, 1.6e-5, 1.2e-4


def stiffness_file(seed: int) -> tuple[Rows, Truth]:
    """Three loadings of the tip in steps of half a kilogram, up and down."""
    rng = _rng(seed)
    rows: list[list[str]] = []
    up = [0.0, 0.5, 1.0, 1.5, 2.0]
    for cycle in (1, 2, 3):
        for k, mass in enumerate([*up, *up[-2::-1]]):
            load = mass * G
            lag = PLAY_OF_LOADING_M * mass / 2.0 * (2.0 - mass) if k >= len(up) else 0.0
            root = ROOT_M_N * load
            tip = load / STIFFNESS_N_M + lag + root
            rows.append([f"{cycle}", f"{mass:.1f}", f"{1e3 * tip + 4.2 + rng.normal(0, 0.03):.2f}",
                         f"{1e3 * root + 0.5 + rng.normal(0, 0.01):.2f}"])  # fmt: skip
    header = ["cycle", "mass (kg)", "deflection (mm)", "root (mm)"]
    return (header, rows), {"stiffness_n_m": STIFFNESS_N_M, "root_m_n": ROOT_M_N, "set_m": 0.0}


SCALES = (("nose", 0.02, 0.0, 1.480), ("left", 0.56, -0.25, 3.215), ("right", 0.56, 0.25, 3.305))


def weighing_file(seed: int) -> tuple[Rows, Truth]:
    """Three scales, lifted off and set down again three times."""
    rng = _rng(seed)
    rows: list[list[str]] = []
    for repeat in (1, 2, 3):
        for name, arm, side, load in SCALES:
            tare = rng.choice([0.0, 0.005, -0.005])
            read = round((load + tare + rng.normal(0, 0.003)) / 0.005) * 0.005
            rows.append([f"{repeat}", name, f"{arm:.3f}", f"{side:.3f}", f"{tare:.3f}",
                         f"{read:.3f}"])  # fmt: skip
    header = ["repeat", "scale", "arm (m)", "side (m)", "tare (kg)", "reading (kg)"]
    mass = sum(s[3] for s in SCALES)
    return (header, rows), {
        "mass_kg": mass,
        "cg_m": sum(s[1] * s[3] for s in SCALES) / mass,
        "cg_side_m": sum(s[2] * s[3] for s in SCALES) / mass,
        "nose_share": SCALES[0][3] / mass,
    }


PLAY_DEG, PER_US_DEG = 0.8, -25.8 / 400


def linkage_file(seed: int) -> tuple[Rows, Truth]:
    """The elevator's pulse up and down twice; the trailing edge lags behind by the play."""
    rng = _rng(seed)
    up = list(range(1100, 1901, 100))
    rows: list[list[str]] = []
    before, at = 1000, 0.0
    for pulse in [*up, *up[-2::-1], *up[1:], *up[-2::-1]]:
        middle = PER_US_DEG * (pulse - 1500) * (1 - 0.03 * ((pulse - 1500) / 400) ** 2)
        # A longer pulse lifts the trailing edge, so that on its way up it stands too low: positive.
        at = middle + (-0.5 if pulse < before else 0.5) * PLAY_DEG
        rows.append([f"{pulse}", f"{at + rng.normal(0, 0.05):.1f}"])
        before = pulse
    truth = {
        "play_deg": PLAY_DEG,
        "table": [[p, PER_US_DEG * (p - 1500) * (1 - 0.03 * ((p - 1500) / 400) ** 2)] for p in up],
    }
    return (["pulse (us)", "angle (deg)"], rows), truth


FILES: dict[str, Callable[[], tuple[Rows, Truth]]] = {
    "thrust_a": lambda: thrust_file(PROPELLER_A, 1),
    "thrust_b": lambda: thrust_file(PROPELLER_B, 2),
    "discharge_pack_a": lambda: discharge_file(3),
    "ringdown_left": lambda: ringdown_file(BEFORE, 4),
    "ringdown_left_after": lambda: ringdown_file(AFTER, 5),
    "stiffness_left": lambda: stiffness_file(6),
    "weighing": lambda: weighing_file(7),
    "linkage_elevator": lambda: linkage_file(8),
}
"""Name of the file without its ending -> what makes it."""


def write_bench(to: Path) -> list[Path]:
    """Write all files from the bench and their truth; the bench files beside them stay as they are.

    Parameters
    ----------
    to : Path
        Folder; is made.
    """
    to.mkdir(parents=True, exist_ok=True)
    written, truths = [], {}
    for name, make in FILES.items():
        (header, rows), truths[name] = make()
        path = to / f"{name}.csv"
        lines = [",".join(header), *(",".join(row) for row in rows)]
        path.write_text("\n".join(lines) + "\n", encoding="utf-8", newline="\n")
        written.append(path)
    truth = to / "bench_truth.json"
    truth.write_text(json.dumps(truths, indent=1) + "\n", encoding="utf-8", newline="\n")
    return [*written, truth]
