"""The first line of a debrief: one honest sentence."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from typing import Protocol

from flightlog.debriefing import Debrief
from flightlog.figures import FIGURES, LEVEL, Figure
from flightlog.findings import Finding
from flightlog.reports.figure_groups import FAULTS, faults
from flightlog.reports.numbers import digits, digits_beside, probability, span, with_unit
from flightlog.reports.plain import plain
from flightlog.rules.outcomes import WORST_FIRST, Bound, Outcome
from flightlog.uncertain import Quantity

_FIGURE = "takeoff.ground_roll"
_REASON_LIMIT = 300
ALARMS = ("autopilot-fault",)
"""Findings that spoil no figure and that nobody may miss."""
_FAULTS = 3
"""So many faults are named in the sentence."""
_BLINDING = ("no-position", "no-clock")
"""Findings after which a flight could not be seen."""
_SLUG = re.compile(r" \([a-z0-9-]+\)$")
"""The code behind the reason of a finding; the findings below show it. """


class Told(Protocol):
    """What is asked of a sortie, whether it was debriefed just now or long ago."""

    @property
    def figures(self) -> Mapping[str, Figure]:
        """Its figures by id."""

    @property
    def withheld(self) -> Mapping[str, str]:
        """Why others are missing."""

    @property
    def outcomes(self) -> Sequence[Outcome]:
        """Its limits, judged."""

    @property
    def findings(self) -> Sequence[Finding]:
        """What was found."""


def headline(debrief: Debrief) -> str:
    """Say in one sentence what the log shows of the take-off limit.

    It never says more than the outcome: what is not shown is called that, a number without a
    limit is called that, and other limits that are not met are counted in the same breath.
    """
    damaged = _damaged([*debrief.findings, *(f for s in debrief.sorties for f in s.findings)])
    if not debrief.sorties:
        return _no_flight(debrief) + damaged
    said = {s.sortie.number: _of_sortie(s) for s in debrief.sorties}
    if len(said) == 1:
        return f"{said[debrief.sorties[0].sortie.number]}.{damaged}"
    if not any(_judged_or_measured(s) for s in debrief.sorties):
        return f"{len(said)} sorties, none with a ground roll that can be measured." + damaged
    sentences = " ".join(f"Sortie {number}: {text}." for number, text in said.items())
    return sentences + damaged


def sortie_headline(sortie: Told, of_log: Iterable[Finding] = ()) -> str:
    """Say the same of one sortie by itself.

    Parameters
    ----------
    sortie : Told
        A sortie of a debrief, or one that was stored.
    of_log : iterable of Finding
        About its whole log.
    """
    return f"{_of_sortie(sortie)}.{_damaged([*of_log, *sortie.findings])}"


def _judged_or_measured(sortie: Told) -> bool:
    return _FIGURE in sortie.figures or bool(sortie.outcomes)


def _damaged(every: Sequence[Finding]) -> str:
    """Warn of faults of autopilot and airframe, and of holes in a file without checksums.

    What stands beside such holes may be wrong as well.
    """
    said = ""
    if any(f.code in ALARMS for f in every):
        said += " The file carries a crash report of the autopilot: see the findings first."
    if found := list(dict.fromkeys(FAULTS[f.code][1] for f in faults(every))):
        more = f" and {len(found) - _FAULTS} more" if len(found) > _FAULTS else ""
        said += f" To be inspected: {', '.join(found[:_FAULTS])}{more}; see the findings first."
    if any(f.code == "damaged-bytes" and "places" in f.evidence for f in every):
        said += " The file is damaged: see the findings first."
    return said


def _no_flight(debrief: Debrief) -> str:
    said = next((f for f in debrief.findings if f.code == "no-flight"), None)
    if debrief.attempts:
        fastest = max(a.peak_ground_speed_m_s for a in debrief.attempts)
        count = len(debrief.attempts)
        plural = "" if count == 1 else "s"
        return (
            f"No flight in this log: {count} attempt{plural}, fastest {digits(fastest, 1)} m/s; "
            "nothing left the ground."
        )
    if said is not None:
        reason = said.message.replace("Nothing in this log is", "nothing is")
        text = f"No flight in this log: {plain(reason, _REASON_LIMIT).rstrip('.')}."
        return text + _blind(debrief)
    return "No flight in this log."


def _blind(debrief: Debrief) -> str:
    """Warn where the log could not show a flight."""
    why = next((f for f in debrief.findings if f.severity == "stop" and f.code in _BLINDING), None)
    if why is None:
        return ""
    reason = plain(why.message, _REASON_LIMIT).rstrip(".")
    return f" It could not show one: {_lowered(reason)}."


def _lowered(text: str) -> str:
    """Begin a sentence as a part of one; names in capitals stay."""
    return text[:1].lower() + text[1:] if text[1:2].islower() or text[1:2] == " " else text


def _of_sortie(sortie: Told) -> str:
    judged = _chosen(sortie.outcomes)
    figure = sortie.figures.get(_FIGURE)
    if figure is None:
        reason = plain(sortie.withheld.get(_FIGURE, "it was not computed"), _REASON_LIMIT)
        reason = _SLUG.sub("", reason).rstrip(".")
        text = f"Ground roll withheld: {_lowered(reason)}"
        if judged is not None and judged.quantity is None:
            text += f"; the {_bound(judged.bound)} is not assessable"
        elif judged is not None:
            text += f"; {_own_definition(judged)}"
    elif judged is None:
        text = f"Ground roll {_number(figure.quantity)}: no limit was given for it"
    elif judged.definition is not None and judged.quantity is not None:
        text = f"Ground roll {_number(figure.quantity)}; {_own_definition(judged)}"
    else:
        text = f"Ground roll {_number(figure.quantity, judged.bound)}: {_verdict(judged)}"
    return text + _others([o for o in sortie.outcomes if o is not judged])


def _chosen(outcomes: Sequence[Outcome]) -> Outcome | None:
    """Pick the outcome that the sentence is about: a rule before an aircraft limit, the worst."""
    mine = [o for o in outcomes if o.figure == _FIGURE]
    order = sorted(mine, key=lambda o: (o.kind != "rule", WORST_FIRST.index(o.outcome)))
    return order[0] if order else None


def _number(quantity: Quantity, bound: Bound | None = None) -> str:
    decimals = FIGURES[_FIGURE].decimals
    value = digits(quantity.value, decimals)
    if bound is not None:
        value = digits_beside(quantity.value, bound.value, decimals)
    interval = span(quantity, decimals)
    return with_unit(value, quantity.unit) + (f" ({interval})" if interval else "")


def _bound(bound: Bound) -> str:
    return f"{with_unit(f'{bound.value:g}', bound.unit)} limit"


def _own_definition(outcome: Outcome) -> str:
    if outcome.quantity is None:
        return f"the {_bound(outcome.bound)} is not assessable"
    number = _number(outcome.quantity, outcome.bound)
    return f"by the limit's own definition {number}: {_verdict(outcome)}"


def _verdict(outcome: Outcome) -> str:
    text = f"the {_bound(outcome.bound)} is {outcome.outcome}"
    if outcome.outcome == "not assessable":
        return f"{text}: {plain(outcome.reason, _REASON_LIMIT).rstrip('.')}"
    if outcome.quantity is None or outcome.probability is None:
        return text
    low, high = outcome.quantity.interval(LEVEL)
    # Limits are judged one-sided, so the printed two-sided interval may reach over the bound
    # although the outcome is clear. The sentence then says how sure it is.
    if outcome.outcome == "not shown" or low <= outcome.bound.value <= high:
        chance = probability(outcome.probability, outcome.required_probability)
        text += f" (probability {chance}, {outcome.required_probability:g} required)"
    return text


def _others(outcomes: Sequence[Outcome]) -> str:
    """Count the other limits, unless all of them are met."""
    count: Counter[str] = Counter(o.outcome for o in outcomes)
    parts = [f"{count[word]} {word}" for word in WORST_FIRST[:-1] if count[word]]
    return f"; of the other limits {', '.join(parts)}" if parts else ""
