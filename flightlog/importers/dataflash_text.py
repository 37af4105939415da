"""To come."""

from __future__ import annotations

from flightlog.importers.registry import Match


def sniff(head: bytes) -> Match:
    """Say no."""
    return Match.NO
