"""A flight of the record with its log read again: what charts are made of.

All numbers are those of the stored debrief, as everywhere. Out of the log comes what the debrief
does not keep: the channels themselves, and the smoothed path between the events that it tells. The
path is estimated as for the debrief, so that a distance in a chart is the distance in the table.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from flightlog.decoded import DecodedStore
from flightlog.errors import FlightlogError
from flightlog.logbook.entry import Attachment, Entry
from flightlog.operations.desk import Desk
from flightlog.operations.sorties import (
    DEBRIEF_NAME,
    SortieRecord,
    debrief_of,
    recording_debrief,
)

if TYPE_CHECKING:
    from flightlog.analyses.phases import Sortie
    from flightlog.analyses.takeoff import Takeoff
    from flightlog.estimation.path import FlightPath
    from flightlog.inputs import Aircraft
    from flightlog.recording import Recording

BY_HAND = "the flight was entered by hand, and no log of it is in the record"
NO_DEBRIEF = "its stored debrief is missing or damaged; another copy of the team folder may have it"


@dataclass(frozen=True, slots=True, eq=False)
class FlightView:
    """A flight with its log.

    Attributes
    ----------
    record : SortieRecord
        The flight as the record has it.
    debrief, whole : dict
        Its item of the stored debrief, and the whole of it; empty where there is none.
    recording : Recording or None
        Its log, joined with others of the flight as it was when it was imported, without the
        columns that the debrief left out. None where it can't be had.
    path : FlightPath or None
        The smoothed path; None without positions.
    why : str
        What could not be had, and why; "" where all could. A clause.
    motors : tuple of int
        Outputs that drive a motor, by the aircraft's file of then.
    aircraft : Aircraft or None
        As that file had it; None where it is not known.
    sortie, takeoff : Sortie and Takeoff, or None
        As the analyses find them in the log; None where they don't.
    """

    record: SortieRecord
    debrief: dict[str, Any] = field(default_factory=dict)
    whole: dict[str, Any] = field(default_factory=dict)
    recording: Recording | None = None
    path: FlightPath | None = None
    why: str = ""
    motors: tuple[int, ...] = ()
    aircraft: Aircraft | None = None
    sortie: Sortie | None = None
    takeoff: Takeoff | None = None

    def event(self, name: str) -> float | None:
        """Give a time of the stored debrief, as "liftoff_s", None where it tells none. [s]"""
        return number(self.debrief.get(name))

    def figure(self, id_: str) -> tuple[float, float, float] | None:
        """Give value, low and high of a stored figure, in its unit; None where it is withheld."""
        body = self.debrief.get("figures", {}).get(id_)
        if body is None:
            return None
        found = [number(body.get(key)) for key in ("value", "low", "high")]
        value, low, high = found
        return (value, low, high) if None not in found else None  # type: ignore[return-value]


def number(value: object) -> float | None:
    """Give a number of a stored file, None where it is none or has no end."""
    if isinstance(value, bool) or not isinstance(value, int | float):
        return None
    return float(value) if math.isfinite(value) else None


def flight_view(desk: Desk, record: SortieRecord, recording: Recording | None = None) -> FlightView:
    """Read the log of a flight again.

    Parameters
    ----------
    desk : Desk
        The record.
    record : SortieRecord
        The flight.
    recording : Recording, optional
        Its log, where it was read just now.

    Returns
    -------
    FlightView
        A missing or damaged log raises nothing: ``why`` says it.
    """
    entry, stored = record.recording, stored_view(desk, record)
    if entry is None:
        return stored
    whole, item = stored.whole, stored.debrief
    log, why = _log(desk, entry, recording)
    used = _as_it_was_used(log, whole, item) if log is not None else None
    aircraft = _aircraft(desk, record, whole, item)
    sortie, takeoff = flown_in(used, item) if used is not None else (None, None)
    return replace(
        stored,
        recording=used,
        path=path_of(used, item, takeoff) if used is not None else None,
        why="; ".join(filter(None, (why, stored.why))),
        motors=_motors(aircraft),
        aircraft=aircraft,
        sortie=sortie,
        takeoff=takeoff,
    )


def stored_view(desk: Desk, record: SortieRecord) -> FlightView:
    """Give a flight as its stored debrief has it, without reading its log."""
    entry = record.recording
    if entry is None:
        return FlightView(record, why=BY_HAND)
    whole, item = recording_debrief(desk, entry) or {}, debrief_of(desk, record) or {}
    return FlightView(record, item, whole, why="" if item else NO_DEBRIEF)


def basis_of(desk: Desk, record: SortieRecord) -> tuple[object, ...]:
    """Give what the view of a flight follows from; while that is the same, so is the view.

    The entry is not enough: a merge brings another debrief of its log, or a file that was missing.
    """
    entry, store = record.recording, desk.book.attachments
    files = entry.body.attachments if entry is not None else ()
    stands = tuple(_stands(store.path(file.sha256)) for file in files)
    entries = record.entry.hash, entry.hash if entry is not None else ""
    return str(desk.folder.path), *entries, record.number, record.aircraft, stands


def _stands(path: Path) -> tuple[int, int] | None:
    try:
        info = path.lstat()
    except OSError:
        return None
    return info.st_size, info.st_mtime_ns


# --- the log


def _log(desk: Desk, entry: Entry, given: Recording | None) -> tuple[Recording | None, str]:
    """Give the log of a recording's entry, and what could not be had."""
    sha256 = entry.body.content["sha256"]
    if given is not None and given.receipt.sha256 == sha256:  # of another log it is no use
        return given, ""
    kept = _kept(desk, entry)
    return (kept, "") if kept is not None else _read(desk, entry, sha256)


def _kept(desk: Desk, entry: Entry) -> Recording | None:
    """Give the very tables that a debrief came from, where they and its logs are whole."""
    name, store = entry.body.content.get("tables", ""), desk.book.attachments
    if not name or any(store.problem(a) is not None for a in entry.body.attachments):
        return None
    log_bytes = sum(attachment.size for attachment in entry.body.attachments)
    return DecodedStore(desk.folder.tables).take(name, log_bytes)


def _read(desk: Desk, entry: Entry, sha256: str) -> tuple[Recording | None, str]:
    """Read the kept log, and join it with the others of the flight."""
    attached = entry.body.attachments
    own = next((a for a in attached if a.sha256 == sha256), None)
    if own is None:
        return None, "the record holds no log of it"
    log, why = _read_one(desk, own)
    if log is None:
        return None, why
    partners, lacking = [], []
    for other in attached:
        if other.sha256 != sha256 and not other.name.endswith(DEBRIEF_NAME):
            partner, why = _read_one(desk, other)
            if partner is None:
                lacking.append(why)
            else:
                partners.append(partner)
    if partners:
        log, why = _joined(log, partners)
        lacking += [why] if why else []
    return log, "; ".join(lacking)


def _read_one(desk: Desk, attachment: Attachment) -> tuple[Recording | None, str]:
    from flightlog.importers import read

    try:
        problem = desk.book.attachments.problem(attachment)
        if problem is None:
            return read(desk.book.attachments.path(attachment.sha256)), ""
    except FlightlogError as error:
        problem = error.found
    except (OSError, MemoryError) as error:
        problem = f"it can't be read ({type(error).__name__})"
    return None, f"the kept log {attachment.name}: {problem}"


def _joined(log: Recording, partners: list[Recording]) -> tuple[Recording, str]:
    """Join a log with others of its flight, as it was when they were imported."""
    from flightlog.joining import join

    found = next(
        (one for one in join([log, *partners]) if one.receipt.sha256 == log.receipt.sha256), None
    )
    wanted = {partner.receipt.sha256 for partner in partners}
    if found is None or not wanted <= {p.sha256 for p in found.receipt.partners}:
        return log, "the logs of this flight could not be joined again; only one is shown"
    return found, ""


def _as_it_was_used(log: Recording, whole: Mapping[str, Any], item: Mapping[str, Any]) -> Recording:
    """Leave out what the debrief left out: a chart must not show what no figure rests on."""
    from flightlog.screening import UNUSABLE

    for finding in (*whole.get("findings", ()), *item.get("findings", ())):
        log = log.without_column(str(finding.get("evidence", {}).get("left_out", "")))
        if finding.get("severity") == "stop" and finding.get("code") in UNUSABLE:
            log = log.without(UNUSABLE[finding["code"]])
    return log


# --- the path


def path_of(log: Recording, item: Mapping[str, Any], takeoff: Takeoff | None) -> FlightPath | None:
    """Estimate the path of a flight of a stored debrief; None without positions."""
    from flightlog.debriefing import AFTER_S, BEFORE_S
    from flightlog.estimation.path import estimate_path

    start, end = number(item.get("start_s")), number(item.get("end_s"))
    if start is None or end is None or end < start:
        return None
    return estimate_path(
        log,
        start - BEFORE_S,
        end + AFTER_S,
        # The age of a fix as the take-off tells it: a stored debrief does not keep it.
        latency_s=takeoff.latency_s if takeoff is not None else None,
        latency_std_s=takeoff.latency_std_s if takeoff is not None else None,
        rest_until_s=start,
    )


def flown_in(log: Recording, item: Mapping[str, Any]) -> tuple[Sortie, Takeoff] | tuple[None, None]:
    """Find the flight of a stored debrief in its log, and measure its take-off."""
    from flightlog.analyses.phases import find_sorties
    from flightlog.analyses.takeoff import measure_takeoff, refined
    from flightlog.inputs import Inputs

    start, end = number(item.get("start_s")), number(item.get("end_s"))
    if start is None or end is None or end < start:
        return None, None

    def shared_s(sortie: Sortie) -> float:
        return min(end, sortie.end_s) - max(start, sortie.start_s)

    sortie = max(find_sorties(log)[0], key=shared_s, default=None)
    if sortie is None or shared_s(sortie) <= 0:
        return None, None
    takeoff = measure_takeoff(log, sortie, Inputs())
    return refined(sortie, takeoff), takeoff


# --- the aircraft as it was


def _aircraft(
    desk: Desk, record: SortieRecord, whole: Mapping[str, Any], item: Mapping[str, Any]
) -> Aircraft | None:
    from flightlog.inputs import load_aircraft

    given = item.get("inputs") or whole.get("inputs") or {}
    sha256 = (given.get("aircraft") or {}).get("sha256", "")
    try:
        version = desk.versions.by_hash(str(sha256))
        if version is not None:
            return desk.loaded(version, load_aircraft)
        return desk.aircraft(record.aircraft) if record.aircraft else None
    except FlightlogError:
        return None


def _motors(aircraft: Aircraft | None) -> tuple[int, ...]:
    from flightlog.screening.outputs import drives_motor

    if aircraft is None:
        return ()
    return tuple(c for c, name in sorted(aircraft.outputs.items()) if drives_motor(name))
