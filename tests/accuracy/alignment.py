"""How well the offset between two clocks is found, against simulated pairs of recordings.

``python -m tests.accuracy.alignment [--pairs 500] [--seed 20270315]``

A pair is one made-up flight (take-off, circuits whose legs and speeds vary, gusts, landing) seen
by two loggers. Each has its own rate (1 to 10 Hz), lateness (0 to 1 s), noise, slow wander of
the position, drift of the barometer, resolution, lost rows and a hole; the second may be a
telemetry copy, whose rows show a fix up to one row late, and holds 60 to 100 % of the flight.
The true offset is that of clocks and mean lateness. Nothing here is shared with the estimator.
"""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from flightlog.estimation.alignment import Trace, align

DT = 0.05
Array = np.ndarray


@dataclass(frozen=True)
class Logger:
    """What one logger does to the truth; all of it drawn."""

    rate_hz: float
    late_s: float
    speed_noise: float
    wander_m: float
    white_m: float
    height_noise: float
    height_drift_m: float
    coarse: bool
    lost: float
    hole_s: float
    row_s: float
    baro_late_s: float


@dataclass(frozen=True)
class Pair:
    """Two recordings, as traces, with what is true of them."""

    first: list[Trace]
    second: list[Trace]
    offset_s: float
    rate_ppm: float
    kind: str


def red(rng: np.random.Generator, n: int, dt: float, sigma: float, tau: float) -> Array:
    """First-order noise."""
    keep = np.exp(-dt / tau)
    steps = rng.normal(size=n) * sigma * np.sqrt(1 - keep**2)
    out = np.empty(n)
    value = rng.normal() * sigma
    for i in range(n):
        value = keep * value + steps[i]
        out[i] = value
    return out


def flight(rng: np.random.Generator, airborne_s: float) -> dict[str, Array]:
    """Time, speed, height, north and east of one flight from rest to rest."""
    rest, run, n_air = 20.0, 5.0, int(airborne_s / DT)
    cruise = rng.uniform(13.0, 17.0)
    gust = red(rng, n_air, DT, rng.uniform(0.1, 0.8), 3.0)
    wind = rng.uniform(0.0, 4.0)
    t_air = DT * np.arange(n_air)
    lap = rng.uniform(40.0, 70.0)
    rate = np.zeros(n_air)  # turns of half a circle at both ends, not quite alike
    at = rng.uniform(5.0, 12.0)
    while at < airborne_s:
        length = rng.uniform(6.0, 10.0)
        rate[(t_air >= at) & (t_air < at + length)] = np.pi / length
        at += 0.5 * lap + rng.normal(0.0, 0.6)
    heading = np.cumsum(rate) * DT
    air = cruise + gust
    top = rng.uniform(25.0, 60.0)
    climb = np.minimum(t_air * 3.0, top) * np.clip((airborne_s - t_air) / 20.0, 0.0, 1.0)
    height = climb + red(rng, n_air, DT, 1.0, 8.0) * np.clip(t_air / 10.0, 0.0, 1.0)
    north_v, east_v = air * np.cos(heading) - wind, air * np.sin(heading)
    parts = {
        "north_v": np.concatenate(
            [np.zeros(int(rest / DT)), np.linspace(0, north_v[0], int(run / DT)), north_v,
             np.linspace(north_v[-1], 0.0, int(8.0 / DT)), np.zeros(int(rest / DT))]
        ),
        "east_v": np.concatenate(
            [np.zeros(int((rest + run) / DT)), east_v,
             np.linspace(east_v[-1], 0.0, int(8.0 / DT)), np.zeros(int(rest / DT))]
        ),
        "height": np.concatenate(
            [np.zeros(int((rest + run) / DT)), np.maximum(height, 0.0),
             np.zeros(int(8.0 / DT) + int(rest / DT))]
        ),
    }  # fmt: skip
    count = min(len(v) for v in parts.values())
    north_v, east_v = parts["north_v"][:count], parts["east_v"][:count]
    return {
        "time": DT * np.arange(count),
        "speed": np.hypot(north_v, east_v),
        "north": np.cumsum(north_v) * DT,
        "east": np.cumsum(east_v) * DT,
        "height": parts["height"][:count],
    }


def draw_logger(rng: np.random.Generator, *, telemetry: bool) -> Logger:
    """Draw a logger."""
    rate = float(rng.choice([1.0, 2.0, 5.0]) if telemetry else rng.choice([1.0, 5.0, 10.0]))
    late = rng.uniform(0.0, 1.0)
    return Logger(
        rate_hz=rate,
        late_s=late,
        speed_noise=rng.uniform(0.03, 0.3),
        wander_m=rng.uniform(0.3, 2.5),
        white_m=rng.uniform(0.05, 0.5),
        height_noise=rng.uniform(0.1, 0.5),
        height_drift_m=rng.normal(0.0, 1.5),
        coarse=telemetry,
        lost=rng.uniform(0.0, 0.2),
        hole_s=float(rng.choice([0.0, 0.0, rng.uniform(5.0, 40.0)])),
        row_s=0.4 if telemetry else 0.0,
        baro_late_s=late,
    )


def look(
    truth: dict[str, Array],
    logger: Logger,
    rng: np.random.Generator,
    *,
    clock_s: float,
    ppm: float = 0.0,
    window: tuple[float, float] | None = None,
    without: tuple[str, ...] = (),
) -> list[Trace]:
    """Look at a flight: traces on a clock that shows ``clock_s`` at the flight's zero."""
    low, high = window or (0.0, float(truth["time"][-1]))
    when = np.arange(low + rng.uniform(0, 1 / logger.rate_hz), high, 1 / logger.rate_hz)
    keep = rng.random(len(when)) >= logger.lost
    if logger.hole_s:
        at = rng.uniform(low, high)
        keep &= (when < at) | (when > at + logger.hole_s)
    when = when[keep]
    n, dt = len(when), 1 / logger.rate_hz

    def seen(name: str, late_s: float) -> tuple[Array, Array]:
        arrival = when + late_s
        if logger.row_s:  # a fix stands in the first row after it
            arrival = arrival + rng.uniform(0.0, logger.row_s, n)
        order = np.argsort(arrival, kind="stable")
        stamp = clock_s + arrival * (1 + 1e-6 * ppm)
        return stamp[order], np.interp(when, truth["time"], truth[name])[order]

    traces = []
    for name in ("speed", "north", "east", "height"):
        if name in without:
            continue
        t, value = seen(name, logger.baro_late_s if name == "height" else logger.late_s)
        if name == "speed":
            value = np.abs(value + rng.normal(0, logger.speed_noise, n))
            value = np.round(value / 0.0278) * 0.0278 if logger.coarse else value
        elif name == "height":
            value = value + rng.normal(0, logger.height_noise, n)
            value = value + logger.height_drift_m * np.linspace(0, 1, n)
            value = np.round(value) if logger.coarse else value
        else:
            value = value + red(rng, n, dt, logger.wander_m, 40.0)
            value = value + rng.normal(0, logger.white_m, n)
        traces.append(Trace(name, t, value))
    return traces


def make_pairs(count: int, seed: int, *, baro_late: bool = False) -> Iterator[Pair]:
    """Make random pairs.

    Parameters
    ----------
    count, seed : int
        How many, and of all that is random.
    baro_late : bool
        Whether the heights have a lateness of their own, which no single offset can mend.
    """
    rng = np.random.default_rng(seed)
    for number in range(count):
        truth = flight(rng, rng.uniform(90.0, 400.0))
        telemetry = bool(number % 2)
        one, two = draw_logger(rng, telemetry=False), draw_logger(rng, telemetry=telemetry)
        if baro_late:
            spread = rng.normal(0.0, 0.2, 2)
            one = replace(one, baro_late_s=one.late_s + float(spread[0]))
            two = replace(two, baro_late_s=two.late_s + float(spread[1]))
        end = float(truth["time"][-1])
        part = rng.uniform(0.6, 1.0) * end
        start = rng.uniform(0.0, end - part)
        offset = rng.uniform(-1000.0, 1000.0)
        without: tuple[str, ...] = ("north", "east") if number % 5 == 4 else ()
        yield Pair(
            first=look(truth, one, rng, clock_s=50.0),
            second=look(
                truth, two, rng, clock_s=50.0 - offset, window=(start, start + part),
                without=without,
            ),
            offset_s=offset + one.late_s - two.late_s - two.row_s / 2,
            rate_ppm=0.0,
            kind=("telemetry" if telemetry else "logger") + (", no position" if without else ""),
        )  # fmt: skip


def measure(pairs: Iterator[Pair]) -> list[tuple[Pair, float, float]]:
    """Error and standard uncertainty of each pair; NaN where there was no offset."""
    out = []
    for pair in pairs:
        found = align(pair.first, pair.second)
        if not found:
            out.append((pair, float("nan"), float("nan")))
            continue
        clock = found[0].clock
        out.append((pair, clock.offset_s - pair.offset_s, clock.std_s))
    return out


def table(rows: list[tuple[Pair, float, float]]) -> Iterator[str]:
    """Coverage, bias, rms and width, over all and by kind."""
    yield "| pairs | n | found | holds truth % | bias s | rms s | median half-width s |"
    yield "|---|---|---|---|---|---|---|"
    kinds = ["all", *sorted({p.kind for p, _, _ in rows})]
    for kind in kinds:
        chosen = [(e, s) for p, e, s in rows if kind in ("all", p.kind)]
        error, std = (np.array(v) for v in zip(*chosen, strict=True))
        good = np.isfinite(error)
        error, std = error[good], std[good]
        holds = 100 * np.mean(np.abs(error) <= 1.96 * std)
        yield (
            f"| {kind} | {len(chosen)} | {good.sum()} | {holds:.1f} | {error.mean():+.3f} "
            f"| {np.sqrt(np.mean(error**2)):.3f} | {np.median(1.96 * std):.3f} |"
        )


def main() -> None:
    parser = argparse.ArgumentParser(description="Measure the offset between two clocks.")
    parser.add_argument("--pairs", type=int, default=500)
    parser.add_argument("--seed", type=int, default=20270315)
    options = parser.parse_args()
    print("one lateness for all of a logger's channels")
    for line in table(measure(make_pairs(options.pairs, options.seed))):
        print(line)
    print("heights with a lateness of their own (0.2 s); truth is that of the positions")
    for line in table(measure(make_pairs(options.pairs, options.seed + 1, baro_late=True))):
        print(line)


if __name__ == "__main__":
    main()
