"""Laps between crossings of a gate."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING, Literal

import numpy as np

from flightlog.analyses.energy import energy_between
from flightlog.analyses.gates import (
    MAX_GAP_S,
    Crossing,
    Line,
    crossings,
    ends_of,
    find_line,
    line_of,
)
from flightlog.analyses.phases import Sortie
from flightlog.analyses.track import ground_distance, unseen_s
from flightlog.constants import JOULE_PER_WH
from flightlog.estimation.path import FlightPath
from flightlog.figures import Answer, Figure
from flightlog.findings import Finding, make_finding
from flightlog.inputs import Inputs
from flightlog.uncertain import NORMAL_95, Quantity, Uncertain

if TYPE_CHECKING:
    from flightlog.recording import Recording

_IDS = ("laps.count", "laps.mean_time", "laps.best_time", "energy.per_lap")
_DRAWS = 4000
_SEED = 7
_SURE = 0.975
_LONG_LAP = 1.6


@dataclass(frozen=True, slots=True)
class Gate:
    """The line that laps are counted at.

    Attributes
    ----------
    origin : {"given", "found"}
        From the site file, or placed by the analysis.
    left_deg, right_deg : tuple of float
        Latitude, longitude of its ends; crossed with ``left`` on the left hand. [deg]
    """

    origin: Literal["given", "found"]
    left_deg: tuple[float, float]
    right_deg: tuple[float, float]


@dataclass(frozen=True, slots=True)
class Lap:
    """One whole lap.

    Attributes
    ----------
    number : int
        From 1.
    start_s, end_s : float
        Gate crossings. [s]
    time, energy, distance : Quantity
        In s, Wh and m; energy and distance None where they can't be had.
    """

    number: int
    start_s: float
    end_s: float
    time: Quantity
    energy: Quantity | None
    distance: Quantity | None


def answer(
    recording: Recording,
    sortie: Sortie,
    path: FlightPath | None,
    inputs: Inputs,
    heading_deg: float | None,
) -> tuple[Answer, Gate | None, tuple[Lap, ...]]:
    """Count and time the laps of one sortie.

    Parameters
    ----------
    recording : Recording
        Battery, for the energy of each lap.
    sortie : Sortie
        Its lift-off and touchdown bound what counts.
    path : FlightPath or None
        The flown path.
    inputs : Inputs
        The site's gate; without one, a gate is placed across the leg flown most often.
    heading_deg : float or None
        Direction of the runway, which decides between legs flown equally often. [deg]

    Returns
    -------
    answer, gate, laps : Answer, Gate or None, tuple of Lap
        The parts of a lap before the first and after the last crossing are not laps.
    """
    if path is None or path.time_s.size < 2:
        return _nothing("no flown path; log GPS position and speed"), None, ()
    start = sortie.start_s if sortie.liftoff_s is None else sortie.liftoff_s
    end = sortie.end_s if sortie.touchdown_s is None else sortie.touchdown_s
    line, gate, reason = _gate(path, inputs, start, end, heading_deg)
    if line is None:
        return _nothing(reason), gate, ()
    found = crossings(path, line, start, end)
    if len(found) < 2:
        return _too_few(found), gate, ()
    pairs = list(pairwise(found))
    timed = [_timed(a, b) for a, b in pairs]
    laps = tuple(
        _lap(recording, path, number, a, b)
        for number, (a, b) in enumerate(pairs, 1)
        if timed[number - 1]
    )
    given = "given" if gate is not None and gate.origin == "given" else "found"
    figures: dict[str, Figure] = {}
    withheld: dict[str, str] = {}
    findings = [*_edge_findings(found), *_gap_findings(path, pairs)]
    _add_count(path, pairs, found, given, figures)
    _add_times(laps, given, figures, withheld)
    _add_energy(laps, given, figures, withheld)
    return Answer(figures, withheld, tuple(findings)), gate, laps


def _nothing(reason: str) -> Answer:
    return Answer(withheld=dict.fromkeys(_IDS, reason))


def _gate(
    path: FlightPath, inputs: Inputs, start_s: float, end_s: float, heading_deg: float | None
) -> tuple[Line | None, Gate | None, str]:
    """Give the line, the gate for the reader, and why there is none."""
    given = inputs.site.gate if inputs.site is not None else None
    if given is not None:
        line = line_of(given, path)
        gate = Gate("given", given.left_deg, given.right_deg)
        return line, gate, "both ends of the gate in the site file are one point"
    line = find_line(path, start_s, end_s, heading_deg)
    if line is None:
        text = "no straight leg was flown twice in one direction; give the gate in a site file"
        return None, None, f"{text} (--site)"
    left, right = ends_of(line, path)
    return line, Gate("found", left, right), ""


def _too_few(found: tuple[Crossing, ...]) -> Answer:
    """Give no lap, as a count, with the reason why nothing else follows."""
    text = f"the gate was crossed {'once' if found else 'never'} in its direction while airborne"
    ids = [id_ for id_ in _IDS if id_ != "laps.count"]
    count = Figure("laps.count", Uncertain(0.0), text, ("gps",))
    reason = f"{text}, and a lap lies between two crossings; check the gate in the site file"
    findings = tuple(_edge_findings(found))
    return Answer({"laps.count": count}, dict.fromkeys(ids, reason), findings)


def _timed(before: Crossing, after: Crossing) -> bool:
    return max(before.gap_s, after.gap_s) <= MAX_GAP_S


def _lap(
    recording: Recording, path: FlightPath, number: int, before: Crossing, after: Crossing
) -> Lap:
    start, end = before.time.value, after.time.value
    time = after.time - before.time
    energy = energy_between(recording, start, end)
    if isinstance(energy, Uncertain):
        power = energy.value * JOULE_PER_WH / time.value
        energy = energy.widened(power * time.std / JOULE_PER_WH, f"lap {number} ends")
    return Lap(number, start, end, time, energy, ground_distance(path, start, end))


def _edge_findings(found: Sequence[Crossing]) -> Iterator[Finding]:
    for crossing in found:
        if crossing.outside_m <= 0:
            continue
        at, off = crossing.time.value, crossing.outside_m
        side = "right" if crossing.right_m > 0 else "left"
        yield make_finding(
            "gate-edge",
            f"The crossing at {at:.1f} s was {off:.1f} m outside the {side} end of the gate, "
            "within the error of position: it is counted.",
            evidence={"outside_m": off, "probability_inside": crossing.doubt},
            start_s=at,
            end_s=at,
        )


def _gap_findings(
    path: FlightPath, pairs: Sequence[tuple[Crossing, Crossing]]
) -> Iterator[Finding]:
    for number, (before, after) in enumerate(pairs, 1):
        start, end = before.time.value, after.time.value
        gap = max(before.gap_s, after.gap_s)
        if gap > 0:
            what = "widened" if _timed(before, after) else "withheld"
            text = f"Lap {number} begins or ends in {gap:.1f} s without positions: it is {what}."
        elif _may_hide(path, pairs, before, after):
            gap = unseen_s(path, start, end)
            text = f"{gap:.1f} s of lap {number} have no positions: it may be more than one."
        else:
            continue
        yield make_finding(
            "lap-gap", text, evidence={"lap": number, "gap_s": gap}, start_s=start, end_s=end
        )


def _may_hide(
    path: FlightPath,
    pairs: Sequence[tuple[Crossing, Crossing]],
    before: Crossing,
    after: Crossing,
) -> bool:
    """Whether a crossing may have been missed: a long lap with a long stretch unseen."""
    usual = float(np.median([b.time.value - a.time.value for a, b in pairs]))
    start, end = before.time.value, after.time.value
    unseen = unseen_s(path, start, end)
    if len(pairs) < 3:
        return unseen > 0.3 * (end - start)
    return unseen > MAX_GAP_S and end - start > _LONG_LAP * usual


def _add_count(
    path: FlightPath,
    pairs: Sequence[tuple[Crossing, Crossing]],
    found: Sequence[Crossing],
    given: str,
    figures: dict[str, Figure],
) -> None:
    sources = {
        f"crossing at {c.time.value:.3f} s": math.sqrt(c.doubt * (1 - c.doubt))
        for c in found
        if c.doubt > 0.001
    }
    for number, (before, after) in enumerate(pairs, 1):
        if _may_hide(path, pairs, before, after):
            sources[f"unseen part of lap {number}"] = 1.0
    figures["laps.count"] = Figure(
        "laps.count",
        Uncertain(float(len(pairs)), sources),
        f"between {len(found)} crossings of the {given} gate",
        ("gps",),
    )


def _add_times(
    laps: Sequence[Lap], given: str, figures: dict[str, Figure], withheld: dict[str, str]
) -> None:
    times = [lap.time for lap in laps if isinstance(lap.time, Uncertain)]
    if not times:
        reason = "every lap begins or ends in a stretch without positions; check the GPS reception"
        withheld |= {"laps.mean_time": reason, "laps.best_time": reason}
        return
    total = times[0]
    for time in times[1:]:
        total = total + time
    mean = total * (1 / len(times))
    how = f"{len(times)} whole laps at the {given} gate"
    figures["laps.mean_time"] = Figure("laps.mean_time", mean, how, ("gps",))
    figures["laps.best_time"] = Figure(
        "laps.best_time",
        shortest(times),
        f"shortest of {how}; the interval allows for picking the shortest",
        ("gps",),
    )


def shortest(times: Sequence[Uncertain]) -> Uncertain:
    """Smallest of several numbers with common errors, as it was measured.

    The smallest of noisy values lies below the smallest truth. To take that off would put the
    best lap of equal laps above the mean of them, and above the least that the table of laps
    shows. So the value stays what was measured, never more than the mean, and the interval
    reaches as far as picking the smallest may have led astray: noise is added once more
    (parametric bootstrap, Efron 1979) to the values without the scatter that the noise itself
    can have given them, and it holds what 97.5 % of these smallest ones lie too low by. Laps
    count as different only as far as noise does not explain it, since laps that are taken for
    more different than they are make the interval too short.

    Parameters
    ----------
    times : sequence of Uncertain
        At least one; their shared sources count.
    """
    least = min(times, key=lambda time: time.value)
    names = sorted({name for time in times for name in time.sources})
    if len(times) == 1 or not names:
        return least
    effects = np.array([[time.sources.get(name, 0.0) for name in names] for time in times])
    values = np.array([time.value for time in times])
    noise = np.random.default_rng(_SEED).standard_normal((_DRAWS, len(names))) @ effects.T
    scatter = float(np.quantile(np.var(noise, axis=1, ddof=1), _SURE))
    seen = float(np.var(values, ddof=1))
    own = math.sqrt(max(0.0, 1 - scatter / seen)) if seen > 0 else 0.0
    calm = values.mean() + own * (values - values.mean())
    # Noise and its mirror image: their common part would move the minimum by chance.
    drawn = np.concatenate([(calm + noise).min(axis=1), (calm - noise).min(axis=1)])
    below = float(calm.min() - np.quantile(drawn, 1 - _SURE))
    std = max(least.std, below / NORMAL_95)
    return Uncertain.of(least.value, std, least.unit, source="shortest lap")


def _add_energy(
    laps: Sequence[Lap], given: str, figures: dict[str, Figure], withheld: dict[str, str]
) -> None:
    # Whether a lap holds the climb is decided by its number, not by its place among the timed.
    later = [lap for lap in laps if lap.number > 1]
    if not later:
        withheld["energy.per_lap"] = (
            "fewer than two whole laps could be timed, and the first holds the climb; fly more "
            "laps or check the gate in the site file"
        )
        return
    energies = [lap.energy for lap in later if isinstance(lap.energy, Uncertain)]
    if len(energies) < len(later):
        withheld["energy.per_lap"] = (
            "the battery current was not logged throughout the laps; log current and voltage at "
            "2 Hz or faster"
        )
        return
    total = energies[0]
    for energy in energies[1:]:
        total = total + energy
    figures["energy.per_lap"] = Figure(
        "energy.per_lap",
        total * (1 / len(energies)),
        f"mean of {len(energies)} whole laps at the {given} gate, without the first",
        ("battery", "gps"),
    )
