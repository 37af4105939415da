"""An import of many logs in words: a line for each, and at the end what failed and why."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from flightlog.errors import FlightlogError
from flightlog.logbook.entry import Entry
from flightlog.logbook.flying_kinds import EVENT
from flightlog.operations.positions import named
from flightlog.operations.recomputing import NotRecomputed, Recomputed
from flightlog.operations.season_import import Entered, Failed, LeftOut
from flightlog.operations.sorties import SortieRecord
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


def _count(number: int, word: str) -> str:
    return f"{number} {word}" if number == 1 else f"{number} {word}s"


def entered_line(event: Entered) -> str:
    """Say in a line what a log brought."""
    imported = event.imported
    said = imported.recording.body.content
    name = " + ".join(plain(log.name, _LONGEST_NAME) for log in event.logs)
    flights = imported.flights
    parts = [name, named(imported.recording), _when(flights), said.get("aircraft", "")]
    parts.append(_count(len(flights), "flight") if flights else "no flight")
    parts += [_released(flights)] if flights else []
    parts += [f"EVENT: {word}" for word in _events(imported.added)]
    return "  ".join(filter(None, parts))


def _when(flights: Sequence[SortieRecord]) -> str:
    known = next((f.start or f.liftoff for f in flights if f.start or f.liftoff), None)
    return known.strftime("%Y-%m-%d %H:%M") if known is not None else ""


def _released(flights: Sequence[SortieRecord]) -> str:
    releases = dict.fromkeys(named(f.release) for f in flights if f.release is not None)
    parts = [f"release {', '.join(releases)}"] if releases else []
    if any(f.release is None for f in flights):
        parts.append(WITHOUT)
    return "; ".join(parts)


def _events(added: Iterable[Entry]) -> list[str]:
    return [str(e.body.content["event"]) for e in added if e.body.kind == EVENT]


def summary_lines(tally: Tally, others: Sequence[Path], width: int = 80) -> Iterator[str]:
    """Write what came of all logs: how many are in the record, and which are not and why."""
    new, known, failed = len(tally.entered), len(tally.known), len(tally.failed)
    flights = sum(len(e.imported.flights) for e in (*tally.entered, *tally.known))
    yield (
        f"{_count(new + known, 'recording')} of these files in the record ({new} new, {known} "
        f"known before) with {_count(flights, 'flight')}; {failed} failed."
    )
    if tally.left_out:
        yield f"Left out: {_count(len(tally.left_out), 'copy').replace('copys', 'copies')}."
        yield from _some([one.why for one in tally.left_out], width)
    if others:
        links = any(path.is_symlink() for path in others)
        yield f"No logs{', or links' if links else ''}: {_count(len(others), 'file')}."
        yield from _some([path.name for path in others], width)
    if tally.failed:
        yield "Failed:"
        for one in tally.failed:
            name = " + ".join(_place(log) for log in one.logs)
            yield from _row(name, _why(one.error, name), width)
        yield "What is in the record stays. Put right what failed and give the same command again."


def _place(log: Path) -> str:
    """Give the name of a log with its folder: many folders hold a 00000012.BIN."""
    name = plain(log.name, _LONGEST_NAME)
    return f"{plain(log.parent.name, _LONGEST_NAME)}/{name}" if log.parent.name else name


def recomputed_line(one: Recomputed) -> str:
    """Say in a line what a debrief that was computed anew changed."""
    said = one.entry.body.content
    what = _count(len(one.changes), "figure") + " changed" if one.changes else "no figure changed"
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
        f"{_count(len(done), 'recording')} computed anew, {changed} with figures that changed; "
        f"{len(failed)} failed."
    )
    for one in failed:
        name = f"{named(one.before)} {plain(one.before.body.content['file'], _LONGEST_NAME)}"
        yield from _row(name, _why(one.error, name), width)


def change_lines(one: Recomputed, width: int = 80) -> Iterator[str]:
    """Write what a debrief changed, the first of it."""
    for text in one.changes[:_MOST_NAMED]:
        yield from textwrap.wrap(
            plain(text, 500), _bound(width), initial_indent="  ", subsequent_indent="    "
        )
    if len(one.changes) > _MOST_NAMED:
        yield f"  and {len(one.changes) - _MOST_NAMED} more, in its debrief"


def _why(error: BaseException, name: str) -> str:
    if not isinstance(error, FlightlogError):
        return f"a fault of this program ({type(error).__name__})"
    told = error.where in name or error.where.endswith(name)
    where = "" if told else f"{error.where}: "
    return f"{where}{error.found}.{f' {error.fix}' if error.fix else ''}"


def _some(texts: Sequence[str], width: int) -> Iterator[str]:
    for text in texts[:_MOST_NAMED]:
        yield from _row("", text, width)
    if len(texts) > _MOST_NAMED:
        yield f"  and {len(texts) - _MOST_NAMED} more"


def _row(name: str, text: str, width: int) -> list[str]:
    head = f"  {name}  " if name else "  "
    return textwrap.wrap(
        plain(text, 1000),
        _bound(width),
        initial_indent=head,
        subsequent_indent="      ",
        break_on_hyphens=False,
    )


def _bound(width: int) -> int:
    return min(max(width, _NARROWEST), _WIDEST)
