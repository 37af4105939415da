"""A weighing on the bench is the weighing that load sheets start from, where its file says so.

It has to say so: a weighing with payload is none of the empty aircraft, and looks the same.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from decimal import Decimal

from flightlog.groundtests.scales import WeighingDetail
from flightlog.logbook.book import Draft
from flightlog.logbook.entry import CITES, Entry, Relation, Signer
from flightlog.logbook.flying_kinds import WEIGHING
from flightlog.operations.desk import Desk
from flightlog.operations.ground_entry import Prepared
from flightlog.operations.positions import named
from flightlog.operations.weighing import weighing_draft
from flightlog.team.ledger import AIRCRAFT

_DECIMALS = 6
_LONGEST_STATE, _LONGEST_NAME = 200, 40


def is_of_empty(made: Prepared) -> bool:
    """Whether a test is a weighing of the empty aircraft, by its bench file."""
    bench = made.test.bench
    return (
        bench is not None
        and bool(bench.setup.get("empty"))
        and isinstance(made.test.answer.detail, WeighingDetail)
        and "weighing.mass" in made.test.answer.figures
    )


def weighing_of_test(
    desk: Desk, made: Prepared, signers: Sequence[Signer], entry: Entry | None = None
) -> Draft | None:
    """Draft the weighing of the empty aircraft that a test is.

    Parameters
    ----------
    desk : Desk
        The record.
    made : Prepared
        The test.
    signers : sequence of Signer
        As of the test.
    entry : Entry, optional
        The test, which it cites; None only to see whether it can be drafted.

    Returns
    -------
    Draft or None
        None where it is none of the empty aircraft.

    Raises
    ------
    UsageError
        If the scales can't be those of a weighing, or the pack has no mass in its file.
    """
    bench, detail = made.test.bench, made.test.answer.detail
    if bench is None or not isinstance(detail, WeighingDetail) or not is_of_empty(made):
        return None
    test = f"; ground test {named(entry)}" if entry is not None else ""
    state = (made.subject.configuration or bench.title or "empty")[: _LONGEST_STATE - len(test)]
    draft = weighing_draft(
        desk,
        made.subject.id,
        _scales(detail),
        reading_std=_text(detail.reading_std_kg),
        arm_std=_text(detail.arm_std_m),
        instrument=bench.instrument or "not named",
        state=f"{state}{test}",
        signers=signers,
        with_pack=str(bench.setup.get("with_pack") or ""),
        corrects=_put_right(desk, made),
    )
    if entry is None:
        return draft
    return replace(draft, relations=[*draft.relations, Relation(CITES, entry.hash)])


def outdated_weighing(desk: Desk, made: Prepared) -> Entry | None:
    """Give the weighing that rests on the test which this one puts right, if it still stands."""
    if made.corrects is None:
        return None
    found = desk.ledger.naming(made.corrects, CITES, WEIGHING)
    return next((entry for entry in found if not desk.ledger.corrections(entry)), None)


def _put_right(desk: Desk, made: Prepared) -> Entry | None:
    known = outdated_weighing(desk, made)
    return known if known and known.body.content[AIRCRAFT] == made.subject.id else None


def _scales(detail: WeighingDetail) -> list[str]:
    return [
        f"{name.replace('=', ' ')[:_LONGEST_NAME]}={_text(arm)},{_text(side)}={_text(reading)}"
        for name, arm, side, readings in detail.scales
        for reading in readings
    ]


def _text(number: float) -> str:
    exact = Decimal(repr(round(number, _DECIMALS)))
    return f"{exact:f}"
