"""A ground test against an earlier one of the same thing: which one that is, and what moved.

The earlier test is the one that a person names, or else the first that counts of the same thing,
serial, part and configuration: the baseline. What was never the same is not compared.

For a structure a change is judged by `flightlog.groundtests.structure_change`; of everything else
the change is told with its uncertainty, and whether it is shown.
"""

from __future__ import annotations

import json
import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from fnmatch import fnmatchcase
from typing import Any, cast

from flightlog.errors import RefusedError, UsageError
from flightlog.findings import Finding
from flightlog.ground_figures import GROUND_FIGURES
from flightlog.ground_findings import ground_finding
from flightlog.groundtests.structure_change import (
    DAMPING,
    FREQUENCY,
    STIFFNESS,
    ChangeRule,
    Circumstance,
    Comparison,
    amplitudes,
    changes,
    masses,
)
from flightlog.logbook.entry import Entry
from flightlog.logbook.flying_kinds import GROUND_TEST
from flightlog.operations.desk import Desk
from flightlog.operations.ground_subject import GroundSubject, said_of
from flightlog.operations.ground_test import GroundTest
from flightlog.operations.positions import named
from flightlog.uncertain import NORMAL_95, Uncertain

_LARGEST = 1e100
"""What is larger was never measured, and its square is no number."""
LARGEST_RESULT = 20_000_000
"""Largest stored result that is read [bytes]."""
TESTERS: Mapping[str, tuple[str, ...]] = {
    "discharge": ("engineer", "mechanic", "battery"),
}
"""Kind of test -> roles in which a person makes it; the first that the person holds."""
_TESTERS = ("engineer", "mechanic")
FOUND = ("changed", "unclear", "shifted", "not comparable")
"""Verdicts that are findings."""
_CIRCUMSTANCES = (
    "ringdown.*.amplitude",
    "stiffness.greatest_*",
    "stiffness.load_share",
    "stiffness.deflection_share",
    "thrust.tare_drift",
    "discharge.rate",
)
"""Figures that say how a test was done; they are not compared, but ask for likeness."""
_LOAD, _LOAD_RATIO = "stiffness.greatest_load", 1.3
"""A structure may be stiffer or softer under another load."""
_ARM_RATIO = 1.01
"""A load that is moved by 1 % of its arm moves the stiffness by 3 %."""
_RULES: Mapping[str, ChangeRule] = {
    "ringdown.*.frequency": FREQUENCY,
    "ringdown.*.damping": DAMPING,
    "stiffness.stiffness": STIFFNESS,
}
"""Figures of a structure -> from when on a change of them matters."""


def testers(word: str) -> tuple[str, ...]:
    """Give the roles in which a person makes a test of some kind."""
    return TESTERS.get(word, _TESTERS)


@dataclass(frozen=True, slots=True)
class Moved:
    """One figure of two tests.

    Attributes
    ----------
    figure : str
        Key of `GROUND_FIGURES`.
    then : Uncertain
        By the earlier test.
    change : Uncertain or None
        This test less the earlier one, their errors taken as independent: what both share, such as
        the scale of the stand, makes it less sure here than it is. None where they can't be
        compared.
    verdict : str
        Of a structure as `structure_change.Change` has it; of others "shown" or "not shown".
    text : str
        One sentence with the numbers.
    """

    figure: str
    then: Uncertain
    change: Uncertain | None
    verdict: str
    text: str


@dataclass(frozen=True, slots=True)
class Against:
    """What a test says beside an earlier one.

    Attributes
    ----------
    entry : Entry
        The earlier test.
    when : datetime
        When it was made, as claimed (UTC).
    named : bool
        Whether a person named it; else it is the baseline.
    moved : tuple of Moved
        Figure by figure, as far as both have it.
    findings : tuple of Finding
        What has to be known of a structure.
    """

    entry: Entry
    when: datetime
    named: bool
    moved: tuple[Moved, ...]
    findings: tuple[Finding, ...]


# --- earlier tests


def counting_tests(
    desk: Desk, word: str = "", subject: GroundSubject | None = None
) -> tuple[Entry, ...]:
    """Give the ground tests that count, the oldest first.

    Parameters
    ----------
    desk : Desk
        The record.
    word : str
        Only of this kind.
    subject : GroundSubject, optional
        Only of the same thing, serial, part and configuration.

    Notes
    -----
    A test counts if somebody made it who holds a role for that, and if nobody corrected it.
    """
    ledger = desk.ledger
    found = [
        entry
        for entry in ledger.of(GROUND_TEST)
        if (not word or entry.body.content["test"] == word)
        and (subject is None or said_of(entry) == subject)
        and _is_made(desk, entry)
    ]
    return tuple(sorted(found, key=ledger.when))


def _is_made(desk: Desk, entry: Entry) -> bool:
    roles = testers(entry.body.content["test"])
    return any(desk.ledger.persons(entry, "performed", role) for role in roles)


def stored_result(desk: Desk, entry: Entry) -> dict[str, Any] | None:
    """Give the stored result of a ground test; None where it is missing, damaged or too large."""
    sha256 = entry.body.content["result"]
    key = ("ground", sha256)
    if key in desk.lasting:
        return cast(dict[str, Any], desk.lasting[key])
    store = desk.book.attachments
    kept = next((a for a in entry.body.attachments if a.sha256 == sha256), None)
    if kept is None or kept.size > LARGEST_RESULT or store.problem(kept) is not None:
        return None
    try:
        body = json.loads(store.path(sha256).read_text(encoding="utf-8"))
    except (OSError, ValueError, RecursionError):
        return None
    if not isinstance(body, dict) or not isinstance(body.get("figures"), dict):
        return None
    desk.lasting[key] = body
    return body


def quantity_of(body: object, unit: str) -> Uncertain | None:
    """Give a stored figure; None where it is none, or is in another unit."""
    if not isinstance(body, Mapping) or body.get("unit") != unit:
        return None
    try:
        value, low, high = (float(body[key]) for key in ("value", "low", "high"))
    except (KeyError, TypeError, ValueError, OverflowError):
        return None
    if not (abs(value) < _LARGEST and 0 <= high - low < _LARGEST):
        return None
    return Uncertain.of(value, (high - low) / (2 * NORMAL_95), unit, source="that test")


# --- comparing


def compared(
    desk: Desk,
    test: GroundTest,
    subject: GroundSubject,
    against: str | None = None,
    *,
    but: Entry | None = None,
) -> Against | None:
    """Put a test beside an earlier one of the same thing.

    Parameters
    ----------
    desk : Desk
        The record.
    test : GroundTest
        As it was reduced.
    subject : GroundSubject
        What was tested.
    against : str, optional
        The earlier test, like 12.H3MED; the baseline where it is left out.
    but : Entry, optional
        A test that is put right by this one, and so is no baseline of it.

    Returns
    -------
    Against or None
        None where there is no earlier test.

    Raises
    ------
    RefusedError
        If what is named is no ground test, is of another kind or thing, or rests on the same
        files.
    """
    if against is not None:
        entry = _meant(desk, test, subject, against)
    else:
        found_first = baseline_of(desk, test, subject, but=but)
        if found_first is None:
            return None
        entry = found_first
    when = desk.ledger.when(entry)
    stored = stored_result(desk, entry)
    if stored is None:
        if against is None:
            return Against(entry, when, False, (), (_damaged(entry),))
        raise UsageError(
            "its result is missing or damaged",
            where=named(entry),
            fix="Look for a second copy of the team folder.",
        )
    moved, found = _moved(test, stored)
    findings = tuple(replace(f, message=f"Against {named(entry)}: {f.message}") for f in found)
    return Against(entry, when, against is not None, moved, findings)


def baseline_of(
    desk: Desk, test: GroundTest, subject: GroundSubject, *, but: Entry | None = None
) -> Entry | None:
    """Give the first test that counts of the same thing, made before this one and apart from it.

    An entry with a file of this test is the same measurement: beside it nothing ever changes.
    What was entered after it is no baseline of it.
    """
    for entry in counting_tests(desk, test.kind.word, subject):
        if shares_files(entry, test):
            return None
        if but is None or entry.hash != but.hash:
            return entry
    return None


def shares_files(entry: Entry, test: GroundTest) -> bool:
    """Whether an entry rests on a file of a test, whatever its name and bench file."""
    own = {file.sha256 for file in test.files}
    return any(file["sha256"] in own for file in entry.body.content["files"])


def _damaged(entry: Entry) -> Finding:
    text = (
        f"Not compared with {named(entry)}: its stored result is missing or damaged; look for a "
        "second copy of the team folder."
    )
    return ground_finding("structure-not-compared", text)


def _meant(desk: Desk, test: GroundTest, subject: GroundSubject, against: str) -> Entry:
    entry = desk.book.find(against)
    if entry.body.kind != GROUND_TEST or entry.body.content["test"] != test.kind.word:
        raise RefusedError(
            f"is no ground test of the kind {test.kind.word}",
            where=f"--against {against[:40]}",
            fix="'flightlog groundtest history' names the tests.",
        )
    earlier = said_of(entry)
    exchanged = earlier.serial and subject.serial and earlier.serial != subject.serial
    of = (subject.thing, subject.id, subject.part)
    if exchanged or (earlier.thing, earlier.id, earlier.part) != of:
        raise RefusedError(
            f"is of {earlier.text}, and this one of {subject.text}",
            where=f"--against {against[:40]}",
            fix="Name a test of the same part of the same thing.",
        )
    if shares_files(entry, test):
        raise RefusedError(
            "rests on a file of this test, and so is the same measurement",
            where=f"--against {against[:40]}",
            fix="Name an earlier one, or leave --against out.",
        )
    return entry


def with_change(test: GroundTest, against: Against | None) -> GroundTest:
    """Give a test with the findings of its comparison; they change no figure."""
    if against is None or not against.findings:
        return test
    told = {(f.code, f.evidence.get("figure")) for f in against.findings}
    # A bench file may state an earlier test too: what both say alike is told once.
    own = (f for f in test.answer.findings if (f.code, f.evidence.get("figure")) not in told)
    findings = (*own, *against.findings)
    return replace(test, answer=replace(test.answer, findings=findings))


def _moved(
    test: GroundTest, stored: Mapping[str, Any]
) -> tuple[tuple[Moved, ...], tuple[Finding, ...]]:
    pairs: list[Comparison] = []
    others: list[Moved] = []
    for figure, then in _shared(test, stored):
        rule = next((r for pattern, r in _RULES.items() if fnmatchcase(figure, pattern)), None)
        now = test.answer.figures[figure].quantity
        if rule is not None:
            alike = _circumstances(test, stored, figure)
            pairs.append(Comparison(figure, now, then, rule, alike))
        else:
            others.append(_told(figure, now.value, now.std, then))
    judged, findings = changes(pairs)
    own = tuple(
        Moved(
            pair.figure,
            cast(Uncertain, pair.then),
            None
            if change.share is None
            else _less(pair.figure, pair.now.value, pair.now.std, cast(Uncertain, pair.then)),
            change.verdict,
            change.text,
        )
        for pair, change in zip(pairs, judged, strict=True)
    )
    return (*own, *others), (*findings, *_other_modes(test, stored))


def _shared(test: GroundTest, stored: Mapping[str, Any]) -> Iterator[tuple[str, Uncertain]]:
    for id_ in test.answer.figures:
        then = quantity_of(stored["figures"].get(id_), GROUND_FIGURES[id_].unit)
        now = test.answer.figures[id_].quantity
        if then is None or not all(abs(n) < _LARGEST for n in (now.value, now.std)):
            continue
        if not any(fnmatchcase(id_, p) for p in _CIRCUMSTANCES):
            yield id_, then


def _less(figure: str, value: float, std: float, then: Uncertain) -> Uncertain:
    return Uncertain.of(
        value - then.value,
        math.hypot(std, then.std),
        GROUND_FIGURES[figure].unit,
        source="both tests",
    )


def _told(figure: str, value: float, std: float, then: Uncertain) -> Moved:
    kind = GROUND_FIGURES[figure]
    change = _less(figure, value, std, then)
    shown = abs(change.value) > NORMAL_95 * change.std
    verb = "rose" if change.value > 0 else "fell"
    half = NORMAL_95 * change.std
    unit = f" {kind.unit}" if kind.unit else ""
    numbers = f"from {then.value:.{kind.decimals}f} to {value:.{kind.decimals}f}{unit}"
    places = kind.decimals + 1
    text = f"{kind.label}: {verb} by {abs(change.value):.{places}f} ± {half:.{places}f} (95 %), "
    text += f"{numbers}" if shown else f"{numbers}: no change is shown"
    return Moved(figure, then, change, "shown" if shown else "not shown", f"{text}.")


def _circumstances(
    test: GroundTest, stored: Mapping[str, Any], figure: str
) -> Sequence[Circumstance]:
    setup = test.bench.setup if test.bench is not None else {}
    bench = stored.get("bench")
    earlier = bench.get("setup") if isinstance(bench, Mapping) else None
    earlier = earlier if isinstance(earlier, Mapping) else {}
    key = "mass_kg" if test.kind.word == "ringdown" else "length_m"
    now, then = _number(setup.get(key)), _number(earlier.get(key))
    if key == "length_m":
        there = quantity_of(stored["figures"].get(_LOAD), "N")
        before = there.value if there else None
        return [
            Circumstance("place of the load", now, then, _ARM_RATIO),
            Circumstance("greatest load", _size(test, _LOAD), before, _LOAD_RATIO),
        ]
    found = [masses(now, then)]
    if figure.endswith(".damping"):
        id_ = figure.replace(".damping", ".amplitude")
        there = quantity_of(stored["figures"].get(id_), "mm")
        found.append(amplitudes(_size(test, id_), there.value if there else None))
    return found


def _size(test: GroundTest, id_: str) -> float | None:
    figure = test.answer.figures.get(id_)
    return figure.quantity.value if figure is not None else None


def _number(value: object) -> float | None:
    return float(value) if isinstance(value, int | float) else None


def _other_modes(test: GroundTest, stored: Mapping[str, Any]) -> tuple[Finding, ...]:
    """Say where two ring-downs show not as many oscillations: names then mean other ones."""
    ids = "ringdown.*.frequency"
    now = [f for f in test.answer.figures if fnmatchcase(f, ids)]
    then = [f for f in stored["figures"] if fnmatchcase(f, ids)]
    if test.kind.word != "ringdown" or len(now) == len(then):
        return ()
    text = (
        f"This test shows {len(now)} oscillations, the earlier one {len(then)}: first and second "
        "may not be the same ones in both."
    )
    return (ground_finding("structure-not-compared", text),)
