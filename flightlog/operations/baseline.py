"""The parameter baseline of an aircraft: what it is released with, and whether that is set.

A baseline is a list of parameters and the text of a firmware that one person set up and another
one inspected. What stands in the autopilot is noted whenever a log or a text of it is read, by the
device alone. Before a flight the last reading has to equal the baseline: all of it, and nothing
besides. It counts as the last one by its place in the record; times are only asked how old it is.
"""

from __future__ import annotations

import io
from collections.abc import Iterable
from datetime import datetime, timedelta
from typing import Any

from flightlog.errors import LogFileError, UsageError
from flightlog.logbook.attachments import AttachmentStore
from flightlog.logbook.book import Draft
from flightlog.logbook.entry import Attachment, Entry, Signer, write_utc
from flightlog.logbook.flying_kinds import BASELINE, EVENT, PARAMETERS_READ
from flightlog.operations.desk import Desk
from flightlog.operations.events import FIRMWARE_CHANGE, PARAMETER_CHANGE
from flightlog.operations.parameters import (
    Comparison,
    Parameters,
    compare,
    parameters_of,
    read_parameters,
    values_in,
)
from flightlog.operations.plan import Condition, Plan
from flightlog.operations.positions import CLOCKS_APART, named, newest
from flightlog.recording import Recording

NAME = "parameters"
"""Name of the condition."""
READ_HOLDS = timedelta(hours=24)
"""A reading that is older says nothing about today."""
INSPECTOR = "inspector"
LARGEST_LIST = 16_000_000
"""A list of parameters that is larger was made up [bytes]."""

_LONGEST = 190
_MOST_NAMED = 5


# --- entering


def baseline_draft(
    desk: Desk, aircraft: str, parameters: Parameters, performed: str, inspected: str
) -> Draft:
    """Draft a baseline, to be signed by two persons.

    Parameters
    ----------
    desk : Desk
        The record.
    aircraft : str
        Id of its file.
    parameters : Parameters
        With the text of the firmware.
    performed, inspected : str
        Public keys of who set it up and of who looked afresh.

    Raises
    ------
    UsageError
        If the aircraft or the firmware is not known, or one person would sign twice.
    """
    desk.version("aircraft", aircraft)
    people = [desk.book.people.person_of(key) for key in (performed, inspected)]
    if performed == inspected or people[0] == people[1]:
        raise UsageError(
            "two persons sign a baseline, and they are different ones",
            where="--by",
            fix="Give --by twice: who set it up, and who inspected that.",
        )
    if not parameters.firmware:
        raise UsageError(
            "does not tell the firmware",
            where=parameters.source,
            fix="Give --firmware TEXT as the autopilot tells it, or a log.",
        )
    attachment = keep_parameters(desk.book.attachments, parameters)
    content = {
        "aircraft": aircraft,
        "firmware": _firmware(parameters),
        "parameters": attachment.sha256,
        "count": len(parameters.values),
    }
    looked = people[1]
    role = INSPECTOR if looked and desk.book.people.holds(looked.id, INSPECTOR) else ""
    signers = [Signer(performed, "performed"), Signer(inspected, "inspected", role)]
    return Draft(BASELINE, content, signers, [attachment])


def note_parameters(
    desk: Desk, aircraft: str, parameters: Parameters, kept: Attachment | None = None
) -> Entry:
    """Enter what was read, by the device alone.

    Parameters
    ----------
    desk : Desk
        The record.
    aircraft : str
        Id of its file.
    parameters : Parameters
        What was read.
    kept : Attachment, optional
        Their list, where it is kept already.

    Raises
    ------
    UsageError
        If the aircraft is not known.
    """
    desk.version("aircraft", aircraft)
    attachment = kept or keep_parameters(desk.book.attachments, parameters)
    content: dict[str, Any] = {
        "aircraft": aircraft,
        "parameters": attachment.sha256,
        "count": len(parameters.values),
        "source": parameters.source[:_LONGEST] or "not named",
    }
    if parameters.firmware:
        content["firmware"] = _firmware(parameters)
    if parameters.at is not None:
        content["at"] = write_utc(parameters.at)
    return desk.append(Draft(PARAMETERS_READ, content, attachments=[attachment]))


def note_recording(desk: Desk, recording: Recording, aircraft: str, source: str) -> Entry | None:
    """Enter the parameters that a log holds; None where it holds none.

    Parameters
    ----------
    desk : Desk
        The record.
    recording : Recording
        As read.
    aircraft : str
        Id of its file.
    source : str
        Name of the log.
    """
    try:
        parameters = parameters_of(recording, source)
    except LogFileError:
        return None
    return note_parameters(desk, aircraft, parameters)


def keep_parameters(store: AttachmentStore, parameters: Parameters) -> Attachment:
    """Keep a list of parameters as entries name it."""
    return store.put(io.BytesIO(parameters.data), "parameters.json")


def _firmware(parameters: Parameters) -> str:
    return parameters.firmware[:_LONGEST]


# --- reading


def stored(desk: Desk, entry: Entry) -> dict[str, str] | None:
    """Give the parameters that an entry holds; None where they are missing or damaged."""
    wanted = entry.body.content["parameters"]
    attachment = next((a for a in entry.body.attachments if a.sha256 == wanted), None)
    store = desk.book.attachments
    if (
        attachment is None
        or attachment.size > LARGEST_LIST
        or store.problem(attachment) is not None
    ):
        return None
    try:
        return values_in(store.path(wanted).read_bytes())
    except (OSError, LogFileError):
        return None


def baselines(desk: Desk, aircraft: str) -> tuple[Entry, ...]:
    """Give the newest baseline of an aircraft; several where they were signed apart.

    One that somebody corrected is among them: it is no more in force, and neither is the one
    before it, until two persons sign another.
    """
    ledger = desk.ledger
    signed = (
        entry
        for entry in ledger.order
        if entry.body.kind == BASELINE
        and ledger.standing.counts(entry)
        and entry.body.content["aircraft"] == aircraft
        and _by_two(desk, entry)
    )
    return newest(ledger, signed)


def baseline_of(desk: Desk, aircraft: str) -> Entry | None:
    """Give the baseline in force, None where there is none or it is not clear which."""
    found = baselines(desk, aircraft)
    return None if _why_unclear(desk, found) else found[-1]


def _by_two(desk: Desk, entry: Entry) -> bool:
    """Whether a person who did not do it inspected it."""
    performed = set(desk.ledger.persons(entry, "performed"))
    return bool(performed and set(desk.ledger.persons(entry, "inspected")) - performed)


def _why_unclear(desk: Desk, found: tuple[Entry, ...]) -> str:
    """Say why none of the newest baselines is in force, "" where one is."""
    if not found:
        return "there is no baseline"
    corrected = [entry for entry in found if desk.ledger.corrections(entry)]
    if corrected:
        return f"the baseline {named(corrected[0])} was corrected"
    if len({(e.body.content["parameters"], e.body.content["firmware"]) for e in found}) > 1:
        return f"baselines were signed apart and differ: {' and '.join(map(named, found))}"
    return ""


def comparison(desk: Desk, baseline: Entry, was_read: Entry) -> Comparison | None:
    """Compare a reading with a baseline; None where one of the lists is missing or damaged."""
    one, other = stored(desk, baseline), stored(desk, was_read)
    return compare(one, other) if one is not None and other is not None else None


def other_firmware(baseline: Entry, was_read: Entry) -> str:
    """Say how the firmware differs; "" where it does not, and where the reading has none."""
    wanted, found = baseline.body.content["firmware"], was_read.body.content.get("firmware")
    return f"firmware {wanted} -> {found}" if found not in (None, wanted) else ""


def against_baseline(desk: Desk, baseline: Entry, was_read: Entry) -> list[str]:
    """Say what was read and differs from a baseline, the firmware first.

    What was not read is left out: it is not known to differ.
    """
    found = comparison(desk, baseline, was_read)
    if found is None:
        return ["the list of parameters is missing or damaged"]
    known = Comparison(found.changed, (), found.new)
    firmware = other_firmware(baseline, was_read)
    return [*([firmware] if firmware else []), *known.told()]


# --- the condition


def parameter_conditions(desk: Desk, plan: Plan) -> list[Condition]:
    """Say whether the parameters and the firmware that were read last are those of the baseline."""
    aircraft, found = plan.aircraft, baselines(desk, plan.aircraft)
    unclear = _why_unclear(desk, found)
    if unclear:
        clear = f"Sign one: 'flightlog team baseline FILE --aircraft {aircraft} --by WHO --by WHO'."
        return [Condition(NAME, False, unclear, clear, found)]
    baseline = found[-1]
    read_them = f"Read them: 'flightlog team parameters FILE --aircraft {aircraft}'."
    readings = last_readings(desk, baseline)
    if not readings:
        return [Condition(NAME, False, "nobody read them", read_them, (baseline,))]
    for reading in readings:
        stale = _stale(desk, aircraft, reading)
        if stale:
            return [Condition(NAME, False, stale, read_them, (baseline, reading))]
        differing = _differing(desk, baseline, reading)
        if differing:
            clear = f"Set them as the baseline has them, or sign another baseline. {read_them}"
            return [Condition(NAME, False, differing, clear, (baseline, reading))]
    count = readings[-1].body.content["count"]
    says = f"{count} parameters and the firmware are those of the baseline {named(baseline)}"
    return [Condition(NAME, True, says, "", (baseline, *readings))]


def last_readings(desk: Desk, baseline: Entry) -> tuple[Entry, ...]:
    """Give the newest readings that say something of today, or else the newest of all.

    A log of last month that is imported today says nothing of today, and does not take the place
    of what was read this morning. One that was written after the baseline was signed, and that
    differs from it, does: nobody has said yet that it was put right.
    """
    ledger = desk.ledger
    every = ledger.of(PARAMETERS_READ, aircraft=baseline.body.content["aircraft"])
    signed = ledger.when(baseline)
    fresh = [
        entry
        for entry in every
        if not _too_old(desk, entry)
        or (_since(desk, entry) >= signed and _differing(desk, baseline, entry))
    ]
    return newest(ledger, fresh) or newest(ledger, every)


def _differing(desk: Desk, baseline: Entry, reading: Entry) -> str:
    """Say how a reading differs from a baseline, "" where it equals it."""
    found = comparison(desk, baseline, reading)
    if found is None:
        return "a list of parameters is missing or damaged"
    firmware = other_firmware(baseline, reading)
    texts = [*([firmware] if firmware else []), *found.told()]
    if texts:
        more = f" and {len(texts) - _MOST_NAMED} more" if len(texts) > _MOST_NAMED else ""
        listed = ", ".join(texts[:_MOST_NAMED])
        return f"{named(reading)} is not the baseline {named(baseline)}: {listed}{more}"
    if "firmware" not in reading.body.content:
        return f"{named(reading)} does not tell the firmware: give a log, or --firmware TEXT"
    return ""


def _stale(desk: Desk, aircraft: str, reading: Entry) -> str:
    """Say why a reading does not tell how the autopilot is set now, "" where it does."""
    if _too_old(desk, reading):
        hours = (desk.ledger.now - _since(desk, reading)).total_seconds() / 3600
        return f"they were read {hours:.0f} h ago, and that holds for 24 h"
    if desk.ledger.when(reading) > desk.ledger.now + CLOCKS_APART:
        return f"{named(reading)} claims a time that is still to come"
    change = _changed_since(desk, aircraft, reading)
    if change is not None:
        return f"not read since {change.body.content['event']}, {named(change)}"
    return ""


def _too_old(desk: Desk, reading: Entry) -> bool:
    return desk.ledger.now - _since(desk, reading) > READ_HOLDS


def _since(desk: Desk, reading: Entry) -> datetime:
    """Give when a reading was so: when it was noted, or earlier if its log says so."""
    noted, at = desk.ledger.when(reading), _log_time(reading)
    return min(noted, at) if at is not None else noted


def _log_time(reading: Entry) -> datetime | None:
    at = reading.body.content.get("at")
    return datetime.fromisoformat(at) if at else None


def _changed_since(desk: Desk, aircraft: str, reading: Entry) -> Entry | None:
    """Give a change that a reading does not know of, or whose log is older."""
    ledger, at = desk.ledger, _log_time(reading)
    changes: Iterable[Entry] = (
        event
        for event in ledger.of(EVENT, aircraft=aircraft)
        if event.body.content["event"] in (PARAMETER_CHANGE, FIRMWARE_CHANGE)
    )
    for change in changes:
        if not ledger.has_seen(reading, change) or (at is not None and at < ledger.when(change)):
            return change
    return None


__all__ = [
    "Parameters",
    "against_baseline",
    "baseline_draft",
    "baseline_of",
    "baselines",
    "comparison",
    "last_readings",
    "note_parameters",
    "note_recording",
    "other_firmware",
    "parameter_conditions",
    "parameters_of",
    "read_parameters",
    "stored",
]
