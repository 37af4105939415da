"""What a log says of a flight, against what persons entered and against the release."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from datetime import timedelta
from typing import Any

from flightlog.inputs import load_aircraft
from flightlog.logbook.entry import CITES, Entry
from flightlog.logbook.flying_kinds import (
    BASELINE,
    CHECK,
    DEFECT,
    EVENT,
    PARAMETERS_READ,
    RECORDING,
    WEATHER,
)
from flightlog.logbook.words import duration
from flightlog.operations.baseline import against_baseline, baseline_of
from flightlog.operations.events import ATTEMPT, EVENTS, HARD_LANDING
from flightlog.operations.flight_case import Case, Contradiction
from flightlog.operations.log_events import NOTICED, exceeded
from flightlog.operations.positions import named
from flightlog.operations.sortie_drafts import clock_of

_MOST_NAMED = 5
_ABOUT_ATTEMPT = timedelta(hours=12)
"""So long after a roll that was given up an entry may still be about it."""


def _made(
    code: str, says: str, entries: Iterable[Entry | None], *, note: bool = False
) -> Contradiction:
    return Contradiction(code, says, tuple(e for e in entries if e is not None), note)


def _findings(case: Case, code: str) -> list[dict[str, Any]]:
    listed = case.debrief["findings"] if case.debrief is not None else []
    return [finding for finding in listed if finding["code"] == code]


def mass(case: Case) -> Iterator[Contradiction]:
    """Roll and climb don't fit the mass of the load sheet."""
    for finding in _findings(case, "mass-doubtful"):
        text = f"the load sheet's mass does not fit roll and climb: {_clause(finding['message'])}"
        yield _made("mass-doubtful", text, (case.release, case.flight.recording))


def _clause(message: str) -> str:
    return str(message).rstrip(".")


def battery(case: Case) -> Iterator[Contradiction]:
    """The battery of the log does not look like the one that was released."""
    for code in ("cell-count", "pack-doubtful"):
        for finding in _findings(case, code):
            text = f"the battery of the log is not as stated: {_clause(finding['message'])}"
            yield _made("battery-doubtful", text, (case.release, case.flight.recording))


# --- parameters and firmware


def setup(case: Case) -> Iterator[Contradiction]:
    """Parameters or firmware were not those of the baseline that it was released with."""
    recording, release = case.flight.recording, case.release
    if recording is None or not case.flight.aircraft:
        return
    for read in case.ledger.named(recording, CITES, PARAMETERS_READ):
        cited = case.ledger.named(release, CITES, BASELINE) if release is not None else ()
        baseline = cited[-1] if cited else baseline_of(case.desk, case.flight.aircraft)
        if baseline is None:
            return
        found = against_baseline(case.desk, baseline, read)
        firmware = [text for text in found if text.startswith("firmware ")]
        others = [text for text in found if text not in firmware]
        if firmware:
            yield _made("firmware-changed", firmware[0], (baseline, read))
        if others:
            more = len(others) - _MOST_NAMED
            listed = ", ".join(others[:_MOST_NAMED]) + (f" and {more} more" if more > 0 else "")
            text = f"parameters were not those of the baseline {named(baseline)}: {listed}"
            yield _made("parameters-changed", text, (baseline, read))


# --- what the log shows and nobody entered


def attempts(case: Case) -> Iterator[Contradiction]:
    """Rolls that were given up before the flight, and that no person entered."""
    flight, whole = case.flight, case.whole
    if not flight.attempts or whole is None or flight.recording is None:
        return
    clock = clock_of(flight.recording, whole)
    times = [clock.utc(a["start_s"]) for a in whole["attempts"]]
    known = [t for t in times if t is not None and t <= flight.began]
    first = min(known, default=None)
    entered = [
        e
        for e in _by_persons(case, ATTEMPT)
        if first is None or -case.slack <= case.ledger.when(e) - first <= _ABOUT_ATTEMPT
    ]
    by_hand = flight.by_hand.body.content["attempts"] if flight.by_hand is not None else 0
    missing = flight.attempts - max(len(entered), by_hand)
    if missing > 0:
        rolls = "a roll" if flight.attempts == 1 else f"{flight.attempts} rolls"
        said = (
            f", {flight.attempts - missing} entered by the crew"
            if missing < flight.attempts
            else ""
        )
        text = f"the log shows {rolls} given up before it that the crew did not enter{said}"
        yield _made("attempt-not-entered", text, (flight.recording, *entered))


def exceedances(case: Case) -> Iterator[Contradiction]:
    """A hard landing or another limit exceeded, by the log, that no person entered."""
    if case.debrief is None:
        return
    for shown in exceeded(case.debrief):
        if shown.word not in NOTICED:
            continue
        entered = [*_by_persons(case, shown.word)]
        if shown.word == HARD_LANDING:
            entered += _hard_by_list(case)
        if not _during(case, entered):
            label = EVENTS[shown.word].label
            text = f"{label} that the crew did not enter: {shown.text}"
            yield _made(f"{shown.word}-not-entered", text, (case.flight.recording,))


def _by_persons(case: Case, word: str) -> list[Entry]:
    """Give the events of a kind that the crew entered: not those taken from a log."""
    flight = case.flight
    return [
        e
        for e in case.ledger.of(EVENT, event=word)
        if not case.ledger.named(e, CITES, RECORDING)
        and {e.body.content.get("aircraft"), e.body.content.get("pack")}
        & {flight.aircraft, flight.pack} - {""}
    ]


def _hard_by_list(case: Case) -> list[Entry]:
    """Give checks that say that the aircraft landed hard, and defects of its gear."""
    checks = [e for e in case.ledger.of(CHECK) if e.body.content.get("choice") == "hard"]
    gear = case.ledger.of(DEFECT, aircraft=case.flight.aircraft, group="landing-gear")
    return [*checks, *gear]


def _during(case: Case, entries: Iterable[Entry]) -> list[Entry]:
    """Give the entries that were made from the flight on to the next one, or to half a day."""
    first, last = case.about
    return [e for e in entries if first <= case.ledger.when(e) <= last]


# --- who it was, and in what air


def autopilot(case: Case) -> Iterator[Contradiction]:
    """The log names another aircraft than the one that it was entered for."""
    recording, aircraft = case.flight.recording, case.flight.aircraft
    said = recording.body.content.get("autopilot", "") if recording is not None else ""
    version = case.desk.versions.in_force("aircraft", aircraft) if aircraft else None
    if not said or version is None:
        return
    own = case.desk.loaded(version, load_aircraft).autopilot_id.strip()
    if own and own.casefold() not in said.casefold():
        text = f"the log says of itself {said!r}, and the autopilot of {aircraft} is {own!r}"
        yield _made("another-autopilot", text, (recording, *case.flight.statements[-1:]))


def clock(case: Case) -> Iterator[Contradiction]:
    """The flight began, by its log, after the log was taken in."""
    recording, start = case.flight.recording, case.flight.start
    if recording is None or start is None:
        return
    taken_in = recording.body.time.utc
    ahead = start - taken_in
    if ahead > case.slack:
        text = (
            f"by its log it began {duration(60 * round(ahead.total_seconds() / 60))} after the log "
            "was taken in by the laptop's clock: one of the clocks is wrong"
        )
        yield _made("clocks-differ", text, (recording,))


def wind(case: Case) -> Iterator[Contradiction]:
    """The wind that was measured and the one that the flight shows differ beyond both doubts."""
    if case.release is None or case.debrief is None:
        return
    measured = case.ledger.named(case.release, CITES, WEATHER)
    flown = case.debrief["figures"].get("wind.speed")
    given = _given_wind(case)
    if not measured or flown is None or given is None:
        return
    if given["low"] > flown["high"] or flown["low"] > given["high"]:
        text = (
            f"wind of {given['value']:.1f} m/s by {named(measured[-1])} on the ground, "
            f"{flown['value']:.1f} m/s in the air by the log, more apart than either may be out"
        )
        yield _made("wind-differs", text, (measured[-1], case.flight.recording), note=True)


def _given_wind(case: Case) -> dict[str, Any] | None:
    """Give the wind with which the flight was debriefed."""
    if case.debrief is None or case.whole is None:
        return None
    inputs = case.debrief.get("inputs") or case.whole["inputs"]
    weather = inputs.get("weather")
    return weather.get("wind_speed") if weather else None
