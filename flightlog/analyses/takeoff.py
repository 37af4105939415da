"""How far it rolled: start of roll, lift-off, ground roll, each with its interval.

From position fixes, and from IMU, attitude and barometer where the log has them. The speed
along the runway comes from a smoother (`estimation.roll`), the instant of lift-off from a
posterior over everything that speaks of leaving the ground (`estimation.liftoff`). The roll is
the mixture of both over the age of a fix: for each latency and each instant a distance with
its spread. Its quantiles are the interval, skewed where the evidence is.

Not valid for a hand launch, or where the log starts during the roll: then the reason is given.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from flightlog.analyses.counts import count_of, weights_of
from flightlog.analyses.phases import Sortie
from flightlog.analyses.takeoff_data import (
    TakeoffData,
    first_motion,
    forward_input,
    gather,
    last_rest,
)
from flightlog.estimation.frames import Array
from flightlog.estimation.liftoff import LiftoffPosterior, locate_liftoff
from flightlog.estimation.liftoff_evidence import Series, VerticalEvidence
from flightlog.estimation.roll import RollTrack, SpeedFixes, estimate_roll
from flightlog.figures import Answer, Figure
from flightlog.findings import Finding, make_finding
from flightlog.inputs import Inputs
from flightlog.recording import Recording
from flightlog.uncertain import Posterior, Uncertain

MODEL_STD_M = 0.15
"""What remains of a distance that speed and IMU carry: lever arm, scale, correlated Doppler
error. [m]"""

SCALE_STD = 0.004
"""Speed scale and heading spread, as a share of the distance. [-]"""

START_STD_S = (0.1, 0.3)
"""Standard uncertainty of the start of the roll with and without an IMU: a thrust that ramps
up in half a second passes the speed threshold by a tenth late. [s]"""

WEAK_WIDTH_S = 1.0
"""A lift-off less sharp than this is said to be uncertain. [s]"""

MISFIT_WIDENS, MISFIT_STOP = 2.5, 25.0
"""Mean square of the speeds' scatter over what is claimed, above which the interval grows, and
above which it says nothing. Sound logs show 0.2 to 1.3. [-]"""

SKIPS_UNSEEN, SKIP_MORE, PUSH_IS_CONTACT = (0.27, 0.12), 0.1, 0.3
"""Chances of a first and a second skip where a quiet accelerometer shows none, since most skips
lift the wheels by millimetres; of one more where it shows some; and that each push upward after the
first is a contact of its own and not the gear that swings. From 118 simulated take-offs that such
an accelerometer saw: of 84 with none shown 58 had none, 20 one, 6 more. [-]"""

_NODES = np.linspace(-2.4, 2.4, 9)
_NODE_WEIGHTS = np.exp(-0.5 * _NODES**2)

# Headwind, reference roll and distance to a screen have analyses of their own.
_FIGURES = (
    "takeoff.start_time",
    "takeoff.liftoff_time",
    "takeoff.ground_roll",
    "takeoff.first_clear_distance",
    "takeoff.skips",
    "takeoff.liftoff_ground_speed",
)


@dataclass(frozen=True, slots=True)
class Takeoff:
    """A measured take-off.

    Attributes
    ----------
    answer : Answer
        The ``takeoff.*`` figures that come from the log alone.
    start_s, liftoff_s : float or None
        Best estimates on the log's clock. [s]
    heading_deg : float or None
        Direction of the roll, clockwise from true north. [deg]
    latency_s, latency_std_s : float or None
        Age of a fix. [s]
    track : RollTrack or None
        The smoothed roll, for charts and for the wind.
    liftoff : LiftoffPosterior or None
        The posterior of the instant.
    """

    answer: Answer
    start_s: float | None = None
    liftoff_s: float | None = None
    heading_deg: float | None = None
    latency_s: float | None = None
    latency_std_s: float | None = None
    track: RollTrack | None = None
    liftoff: LiftoffPosterior | None = None


def measure_takeoff(recording: Recording, sortie: Sortie, inputs: Inputs) -> Takeoff:
    """Measure the take-off of one sortie.

    Parameters
    ----------
    recording : Recording
        The log.
    sortie : Sortie
        From `find_sorties`; its ``search_s`` bounds the work.
    inputs : Inputs
        The site's runway heading is used where it is given.

    Returns
    -------
    Takeoff
        With every figure either given or withheld.
    """
    reason = _not_a_roll(sortie)
    if reason:
        return _withheld(reason)
    data = gather(recording, sortie)
    if isinstance(data, str):
        return _withheld(data)
    heading, findings = _heading(data, inputs)
    track = _track(data, heading)
    posterior = locate_liftoff(_evidence(data, track), track.mean_start_s(), data.two_metres_s)
    return _report(data, heading, track, posterior, findings)


def _not_a_roll(sortie: Sortie) -> str:
    if sortie.launch == "hand":
        return "launched by hand: there is no ground roll"
    if sortie.launch == "air" or sortie.starts == "air":
        return "the log starts in the air; start logging before the take-off"
    if sortie.launch == "unknown" or sortie.starts == "rolling":
        return (
            "no standstill before the take-off in the log, so the start of the roll is not known; "
            "start logging before the roll"
        )
    return ""


def _withheld(reason: str) -> Takeoff:
    return Takeoff(Answer(withheld=dict.fromkeys(_FIGURES, reason)))


def _heading(data: TakeoffData, inputs: Inputs) -> tuple[float, list[Finding]]:
    """Direction of the roll from the velocities; the site's heading only as a check.

    The roll is the straight distance between two points, so its own direction is the right
    one; the sum of the velocities weighs the fast, straight part.
    """
    f = data.fixes
    rolling = (f.time_s > data.fast_s - 1.0) & (f.time_s < data.two_metres_s + 1.0)
    east, north = float(f.east_m_s[rolling].sum()), float(f.north_m_s[rolling].sum())
    heading = math.degrees(math.atan2(east, north)) % 360
    findings = []
    runway = inputs.site.runway if inputs.site is not None else None
    if runway is not None:
        off = (heading - runway.heading_deg + 180) % 360 - 180
        if abs(off) > 10 and abs(abs(off) - 180) > 10:
            findings.append(
                make_finding(
                    "runway-heading",
                    f"the roll went towards {heading:.0f}°, the site file says "
                    f"{runway.heading_deg:.0f}°",
                    evidence={"measured_deg": heading, "given_deg": runway.heading_deg},
                )
            )
    return heading, findings


def _track(data: TakeoffData, heading_deg: float) -> RollTrack:
    f = data.fixes
    psi = math.radians(heading_deg)
    along = f.east_m_s * math.sin(psi) + f.north_m_s * math.cos(psi)
    fixes = SpeedFixes(f.time_s, along, f.speed_std_m_s)
    end = data.two_metres_s + 1.0
    if data.body is None:
        start = first_motion(f, data.fast_s) - 0.5
        return estimate_roll(fixes, None, start, end, start_std_s=0.3)
    accel = forward_input(data.body, data.fast_s, data.two_metres_s)
    start = last_rest(data.body, accel.rest_mean_m_s2, data.fast_s, float(f.time_s[0]))
    return estimate_roll(fixes, accel, start, end)


def _evidence(data: TakeoffData, track: RollTrack) -> VerticalEvidence:
    f, lag = data.fixes, track.latency_mean_s
    good = np.isfinite(f.climb_m_s)
    climb = None
    if good.sum() >= 3:
        rest = good & (f.time_s < data.fast_s - 3)
        noise = float(np.std(f.climb_m_s[rest])) if rest.sum() > 5 else 0.2
        std = np.full(int(good.sum()), max(0.2, noise))
        climb = Series(f.time_s[good] - lag, f.climb_m_s[good], std)
    speed = track.speed_m_s @ track.weight
    body = None
    if data.body is not None:
        up = data.body.upward_m_s2
        body = Series(data.body.time_s, up, np.ones_like(up))
    return VerticalEvidence(
        body, data.height, climb, data.pitch, Series(track.time_s, speed, np.ones_like(speed))
    )


def _mixture(track: RollTrack, time_s: Array, weight: Array) -> Posterior:
    """Distance at an uncertain instant, over all latencies."""
    kept = weight > 1e-7
    distance, std, _, _ = track.at(time_s[kept])
    spread = np.sqrt(std**2 + MODEL_STD_M**2 + (SCALE_STD * distance) ** 2)
    samples = distance[:, :, None] + spread[:, :, None] * _NODES
    weights = weight[kept][:, None, None] * track.weight[None, :, None] * _NODE_WEIGHTS
    return _thinned(Posterior.from_samples(np.maximum(samples, 0.0), weights, "m"))


def _thinned(posterior: Posterior, count: int = 401) -> Posterior:
    """Return the same distribution on few samples, so that a debrief stays small."""
    middle = np.cumsum(posterior.weights) - 0.5 * posterior.weights
    at = (np.arange(count) + 0.5) / count
    return Posterior.from_samples(np.interp(at, middle, posterior.samples), None, posterior.unit)


def _speed_mixture(track: RollTrack, posterior: LiftoffPosterior) -> Posterior:
    kept = posterior.last_contact > 1e-7
    _, _, speed, std = track.at(posterior.time_s[kept])
    samples = speed[:, :, None] + np.hypot(std, 0.05)[:, :, None] * _NODES
    weights = posterior.last_contact[kept][:, None, None] * track.weight[None, :, None]
    return _thinned(
        Posterior.from_samples(np.maximum(samples, 0.0), weights * _NODE_WEIGHTS, "m/s")
    )


def _report(
    data: TakeoffData,
    heading: float,
    track: RollTrack,
    posterior: LiftoffPosterior,
    findings: list[Finding],
) -> Takeoff:
    sources = ["gps"]
    method = "smoothed Doppler speed"
    if track.inertial:
        sources += ["imu", "attitude"]
        method = "smoothed track of IMU and Doppler speed"
    if data.height is not None:
        sources.append("baro")
    liftoff = _thinned(Posterior.from_samples(posterior.time_s, posterior.last_contact, "s"))
    start_std = START_STD_S[0] if track.inertial else START_STD_S[1]
    start = Uncertain(track.mean_start_s(), {"start of roll": start_std}, "s")
    how = f"{method}; lift-off as a posterior over " + " and ".join(
        name
        for name, have in (
            ("vertical acceleration", posterior.shake_air_m_s2 is not None),
            ("barometer", data.height is not None),
            ("GPS climb rate", bool(np.isfinite(data.fixes.climb_m_s).any())),
        )
        if have
    )
    used = tuple(sources)
    figures = {
        "takeoff.start_time": Figure("takeoff.start_time", start, method, used),
        "takeoff.liftoff_time": Figure("takeoff.liftoff_time", liftoff, how, used),
        "takeoff.ground_roll": Figure(
            "takeoff.ground_roll",
            _mixture(track, posterior.time_s, posterior.last_contact),
            how,
            used,
        ),
        "takeoff.first_clear_distance": Figure(
            "takeoff.first_clear_distance",
            _mixture(track, posterior.time_s, posterior.first_clear),
            how,
            used,
        ),
        "takeoff.liftoff_ground_speed": Figure(
            "takeoff.liftoff_ground_speed", _speed_mixture(track, posterior), how, used
        ),
    }
    withheld: dict[str, str] = {}
    findings = findings + _findings(data, track, posterior)
    skips = _skips(posterior)
    if isinstance(skips, str):
        withheld["takeoff.skips"] = skips
    else:
        figures["takeoff.skips"] = Figure("takeoff.skips", skips, how, used)
    return Takeoff(
        Answer(figures, withheld, tuple(findings)),
        start_s=track.mean_start_s(),
        liftoff_s=liftoff.value,
        heading_deg=heading,
        latency_s=track.latency_mean_s,
        latency_std_s=track.latency_std_s,
        track=track,
        liftoff=posterior,
    )


def _skips(posterior: LiftoffPosterior) -> Posterior | Uncertain | str:
    if posterior.shake_air_m_s2 is None:
        return "without a usable IMU the barometer can't show skips of a few centimetres"
    if not posterior.resolves_skips:
        return (
            f"the motor shakes the IMU by {posterior.shake_air_m_s2:.2f} m/s² (0.04 s means): "
            "skips of a few centimetres don't show"
        )
    shown = min(max(posterior.skip_probability, 0.0), 1.0)
    seen = [1.0, *[PUSH_IS_CONTACT] * (posterior.skips - 1), SKIP_MORE]
    skipped, clean = weights_of(seen), weights_of(SKIPS_UNSEEN)
    size = max(skipped.size, clean.size)
    both = [np.pad(weight, (0, size - weight.size)) for weight in (skipped, clean)]
    return count_of(shown * both[0] + (1 - shown) * both[1])


def _findings(data: TakeoffData, track: RollTrack, posterior: LiftoffPosterior) -> list[Finding]:
    found = []
    width = posterior.width_s()
    if width > WEAK_WIDTH_S:
        found.append(
            make_finding(
                "liftoff-uncertain",
                f"the instant of lift-off is only known within {width:.1f} s",
                evidence={"width_s": round(width, 3)},
            )
        )
    if data.body is None:
        found.append(
            make_finding(
                "no-inertial-takeoff",
                f"take-off measured without the IMU: {data.no_body}",
                evidence={"fix_rate_hz": round(data.fixes.rate_hz, 2)},
            )
        )
    if track.misfit > MISFIT_STOP:
        found.append(
            make_finding(
                "speeds-contradict",
                f"speeds and accelerations in the roll contradict each other: they scatter "
                f"{math.sqrt(track.misfit):.0f} times as much as claimed",
                evidence={"misfit": round(track.misfit, 2)},
            )
        )
    elif track.misfit > MISFIT_WIDENS:
        found.append(
            make_finding(
                "speed-misfit",
                f"speeds scatter {math.sqrt(track.misfit):.1f} times as much as claimed; "
                "the interval was widened accordingly",
                evidence={"misfit": round(track.misfit, 2)},
            )
        )
    if posterior.resolves_skips and posterior.skip_probability > 0.5:
        found.append(
            make_finding(
                "skipped",
                f"the wheels touched again after the first clear moment (probability "
                f"{posterior.skip_probability:.2f}); the roll counts to the last contact",
                evidence={"probability": round(posterior.skip_probability, 3)},
            )
        )
    return found


def refined(sortie: Sortie, takeoff: Takeoff) -> Sortie:
    """Return the sortie with the measured start and lift-off."""
    if takeoff.start_s is None or takeoff.liftoff_s is None:
        return sortie
    return replace(sortie, start_s=takeoff.start_s, liftoff_s=takeoff.liftoff_s)
