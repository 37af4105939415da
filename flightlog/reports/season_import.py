"""An import of many logs in words: a line for each, and at the end what failed and why."""

from __future__ import annotations

import os
import textwrap
from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path

from flightlog.errors import FlightlogError
from flightlog.logbook.entry import Entry
from flightlog.logbook.flying_kinds import EVENT, RELEASE
from flightlog.operations.desk import Desk
from flightlog.operations.log_search import TABLE, Searched
from flightlog.operations.pairing import NOT_CLEAR
from flightlog.operations.positions import named
from flightlog.operations.recomputing import NotRecomputed, Recomputed
from flightlog.operations.season_import import Entered, Failed, LeftOut
from flightlog.operations.sorties import BY_LOG, SortieRecord
from flightlog.reports.flights import WITHOUT
from flightlog.reports.plain import plain

_MOST_NAMED = 10
_LONGEST_NAME = 40
_WIDEST, _NARROWEST = 110, 60


@dataclass
class Tally:
    """What came of the logs so far."""

    entered: list[Entered] = field(default_factory=list)
    known: list[Entered] = field(default_factory=list)
    failed: list[Failed] = field(default_factory=list)
    left_out: list[LeftOut] = field(default_factory=list)

    def count(self, event: Entered | Failed | LeftOut) -> None:
        """Count what happened."""
        if isinstance(event, Failed):
            self.failed.append(event)
        elif isinstance(event, LeftOut):
            self.left_out.append(event)
        elif event.known:
            self.known.append(event)
        else:
            self.entered.append(event)

    def flights(self) -> list[SortieRecord]:
        """Give the flights of all recordings, each once, as it stood in the record last."""
        last: dict[str, SortieRecord] = {}
        same: dict[str, set[str]] = {}
        for event in (*self.known, *self.entered):
            for flight in event.imported.flights:
                # A log that came later may stand for the flight since: any entry tells that it is.
                entries = {entry.hash for entry in flight.entries}
                entries = entries.union(*(same[key] for key in entries & same.keys()))
                for key in entries:
                    same[key], last[key] = entries, flight
        return list({id(flight): flight for flight in last.values()}.values())


class Names:
    """How files are called: as they were named, or from the name of the folder on.

    Parameters
    ----------
    given : iterable of Path
        Files and folders as they were named.
    files : iterable of Path
        All that may be called; those that would be called alike when they are made shorter are
        not made shorter.
    """

    def __init__(self, given: Iterable[Path], files: Iterable[Path] = ()) -> None:
        folders = [path for path in given if path.name not in ("", "..")]
        alike = Counter(path.name for path in folders)
        self._folders = [path for path in folders if alike[path.name] == 1]
        self._short = Counter(_shortened(self(file)) for file in dict.fromkeys(files))

    def __call__(self, path: Path) -> str:
        """Give the whole name."""
        for folder in self._folders:
            if path != folder and path.is_relative_to(folder):
                return plain(str(Path(folder.name, path.relative_to(folder))))
        return plain(str(path))

    def short(self, path: Path) -> str:
        """Give a name that leaves room on a line; never less than the name of the file."""
        whole = self(path)
        short = _shortened(whole)
        return short if self._short[short] < 2 else whole


def _shortened(name: str) -> str:
    """Leave folders out of the middle of a path that is long."""
    first, *between, file = parts if len(parts := Path(name).parts) > 1 else ("", name)
    while len(name) > _LONGEST_NAME and between:
        between = between[1:]
        name = str(Path(first, "...", *between, file))
    return name if len(name) <= _LONGEST_NAME or not first else f"...{os.sep}{file}"


def _count(number: int, word: str) -> str:
    return f"{number} {word}" if number == 1 else f"{number} {word}s"


def first_releases(desk: Desk) -> dict[str, datetime]:
    """Give when each aircraft was released first: before that no flight could have a release."""
    first: dict[str, datetime] = {}
    for entry in desk.ledger.of(RELEASE):
        aircraft, at = str(entry.body.content["aircraft"]), entry.body.time.utc
        first[aircraft] = min(at, first.get(aircraft, at))
    return first


def entered_line(
    event: Entered,
    name: Callable[[Path], str] = str,
    released: Mapping[str, datetime] | None = None,
) -> str:
    """Say in a line what a log brought.

    Parameters
    ----------
    event : Entered
        Of a log that was not in the record.
    name : callable
        Gives what a log is called.
    released : mapping of str to datetime, optional
        From `first_releases`: a flight without a release is told where it is later.
    """
    imported = event.imported
    said = imported.recording.body.content
    names = " + ".join(name(log) for log in event.logs)
    flights = imported.flights
    parts = [names, named(imported.recording), _when(flights), said.get("aircraft", "")]
    parts.append(_count(len(flights), "flight") if flights else "no flight")
    parts += [_known_already(event), _released(flights, released or {})]
    parts += [f"EVENT: {word}" for word in _events(imported.added)]
    return "  ".join(filter(None, parts))


def _when(flights: Sequence[SortieRecord]) -> str:
    known = next((f.start or f.liftoff for f in flights if f.start or f.liftoff), None)
    return known.strftime("%Y-%m-%d %H:%M") if known is not None else ""


def _known_already(event: Entered) -> str:
    """Say whether the record had another log of a flight, as of a copy that was cut short."""
    added = {entry.hash for entry in event.imported.added}
    known = sum(
        any(e.hash not in added and e.body.content["source"] == BY_LOG for e in flight.entries)
        for flight in event.imported.flights
    )
    if not known:
        return ""
    which = "a flight that is" if known == 1 else f"{known} flights that are"
    return f"another log of {which} in the record"


def _released(flights: Sequence[SortieRecord], released: Mapping[str, datetime]) -> str:
    """Say under which releases; that there was none, where there could have been one."""
    releases = dict.fromkeys(named(f.release) for f in flights if f.release is not None)
    parts = [f"release {', '.join(releases)}"] if releases else []
    if any(map(_is_not_clear, flights)):
        parts.append("release not clear")
    could = [f for f in flights if f.aircraft in released and f.began >= released[f.aircraft]]
    if any(map(_is_without, could)):
        parts.append(WITHOUT)
    return "; ".join(parts)


def _is_not_clear(flight: SortieRecord) -> bool:
    return flight.release is None and flight.paired.startswith(NOT_CLEAR)


def _is_without(flight: SortieRecord) -> bool:
    return flight.release is None and not flight.paired.startswith(NOT_CLEAR)


def _events(added: Iterable[Entry]) -> list[str]:
    return [str(e.body.content["event"]) for e in added if e.body.kind == EVENT]


def summary_lines(
    tally: Tally, found: Searched, name: Callable[[Path], str] = str, width: int = 80
) -> Iterator[str]:
    """Write what came of all logs: how many are in the record, and which are not and why.

    Parameters
    ----------
    tally : Tally
        What came of them.
    found : Searched
        What the folders hold.
    name : callable
        Gives what a file is called.
    width : int
        Of the screen. [characters]
    """
    new, known, failed = len(tally.entered), len(tally.known), len(tally.failed)
    flights = tally.flights()
    yield (
        f"{_count(new + known, 'recording')} of these files in the record ({new} new, {known} "
        f"known before) with {_count(len(flights), 'flight')}; {failed} failed."
    )
    without, unclear = sum(map(_is_without, flights)), sum(map(_is_not_clear, flights))
    if without:
        yield f"{_count(without, 'flight')} {_were(without)} flown without a release."
    if unclear:
        yield f"The release of {_count(unclear, 'flight')} is not clear: 'flightlog sortie pair'."
    if tally.left_out:
        yield f"Left out: {_count(len(tally.left_out), 'copy').replace('copys', 'copies')}."
        yield from _some([one.why(name) for one in tally.left_out], width)
    yield from _others(found, name, width)
    yield from _failures(tally.failed, name, width)


def _were(number: int) -> str:
    return "was" if number == 1 else "were"


def _others(found: Searched, name: Callable[[Path], str], width: int) -> Iterator[str]:
    """Write what lies in the folders beside logs, first that of which there is something to say."""
    if found.others:
        yield f"No logs: {_count(len(found.others), 'file')}."
        listed = sorted(found.others.items(), key=lambda one: not one[1])
        yield from _some([f"{name(path)} {why}".rstrip() for path, why in listed], width)
    tables = sum(why == TABLE for why in found.others.values())
    if tables:
        yield from textwrap.wrap(
            f"{_count(tables, 'table')} could be {'a log' if tables == 1 else 'logs'}: 'flightlog "
            "explain FILE' shows the columns and writes a first column map, with which 'flightlog "
            "debrief FILE --columns MAP' reads it. An import takes no column map.",
            _bound(width),
        )
    if found.hidden:
        yield f"Passed over: {_count(len(found.hidden), 'hidden file')} that could be logs."
        yield from _some([name(path) for path in found.hidden], width)


def _failures(failed: Sequence[Failed], name: Callable[[Path], str], width: int) -> Iterator[str]:
    """Write what failed; the same reason once, with all that failed by it."""
    if not failed:
        return
    by_reason: dict[tuple[str, str], list[str]] = {}
    for one in failed:
        logs = " + ".join(name(log) for log in one.logs)
        by_reason.setdefault(_why(one.error, one.logs, logs), []).append(logs)
    yield "Failed:"
    told: set[str] = set()
    for (found, fix), names in by_reason.items():
        text = _sentences(found, "" if fix in told else fix)
        told.add(fix)
        if len(names) == 1:
            yield from _row(names[0], text, width)
        else:
            yield from _row("", f"{len(names)} times: {text}", width)
            yield from (f"      {one}" for one in names)
    yield from textwrap.wrap(
        "What is in the record stays. Put right what failed and give the same command again.",
        _bound(width),
    )


def recomputed_line(one: Recomputed) -> str:
    """Say in a line what a debrief that was computed anew changed."""
    said = one.entry.body.content
    what = _count(len(one.changes), "change") if one.changes else "nothing changed"
    return f"{plain(said['file'], _LONGEST_NAME)}  {named(one.entry)}  {what}"


def recomputed_lines(
    done: Sequence[Recomputed], failed: Sequence[NotRecomputed], width: int = 80
) -> Iterator[str]:
    """Write what came of computing anew."""
    changed = sum(bool(one.changes) for one in done)
    if not done and not failed:
        yield "Every recording has its figures by the analyses of today."
        return
    yield (
        f"{_count(len(done), 'recording')} computed anew, {changed} with changes; "
        f"{len(failed)} failed."
    )
    for one in failed:
        name = f"{named(one.before)} {plain(one.before.body.content['file'], _LONGEST_NAME)}"
        yield from _row(name, _sentences(*_why(one.error, (), name)), width)


def change_lines(one: Recomputed, width: int = 80) -> Iterator[str]:
    """Write what a debrief changed, the first of it."""
    for text in one.changes[:_MOST_NAMED]:
        yield from textwrap.wrap(
            plain(text, 500), _bound(width), initial_indent="  ", subsequent_indent="    "
        )
    if len(one.changes) > _MOST_NAMED:
        yield f"  and {len(one.changes) - _MOST_NAMED} more, in its debrief"


def _why(error: BaseException, logs: Sequence[Path], name: str) -> tuple[str, str]:
    """Say what was found and what to do; without where, if that is nothing but the log."""
    if not isinstance(error, FlightlogError):
        return f"a fault of this program ({type(error).__name__})", ""
    where = error.where
    told = where in name or where.endswith(name) or any(where == str(log) for log in logs)
    return f"{'' if told else f'{where}: '}{error.found}", error.fix


def _sentences(found: str, fix: str) -> str:
    return f"{found}. {fix}" if fix else f"{found}."


def _some(texts: Sequence[str], width: int) -> Iterator[str]:
    for text in texts[:_MOST_NAMED]:
        yield from _row("", text, width)
    if len(texts) > _MOST_NAMED:
        yield f"  and {len(texts) - _MOST_NAMED} more"


def _row(name: str, text: str, width: int) -> list[str]:
    """Write a text behind a name; below it where the name is long."""
    head = f"  {name}  " if name else "  "
    alone = [f"  {name}"] if len(head) > _bound(width) // 2 else []
    return alone + textwrap.wrap(
        plain(text, 1000),
        _bound(width),
        initial_indent="      " if alone else head,
        subsequent_indent="      ",
        break_on_hyphens=False,
        break_long_words=False,
    )


def _bound(width: int) -> int:
    return min(max(width, _NARROWEST), _WIDEST)
