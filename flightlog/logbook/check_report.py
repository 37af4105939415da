"""What a check of the record comes to, as an object, as lines and as JSON.

Three classes are kept apart. A *break* means that the record is not what was once written: an entry
was changed, taken out, put in or is missing. A *flag* is in a whole record: a signature that counts
for nothing, or two entries that contradict each other. A *note* is worth knowing, and no fault.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from flightlog.logbook.device import Remembered

SCHEMA = "flightlog.logbook-check/1"
MOST_LISTED = 20
"""Most breaks, flags and notes that are listed; the rest is counted."""


@dataclass(frozen=True, slots=True)
class Break:
    """One cause for which the record is not whole.

    Parameters
    ----------
    received : int or None
        Place, in the order received, of the first row in which it shows; None if it shows in none
        (damage of the file, a head that is not there).
    name : str
        The entry, or what else is broken.
    found : str
        What is wrong.
    alike : int
        How many more entries of the same device have the same wrong.
    rest_on_it : int
        How many other entries rest directly on it, and are not listed for that.
    """

    received: int | None
    name: str
    found: str
    alike: int = 0
    rest_on_it: int = 0

    def line(self) -> str:
        """The break as one line."""
        more = ""
        if self.alike:
            more += f"; the same in {count(self.alike, 'more entry', 'more entries')}"
        if self.rest_on_it:
            rest = count(self.rest_on_it, "other entry rests", "other entries rest")
            more += f"; {rest} directly on it"
        return f"{self.name}: {self.found}{more}"


@dataclass(frozen=True, slots=True)
class Report:
    """What ``checking.check`` found.

    Parameters
    ----------
    ok : bool
        Whether there is no break. Flags don't count against it.
    entries, devices, persons : int
        How many entries there are, of how many devices, signed by how many persons (by how many
        keys, where the record is broken).
    first_break : Break or None
        The break that shows first in the order received.
    breaks : tuple of Break
        The first ``MOST_LISTED``, in that order; those that show in no row last.
    more_breaks : int
        How many more there are.
    flags, notes : tuple of str
        Bounded in the same way, with a last line that counts the rest.
    heads : tuple of str
        Codes of the entries that no other entry has seen: to note down elsewhere.
    compared : tuple of str
        What came of the heads that were typed or remembered.
    cannot_know : tuple of str
        What no check of this folder can show.
    team : str
        Id of the team; empty if no entry is whole.
    tips : tuple of Remembered
        The entries behind ``heads``, all of them, for ``DeviceMemory.note_heads``; only of a record
        that is whole.
    older : str
        Which entries are missing, if nothing is wrong but that heads which were noted lie beyond
        the ends of the chains here: the copy is an older one, or was cut. Empty otherwise.
    """

    ok: bool
    entries: int
    devices: int
    persons: int
    first_break: Break | None
    breaks: tuple[Break, ...]
    more_breaks: int
    flags: tuple[str, ...]
    notes: tuple[str, ...]
    heads: tuple[str, ...]
    compared: tuple[str, ...]
    cannot_know: tuple[str, ...]
    team: str = ""
    tips: tuple[Remembered, ...] = ()
    older: str = ""


def report_lines(report: Report) -> list[str]:
    """Give a report as lines for a screen."""
    lines = [headline(report)]
    if report.first_break is not None:
        lines += ["", "First break, in the order received:", f"  {report.first_break.line()}"]
    others = [f.line() for f in report.breaks if f is not report.first_break]
    if report.more_breaks:
        others.append(f"... and {report.more_breaks} more")
    lines += _listed("Other breaks", others)
    lines += _listed("Heads that were compared", report.compared)
    lines += _listed("What stands in the record but does not count", report.flags)
    lines += _listed("Notes", report.notes)
    if report.ok:
        lines += _listed("Heads to note down on paper", report.heads)
    lines += _listed("What this check can't know", report.cannot_know)
    return lines


def headline(report: Report) -> str:
    """Say in one line what the check came to."""
    entries = count(report.entries, "entry", "entries")
    devices = count(report.devices, "device", "devices")
    persons = count(report.persons, "person", "persons")
    if report.ok:
        return f"The record is whole: {entries} of {devices}, signed by {persons}."
    if report.older:
        return (
            f"THIS COPY IS OLDER THAN WHAT WAS NOTED, OR WAS CUT AT ITS END: {report.older}. "
            "Unite it with the newer folder: flightlog logbook merge OTHER"
        )
    breaks = count(len(report.breaks) + report.more_breaks, "break", "breaks")
    return f"THE RECORD IS BROKEN: {breaks} among {entries} of {devices}."


def _listed(title: str, lines: Iterable[str]) -> list[str]:
    listed = [f"  {line}" for line in lines]
    return ["", f"{title}:", *listed] if listed else []


def report_json(report: Report) -> dict[str, Any]:
    """Give a report as JSON for programs."""
    record = asdict(report)
    del record["older"]  # the breaks say it
    return {"schema": SCHEMA, **record}


def count(number: int, one: str, many: str) -> str:
    """Write a number with the word that fits it."""
    return f"{number} {one if number == 1 else many}"


def bounded(lines: Iterable[str]) -> tuple[str, ...]:
    """Give the first ``MOST_LISTED`` lines, and one that counts the rest."""
    listed = list(lines)
    if len(listed) <= MOST_LISTED:
        return tuple(listed)
    return (*listed[:MOST_LISTED], f"... and {len(listed) - MOST_LISTED} more")
