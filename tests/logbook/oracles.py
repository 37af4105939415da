"""Signatures and sealed bytes computed from the standards alone, to compare ours with.

Slow and open to timing attacks: for tests only. Ed25519 after RFC 8032, 5.1, in affine
coordinates; ChaCha20-Poly1305 after RFC 8439, 2.3 to 2.8; scrypt of the standard library.
"""

from __future__ import annotations

import hashlib
import struct

P = 2**255 - 19
L = 2**252 + 27742317777372353535851937790883648493
D = -121665 * pow(121666, -1, P) % P
Point = tuple[int, int]


def _add(one: Point, other: Point) -> Point:
    (x1, y1), (x2, y2) = one, other
    t = D * x1 * x2 * y1 * y2
    x3 = (x1 * y2 + x2 * y1) * pow(1 + t, -1, P) % P
    y3 = (y1 * y2 + x1 * x2) * pow(1 - t, -1, P) % P
    return x3, y3


def _times(scalar: int, point: Point) -> Point:
    total = (0, 1)
    while scalar:
        if scalar & 1:
            total = _add(total, point)
        point = _add(point, point)
        scalar >>= 1
    return total


def _base() -> Point:
    point = _with_y(4 * pow(5, -1, P) % P)
    assert point is not None
    return point


def _with_y(y: int) -> Point | None:
    """The point with this y and an even x, None where there is none (RFC 8032, 5.1.3)."""
    square = (y * y - 1) * pow(D * y * y + 1, -1, P) % P
    x = pow(square, (P + 3) // 8, P)
    if x * x % P != square:
        x = x * pow(2, (P - 1) // 4, P) % P
    if x * x % P != square:
        return None
    return (x if x % 2 == 0 else P - x), y


BASE = _base()


def small_order_keys() -> set[str]:
    """All encodings of the points whose eightfold is nothing, non-canonical ones too."""
    points = (_with_y(y) for y in range(2, 1000))
    torsion = next(t for p in points if p and _times(4, t := _times(L, p)) != (0, 1))
    found = set()
    for count in range(8):
        y = _times(count, torsion)[1]
        for written in (y, y + P):
            for sign in (0, 1 << 255):
                if written < 1 << 255:
                    found.add((written | sign).to_bytes(32, "little").hex())
    return found


def _packed(point: Point) -> bytes:
    return (point[1] | (point[0] & 1) << 255).to_bytes(32, "little")


def _halves(seed: bytes) -> tuple[int, bytes]:
    digest = hashlib.sha512(seed).digest()
    scalar = int.from_bytes(digest[:32], "little") & ~7 & ~(1 << 255) | 1 << 254
    return scalar, digest[32:]


def ed25519_public(seed: bytes) -> bytes:
    return _packed(_times(_halves(seed)[0], BASE))


def ed25519_sign(seed: bytes, message: bytes, again: bytes = b"") -> bytes:
    """Sign; with ``again`` a second signature that fits the same key and message as well."""
    scalar, prefix = _halves(seed)
    prefix += again
    public = _packed(_times(scalar, BASE))
    r = int.from_bytes(hashlib.sha512(prefix + message).digest(), "little") % L
    packed = _packed(_times(r, BASE))
    k = int.from_bytes(hashlib.sha512(packed + public + message).digest(), "little") % L
    return packed + ((r + k * scalar) % L).to_bytes(32, "little")


# --- ChaCha20-Poly1305


def _quarter(s: list[int], a: int, b: int, c: int, d: int) -> None:
    for one, other, third, turn in ((a, b, d, 16), (c, d, b, 12), (a, b, d, 8), (c, d, b, 7)):
        s[one] = (s[one] + s[other]) & 0xFFFFFFFF
        x = s[third] ^ s[one]
        s[third] = (x << turn | x >> (32 - turn)) & 0xFFFFFFFF


def _block(key: bytes, count: int, nonce: bytes) -> bytes:
    start = [*struct.unpack("<4I", b"expand 32-byte k"), *struct.unpack("<8I", key)]
    start += [count, *struct.unpack("<3I", nonce)]
    state = list(start)
    for _ in range(10):
        for i in range(4):
            _quarter(state, i, 4 + i, 8 + i, 12 + i)
        for i in range(4):
            _quarter(state, i, 4 + (i + 1) % 4, 8 + (i + 2) % 4, 12 + (i + 3) % 4)
    return struct.pack("<16I", *((a + b) & 0xFFFFFFFF for a, b in zip(start, state, strict=True)))


def chacha20(key: bytes, nonce: bytes, data: bytes) -> bytes:
    stream = b"".join(_block(key, 1 + i, nonce) for i in range(len(data) // 64 + 1))
    return bytes(a ^ b for a, b in zip(data, stream, strict=False))


def poly1305(key: bytes, data: bytes) -> bytes:
    r = int.from_bytes(key[:16], "little") & 0x0FFFFFFC0FFFFFFC0FFFFFFC0FFFFFFF
    total = 0
    for i in range(0, len(data), 16):
        total = (total + int.from_bytes(data[i : i + 16] + b"\1", "little")) * r % (2**130 - 5)
    return (total + int.from_bytes(key[16:], "little")).to_bytes(17, "little")[:16]


def _tag(key: bytes, nonce: bytes, sealed: bytes, bound: bytes) -> bytes:
    padded = b"".join(part + bytes(-len(part) % 16) for part in (bound, sealed))
    lengths = struct.pack("<2Q", len(bound), len(sealed))
    return poly1305(_block(key, 0, nonce)[:32], padded + lengths)


def aead_seal(key: bytes, nonce: bytes, data: bytes, bound: bytes) -> bytes:
    sealed = chacha20(key, nonce, data)
    return sealed + _tag(key, nonce, sealed, bound)


def aead_open(key: bytes, nonce: bytes, data: bytes, bound: bytes) -> bytes:
    sealed, tag = data[:-16], data[-16:]
    assert tag == _tag(key, nonce, sealed, bound)
    return chacha20(key, nonce, sealed)
