"""How well the battery's resistance is measured: ``python -m tests.wear.resistance``.

Two kinds of flights. Packs in closed form (`tests.wear.packs`), one fixed and many drawn with
shares and time constants within wide limits, under made currents; and the simulated flights of
`tests.wear.flights`, where its cache is there. Truth is the noise-free response of the pack,
averaged over the first second after a step. Every error is counted twice: as the figure stands,
with the interval that holds the sensors' scales; and "scales known", with the drawn scales taken
off and the interval of the fit alone. A plain regression of the same means on current and charge
stands beside it, to show what slow parts do.
"""

from __future__ import annotations

import argparse
from collections.abc import Iterable, Iterator
from dataclasses import dataclass

import numpy as np
import pandas as pd

from flightlog.analyses import battery_health
from flightlog.analyses.phases import Sortie
from flightlog.inputs import Inputs
from flightlog.recording import Receipt, Recording
from tests.wear.packs import Array, Meter, Pack, draw_meter, draw_pack, flight_current

FIXED = Pack(0.019, (0.55, 0.70), (5.0, 110.0))
SCALES = ("current scale", "voltage scale")
RATES = (10.0, 5.0, 2.0, 1.0)


@dataclass(frozen=True)
class LeastSquares:
    """Coefficients, their standard uncertainties, and the scatter of the rest."""

    coefficients: Array
    std: Array
    scatter: float


def plain_regression(current_a: Array, charge: Array, voltage_v: Array) -> LeastSquares:
    """Fit ``V = U0 - R I - k q`` by ordinary least squares: U0, R, k."""
    design = np.column_stack([np.ones(current_a.size), -current_a, -charge])
    found = np.linalg.lstsq(design, voltage_v, rcond=None)[0]
    rest = voltage_v - design @ found
    scatter = float(np.sqrt(rest @ rest / (rest.size - 3)))
    std = scatter * np.sqrt(np.diag(np.linalg.inv(design.T @ design)))
    return LeastSquares(found, std, scatter)


@dataclass(frozen=True)
class Result:
    """One flight: relative errors, and half widths of the 95 % intervals, relative to truth."""

    group: str
    identified: bool
    error: float = np.nan
    half: float = np.nan
    error_known: float = np.nan
    half_known: float = np.nan
    plain: float = np.nan


def measure(
    group: str,
    recording: Recording,
    sortie: Sortie,
    truth_ohm: float,
    scale: float,
    inputs: Inputs | None = None,
    id_: str = "battery.resistance",
) -> Result:
    """Compare one flight; ``scale`` is what the sensors' scales make of a true 1."""
    answer = battery_health.answer(recording, sortie, inputs or Inputs())
    figure = answer.figures.get(id_)
    if figure is None:
        return Result(group, False)
    quantity = figure.quantity
    sources = quantity.sources  # type: ignore[attr-defined]
    own = np.sqrt(sum(e**2 for n, e in sources.items() if not n.startswith(SCALES)))
    table = recording["battery"]
    t, amps, volts = (table[c].to_numpy() for c in ("time_s", "current_a", "voltage_v"))
    rows = (t > sortie.search_s[0]) & (t < sortie.end_s)
    charge = np.concatenate([[0.0], np.cumsum(amps[1:] * np.diff(t))])
    plain = plain_regression(amps[rows], charge[rows], volts[rows]).coefficients[1]
    return Result(
        group,
        True,
        quantity.value / truth_ohm - 1,
        1.96 * quantity.std / truth_ohm,
        quantity.value / scale / truth_ohm - 1,
        1.96 * own / truth_ohm,
        plain / scale / truth_ohm - 1,
    )


def recorded(time_s: Array, amps: Array, volts: Array) -> tuple[Recording, Sortie]:
    """A recording of a battery alone, whose flight lasts from 18 s to its end."""
    table = pd.DataFrame({"time_s": time_s, "instance": 0, "current_a": amps, "voltage_v": volts})
    end = float(time_s[-1]) - 8.0
    log = Recording({"battery": table}, Receipt("made.bin", 0, "", "made", 1))
    return log, Sortie(
        1, "runway", "rest", "standstill", 17.5, 22.0, end - 12.0, end, (2.0, 30.0)
    )  # fmt: skip


def made_flight(
    seed: int, pack: Pack | None
) -> tuple[np.random.Generator, Pack, tuple[Array, Array, Array]]:
    """Time [s], current [A] and voltage [V] of a flight, of a drawn pack where none is given."""
    rng = np.random.default_rng(seed)
    t, amps = flight_current(rng, float(rng.uniform(200, 450)))
    pack = pack or draw_pack(rng)
    return rng, pack, (t, amps, pack.voltage(amps))


def scale_of(meter: Meter) -> float:
    """What the scales of a meter make of a resistance. [-]"""
    return (1 + meter.voltage_scale) / (1 + meter.current_scale)


def made(n: int, seed: int) -> Iterator[Result]:
    """Packs in closed form."""
    for name, pack in (("one pack", FIXED), ("any pack", None)):
        for k in range(n):
            rng, used, true = made_flight(seed + k, pack)
            for rate in RATES:
                meter = draw_meter(rng, rate)
                log, sortie = recorded(*meter.read(*true, rng))
                yield measure(
                    f"{name} {rate:4.0f} Hz", log, sortie, used.first_second_ohm, scale_of(meter)
                )


def table(results: Iterable[Result]) -> Iterator[str]:
    """One line for each group."""
    results = list(results)
    yield (
        f"{'':18}  identified |  RMS  bias  cover  half | scales known: RMS  bias  cover  half |"
        " plain RMS   (per cent)"
    )
    for group in dict.fromkeys(r.group for r in results):
        mine = [r for r in results if r.group == group]
        known = [r for r in mine if r.identified]
        line = f"{group:18}  {len(known):4d} / {len(mine):3d} |"
        if known:
            for error, half in (("error", "half"), ("error_known", "half_known")):
                e = np.array([getattr(r, error) for r in known])
                h = np.array([getattr(r, half) for r in known])
                line += (
                    f" {100 * np.sqrt(np.mean(e**2)):5.2f} {100 * e.mean():5.2f} "
                    f"{100 * np.mean(np.abs(e) <= h):5.1f} {100 * np.median(h):5.2f}  |"
                )
            plain = np.array([r.plain for r in known])
            line += f" {100 * np.sqrt(np.mean(plain**2)):6.1f}"
        yield line


def simulated(fault: str, size: float, seed: int) -> Iterator[tuple[Result, Result]]:
    """Flights of the cache: the resistance, and at 25 °C where the pack's temperature was logged.

    "Scales known" of the latter holds what differs from flight to flight: fit and temperature.
    """
    from flightlog.analyses.phases import find_sorties
    from sample_flights.generator.whole_truth import response
    from tests.wear.flights import aircraft_of, load, recording_of

    seconds = (np.arange(1000) + 0.5) / 1000
    for tables, truth in load(fault, size, seed):
        pack, meter = truth["battery_response"], truth["sensors"]["battery"]
        log = recording_of(tables)
        sorties = find_sorties(log)[0]
        if not sorties:
            continue
        one = float(np.mean([response(1.0, s) for s in seconds]))
        scale = (1 + meter["voltage_scale"]) / (1 + meter["current_scale"])
        inputs = Inputs(aircraft=aircraft_of(truth))
        group = f"simulated {meter['rate']:3.0f} Hz"
        yield (
            measure(group, log, sorties[0], one * pack["r0_ohm"], scale, inputs),
            measure(
                f"{group}, 25 °C",
                log,
                sorties[0],
                one * pack["r0_25c_ohm"],
                scale,
                inputs,
                "battery.resistance_25c",
            ),
        )


def main() -> None:
    """Print the tables."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("-n", type=int, default=40)
    parser.add_argument("--seed", type=int, default=50_000)
    parser.add_argument("--cache", nargs="*", type=int, default=[], help="seeds of the cache")
    wanted = parser.parse_args()
    pairs = [p for seed in wanted.cache for p in simulated("none", 0.0, seed)]
    results = [p[0] for p in pairs] + [p[1] for p in pairs]
    for line in table([*made(wanted.n, wanted.seed), *results]):
        print(line)


if __name__ == "__main__":
    main()
