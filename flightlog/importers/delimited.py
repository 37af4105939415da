"""To come."""

from __future__ import annotations


def looks_delimited(head: bytes) -> bool:
    """Say no."""
    return False
