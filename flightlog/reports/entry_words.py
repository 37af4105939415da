"""Entries of the record in words: a row of a list, and one in full."""

from __future__ import annotations

from collections.abc import Iterable

from flightlog.logbook.codes import head_code
from flightlog.logbook.entry import Entry
from flightlog.logbook.words import entry_line, entry_lines
from flightlog.operations.desk import Desk
from flightlog.operations.entry_search import marks_of
from flightlog.operations.positions import named

HEAD = ("Entry", "Made, UTC", "Kind", "Signed by", "Says", "Marks")
NOBODY = "this laptop alone"


def entry_rows(desk: Desk, entries: Iterable[Entry]) -> list[tuple[str, ...]]:
    """Give entries as rows of `HEAD`."""
    return [_row(desk, entry) for entry in entries]


def _row(desk: Desk, entry: Entry) -> tuple[str, ...]:
    line = entry_line(entry.body, desk.names, desk.book.people)
    _, colon, says = line.partition(": ")
    return (
        named(entry),
        f"{entry.body.time.utc:%Y-%m-%d %H:%M}",
        entry.body.kind,
        signed_by(desk, entry),
        says if colon else "",
        ", ".join(marks_of(desk, entry)),
    )


def signed_by(desk: Desk, entry: Entry) -> str:
    """Name those who signed an entry, whether that counts or not."""
    who = dict.fromkeys(desk.crew.label_of_key(signer.key) for signer in entry.body.signers)
    return ", ".join(who) or NOBODY


def full_lines(desk: Desk, entry: Entry) -> list[str]:
    """Give all of an entry: what it says, what it is worth, where its files are."""
    book = desk.book
    lines = [f"{named(entry)}, {entry.name}"]
    lines += [f"head: {head_code(entry.body.number, entry.hash)}"]
    lines += [f"does not count: {text}" for text in book.standing.problems(entry)]
    lines += [f"note: {text}" for text in book.standing.notes(entry)]
    lines += ["", *entry_lines(entry.body, desk.names, book.people), "", f"hash: {entry.hash}"]
    for attachment in entry.body.attachments:
        problem = book.attachments.problem(attachment)
        where = problem or str(book.attachments.path(attachment.sha256))
        lines.append(f"file {attachment.name}: {where}")
    return lines
