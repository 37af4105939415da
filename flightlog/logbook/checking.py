"""Is the record whole? Everything is looked at anew, from the stored bytes.

*First* is meant in the order received: the order in which this folder got its entries, in which
each comes after all that it has seen. Rows are checked by themselves (``stored``), then their
links (``links``). Only if nothing is wrong with those is the record judged: whose signatures
count, what contradicts what. Judged with holes in it, it would be flagged for what only lacks the
missing entry.

What no check of one folder can show is said each time, in ``Report.cannot_know``: above all
whether entries were cut off at the end, or the whole was written anew, unless heads are compared
that were noted elsewhere (``compared``).
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

from flightlog.errors import LogbookError, NotWritableError
from flightlog.logbook.check_report import MOST_LISTED, Break, Report, bounded, count
from flightlog.logbook.check_report import report_json as report_json
from flightlog.logbook.check_report import report_lines as report_lines
from flightlog.logbook.codes import Head, entry_code, head_code
from flightlog.logbook.compared import Remembered, compared
from flightlog.logbook.device import Remembered as Kept
from flightlog.logbook.entry import Attachment, Entry, device_name
from flightlog.logbook.kinds import KINDS
from flightlog.logbook.layout import ATTACHMENTS, RECORD
from flightlog.logbook.links import Links, check_links
from flightlog.logbook.order import Order
from flightlog.logbook.rulings import founds
from flightlog.logbook.stored import Known, StoredRow, check_stored
from flightlog.logbook.words import duration, quoted

if TYPE_CHECKING:
    from flightlog.logbook.people import People
    from flightlog.logbook.store import Row

Progress = Callable[[float, str], None]
"""Told how much is done (0 to 1), and what is being done."""
AttachmentProblem = Callable[[Attachment], "str | None"]
"""Gives what is wrong with a file that an entry names, None if nothing is."""


@dataclass(frozen=True, slots=True)
class Judgement:
    """What a record without holes says about its entries.

    Parameters
    ----------
    persons : int
        How many persons signed.
    breaks : tuple of (tuple of Entry, str)
        What is no valid record, though every signature fits: a founding that does not count, the
        entries of a fork that nobody explained.
    flags, notes : tuple of str
        As in ``Report``.
    """

    persons: int
    breaks: tuple[tuple[tuple[Entry, ...], str], ...] = ()
    flags: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()


Memory = Sequence[Remembered] | Callable[[str], Sequence[Remembered]]
Judge = Callable[[Order], Judgement]


def check(
    folder: Path,
    heads: Sequence[Head] = (),
    remembered: Memory = (),
    progress: Progress | None = None,
    *,
    known: Known | None = None,
) -> Report:
    """Check the logbook in a folder; nothing is written.

    Parameters
    ----------
    folder : Path
        The logbook's own folder.
    heads : sequence of Head
        As typed from paper, by ``codes.read_head``.
    remembered : sequence of Remembered, or callable
        Heads from this laptop's memory, or what gives them for a team's id.
    progress : callable, optional
        Told how much is done.
    known : dict, optional
        Rows checked before, which are not read again; rows checked now are added.

    Raises
    ------
    TeamFolderError
        If there is no logbook, or it was written by a newer program.
    LogbookError
        If the table of entries itself is not as this program makes it: then nothing is read.
    NotWritableError
        If the last write was interrupted and can't be undone here.
    """
    from flightlog.logbook.attachments import AttachmentStore

    rows, damage = read_rows(folder)
    return check_rows(
        rows,
        heads=heads,
        remembered=remembered,
        damage=damage,
        attachment_problem=AttachmentStore(folder / ATTACHMENTS).problem,
        known=known,
        progress=progress,
    )


def read_rows(folder: Path) -> tuple[list[Row], list[str]]:
    """Read all rows of the record in a folder that can be read, and what its file is damaged by.

    That another program added or took away something beside the table of entries is damage, too.

    Raises
    ------
    TeamFolderError, LogbookError, NotWritableError
        As ``check`` says.
    """
    from flightlog.logbook.store import Store

    path = folder / RECORD
    try:
        store = Store(path, read_only=True, changed_too=True)
    except NotWritableError:
        # What an interrupted write left can only be undone by one who may write.
        store = Store(path, changed_too=True)
    rows: list[Row] = []
    with store:
        damage = store.damage()
        try:
            rows.extend(store.rows())
        except LogbookError as error:
            damage.append(error.found)
    return rows, damage


def check_rows(
    rows: Iterable[StoredRow],
    *,
    heads: Sequence[Head] = (),
    remembered: Memory = (),
    damage: Sequence[str] = (),
    attachment_problem: AttachmentProblem | None = None,
    judge: Judge | None = None,
    known: Known | None = None,
    progress: Progress | None = None,
) -> Report:
    """Check rows of a record, wherever they come from.

    Parameters
    ----------
    rows : iterable of StoredRow
        All rows, in any order; their ``received`` says in which order they came.
    heads, remembered, known, progress
        As in ``check``.
    damage : sequence of str
        What the file of the record itself is damaged by.
    attachment_problem : callable, optional
        Gives what is wrong with an attachment; without it attachments are not looked at.
    judge : callable, optional
        Judges a record without holes; by the rules of ``people`` and ``standing`` when not given.
    """
    say = progress or _silent
    listed = sorted(rows, key=lambda row: row.received)
    most = max(len(listed), 1)
    links = check_links(
        check_stored(
            listed, known=known, tell=lambda done: say(0.6 * done / most, "checking signatures")
        )
    )
    breaks = list(links.breaks)
    judgement = None
    if not listed:
        breaks.append(Break(None, "the record", "it holds no entry"))
    elif not breaks:
        say(0.6, "judging signatures")
        judgement = _judged(links, judge or judge_by_the_rules, breaks)
    if attachment_problem is not None:
        breaks += _attachment_breaks(links, attachment_problem, say)
    kept = remembered(links.team) if callable(remembered) else remembered
    comparison = compared(links, heads, kept)
    breaks += comparison.breaks
    breaks += [Break(None, "the file of the record", found) for found in damage]
    only_heads = len(breaks) == len(comparison.breaks)
    breaks.sort(key=lambda one: (one.received is None, one.received or 0))
    tips = _tips(links)
    say(1.0, "done")
    return Report(
        ok=not breaks,
        first_break=breaks[0] if breaks else None,
        breaks=tuple(breaks[:MOST_LISTED]),
        more_breaks=max(0, len(breaks) - MOST_LISTED),
        entries=len(links.entries),
        devices=len({e.body.device for e in links.entries.values()}),
        persons=_persons(links, judgement),
        flags=bounded(judgement.flags if judgement else ()),
        notes=bounded((*_time_notes(links), *(judgement.notes if judgement else _UNJUDGED))),
        heads=bounded(head_code(tip.body.number, tip.hash) for tip in tips),
        compared=bounded(comparison.lines),
        cannot_know=_cannot_know(bool(heads or kept), attachment_problem is not None),
        team=links.team,
        tips=() if breaks else tuple(Kept(t.body.device, t.body.number, t.hash) for t in tips),
        older=comparison.older if only_heads else "",
    )


def _silent(_done: float, _what: str) -> None:
    return


def _persons(links: Links, judgement: Judgement | None) -> int:
    if judgement is not None:
        return judgement.persons
    return len({s.key for e in links.entries.values() for s in e.body.signers})


def _tips(links: Links) -> list[Entry]:
    seen = {parent for entry in links.entries.values() for parent in entry.parents}
    tips = [entry for digest, entry in links.entries.items() if digest not in seen]
    tips.sort(key=lambda tip: (tip.body.time.utc, tip.hash))  # as in ``Order``, on every laptop
    return tips


# --- the parts that need the whole record


def _judged(links: Links, judge: Judge, breaks: list[Break]) -> Judgement | None:
    try:
        judgement = judge(Order(links.entries.values()))
    except LogbookError as error:
        breaks.append(Break(None, error.where or "the record", error.found))
        return None
    for entries, found in judgement.breaks:
        # A fork begins with its second entry.
        in_order = sorted(entries, key=lambda entry: links.received[entry.hash])
        at = in_order[min(1, len(in_order) - 1)]
        breaks.append(Break(links.received[at.hash], at.name, found))
    return judgement


def _attachment_breaks(
    links: Links, problem_of: AttachmentProblem, say: Progress
) -> Iterator[Break]:
    named: dict[tuple[str, int], tuple[Entry, Attachment]] = {}
    for entry in links.entries.values():
        for attachment in entry.body.attachments:
            named.setdefault((attachment.sha256, attachment.size), (entry, attachment))
    for done, (entry, attachment) in enumerate(named.values()):
        say(0.7 + 0.3 * done / len(named), "checking attachments")
        problem = problem_of(attachment)
        if problem:
            found = f"its attachment {quoted(attachment.name)}: {problem}"
            yield Break(links.received[entry.hash], entry.name, found)


def _time_notes(links: Links) -> Iterator[str]:
    """Note clocks that were set back, beside the latest time of their own chain before."""
    latest: dict[str, datetime] = {}
    for entry in links.entries.values():
        time = entry.body.time
        before = latest.get(entry.body.previous or "", time.utc)
        latest[entry.hash] = max(before, time.utc)
        behind = max(0, int((before - time.utc).total_seconds()))
        if behind != time.behind_s:
            yield (
                f"{entry.name} is dated {duration(behind)} before the latest time of its chain, "
                f"and says {duration(time.behind_s)}"
            )
        elif behind:
            yield f"{entry.name}: its clock was set back by {duration(behind)}"


def judge_by_the_rules(order: Order) -> Judgement:
    """Judge a record by the rules of ``people`` and ``standing``."""
    from flightlog.logbook.people import People
    from flightlog.logbook.standing import Standing

    people = People.of(order)
    standing = Standing.of(order, people)
    persons = {j.person_id for e in order for j in people.judged(e) if j.person_id is not None}
    problems = ((e, text) for e in order for text in standing.problems(e))
    unexplained = {fork.entries for fork in standing.unexplained_forks}
    explained = [fork for fork in order.forks() if fork.entries not in unexplained]
    return Judgement(
        persons=len(persons),
        breaks=tuple(
            (
                entries,
                f"a fork: {_fork_words(entries)}, and no two persons have explained it. "
                f"{_how_to_explain(entries)}",
            )
            for entries in unexplained
        )
        + tuple(_founding_breaks(order, people)),
        flags=(
            *(contradiction.text for contradiction in standing.contradictions),
            *_grouped(problems),
        ),
        notes=(
            *(f"a fork that was explained: {_fork_words(fork.entries)}" for fork in explained),
            *_grouped((e, text) for e in order for text in people.notes(e)),
            *_grouped((e, _UNKNOWN_KIND) for e in order if e.body.kind not in KINDS),
        ),
    )


def _fork_words(entries: Sequence[Entry]) -> str:
    number, device = entries[0].body.number, device_name(entries[0].body.device)
    return f"device {device} has {len(entries)} entries {number} after one and the same"


def _how_to_explain(branches: Sequence[Entry]) -> str:
    named = " ".join(
        f"--explains {entry_code(branch.body.number, branch.hash)}"
        for branch in branches[:_MOST_BRANCHES]
    )
    more = len(branches) - _MOST_BRANCHES
    others = f", and so for {more} more" if more > 0 else ""
    return (
        "Two persons who looked into it sign what happened: "
        f"flightlog logbook remark TEXT --by WHO --by WHO {named}{others}"
    )


def _founding_breaks(order: Order, people: People) -> Iterator[tuple[tuple[Entry, ...], str]]:
    for entry in order:
        problem = people.problem(entry) if founds(entry.body) else None
        if problem:
            yield (entry,), f"the founding does not count: {problem}"


def _grouped(found: Iterable[tuple[Entry, str]]) -> Iterator[str]:
    """Give one line for each text: the first entry, and how many more there are."""
    first: dict[str, Entry] = {}
    more: Counter[str] = Counter()
    for entry, text in found:
        more[text] += text in first
        first.setdefault(text, entry)
    for text, entry in first.items():
        others = f" (and {count(more[text], 'more entry', 'more entries')})" if more[text] else ""
        yield f"{entry.name}: {text}{others}"


_MOST_BRANCHES = 8
_UNKNOWN_KIND = "its kind is not known to this program; it is kept and shown"
_UNJUDGED = ("Whose signatures count was not worked out: for that the record has to be whole.",)

_NEVER_KNOWN = (
    "whether what was said is true: a signature shows who said it",
    "whether the times are true: each is what a device's clock said",
    "who the persons behind the keys are, unless fingerprints are compared with the paper",
    "who used a device: its own signature is no person's",
    "whether something happened that nobody wrote down",
)


def _cannot_know(with_heads: bool, with_attachments: bool) -> tuple[str, ...]:
    if with_heads:
        end = "whether entries that came after the heads compared here were cut off"
    else:
        end = (
            "whether entries at the end were cut off, or the whole was written anew: no head from "
            "elsewhere was given, and this laptop remembers none"
        )
    files = () if with_attachments else ("whether the attachments are there and unchanged",)
    return (end, *files, *_NEVER_KNOWN)
