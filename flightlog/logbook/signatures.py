"""Ed25519 over exact bytes, each signature for one purpose only.

Every signature is over a prefix that names its purpose, and then the bytes of the record
(RFC 8032, pure Ed25519). A device's signature can't be passed off as a person's.
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

    try:
        _public(key).verify(signature, purpose.value + data)
    except (InvalidSignature, ValueError) as error:
        raise SignatureError(
            f"the {purpose.name.lower()}'s signature does not fit the bytes", where=f"key {key[:8]}"
        ) from error


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
