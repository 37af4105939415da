"""A ground test beside the record: compared with an earlier one, entered, and what follows."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from flightlog.cli.console import out
from flightlog.cli.entering import enter, enter_all, hands_of
from flightlog.cli.measuring import corrected, signer_of
from flightlog.cli.signing import given_text, say_added
from flightlog.errors import UsageError

if TYPE_CHECKING:
    from flightlog.logbook.book import Draft
    from flightlog.logbook.entry import Entry, Signer
    from flightlog.operations.desk import Desk
    from flightlog.operations.ground_entry import Prepared
    from flightlog.operations.ground_test import GroundTest

INSPECTORS = ("inspector",)


@dataclass(frozen=True, slots=True)
class Asked:
    """What was asked of the record, besides the reduction.

    Attributes
    ----------
    by : sequence of str
        Who made the test and signs; nobody where it is only looked at.
    inspected_by, text, against, corrects : str or None
        As the options have them.
    about : dict
        "aircraft", "pack", "component" -> id or None.
    team : Path or None
        The team folder.
    keys, passphrase_fd : sequence of Path, int or None
        How keys are unlocked.
    """

    by: Sequence[str]
    inspected_by: str | None
    text: str | None
    against: str | None
    corrects: str | None
    about: dict[str, str | None]
    team: Path | None
    keys: Sequence[Path] | None
    passphrase_fd: int | None

    @property
    def of_record(self) -> bool:
        """Whether the record is needed."""
        return bool(self.by or self.team or self.against or any(self.about.values()))

    def check(self, *, as_json: bool) -> None:
        """Refuse options that say nothing together.

        Raises
        ------
        UsageError
            For each of them.
        """
        if self.by and as_json:
            raise UsageError(
                "does not go with --by",
                where="--json",
                fix="Enter the test first; its JSON is attached to the entry.",
            )
        if not self.by:
            for option in ("inspected_by", "text", "corrects"):
                if getattr(self, option) is not None:
                    raise UsageError(
                        "says something of an entry, and nobody signs one",
                        where=f"--{option.replace('_', '-')}",
                        fix="Give --by WHO, or leave it out.",
                    )


def prepared_of(desk: Desk, test: GroundTest, asked: Asked) -> Prepared:
    """Find what was tested and put it beside an earlier test."""
    from flightlog.operations.ground_entry import prepared

    told = {thing: given_text(id_, f"--{thing}") for thing, id_ in asked.about.items()}
    earlier = corrected(desk, asked.corrects, "ground-test")
    return prepared(desk, test, told, against=asked.against, corrects=earlier)


def entered(desk: Desk, made: Prepared, asked: Asked) -> Entry:
    """Have a test signed, add it, and enter what it shows.

    A test that is in the record already is not entered again; what an interruption left out is.
    """
    from flightlog.operations.ground_entry import entered_before, note_ground_events
    from flightlog.operations.positions import named

    known = entered_before(desk, made) if made.corrects is None else None
    if known is not None:
        out().line(f"These files are in the record already: {named(known)}.")
        _late_weighing(desk, made, asked, known)
    entry = known or _signed(desk, made, asked)
    for event in note_ground_events(desk, entry):
        say_added(event)
        _say_event(desk, made, event)
    return entry


def _signed(desk: Desk, made: Prepared, asked: Asked) -> Entry:
    from flightlog.logbook.flying_kinds import GROUND_TEST
    from flightlog.operations.ground_entry import ground_draft, too_large
    from flightlog.operations.ground_weighing import weighing_of_test

    signers = _signers(desk, made.test.kind.word, asked)
    drafts: list[Callable[[], Draft]] = []
    draft = ground_draft(desk, made, signers, given_text(asked.text, "--text"))
    drafts.append(lambda: draft)
    # Drafted before anything is signed, so that what can't be is refused in time.
    weighing = weighing_of_test(desk, made, signers)

    def weighed() -> Draft:
        test = desk.ledger.last(GROUND_TEST, result=draft.content["result"])
        return weighing_of_test(desk, made, signers, test) or draft

    if weighing is not None:
        drafts.append(weighed)
    entry = enter_all(desk, drafts, hands_of(desk, asked.keys, asked.passphrase_fd))[0]
    for file in too_large(made.test):
        out().line(f"  {file.name} is too large for the record, which names its hash: keep it.")
    _say_outdated(desk, made)
    return entry


def _say_outdated(desk: Desk, made: Prepared) -> None:
    """Say that load sheets still start from a weighing whose test was put right."""
    from flightlog.operations.ground_weighing import outdated_weighing
    from flightlog.operations.positions import named

    weighing = outdated_weighing(desk, made)
    if weighing is not None:
        out().line(
            f"  The weighing {named(weighing)} rests on the test that was put right, and load "
            f"sheets still start from it: 'flightlog balance weigh ... --corrects "
            f"{named(weighing)}'."
        )


def _late_weighing(desk: Desk, made: Prepared, asked: Asked, entry: Entry) -> None:
    """Enter the weighing that an interruption left out."""
    from flightlog.logbook.entry import CITES
    from flightlog.logbook.flying_kinds import WEIGHING
    from flightlog.operations.ground_weighing import weighing_of_test

    if desk.ledger.naming(entry, CITES, WEIGHING):
        return
    signers = _signers(desk, made.test.kind.word, asked)
    draft = weighing_of_test(desk, made, signers, entry)
    if draft is not None:
        enter(desk, draft, hands_of(desk, asked.keys, asked.passphrase_fd))


def _say_event(desk: Desk, made: Prepared, event: Entry) -> None:
    from flightlog.operations.events import EVENTS
    from flightlog.operations.service import to_clear

    kind = EVENTS[event.body.content["event"]]
    out().line(f"  {kind.label}: {event.body.content['text']}")
    if kind.grounds:
        out().line(f"  OUT OF SERVICE: {made.subject.text}. {to_clear(desk, event)}")


def _signers(desk: Desk, word: str, asked: Asked) -> list[Signer]:
    from flightlog.operations.ground_baseline import testers

    signers = [signer_of(desk, who, "performed", testers(word)) for who in asked.by]
    if asked.inspected_by is not None:
        for who in asked.by:
            looked = signer_of(desk, asked.inspected_by, "inspected", INSPECTORS, but=who)
        signers.append(looked)
    return signers
