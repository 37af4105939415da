"""A ground test goes into the record: its files, its bench file and its result, under one entry.

First every file is on the disk under its hash, then one entry names them. After it come the events
that the result shows, entered by the device: so what a test stops is stopped as soon as the test is
in the record, and two persons return it.
"""

from __future__ import annotations

import io
import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from fnmatch import fnmatchcase
from pathlib import Path
from typing import Any

from flightlog.errors import LogFileError, RefusedError
from flightlog.ground_figures import GROUND_FIGURES, GROUND_VERSION
from flightlog.groundtests.answer import GroundFigure
from flightlog.logbook.book import Draft
from flightlog.logbook.canonical import quantity
from flightlog.logbook.entry import (
    CITES,
    CORRECTS,
    MOST_ATTACHMENT_BYTES,
    Attachment,
    Entry,
    Relation,
    Signer,
)
from flightlog.logbook.flying_kinds import EVENT, GROUND_TEST, MOST_GROUND_FIGURES
from flightlog.operations.desk import Desk
from flightlog.operations.events import PACK_LIMIT, STRUCTURE_CHANGED, SURFACE_PLAY
from flightlog.operations.ground_baseline import (
    Against,
    compared,
    shares_files,
    stored_result,
    with_change,
)
from flightlog.operations.ground_json import ground_text
from flightlog.operations.ground_subject import GroundSubject, said_of, subject_of
from flightlog.operations.ground_test import GroundTest, TestedFile
from flightlog.operations.positions import named
from flightlog.operations.service import note_event

RESULT_NAME = "ground-test.json"
BY_THE_TEST = "By the ground test, "
"""How the text of an event begins that a test shows."""
_SHOWN_BY_LIMIT: Mapping[str, str] = {
    "ringdown.*.frequency": STRUCTURE_CHANGED,
    "ringdown.*.damping": STRUCTURE_CHANGED,
    "stiffness.stiffness": STRUCTURE_CHANGED,
    "stiffness.bending": STRUCTURE_CHANGED,
    "stiffness.set": STRUCTURE_CHANGED,
    "stiffness.tip_frequency": STRUCTURE_CHANGED,
    "stiffness.deflection_share": STRUCTURE_CHANGED,
    "linkage.*.play": SURFACE_PLAY,
    "linkage.*.hysteresis": SURFACE_PLAY,
    "discharge.*": PACK_LIMIT,
}
"""Figures whose limit in the bench file was not met -> the event that it is."""
_SHOWN_BY_FINDING: Mapping[str, str] = {"structure-changed": STRUCTURE_CHANGED}
_DIGITS = 6
_LARGEST, _SMALLEST = 1e15, 1e-12
_LONGEST = 600


@dataclass(frozen=True, slots=True)
class Prepared:
    """A test that is about to be entered.

    Attributes
    ----------
    test : GroundTest
        With the findings of the comparison.
    subject : GroundSubject
        What was tested.
    against : Against or None
        The earlier test that it was compared with.
    corrects : Entry or None
        The test that it puts right.
    """

    test: GroundTest
    subject: GroundSubject
    against: Against | None
    corrects: Entry | None = None


def prepared(
    desk: Desk,
    test: GroundTest,
    told: Mapping[str, str] | None = None,
    *,
    against: str | None = None,
    corrects: Entry | None = None,
) -> Prepared:
    """Find what a test is of, and put it beside an earlier one; nothing is written.

    Parameters
    ----------
    desk : Desk
        The record.
    test : GroundTest
        As it was reduced.
    told : mapping of str to str, optional
        "aircraft", "pack" or "component" -> id, where the bench file does not say it.
    against : str, optional
        The earlier test, like 12.H3MED; the baseline where it is left out.
    corrects : Entry, optional
        An earlier ground test that this one puts right.

    Raises
    ------
    UsageError
        If it can't be told what was tested, or the record holds no file of it.
    RefusedError
        If ``against`` or ``corrects`` is of another kind or thing.
    """
    subject = subject_of(desk, test, told)
    if corrects is not None and corrects.body.content["test"] != test.kind.word:
        raise RefusedError(
            f"is a test of the kind {corrects.body.content['test']}",
            where=named(corrects),
            fix="Name a test of the same kind.",
        )
    beside = compared(desk, test, subject, against, but=corrects)
    return Prepared(with_change(test, beside), subject, beside, corrects)


def entered_before(desk: Desk, made: Prepared) -> Entry | None:
    """Give the entry of a test of the same thing that has the same files and the same bench file.

    One that was corrected is none.
    """
    test = made.test
    hashes = {file.sha256 for file in test.files}
    bench = test.bench.sha256 if test.bench is not None else None
    for entry in desk.ledger.of(GROUND_TEST, test=test.kind.word):
        said = entry.body.content
        same = {file["sha256"] for file in said["files"]} == hashes
        if same and said.get("bench") == bench and said_of(entry) == made.subject:
            return entry
    return None


def ground_draft(desk: Desk, made: Prepared, signers: Sequence[Signer], text: str = "") -> Draft:
    """Keep the files of a test, and draft its entry.

    Parameters
    ----------
    desk : Desk
        The record.
    made : Prepared
        What is entered.
    signers : sequence of Signer
        Who made it ("performed", in a role of `ground_baseline.testers`), and who looked afresh
        ("inspected").
    text : str, optional
        What is to be said beside it.

    Raises
    ------
    LogFileError
        If a file is no longer what was reduced.
    RefusedError
        If a file stands in the record already as a test of the same part, and this one does not
        put that one right: one measurement would count as two.
    UsageError, NotWritableError
        If a file can't be kept.
    """
    test = made.test
    _check_measured_once(desk, made)
    large = too_large(test)
    for file in large:
        _check_unchanged(file.path, _hash_of(file.path), file.sha256)
    attachments = [_kept(desk, f.path, f.sha256) for f in test.files if f not in large]
    if test.bench is not None:
        attachments.append(_kept(desk, test.bench.path, test.bench.sha256))
    data = (ground_text(test, made.against) + "\n").encode("utf-8")
    result = desk.book.attachments.put(io.BytesIO(data), RESULT_NAME)
    unlike = {a.sha256: a for a in (*attachments, result)}
    relations = [Relation(CITES, made.against.entry.hash)] if made.against is not None else []
    if made.corrects is not None:
        relations.append(Relation(CORRECTS, made.corrects.hash))
    return Draft(
        GROUND_TEST,
        _content(made, result, text),
        list(signers),
        list(unlike.values()),
        relations,
    )


def too_large(test: GroundTest) -> tuple[TestedFile, ...]:
    """Give the files that a record does not hold, as long videos: it names them by their hash.

    Raises
    ------
    LogFileError
        If one can't be read.
    """
    return tuple(file for file in test.files if _size(file.path) > MOST_ATTACHMENT_BYTES)


def _size(path: Path) -> int:
    try:
        return path.stat().st_size
    except OSError as error:
        raise LogFileError(
            f"can't be read ({error.strerror})", where=path.name, fix="Leave it where it was."
        ) from error


def _hash_of(path: Path) -> str:
    from flightlog.importers.common import sha256_of_file

    return sha256_of_file(path)


def _check_measured_once(desk: Desk, made: Prepared) -> None:
    subject = made.subject
    for entry in desk.ledger.of(GROUND_TEST, test=made.test.kind.word):
        other = said_of(entry)
        same = (other.thing, other.id, other.part) == (subject.thing, subject.id, subject.part)
        corrected = made.corrects is not None and made.corrects.hash == entry.hash
        if same and not corrected and shares_files(entry, made.test):
            raise RefusedError(
                "holds a file of this test already: one measurement would count as two",
                where=named(entry),
                fix=f"Put that one right: enter this one with '--corrects {named(entry)}'.",
            )


def _kept(desk: Desk, path: Path, sha256: str) -> Attachment:
    kept = desk.book.attach(path, _name(path))
    _check_unchanged(path, kept.sha256, sha256)
    return kept


def _name(path: Path) -> str:
    return path.name.encode("utf-8", "replace").decode("utf-8")[:255]


def _check_unchanged(path: Path, now: str, then: str) -> None:
    if now != then:
        raise LogFileError(
            "the file changed while it was read",
            where=path.name,
            fix="Let the device finish writing it, then reduce it again.",
        )


def _content(made: Prepared, result: Attachment, text: str) -> dict[str, Any]:
    test, subject = made.test, made.subject
    bench = test.bench
    files = {f.sha256: {"file": _name(f.path), "sha256": f.sha256} for f in test.files}
    content: dict[str, Any] = {
        "test": test.kind.word,
        subject.thing: subject.id,
        "files": list(files.values()),
        "result": result.sha256,
        "reductions": GROUND_VERSION,
        "figures": _figures(test),
        "limits": [
            {"limit": outcome.limit, "outcome": outcome.outcome.replace(" ", "-")}
            for outcome in test.outcomes[:MOST_GROUND_FIGURES]
        ],
    }
    told = {
        "serial": subject.serial,
        "part": subject.part,
        "configuration": subject.configuration,
        "instrument": bench.instrument[:200] if bench is not None else "",
        "bench": bench.sha256 if bench is not None else "",
        "text": text,
    }
    return content | {key: value for key, value in told.items() if value}


def _figures(test: GroundTest) -> list[dict[str, Any]]:
    """Give the figures as decimal texts, so that a signature holds their digits."""
    found = (_record(figure) for figure in test.answer.figures.values())
    return [record for record in found if record is not None][:MOST_GROUND_FIGURES]


def _record(figure: GroundFigure) -> dict[str, Any] | None:
    unit = GROUND_FIGURES[figure.id].unit
    numbers = (figure.quantity.value, *figure.quantity.interval(0.95))
    texts = [_decimal(number) for number in numbers]
    if None in texts:
        return None  # no decimal text of a record's length; the result has it
    value, low, high = (quantity(text or "0", unit) for text in texts)
    return {"figure": figure.id, "value": value, "low": low, "high": high}


def _decimal(number: float) -> str | None:
    if not math.isfinite(number) or abs(number) > _LARGEST:
        return None
    return f"{Decimal(f'{number:.{_DIGITS}g}'):f}" if abs(number) > _SMALLEST else "0"


# --- what the result shows


@dataclass(frozen=True, slots=True)
class ShownEvent:
    """An event that a test shows, and its text."""

    word: str
    text: str


def events_shown(stored: Mapping[str, Any]) -> Iterator[ShownEvent]:
    """Give the events that a stored result shows, each once, with all that shows it."""
    texts: dict[str, list[str]] = {}
    for finding in _objects(stored.get("findings")):
        word = _SHOWN_BY_FINDING.get(str(finding.get("code")))
        if word:
            texts.setdefault(word, []).append(str(finding.get("message")).rstrip("."))
    for outcome in _objects(stored.get("outcomes")):
        figure = str(outcome.get("figure"))
        word = next((w for p, w in _SHOWN_BY_LIMIT.items() if fnmatchcase(figure, p)), None)
        if word and outcome.get("outcome") == "not met":
            texts.setdefault(word, []).append(f"{figure} {_beyond(outcome)}")
    for word, told in texts.items():
        yield ShownEvent(word, "; ".join(told)[:_LONGEST])


def _objects(value: object) -> list[Mapping[str, Any]]:
    """Give the objects of a list that may be anything: a result is read as it lies there."""
    return [v for v in value if isinstance(v, Mapping)] if isinstance(value, list) else []


def _beyond(outcome: Mapping[str, Any]) -> str:
    try:
        bound, unit = outcome["bound"], outcome["unit"]
        limit = f"{bound['op']} {float(bound['value']):.4g} {unit}".rstrip()
        return f"was {float(outcome['value']):.4g} {unit}".rstrip() + f", the limit is {limit}"
    except (KeyError, TypeError, ValueError):
        return "did not meet its limit"


def note_ground_events(desk: Desk, entry: Entry) -> tuple[Entry, ...]:
    """Enter the events that a ground test shows and that were not entered from it before.

    Parameters
    ----------
    desk : Desk
        The team's.
    entry : Entry
        The test.

    Returns
    -------
    tuple of Entry
        What was added.
    """
    stored = stored_result(desk, entry)
    if stored is None:
        return ()
    subject = said_of(entry)
    there = {e.body.content["event"] for e in desk.ledger.naming(entry, CITES, EVENT)}
    return tuple(
        note_event(
            desk,
            shown.word,
            **{subject.thing: subject.id},
            text=f"{BY_THE_TEST}{named(entry)}: {shown.text}",
            cites=[entry],
        )
        for shown in tuple(events_shown(stored))
        if shown.word not in there
    )
