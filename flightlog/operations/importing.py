"""A log goes into the record: kept, debriefed, its flights paired with their releases.

First every file is on the disk under its hash: the log, the logs of the same flight that were
joined with it, and the debrief. Then one entry names them. Each flight gets an entry of its own
after that, made from the stored debrief and nothing else. So an interruption leaves files that
nothing names, or a recording whose flights are still to be entered, which the next import of the
same file does.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any, cast

from flightlog.decoded import DecodedStore
from flightlog.importers.registry import READING
from flightlog.logbook.book import Draft
from flightlog.logbook.canonical import quantity
from flightlog.logbook.entry import CITES, Entry, Relation
from flightlog.logbook.flying_kinds import RECORDING
from flightlog.operations.autopilot import Whose, asked, wanted_ids, whose_by
from flightlog.operations.desk import Desk
from flightlog.operations.flight_making import (
    Given,
    Seen,
    Worked,
    keep_debrief,
    keep_logs,
    make,
    printable,
    seen_in,
    worked,
)
from flightlog.operations.flown_under import flown_under
from flightlog.operations.log_events import note_log_events
from flightlog.operations.pairing import CLOCKS_APART, utc_of
from flightlog.operations.sortie_drafts import Leg, LogClock, enter_sorties, legs_of, pair_legs
from flightlog.operations.sorties import SortieRecord, is_recomputed, sorties

if TYPE_CHECKING:
    from flightlog.debriefing import Debrief
    from flightlog.importers.registry import Progress
    from flightlog.recording import Recording


@dataclass(frozen=True, slots=True)
class Told:
    """What a person says beside the logs.

    Attributes
    ----------
    aircraft, pack : str
        Ids; empty where nobody said.
    clocks_apart : timedelta
        What the clocks of log and laptop may be apart.
    """

    aircraft: str = ""
    pack: str = ""
    clocks_apart: timedelta = CLOCKS_APART


@dataclass(frozen=True, slots=True)
class Imported:
    """What came of a log.

    Attributes
    ----------
    recording : Entry
        The log's entry.
    flights : tuple of SortieRecord
        Of its flights, as they stand in the record now.
    added : tuple of Entry
        What was added, the recording's own entry among it; empty where all was there.
    debrief : Debrief or None
        Made now; None where the log was in the record already.
    whose : Whose or None
        How its aircraft was found; None where the log was in the record already.
    lacking : tuple of str
        What would have been needed for a full debrief. Clauses.
    """

    recording: Entry
    flights: tuple[SortieRecord, ...]
    added: tuple[Entry, ...]
    debrief: Debrief | None = None
    whose: Whose | None = None
    lacking: tuple[str, ...] = ()


def recording_with(desk: Desk, hashes: Iterable[str]) -> Entry | None:
    """Give a recording that holds all of these files, by their SHA-256; None without one.

    Of several the last one whose own file is among them: not one that was only joined with them.
    """
    wanted = set(hashes)
    holding = [e for e in _by_file(desk).get(next(iter(wanted), ""), ()) if wanted <= _files_of(e)]
    own = [e for e in holding if e.body.content["sha256"] in wanted]
    return next(reversed(own or holding), None)


def hashes_known(desk: Desk) -> frozenset[str]:
    """Give the SHA-256 of all files that recordings hold: logs, and what was joined with them."""
    return frozenset(_by_file(desk))


def _by_file(desk: Desk) -> Mapping[str, Sequence[Entry]]:
    """Give the recordings that hold a file, by its SHA-256, the oldest first."""
    known = desk.kept.get("recordings")
    if known is None:
        found: defaultdict[str, list[Entry]] = defaultdict(list)
        for entry in desk.ledger.of(RECORDING):
            for sha256 in _files_of(entry):
                found[sha256].append(entry)
        known = desk.kept["recordings"] = dict(found)
    return cast(Mapping[str, Sequence[Entry]], known)


def _files_of(recording: Entry) -> frozenset[str]:
    body = recording.body
    return frozenset((body.content["sha256"], *(a.sha256 for a in body.attachments)))


def finish(desk: Desk, recording: Entry, told: Told | None = None) -> Imported:
    """Enter what an interrupted import left out: flights of a recording without entries."""
    added = _finished(desk, recording, told or Told())
    return Imported(recording, flights_of_recording(desk, recording), added)


def _finished(desk: Desk, recording: Entry, told: Told) -> tuple[Entry, ...]:
    """Enter what follows from a recording, as far as it is missing.

    Flights first: what an event then stops was not stopped yet when they were flown.
    """
    added = enter_sorties(desk, recording, pack=told.pack)
    flights = flights_of_recording(desk, recording)
    return (*added, *note_log_events(desk, _as_imported(desk, recording), flights))


def _as_imported(desk: Desk, recording: Entry) -> Entry:
    """Give the recording whose debrief shows events: not one computed anew, months later."""
    sha256 = recording.body.content["sha256"]
    same = [e for e in _by_file(desk).get(sha256, ()) if e.body.content["sha256"] == sha256]
    return next((e for e in (recording, *reversed(same)) if not is_recomputed(e)), recording)


def flights_of_recording(desk: Desk, recording: Entry) -> tuple[SortieRecord, ...]:
    """Give the flights of a recording that are in the record, in the order of the log."""
    found = _flights_by_log(desk).get(recording.body.content["sha256"], ())
    return tuple(sorted(found, key=lambda f: f.number))


def _flights_by_log(desk: Desk) -> Mapping[str, Sequence[SortieRecord]]:
    """Give the flights that rest on each log, by its SHA-256."""
    known = desk.kept.get("flights of logs")
    if known is None:
        ledger = desk.ledger
        logs = {
            e.hash: e.body.content["sha256"]
            for e in ledger.order
            if e.body.kind == RECORDING and ledger.standing.counts(e)
        }
        found: defaultdict[str, list[SortieRecord]] = defaultdict(list)
        for flight in sorties(desk):
            cited = {hash_ for entry in flight.entries for hash_ in entry.body.related(CITES)}
            for sha256 in {logs[hash_] for hash_ in cited & logs.keys()}:
                found[sha256].append(flight)
        known = desk.kept["flights of logs"] = dict(found)
    return cast(Mapping[str, Sequence[SortieRecord]], known)


def import_recording(
    desk: Desk,
    recording: Recording,
    logs: Sequence[Path],
    told: Told | None = None,
    progress: Progress | None = None,
) -> Imported:
    """Put a log into the record.

    Parameters
    ----------
    desk : Desk
        The team's.
    recording : Recording
        As it was read; joined with others of the same flight where there were any.
    logs : sequence of Path
        Its files, that of the recording itself first.
    told : Told, optional
        What a person says beside it.
    progress : callable, optional
        Called with the fraction done and what is being done.

    Raises
    ------
    UsageError
        If its aircraft can't be told, and nobody named it; nothing is entered then.
    LogFileError
        If a file is no longer what was read.
    TeamFileError
        If a version of a team file in the record can't be read.
    NotWritableError
        If the folder can't be written.
    """
    step = progress or _unwatched
    step(0.0, "computing")
    pairing = FlightPairing(desk, seen_in(recording, wanted_ids(desk)), told or Told())
    known: dict[str, Debrief] = {}
    under = pairing.under()
    made = make(recording, under, pairing.given(under), known)
    for _ in range(MOST_ROUNDS):
        again = pairing.under(legs_of([s.sortie for s in made.debrief.sorties]))
        if again == under:
            break
        under = again
        made = make(recording, under, pairing.given(under), known)
    step(0.8, "keeping")
    store = desk.book.attachments
    files = keep_logs(store, recording.receipt, logs)
    files.append(keep_debrief(store, recording.receipt, made))
    decoded = decoded_of(desk)
    name = decoded.keep(recording)
    if name and _is_plain(recording):
        decoded.note(recording.receipt.sha256, name)
    done = enter(desk, pairing, worked(recording, store, files, name))
    return replace(done, debrief=made.debrief)


def decoded_of(desk: Desk) -> DecodedStore:
    """Give the decoded tables of the team; which log has which is noted on this laptop."""
    return DecodedStore(desk.folder.tables, desk.book.profile / "work")


_BESIDE_OTHERS = frozenset(
    ("partner-recording", "partner-unaligned", "same-recording", "longer-copy")
)
"""Findings of a recording that was held against others: it may have gained or lost by that."""


def _is_plain(recording: Recording) -> bool:
    """Whether a recording is as its one log was read."""
    beside = any(finding.code in _BESIDE_OTHERS for finding in recording.findings)
    return not beside and not recording.receipt.partners


def _unwatched(fraction: float, text: str) -> None:
    """Take progress that nobody wants to see."""


# --- what of the record a flight is debriefed with


MOST_ROUNDS = 3
"""Times of a debrief are finer than those by which its releases were found, so that they may be
others then; that they go on changing has not been seen."""


class FlightPairing:
    """Of which aircraft a recording is, and under which releases its flights were flown.

    Parameters
    ----------
    desk : Desk
        The team's.
    seen : Seen
        What was seen in the recording.
    told : Told
        What a person says.

    Raises
    ------
    UsageError
        If its aircraft can't be told, and nobody named it.
    """

    def __init__(self, desk: Desk, seen: Seen, told: Told) -> None:
        self.whose = whose_by(desk, seen.says, told.aircraft)
        if not self.whose.aircraft and (seen.legs or seen.attempts):
            raise asked(desk, seen.receipt.file, self.whose)
        self.told = told
        self._desk, self._seen = desk, seen
        utc = seen.receipt.utc
        self._clock = LogClock(utc.offset_s, utc.std_s, utc.zone_known, told.clocks_apart)
        self._lacking: dict[str, tuple[str, ...]] = {}

    @property
    def began(self) -> datetime | None:
        """When its first flight began, by the log's own UTC; None where that is not known."""
        first = self._seen.legs[0].start_s if self._seen.legs else 0.0
        return self._clock.utc(first)

    @property
    def lacking(self) -> tuple[str, ...]:
        """What would have been needed for a full debrief. Clauses."""
        return tuple(dict.fromkeys(text for one in self._lacking.values() for text in one))

    def under(
        self, legs: Sequence[Leg] | None = None, taken: Collection[str] = ()
    ) -> tuple[str, ...]:
        """Give the release of each flight, by its hash; "" for none.

        Parameters
        ----------
        legs : sequence of Leg, optional
            The flights; those that were seen first when not given.
        taken : collection of str
            Releases of other logs' flights that are not entered yet.
        """
        found = pair_legs(
            self._desk,
            self.whose.aircraft,
            self._clock,
            self._seen.legs if legs is None else legs,
            pack=self.told.pack,
            joined=[partner.sha256 for partner in self._seen.receipt.partners],
            taken=taken,
        )
        return tuple(one.release.hash if one.release is not None else "" for one in found)

    def given(self, under: Sequence[str]) -> dict[str, Given]:
        """Gather files and load for each of some releases.

        Raises
        ------
        TeamFileError
            If a version of a team file in the record can't be read.
        """
        gathered = {}
        for key in under or ("",):
            release = self._desk.ledger.order.get(key) if key else None
            found = flown_under(self._desk, self.whose.aircraft, release, self.told.pack)
            gathered[key] = Given(found.inputs, found.rules)
            self._lacking[key] = found.lacking
        return gathered


# --- entering


def enter(desk: Desk, pairing: FlightPairing, made: Worked) -> Imported:
    """Enter a recording whose files are kept, its parameters, its flights and what it shows.

    Parameters
    ----------
    desk : Desk
        The team's.
    pairing : FlightPairing
        Of which aircraft it is.
    made : Worked
        Its debrief.

    Raises
    ------
    NotWritableError
        If the folder can't be written.
    """
    found = pairing.whose
    read = _note_parameters(desk, made, found.aircraft)
    entry = desk.append(recording_draft(desk, made, found, pairing.told, read))
    added = (*read, entry, *_finished(desk, entry, pairing.told))
    flights = flights_of_recording(desk, entry)
    return Imported(entry, flights, added, whose=found, lacking=pairing.lacking)


def _note_parameters(desk: Desk, made: Worked, aircraft: str) -> tuple[Entry, ...]:
    """Enter the parameters that a log holds; none where it holds none, or is of no aircraft."""
    from flightlog.operations.baseline import note_parameters

    if not aircraft or made.parameters is None:
        return ()
    return (note_parameters(desk, aircraft, made.parameters, made.listed),)


def recording_draft(
    desk: Desk, made: Worked, found: Whose, told: Told, read: Sequence[Entry] = ()
) -> Draft:
    """Draft the entry of a recording; it cites the one before of the same log, if there is one."""
    from flightlog.figures import ANALYSES_VERSION

    receipt = made.receipt
    content: dict[str, Any] = {
        "file": printable(receipt.file) or "log",
        "sha256": receipt.sha256,
        "format": receipt.format,
        "analyses": ANALYSES_VERSION,
        "reading": READING,
        "sorties": len(made.legs),
        "attempts": made.attempts,
        "clock": receipt.utc.source[:200] or "not said",
        "clocks_apart": quantity(str(round(told.clocks_apart.total_seconds())), "s"),
    }
    content |= _known(
        {"aircraft": found.aircraft, "autopilot": found.autopilot, "tables": made.tables}
    )
    content |= _times(made)
    before = desk.ledger.of(RECORDING, sha256=receipt.sha256)[-1:]
    relations = [Relation(CITES, entry.hash) for entry in (*before, *read)]
    return Draft(RECORDING, content, attachments=made.files, relations=relations)


def _known(texts: Mapping[str, str]) -> dict[str, str]:
    return {key: text for key, text in texts.items() if text}


def _times(made: Worked) -> dict[str, Any]:
    """Give when the log began and how sure that is, where it tells UTC."""
    from flightlog.logbook.entry import write_utc

    utc = made.receipt.utc
    if utc.unix_offset_s is None or made.began_s is None:
        return {}
    began = utc_of(utc.unix_offset_s + made.began_s)
    if began is None:
        return {}
    std = quantity(f"{utc.std_s:.3f}", "s") if utc.std_s is not None else None
    return {"start": write_utc(began), **({"clock_std": std} if std else {})}
