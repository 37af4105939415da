"""The way through: Recording -> sorties -> figures -> outcomes."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from flightlog.analyses.laps import Gate, Lap
from flightlog.analyses.phases import Attempt, Sortie
from flightlog.figures import Answer, Figure, settle, widened_by
from flightlog.findings import Finding, make_finding
from flightlog.inputs import Inputs
from flightlog.recording import Receipt, Recording
from flightlog.rules.outcomes import Outcome, Score
from flightlog.uncertain import Uncertain

if TYPE_CHECKING:
    from flightlog.analyses.takeoff import Takeoff
    from flightlog.estimation.path import FlightPath
    from flightlog.rules.book import RuleBook

BEFORE_S = 12.0
"""The path starts so long before the sortie: the barometer's zero needs rest. [s]"""

AFTER_S = 12.0
"""And goes on so long after it: the height after the landing shows drift. [s]"""


@dataclass(frozen=True, slots=True)
class SortieDebrief:
    """One sortie, measured and judged.

    ``sortie`` carries the refined event times where the analyses gave them.
    """

    sortie: Sortie
    figures: Mapping[str, Figure]
    withheld: Mapping[str, str]
    gate: Gate | None
    laps: tuple[Lap, ...]
    outcomes: tuple[Outcome, ...]
    score: Score | None
    findings: tuple[Finding, ...]


@dataclass(frozen=True, slots=True)
class Debrief:
    """All figures, laps, outcomes and findings of one recording.

    Attributes
    ----------
    receipt : Receipt
        How the log was read.
    inputs : Inputs
        What was given beside the log.
    rules : mapping or None
        ``id``, ``version``, ``sha256`` of the rule book.
    attempts, sorties, findings : tuple
        In the order of time.
    """

    receipt: Receipt
    inputs: Inputs
    rules: Mapping[str, str] | None
    attempts: tuple[Attempt, ...]
    sorties: tuple[SortieDebrief, ...]
    findings: tuple[Finding, ...]


def debrief(
    recording: Recording, inputs: Inputs | None = None, rules: RuleBook | None = None
) -> Debrief:
    """Say what every flight of a recording did, how sure that is, and whether limits hold.

    Parameters
    ----------
    recording : Recording
        From `flightlog.read`.
    inputs : Inputs, optional
        Site, aircraft, mass, wind: whatever the team gives beside the log.
    rules : RuleBook, optional
        Limits and score. The aircraft's own limits come with the aircraft.

    Returns
    -------
    Debrief
        Never raises for what a log holds: what can't be computed is withheld with a reason.
    """
    inputs = _with_screen_height(inputs or Inputs(), rules)
    recording, sorties, attempts, doubts = _screened(recording, inputs)
    everywhere = tuple([*recording.findings, *_position(recording), *doubts])
    judged = tuple(_sortie(recording, s, inputs, rules, everywhere) for s in sorties)
    return Debrief(
        receipt=recording.receipt,
        inputs=inputs,
        rules=_reference(rules),
        attempts=attempts,
        sorties=judged,
        findings=tuple(f for f in everywhere if not any(f in s.findings for s in judged)),
    )


def _screened(
    recording: Recording, inputs: Inputs
) -> tuple[Recording, tuple[Sortie, ...], tuple[Attempt, ...], tuple[Finding, ...]]:
    """Find the flights, and what speaks against the log; leave out columns that can't be used.

    Flights that were found with such a column are looked for again without it.
    """
    from flightlog.analyses.phases import find_sorties
    from flightlog.screening import LogView, left_out, screen_log

    sorties, attempts, found = find_sorties(recording)
    doubts = screen_log(LogView(recording, sorties, attempts, inputs))
    faults = tuple(f for f in doubts if left_out(f))
    if faults:
        for fault in faults:
            recording = recording.without_column(left_out(fault))
        sorties, attempts, found = find_sorties(recording)
        doubts = (*faults, *screen_log(LogView(recording, sorties, attempts, inputs)))
    return recording, sorties, attempts, (*found, *doubts)


def _with_screen_height(inputs: Inputs, rules: RuleBook | None) -> Inputs:
    """Take the screen height from the rule book, unless the caller gave one."""
    if rules is None or inputs.screen_height_m is not None:
        return inputs
    return replace(inputs, screen_height_m=rules.screen_height_m)


def _reference(rules: RuleBook | None) -> Mapping[str, str] | None:
    if rules is None:
        return None
    return {"id": rules.id, "version": rules.version, "sha256": rules.sha256}


def _position(recording: Recording) -> Iterable[Finding]:
    gps = recording.one("gps")
    if gps is None or not bool((gps["fix"].fillna(3) >= 3).any()):
        yield make_finding("no-position", "the log holds no position fix")


def _sortie(
    recording: Recording,
    sortie: Sortie,
    inputs: Inputs,
    rules: RuleBook | None,
    everywhere: tuple[Finding, ...],
) -> SortieDebrief:
    from flightlog.analyses import landing as landing_analysis
    from flightlog.analyses import laps as lap_analysis
    from flightlog.analyses.takeoff import measure_takeoff, refined
    from flightlog.screening import UNUSABLE, FlightView, screen_flight, screen_sensors

    takeoff = measure_takeoff(recording, sortie, inputs)
    sortie = refined(sortie, takeoff)
    path = flown_path(recording, sortie, takeoff)
    view = FlightView(recording, sortie, inputs, takeoff, path, takeoff.answer.figures)
    faults = screen_sensors(view)
    spoilt = {UNUSABLE[f.code] for f in faults if f.severity == "stop" and f.code in UNUSABLE}
    usable = recording.without(*spoilt) if spoilt else recording
    landing = landing_analysis.measure_landing(usable, sortie, path, inputs, takeoff)
    sortie = landing_analysis.refined(sortie, landing)
    lapped, gate, laps = lap_analysis.answer(usable, sortie, path, inputs, takeoff.heading_deg)
    measured = (takeoff.answer, landing.answer, lapped)
    answers = [*measured, *_others(usable, sortie, path, inputs, takeoff)]
    computed = {id_: figure for answer in answers for id_, figure in answer.figures.items()}
    ours = (
        *(f for answer in answers for f in answer.findings),
        *faults,
        *screen_flight(FlightView(usable, sortie, inputs, takeoff, path, computed)),
    )
    near = tuple(f for f in everywhere if _concerns(f, sortie))
    figures, withheld = settle(answers, [*near, *ours], recording)
    laps = tuple(_widened(lap, (*near, *ours)) for lap in laps)
    outcomes, score = _judge(figures, withheld, inputs, rules)
    return SortieDebrief(
        sortie=sortie,
        figures=figures,
        withheld=withheld,
        gate=gate,
        laps=laps,
        outcomes=outcomes,
        score=score,
        findings=(*(f for f in near if f.start_s is not None), *ours),
    )


def flown_path(recording: Recording, sortie: Sortie, takeoff: Takeoff) -> FlightPath | None:
    """Estimate the path of a sortie, with some rest before and after it.

    Parameters
    ----------
    recording : Recording
        The log.
    sortie : Sortie
        With the measured start.
    takeoff : Takeoff
        Tells the age of a fix.

    Returns
    -------
    FlightPath or None
        None where there are too few position fixes.
    """
    from flightlog.estimation.path import estimate_path

    return estimate_path(
        recording,
        sortie.start_s - BEFORE_S,
        sortie.end_s + AFTER_S,
        latency_s=takeoff.latency_s,
        latency_std_s=takeoff.latency_std_s,
        rest_until_s=sortie.start_s,
    )


def _widened(lap: Lap, findings: tuple[Finding, ...]) -> Lap:
    """Return the lap with its energy as wide as findings make that of all laps."""
    if lap.energy is None:
        return lap
    return replace(lap, energy=widened_by(findings, "energy.per_lap", lap.energy))


def _concerns(finding: Finding, sortie: Sortie) -> bool:
    """Whether a finding speaks about the time of the sortie; without times it speaks of all."""
    if finding.start_s is None:
        return True
    end = finding.end_s if finding.end_s is not None else finding.start_s
    return finding.start_s <= sortie.end_s and end >= sortie.start_s


def _others(
    recording: Recording,
    sortie: Sortie,
    path: FlightPath | None,
    inputs: Inputs,
    takeoff: Takeoff,
) -> Iterable[Answer]:
    from flightlog.analyses import climb, declared, energy, envelope, screen, start_line, wind

    yield declared.answer(inputs)
    yield energy.answer(recording, sortie, path, takeoff.answer)
    air = inputs.air
    yield climb.answer(
        recording, sortie, path, takeoff.answer, air.temperature_k if air is not None else None
    )
    yield envelope.answer(recording, sortie, path, inputs, takeoff.answer)
    yield wind.answer(recording, sortie, path)
    yield screen.answer(takeoff, path, inputs)
    yield start_line.answer(recording, takeoff, inputs)
    yield from _reference_roll(recording, sortie, path, inputs, takeoff)
    yield from _wear(recording, sortie, path, inputs, takeoff)


def _wear(
    recording: Recording,
    sortie: Sortie,
    path: FlightPath | None,
    inputs: Inputs,
    takeoff: Takeoff,
) -> Iterable[Answer]:
    """What is wearing out: one line for each part of the aircraft, but for the landing."""
    from flightlog.analyses import battery_health, link, motor, surfaces, vibration

    yield battery_health.answer(recording, sortie, inputs)
    yield surfaces.answer(recording, sortie, path, inputs, takeoff.answer)
    yield link.answer(recording, sortie, path, inputs, takeoff.answer)
    yield vibration.answer(recording, sortie, path, inputs, takeoff)
    yield motor.answer(recording, sortie)


def _reference_roll(
    recording: Recording,
    sortie: Sortie,
    path: FlightPath | None,
    inputs: Inputs,
    takeoff: Takeoff,
) -> Iterable[Answer]:
    """Headwind in the roll, and the roll at reference conditions that needs it."""
    from flightlog.analyses import reference, wind
    from flightlog.estimation.air import density_at_strip

    yield wind.liftoff_airspeed(recording, sortie, takeoff, path)
    headwind, why = wind.headwind_in_roll(
        recording,
        sortie,
        takeoff.heading_deg,
        takeoff.start_s,
        takeoff.liftoff_s,
        path,
        inputs,
    )
    if headwind is None:
        yield Answer(withheld={"takeoff.headwind": why})
    else:
        yield Answer({"takeoff.headwind": headwind})
    air = inputs.air
    density = (
        density_at_strip(recording, sortie, air.temperature_k, air.temperature_std_k)
        if air is not None
        else None
    )
    roll = takeoff.answer.figures
    yield reference.answer(
        roll.get("takeoff.ground_roll"),
        roll.get("takeoff.liftoff_ground_speed"),
        _gaussian(headwind),
        density,
        inputs,
    )


def _gaussian(figure: Figure | None) -> Uncertain | None:
    if figure is None:
        return None
    quantity = figure.quantity
    return Uncertain.of(quantity.value, quantity.std, quantity.unit, source="headwind")


def _judge(
    figures: Mapping[str, Figure],
    withheld: Mapping[str, str],
    inputs: Inputs,
    rules: RuleBook | None,
) -> tuple[tuple[Outcome, ...], Score | None]:
    from flightlog.rules.book import limits_after_flight
    from flightlog.rules.judge import judge
    from flightlog.rules.score import score

    limits = limits_after_flight(rules, inputs.aircraft, inputs.pack)
    outcomes = judge(limits, figures, withheld)
    if rules is None or rules.score is None:
        return outcomes, None
    return outcomes, score(rules.score, figures, withheld, inputs.entered)
