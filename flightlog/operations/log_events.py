"""What a log shows that reopens checks: entered by the device, as soon as the log is in the record.

Only what the log shows beyond its own uncertainty: an outcome of the aircraft's or the pack's own
limit that is ``not met``, or a finding that names a fault. A person may know more, or better; the
entry of the device stays all the same, and what it stops two persons return to service.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from fnmatch import fnmatchcase
from typing import Any

from flightlog.logbook.entry import CITES, Entry, write_utc
from flightlog.logbook.flying_kinds import EVENT, RECORDING
from flightlog.operations.desk import Desk
from flightlog.operations.events import (
    ATTEMPT,
    HARD_LANDING,
    PACK_LIMIT,
    SURFACE_PLAY,
    SURFACE_SENSE,
    VIBRATION,
)
from flightlog.operations.service import note_event
from flightlog.operations.sortie_drafts import LogClock, clock_of
from flightlog.operations.sorties import SortieRecord, number_in, recording_debrief
from flightlog.rules.book import whose

OVERSPEED, OVER_CURRENT = "overspeed", "over-current"
EXCEEDED: Mapping[str, str] = {
    "landing.sink_rate": HARD_LANDING,
    "landing.peak_load_factor": HARD_LANDING,
    "flight.max_airspeed": OVERSPEED,
    "battery.max_current": OVER_CURRENT,
    "battery.*": PACK_LIMIT,  # of the pack's own file only
    "surface.*.play": SURFACE_PLAY,
    "surface.*.lag": SURFACE_PLAY,
    "vibration.first_order": VIBRATION,
}
"""Figures whose limit in the file of aircraft or pack was not met -> the event that it is; the
first that fits."""

NOTICED = (HARD_LANDING, OVERSPEED, OVER_CURRENT)
"""Events that a crew notices, and so enters itself; of the others only a log tells."""

FAULTS: Mapping[str, str] = {
    "hard-landing": HARD_LANDING,
    "surface-sense": SURFACE_SENSE,
    "surface-play": SURFACE_PLAY,
    "surface-slow": SURFACE_PLAY,
    "limit-cycle": SURFACE_PLAY,
    "propeller-vibration": VIBRATION,
    "cell-low": PACK_LIMIT,
}
"""Finding -> the event that it is."""

_OF_PACK = (OVER_CURRENT, PACK_LIMIT)
_SINCE = 4
"""Analyses that tell of wear. What older debriefs hold was long dealt with: it is no event that an
import of the same log, months later, finds."""

_LONGEST = 600

BY_THE_LOG = "By the log, "
"""How the text of such an event begins."""


@dataclass(frozen=True, slots=True)
class Shown:
    """An event that a log shows.

    Attributes
    ----------
    word : str
        As in `flightlog.operations.events.EVENTS`.
    number : int
        Of the sortie; 0 for an attempt, which belongs to none.
    text : str
        What the log shows. A clause.
    """

    word: str
    number: int
    text: str


def shown_events(whole: Mapping[str, Any], clock: LogClock) -> Iterator[Shown]:
    """Give the events that a stored debrief shows."""
    attempts = whole["attempts"]
    if attempts:
        told = ", ".join(_attempt(a, clock) for a in attempts[:10])
        rolls = "a roll was" if len(attempts) == 1 else f"{len(attempts)} rolls were"
        yield Shown(ATTEMPT, 0, f"{rolls} given up, {told}")
    of_wear = whole.get("tool", {}).get("analyses", 0) >= _SINCE
    for sortie in whole["sorties"]:
        yield from (shown for shown in exceeded(sortie) if of_wear or shown.word in NOTICED)


def exceeded(sortie: Mapping[str, Any]) -> Iterator[Shown]:
    """Give the limits that a sortie of a stored debrief exceeded, and its faults, by event.

    Limits are those of aircraft and pack. A fault that an exceeded limit tells of as well is
    given once.
    """
    told = set()
    for outcome in sortie["outcomes"]:
        word = next((w for f, w in EXCEEDED.items() if fnmatchcase(outcome["figure"], f)), None)
        if word and outcome["kind"] == "aircraft" and outcome["outcome"] == "not met":
            bound = outcome["bound"]
            value = _number(outcome["value"], outcome["unit"])
            limit = f"{bound['op']} {_number(bound['value'], bound['unit'])}"
            owner = whose(outcome["kind"], str(outcome.get("source", "")))
            if word == PACK_LIMIT and owner != "pack":
                continue
            text = f"{outcome['figure']} was {value}, the {owner}'s limit is {limit}"
            told.add(word)
            yield Shown(word, sortie["number"], text)
    for finding in sortie["findings"]:
        word = FAULTS.get(finding["code"])
        if word and word not in told:
            message = str(finding["message"]).rstrip(".")
            yield Shown(word, sortie["number"], message[:_LONGEST])


def _number(value: float, unit: str) -> str:
    return f"{value:.4g} {unit}".rstrip()


def _attempt(attempt: Mapping[str, Any], clock: LogClock) -> str:
    at = clock.utc(attempt["start_s"])
    when = f"at {write_utc(at)}" if at is not None else f"at {attempt['start_s']:.0f} s of the log"
    speed = attempt["peak_ground_speed"]
    return f"{when} at up to {speed['value']:.1f} {speed['unit']}"


def note_log_events(
    desk: Desk, recording: Entry, flights: tuple[SortieRecord, ...]
) -> tuple[Entry, ...]:
    """Enter the events that a recording shows and that were not entered from it before.

    Parameters
    ----------
    desk : Desk
        The team's.
    recording : Entry
        Whose debrief is stored.
    flights : tuple of SortieRecord
        Its flights, for their packs.
    """
    aircraft = recording.body.content.get("aircraft")
    whole = recording_debrief(desk, recording)
    if aircraft is None or whole is None:
        return ()
    there = [
        (e.body.content["event"], str(e.body.content.get("text", "")))
        for one in (recording, *desk.ledger.of(RECORDING, sha256=whole["log"]["sha256"]))
        for e in desk.ledger.naming(one, CITES, EVENT)
    ]
    elsewhere = _told_by_other_logs(desk, recording, flights)
    sha256 = recording.body.content["sha256"]
    packs = {number_in(desk, flight, sha256): flight.pack for flight in flights}
    added = []
    for event in shown_events(whole, clock_of(recording, whole)):
        begin = f"{BY_THE_LOG}sortie {event.number}: " if event.number else BY_THE_LOG
        pack = packs.get(event.number, "") if event.word in _OF_PACK else ""
        if (event.number, event.word) in elsewhere or (event.word == PACK_LIMIT and not pack):
            continue
        if not any(word == event.word and text.startswith(begin) for word, text in there):
            text = f"{begin}{event.text}"
            about = {"pack": pack} if pack else {"aircraft": aircraft}
            added.append(note_event(desk, event.word, **about, text=text, cites=[recording]))
    return tuple(added)


def _told_by_other_logs(
    desk: Desk, recording: Entry, flights: tuple[SortieRecord, ...]
) -> set[tuple[int | None, str]]:
    """Give the events that another log of the same flight has shown: number of the sortie, word.

    Its number in this recording: another log may hold other flights before it.
    """
    told = set()
    for flight in flights:
        mine = number_in(desk, flight, recording.body.content["sha256"])
        for entry in (flight.entry, *flight.others):
            for other in desk.ledger.named(entry, CITES, RECORDING):
                if other.hash == recording.hash:
                    continue
                number = entry.body.content.get("number")
                begin = f"{BY_THE_LOG}sortie {number}: "
                told |= {
                    (mine, str(e.body.content["event"]))
                    for e in desk.ledger.naming(other, CITES, EVENT)
                    if str(e.body.content.get("text", "")).startswith(begin)
                }
    return told
