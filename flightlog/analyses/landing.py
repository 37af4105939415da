"""The landing: how fast it sank, how hard it hit, whether it bounced, how far it rolled.

Sink rate and touchdown come from the whole vertical channel (`flightlog.estimation.touchdown`),
the load factor from single samples of the accelerometer, way and speed from the smoothed path.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from flightlog.analyses.counts import count_of, weights_of
from flightlog.analyses.landing_data import Felt, LandingData, gather_landing, landed
from flightlog.analyses.landing_faults import LOAD, SINK, hard_landing, not_excluded
from flightlog.analyses.phases import Sortie
from flightlog.analyses.track import TOUCHDOWN_STD_S, ground_distance
from flightlog.constants import G0_M_S2
from flightlog.estimation.frames import Array
from flightlog.estimation.gear import drop_height_m, gear_energy_j, gear_load_factor
from flightlog.estimation.touchdown import locate_touchdown
from flightlog.estimation.touchdown_evidence import Hop, Touchdown
from flightlog.estimation.touchdown_pulse import ENOUGH_SAMPLES, Peak, find_peak, missed_share
from flightlog.figures import Answer, Figure
from flightlog.inputs import Inputs
from flightlog.uncertain import Posterior, Quantity, Uncertain

if TYPE_CHECKING:
    from flightlog.analyses.takeoff import Takeoff
    from flightlog.estimation.path import FlightPath
    from flightlog.recording import Recording

BOUNCE_S, BOUNCE_M = 0.08, 0.05
"""Time and height from which on a hop is a bounce. [s], [m]"""

LEGS_M, LEGS_STD_M = 0.01, 0.015
"""How far the body rises before the wheels leave the ground: legs and tyres stretch, the nose
comes up. [m]"""

LEAST_STD_S = 0.02
"""No touchdown is surer than this: a wheel brushes the grass before it carries. [s]"""

SLOW_M_S = 1.0
"""Speed at which the roll-out ends. [m/s]"""

LEVER_STD_M = {True: 0.04, False: 0.1}
"""How far forward of the sensor, or of the axle that it was brought to, the centre of gravity may
lie, with and without the sensor's place in the aircraft file. [m]"""

LOAD_SCALE_STD = 0.01
"""Standard uncertainty of the accelerometer's scale. [-]"""

_IDS = (
    SINK,
    LOAD,
    "landing.bounces",
    "landing.roll_out",
    "landing.touchdown_speed",
    "landing.gear_energy",
)
_DIP_S = 0.05
_LEFT_S = 1.0


@dataclass(frozen=True, slots=True)
class Load:
    """Peak load factor of a landing.

    ``quantity`` and ``method`` are those of the figure; ``whole`` says that the pulse was seen
    by enough samples and ended below the sensor's limit.
    """

    quantity: Quantity
    method: str
    whole: bool
    peak: Peak


@dataclass(frozen=True, slots=True)
class Landing:
    """What the analysis found.

    Attributes
    ----------
    answer : Answer
        Figures of the landing, and whether it was hard.
    time_s, time_std_s : float or None
        First contact and its standard uncertainty; None where it was not located. [s]
    """

    answer: Answer
    time_s: float | None = None
    time_std_s: float | None = None


def refined(sortie: Sortie, landing: Landing) -> Sortie:
    """Return the sortie with the measured touchdown, where it is surer than the coarse one."""
    time_s, std_s = landing.time_s, landing.time_std_s
    if time_s is None or std_s is None or std_s >= TOUCHDOWN_STD_S:
        return sortie
    return replace(sortie, touchdown_s=time_s, touchdown_std_s=max(std_s, LEAST_STD_S))


def measure_landing(
    recording: Recording,
    sortie: Sortie,
    path: FlightPath | None,
    inputs: Inputs,
    takeoff: Takeoff,
) -> Landing:
    """Locate the touchdown, give the figures of the landing, and say whether it was hard.

    Parameters
    ----------
    recording : Recording
        IMU and attitude, barometer, GPS climb rate: whatever of them there is.
    sortie : Sortie
        Its coarse touchdown and standstill.
    path : FlightPath or None
        For way and speed over ground.
    inputs : Inputs
        Mass, gear, place of the inertial sensor and own limits.
    takeoff : Takeoff
        For the age of a fix.
    """
    why = landed(sortie)
    touch_s = sortie.touchdown_s
    if why or touch_s is None:
        return Landing(Answer(withheld=dict.fromkeys(_IDS, why)))
    data = gather_landing(recording, touch_s, path, inputs, takeoff)
    touch = locate_touchdown(data.evidence, touch_s, sortie.end_s)
    figures: dict[str, Figure] = {}
    withheld: dict[str, str] = {}

    def add(id_: str, found: tuple[Quantity, str] | str, sources: tuple[str, ...]) -> None:
        if isinstance(found, str):
            withheld[id_] = found
        else:
            figures[id_] = Figure(id_, *found, sources)

    if touch is None:
        reason = f"{data.no_imu or 'the accelerations have a hole'}; nor is there a GPS climb rate"
        blind = not_excluded("no fast accelerations, and no GPS climb rate", touch_s)
        return Landing(Answer(withheld=dict.fromkeys(_IDS, reason), findings=(blind,)))
    doubt = _doubt(touch, sortie)
    if doubt:
        blind = not_excluded(doubt, touch_s)
        return Landing(Answer(withheld=dict.fromkeys(_IDS, doubt), findings=(blind,)))
    sink = _sink(touch)
    add(SINK, (sink, _how_sink(touch, data)), data.sources)
    load = _load(touch, data.felt) if touch.inertial and data.felt is not None else None
    no_load = data.no_imu or "the accelerations have a hole at the touchdown; log them without"
    add(LOAD, no_load if load is None else (load.quantity, load.method), ("imu",))
    add("landing.bounces", _bounces(touch, no_load), data.sources)
    add("landing.roll_out", _roll_out(touch, sortie, path), ("gps",))
    add("landing.touchdown_speed", _touchdown_speed(touch, path), ("gps",))
    add("landing.gear_energy", _gear(touch, inputs), (*data.sources, "declared"))
    limits: Mapping[str, Mapping[str, object]] = (
        inputs.aircraft.limits if inputs.aircraft is not None else {}
    )
    findings = hard_landing(
        sink,
        load.quantity if load is not None else None,
        whole=load is not None and load.whole,
        impulse_m_s=load.peak.impulse * G0_M_S2 if load is not None else None,
        rate_hz=data.felt.rate_hz if data.felt is not None else None,
        limits=limits,
        time_s=touch.time_s,
    )
    return Landing(Answer(figures, withheld, findings), touch.time_s, touch.time_std_s)


def answer(
    recording: Recording,
    sortie: Sortie,
    path: FlightPath | None,
    inputs: Inputs,
    takeoff: Takeoff,
) -> Answer:
    """Give the figures of the landing, as `measure_landing` does."""
    return measure_landing(recording, sortie, path, inputs, takeoff).answer


def _doubt(touch: Touchdown, sortie: Sortie) -> str:
    """Why a contact that was found can't be the first one, "" where it can."""
    if sortie.ends == "log" and touch.time_s > sortie.end_s - _LEFT_S:
        return "the log ends within a second of the contact: the landing is not whole in it"
    if touch.inertial and touch.mean_m_s < 2 * touch.std_m_s:
        return (
            "the aircraft did not sink at the contact that the accelerations show, so the first "
            "one is hidden, perhaps in a hole of the log or beyond the sensor's range"
        )
    return ""


def _sink(touch: Touchdown) -> Quantity:
    if touch.inertial:
        return Uncertain.of(touch.mean_m_s, touch.std_m_s, "m/s", source="sink rate")
    return Posterior.from_samples(touch.sink_m_s, touch.weight, "m/s")


def _how_sink(touch: Touchdown, data: LandingData) -> str:
    others = [
        name
        for name, have in (
            ("barometer", data.evidence.height),
            ("GPS climb rate", data.evidence.climb),
        )
        if have is not None
    ]
    at = f"first contact at {touch.time_s:.2f} s ± {1.96 * touch.time_std_s:.2f} s"
    drop = f"as after a drop of {100 * drop_height_m(touch.mean_m_s):.0f} cm"
    if touch.inertial:
        names = ["vertical acceleration, tied to the ground of the roll-out", *others]
        return f"smoother over {', '.join(names)}; {at}; {drop}"
    return f"{' and '.join(others)} over all instants that they leave open; {at}; {drop}"


def _load(touch: Touchdown, felt: Felt) -> Load | None:
    t, n = felt.upward.time_s, felt.load
    before = (t > touch.time_s - 1.0) & (t < touch.time_s - _DIP_S)
    level = float(np.median(n[before])) if before.sum() >= 3 else 1.0
    step = 1 / felt.rate_hz
    first = touch.time_s - 2 * touch.time_std_s - 0.5 * step
    peak = find_peak(t, n, first, touch.settled_s, level)
    if peak is None:
        return None
    # Wheels and structure shake the sensor on the ground more than the motor did in the flare.
    rolling = (t > touch.time_s) & (t < touch.settled_s + 1.0)
    noise = max(_scatter(n[before]), _scatter(n[rolling]))
    near = np.abs(t - peak.time_s) <= max(0.015, 0.5 * step)
    turning = float(np.max(np.abs(felt.turning[near]))) if near.any() else 0.0
    std = math.hypot(
        noise,
        LOAD_SCALE_STD * peak.value,
        LEVER_STD_M[felt.moved] * turning / G0_M_S2,
    )
    clipped = _clipped(n, peak)
    # The greatest of a few noisy samples about the top is too high by about their noise.
    value = peak.value - noise + touch.zero_m_s2 / G0_M_S2
    missed = np.asarray(missed_share(1 if clipped else peak.samples, peak.step_s))
    tops = value + (peak.value - level) * missed
    whole = not clipped and peak.samples >= ENOUGH_SAMPLES
    quantity = Posterior.from_samples(_thinned(tops), None, "").widened(std, "load factor")
    impact = f"the pulse took {peak.impulse * G0_M_S2:.1f} m/s"
    where = "brought to the main wheels" if felt.moved else "where the sensor sits"
    if whole:
        method = f"greatest sample, of a pulse of {peak.samples}; {where}; {impact}"
    else:
        seen = "it ended at the sensor's limit" if clipped else f"seen by {peak.samples} samples"
        method = f"at least: the pulse was cut, {seen}, the greatest {value:.1f}; {where}"
    return Load(quantity, method, whole, peak)


def _scatter(load: Array) -> float:
    """White noise of the samples, from second differences; robust against the pulse itself."""
    if load.size < 6:
        return 0.05
    return 1.4826 * float(np.median(np.abs(np.diff(load, 2)))) / math.sqrt(6)


def _thinned(tops: Array) -> Array:
    return np.asarray(np.quantile(tops, (np.arange(48) + 0.5) / 48))


def _clipped(load: Array, peak: Peak) -> bool:
    """Whether several samples share the greatest value, as those at a sensor's limit do."""
    return int(np.sum(load >= peak.value - 1e-3)) >= 3


def _bounces(touch: Touchdown, no_load: str) -> tuple[Quantity, str] | str:
    """Count the hops that were bounces, each with its chance.

    Where none is told from the ground, the likeliest of what the noise of the height may hide
    counts: one long swing of that noise looks like several.
    """
    if not touch.inertial:
        return f"bounces show in the accelerations only: {no_load}"
    chances = [_is_bounce(hop) for hop in touch.hops]
    if not chances:
        chances = [max((_is_bounce(hop) for hop in touch.faint), default=0.0)]
    method = f"hops of more than {BOUNCE_S} s and {100 * BOUNCE_M:.0f} cm in the smoothed height"
    if touch.hops:
        method += "; tops " + ", ".join(f"{100 * hop.top_m:.0f} cm" for hop in touch.hops[:5])
    return count_of(weights_of(chances)), method


def _is_bounce(hop: Hop) -> float:
    """Probability that a hop is long and high enough to be a bounce."""
    if hop.end_s - hop.start_s < BOUNCE_S:
        return 0.0
    std = math.hypot(hop.top_std_m, LEGS_STD_M)
    return 0.5 * (1 + math.erf((hop.top_m - LEGS_M - BOUNCE_M) / std / math.sqrt(2)))


def _roll_out(
    touch: Touchdown, sortie: Sortie, path: FlightPath | None
) -> tuple[Quantity, str] | str:
    if path is None:
        return "the log has too few position fixes for a path"
    t, speed = path.time_s, np.hypot(path.east_m_s, path.north_m_s)
    slow = np.flatnonzero((t > touch.time_s) & (speed < SLOW_M_S))
    if not slow.size:
        return f"the log ends before the speed fell below {SLOW_M_S:.0f} m/s"
    end = float(t[slow[0]])
    if end - touch.time_s < 0.1:
        return "it came to rest where it touched down: there is no roll-out"
    way = ground_distance(path, touch.time_s, end)
    if way is None:
        return "too few position fixes during the roll-out"
    at = float(np.interp(touch.time_s, t, speed))
    # Where the path is late, the speed at touchdown and at the end are late together.
    late = math.hypot(touch.time_std_s, path.latency_std_s) * at
    sources = {**way.sources, "time of the touchdown": late}
    mean = at**2 / (2 * max(way.value, 0.1)) / G0_M_S2
    method = f"length of the smoothed path until {SLOW_M_S:.0f} m/s; slowed by {mean:.2f} g"
    return Uncertain(way.value, sources, "m"), method


def _touchdown_speed(touch: Touchdown, path: FlightPath | None) -> tuple[Quantity, str] | str:
    if path is None:
        return "the log has too few position fixes for a path"
    t = path.time_s
    if not t[0] <= touch.time_s <= t[-1]:
        return "the log has no position fixes at the touchdown"
    if any(a < touch.time_s < b and b - a > 2.0 for a, b in path.gaps_s):
        return "the position fixes have a hole at the touchdown"
    speed = np.hypot(path.east_m_s, path.north_m_s)
    std = float(np.interp(touch.time_s, t, path.speed_std_m_s))
    near = (t > touch.time_s - 0.6) & (t < touch.time_s + 0.6)
    slope = float(np.polyfit(t[near], speed[near], 1)[0]) if near.sum() >= 3 else 1.5
    late = math.hypot(touch.time_std_s, path.latency_std_s)
    sources = {"speed noise": std, "time of the touchdown": max(abs(slope), 0.5) * late}
    value = float(np.interp(touch.time_s, t, speed))
    return Uncertain(value, sources, "m/s"), "smoothed path at the first contact"


def _gear(touch: Touchdown, inputs: Inputs) -> tuple[Quantity, str] | str:
    gear = inputs.aircraft.gear if inputs.aircraft is not None else None
    if gear is None:
        return "needs the aircraft file with [gear] stroke_m and efficiency"
    if inputs.mass is None:
        return "needs the take-off mass; give --mass KG"
    mass = inputs.mass.kg
    sink = np.maximum(touch.sink_m_s, 0.0)
    energy = [gear_energy_j(mass, float(v), gear.stroke_m) for v in sink]
    value = Posterior.from_samples(energy, touch.weight, "J")
    share = inputs.mass.std_kg / mass
    quantity = value.widened(share * value.value, "mass")
    v = max(touch.mean_m_s, 0.0)
    load = gear_load_factor(v, gear.stroke_m, gear.efficiency)
    method = (
        f"half of mass times sink rate squared, and a third of the weight over the stroke; such a "
        f"gear is then pressed by {load * mass * G0_M_S2:.0f} N, {load:.1f} times the weight"
    )
    return quantity, method
