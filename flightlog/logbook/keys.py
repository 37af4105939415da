"""Folders of persons' private keys: in the user's profile, or on a memory stick.

One file per key, ``<first 16 digits of the public key>.key.json`` (see ``keyfile``), and while
passphrases fail a count beside it (see ``tries``). A private key is never kept in a team folder,
which is copied, merged and exported: this is refused by where the folders really are, links
followed. A key file that somebody copies there by hand is not found by that, only not used.
"""

from __future__ import annotations

import os
import re
import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from flightlog.errors import KeyFileError, PassphraseError, UsageError
from flightlog.logbook.codes import code, signs_of
from flightlog.logbook.keyfile import (
    SEED_BYTES,
    USUAL_COST,
    Cost,
    SealedKey,
    read_key,
    seal,
    write_private,
)
from flightlog.logbook.layout import RECORD
from flightlog.logbook.passphrases import LEAST_CHARACTERS, Passphrase, read_passphrase
from flightlog.logbook.signatures import fingerprint
from flightlog.logbook.tries import TryCount
from flightlog.logbook.unlocking import Session, Unlocked

if TYPE_CHECKING:
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

__all__ = ["Cost", "KeyFolder", "KeyInfo", "Passphrase", "Session", "Unlocked", "read_passphrase"]

_MOST_KEYS = 1000
"""More key files than this are in no folder of keys."""
_DIGITS = 16
"""Digits of the public key in the name of its file."""
_KEY_FILE = re.compile(rf"[0-9a-f]{{{_DIGITS}}}\.key\.json")
_KEY = re.compile(r"[0-9a-f]{64}")

# A folder with one of these is a team folder, its logbook, or a copy of either.
_TEAM_MARKS = (Path("team.toml"), Path("logbook", RECORD), Path(RECORD))


@dataclass(frozen=True, slots=True)
class KeyInfo:
    """A key file, without its secret.

    Parameters
    ----------
    key : str
        Public key, 64 hexadecimal digits; empty if the file is damaged.
    code : str
        Code of the key's fingerprint, for paper; empty if the file is damaged.
    path : Path
        The file.
    problem : str
        Why it can't be used; empty if it can.
    """

    key: str
    code: str
    path: Path
    problem: str = ""


class KeyFolder:
    """A folder of private keys. It is made when the first key is.

    Parameters
    ----------
    path : Path
        The folder.
    cost : Cost
        What opening a key that is written from now on costs.
    clock : callable, default time.time
        Wall clock [s since 1970].
    ticks : callable, default time.monotonic
        A clock that only counts up [s].
    randomness : callable, default os.urandom
        Gives as many random bytes as are asked for.
    not_in : sequence of Path
        Team folders: keys are not kept in one of them, nor in a folder that holds one.
    """

    def __init__(
        self,
        path: Path,
        *,
        cost: Cost = USUAL_COST,
        clock: Callable[[], float] = time.time,
        ticks: Callable[[], float] = time.monotonic,
        randomness: Callable[[int], bytes] = os.urandom,
        not_in: Sequence[Path] = (),
    ) -> None:
        self.path = path
        self.cost = cost
        self._clock = clock
        self._ticks = ticks
        self._randomness = randomness
        self._not_in = tuple(not_in)

    def __repr__(self) -> str:
        return f"<KeyFolder {str(self.path)!r}>"

    def create(self, passphrase: Passphrase) -> KeyInfo:
        """Make a new key under a passphrase.

        Raises
        ------
        UsageError
            If the passphrase has fewer than 8 characters.
        KeyFileError
            If the folder is in a team folder or can't be written.
        """
        from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

        _refuse_short(passphrase)
        self._refuse_team_folder(self.path)
        private = Ed25519PrivateKey.from_private_bytes(self._randomness(SEED_BYTES))
        sealed = seal(private, passphrase, self.cost, self._randomness)
        file = self._file(sealed.public)
        if os.path.lexists(file):
            raise KeyFileError(
                "a key file of this name is there already and is not written over",
                where=str(file),
                fix="Make the key again: it gets another name.",
            )
        self._write(file, sealed)
        return _info(sealed.public, file)

    def list(self) -> tuple[KeyInfo, ...]:
        """Give the key files by name, damaged ones too; empty if there is no such folder.

        Raises
        ------
        KeyFileError
            If the folder can't be read, or holds far more files than keys.
        """
        try:
            paths = sorted(self._key_files())
        except FileNotFoundError:
            return ()
        except OSError as error:
            raise KeyFileError(
                f"the folder of keys can't be read ({error.strerror or error})",
                where=str(self.path),
                fix="Name the folder where the keys are.",
            ) from error
        return tuple(map(_listed, paths))

    def _key_files(self) -> Iterator[Path]:
        count = 0
        for path in self.path.iterdir():
            # Some systems put a file of their own beside each on a stick, with a dot before.
            if path.name.startswith(".") or not path.name.endswith(".key.json"):
                continue
            count += 1
            if count > _MOST_KEYS:
                raise KeyFileError(
                    f"there are more than {_MOST_KEYS} key files",
                    where=str(self.path),
                    fix="Name the folder where your keys are.",
                )
            yield path

    def find(self, text: str) -> KeyInfo:
        """Give the one key that is meant by the start of its public key or of its code.

        Parameters
        ----------
        text : str
            Capital or small letters, hyphens and blanks left out or not. Empty text means the
            only key that is there.

        Raises
        ------
        KeyFileError
            If no key here starts so, or several do.
        """
        there = [info for info in self.list() if not info.problem]
        digits, signs = re.sub(r"[\s-]", "", text).lower(), signs_of(text)
        found = [
            info
            for info in there
            if info.key.startswith(digits) or info.code.replace("-", "").startswith(signs)
        ]
        if len(found) != 1:
            listed = ", ".join(f"{i.code[:11]}… (key {i.key[:8]}…)" for i in found or there)
            raise KeyFileError(
                f"{'no key' if not found else f'{len(found)} keys'} here "
                f"{'starts' if not found else 'start'} with {text[:80]!r}",
                where=str(self.path),
                fix=f"There are: {listed}." if there else "There is no key in this folder.",
            )
        return found[0]

    def change_passphrase(self, key: str, old: Passphrase, new: Passphrase) -> None:
        """Put a key under another passphrase; copies of the file keep the old one.

        Raises
        ------
        UsageError
            If the new passphrase has fewer than 8 characters.
        PassphraseError
            If the old one is wrong, or it is too early to try again.
        KeyFileError
            If the key is not there, is damaged, or can't be written.
        """
        _refuse_short(new)
        self._write(self._file(key), seal(self._open(key, old), new, self.cost, self._randomness))

    def unlock(self, key: str, passphrase: Passphrase, list_name: str = "") -> Unlocked:
        """Unlock a key for one list.

        Parameters
        ----------
        key : str
            Public key, 64 hexadecimal digits.
        passphrase : Passphrase
            Of this key.
        list_name : str
            The list that is going to be worked through; may be empty.

        Raises
        ------
        PassphraseError
            If the passphrase is wrong, or it is too early to try again.
        KeyFileError
            If the key is not there, is damaged, or stands in a team folder.
        """
        return Unlocked(
            self._open(key, passphrase), list_name, clock=self._clock, ticks=self._ticks
        )

    def wait_s(self, key: str) -> int:
        """Give how long nobody may try a passphrase of a key yet, rounded up [s]; 0 for now."""
        return self._tries(key).wait_s()

    def _tries(self, key: str) -> TryCount:
        return TryCount(_real(self.path) / f"{key[:_DIGITS]}.tries.json", self._clock)

    def _open(self, key: str, passphrase: Passphrase) -> Ed25519PrivateKey:
        file = self._file(key)
        self._refuse_team_folder(file.parent)
        self._refuse_team_folder(_real(file).parent)
        sealed = read_key(file)
        if sealed.public != key:
            raise KeyFileError(
                f"the file holds the key {sealed.public[:8]}…, not {key[:8]}…", where=str(file)
            )
        tries = self._tries(key)
        wait_s = tries.wait_s()
        if wait_s:
            raise PassphraseError(
                f"wait {wait_s} s: the last passphrases did not open this key", where=str(file)
            )
        try:
            private = sealed.open(passphrase, str(file))
        except PassphraseError as error:
            wait_s = tries.failed()
            if not wait_s:
                raise
            raise PassphraseError(
                error.found, where=error.where, fix=f"Wait {wait_s} s. {error.fix}"
            ) from None
        tries.forget()
        return private

    def _file(self, key: str) -> Path:
        if not _KEY.fullmatch(key):
            raise KeyFileError(
                f"{key[:80]!r} is no public key", fix="A public key has 64 hexadecimal digits."
            )
        return self.path / f"{key[:_DIGITS]}.key.json"

    def _write(self, file: Path, sealed: SealedKey) -> None:
        try:
            self.path.mkdir(mode=0o700, parents=True, exist_ok=True)
            write_private(file, sealed.data())
        except OSError as error:
            raise KeyFileError(
                f"the key file can't be written ({error.strerror or error})",
                where=str(file),
                fix="Free some space, or name another folder.",
            ) from error

    def _refuse_team_folder(self, folder: Path) -> None:
        real = _real(folder)
        named = Path(os.path.abspath(folder))  # a link in the team folder is in it too
        above = dict.fromkeys((real, *real.parents, named, *named.parents))
        teams = [_real(team) for team in self._not_in]
        if (
            any(_same(place, team) for place in above for team in teams)
            or any(_same(real, place) for team in teams for place in team.parents)
            or any(os.path.lexists(place / mark) for place in above for mark in _TEAM_MARKS)
        ):
            raise KeyFileError(
                "a private key is never kept in the team folder",
                where=str(folder),
                fix="Name a folder that is not in the team folder and does not hold it, such as "
                "one on a memory stick.",
            )


def _refuse_short(passphrase: Passphrase) -> None:
    if passphrase.too_short:
        raise UsageError(
            f"the passphrase has fewer than {LEAST_CHARACTERS} characters",
            fix="Take several words that nobody would guess.",
        )


def _listed(path: Path) -> KeyInfo:
    """Describe a key file, whatever is in it."""
    try:
        sealed = read_key(path)
    except KeyFileError as error:
        return KeyInfo("", "", path, error.found)
    if not _KEY_FILE.fullmatch(path.name) or path.name[:_DIGITS] != sealed.public[:_DIGITS]:
        return KeyInfo("", "", path, "its name is not the start of the key in it")
    return _info(sealed.public, path)


def _info(key: str, path: Path) -> KeyInfo:
    return KeyInfo(key, code(fingerprint(key)), path)


def _real(path: Path) -> Path:
    # Path.resolve raises on a circle of links in some versions of Python.
    return Path(os.path.realpath(path))


def _same(one: Path, other: Path) -> bool:
    """Whether two paths are one folder, also where a system does not tell capitals."""
    try:
        return one == other or one.samefile(other)
    except OSError:
        return False  # one of them is not there yet: only its path can be compared
