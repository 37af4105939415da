"""A stored debrief as the objects that the other reports write from: read back, not computed again.

The JSON keeps a number with its interval at one level and not how it is distributed. What is
asked of it beyond that can't be answered from here.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from flightlog.figures import FIGURES, LEVEL, Figure
from flightlog.findings import Finding
from flightlog.rules.outcomes import Bound, Outcome
from flightlog.uncertain import NORMAL_95


@dataclass(frozen=True, slots=True)
class StoredQuantity:
    """A number with its interval at the printed level; both in ``unit``."""

    value: float
    low: float
    high: float
    unit: str

    @property
    def std(self) -> float:
        """Standard uncertainty, as if the interval were a Gaussian's."""
        return (self.high - self.low) / (2 * NORMAL_95)

    def interval(self, level: float = LEVEL) -> tuple[float, float]:
        """Give the interval that was stored.

        Raises
        ------
        ValueError
            If another level is asked for.
        """
        if level != LEVEL:
            raise ValueError(f"only the interval at {LEVEL} was stored")
        return self.low, self.high

    def probability_below(self, bound: float) -> float:
        """Refuse: the probability of an outcome was stored beside it.

        Raises
        ------
        ValueError
            Always.
        """
        raise ValueError("how the number is distributed was not stored")

    def scaled(self, factor: float, unit: str) -> StoredQuantity:
        """Give it in another unit."""
        low, high = sorted((self.low * factor, self.high * factor))
        return StoredQuantity(self.value * factor, low, high, unit)

    def widened(self, std: float, source: str) -> StoredQuantity:
        """Refuse: nothing is computed from what was stored.

        Raises
        ------
        ValueError
            Always.
        """
        raise ValueError("how the number is distributed was not stored")


@dataclass(frozen=True, slots=True)
class StoredLap:
    """A lap; what could not be had of it is None."""

    number: int
    time: StoredQuantity | None
    energy: StoredQuantity | None
    distance: StoredQuantity | None


@dataclass(frozen=True, slots=True)
class StoredScore:
    """A score; without a total the reason."""

    total: StoredQuantity | None
    reason: str


@dataclass(frozen=True, slots=True)
class StoredSortie:
    """What was stored of a sortie.

    Attributes
    ----------
    figures : mapping of str to Figure
        Those that this program knows, in the unit that it knows.
    strange : tuple of (str, StoredQuantity)
        The others, by id: of a newer program.
    withheld : mapping of str to str
        Figure id -> why.
    outcomes, findings : tuple
        As they were.
    of_log : tuple of Finding
        Findings about the whole log.
    laps : tuple of StoredLap
        In their order.
    gate : str
        Where the gate of the laps came from; empty without one.
    score : StoredScore or None
        By the rule book; None where it has no score.
    """

    figures: Mapping[str, Figure]
    strange: tuple[tuple[str, StoredQuantity], ...]
    withheld: Mapping[str, str]
    outcomes: tuple[Outcome, ...]
    findings: tuple[Finding, ...]
    of_log: tuple[Finding, ...]
    laps: tuple[StoredLap, ...]
    gate: str
    score: StoredScore | None


def stored_sortie(debrief: Mapping[str, Any], whole: Mapping[str, Any]) -> StoredSortie | None:
    """Read a sortie of a stored debrief.

    Parameters
    ----------
    debrief : mapping
        An item of ``sorties`` of the JSON contract.
    whole : mapping
        What it is an item of.

    Returns
    -------
    StoredSortie or None
        None where it is not of that shape.
    """
    try:
        numbers = {id_: quantity_of(body) for id_, body in debrief["figures"].items()}
        known = [id_ for id_, q in numbers.items() if id_ in FIGURES and _same_unit(id_, q)]
        bodies = debrief["figures"]
        return StoredSortie(
            {
                id_: Figure(
                    id_, numbers[id_], str(bodies[id_]["method"]), tuple(bodies[id_]["sources"])
                )
                for id_ in known
            },
            tuple((id_, q) for id_, q in numbers.items() if id_ not in known),
            dict(debrief["withheld"]),
            tuple(_outcome(body) for body in debrief["outcomes"]),
            tuple(_findings(debrief["findings"])),
            tuple(_findings(whole.get("findings", ()))),
            tuple(map(_lap, debrief["laps"])),
            str((debrief.get("gate") or {}).get("origin", "")),
            _score(debrief.get("score")),
        )
    except (AttributeError, KeyError, TypeError, ValueError):
        return None


def _same_unit(figure: str, quantity: StoredQuantity) -> bool:
    return FIGURES[figure].unit == quantity.unit


def quantity_of(body: Mapping[str, Any]) -> StoredQuantity:
    """Read a number with its interval.

    Raises
    ------
    KeyError, TypeError, ValueError
        If it is none.
    """
    value, low, high = (float(body[key]) for key in ("value", "low", "high"))
    return StoredQuantity(value, low, high, str(body.get("unit", "")))


def _lap(body: Mapping[str, Any]) -> StoredLap:
    found = [
        quantity_of(body[key]) if body[key] else None for key in ("time", "energy", "distance")
    ]
    return StoredLap(int(body["number"]), *found)


def _score(body: Mapping[str, Any] | None) -> StoredScore | None:
    if not body:
        return None
    total = quantity_of(body["total"]) if body["total"] else None
    return StoredScore(total, str(body.get("reason", "it was not computed")))


def _outcome(body: Mapping[str, Any]) -> Outcome:
    bound = body["bound"]
    return Outcome(
        limit=str(body["limit"]),
        kind=body["kind"],
        figure=str(body["figure"]),
        definition=body["definition"],
        quantity=quantity_of(body) if body["value"] is not None else None,
        outcome=body["outcome"],
        probability=body["probability"],
        bound=Bound(bound["op"], float(bound["value"]), str(bound["unit"])),
        required_probability=float(body["required_probability"]),
        source=str(body["source"]),
        reason=str(body.get("reason", "")),
    )


def _findings(bodies: Iterable[Mapping[str, Any]]) -> Iterable[Finding]:
    for body in bodies:
        yield Finding(
            code=str(body["code"]),
            severity=body["severity"],
            message=str(body["message"]),
            evidence=dict(body["evidence"]),
            affects=tuple(body["affects"]),
            remedy=str(body["remedy"]),
            start_s=body["start_s"],
            end_s=body["end_s"],
        )
