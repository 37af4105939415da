"""The way through: Recording -> sorties -> figures -> outcomes."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from flightlog.analyses.laps import Gate, Lap
from flightlog.analyses.phases import Attempt, Sortie
from flightlog.figures import Figure
from flightlog.findings import Finding
from flightlog.inputs import Inputs
from flightlog.recording import Receipt
from flightlog.rules.outcomes import Outcome, Score


@dataclass(frozen=True, slots=True)
class SortieDebrief:
    """One sortie, measured and judged.

    ``sortie`` carries the refined event times where the analyses gave them.
    """

    sortie: Sortie
    figures: Mapping[str, Figure]
    withheld: Mapping[str, str]
    gate: Gate | None
    laps: tuple[Lap, ...]
    outcomes: tuple[Outcome, ...]
    score: Score | None
    findings: tuple[Finding, ...]


@dataclass(frozen=True, slots=True)
class Debrief:
    """All figures, laps, outcomes and findings of one recording.

    Attributes
    ----------
    receipt : Receipt
        How the log was read.
    inputs : Inputs
        What was given beside the log.
    rules : mapping or None
        ``id``, ``version``, ``sha256`` of the rule book.
    attempts, sorties, findings : tuple
        In the order of time.
    """

    receipt: Receipt
    inputs: Inputs
    rules: Mapping[str, str] | None
    attempts: tuple[Attempt, ...]
    sorties: tuple[SortieDebrief, ...]
    findings: tuple[Finding, ...]
