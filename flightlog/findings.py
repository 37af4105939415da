"""The dictionary of findings: what the reader must know before trusting a number.

A finding is an instance of a kind from `FINDINGS`. Its severity says what happens to the
figures that it affects: ``stop`` withholds them, ``degrade`` means that they were widened,
``note`` changes nothing. The message carries the numbers; the kind carries the rest.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from fnmatch import fnmatchcase
from types import MappingProxyType
from typing import Literal

Severity = Literal["stop", "degrade", "note"]


@dataclass(frozen=True, slots=True)
class FindingKind:
    """One kind of finding.

    Attributes
    ----------
    code : str
        The slug, one meaning for ever.
    severity : {"stop", "degrade", "note"}
        See the module's text.
    spoils : tuple of str
        Figure ids that it affects unless the detector narrows them; ``*`` matches any run.
    remedy : str
        What the user can do, now or before the next flight.
    """

    code: str
    severity: Severity
    spoils: tuple[str, ...]
    remedy: str


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing found in one recording.

    Attributes
    ----------
    code, severity, affects, remedy :
        As in `FindingKind`; ``affects`` holds patterns of figure ids.
    message : str
        One sentence with the numbers.
    evidence : mapping of str to number or text
        The same numbers for machines.
    start_s, end_s : float or None
        Where on the log's clock [s]; None when it concerns the whole file.
    """

    code: str
    severity: Severity
    message: str
    evidence: Mapping[str, float | int | str] = field(default_factory=dict)
    affects: tuple[str, ...] = ()
    remedy: str = ""
    start_s: float | None = None
    end_s: float | None = None


def _kind(code: str, severity: Severity, spoils: str, remedy: str) -> FindingKind:
    return FindingKind(code, severity, tuple(spoils.split()), remedy)


# A room adds its kinds here, in the block of its subject, before it raises them.
FINDINGS: MappingProxyType[str, FindingKind] = MappingProxyType(
    {
        k.code: k
        for k in (
            # --- the file
            _kind(
                "damaged-bytes",
                "note",
                "",
                "Check the card; copy the log from the aircraft again if it is still there.",
            ),
            _kind(
                "truncated",
                "note",
                "",
                "The file stops inside a record; copy it again, or check for a loss of power.",
            ),
            _kind("clock-restart", "note", "", "Look for a reset or a brown-out at that time."),
            _kind(
                "clock-backwards",
                "degrade",
                "",
                "Rows whose time ran backwards were dropped; check the logger.",
            ),
            _kind("log-gap", "degrade", "", "Figures that need this stretch say so."),
            _kind("several-systems", "note", "", "Check that the right system was chosen."),
            _kind("unknown-messages", "note", "", "They were skipped; nothing else was lost."),
            _kind(
                "contradicting-formats",
                "degrade",
                "",
                "The file declares one message type in two ways; the later one was refused.",
            ),
            # --- position
            _kind("no-position", "stop", "takeoff.* flight.* laps.* climb.gradient", "Log GPS."),
            _kind(
                "repeated-fixes",
                "note",
                "",
                "Set the logger to write each fix once; repeats were not counted as data.",
            ),
            # --- phases
            _kind("no-flight", "note", "", "Nothing in this log left the ground."),
        )
    }
)
"""Slug -> kind."""


def make_finding(
    code: str,
    message: str,
    *,
    evidence: Mapping[str, float | int | str] | None = None,
    affects: Iterable[str] | None = None,
    severity: Severity | None = None,
    remedy: str | None = None,
    start_s: float | None = None,
    end_s: float | None = None,
) -> Finding:
    """Make a finding of a known kind.

    Parameters
    ----------
    code : str
        Slug in `FINDINGS`.
    message : str
        One sentence with the numbers that were met.
    evidence : mapping, optional
        The numbers for machines.
    affects : iterable of str, optional
        Patterns of figure ids, narrower than the kind's own.
    severity, remedy : str, optional
        Where this instance is milder or more telling than its kind.
    start_s, end_s : float, optional
        Where on the log's clock. [s]

    Raises
    ------
    KeyError
        If the slug is not in the dictionary.
    """
    kind = FINDINGS[code]
    return Finding(
        code=code,
        severity=severity or kind.severity,
        message=message,
        evidence=dict(evidence or {}),
        affects=kind.spoils if affects is None else tuple(affects),
        remedy=kind.remedy if remedy is None else remedy,
        start_s=start_s,
        end_s=end_s,
    )


def affected(finding: Finding, figure_id: str) -> bool:
    """Whether the finding speaks about the figure."""
    return any(fnmatchcase(figure_id, pattern) for pattern in finding.affects)
