"""Hashes and keys as codes that a person can print, read out and type again.

A code is 25 signs of 5 bits, so 125 of the 256 bits of a SHA-256, and two signs that tell a slip
of the pen: ``KWP9Y-B4Z5J-FJS7S-CKWP9-YB4Z5-CF``. Of the letters I, L, O and U none is used; they
are read as 1, 1, 0 and V, capital or small.

125 bits are enough where somebody would have to find other content with the same code: that is
2**125 trials. Whoever holds the keys and prepares two last entries with one code needs about 2**62
trials, and then the head on paper fits both; entries before the last are held by hashes in full.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from string import ascii_lowercase, ascii_uppercase

from flightlog.errors import UsageError

_SIGNS = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"
_LOOKALIKES = str.maketrans("ILOU", "110V")
# Not str.upper(), which makes two letters of some and Latin ones of others.
_TYPED = _LOOKALIKES | str.maketrans(ascii_lowercase, ascii_uppercase.translate(_LOOKALIKES))
_DATA = 25
_CHECK = 2
_BITS = 5 * _DATA
# A prime below 32**2: every single wrong sign and every swap of neighbours changes the remainder.
_MODULUS = 1021
_HEX = re.compile(r"[0-9a-f]{64}")
_NUMBER = re.compile(r"[0-9]{1,9}")


@dataclass(frozen=True, slots=True)
class Head:
    """A head as somebody typed it: the number of the entry, where it was given, and its hash.

    Parameters
    ----------
    number : int or None
        Place of the entry in its chain, from 1.
    bits : int
        The first bits of the hash.
    length : int
        How many bits that are: 125 of a code, 256 of 64 hexadecimal digits.
    """

    number: int | None
    bits: int
    length: int

    def fits(self, digest: str) -> bool:
        """Whether a hash (64 hexadecimal digits) is the one that was typed."""
        return int(digest, 16) >> (256 - self.length) == self.bits


def code(digest: str) -> str:
    """Give the code of a hash (64 hexadecimal digits)."""
    bits = int(digest, 16) >> (256 - _BITS)
    signs = _written(bits, _DATA) + _written(bits % _MODULUS, _CHECK)
    return "-".join(signs[i : i + 5] for i in range(0, len(signs), 5))


def head_code(number: int, digest: str) -> str:
    """Give the code of a head: the number of the entry in its chain, a dot, the code."""
    return f"{number}.{code(digest)}"


def head_text(head: Head) -> str:
    """Write a head again that was read: its number where it has one, a dot, its code."""
    number = f"{head.number}." if head.number is not None else ""
    return number + code(f"{head.bits << (256 - head.length):064x}")


def entry_code(number: int, digest: str) -> str:
    """Give the short name of an entry for lists and commands: number, dot, first five signs."""
    return f"{number}.{short(digest)}"


def short(digest: str) -> str:
    """Give the first five signs of a code: a name for screens, never enough to tell two apart."""
    return code(digest)[:5]


def read_head(text: str) -> Head:
    """Read a head that was typed: a code with or without the number, or 64 hexadecimal digits.

    Raises
    ------
    UsageError
        If it is neither, or its last two signs say that one of the others is wrong.
    """
    number, dot, rest = text.strip().partition(".")
    if not dot:
        number, rest = "", number
    if number and not (_NUMBER.fullmatch(number) and int(number)):
        raise UsageError(
            f"{number[:20]!r} before the dot is no number of an entry", where=text[:80], fix=_LIKE
        )
    place = int(number) if number else None
    plain = re.sub(r"[\s-]", "", rest)
    if _HEX.fullmatch(plain.lower()):
        return Head(place, int(plain, 16), 256)
    return Head(place, _bits(signs_of(plain), text), _BITS)


def signs_of(text: str) -> str:
    """Give the signs that typed text means: without hyphens and blanks, look-alikes replaced."""
    return re.sub(r"[\s-]", "", text).translate(_TYPED)


def _bits(signs: str, text: str) -> int:
    wrong = sorted(set(signs) - set(_SIGNS))
    if wrong or len(signs) != _DATA + _CHECK:
        found = f"the sign {wrong[0]!r} is in no code" if wrong else f"{len(signs)} signs, not 27"
        raise UsageError(found, where=text[:80], fix=_LIKE)
    value = 0
    for sign in signs:
        value = value * 32 + _SIGNS.index(sign)
    bits, check = value >> 5 * _CHECK, value & (1 << 5 * _CHECK) - 1
    if bits % _MODULUS != check:
        raise UsageError(
            "one of the signs is wrong: the last two don't fit the others",
            where=text[:80],
            fix="Compare it with the paper, sign by sign.",
        )
    return bits


_LIKE = "A head is typed as it is printed, like 120.KWP9Y-B4Z5J-FJS7S-CKWP9-YB4Z5-CF."


def _written(value: int, signs: int) -> str:
    return "".join(_SIGNS[value >> (5 * i) & 31] for i in reversed(range(signs)))
