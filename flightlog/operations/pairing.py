"""Under which release a flight was flown: found by times, order and pack, never guessed.

A log's clock and a laptop's clock may be minutes apart, and a log may tell no time at all. So what
is known of a start is a stretch of time. A release fits it when it was signed before its end and
lasted beyond its beginning, and nobody had used it up or taken it back. Where one fits, the flight
was flown under it. Where several do, the one wins that fits without any allowance for clocks;
where that does not decide either, nothing is spent until a person says.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

from flightlog.logbook.entry import ENDS, PERMITS, Effect, Entry
from flightlog.logbook.words import duration
from flightlog.operations.desk import Desk
from flightlog.operations.positions import named
from flightlog.operations.release_conditions import LASTS, releases_of, when_it_ends
from flightlog.operations.sorties import sorties
from flightlog.team.ledger import AIRCRAFT, Ledger, subject

CLOCKS_APART = timedelta(minutes=15)
"""By so much the clocks of a log and of a laptop may differ, unless more is told."""
SURE = 3.0
"""So many standard uncertainties of the log's own UTC are allowed on top."""
ZONES = (timedelta(hours=-12), timedelta(hours=14))
"""Local time is ahead of UTC by this much, anywhere."""
LATELY = timedelta(hours=24)
"""A log that tells no time is of a release that ended no longer ago than this."""
GOES_ON = "goes on"
"""How it begins for the second part of a flight, after a restart of the logger in the air."""
NOT_CLEAR = "not clear:"
"""How it begins where several releases fit."""
_LONGEST = 190


@dataclass(frozen=True, slots=True)
class Begun:
    """When a flight began, as far as its source tells.

    Attributes
    ----------
    at : datetime or None
        UTC; None where only a local time is known, or none.
    earliest, latest : datetime
        The beginning lies between them, with all that clocks may be out.
    tells : str
        "utc", "local" (of an unknown zone) or "" for no time at all.
    """

    at: datetime | None
    earliest: datetime
    latest: datetime
    tells: str = "utc"


@dataclass(frozen=True, slots=True)
class Pairing:
    """What was found.

    Attributes
    ----------
    release : Entry or None
        Under which the flight was flown; it is not spent yet.
    says : str
        How it was found, or why there is none. A clause of at most 200 characters.
    clear : bool
        False where several fit, and a person has to say.
    near : tuple of Entry
        Releases that fit, or that would have but for one thing.
    same : Entry or None
        A sortie entry about the same flight.
    spends : bool
        False where there is nothing left to use up: another entry about the same flight did, or
        the permission was lost since, as by a defect that was found after landing. It never
        comes back, and that a flight was made under it is no misuse.
    """

    release: Entry | None
    says: str
    clear: bool = True
    near: tuple[Entry, ...] = ()
    same: Entry | None = None
    spends: bool = True


NOBODYS = Pairing(None, "no release: of which aircraft it is, is not known")
"""Of a flight of no aircraft."""


def begun(
    now: datetime,
    unix_s: float | None,
    std_s: float | None,
    *,
    zone_known: bool = True,
    apart: timedelta = CLOCKS_APART,
) -> Begun:
    """Give when a flight began, from what its log tells.

    Parameters
    ----------
    now : datetime
        When the log is taken in; the flight was before.
    unix_s : float or None
        Start of roll in seconds since 1970, by the log [s]; None where it does not tell.
    std_s : float or None
        Standard uncertainty of the log's UTC [s].
    zone_known : bool
        False where ``unix_s`` leads to the local time of some place.
    apart : timedelta
        What the clocks of log and laptop may be apart.
    """
    at = utc_of(unix_s)
    if at is None:
        return Begun(None, now - LATELY, now + apart, "")
    slack = apart + timedelta(seconds=min(SURE * (std_s or 0.0), LATELY.total_seconds()))
    if zone_known:
        return Begun(at, at - slack, at + slack)
    return Begun(None, at - ZONES[1] - slack, at - ZONES[0] + slack, "local")


def utc_of(unix_s: float | None) -> datetime | None:
    """Give a time in seconds since 1970 as UTC in whole seconds, None for one of no flying day."""
    if unix_s is None or not _YEARS[0] <= unix_s <= _YEARS[1]:
        return None
    return datetime(1970, 1, 1, tzinfo=UTC) + timedelta(seconds=round(unix_s))


_YEARS = (315_532_800.0, 4_102_444_800.0)
"""1980 to 2100: beyond, a damaged log speaks [s since 1970]."""


def pair(
    desk: Desk, aircraft: str, began: Begun, *, pack: str = "", taken: Collection[str] = ()
) -> Pairing:
    """Find the release under which a flight was flown.

    Parameters
    ----------
    desk : Desk
        The record.
    aircraft : str
        Id of its file.
    began : Begun
        When it began.
    pack : str
        The pack, where somebody said it; decides only between releases that fit otherwise.
    taken : collection of str
        Hashes of releases that other flights of the same log were flown under.
    """
    ledger = desk.ledger
    flown = {f.release.hash: f.entry for f in sorties(desk) if f.release is not None}
    fits, near, said = [], [], []
    for release in releases_of(ledger, aircraft):
        why = _why_not(ledger, release, began, taken, flown)
        if why is None:
            fits.append(release)
        elif why:
            near.append(release)
            said.append(f"{named(release)} {why}")
    if not fits:
        what = "; ".join(said[-2:]) or f"there is none of {aircraft} at that time"
        return Pairing(None, _short(f"no release: {what}"), near=tuple(near))
    chosen = _chosen(ledger, fits, began, pack)
    if len(chosen) == 1:
        says = _short(_how(ledger, chosen[0], began, len(fits)))
        return Pairing(chosen[0], says, spends=ledger.standing.permit(chosen[0]).holds)
    names = " and ".join(named(release) for release in chosen)
    says = f"{NOT_CLEAR} {names} fit, a person has to say"
    return Pairing(None, _short(says), False, tuple(fits))


def _short(text: str) -> str:
    return text if len(text) <= _LONGEST else f"{text[: _LONGEST - 1]}…"


# --- whether one fits


def _why_not(
    ledger: Ledger,
    release: Entry,
    began: Begun,
    taken: Collection[str],
    flown: Mapping[str, Entry],
) -> str | None:
    """Say why a release is not that of the flight; None where it may be, "" where it is far off."""
    signed = ledger.when(release)
    if signed - began.latest > LATELY or began.earliest - signed > LASTS + LATELY:
        return ""
    aircraft = release.body.content["aircraft"]
    if release.body.effect != Effect(PERMITS, subject(AIRCRAFT, aircraft)):
        return "permits nothing"
    if not ledger.standing.may_loosen(release):
        return "counts for nothing: a signature on it does not count"
    if ledger.corrections(release):
        return "was corrected"
    ends = when_it_ends(ledger, release)
    if release.hash in taken:
        return "is for one flight, and an earlier one of this log was flown under it"
    spent = ledger.standing.permit(release).spent_by
    if spent or release.hash in flown:
        return f"was spent by {named(spent[0] if spent else flown[release.hash])}"
    if signed > began.latest:
        return f"was signed {_apart(signed, began)} after the take-off"
    if ends < began.earliest:
        return f"had ended {_apart(ends, began)} before the take-off"
    withdrawn = _withdrawn(ledger, release)
    if withdrawn is not None and withdrawn < began.earliest:
        return "was withdrawn before the take-off"
    return None


def _apart(when: datetime, began: Begun) -> str:
    reference = began.at or (began.earliest if when < began.earliest else began.latest)
    minutes = round(abs((when - reference).total_seconds()) / 60)
    return duration(60 * max(1, minutes))


def _withdrawn(ledger: Ledger, release: Entry) -> datetime | None:
    """Give when a release was first taken back, None where it never was."""
    ended = [ledger.when(e) for e in ledger.naming(release, ENDS) if ledger.standing.may_loosen(e)]
    return min(ended, default=None)


# --- which one of several


def _chosen(ledger: Ledger, fits: list[Entry], began: Begun, pack: str) -> list[Entry]:
    """Give the release that fits best; several where nothing decides between them."""
    if len(fits) > 1 and pack:
        fits = [r for r in fits if r.body.content["pack"] == pack] or fits
    if len(fits) > 1 and began.at is not None:
        fits = [r for r in fits if _without_slack(ledger, r, began.at)] or fits
    return fits


def _without_slack(ledger: Ledger, release: Entry, at: datetime) -> bool:
    withdrawn = _withdrawn(ledger, release)
    return ledger.when(release) <= at <= when_it_ends(ledger, release) and (
        withdrawn is None or withdrawn > at
    )


def _how(ledger: Ledger, release: Entry, began: Begun, fitting: int) -> str:
    others = "" if fitting == 1 else f"; of {fitting} that are not spent the one that fits"
    if began.at is None:
        told = "no time" if not began.tells else "a local time of an unknown zone"
        return f"by order of import: the log tells {told}, and no other release is unspent{others}"
    signed, ends = ledger.when(release), when_it_ends(ledger, release)
    if signed > began.at:
        return (
            f"by time: signed {_apart(signed, began)} after the take-off by the clocks, "
            f"which may differ by more{others}"
        )
    if ends < began.at:
        return (
            f"by time: ended {_apart(ends, began)} before the take-off by the clocks, "
            f"which may differ by more{others}"
        )
    return f"by time: signed {_apart(signed, began)} before the take-off{others}"
