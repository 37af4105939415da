"""Whether a structure is still what it was: a test against an earlier one of the same part.

A change asks for an inspection where it is *shown* and *large*. A test can be so precise that it
shows 0.2 %, which a warm day or another battery explains; and so rough that 8 % means nothing. So
two things are asked: whether the change is beyond the limit for its figure, with the uncertainty of
both tests; and, below it, whether it is beyond three standard uncertainties, which is no damage but
has a cause that should be known.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Literal

from flightlog.findings import Finding
from flightlog.ground_figures import GROUND_FIGURES
from flightlog.ground_findings import ground_finding
from flightlog.uncertain import NORMAL_95, Quantity

Verdict = Literal["changed", "unclear", "shifted", "same", "not comparable"]

_FINDING_OF: dict[Verdict, str] = {
    "changed": "structure-changed",
    "unclear": "structure-change-unclear",
    "shifted": "structure-shifted",
    "not comparable": "structure-not-compared",
}


@dataclass(frozen=True, slots=True)
class ChangeRule:
    """From when on a change of a figure matters.

    Attributes
    ----------
    limit_share : float
        Of the earlier value; a larger change asks for an inspection. [-]
    notable_stds : float
        Standard uncertainties of the change beyond which a smaller one is told, too. [-]
    looks_at : str
        What explains a small change, in words.
    """

    limit_share: float
    notable_stds: float = 3.0
    looks_at: str = "mass, temperature and supports"


FREQUENCY = ChangeRule(0.05)
"""Natural frequencies: the usual limit of repeated vibration tests."""
DAMPING = ChangeRule(0.5, looks_at="amplitude, joints, supports and cables")
"""Damping ratios, at the same amplitude: they scatter by tens of percent."""
STIFFNESS = ChangeRule(0.1, looks_at="temperature, supports and the place of the load")
"""Stiffness goes with the square of the frequency, so that 5 % there are 10 % here."""


@dataclass(frozen=True, slots=True)
class Circumstance:
    """What has to be alike in two tests before a figure of them is compared.

    Attributes
    ----------
    name : str
        "amplitude", "mass".
    now, then : float or None
        In the same unit; None where a test does not say, which hinders no comparison but is told.
    within_ratio : float
        How far apart they may be, as a ratio above 1. [-]
    """

    name: str
    now: float | None
    then: float | None
    within_ratio: float

    @property
    def alike(self) -> bool | None:
        """Whether it is; None where that is not known."""
        if self.now is None or self.then is None or not (self.now > 0 and self.then > 0):
            return None
        return max(self.now, self.then) <= self.within_ratio * min(self.now, self.then)


def amplitudes(now: float | None, then: float | None) -> Circumstance:
    """Compare amplitudes: damping rises with them, and a factor of two can be tens of percent."""
    return Circumstance("amplitude", now, then, 1.5)


def masses(now: float | None, then: float | None) -> Circumstance:
    """Compare masses: 2 % of the mass are 1 % of the frequency."""
    return Circumstance("mass", now, then, 1.02)


@dataclass(frozen=True, slots=True)
class Comparison:
    """A figure of two tests.

    Attributes
    ----------
    figure : str
        Key of `GROUND_FIGURES`.
    now, then : Quantity
        Of the test and of the earlier one, in the unit of the figure. Their errors are taken as
        independent: sources of two tests that have the same name are not the same error.
    rule : ChangeRule
        From when on a change matters.
    circumstances : sequence of Circumstance
        What has to be alike.
    """

    figure: str
    now: Quantity
    then: Quantity
    rule: ChangeRule
    circumstances: Sequence[Circumstance] = ()


@dataclass(frozen=True, slots=True)
class Change:
    """What a comparison says.

    Attributes
    ----------
    figure : str
        Key of `GROUND_FIGURES`.
    share, share_std : float or None
        Change over the earlier value, and its standard uncertainty; None without comparison. [-]
    verdict : str
        "changed": beyond the limit, and beyond chance. "unclear": the tests can't say on which
        side of the limit. "shifted": below the limit, but more than the tests' uncertainty
        explains. "same": below the limit, and nothing shown. "not comparable": done differently.
    text : str
        One sentence with the numbers.
    """

    figure: str
    share: float | None
    share_std: float | None
    verdict: Verdict
    text: str


def changes(comparisons: Iterable[Comparison]) -> tuple[tuple[Change, ...], tuple[Finding, ...]]:
    """Compare figures of two tests, and raise what has to be known.

    Returns
    -------
    changes, findings : tuple, tuple
        One change for each comparison; findings for all but "same". They change no figure.
    """
    made = tuple(_change(each) for each in comparisons)
    findings = tuple(
        ground_finding(
            _FINDING_OF[change.verdict],
            change.text,
            evidence={
                "figure": change.figure,
                **({} if change.share is None else {"change_share": change.share}),
                **({} if change.share_std is None else {"change_share_std": change.share_std}),
            },
        )
        for change in made
        if change.verdict in _FINDING_OF
    )
    return made, findings


def _change(pair: Comparison) -> Change:
    kind = GROUND_FIGURES[pair.figure]
    unlike = [c for c in pair.circumstances if c.alike is False]
    if unlike:
        told = "; ".join(f"{c.name} {c.now:.3g} now, {c.then:.3g} then" for c in unlike)
        text = (
            f"{kind.label}: not compared with the earlier test, which was done differently: {told}."
        )
        return Change(pair.figure, None, None, "not comparable", text)
    now, then = pair.now.value, pair.then.value
    if not (math.isfinite(now) and math.isfinite(then) and then > 0):
        text = f"{kind.label}: the earlier test gave {then:.3g} {kind.unit}, which is no base."
        return Change(pair.figure, None, None, "not comparable", text)
    share = now / then - 1
    std = math.hypot(pair.now.std, now / then * pair.then.std) / then
    verdict = _verdict(share, std, pair.rule)
    return Change(pair.figure, share, std, verdict, _text(pair, share, std, verdict))


def _verdict(share: float, std: float, rule: ChangeRule) -> Verdict:
    half = NORMAL_95 * std
    if abs(share) > rule.limit_share and abs(share) > half:
        return "changed"
    if abs(share) + half > rule.limit_share:
        return "unclear"
    return "shifted" if abs(share) > rule.notable_stds * std else "same"


def _text(pair: Comparison, share: float, std: float, verdict: Verdict) -> str:
    kind, rule = GROUND_FIGURES[pair.figure], pair.rule
    limit = f"{100 * rule.limit_share:.3g} %"
    moved = f"{kind.label}: {'fell' if share < 0 else 'rose'} by {_percent(abs(share), std)} (95 %)"
    now, then = (f"{q.value:.4g}" for q in (pair.now, pair.then))
    ends = {
        "changed": f"beyond the limit of {limit}: inspect the structure before it flies",
        "unclear": f"it may be beyond the limit of {limit}, or not: test again, with more repeats",
        "shifted": f"within the limit of {limit}, but more than the tests' uncertainty explains: "
        f"look at {rule.looks_at}",
        "same": f"within the limit of {limit}, and no change is shown",
    }
    silent = [c.name for c in pair.circumstances if c.alike is None]
    aside = f"; that both had the same {' and '.join(silent)} is not known" if silent else ""
    return f"{moved}, from {then} to {now} {kind.unit}: {ends[verdict]}{aside}."


def _percent(share: float, std: float) -> str:
    half = 100 * NORMAL_95 * std
    decimals = 2 if half < 0.1 else 1 if half < 10 else 0
    return f"{100 * share:.{decimals}f} % ± {half:.{decimals}f} %"
