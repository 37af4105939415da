"""Where entries stand to each other, how they are named, and numbers as they are typed."""

from __future__ import annotations

import re
from collections.abc import Iterable
from datetime import timedelta
from decimal import Decimal

from flightlog.errors import UsageError
from flightlog.logbook.codes import entry_code, head_code
from flightlog.logbook.entry import Entry
from flightlog.team.ledger import Ledger

CLOCKS_APART = timedelta(minutes=10)
"""Clocks of two laptops may differ so much; an entry from further ahead is not believed."""
_NUMBER = re.compile(r"-?[0-9]{1,12}(\.[0-9]{1,12})?", re.ASCII)


def newest(ledger: Ledger, entries: Iterable[Entry]) -> tuple[Entry, ...]:
    """Give those entries that no other one of them has seen: one, or several made apart.

    Which of several is the right one the record can't tell; what they allow together does.
    """
    found = tuple(entries)
    last = found[-1:]
    if last and all(e is last[0] or ledger.has_seen(last[0], e) for e in found):
        return last
    return tuple(e for e in found if not any(ledger.has_seen(other, e) for other in found))


def named(entry: Entry) -> str:
    """Name an entry as commands take it, like "12.H3MED"."""
    return entry_code(entry.body.number, entry.hash)


def heads_of(ledger: Ledger) -> tuple[str, ...]:
    """Give the heads of the record as they are noted elsewhere and typed again."""
    return tuple(head_code(tip.body.number, tip.hash) for tip in ledger.order.tips())


def number(text: str, where: str) -> Decimal:
    """Read a decimal number that was typed, digit by digit as it is to stand in the record.

    Raises
    ------
    UsageError
        If it is none, or longer than a record takes.
    """
    typed = text.strip()
    if not _NUMBER.fullmatch(typed):
        hint = "Write a full stop for the decimals." if "," in typed else "Like 28.5."
        raise UsageError(f"{typed[:40]!r} is not a number", where=where, fix=hint)
    return Decimal(typed)
