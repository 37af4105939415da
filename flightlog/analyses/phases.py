"""Where the flights are: sorties and attempts in a recording."""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise
from typing import TYPE_CHECKING, Literal

import numpy as np

from flightlog.analyses.phases_attempts import Roll, find_rolls
from flightlog.analyses.phases_evidence import Evidence, gather
from flightlog.analyses.phases_launch import Arrival, Departure, find_arrival, find_departure
from flightlog.analyses.phases_states import Ground, Span, find_flights, find_ground
from flightlog.findings import Finding, make_finding
from flightlog.uncertain import Uncertain

if TYPE_CHECKING:
    from flightlog.recording import Recording


@dataclass(frozen=True, slots=True)
class Sortie:
    """One flight that left the ground, found but not yet measured.

    Attributes
    ----------
    number : int
        From 1 in the order of the recording.
    launch : {"runway", "hand", "air", "unknown"}
        How it began: "air" when the log starts in flight; "unknown" when the log starts
        during the roll or the launch, and when it rose without a roll (a multicopter), which
        a finding then says. "hand" holds for anything thrown: hand, bungee, catapult.
    starts : {"rest", "rolling", "air"}
        What the log shows first of this sortie.
    ends : {"standstill", "air", "log"}
        "standstill" after a landing, "air" when the log ends in flight, "log" when it ends
        on the ground but still moving.
    start_s, liftoff_s, touchdown_s, end_s : float or None
        Coarse times, good to about a second [s]; None for an event that the log does not
        hold. ``start_s`` and ``end_s`` are always numbers and bound the sortie.
    search_s : tuple of float
        Window for the take-off analysis: at rest before the roll, to well after 2 m. [s]
    touchdown_std_s : float or None
        Standard uncertainty of a touchdown that was measured; None for a coarse one. [s]
    """

    number: int
    launch: Literal["runway", "hand", "air", "unknown"]
    starts: Literal["rest", "rolling", "air"]
    ends: Literal["standstill", "air", "log"]
    start_s: float
    liftoff_s: float | None
    touchdown_s: float | None
    end_s: float
    search_s: tuple[float, float]
    touchdown_std_s: float | None = None


@dataclass(frozen=True, slots=True)
class Attempt:
    """A roll under power that did not leave the ground.

    Attributes
    ----------
    number : int
        From 1 in the order of the recording.
    start_s, stop_s : float
        Start of motion and standstill. [s]
    peak_ground_speed_m_s, peak_ground_speed_std_m_s : float
        Fastest 0.5 s mean and its standard uncertainty. [m/s]
    reason : str
        In words.
    distance, distance_in_all : Uncertain or None
        Rolled until the fastest moment, and until standstill; None where the log does not show it.
        [m]
    """

    number: int
    start_s: float
    stop_s: float
    peak_ground_speed_m_s: float
    peak_ground_speed_std_m_s: float
    reason: str
    distance: Uncertain | None = None
    distance_in_all: Uncertain | None = None


def find_sorties(
    recording: Recording,
) -> tuple[tuple[Sortie, ...], tuple[Attempt, ...], tuple[Finding, ...]]:
    """Find the flights of a recording, and the rolls that did not become one.

    No single sensor decides. A flight is height over the ground together with speed or
    power; where there is no barometer, speed for long or with GPS height gained. A height
    below 2.5 m by the barometer is not told from its errors: such a hop counts as ground.
    A standstill on the ground ends a sortie, and so do 20 s of ground without one; a shorter
    ground contact is a touch-and-go and does not. A restart of the logger ends everything:
    nothing known before it holds after it.

    Slow flight (below 6 m/s over ground) with neither barometer nor power in the log can't
    be told from noise and is not found.

    Returns
    -------
    sorties : tuple of Sortie
        In the order of time.
    attempts : tuple of Attempt
        In the order of time. Taxiing (slow, at low power, or turning) is not one, and
        neither is a run up against the brakes.
    findings : tuple of Finding
        What limits the figures of each sortie (``start_s`` and ``end_s`` say which one), or
        that there was no flight.
    """
    sorties: list[Sortie] = []
    rolls: list[Roll] = []
    findings: list[Finding] = []
    previous: Sortie | None = None
    for evidence in gather(recording):
        ground = find_ground(evidence)
        found, notes = _session(evidence, ground)
        if previous is not None and found and _goes_on(previous, found[0]):
            findings.append(_restart_in_flight(previous, found[0]))
        previous = found[-1] if found else None
        taken = np.zeros(len(evidence.time_s), dtype=bool)
        for sortie in found:
            taken |= (evidence.time_s >= sortie.start_s - 1) & (evidence.time_s <= sortie.end_s + 1)
        rolls += find_rolls(recording, evidence, ground, taken)
        sorties += found
        findings += notes
    numbered = tuple(replace(s, number=n) for n, s in enumerate(sorties, 1))
    attempts = tuple(
        Attempt(
            n,
            r.start_s,
            r.stop_s,
            r.peak_m_s,
            r.peak_std_m_s,
            r.reason,
            r.distance,
            r.distance_in_all,
        )
        for n, r in enumerate(rolls, 1)
    )
    if not numbered:
        findings.append(_no_flight(recording, attempts))
    return numbered, attempts, tuple(findings)


def _session(e: Evidence, ground: Ground) -> tuple[list[Sortie], list[Finding]]:
    sorties: list[Sortie] = []
    findings: list[Finding] = []
    flights = find_flights(e, ground)
    free = 0
    for k, parts in enumerate(flights):
        until = flights[k + 1][0][0] if k + 1 < len(flights) else len(e.time_s)
        departure = find_departure(e, ground, parts[0], free)
        arrival = find_arrival(e, ground, parts[-1], until, rotors=departure.launch == "vertical")
        sortie = _sortie(departure, arrival)
        sorties.append(sortie)
        findings += _limits(sortie, departure, _contacts(e, parts))
        free = min(int(np.searchsorted(e.time_s, sortie.end_s)), parts[-1][1], len(e.time_s) - 1)
        free = max(free, int(np.searchsorted(e.time_s, arrival.end_s)))
        free = min(free, until - 1)
    return sorties, findings


def _sortie(departure: Departure, arrival: Arrival) -> Sortie:
    # each event is looked for by itself: keep their order where a damaged log confuses it
    end_s = max(arrival.end_s, departure.start_s)
    touchdown_s, liftoff_s = arrival.touchdown_s, departure.liftoff_s
    if liftoff_s is not None:
        liftoff_s = min(liftoff_s, end_s)
    if touchdown_s is not None:
        touchdown_s = min(
            end_s, max(touchdown_s, departure.start_s if liftoff_s is None else liftoff_s)
        )
    return Sortie(
        number=0,
        launch="unknown" if departure.launch == "vertical" else departure.launch,
        starts=departure.starts,
        ends=arrival.ends,
        start_s=departure.start_s,
        liftoff_s=liftoff_s,
        touchdown_s=touchdown_s,
        end_s=end_s,
        search_s=departure.search_s,
    )


def _contacts(e: Evidence, parts: list[Span]) -> list[float]:
    """Give the times at which a flight was on the ground between two parts [s]."""
    return [float(e.time_s[(a[1] + b[0]) // 2]) for a, b in pairwise(parts)]


def _limits(sortie: Sortie, departure: Departure, contacts: list[float]) -> list[Finding]:
    """Say what the log does not show of a sortie."""
    said: list[tuple[str, str]] = []
    start, off = f"{sortie.start_s:.1f} s", f"{sortie.liftoff_s or 0.0:.1f} s"
    if departure.starts == "air":
        text = f"The log starts in the air at {start}: the take-off is not in it."
        said.append(("starts-in-air", text))
    elif departure.starts == "rolling":
        text = (
            f"The log starts at {start}, when the aircraft already moved: "
            "without rest before the take-off the start of the roll is not known."
        )
        said.append(("starts-rolling", text))
    elif departure.launch == "hand":
        said.append(("hand-launch", f"Launched by hand (or thrown) at {off}: there is no roll."))
    elif departure.launch == "vertical":
        said.append(("vertical-launch", f"Rose without a roll at {off}, as a multicopter does."))
    if sortie.ends == "air":
        text = f"The log ends in the air at {sortie.end_s:.1f} s: truncated, not landed."
        said.append(("ends-in-air", text))
    if contacts:
        times = ", ".join(f"{t:.0f} s" for t in contacts)
        text = f"It touched the ground in between, without standing still, at {times}."
        said.append(("touch-and-go", text))
    return [
        make_finding(
            code,
            text,
            evidence={"contacts": len(contacts)} if code == "touch-and-go" else None,
            start_s=sortie.end_s if code == "ends-in-air" else sortie.start_s,
            end_s=sortie.end_s,
        )
        for code, text in said
    ]


def _goes_on(before: Sortie, after: Sortie) -> bool:
    return before.ends == "air" and after.starts == "air"


def _restart_in_flight(before: Sortie, after: Sortie) -> Finding:
    text = (
        f"The log stops in the air at {before.end_s:.1f} s and goes on in the air at "
        f"{after.start_s:.1f} s, after a restart or a long silence: perhaps one flight."
    )
    return make_finding(
        "restart-in-flight",
        text,
        evidence={"silence_s": after.start_s - before.end_s},
        start_s=before.start_s,
        end_s=after.end_s,
    )


def _no_flight(recording: Recording, attempts: tuple[Attempt, ...]) -> Finding:
    lacking = [name for name in ("gps", "baro", "imu", "battery") if name not in recording]
    text = "Nothing in this log is seen to leave the ground."
    if attempts:
        text = f"Nothing in this log is seen to leave the ground; attempts: {len(attempts)}."
    if lacking:
        text += f" It has no {', '.join(lacking)} data."
    return make_finding("no-flight", text, evidence={"attempts": len(attempts)})
