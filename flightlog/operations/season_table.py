"""The flights of a season, each in a row: its figures, outcomes and what contradicts.

All numbers are those of the stored debriefs; nothing is computed anew. The one that no debrief
holds is the density of the air, which follows from the weather that the release of a flight cites.
A number that a flight lacks is lacking with the reason, as the debrief gives it.

Rows follow from the entries alone, so they stand until entries are added.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any, cast

from flightlog.figures import FIGURES, LEVEL
from flightlog.logbook.entry import CITES, Entry
from flightlog.logbook.flying_kinds import WEATHER
from flightlog.operations.desk import Desk
from flightlog.operations.flight_case import Contradiction
from flightlog.operations.pairing import NOT_CLEAR
from flightlog.operations.positions import named
from flightlog.operations.sorties import SortieRecord, debrief_of, sorties
from flightlog.operations.usage import is_whole, timed_first
from flightlog.operations.weather import air_density

DENSITY = "air.density"
"""Id of the density of the air, beside those of the figures."""
DENSITY_UNIT = "kg/m³"
WITH, WITHOUT, NOT_CLEAR_WORD = "with a release", "without a release", "release not clear"
RELEASES = (WITH, WITHOUT, NOT_CLEAR_WORD)
"""How a flight stands to its release."""


@dataclass(frozen=True, slots=True)
class Number:
    """A number with its 95 % interval, in the unit of its figure."""

    value: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class Verdict:
    """What a flight said about one limit, as its debrief has it."""

    limit: str
    figure: str
    word: str
    op: str
    bound: float
    unit: str
    source: str


@dataclass(frozen=True, slots=True)
class SeasonRow:
    """One flight.

    Attributes
    ----------
    record : SortieRecord
        As the record has it.
    figures : mapping
        Figure id, or `DENSITY` -> its number.
    withheld : mapping
        Figure id, or `DENSITY` -> why there is none, and what would unlock it.
    no_debrief : str
        Why there are no figures at all; empty where there are.
    verdicts : tuple of Verdict
        One for each limit.
    contradictions : tuple of Contradiction
        What does not go together, notes left out.
    words : str
        All that is said of it, in small letters, to be searched.
    """

    record: SortieRecord
    figures: Mapping[str, Number]
    withheld: Mapping[str, str]
    no_debrief: str
    verdicts: tuple[Verdict, ...]
    contradictions: tuple[Contradiction, ...]
    words: str

    @property
    def name(self) -> str:
        """By which commands know it."""
        return named(self.record.entry)

    @property
    def released(self) -> str:
        """One of `RELEASES`."""
        return released_word(self.record)

    def why_lacking(self, figure: str) -> str:
        """Say why there is no such number, "" where there is one."""
        if figure in self.figures:
            return ""
        return self.withheld.get(figure) or self.no_debrief or "its debrief does not have it"


@dataclass(frozen=True, slots=True)
class Wanted:
    """Which flights are meant; what is empty or None asks for nothing.

    Attributes
    ----------
    aircraft, pack : str
        Ids.
    first, last : date or None
        Days in UTC, both included.
    released : str
        One of `RELEASES`.
    outcome : str
        A word that at least one limit has.
    text : str
        What stands anywhere in what is said of the flight.
    """

    aircraft: str = ""
    pack: str = ""
    first: date | None = None
    last: date | None = None
    released: str = ""
    outcome: str = ""
    text: str = ""

    def fits(self, row: SeasonRow) -> bool:
        """Whether a flight is one of them."""
        flight, day = row.record, row.record.began.date()
        return (
            self.aircraft in ("", flight.aircraft)
            and self.pack in ("", flight.pack)
            and (self.first is None or self.first <= day)
            and (self.last is None or day <= self.last)
            and self.released in ("", row.released)
            and (not self.outcome or any(v.word == self.outcome for v in row.verdicts))
            and self.text.strip().casefold() in row.words
        )


@dataclass(frozen=True, slots=True)
class Sums:
    """What flights come to: how many, hours in the air, landings, and with contradictions.

    ``untimed`` of them have no flight time, and the logs of ``cut`` others do not hold all of
    them, so that the hours are at least so many;
    ``contradicting`` of them hold ``contradictions`` in all.
    """

    flights: int
    hours: float
    landings: int
    untimed: int
    cut: int
    contradictions: int
    contradicting: int
    without_release: int


def season_rows(desk: Desk) -> tuple[SeasonRow, ...]:
    """Give all flights of the record in the order in which they were flown.

    Those of which nobody knows when they were flown come last.

    Parameters
    ----------
    desk : Desk
        The record; entries that were read once are not read again.
    """
    tips = ("season", tuple(sorted(tip.hash for tip in desk.ledger.order.tips())))
    known = desk.kept.get("season")
    if known is None and desk.lasting.get("season-tips") == tips:
        known = desk.lasting["season-rows"]
    if known is None:
        known = tuple(_row(desk, flight) for flight in timed_first(sorties(desk)))
        if not any(row.no_debrief and row.record.recording for row in known):
            # Else a file that is missing may come, without any entry.
            desk.lasting["season-tips"], desk.lasting["season-rows"] = tips, known
    desk.kept["season"] = known
    return cast(tuple[SeasonRow, ...], known)


def wanted(rows: Iterable[SeasonRow], which: Wanted) -> tuple[SeasonRow, ...]:
    """Give those of some flights that are meant."""
    return tuple(row for row in rows if which.fits(row))


def years_of(rows: Iterable[SeasonRow]) -> tuple[int, ...]:
    """Give the years in which was flown, the latest first."""
    return tuple(sorted({row.record.began.year for row in rows}, reverse=True))


def in_year(rows: Iterable[SeasonRow], year: int | None) -> tuple[SeasonRow, ...]:
    """Give the flights of a year, all where none is named."""
    return tuple(row for row in rows if year in (None, row.record.began.year))


def sums_of(rows: Iterable[SeasonRow]) -> Sums:
    """Add up flights."""
    listed = tuple(rows)
    return Sums(
        flights=len(listed),
        hours=sum(row.record.flown_s for row in listed) / 3600.0,
        landings=sum(row.record.landings for row in listed),
        untimed=sum(row.record.flown_s <= 0 for row in listed),
        cut=sum(row.record.flown_s > 0 and not is_whole(row.record) for row in listed),
        contradictions=sum(len(row.contradictions) for row in listed),
        contradicting=sum(bool(row.contradictions) for row in listed),
        without_release=sum(row.released == WITHOUT for row in listed),
    )


# --- one flight


def released_word(flight: SortieRecord) -> str:
    """Say how a flight stands to its release: one of `RELEASES`."""
    if flight.release is not None:
        return WITH
    return NOT_CLEAR_WORD if flight.paired.startswith(NOT_CLEAR) else WITHOUT


def _row(desk: Desk, flight: SortieRecord) -> SeasonRow:
    # It reads logs, which those who only want the numbers here have no use for.
    from flightlog.operations.contradictions import contradictions

    debrief = debrief_of(desk, flight)
    figures, withheld = numbers_in(debrief or {})
    density, why = density_of(desk, flight)
    if density is not None:
        figures[DENSITY] = density
    else:
        withheld[DENSITY] = why
    grave = tuple(one for one in contradictions(desk, flight) if not one.note)
    return SeasonRow(
        flight,
        figures,
        withheld,
        "" if debrief is not None else why_no_debrief(flight),
        tuple(_verdicts(debrief or {})),
        grave,
        _words(desk, flight, grave),
    )


def why_no_debrief(flight: SortieRecord) -> str:
    """Say why a flight whose debrief can't be had has none."""
    if flight.recording is None:
        return "entered by hand, and no log of it is in the record: import its log"
    return "its stored debrief is missing or damaged: 'flightlog logbook check' says more"


def numbers_in(debrief: Mapping[str, Any]) -> tuple[dict[str, Number], dict[str, str]]:
    """Give the figures of a flight's stored debrief, and why others are withheld."""
    found = {
        id_: Number(*(float(figure[key]) for key in ("value", "low", "high")))
        for id_, figure in (debrief.get("figures") or {}).items()
        if id_ in FIGURES and all(figure.get(k) is not None for k in ("value", "low", "high"))
    }
    reasons = debrief.get("withheld") or {}
    return found, {id_: str(why) for id_, why in reasons.items()}


def _verdicts(debrief: Mapping[str, Any]) -> Iterable[Verdict]:
    for outcome in debrief.get("outcomes") or []:
        bound = outcome["bound"]
        yield Verdict(
            str(outcome["limit"]),
            str(outcome["figure"]),
            str(outcome["outcome"]),
            str(bound["op"]),
            float(bound["value"]),
            str(bound["unit"]),
            str(outcome["source"]),
        )


def density_of(desk: Desk, flight: SortieRecord) -> tuple[Number | None, str]:
    """Give the density of the air in the weather that the release cites, or say why not."""
    if flight.release is None:
        return None, "it has no release that cites the weather: measure it, and release the flight"
    cited = desk.ledger.named(flight.release, CITES, WEATHER)
    if not cited:
        return None, "its release cites no weather: 'flightlog weather add' enters it"
    weather: Entry = max(cited, key=desk.ledger.when)
    density = air_density(weather)
    if density is None:
        return None, f"the weather {named(weather)} holds a number that can't be"
    return Number(density.value, *density.interval(LEVEL)), ""


def _words(desk: Desk, flight: SortieRecord, found: Iterable[Contradiction]) -> str:
    """Give all that is said of a flight, to be searched."""
    entries = [*flight.entries, *flight.statements]
    said = [str(e.body.content.get(key, "")) for e in entries for key in ("text", "reason")]
    names = [named(e) for e in (*entries, *filter(None, (flight.release, flight.recording)))]
    file = str(flight.recording.body.content["file"]) if flight.recording is not None else ""
    contra = [f"{one.code} {one.says}" for one in found]
    parts = (flight.aircraft, flight.pack, file, flight.paired, *names, *said, *contra)
    return " ".join(filter(None, parts)).casefold()
