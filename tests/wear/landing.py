"""How well landings are measured: ``python -m tests.wear.landing --seed 2``.

Runs the landing's analysis over the simulated flights of `tests.wear.flights`, sound ones and hard
touchdowns, with the IMU as logged (200 Hz), thinned to 100, 50 and 25 Hz (every other flight by
means, the rest by readings) and left out. Prints errors of the sink rate against truth, how often
the 95 % intervals hold it, and how often the landing was called hard.
"""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np

from flightlog.analyses.landing import answer
from flightlog.analyses.phases import find_sorties
from flightlog.analyses.takeoff import Takeoff
from flightlog.estimation.path import estimate_path
from flightlog.figures import Answer
from flightlog.inputs import Inputs, Mass
from sample_flights.generator.takeoffs import Tables
from tests.wear.flights import aircraft_of, load, recording_of

RATES = (200, 100, 50, 25, 0)
SIZES = (1.6, 2.2, 2.8)


@dataclass(frozen=True)
class Result:
    """One landing at one rate: truth, estimate with interval, load, findings."""

    size: float
    rate_hz: int
    sink: float
    found: float
    inside: bool
    std: float
    load: float
    load_found: float
    load_inside: bool
    bounces: int
    bounces_found: float
    roll_error: float
    roll_inside: bool
    codes: tuple[str, ...]


def thinned(tables: Tables, rate_hz: int, *, means: bool) -> Tables:
    """Tables with the IMU at a lower rate; 0 leaves it out."""
    imu = tables["imu"]
    every = round(200 / rate_hz) if rate_hz else 0
    if every == 1:
        return dict(tables)
    if not every:
        return {name: table for name, table in tables.items() if name != "imu"}
    if not means:
        return {**tables, "imu": imu.iloc[every - 1 :: every].reset_index(drop=True)}
    whole = imu.iloc[: len(imu) // every * every]
    mean = whole.groupby(np.arange(len(whole)) // every).mean()
    mean["time_s"] = whole["time_s"].to_numpy()[every - 1 :: every]
    mean["instance"] = 0
    return {**tables, "imu": mean}


def measured(tables: Tables, truth: dict[str, Any], size: float, rates: Any) -> Iterator[Result]:
    """One flight at every rate."""
    recording = recording_of(tables)
    sorties = find_sorties(recording)[0]
    if not sorties:
        print("no flight found")
        return
    sortie = sorties[-1]
    path = estimate_path(recording, sortie.start_s, sortie.end_s + 12.0)
    mass = Mass(truth["config"]["mass"], 0.02, "truth")
    inputs = Inputs(aircraft=aircraft_of(truth), mass=mass)
    touch, landing = truth["touchdown"], truth["landing"]
    for rate in rates:
        thin = recording_of(thinned(tables, rate, means=truth["config"]["number"] % 2 == 1))
        given = answer(thin, sortie, path, inputs, Takeoff(Answer()))
        codes = tuple(f.code for f in given.findings)
        sink = given.figures["landing.sink_rate"].quantity
        low, high = sink.interval()
        load_found, load_inside, bounces = np.nan, False, np.nan
        if "landing.peak_load_factor" in given.figures:
            peak = given.figures["landing.peak_load_factor"].quantity
            a, b = peak.interval()
            load_found, load_inside = peak.value, a < touch["peak_load_factor"] < b
        if "landing.bounces" in given.figures:
            bounces = round(given.figures["landing.bounces"].quantity.value)
        way, error, roll_inside = touch["roll_out_to_1m_s_m"], np.nan, False
        if "landing.roll_out" in given.figures:
            roll = given.figures["landing.roll_out"].quantity
            a, b = roll.interval()
            error, roll_inside = roll.value - way, a < way < b
        elif rate == rates[0]:
            print("no roll-out:", given.withheld["landing.roll_out"])
        hops = zip(touch["gaps_s"], touch["gap_heights_m"], strict=True)
        true = landing["sink_rate_mps"]
        yield Result(
            size,
            rate,
            true,
            sink.value,
            low < true < high,
            sink.std,
            touch["peak_load_factor"],
            load_found,
            load_inside,
            sum(g > 0.08 and h > 0.05 for g, h in hops),
            bounces,
            error,
            roll_inside,
            codes,
        )


def table(results: list[Result], rates: Any) -> Iterator[str]:
    """Lines of the printed table."""
    for rate in rates:
        mine = [r for r in results if r.rate_hz == rate]
        for size in (None, *sorted({r.size for r in mine})):
            some = [r for r in mine if size is None or r.size == size]
            yield f"{rate:4d} Hz {'all' if size is None else size:>4}: {_row(some)}"
        sound = [r for r in mine if r.sink <= 1.2 and r.load < 4.0]
        false = sum("hard-landing" in r.codes for r in sound)
        yield f"{rate:4d} Hz: called hard, up to 1.2 m/s and 4 g: {false} of {len(sound)}"
        for low, high in ((1.2, 1.5), (1.5, 1.8), (1.8, 2.2), (2.2, 2.6), (2.6, 4.0)):
            some = [r for r in mine if low < r.sink <= high]
            if some:
                told = sum("hard-landing" in r.codes for r in some)
                yield f"{rate:4d} Hz: called hard, {low} to {high} m/s: {told} of {len(some)}"


def _row(some: list[Result]) -> str:
    def share(flags: Any) -> str:
        return f"{100 * float(np.mean(list(flags))):5.1f} %"

    def rms(errors: Any) -> str:
        known = np.array([e for e in errors if np.isfinite(e)])
        return f"{np.sqrt(np.mean(known**2)):.3f} bias {known.mean():+.3f}" if known.size else "-"

    loads = [r for r in some if np.isfinite(r.load_found)]
    ways = [r for r in some if np.isfinite(r.roll_error)]
    text = (
        f"n {len(some)}, sink rms {rms(r.found - r.sink for r in some)} held "
        f"{share(r.inside for r in some)} std {np.mean([r.std for r in some]):.3f}; roll-out rms "
        f"{rms(r.roll_error for r in ways)} held {share(r.roll_inside for r in ways)}; hard "
        f"{share('hard-landing' in r.codes for r in some)} open "
        f"{share('not-excluded' in r.codes for r in some)}"
    )
    if loads:
        text += (
            f"; load rms {rms(r.load_found - r.load for r in loads)} held "
            f"{share(r.load_inside for r in loads)}; bounces right "
            f"{share(r.bounces == r.bounces_found for r in loads)}"
        )
    return text


def main() -> None:
    """Read the options and print the tables."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seed", type=int, default=2)
    parser.add_argument("--count", type=int, default=48)
    parser.add_argument("--rates", type=int, nargs="*", default=RATES)
    parser.add_argument("--sizes", type=float, nargs="*", default=SIZES)
    parser.add_argument("--each", action="store_true", help="print every landing")
    given = parser.parse_args()
    results: list[Result] = []
    for fault, size in (("none", 0.0), *(("hard-touchdown", s) for s in given.sizes)):
        for tables, truth in load(fault, size, given.seed, given.count):
            for one in measured(tables, truth, size, given.rates):
                results.append(one)
                if given.each:
                    print(one, flush=True)
    print("\n".join(table(results, given.rates)))


if __name__ == "__main__":
    main()
