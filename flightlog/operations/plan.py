"""What is planned for the next flight, and what a condition of its release says."""

from __future__ import annotations

from dataclasses import dataclass

from flightlog.logbook.entry import Entry


@dataclass(frozen=True, slots=True)
class Plan:
    """The next flight, as far as it is chosen and not computed.

    Attributes
    ----------
    aircraft, pack : str
        Ids of their files.
    rules, site : str
        Ids of their files; empty where none is flown under, or at.
    landings : int
        How many are declared.
    purpose : str
        In words.
    """

    aircraft: str
    pack: str
    rules: str = ""
    site: str = ""
    landings: int = 1
    purpose: str = ""


@dataclass(frozen=True, slots=True)
class Condition:
    """One condition of a release, as it stands now.

    Attributes
    ----------
    name : str
        A word of small letters and hyphens, the same for ever.
    holds : bool
        Whether it is met.
    says : str
        What was found, with its numbers. A clause without a full stop.
    clear : str
        What would clear it; empty where it holds. A sentence.
    rests_on : tuple of Entry
        What it was judged by; the release cites it.
    """

    name: str
    holds: bool
    says: str
    clear: str = ""
    rests_on: tuple[Entry, ...] = ()
