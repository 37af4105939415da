"""Defects in words: a row of a table, a line of a list, and one in full."""

from __future__ import annotations

from collections.abc import Iterable

from flightlog.logbook.words import entry_lines
from flightlog.operations.defects import CLOSED, LAPSED, MENDED, OPEN, PUT_OFF, DefectState
from flightlog.operations.desk import Desk
from flightlog.operations.positions import named
from flightlog.reports.entry_words import signed_by
from flightlog.team.ledger import THINGS

HEAD = ("Defect", "Reported, UTC", "By", "On", "Part", "Severity", "State", "Left", "Waits for")
STATES = (OPEN, LAPSED, MENDED, PUT_OFF, CLOSED)
"""The order in which they are read: what stops first."""


def defect_rows(desk: Desk, found: Iterable[DefectState]) -> list[tuple[str, ...]]:
    """Give defects as rows of `HEAD`, those that stop first, of these the oldest first."""
    return [_row(desk, one) for one in sorted(found, key=lambda d: STATES.index(d.state))]


def _row(desk: Desk, defect: DefectState) -> tuple[str, ...]:
    said = defect.entry.body.content
    left = f"{defect.left}: {defect.limitation}" if defect.left else ""
    return (
        named(defect.entry),
        f"{desk.ledger.when(defect.entry):%Y-%m-%d %H:%M}",
        signed_by(desk, defect.entry),
        on_what(defect),
        f"{said['part']}: {said['text']}",
        defect.severity,
        defect.state,
        left,
        defect.waits_for,
    )


def on_what(defect: DefectState) -> str:
    """Name what a defect was found on."""
    said = defect.entry.body.content
    return ", ".join(f"{thing} {said[thing]}" for thing in THINGS if thing in said)


def defect_line(defect: DefectState) -> str:
    """Give a defect with what is left of its deferral, and what it waits for."""
    left = f"; {defect.left}: {defect.limitation}" if defect.left else ""
    waits = f"; waits for {defect.waits_for}" if defect.waits_for else ""
    return f"{defect.says}, {defect.group}{left}{waits}"


def defect_lines(desk: Desk, defect: DefectState) -> list[str]:
    """Give all that was entered about a defect, the oldest first."""
    lines = [defect_line(defect)]
    lines += [f"  {why}" for why in defect.ignored]
    for entry in defect.history:
        lines += ["", f"{named(entry)}:"]
        lines += [f"  {line}" for line in entry_lines(entry.body, desk.names, desk.book.people)]
    return lines


def counts_line(found: Iterable[DefectState]) -> str:
    """Count defects by their state."""
    listed = list(found)
    counted = [(state, sum(d.state == state for d in listed)) for state in STATES]
    return ", ".join(f"{count} {state}" for state, count in counted if count) or "none reported"
