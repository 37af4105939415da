"""Clocks that are set by hand, cheap keys, and randomness that is known."""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from dataclasses import dataclass

from flightlog.logbook.keys import Cost

CHEAP = Cost(n=2**10)
"""The cheapest cost that is accepted."""


@dataclass
class Clock:
    """Both clocks of a laptop. ``pass_s`` moves both, setting ``wall_s`` the one on the wall."""

    wall_s: float = 1_800_000_000.0
    ticks_s: float = 5000.0

    def wall(self) -> float:
        return self.wall_s

    def ticks(self) -> float:
        return self.ticks_s

    def pass_s(self, seconds: float) -> None:
        self.wall_s += seconds
        self.ticks_s += seconds


def known(seed: bytes, name: str = "") -> Callable[[int], bytes]:
    """Randomness whose first bytes are a given seed; what follows says nothing of it."""
    given = [seed]

    def bytes_of(length: int) -> bytes:
        given.append(hashlib.sha256(f"{name} {len(given)}".encode()).digest())
        return given[len(given) - 2][:length]

    return bytes_of
