"""A flight with all that the record holds about it, and what does not go together in that."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import cached_property
from typing import Any

from flightlog.logbook.entry import Entry
from flightlog.operations.desk import Desk
from flightlog.operations.pairing import CLOCKS_APART, SURE
from flightlog.operations.sorties import (
    SortieRecord,
    debrief_of,
    recording_debrief,
    sorties,
)

SAME_DAY = timedelta(hours=12)
"""So long after a flight an entry may still be about it."""


@dataclass(frozen=True, slots=True)
class Contradiction:
    """Two things about a flight that don't go together.

    Attributes
    ----------
    code : str
        A word of small letters and hyphens, the same for ever.
    says : str
        Both, with their numbers. A clause.
    entries : tuple of Entry
        Where they stand.
    note : bool
        Whether it is only worth knowing.
    """

    code: str
    says: str
    entries: tuple[Entry, ...] = ()
    note: bool = False


class Case:
    """A flight with all that the record holds about it."""

    def __init__(self, desk: Desk, flight: SortieRecord) -> None:
        self.desk = desk
        self.ledger = desk.ledger
        self.flight = flight
        self.release = flight.release

    @cached_property
    def debrief(self) -> dict[str, Any] | None:
        """The stored debrief of the flight."""
        return debrief_of(self.desk, self.flight)

    @cached_property
    def whole(self) -> dict[str, Any] | None:
        """The stored debrief of its whole log."""
        recording = self.flight.recording
        return recording_debrief(self.desk, recording) if recording is not None else None

    @cached_property
    def slack(self) -> timedelta:
        """What the clocks of its source and of a laptop may differ by."""
        said = self.flight.recording.body.content if self.flight.recording is not None else {}
        apart, std = said.get("clocks_apart"), said.get("clock_std")
        slack = timedelta(seconds=float(apart["value"])) if apart else CLOCKS_APART
        return slack + timedelta(seconds=SURE * float(std["value"]) if std else 0.0)

    @cached_property
    def next_began(self) -> datetime | None:
        """When the next flight of the aircraft began; None where there is none."""
        later = (
            f.began
            for f in sorties(self.desk, self.flight.aircraft)
            if f.entry != self.flight.entry and f.began > self.flight.began
        )
        return min(later, default=None)

    @property
    def about(self) -> tuple[datetime, datetime]:
        """From when to when an entry by its time may be about it, clocks allowed for."""
        start = self.flight.began
        until = min(start + SAME_DAY, self.next_began or start + SAME_DAY)
        return start - self.slack, until + self.slack
