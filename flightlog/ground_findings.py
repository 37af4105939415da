"""The dictionary of findings of ground tests: what to know before trusting a number.

Kinds and severities are those of `flightlog.findings`.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from types import MappingProxyType

from flightlog.findings import Finding, FindingKind, Severity


def _kind(code: str, severity: Severity, spoils: str, remedy: str) -> FindingKind:
    return FindingKind(code, severity, tuple(spoils.split()), remedy)


# A test adds its kinds here, in the block of its subject, before it raises them.
GROUND_FINDINGS: MappingProxyType[str, FindingKind] = MappingProxyType(
    {
        k.code: k
        for k in (
            # --- the file
            _kind(
                "cells-unreadable",
                "degrade",
                "",
                "Cells that hold no number were left out; look at the lines that are named.",
            ),
            _kind(
                "time-not-monotonic",
                "note",
                "",
                "The time of the file goes back, so that rows were taken in the order of the file; "
                "say in the bench file what the column is.",
            ),
            _kind(
                "columns-guessed",
                "note",
                "",
                "Columns were recognised by their headers; a bench file states them.",
            ),
            # --- thrust: thrust stand
            # --- discharge: discharge of a pack
            # --- ringdown: ring-down of a wing or tail
            # --- video: a picture of the wing tip
            # --- stiffness: static deflection under load
            # --- weighing: aircraft on scales
            # --- linkage: servo and linkage
            # --- baseline: against an earlier test
        )
    }
)
"""Slug -> kind."""


def ground_finding(
    code: str,
    message: str,
    *,
    evidence: Mapping[str, float | int | str] | None = None,
    affects: Iterable[str] | None = None,
    severity: Severity | None = None,
    start_s: float | None = None,
    end_s: float | None = None,
    widen: float = 0.0,
) -> Finding:
    """Make a finding of a known kind.

    Parameters
    ----------
    code : str
        Slug in `GROUND_FINDINGS`.
    message : str
        One sentence with the numbers that were met.
    evidence : mapping, optional
        The numbers for machines.
    affects : iterable of str, optional
        Patterns of figure ids, narrower than the kind's own.
    severity : str, optional
        Where this instance is milder than its kind.
    start_s, end_s : float, optional
        Where in the file, by its own clock. [s]
    widen : float, optional
        Share of the value that is added to the standard uncertainty of what it affects. [-]

    Raises
    ------
    KeyError
        If the code is not in the dictionary.
    """
    kind = GROUND_FINDINGS[code]
    return Finding(
        code=code,
        severity=severity or kind.severity,
        message=message,
        evidence=dict(evidence or {}),
        affects=tuple(kind.spoils if affects is None else affects),
        remedy=kind.remedy,
        start_s=start_s,
        end_s=end_s,
        widen=widen,
    )
