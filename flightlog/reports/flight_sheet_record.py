"""What a flight was flown under, for its sheet: release, checks, contradictions, findings."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator

from flightlog.findings import Finding
from flightlog.logbook.entry import CITES, INSPECTS, Entry
from flightlog.logbook.flying_kinds import CHECK, LIST_BEGUN
from flightlog.operations.calls import calls_of
from flightlog.operations.checks import checklist_of
from flightlog.operations.contradictions import contradictions
from flightlog.operations.desk import Desk
from flightlog.operations.measurements import beside as measured_beside
from flightlog.operations.positions import named
from flightlog.operations.sorties import SortieRecord, debrief_of
from flightlog.reports.card_words import flight_texts
from flightlog.reports.figure_groups import NOT_EXCLUDED
from flightlog.reports.flights import beside_text, contradiction_text, persons_text, said_texts
from flightlog.reports.numbers import digits
from flightlog.reports.release_sheet import release_facts
from flightlog.reports.release_words import signature_lines
from flightlog.reports.sheet_content import Band, Block, Facts, Table, Words, beside, wide
from flightlog.reports.stored_debrief import StoredSortie
from flightlog.reports.words import most_severe_first

_MOST_CONDITIONS, _MOST_CHECKS, _MOST_TEXTS, _MOST_FINDINGS = 24, 8, 6, 9
_MOST_PREDICTED = 10
_RECOMPUTED = "recomputed"


def grave_text(desk: Desk, flight: SortieRecord) -> str:
    """Say how much about a flight does not go together."""
    grave = [one for one in contradictions(desk, flight) if not one.note]
    codes = ", ".join(dict.fromkeys(one.code for one in grave))
    return f"{len(grave)}: {codes}" if grave else "none found"


def record_bands(
    desk: Desk, flight: SortieRecord, stored: StoredSortie | None, energy: Block
) -> Iterator[Band]:
    """Give what a flight was flown under, beside what was found about it; last the conditions."""
    left = [*_released(desk, flight), _checks(desk, flight.release), *_predicted(desk, flight)]
    left += [_contradictions(desk, flight), *_said(desk, flight)]
    yield beside(left, [energy, _found(stored)])
    release = flight.release
    if release is not None:
        conditions = ((c["condition"], c["says"]) for c in release.body.content["conditions"])
        yield wide(
            Table(
                "Conditions of the release, as they held when it was signed",
                ("condition", "found"),
                tuple((str(name), str(says)) for name, says in conditions),
                (0, 1),
                none="None.",
                most=_MOST_CONDITIONS,
            )
        )


# --- the release


def _released(desk: Desk, flight: SortieRecord) -> Iterator[Block]:
    release = flight.release
    if release is None:
        told = "" if "release" in flight.paired else "No release: "
        yield Words("Flown under", (f"{told}{flight.paired}",))
        return
    facts = [("release", named(release)), *release_facts(desk, release)]
    yield Facts("Flown under", tuple(facts))
    yield Words("Signatures", tuple(signature_lines(desk, release)), "Nobody signed it.")


def _contradictions(desk: Desk, flight: SortieRecord) -> Words:
    texts = tuple(contradiction_text(one) for one in contradictions(desk, flight))
    return Words("Contradictions", texts, "None was found.", _MOST_TEXTS)


def _said(desk: Desk, flight: SortieRecord) -> Iterator[Words]:
    debrief = debrief_of(desk, flight)
    measured = [beside_text(measured_beside(entry, debrief)) for entry in flight.measurements]
    if measured:
        yield Words("Measured apart from the log", tuple(measured), most=_MOST_TEXTS)
    said = said_texts(desk, flight)
    if said:
        yield Words("Said by persons", tuple(said), most=_MOST_TEXTS)


def _predicted(desk: Desk, flight: SortieRecord) -> Iterator[Words]:
    """Give the prediction of the flight's card against the flight, where cards are signed."""
    texts = flight_texts(desk, flight)
    if texts:
        yield Words("Predicted before the flight", texts, most=_MOST_PREDICTED)


# --- the checks


def _checks(desk: Desk, release: Entry | None) -> Table:
    begun = desk.ledger.named(release, CITES, LIST_BEGUN) if release is not None else ()
    rows = [_list_row(desk, one) for one in begun]
    calls = calls_of(desk, release) if release is not None else None
    if calls is not None:
        wrong = "; ".join(calls.wrong) or "all passed"
        by = persons_text(desk, calls.entry)
        rows.append((f"calls {named(calls.entry)}", f"{calls.answered}: {wrong}", by))
    return Table(
        "Signed checks",
        ("list", "items", "signed by, and how often"),
        tuple(rows),
        (0, 1, 1.4),
        none="No list was signed for it." if release is not None else "No release names a list.",
        most=_MOST_CHECKS,
    )


def _list_row(desk: Desk, begun: Entry) -> tuple[str, str, str]:
    """Tell of a list how many items are done, what was found, and who signed."""
    ledger = desk.ledger
    checks = [c for c in ledger.naming(begun, CITES, CHECK) if not ledger.corrections(c)]
    signed = [c for c in checks if ledger.persons(c)]
    checklist = checklist_of(desk, begun)
    done = len({c.body.content["item"] for c in signed})
    asked = f" of {len(checklist.items)}" if checklist is not None else ""
    results = Counter(str(c.body.content["result"]) for c in signed)
    told = ", ".join(f"{count} {result}" for result, count in sorted(results.items()))
    looks = sum(bool(c.body.related(INSPECTS)) for c in signed)
    second = f"; {looks} of them second looks" if looks else ""
    by = Counter(p for c in signed for p in dict.fromkeys(ledger.persons(c)))
    who = ", ".join(f"{desk.crew.label(person)} {count}" for person, count in by.most_common())
    return (
        f"{begun.body.content['list']} {named(begun)}",
        f"{done}{asked}" + (f": {told}{second}" if told else ""),
        who or "nobody",
    )


# --- the log


def _found(stored: StoredSortie | None) -> Block:
    """Give what was found in the log."""
    if stored is None:
        return Words("Findings", (), "No log was read.")
    told = [f for f in stored.findings if f.code not in (_RECOMPUTED, NOT_EXCLUDED)]
    keys = {(f.code, f.message, f.start_s) for f in told}
    told += [f for f in stored.of_log if (f.code, f.message, f.start_s) not in keys]
    return Table(
        "Findings",
        ("severity", "what"),
        tuple((f.severity, _finding_text(f)) for f in most_severe_first(told)),
        (0, 1),
        states=(0,),
        none="None.",
        most=_MOST_FINDINGS,
    )


def _finding_text(finding: Finding) -> str:
    when = f"at {digits(finding.start_s, 1)} s: " if finding.start_s is not None else ""
    message = finding.message.rstrip(".")
    remedy = f" {finding.remedy}" if finding.remedy else ""
    return f"{when}{message} [{finding.code}].{remedy}"
