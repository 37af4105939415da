"""A person's private key as a file: the seed of an Ed25519 key, sealed under a passphrase.

The file is canonical JSON::

    {"cipher":"chacha20-poly1305",
     "kdf":{"n":131072,"name":"scrypt","p":1,"r":8,"salt":"<64 hex>"},
     "nonce":"<24 hex>",
     "public":"<64 hex>",
     "schema":"flightlog.key/1",
     "sealed":"<96 hex>"}

``sealed`` is the 32 bytes of the seed under ChaCha20-Poly1305 (RFC 8439), whose key is scrypt
(RFC 7914) of the passphrase. The canonical bytes of everything else are bound to it as associated
data, so that no field can be changed. Guessing costs an attacker who has the file one scrypt per
guess; a passphrase that can be guessed is not made good by that.
"""

from __future__ import annotations

import contextlib
import os
import re
import secrets
import stat
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from flightlog.errors import KeyFileError, LogbookError, PassphraseError
from flightlog.logbook.canonical import decode, encode
from flightlog.logbook.passphrases import Passphrase
from flightlog.logbook.signatures import public_hex

if TYPE_CHECKING:
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
    from cryptography.hazmat.primitives.ciphers.aead import ChaCha20Poly1305

SCHEMA = "flightlog.key/1"
_SCHEMA_FAMILY = "flightlog.key/"
CIPHER = "chacha20-poly1305"
KDF = "scrypt"
MOST_BYTES = 16 * 1024
"""Largest key file that is read [bytes]."""
SEED_BYTES = 32
_SALT_BYTES = 32
_NONCE_BYTES = 12
_TAG_BYTES = 16

LEAST_N = 2**10
MOST_N = 2**20
MOST_R = 16
MOST_P = 4
MOST_MEMORY = 2**30
"""Most memory that a key file may ask for [bytes]; scrypt takes 128 n r."""

_RESTORE = "Take the key from a copy of this file, or have a new key enrolled."


@dataclass(frozen=True, slots=True)
class Cost:
    """What opening a key costs: scrypt takes 128 n r bytes, and time in proportion to n r p.

    Parameters
    ----------
    n : int
        A power of two from 2**10 to 2**20.
    r : int
        Block size, from 1 to 16.
    p : int
        Repetitions, from 1 to 4.
    """

    n: int = 2**17
    r: int = 8
    p: int = 1

    def problem(self) -> str:
        """Say why a key of this cost is not opened; empty if it is."""
        power = self.n > 0 and not self.n & (self.n - 1)
        if not (power and LEAST_N <= self.n <= MOST_N):
            return f"scrypt's n is {self.n}, not a power of two from {LEAST_N} to {MOST_N}"
        if not 1 <= self.r <= MOST_R:
            return f"scrypt's r is {self.r}, not from 1 to {MOST_R}"
        if not 1 <= self.p <= MOST_P:
            return f"scrypt's p is {self.p}, not from 1 to {MOST_P}"
        if 128 * self.n * self.r > MOST_MEMORY:
            return f"scrypt would take {128 * self.n * self.r} bytes, more than {MOST_MEMORY}"
        return ""


USUAL_COST = Cost()


@dataclass(frozen=True, slots=True)
class SealedKey:
    """What a key file holds.

    Parameters
    ----------
    public : str
        Public key, 64 hexadecimal digits.
    cost : Cost
        Of scrypt.
    salt : bytes
        32 bytes, for scrypt.
    nonce : bytes
        12 bytes, for the cipher.
    sealed : bytes
        32 bytes of the sealed seed and 16 that authenticate it and the rest of the file.
    """

    public: str
    cost: Cost
    salt: bytes
    nonce: bytes
    sealed: bytes

    def bound(self) -> bytes:
        """Give the canonical bytes of all but the seed, to which the seed is bound."""
        return encode(self._rest())

    def data(self) -> bytes:
        """Give the bytes of the file."""
        return encode({**self._rest(), "sealed": self.sealed.hex()})

    def _rest(self) -> dict[str, Any]:
        cost = self.cost
        kdf = {"name": KDF, "n": cost.n, "r": cost.r, "p": cost.p, "salt": self.salt.hex()}
        return {
            "schema": SCHEMA,
            "public": self.public,
            "kdf": kdf,
            "cipher": CIPHER,
            "nonce": self.nonce.hex(),
        }

    def open(self, passphrase: Passphrase, where: str = "") -> Ed25519PrivateKey:
        """Give the private key.

        Raises
        ------
        PassphraseError
            If the passphrase is wrong, or a field of the file was changed: these look alike.
        KeyFileError
            If the seed is not that of the public key, or there is not enough memory.
        """
        from cryptography.exceptions import InvalidTag
        from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

        # In one expression: no seed in a variable that a traceback could show.
        try:
            private = Ed25519PrivateKey.from_private_bytes(
                _cipher(passphrase, self.salt, self.cost).decrypt(
                    self.nonce, self.sealed, self.bound()
                )
            )
        except InvalidTag:
            raise PassphraseError(
                "the passphrase does not open this key",
                where=where,
                fix="Type it again; look at Caps Lock and at the layout of the keyboard. If it is "
                "right, the file was changed: take the key from a copy.",
            ) from None
        except MemoryError:
            raise KeyFileError(
                f"opening it takes {128 * self.cost.n * self.cost.r >> 20} MB of memory, which are "
                "not free",
                where=where,
                fix="Close other programs.",
            ) from None
        if public_hex(private) != self.public:
            raise KeyFileError("the seed is not that of its public key", where=where, fix=_RESTORE)
        return private


def seal(
    private: Ed25519PrivateKey,
    passphrase: Passphrase,
    cost: Cost = USUAL_COST,
    randomness: Callable[[int], bytes] = os.urandom,
) -> SealedKey:
    """Seal a private key under a passphrase, with a fresh salt and nonce.

    Raises
    ------
    KeyFileError
        If the cost is not one that would be opened again.
    """
    problem = cost.problem()
    if problem:
        raise KeyFileError(problem)
    salt, nonce = randomness(_SALT_BYTES), randomness(_NONCE_BYTES)
    unsealed = SealedKey(public_hex(private), cost, salt, nonce, b"")
    sealed = _cipher(passphrase, salt, cost).encrypt(
        nonce, private.private_bytes_raw(), unsealed.bound()
    )
    return SealedKey(unsealed.public, cost, salt, nonce, sealed)


def stretched(passphrase: Passphrase, salt: bytes, cost: Cost, length: int = 32) -> bytes:
    """Give scrypt (RFC 7914) of a passphrase: ``length`` bytes."""
    from cryptography.hazmat.primitives.kdf.scrypt import Scrypt

    return Scrypt(salt=salt, length=length, n=cost.n, r=cost.r, p=cost.p).derive(
        passphrase.reveal()
    )


def _cipher(passphrase: Passphrase, salt: bytes, cost: Cost) -> ChaCha20Poly1305:
    from cryptography.hazmat.primitives.ciphers.aead import ChaCha20Poly1305

    return ChaCha20Poly1305(stretched(passphrase, salt, cost))


# --- bytes to key


def read_key(path: Path) -> SealedKey:
    """Read a key file, strictly.

    Raises
    ------
    KeyFileError
        If it is not there, can't be read, is too large, damaged, of a newer program, or asks for
        more memory or time than a key may.
    """
    try:
        data = read_small(path, MOST_BYTES)
    except FileNotFoundError:
        raise KeyFileError("there is no such key file", where=str(path), fix=_ELSEWHERE) from None
    except OSError as error:
        raise KeyFileError(
            f"the key file can't be read ({error.strerror or error})", where=str(path)
        ) from error
    if len(data) > MOST_BYTES:
        raise _damaged(f"it is longer than {MOST_BYTES} bytes", path)
    try:
        record = decode(data)
    except LogbookError as error:
        raise _damaged(error.found.partition(": ")[2], path) from error
    schema = record.get("schema")
    if isinstance(schema, str) and schema.startswith(_SCHEMA_FAMILY) and schema != SCHEMA:
        raise KeyFileError(
            f"the key file has the schema {schema[:40]!r}, which is newer than this program",
            where=str(path),
            fix="Use a newer version of flightlog.",
        )
    problem = _problem(record)
    if problem:
        raise _damaged(problem, path)
    return _sealed_key(record)


_ELSEWHERE = "Put in the stick with the key, or name the folder where it is."

# Key of the record -> what its value has to be; numbers are checked as a cost.
_HEX = {"public": 32, "nonce": _NONCE_BYTES, "sealed": SEED_BYTES + _TAG_BYTES}
_FIXED = {"schema": SCHEMA, "cipher": CIPHER}
_KEYS = {"kdf", *_HEX, *_FIXED}
_KDF_KEYS = {"name", "n", "r", "p", "salt"}


def _problem(record: dict[str, Any]) -> str:
    if set(record) != _KEYS:
        return f"{_strange(record, _KEYS)} is missing or unknown"
    kdf = record["kdf"]
    if not isinstance(kdf, dict) or set(kdf) != _KDF_KEYS:
        what = _strange(kdf, _KDF_KEYS) if isinstance(kdf, dict) else "an object"
        return f"{what} is missing or unknown in 'kdf'"
    wrong = [key for key, value in _FIXED.items() if record[key] != value]
    wrong += [key for key, length in _HEX.items() if not _is_hex(record[key], length)]
    wrong += [] if kdf["name"] == KDF else ["kdf.name"]
    wrong += [] if _is_hex(kdf["salt"], _SALT_BYTES) else ["kdf.salt"]
    wrong += [f"kdf.{key}" for key in ("n", "r", "p") if type(kdf[key]) is not int]
    if wrong:
        return f"{wrong[0]!r} is not what it has to be"
    return Cost(kdf["n"], kdf["r"], kdf["p"]).problem()


def _strange(record: dict[str, Any], keys: set[str]) -> str:
    return repr(min(set(record) ^ keys)[:40])


def _is_hex(value: object, length: int) -> bool:
    return isinstance(value, str) and bool(re.fullmatch(f"[0-9a-f]{{{2 * length}}}", value))


def _sealed_key(record: dict[str, Any]) -> SealedKey:
    kdf = record["kdf"]
    return SealedKey(
        public=record["public"],
        cost=Cost(kdf["n"], kdf["r"], kdf["p"]),
        salt=bytes.fromhex(kdf["salt"]),
        nonce=bytes.fromhex(record["nonce"]),
        sealed=bytes.fromhex(record["sealed"]),
    )


def _damaged(problem: str, path: Path) -> KeyFileError:
    return KeyFileError(f"the key file is damaged: {problem}", where=str(path), fix=_RESTORE)


# --- files


def read_small(path: Path, most: int) -> bytes:
    """Read a small ordinary file: one byte more than ``most`` [bytes] if it is longer.

    Raises
    ------
    OSError
        If it can't be read, or is a device or a pipe, which could keep the reader waiting.
    """
    if not stat.S_ISREG(path.stat().st_mode):
        raise OSError(f"{path.name} is no ordinary file")
    with path.open("rb") as file:
        return file.read(most + 1)


def write_private(path: Path, data: bytes) -> None:
    """Write a file as a whole or not at all, for this user only where the system knows users.

    Raises
    ------
    OSError
        If it can't be written; what was there before is then still there.
    """
    part = path.with_name(f".{path.name}.{secrets.token_hex(4)}.part")
    try:
        with open(part, "xb", opener=_for_this_user) as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        os.replace(part, path)
    finally:
        with contextlib.suppress(OSError):
            part.unlink(missing_ok=True)
    _flush_folder(path.parent)


def _for_this_user(path: str, flags: int) -> int:
    return os.open(path, flags, 0o600)


def _flush_folder(folder: Path) -> None:
    # Windows opens no folders as files, and some sticks don't flush them: the file is flushed.
    with contextlib.suppress(OSError):
        fd = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(fd)
        finally:
            os.close(fd)
