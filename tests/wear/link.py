"""How surely a hole in the aerial's pattern is found, and how often a sound one is accused.

    python -m tests.wear.link --seed 2 --draws 9

goes over the simulated sound flights that `tests.wear.flights` made. Each is flown with its own
place of the ground station and, in turn, with several radio links drawn anew: power, exponent,
shadowing, pattern, place of the hole. A flight can only show what it turned to the ground station,
so detection is counted twice: of all, and of those in which the hole faced the ground station for
ten seconds or more. A hole in a flight that did not show it must be among what the finding
"not-excluded" says was not seen.
"""

from __future__ import annotations

import argparse
from collections import Counter
from dataclasses import asdict, dataclass, replace
from typing import Any

import numpy as np
import pandas as pd

from flightlog.analyses import link
from flightlog.analyses.phases import Sortie, find_sorties
from flightlog.analyses.takeoff import Takeoff
from flightlog.estimation.frames import LocalFrame
from flightlog.estimation.path import FlightPath
from flightlog.figures import Answer
from flightlog.inputs import Inputs, Runway, Site
from flightlog.recording import Recording
from sample_flights.generator import sensors
from sample_flights.generator.whole_sensors import Link, draw_link
from tests.wear.flights import aircraft_of, load, prepared, recording_of

SHOWN_S = 10.0
"""Seconds in the hole from which on a flight has shown it."""


@dataclass
class Prepared:
    """One simulated flight, measured but for its link, and where the ground station was."""

    recording: Recording
    truth: Any
    sortie: Sortie
    takeoff: Takeoff
    path: FlightPath | None
    time_s: np.ndarray
    distance_m: np.ndarray
    azimuth: np.ndarray
    airborne: np.ndarray

    def with_link(self, one: Link, rng: np.random.Generator) -> Recording:
        """The same flight with another link; the aerial and the air as the generator has them."""
        when = np.arange(self.time_s[0], self.time_s[-1], 1.0 / one.rate)
        x, y = (np.interp(when, self.time_s, f(self.azimuth)) for f in (np.cos, np.sin))
        distance = np.maximum(np.interp(when, self.time_s, self.distance_m), 3.0)
        power = one.at_10_m - 10.0 * one.exponent * np.log10(distance / 10.0)
        power += one.gain(np.arctan2(y, x)) + rng.normal(0.0, one.white, when.size)
        power += sensors.wandering(when.size, 1.0 / one.rate, one.noise, one.noise_time, rng)
        table = pd.DataFrame({"time_s": when, "quality_pct": 99.0, "rssi_dbm": np.round(power)})
        tables = {n: self.recording[n] for n in self.recording}
        return Recording({**tables, "link": table}, self.recording.receipt)

    def facing_s(self, one: Link) -> float:
        """Airborne seconds in which the hole's half-width held the ground station."""
        away = np.abs((self.azimuth - one.null_at + np.pi) % (2 * np.pi) - np.pi)
        inside = (away < np.radians(20.0)) & self.airborne
        return float(inside.sum() * np.median(np.diff(self.time_s)))


def prepare(tables: Any, truth: Any) -> Prepared | None:
    """Find the flight and its path, once for all links."""
    recording = recording_of(tables)
    if not find_sorties(recording)[0]:
        return None
    flight = prepared(recording, Inputs())
    sortie, takeoff, path = flight.sortie, flight.takeoff, flight.path
    gps, attitude = recording["gps"], recording["attitude"]
    when = attitude["time_s"].to_numpy()
    frame = LocalFrame(*truth["link"]["station_deg"])
    place = frame.east_north(gps["latitude_deg"].to_numpy(), gps["longitude_deg"].to_numpy())
    altitude = gps["altitude_msl_m"].to_numpy()
    east, north, up = (np.interp(when, gps["time_s"], v) for v in (*place, altitude - altitude[0]))
    # Straight from the definition of roll, pitch and yaw: two axes against the sight.
    r, p, y = (attitude[f"{n}_rad"].to_numpy() for n in ("roll", "pitch", "yaw"))
    forward = -north * np.cos(p) * np.cos(y) - east * np.cos(p) * np.sin(y) - up * np.sin(p)
    right = (
        -north * (np.sin(r) * np.sin(p) * np.cos(y) - np.cos(r) * np.sin(y))
        - east * (np.sin(r) * np.sin(p) * np.sin(y) + np.cos(r) * np.cos(y))
        + up * np.sin(r) * np.cos(p)
    )
    airborne = (when > sortie.start_s) & (when < sortie.end_s) & (up > 3.0)
    distance = np.sqrt(east**2 + north**2 + up**2)
    azimuth = np.arctan2(right, forward)
    return Prepared(recording, truth, sortie, takeoff, path, when, distance, azimuth, airborne)


def answer(flight: Prepared, one: Link, rng: np.random.Generator, *, placed: bool) -> Answer:
    """What the analysis says of a flight with a link."""
    site = None
    if placed:
        pilot = tuple(flight.truth["link"]["station_deg"])
        site = Site("s", "", Runway(0.0), pilot_deg=pilot)
    aircraft = aircraft_of(flight.truth | {"link": asdict(one)})
    recording = flight.with_link(one, rng)
    inputs = Inputs(aircraft=aircraft, site=site)
    return link.answer(recording, flight.sortie, flight.path, inputs, flight.takeoff.answer)


def measure(flights: list[Prepared], draws: int, null_db: float, seed: int, placed: bool) -> None:
    """Print one line for a depth of the hole."""
    codes: Counter[str] = Counter()
    shown = caught = hit = missed = said = count = 0
    depths, right, scores, margins, off = [], [], [], [], []
    for number, flight in enumerate(flights):
        for draw in range(draws):
            rng = np.random.default_rng([seed, number, draw])
            one = replace(draw_link(rng), null_db=null_db)
            got = answer(flight, one, rng, placed=placed)
            count += 1
            found = {f.code: f for f in got.findings}
            codes.update(found.keys())
            weak = found.get("weak-aspect")
            hit += weak is not None
            faced = flight.facing_s(one) >= SHOWN_S and null_db > 0
            shown += faced
            caught += faced and weak is not None
            missed += not faced and weak is None
            said += not faced and weak is None and "not-excluded" in found
            if weak is not None:
                away = float(weak.evidence["azimuth_deg"]) - np.degrees(one.null_at)
                right.append(abs((away + 180) % 360 - 180) < 30)
            if (figure := got.figures.get("link.weakest_aspect")) is not None:
                depths.append(figure.quantity.value)
            if (figure := got.figures.get("link.range_exponent")) is not None:
                scores.append((figure.quantity.value - one.exponent) / figure.quantity.std)
                off.append(figure.quantity.value - one.exponent)
            if (figure := got.figures.get("link.margin")) is not None:
                margins.append(figure.quantity.std)
    if not count:
        return
    spread = np.percentile(depths, [50, 98]).round(1) if depths else "-"
    print(
        f"{null_db:g} dB: {count} links, weak-aspect in {hit} (direction right in {sum(right)}); "
        f"of {shown} that showed it {caught}; of {missed} others without it not-excluded in "
        f"{said}; weakest aspect 50 %, 98 % {spread}; exponent in its 95 % interval "
        f"{np.mean(np.abs(scores) < 1.96):.3f} of {len(scores)}, mean error {np.mean(off):.2f}; "
        f"margin std {np.median(margins) if margins else 0:.1f}; {dict(codes)}",
        flush=True,
    )


def main() -> None:
    """Read the arguments and measure."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seed", type=int, default=2, help="of the flights in the cache")
    parser.add_argument("--links", type=int, default=2, help="seed of the links")
    parser.add_argument("--draws", type=int, default=9, help="links a flight")
    parser.add_argument("--placed", action="store_true", help="give the pilot's position")
    given = parser.parse_args()
    ready = [prepare(tables, truth) for tables, truth in load("none", 0.0, given.seed)]
    flights = [flight for flight in ready if flight is not None]
    print(f"{len(flights)} flights of seed {given.seed}, placed: {given.placed}", flush=True)
    for null_db in (0.0, 10.0, 6.0, 15.0):
        measure(flights, given.draws, null_db, given.links, given.placed)


if __name__ == "__main__":
    main()
