"""Logs that are dropped onto the screen: read, joined where they are of one flight, entered.

What is at fault with one of them does not keep the others out.
"""

from __future__ import annotations

from collections.abc import MutableMapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from flightlog.errors import FlightlogError, LogFileError, UsageError
from flightlog.operations.desk import Desk
from flightlog.operations.importing import Imported, Told, finish, import_recording, recording_with
from flightlog.operations.log_content import content_of

if TYPE_CHECKING:
    from flightlog.importers.registry import Progress
    from flightlog.recording import Recording

_READING = 0.4
"""Share of the work that reading is, as progress counts it."""


@dataclass(frozen=True, slots=True)
class Taken:
    """One recording that is in the record now.

    Attributes
    ----------
    imported : Imported
        Its entries and flights.
    recording : Recording or None
        As it was read; None where the log was in the record already.
    """

    imported: Imported
    recording: Recording | None = None


@dataclass(frozen=True, slots=True)
class TakenIn:
    """What came of the logs: those that are in the record, and what was at fault with others."""

    taken: tuple[Taken, ...]
    faults: tuple[FlightlogError, ...]


def take_in(
    desk: Desk,
    logs: Sequence[Path],
    told: Told | None = None,
    progress: Progress | None = None,
    shelf: MutableMapping[str, Recording] | None = None,
) -> TakenIn:
    """Put logs into the record.

    Parameters
    ----------
    desk : Desk
        The team's.
    logs : sequence of Path
        Read together: those of one flight are joined. The same file given twice is taken once.
    told : Told, optional
        What a person says beside them.
    progress : callable, optional
        Called with the fraction done and what is being done.
    shelf : mutable mapping of str to Recording, optional
        What was read already, by SHA-256; gets what is read now. So that a log that is taken in
        again, once a question about it is answered, is not read again.

    Raises
    ------
    UsageError
        If they are of one flight, and nobody can tell of which aircraft.
    TeamFileError
        If a version of a team file in the record can't be read.
    NotWritableError
        If the folder can't be written.
    """
    told = told or Told()
    taken: list[Taken] = []
    faults: list[FlightlogError] = []
    new: dict[str, Path] = {}
    for log in logs:
        try:
            sha256 = content_of(log)
        except FlightlogError as error:
            faults.append(error)
            continue
        known = recording_with(desk, [sha256])
        if known is not None:
            taken.append(Taken(finish(desk, known, told)))
        else:
            new.setdefault(sha256, log)
    read = _read(new, faults, progress, {} if shelf is None else shelf)
    flights = _joined(read)
    for recording in flights:
        try:
            taken.append(_entered(desk, recording, new, told, progress))
        except UsageError as error:
            if not taken and len(flights) == 1:
                raise
            faults.append(error)
        except LogFileError as error:
            faults.append(error)
    return TakenIn(tuple(taken), tuple(faults))


def _read(
    new: dict[str, Path],
    faults: list[FlightlogError],
    progress: Progress | None,
    shelf: MutableMapping[str, Recording],
) -> list[Recording]:
    from flightlog.importers import read

    found = []
    for number, (sha256, log) in enumerate(new.items()):

        def step(fraction: float, text: str, number: int = number, log: Path = log) -> None:
            if progress is not None:
                progress(_READING * (number + fraction) / len(new), f"{log.name}: {text}")

        try:
            if sha256 not in shelf:
                shelf[sha256] = read(log, progress=step)
        except FlightlogError as error:
            faults.append(error)
        else:
            found.append(shelf[sha256])
    return found


def _joined(read: list[Recording]) -> list[Recording]:
    from flightlog.joining import join

    return join(read) if len(read) > 1 else read


def _entered(
    desk: Desk, recording: Recording, new: dict[str, Path], told: Told, progress: Progress | None
) -> Taken:
    def step(fraction: float, text: str) -> None:
        if progress is not None:
            progress(_READING + (1 - _READING) * fraction, f"{recording.receipt.file}: {text}")

    receipt = recording.receipt
    own = [receipt.sha256, *(partner.sha256 for partner in receipt.partners)]
    logs = [new[sha256] for sha256 in own if sha256 in new]
    return Taken(import_recording(desk, recording, logs, told, step), recording)
