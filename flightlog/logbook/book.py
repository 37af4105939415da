"""The logbook of a team folder as a whole: read it, show what is to be signed, sign, append.

An entry is made in one go while the store's write lock is held: the rules are asked with the
entry already in its place, each person signs its body, the device signs that and the persons'
signatures, and when
``append`` returns the entry is on the disk. What a person was shown is compared with what the
bytes say that they sign; if that differs, nobody signs.

Opening checks what is not already vouched for: everything that a head has seen is held by its
hash, and the laptop remembers, outside of the team folder, the heads that it wrote, checked or
merged; signatures on all other entries are checked. ``checking`` looks at everything, each time.
"""

from __future__ import annotations

import secrets
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from functools import cached_property
from pathlib import Path
from typing import Any

from flightlog.errors import (
    KeyFileError,
    LogbookError,
    NotWritableError,
    RefusedError,
    SignatureError,
    TeamFolderError,
    UsageError,
)
from flightlog.logbook.attachments import AttachmentStore, Files
from flightlog.logbook.canonical import LARGEST_INTEGER
from flightlog.logbook.codes import code, signs_of
from flightlog.logbook.device import DeviceMemory, Remembered, Turn, default_profile
from flightlog.logbook.entry import (
    Attachment,
    Body,
    ClaimedTime,
    Effect,
    Entry,
    Occurred,
    Relation,
    Signer,
    device_bytes,
    sorted_seen,
    write_body,
)
from flightlog.logbook.keys import Unlocked
from flightlog.logbook.kinds import ABOUT_PEOPLE, form_problem, team_of
from flightlog.logbook.layout import ATTACHMENTS, RECORD
from flightlog.logbook.names import Names
from flightlog.logbook.order import Order
from flightlog.logbook.people import People
from flightlog.logbook.signatures import SIGNATURE_BYTES
from flightlog.logbook.standing import Standing
from flightlog.logbook.state import state_of
from flightlog.logbook.store import Store
from flightlog.logbook.words import entry_lines

Clock = Callable[[], tuple[datetime, str]]
"""Gives the time (aware) and where it comes from."""

_FEWEST_SIGNS = 5
_FEWEST_DIGITS = 8
_UNSIGNED = bytes(SIGNATURE_BYTES)


def laptop_clock() -> tuple[datetime, str]:
    """Give the time of this laptop, which nobody has checked."""
    return datetime.now(UTC), "laptop clock"


@dataclass(frozen=True, slots=True)
class Draft:
    """What is to be written, before it has a place in the record.

    Parameters
    ----------
    kind : str
        A kind of entry; see ``kinds.KINDS``.
    content : mapping
        What the kind asks for. Quantities by ``canonical.quantity``.
    signers : sequence of Signer
        Who is to sign, with what meaning and in which role.
    attachments : sequence of Attachment
        Files that are in the store already; see ``Logbook.attach``.
    relations : sequence of Relation
        To earlier entries.
    effect : Effect, optional
        What it permits or restricts.
    occurred : datetime, optional
        When it happened, for what is written down late (aware).
    late_reason : str
        Why it is late; needed with ``occurred``.
    """

    kind: str
    content: Mapping[str, Any]
    signers: Sequence[Signer] = ()
    attachments: Sequence[Attachment] = ()
    relations: Sequence[Relation] = ()
    effect: Effect | None = None
    occurred: datetime | None = None
    late_reason: str = ""


@dataclass(frozen=True, slots=True)
class Shown:
    """What a person was shown before signing.

    Parameters
    ----------
    draft : Draft
        What is to be written.
    lines : tuple of str
        Its text, for the screen.
    lasting : tuple of str
        The same without what goes on with the clock; compared with what is signed.
    """

    draft: Draft
    lines: tuple[str, ...]
    lasting: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Founder:
    """One of those who found the record: public key (64 hexadecimal digits) and roles."""

    key: str
    roles: tuple[str, ...]


def _new_store(folder: Path) -> Store:
    try:
        folder.parent.mkdir(parents=True, exist_ok=True)
        Files().make_folder(folder)
    except OSError as error:
        raise NotWritableError(
            f"can't be made ({error.strerror})", where=str(folder), fix="Name another folder."
        ) from error
    try:
        return Store.create(folder / RECORD)
    except TeamFolderError:
        return Store(folder / RECORD)  # perhaps its founding was interrupted


def founding(founders: Sequence[Founder]) -> Draft:
    """Draft the first entry of a record; each founder may grant roles from then on."""
    content = {
        "nonce": secrets.token_hex(16),
        "people": [{"key": f.key, "roles": sorted({*f.roles, "authorise"})} for f in founders],
    }
    return Draft("founding", content, [Signer(f.key, "enrolled") for f in founders])


def founding_lines(draft: Draft, names: Names | None = None) -> tuple[str, ...]:
    """Give the text of a founding, to be shown before it is signed.

    Raises
    ------
    RefusedError
        If it has not the form of a founding: fewer than two persons, a role that is no word.
    """
    body = _placed(draft, team_of(draft.content), _NOWHERE)
    problem = form_problem(body)
    if problem:
        raise RefusedError(problem, where=draft.kind)
    return tuple(entry_lines(body, names=names, place=False))


class Logbook:
    """The record of one team.

    Made by ``Logbook.open`` or ``Logbook.found``. Not to be shared between threads; several
    processes may have the same folder open.

    Parameters
    ----------
    folder : Path
        The logbook's own folder, below the team folder.
    store : Store
        Its entries.
    memory : DeviceMemory
        What this laptop remembers.
    clock : callable
        Gives the time that entries claim.
    read_only : bool
        Whether nothing may be written.
    """

    def __init__(
        self,
        folder: Path,
        store: Store,
        memory: DeviceMemory,
        clock: Clock,
        *,
        read_only: bool = False,
    ) -> None:
        self.folder = folder
        self._store = store
        self._memory = memory
        self._clock = clock
        self._received = 0
        self._entries: list[Entry] = []
        self._verified: set[str] = set()
        self._read_only = read_only
        self._stood: Standing | None = None
        self._attachments = AttachmentStore(folder / ATTACHMENTS)

    @classmethod
    def open(
        cls,
        folder: Path,
        *,
        profile: Path | None = None,
        clock: Clock = laptop_clock,
        read_only: bool = False,
    ) -> Logbook:
        """Open the logbook in a folder.

        Parameters
        ----------
        folder : Path
            The logbook's own folder.
        profile : Path, optional
            Where this laptop keeps its own key; that of the user when not given.
        clock : callable
            Gives the time that entries claim.
        read_only : bool
            Nothing will be written; works where nothing can be.

        Raises
        ------
        TeamFolderError
            If there is no logbook, or it was written by a newer program.
        LogbookError
            If entries are missing or don't match their signatures.
        """
        if not (folder / RECORD).is_file():
            raise TeamFolderError(
                "there is no logbook here",
                where=str(folder),
                fix="Name the team folder. If the team had a record, copy the folder from another "
                "laptop; make no new one.",
            )
        memory = DeviceMemory(profile or default_profile())
        store = Store(folder / RECORD, read_only=read_only)
        book = cls(folder, store, memory, clock, read_only=read_only)
        try:
            book.refresh()
        except BaseException:
            book.close()
            raise
        return book

    @classmethod
    def found(
        cls,
        folder: Path,
        draft: Draft,
        unlocked: Sequence[Unlocked],
        *,
        profile: Path | None = None,
        clock: Clock = laptop_clock,
    ) -> Logbook:
        """Begin a new record: two or more people enrol each other.

        Parameters
        ----------
        folder : Path
            The logbook's own folder; made if it is not there.
        draft : Draft
            From ``founding``; show ``founding_lines`` before.
        unlocked : sequence of Unlocked
            The founders' keys, in the order of the draft.

        Raises
        ------
        RefusedError
            If there are fewer than two, or the folder holds a record already.
        NotWritableError
            If the folder can't be written.
        """
        memory = DeviceMemory(profile or default_profile())
        book = cls(folder, _new_store(folder), memory, clock)
        try:
            book.refresh()
            if len(book.order):
                raise RefusedError(
                    "this folder holds a record already", where=str(folder), fix="Name a new one."
                )
            book._write(draft, unlocked, team=team_of(draft.content))
        except BaseException:
            book.close()
            raise
        return book

    def close(self) -> None:
        """Close the files; the logbook can't be used afterwards."""
        self._store.close()

    def __enter__(self) -> Logbook:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    # --- reading

    def refresh(self) -> None:
        """Read what was added since, by this process or another one.

        Raises
        ------
        LogbookError
            If entries are missing or don't match their signatures.
        """
        new = []
        for row in self._store.rows(after=self._received):
            try:
                new.append(row.entry())
            except LogbookError as error:
                raise _told_to_check(error, row.place) from error
            self._received = max(self._received, row.received)
        if new:
            self._take(new)

    def _take(self, new: Sequence[Entry]) -> None:
        self._entries.extend(new)
        before = self.__dict__.pop("order", None)
        people = self.__dict__.pop("people", None)
        known = self.__dict__.pop("standing", self._stood)
        about_people = any(entry.body.kind in ABOUT_PEOPLE for entry in new)
        self._stood = None if about_people else known
        if before is not None and len(new) == 1:
            self.__dict__["order"] = before.followed_by(new[0])
            if people is not None:
                self.__dict__["people"] = people.followed_by(self.order, new[0])
        for entry in self._not_vouched_for(new):
            if entry.hash not in self._verified:
                try:
                    entry.verify()
                except SignatureError as error:
                    raise _told_to_check(error, entry.name) from error
                if entry.body.team != self.team:
                    raise LogbookError("it is of another team", where=entry.name)

    def _not_vouched_for(self, new: Sequence[Entry]) -> list[Entry]:
        """Give those that no head which this laptop remembers holds fast by its hash."""
        heads = [self.order.get(kept.hash) for kept in self._remembered()]
        own = [head for head in heads if head is not None]
        return [
            entry
            for entry in new
            if not any(entry is head or self.order.has_seen(head, entry) for head in own)
        ]

    @property
    def team(self) -> str:
        """Id of the team: 64 hexadecimal digits.

        Raises
        ------
        LogbookError
            If nothing was entered yet.
        """
        if not self._entries:
            raise LogbookError(
                "the record is empty: its making was interrupted, or it was lost",
                where=str(self.folder),
                fix="If the team had a record, copy the folder from another laptop; else make a "
                "new folder with 'flightlog team new'.",
            )
        return self._entries[0].body.team

    def now(self) -> datetime:
        """Give the time that an entry made now would claim (aware, whole seconds)."""
        return self._clock()[0].astimezone(UTC).replace(microsecond=0)

    @cached_property
    def order(self) -> Order:
        """Which entry has seen which."""
        return Order(self._entries)

    @cached_property
    def people(self) -> People:
        """Who holds which key and role."""
        return People.of(self.order)

    @cached_property
    def standing(self) -> Standing:
        """What counts."""
        return Standing.of(self.order, self.people, self._stood)

    @property
    def state(self) -> str:
        """Digest of all entries as they were read; see ``flightlog.logbook.state``."""
        return state_of(self._entries)

    @property
    def profile(self) -> Path:
        """Where this laptop keeps what is its own, outside of the team folder."""
        return self._memory.profile

    @property
    def own_devices(self) -> frozenset[str]:
        """Public keys with which this laptop writes in this record; ``Body.device`` is one."""
        return self._memory.own(self.team)

    @property
    def attachments(self) -> AttachmentStore:
        """The files that entries name."""
        return self._attachments

    def note_heads(self) -> None:
        """Let this laptop remember the ends of the record, all of which was verified."""
        if self._entries and not self._read_only:
            tips = self.order.tips()
            heads = [Remembered(tip.body.device, tip.body.number, tip.hash) for tip in tips]
            self._memory.note_heads(self.team, heads)

    def missing_heads(self) -> tuple[Remembered, ...]:
        """Give the heads that this laptop remembers and that are not here.

        If there are any, the folder is an older copy, or its end was cut off.
        """
        return tuple(head for head in self._remembered() if head.hash not in self.order)

    def _remembered(self) -> tuple[Remembered, ...]:
        try:
            return self._memory.remembered(self.team)
        except (KeyFileError, NotWritableError):
            if self._read_only:
                return ()  # a record can be read at a laptop whose profile is damaged
            raise

    def find(self, text: str) -> Entry:
        """Find an entry by its head's code, the code's first five signs with the number, or hash.

        ``4.H3MED`` is enough, and so are the first 8 digits of the hash.

        Raises
        ------
        RefusedError
            If there is none, or more than one.
        """
        wanted = text.strip()
        found = [entry for entry in self.order if _is_meant(entry, wanted)]
        if len(found) != 1:
            raise RefusedError(
                f"{len(found)} entries begin so" if found else "there is no such entry",
                where=text[:80],
                fix="'flightlog logbook show' lists the entries, each as 4.H3MED or the like.",
            )
        return found[0]

    def before(self, entry: Entry) -> Logbook:
        """Give the record as it was to those who made an entry: all that the entry has seen.

        Parameters
        ----------
        entry : Entry
            Of this record.

        Returns
        -------
        Logbook
            For reading only, with a clock that stands at the time that the entry claims.
        """
        claimed = entry.body.time
        past = Logbook(
            self.folder,
            self._store,
            self._memory,
            lambda: (claimed.utc, claimed.source),
            read_only=True,
        )
        past._entries = [e for e in self.order if self.order.has_seen(entry, e)]
        past._received = LARGEST_INTEGER  # what came later is not read
        return past

    # --- writing

    def attach(self, source: Path, name: str | None = None) -> Attachment:
        """Keep a file by its hash, flushed to the disk, so that an entry can name it.

        Parameters
        ----------
        source : Path
            The file.
        name : str, optional
            What the entry calls it; the file's own name when not given.
        """
        if source.is_dir():
            raise UsageError("is a folder", where=str(source), fix="Name one file.")
        return self._attachments.put(source, name or source.name)

    def show(self, draft: Draft, names: Names | None = None) -> Shown:
        """Give the text of what would be signed, made from what the bytes would say.

        Parameters
        ----------
        draft : Draft
            What is to be written.
        names : Names, optional
            Names for persons; the record holds none.

        Raises
        ------
        RefusedError
            If the rules don't allow the entry.
        LogbookError
            If the content is not of the form that records have.
        """
        self.refresh()
        body = self._body(draft, self.team, None)
        self._ask_the_rules(body)
        lines = entry_lines(body, names=names, people=self.people, place=False)
        return Shown(draft, tuple(lines), _lasting(body))

    def append(
        self,
        draft: Draft,
        unlocked: Sequence[Unlocked] = (),
        *,
        shown: Shown | None = None,
        list_name: str = "",
    ) -> Entry:
        """Sign a draft and add it; when this returns, the entry is on the disk.

        Parameters
        ----------
        draft : Draft
            What is to be written.
        unlocked : sequence of Unlocked
            The keys of ``draft.signers``, in the same order; none for an automatic entry.
        shown : Shown, optional
            What the persons were shown; needed where persons sign.
        list_name : str
            The list that is being worked through; a key unlocked for another one is refused.

        Returns
        -------
        Entry
            As it stands in the record.

        Raises
        ------
        RefusedError
            If the rules don't allow the entry, a key's time is over, or what was shown is not
            what would be signed.
        NotWritableError
            If the folder or this laptop's own memory can't be written; nothing was added.
        """
        if draft.signers and (shown is None or shown.draft != draft):
            raise RefusedError(
                "this was not shown before signing", fix="Show it, and sign what was shown."
            )
        self._begin_chain()
        return self._write(draft, unlocked, shown=shown, list_name=list_name)

    def adopt(self, entries: Iterable[Entry]) -> list[Entry]:
        """Add entries of other devices, which the caller has verified, in one transaction.

        Parameters
        ----------
        entries : iterable of Entry
            Each after all that it has seen; their signatures are not checked again.

        Returns
        -------
        list of Entry
            Those that were not here.
        """
        with self._store.writing() as writing:
            added = [entry for entry in entries if writing.add(entry)]
        self._verified.update(entry.hash for entry in added)
        self.refresh()
        return added

    def _begin_chain(self) -> None:
        """Start a chain of this device's own, where it can't go on with one."""
        self._refuse_reading_only()
        with self._store.writing() as writing:
            self.refresh()
            turn = self._turn(self.team)
            if not turn.reason:
                return
            start = Draft("chain-start", {"reason": turn.reason})
            entry = self._sign(self._body(start, self.team, turn), turn, (), "")
            Order([*self._entries, entry])  # a chain too many would make the record unreadable
            turn.noting(entry.hash, entry.body.number)
            writing.add(entry)
        turn.done()
        self.refresh()

    def _write(
        self,
        draft: Draft,
        unlocked: Sequence[Unlocked],
        *,
        team: str | None = None,
        shown: Shown | None = None,
        list_name: str = "",
    ) -> Entry:
        if [signer.key for signer in draft.signers] != [u.key for u in unlocked]:
            raise RefusedError("the keys that were unlocked are not those that are to sign")
        with self._store.writing() as writing:
            self.refresh()
            turn = self._turn(team or self.team)
            body = self._body(draft, team or self.team, turn)
            self._ask_the_rules(body)
            if shown is not None and _lasting(body) != shown.lasting:
                raise RefusedError(
                    "what would be signed is no longer what was shown", fix="Show it once more."
                )
            entry = self._sign(body, turn, unlocked, list_name)
            turn.noting(entry.hash, entry.body.number)
            writing.add(entry)
        turn.done()
        self.refresh()
        return entry

    def _turn(self, team: str) -> Turn:
        # The team folder is the one that holds the logbook's; keys must not be in any part of it.
        memory = self._refuse_reading_only()
        return memory.chain(team, self.folder.absolute().parent, self._heads())

    def _refuse_reading_only(self) -> DeviceMemory:
        if self._read_only:
            raise RefusedError("the logbook was opened for reading only", where=str(self.folder))
        return self._memory

    def _heads(self) -> dict[str, tuple[str, ...]]:
        """Device -> the ends of its chain here: one, or more where the chain is forked."""
        followed = {entry.body.previous for entry in self._entries}
        heads: dict[str, tuple[str, ...]] = {}
        for entry in self._entries:
            if entry.hash not in followed:
                device = entry.body.device
                heads[device] = (*heads.get(device, ()), entry.hash)
        return heads

    def _body(self, draft: Draft, team: str, turn: Turn | None) -> Body:
        """Put a draft in its place: at the end of this device's chain, or nowhere yet."""
        before = self.order.get(turn.before or "") if turn is not None else None
        tips = [tip for tip in self.order.tips() if tip is not before]
        now, source = self._clock()
        now = now.astimezone(UTC).replace(microsecond=0)
        latest = max((e.body.time.utc for e in self._own(before)), default=now)
        place = _Place(
            device=turn.device if turn is not None else _NOWHERE.device,
            number=before.body.number + 1 if before is not None else 1,
            previous=before.hash if before is not None else None,
            seen=sorted_seen([tip.hash for tip in tips]),
            time=ClaimedTime(now, source, max(0, int((latest - now).total_seconds()))),
        )
        return _placed(draft, team, place)

    def _own(self, last: Entry | None) -> Iterator[Entry]:
        """Give the entries of one chain, from the last one backwards."""
        while last is not None:
            yield last
            last = self.order.get(last.body.previous or "")

    def _ask_the_rules(self, body: Body) -> None:
        """Refuse what would not count, asked of the same rules that judge it for ever after."""
        try:
            data = write_body(body)
        except LogbookError as error:
            raise RefusedError(error.found, where=error.where or body.kind) from error
        candidate = Entry(data, _UNSIGNED, (_UNSIGNED,) * len(body.signers))
        order = self.order.followed_by(candidate)
        people = self.people.followed_by(order, candidate)
        known = None if body.kind in ABOUT_PEOPLE else self.standing
        standing = Standing.of(order, people, known)
        problems = [
            problem
            for problem in (people.problem(candidate), *standing.problems(candidate))
            if problem
        ]
        for attachment in body.attachments:
            problem = self._attachments.problem(attachment)
            if problem:
                problems.append(f"the attachment {attachment.name!r}: {problem}")
        if problems:
            raise RefusedError("; ".join(dict.fromkeys(problems)), where=body.kind)

    def _sign(self, body: Body, turn: Turn, unlocked: Sequence[Unlocked], list_name: str) -> Entry:
        data = write_body(body)
        people = tuple(key.sign(data, list_name) for key in unlocked)
        entry = Entry(data, turn.sign(device_bytes(data, people)), people)
        entry.verify()
        return entry


@dataclass(frozen=True, slots=True)
class _Place:
    """The parts of a body that say where in the record it stands."""

    device: str
    number: int
    previous: str | None
    seen: tuple[str, ...]
    time: ClaimedTime


_NOWHERE = _Place("0" * 64, 1, None, (), ClaimedTime(datetime.fromtimestamp(0, UTC), "none"))


def _placed(draft: Draft, team: str, place: _Place) -> Body:
    return Body(
        team=team,
        device=place.device,
        number=place.number,
        previous=place.previous,
        seen=place.seen,
        time=place.time,
        kind=draft.kind,
        content=draft.content,
        signers=tuple(draft.signers),
        attachments=tuple(draft.attachments),
        relations=tuple(draft.relations),
        effect=draft.effect,
        occurred=_occurred(draft, place.time.utc),
    )


def _lasting(body: Body) -> tuple[str, ...]:
    """Text of a body without what goes on with the clock: its place, its time, how late it is."""
    if body.occurred is not None:
        body = replace(body, occurred=replace(body.occurred, late_s=1))
    return tuple(entry_lines(body, place=False))


def _told_to_check(error: LogbookError, name: str) -> LogbookError:
    return type(error)(
        f"the record is broken at {name}: {error.found}",
        fix=error.fix or "'flightlog logbook check' tells more; nothing was written.",
    )


def _is_meant(entry: Entry, text: str) -> bool:
    number, dot, signs = text.partition(".")
    if dot:
        wanted = signs_of(signs)
        return (
            number == str(entry.body.number)
            and len(wanted) >= _FEWEST_SIGNS
            and signs_of(code(entry.hash)).startswith(wanted)
        )
    return len(text) >= _FEWEST_DIGITS and entry.hash.startswith(text.lower())


def _occurred(draft: Draft, now: datetime) -> Occurred | None:
    if draft.occurred is None:
        return None
    happened = draft.occurred.astimezone(UTC).replace(microsecond=0)
    late_s = int((now - happened).total_seconds())
    if late_s < 1:
        raise RefusedError(
            f"it is said to have happened at {happened:%Y-%m-%d %H:%M:%S} UTC, which is not past",
            where=draft.kind,
        )
    if not draft.late_reason:
        raise RefusedError("an entry that is made late says why", where=draft.kind)
    return Occurred(happened, late_s, draft.late_reason)
