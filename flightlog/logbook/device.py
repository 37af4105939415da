"""The identity of this laptop: its keys, and what it last wrote with them.

It is kept in the user's profile, outside of the team folder, so that a copy of the folder does not
bring the identity along. A key signs an entry only if the chain of that key in the folder ends
with the very last entry that the key ever signed; in any other folder (a copy, an older state) a
new chain is begun. So whatever is copied, restored or swapped, no two entries of one device follow
the same entry.

What is about to be written is noted here before it is written there. If the process dies in
between, the next one finds the folder at the entry before, and goes on from it, in that same
folder only.

Where it stops: a profile that is copied to another laptop is the same device twice, and shows as
a fork. So does a folder that is put back in its place as it was before its last entry, if the
process had died in the instant between writing that entry and noting that it was written, and
nothing was written since.

Beside that it remembers, of each device of a team, the highest entry that a check or a merge found
whole here: if that is missing one day, the folder is an older one, or was cut at its end.

The private key is not under a passphrase, since entries without a person are signed with it too:
its signature says which laptop wrote an entry, never who.
"""

from __future__ import annotations

import os
import secrets
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import contextmanager, suppress
from dataclasses import astuple, dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, NoReturn

from flightlog.errors import KeyFileError, NotWritableError
from flightlog.logbook.codes import short
from flightlog.logbook.database import (
    PATIENCE_S,
    Connect,
    Database,
    Label,
    sqlite_connect,
)
from flightlog.logbook.entry import device_name
from flightlog.logbook.migrations import DEVICE_STEPS, migrate, to_do
from flightlog.logbook.signatures import KEY_BYTES, Purpose, public_hex, sign

if TYPE_CHECKING:
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

PROFILE_VARIABLE = "FLIGHTLOG_PROFILE"
DEVICE_FILE = "device.sqlite"

FIRST_WRITE = "first write on this device"
FORKED = "the chain of this device is forked"


def default_profile() -> Path:
    """Give the folder of this user's keys: FLIGHTLOG_PROFILE if set, else the system's own."""
    from platformdirs import user_data_path

    named = os.environ.get(PROFILE_VARIABLE, "")
    return Path(named).absolute() if named else user_data_path("flightlog", appauthor=False)


@dataclass(frozen=True, slots=True)
class Remembered:
    """An entry of which this laptop is sure that it was in the record, with all that it had seen.

    Parameters
    ----------
    device : str
        Public key of the device whose chain it is in: 64 hexadecimal digits.
    number : int
        Its place in that chain, from 1.
    hash : str
        Its hash: 64 hexadecimal digits.
    """

    device: str
    number: int
    hash: str


@dataclass(frozen=True, slots=True)
class _State:
    """What is noted of a key: its last write, and the entry before it."""

    folder: str
    before_number: int | None
    before_hash: str | None
    last_number: int
    last_hash: str
    done: int


@dataclass(frozen=True, slots=True)
class _Known:
    """A key of this laptop for one team."""

    device: str
    private_key: bytes = field(repr=False)
    forked: int
    state: _State

    def may_go_on(self, tips: tuple[str, ...], place: str) -> bool:
        """Whether the key may sign the next entry, where its chain has these ends."""
        if self.forked or len(tips) > 1:
            return False
        tip = tips[0] if tips else None
        died_before_commit = not self.state.done and place == self.state.folder
        return tip == self.state.last_hash or (died_before_commit and tip == self.state.before_hash)

    def start(self, tips: tuple[str, ...]) -> tuple[int | None, str | None]:
        """Give number and hash of the entry to go on from."""
        state = self.state
        if tips == (state.last_hash,):
            return state.last_number, state.last_hash
        return state.before_number, state.before_hash

    def why_not(self, tips: tuple[str, ...]) -> str:
        """Say why the key may not go on."""
        if self.forked or len(tips) > 1:
            return FORKED
        return (
            "the folder is a copy or was restored: this device wrote on elsewhere "
            f"(it remembers entry {self.state.last_number}, {short(self.state.last_hash)})"
        )


@dataclass(frozen=True, slots=True)
class _Learned:
    """What a look at a folder tells of keys: whose chain forks, whose last write is there."""

    forked: tuple[str, ...]
    landed: tuple[tuple[str, str], ...]


class Turn:
    """Leave to write at the end of one chain; from ``DeviceMemory.chain``.

    It is of use only while the team folder's store stays locked for writing. Its private key is
    shown by nothing, and it can't be pickled or copied.

    Attributes
    ----------
    device : str
        Public key of the chain: 64 hexadecimal digits.
    reason : str
        Why a new chain begins; empty where one goes on.
    """

    __slots__ = (
        *("device", "reason"),
        *("_key", "_learned", "_memory", "_place", "_start", "_state", "_team"),
    )

    def __init__(
        self,
        memory: DeviceMemory,
        team: str,
        place: str,
        key: Ed25519PrivateKey,
        state: _State | None,
        learned: _Learned,
        *,
        start: tuple[int | None, str | None] = (None, None),
        reason: str = "",
    ) -> None:
        self.device = public_hex(key)
        self.reason = reason
        self._memory = memory
        self._team = team
        self._place = place
        self._key = key
        self._state = state
        self._start = start
        self._learned = learned

    @property
    def before(self) -> str | None:
        """Hash of the entry to go on from; None where a new chain begins."""
        return self._start[1]

    def sign(self, data: bytes) -> bytes:
        """Sign the bytes of an entry as this device; 64 bytes."""
        return sign(self._key, Purpose.DEVICE, data)

    def noting(self, new_hash: str, number: int) -> None:
        """Note what is about to be written; to be called before the team folder's commit.

        Parameters
        ----------
        new_hash : str
            Hash of the entry.
        number : int
            Its place in the chain. May be called for several entries of one commit, in order.

        Raises
        ------
        NotWritableError
            If the profile can't be written, or another process wrote with this key in the
            meantime, in another copy of the folder. Then nothing may be written.
        """
        state = _State(self._place, *self._start, number, new_hash, done=0)
        self._memory._note(self, state)
        self._state = state

    def done(self) -> None:
        """Note that the commit succeeded.

        That this can't be noted is no error: the next turn finds the entry in the folder.
        """
        if self._state is None:
            return
        with suppress(NotWritableError, KeyFileError):
            self._memory._note_done(self.device, self._state.last_hash)
            self._state = replace(self._state, done=1)
            self._start = (self._state.last_number, self._state.last_hash)

    def __repr__(self) -> str:
        begins = f", begins: {self.reason}" if self.reason else ""
        return f"<Turn of device {device_name(self.device)}{begins}>"

    def __reduce_ex__(self, protocol: object) -> NoReturn:
        raise KeyFileError("a device's key is neither copied nor pickled")


class DeviceMemory:
    """The keys of this laptop, and what it last wrote with them.

    Nothing is opened or made until it is needed, and nothing stays open.

    Parameters
    ----------
    profile : Path
        Folder of this user's keys, outside of any team folder; made by the first write.
    patience_s : float
        How long to wait for another program [s].
    connect : callable
        How the file is opened.
    new_key : callable
        Gives 32 random bytes.
    """

    def __init__(
        self,
        profile: Path,
        *,
        patience_s: float = PATIENCE_S,
        connect: Connect = sqlite_connect,
        new_key: Callable[[], bytes] = lambda: secrets.token_bytes(KEY_BYTES),
    ) -> None:
        self.profile = profile
        self._patience_s = patience_s
        self._connect = connect
        self._new_key = new_key

    def chain(self, team: str, folder: Path, heads: Mapping[str, tuple[str, ...]]) -> Turn:
        """Find the chain that this laptop may go on with in a team folder, or begin a new one.

        Nothing is written before ``Turn.noting``.

        Parameters
        ----------
        team : str
            Id of the team.
        folder : Path
            The team folder, whose store is locked for writing.
        heads : mapping
            For each device in the folder: hashes of the ends of its chain; several if it forks.

        Raises
        ------
        KeyFileError
            If the profile lies in the team folder or the other way round, or is damaged.
        NotWritableError
            If another program holds the profile for longer than our patience.
        """
        place = Path(os.path.realpath(folder))  # resolve() fails on a circle of links
        self._keep_apart(place)
        known = self._known(team)
        # The copy that is written in turns with the original has a key of its own; both go on.
        chosen = next((k for k in known if k.may_go_on(heads.get(k.device, ()), str(place))), None)
        learned = _Learned(
            forked=tuple(k.device for k in known if len(heads.get(k.device, ())) > 1),
            landed=tuple(
                (k.device, k.state.last_hash)
                for k in known
                if heads.get(k.device, ()) == (k.state.last_hash,)
            ),
        )
        if chosen is not None:
            key, start = self._private(chosen), chosen.start(heads.get(chosen.device, ()))
            return Turn(self, team, str(place), key, chosen.state, learned, start=start)
        reason = known[0].why_not(heads.get(known[0].device, ())) if known else FIRST_WRITE
        return Turn(self, team, str(place), _key(self._new_key()), None, learned, reason=reason)

    def remembered(self, team: str) -> tuple[Remembered, ...]:
        """Give the entries of a team that are known to have been in its record, one per device.

        Of this laptop's own keys that is the last one written, of other devices what
        ``note_heads`` noted. Of a write that was interrupted only the entry before it is known.

        Raises
        ------
        KeyFileError
            If the profile is damaged.
        NotWritableError
            If another program holds the profile for longer than our patience.
        """
        found: dict[str, Remembered] = {}
        for known in self._known(team):
            state = known.state
            if state.done:
                own = Remembered(known.device, state.last_number, state.last_hash)
            elif state.before_hash is not None and state.before_number is not None:
                own = Remembered(known.device, state.before_number, state.before_hash)
            else:
                continue
            found[own.device] = own
        for head in self._noted(team):
            # The record may hold more of an own chain than is sure to have been written.
            if head.device not in found or head.number > found[head.device].number:
                found[head.device] = head
        return tuple(found.values())

    def own(self, team: str) -> frozenset[str]:
        """Give the public keys with which this laptop wrote, or began to write, for a team.

        Raises
        ------
        KeyFileError
            If the profile is damaged.
        NotWritableError
            If another program holds the profile for longer than our patience.
        """
        return frozenset(known.device for known in self._known(team))

    def note_heads(self, team: str, heads: Iterable[Remembered]) -> None:
        """Note heads of a record that was found whole, so that ``remembered`` gives them.

        Only to be called after a check that found the record whole, or after a merge: all that
        a head has seen is taken for genuine from then on, and its signatures are not looked at
        again when the record is opened.

        That they can't be noted is no error, since nothing rests on it. Of each device the head
        with the highest number is kept.

        Parameters
        ----------
        team : str
            Id of the team.
        heads : iterable of Remembered
            Ends of the record, such as ``Report.tips``.
        """
        listed = list(heads)
        with suppress(NotWritableError, KeyFileError):
            kept = {head.device: head.number for head in self._noted(team)}
            new = [head for head in listed if head.number > kept.get(head.device, 0)]
            if not new:
                return
            self._make()
            with self._opened() as database, database.transaction():
                for head in new:
                    database.execute(_NOTE_HEAD, (team, *astuple(head)))

    # --- the file

    @contextmanager
    def _opened(self, *, to_read: bool = False) -> Iterator[Database]:
        label = Label(
            "memory of this device", str(self.profile), foreign=KeyFileError, damaged=KeyFileError
        )
        path = self.profile / DEVICE_FILE
        database = Database(path, label, patience_s=self._patience_s, connect=self._connect)
        try:
            if not to_read:
                migrate(database, DEVICE_STEPS)
            yield database
        finally:
            database.close()

    def _known(self, team: str) -> list[_Known]:
        """Give the keys of a team, the latest first."""
        rows = self._read(
            "devices",
            f"SELECT device, private_key, forked, {_STATE} FROM devices WHERE team = ? "
            "ORDER BY made DESC",
            team,
        )
        return [
            _Known(device, private_key, forked, _State(*state))
            for device, private_key, forked, *state in rows
        ]

    def _noted(self, team: str) -> list[Remembered]:
        """Give the heads that were noted for a team."""
        rows = self._read(
            "heads that were whole",
            "SELECT device, number, hash FROM heads WHERE team = ? ORDER BY device",
            team,
        )
        return [Remembered(*row) for row in rows]

    def _read(self, step: str, question: str, team: str) -> list[Any]:
        """Read of what a step made; an older file, which may be read-only, is read as it is."""
        if not (self.profile / DEVICE_FILE).exists():
            return []
        with self._opened(to_read=True) as database:
            missing = {one.name for one in to_do(database, DEVICE_STEPS)}
            return [] if step in missing else database.execute(question, (team,))

    def _note(self, turn: Turn, state: _State) -> None:
        self._make()
        with self._opened() as database, database.transaction():
            if turn._state is None:
                database.execute(
                    f"INSERT INTO devices (device, team, private_key, {_STATE}) "
                    "VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)",
                    (turn.device, turn._team, turn._key.private_bytes_raw(), *astuple(state)),
                )
            else:
                self._change(database, turn.device, turn._state, state)
            for device in turn._learned.forked:
                database.execute("UPDATE devices SET forked = 1 WHERE device = ?", (device,))
            for landed in turn._learned.landed:
                database.execute(_DONE, landed)

    def _change(self, database: Database, device: str, before: _State, state: _State) -> None:
        rows = database.execute(f"SELECT {_STATE} FROM devices WHERE device = ?", (device,))
        # That a commit succeeded may be noted late, when the next writer has its turn already.
        if [replace(_State(*row), done=before.done) for row in rows] != [before]:
            # The lock that the caller holds is that of one copy of the folder.
            raise NotWritableError(
                "another copy of this team folder was written by this laptop at the same moment",
                where=str(self.profile),
                fix="Try again.",
            )
        values = ", ".join(f"{column} = ?" for column in _STATE.split(", "))
        database.execute(f"UPDATE devices SET {values} WHERE device = ?", (*astuple(state), device))

    def _note_done(self, device: str, last_hash: str) -> None:
        with self._opened() as database, database.transaction():
            database.execute(_DONE, (device, last_hash))

    def _make(self) -> None:
        path = self.profile / DEVICE_FILE
        try:
            self.profile.mkdir(mode=0o700, parents=True, exist_ok=True)
            if not path.exists():
                # Made by SQLite, it could be read by others.
                os.close(os.open(path, os.O_CREAT | os.O_EXCL | os.O_RDWR, 0o600))
        except OSError as error:
            if path.exists():  # another process was faster
                return
            raise NotWritableError(
                f"this user's own folder can't be written ({error.strerror})",
                where=str(self.profile),
                fix=f"Look who may write there, or name another folder by {PROFILE_VARIABLE}.",
            ) from error

    def _private(self, known: _Known) -> Ed25519PrivateKey:
        key = _key(known.private_key)
        if public_hex(key) != known.device:
            raise KeyFileError(
                f"the private key of device {device_name(known.device)} is damaged",
                where=str(self.profile),
                fix=f"Move {DEVICE_FILE} away: this laptop then begins a new chain.",
            )
        return key

    def _keep_apart(self, folder: Path) -> None:
        profile = Path(os.path.realpath(self.profile))
        if _inside(profile, folder) or _inside(folder, profile):
            raise KeyFileError(
                "this laptop's keys may not lie in the team folder, nor the other way round: "
                "a copy of the folder would take them along",
                where=str(self.profile),
                fix=f"Move one of the two, or name another folder by {PROFILE_VARIABLE}.",
            )


_NOTE_HEAD = (
    "INSERT INTO heads (team, device, number, hash) VALUES (?, ?, ?, ?) ON CONFLICT DO UPDATE "
    "SET number = excluded.number, hash = excluded.hash WHERE excluded.number > heads.number"
)
_DONE = "UPDATE devices SET done = 1 WHERE device = ? AND last_hash = ?"
_STATE = "folder, before_number, before_hash, last_number, last_hash, done"  # as _State


def _key(private_key: bytes) -> Ed25519PrivateKey:
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

    return Ed25519PrivateKey.from_private_bytes(private_key)


def _inside(inner: Path, outer: Path) -> bool:
    return any(_same(place, outer) for place in (inner, *inner.parents))


def _same(one: Path, other: Path) -> bool:
    if one == other:
        return True
    try:
        # Where capitals don't matter, two spellings are one folder.
        return one.samefile(other)
    except OSError:
        return False
