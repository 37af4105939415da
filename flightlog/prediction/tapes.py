"""A tape or a judge beside the log: one roll out of both, and what they differ by as a rule.

    log_i = S_i + e_i,   tape_i = S_i + offset + t_i

The offset is one number for all flights of a team: where a judge sees the wheels leave, and from
which line the tape is laid. It is estimated from the differences of all flights that have both,
held near none as long as they are few (its prior is `OFFSET_STD_M`), and kept: a take-off limit
that a judge measures is met by roll + offset, not by the roll.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

DATUM_STD_M = 0.5
"""How well a person beside the strip sees where the wheels leave the ground. [m]"""
READ_STD_M = 0.3
"""Standard uncertainty of a tape that came without one. [m]"""
OFFSET_STD_M = 1.0
"""How large the offset is held to be before any flight. [m]"""
CONTRADICTS = 4.0
"""Differences beyond so many standard deviations are no scatter: something else was measured."""


@dataclass(frozen=True, slots=True)
class FusedRolls:
    """Rolls out of log and tape.

    Attributes
    ----------
    rolls : tuple of (float, float)
        Value and standard uncertainty of each flight, in the log's meaning of the roll. [m]
    offset_m, offset_std_m : float
        Tape minus log, as a rule, and how sure that is.
    pairs : int
        Flights that it comes from.
    left_out : tuple of int
        Places of the flights whose tape contradicts their log; there the log stands alone.
    says : str
        What was kept, in a sentence or two; "" where no flight has a tape.
    """

    rolls: tuple[tuple[float, float], ...]
    offset_m: float
    offset_std_m: float
    pairs: int
    left_out: tuple[int, ...]
    says: str


def fused(
    log: Sequence[tuple[float, float]],
    tape: Sequence[tuple[float, float | None] | None],
    *,
    known_offset_m: float = 0.0,
) -> FusedRolls:
    """Put the tape's distances together with the log's rolls.

    Call it once with all flights of one aircraft, in any order: the offset comes from all of them.
    Give the rolls that come back to the take-off model in place of the log's.

    Parameters
    ----------
    log : sequence of (float, float)
        Ground roll of each flight by its log, and its standard uncertainty, above 0. [m]
    tape : sequence of (float, float or None), or None
        For each flight, at the same place: what was measured beside the strip and its standard
        uncertainty, None where nobody said one (`READ_STD_M` is taken, and said); None for a
        flight without. To each, `DATUM_STD_M` is added. [m]
    known_offset_m : float
        What the tape is known to read too much, such as a start line before the wheels; taken off
        first. [m]

    Raises
    ------
    ValueError
        If the two differ in length, or a number can't be one.
    """
    pairs: dict[int, tuple[float, float]] = {}
    without = 0
    for n, (one, other) in enumerate(zip(log, tape, strict=True)):
        if not (math.isfinite(one[0]) and math.isfinite(one[1]) and one[1] > 0):
            raise ValueError(f"the log's roll {one} has no uncertainty above 0")
        if other is None:
            continue
        read = READ_STD_M if other[1] is None else other[1]
        if not (math.isfinite(other[0]) and math.isfinite(read) and read >= 0):
            raise ValueError(f"the tape's distance {other} is none")
        without += other[1] is None
        pairs[n] = (other[0] - known_offset_m, read**2 + DATUM_STD_M**2)
    left_out = _contradicting(log, pairs)
    kept = {n: pair for n, pair in pairs.items() if n not in left_out}
    offset, variance = _offset(log, kept)
    rolls = tuple(
        _together(one, kept[n], offset, variance) if n in kept else (one[0], one[1])
        for n, one in enumerate(log)
    )
    std = math.sqrt(variance)
    says = _says(offset, std, len(kept), without, left_out, known_offset_m) if pairs else ""
    return FusedRolls(rolls, offset, std, len(kept), left_out, says)


def _offset(
    log: Sequence[tuple[float, float]], pairs: dict[int, tuple[float, float]]
) -> tuple[float, float]:
    """Give the offset and its variance: the weighted mean difference, shrunk towards none."""
    weight, weighted = 1 / OFFSET_STD_M**2, 0.0
    for n, (value, variance) in pairs.items():
        roll, std = log[n]
        own = 1 / (std**2 + variance)
        weight += own
        weighted += own * (value - roll)
    return weighted / weight, 1 / weight


def _together(
    one: tuple[float, float], pair: tuple[float, float], offset: float, offset_variance: float
) -> tuple[float, float]:
    """Give the mean of both, each weighted by its variance, and what it is unsure by.

    The offset was estimated with this very flight; the joint posterior of both is meant, not two
    numbers as if they were apart.
    """
    (roll, std), (value, variance) = one, pair
    share = std**2 / (std**2 + variance)
    own = share * variance
    return roll + share * (value - offset - roll), math.sqrt(own + share**2 * offset_variance)


def _contradicting(
    log: Sequence[tuple[float, float]], pairs: dict[int, tuple[float, float]]
) -> tuple[int, ...]:
    """Find the tapes that can't be of the same roll, the worst first, by what the others say."""
    out: list[int] = []
    while len(out) < len(pairs):
        kept = {n: pair for n, pair in pairs.items() if n not in out}
        worst, most = -1, CONTRADICTS
        for n, (value, variance) in kept.items():
            offset, unsure = _offset(log, {m: pair for m, pair in kept.items() if m != n})
            roll, std = log[n]
            beyond = abs(value - roll - offset) / math.sqrt(std**2 + variance + unsure)
            if beyond > most:
                worst, most = n, beyond
        if worst < 0:
            break
        out.append(worst)
    return tuple(sorted(out))


def _says(
    offset: float, std: float, pairs: int, without: int, left_out: tuple[int, ...], known: float
) -> str:
    flights = "1 flight" if pairs == 1 else f"{pairs} flights"
    word = "longer" if offset >= 0 else "shorter"
    told = []
    if pairs:
        told.append(
            f"The tape reads {abs(offset):.2f} ± {std:.2f} m {word} than the log, from {flights}; "
            "the rolls are the weighted mean of both with that taken off."
        )
    if known:
        told.append(f"A known offset of {known:.2f} m was taken off first.")
    if without:
        told.append(
            f"Tapes without an uncertainty of their own: {without}; {READ_STD_M:g} m was taken."
        )
    if left_out:
        told.append(
            f"Tapes that contradict their log: {len(left_out)}; there the log stands alone. Look "
            "from which line to which instant was measured."
        )
    return " ".join(told)
