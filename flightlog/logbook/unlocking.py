"""A private key in the hand of its person: for one list, for ten minutes at most.

A person unlocks once, signs each item when it is judged, and hands over. The unlock ends by itself
10 minutes after it began, by the clock on the wall or by the one that only counts up, whichever is
first: the wall clock also runs while the laptop sleeps, the other one can't be set.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from types import TracebackType
from typing import TYPE_CHECKING

from flightlog.errors import RefusedError
from flightlog.logbook.passphrases import Passphrase, Unshared
from flightlog.logbook.signatures import Purpose, public_hex, sign

if TYPE_CHECKING:
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

    from flightlog.logbook.keys import KeyFolder

LASTS_S = 600.0
"""How long an unlock lasts [s]."""
SET_BACK_S = 5.0
"""A wall clock that is set back by more than this ends an unlock [s]."""


class Unlocked(Unshared):
    """A person's private key, unlocked for one list. Ends at the exit of a ``with`` block.

    Parameters
    ----------
    private : Ed25519PrivateKey
        The key.
    list_name : str
        The list that it may sign for; may be empty.
    clock : callable, default time.time
        Wall clock [s].
    ticks : callable, default time.monotonic
        A clock that only counts up [s].
    """

    __slots__ = (
        "_ahead_s",
        "_began",
        "_clock",
        "_list_name",
        "_private",
        "_public",
        "_ticks",
        "_why_ended",
    )

    def __init__(
        self,
        private: Ed25519PrivateKey,
        list_name: str = "",
        *,
        clock: Callable[[], float] = time.time,
        ticks: Callable[[], float] = time.monotonic,
    ) -> None:
        self._private: Ed25519PrivateKey | None = private
        self._public = public_hex(private)
        self._list_name = list_name
        self._clock = clock
        self._ticks = ticks
        self._why_ended = ""
        self._began = (clock(), ticks())
        # How far the wall clock is ahead of the other one; sleep makes it more, never less.
        self._ahead_s = self._began[0] - self._began[1]

    @property
    def key(self) -> str:
        """The public key, 64 hexadecimal digits."""
        return self._public

    @property
    def list_name(self) -> str:
        """The list that it may sign for."""
        return self._list_name

    @property
    def left_s(self) -> float:
        """How long it still lasts [s]; 0 when it has ended."""
        if self._private is None:
            return 0.0
        wall, tick = self._clock(), self._ticks()
        left_s = LASTS_S - max(wall - self._began[0], tick - self._began[1])
        if wall - tick < self._ahead_s - SET_BACK_S:
            self._end("this laptop's clock was set back")
        elif left_s <= 0:
            self._end(f"its {LASTS_S / 60:.0f} minutes are over")
        self._ahead_s = max(self._ahead_s, wall - tick)
        return left_s if self._private is not None else 0.0

    def sign(self, data: bytes, list_name: str = "") -> bytes:
        """Sign bytes as this person.

        Parameters
        ----------
        data : bytes
            Canonical body of an entry.
        list_name : str
            The list that is being worked through.

        Returns
        -------
        bytes
            64 bytes.

        Raises
        ------
        RefusedError
            If the unlock has ended, or is for another list.
        """
        if not self.left_s or self._private is None:
            raise RefusedError(
                f"the unlock of the key {self._public[:8]} has ended: {self._why_ended}",
                fix="Unlock the key again.",
            )
        if list_name != self._list_name:
            raise RefusedError(
                f"the key {self._public[:8]} is unlocked for {_named(self._list_name)}, not for "
                f"{_named(list_name)}",
                fix="Unlock it for this list.",
            )
        return sign(self._private, Purpose.PERSON, data)

    def end(self) -> None:
        """End it: the laptop is handed over. Ending twice is once."""
        self._end("it was handed over")

    def _end(self, why: str) -> None:
        self._private = None
        self._why_ended = self._why_ended or why

    def __enter__(self) -> Unlocked:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.end()

    def __repr__(self) -> str:
        return f"<Unlocked {self._public}>"


def _named(list_name: str) -> str:
    return f"the list {list_name[:60]!r}" if list_name else "no list"


class Session(Unshared):
    """The unlocks for one list, in their order: the last one is of the person at the laptop.

    What two persons sign needs both unlocked; ``hand_over`` ends the last one, and the one before
    is at the laptop again. Ends all at the exit of a ``with`` block.

    Parameters
    ----------
    list_name : str
        The list.
    """

    __slots__ = ("_list_name", "_unlocks")

    def __init__(self, list_name: str) -> None:
        self._list_name = list_name
        self._unlocks: list[Unlocked] = []

    @property
    def list_name(self) -> str:
        """The list."""
        return self._list_name

    @property
    def unlocks(self) -> tuple[Unlocked, ...]:
        """The unlocks that have not ended."""
        self._unlocks = [unlocked for unlocked in self._unlocks if unlocked.left_s]
        return tuple(self._unlocks)

    @property
    def present(self) -> Unlocked | None:
        """The unlock of the person at the laptop, None where nobody's has not ended."""
        return self.unlocks[-1] if self.unlocks else None

    def of(self, key: str) -> Unlocked | None:
        """Give the unlock of a key (64 hexadecimal digits), None where there is none."""
        return next((u for u in self.unlocks if u.key == key), None)

    def unlock(self, folder: KeyFolder, key: str, passphrase: Passphrase) -> Unlocked:
        """Unlock a key of a folder for this list; an earlier unlock of the same key ends.

        Raises
        ------
        PassphraseError
            If the passphrase is wrong, or it is too early to try again.
        KeyFileError
            If the key is not there or damaged.
        """
        unlocked = folder.unlock(key, passphrase, self._list_name)
        earlier = self.of(key)
        if earlier is not None:
            earlier.end()
        self._unlocks.append(unlocked)
        return unlocked

    def hand_over(self) -> None:
        """End the unlock of the person at the laptop."""
        if self.present is not None:
            self.present.end()

    def end(self) -> None:
        """End all."""
        for unlocked in self._unlocks:
            unlocked.end()

    def __enter__(self) -> Session:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.end()

    def __repr__(self) -> str:
        return f"<Session {self._list_name[:60]!r}>"
