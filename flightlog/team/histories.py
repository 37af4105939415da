"""The versions of one file in the order in which the record knows them, and what each is worth.

Each entry is judged by what it had seen. It *follows* the newest versions in its past: one as a
rule, several where the file was entered apart. It is

``refused``
    if it was never one: nobody entered it, its bytes are not such a file, it does not name in
    ``before`` a version that it follows, or a limit differs and not two persons signed;
``void``
    if it was one, and what it rests on is gone: a signature no longer counts, its bytes are
    missing, or what lies before it fell and it can't stand by itself;
``good``
    otherwise.

Whether a limit differs is found in the bytes, of the version and of all that it follows; what the
entry says of it is only compared with that. A void version keeps its place: what comes next has to
follow it, and is compared with what was good before it too. So *adding entries never makes a
version good that was there and was not.*
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

from flightlog.logbook.attachments import AttachmentStore
from flightlog.logbook.entry import Entry
from flightlog.team.contents import NOTHING, Content, changed_limits, version_content
from flightlog.team.ledger import Ledger

GOOD, VOID, REFUSED = "good", "void", "refused"
ENTERED, AGREED = "entered", "agreed"


@dataclass(frozen=True, slots=True)
class Version:
    """One version of a file, as it was entered.

    Attributes
    ----------
    kind, id : str
        What it is of.
    sha256 : str
        Of its bytes.
    path : Path
        Where its bytes are kept.
    entry : Entry
        By which it was entered.
    """

    kind: str
    id: str
    sha256: str
    path: Path
    entry: Entry


@dataclass(frozen=True, slots=True)
class Judged:
    """A version with what it is worth.

    Attributes
    ----------
    version : Version
        What was entered.
    standing : str
        "good", "void" or "refused".
    why : str
        Why it is not good.
    content : Content
        What its bytes say.
    follows : tuple of Judged
        The newest ones that it had seen, refused ones left out.
    """

    version: Version
    standing: str
    why: str
    content: Content
    follows: tuple[Judged, ...] = ()

    @property
    def entry(self) -> Entry:
        """By which it was entered."""
        return self.version.entry


class History:
    """What the record says of one file.

    Parameters
    ----------
    ledger : Ledger
        The record.
    store : AttachmentStore
        Where the bytes are kept.
    kind, id_ : str
        Of the file.
    entries : iterable of Entry
        Of that file, each after all that it has seen; their form is right.
    """

    def __init__(
        self,
        ledger: Ledger,
        store: AttachmentStore,
        kind: str,
        id_: str,
        entries: Iterable[Entry],
    ) -> None:
        self._ledger = ledger
        self._store = store
        self.kind, self.id = kind, id_
        self.judged: list[Judged] = []
        for entry in entries:
            self.judged.append(self._judge(entry))
        self.good = [one for one in self.judged if one.standing == GOOD]

    # --- what is in force

    def in_force(self) -> Judged | None:
        """Give the one that counts; of some made apart the newest that all of them follow."""
        tips = self._newest(self.good)
        while len({tip.version.sha256 for tip in tips}) > 1:
            tips = self._newest([one for one in self.good if self._seen_by_all(tips, one)])
        return tips[0] if tips else None

    def conflict(self) -> tuple[Judged, ...]:
        """Give the newest ones where they differ, which so are all not in force."""
        tips = self._newest(self.good)
        return tuple(tips) if len({tip.version.sha256 for tip in tips}) > 1 else ()

    def unsettled(self) -> tuple[Judged, ...]:
        """Give void ones that no good one has seen: nobody has said yet what holds instead."""
        return tuple(
            one
            for one in self.judged
            if one.standing == VOID
            and not any(self._ledger.has_seen(good.entry, one.entry) for good in self.good)
        )

    def followed(self) -> tuple[Judged, ...]:
        """Give what a version that was entered now would follow."""
        return tuple(self._newest(one for one in self.judged if one.standing != REFUSED))

    def compared(self, followed: Iterable[Judged]) -> list[Content]:
        """Give all that has to be compared: what is followed, and what is below void ones.

        Below a first version is nothing.
        """
        waiting = list(followed)
        found = [] if waiting else [NOTHING]
        known: set[str] = set()
        while waiting:
            one = waiting.pop()
            if one.entry.hash in known:
                continue
            known.add(one.entry.hash)
            found.append(one.content)
            if one.standing == VOID:
                waiting += one.follows
                found += [] if one.follows else [NOTHING]
        return found

    def _newest(self, found: Iterable[Judged]) -> list[Judged]:
        """Give those that no other one of them has seen, the last one first."""
        newest: list[Judged] = []
        for one in reversed(list(found)):
            if not any(self._ledger.has_seen(tip.entry, one.entry) for tip in newest):
                newest.append(one)
        return newest

    def _seen_by_all(self, tips: Iterable[Judged], one: Judged) -> bool:
        return all(self._ledger.has_seen(tip.entry, one.entry) for tip in tips)

    # --- judging

    def _judge(self, entry: Entry) -> Judged:
        said = entry.body.content
        path = self._store.path(said["sha256"])
        version = Version(self.kind, self.id, said["sha256"], path, entry)
        attachment = next((a for a in entry.body.attachments if a.sha256 == version.sha256), None)
        if attachment is None:
            nothing = Content(None, "it does not hold the file")
            return Judged(version, REFUSED, nothing.fault, nothing)
        content = version_content(self._store, attachment, self.kind, self.id)
        follows = self._newest(
            one
            for one in self.judged
            if one.standing != REFUSED and self._ledger.has_seen(entry, one.entry)
        )
        why = self._never(entry, content, follows)
        if why:
            return Judged(version, REFUSED, why, content)
        why = self._no_more(entry, content, follows)
        return Judged(version, VOID if why else GOOD, why, content, tuple(follows))

    def _never(self, entry: Entry, content: Content, follows: Sequence[Judged]) -> str:
        """Say why an entry brought in no version even when it was made, "" where it did."""
        said = entry.body.content
        if not self._signed(entry, ENTERED):
            return "no person entered it"
        before, known = said.get("before"), {one.version.sha256: one for one in follows}
        if before is not None and not follows:
            return "it names a version before it that it had not seen"
        if follows and before not in known:
            names = " or ".join(sorted(sha[:12] for sha in known))
            named = f"names {before[:12]} as the version before it" if before else "names none"
            return f"it {named}, and what it had seen in force is {names}"
        if content.table is None:
            return "" if content.missing else content.fault
        limits = self._limits(content, [one.content for one in follows] or [NOTHING])
        if limits and not self._two(entry):
            return f"it sets or changes a limit ({limits[0]}), and not two persons signed that"
        told = known.get(before) if before is not None else None
        if told is not None and not said["limit_changed"]:
            hidden = self._limits(content, [told.content])
            if hidden:
                return f"it says that no limit differs, and {hidden[0]} does"
        return ""

    def _no_more(self, entry: Entry, content: Content, follows: Sequence[Judged]) -> str:
        """Say why a version does not stand any more, "" where it does."""
        if content.table is None:
            return content.fault
        standing = self._ledger.standing
        if not standing.counts(entry):
            problems = standing.problems(entry)
            return problems[0] if problems else "it does not count"
        if self._two(entry):
            return ""
        compared = self.compared(follows)
        if any(other.table is None for other in compared):
            return "what it follows is missing, so whether a limit differs can't be told"
        limits = self._limits(content, compared)
        if limits:
            return f"what it follows is void, and a limit differs from before ({limits[0]})"
        return ""

    def _limits(self, content: Content, others: Iterable[Content]) -> list[str]:
        """Give the limits that differ from any of the others; missing ones are left out."""
        return [
            key
            for other in others
            if other.table is not None
            for key in changed_limits(self.kind, other, content)
        ]

    def _signed(self, entry: Entry, meaning: str) -> list[frozenset[str]]:
        """Give who may have signed with a meaning, for each such signature of a known key."""
        found = [
            self._ledger.people.known_for(signer.key, entry)
            for signer in entry.body.signers
            if signer.meaning == meaning
        ]
        return [persons for persons in found if persons]

    def _two(self, entry: Entry) -> bool:
        """Whether one person entered it and another one agreed."""
        return any(
            entered.isdisjoint(agreed)
            for entered in self._signed(entry, ENTERED)
            for agreed in self._signed(entry, AGREED)
        )
