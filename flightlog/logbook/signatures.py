"""Ed25519 over exact bytes, each signature for one purpose only.

Every signature is over a prefix that names its purpose, and then bytes (RFC 8032, pure Ed25519):
a person's over the body of an entry, a device's over the body and the persons' signatures. A
device's signature can't be passed off as a person's.
"""

from __future__ import annotations

import hashlib
from enum import Enum
from functools import lru_cache
from typing import TYPE_CHECKING

from flightlog.errors import SignatureError

if TYPE_CHECKING:
    from cryptography.hazmat.primitives.asymmetric.ed25519 import (
        Ed25519PrivateKey,
        Ed25519PublicKey,
    )

SIGNATURE_BYTES = 64
KEY_BYTES = 32


_SIGN_BIT = 0x80
_Y_OF_SMALL_ORDER = (
    "00" * 32,
    "01" + "00" * 31,
    "ec" + "ff" * 30 + "7f",
    "26e8958fc2b227b045c3f489f2ef98f0d5dfac05d3c63339b13802886d53fc05",
    "c7176a703d4dd84fba3c0b760d10670f2a2053fa2c39ccc64ec7fd7792ac037a",
    "ed" + "ff" * 30 + "7f",  # the first two once more, written as p and p + 1
    "ee" + "ff" * 30 + "7f",
)


def _both_signs(y: str) -> tuple[str, str]:
    data = bytearray.fromhex(y)
    data[-1] ^= _SIGN_BIT
    return y, data.hex()


ANYBODYS_KEYS = frozenset(key for y in _Y_OF_SMALL_ORDER for key in _both_signs(y))
"""Public keys of small order: one and the same signature fits many messages, without any secret.

The library takes them (RFC 8032 leaves it open). Only somebody who wants to disown what they sign
later would enrol one.
"""


class Purpose(Enum):
    """What a signature is for; the value is put before the bytes that are signed."""

    DEVICE = b"flightlog.device-signature/1\n"
    PERSON = b"flightlog.person-signature/1\n"


def sign(key: Ed25519PrivateKey, purpose: Purpose, data: bytes) -> bytes:
    """Sign bytes for a purpose; 64 bytes."""
    return key.sign(purpose.value + data)


def verify(key: str, purpose: Purpose, data: bytes, signature: bytes) -> None:
    """Check a signature.

    Parameters
    ----------
    key : str
        Public key, 64 hexadecimal digits.
    purpose : Purpose
        What it has to be for.
    data : bytes
        What has to be signed.
    signature : bytes
        64 bytes.

    Raises
    ------
    SignatureError
        If the key did not sign these bytes for this purpose.
    """
    from cryptography.exceptions import InvalidSignature

    if key in ANYBODYS_KEYS:
        raise SignatureError("anybody can sign with this key", where=f"key {key[:8]}")
    try:
        _public(key).verify(signature, purpose.value + data)
    except (InvalidSignature, ValueError) as error:
        raise SignatureError(
            f"the {purpose.name.lower()}'s signature does not fit the bytes", where=f"key {key[:8]}"
        ) from error


def split_signatures(joined: bytes) -> tuple[bytes, ...]:
    """Take signatures apart that stand one after the other, 64 bytes each; a rest is the last."""
    size = SIGNATURE_BYTES
    return tuple(joined[i : i + size] for i in range(0, len(joined), size))


def public_hex(key: Ed25519PrivateKey) -> str:
    """Give the public key of a private one, as 64 hexadecimal digits."""
    return key.public_key().public_bytes_raw().hex()


def fingerprint(key: str) -> str:
    """Give the SHA-256 of a public key, as 64 hexadecimal digits; print it by ``codes.code``."""
    return hashlib.sha256(bytes.fromhex(key)).hexdigest()


# Few keys sign many entries; reading one costs a tenth of checking a signature.
@lru_cache(maxsize=1024)
def _public(key: str) -> Ed25519PublicKey:
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey

    return Ed25519PublicKey.from_public_bytes(bytes.fromhex(key))
