"""Bytes of a text log to characters: byte-order marks, UTF-16, old code pages, damage.

What editors, spreadsheets and transmitters write: UTF-8 with and without a mark, UTF-16 with
and without one, and Windows' Western European code page where the bytes are no UTF-8 at all.
Damage within UTF-8 costs the bytes that it hit and is counted.
"""

from __future__ import annotations

import codecs
from dataclasses import dataclass

_MARKS = (
    (codecs.BOM_UTF8, "utf-8"),
    (codecs.BOM_UTF32_LE, "utf-32-le"),  # before UTF-16, whose mark it starts with
    (codecs.BOM_UTF32_BE, "utf-32-be"),
    (codecs.BOM_UTF16_LE, "utf-16-le"),
    (codecs.BOM_UTF16_BE, "utf-16-be"),
)

WESTERN = "cp1252"
"""Taken where bytes are no UTF-8: what most programs that write no UTF-8 write."""

MOST_DAMAGE = 0.002
"""Above this share of bytes that are no UTF-8 the file is in another encoding, not damaged."""

ENCODINGS = ("utf-8", "utf-16-le", "utf-16-be", "utf-32-le", "utf-32-be", WESTERN)
"""What `decode` can find; `encoding` may be any that Python knows."""


@dataclass(frozen=True, slots=True)
class DecodedText:
    """The characters of a file.

    Attributes
    ----------
    text : str
        Without byte-order mark and NUL characters; ends of lines as in the file.
    encoding : str
        What it was decoded from.
    damaged : int
        Characters that could not be decoded and NUL characters that were left out.
    """

    text: str
    encoding: str
    damaged: int = 0


def decode(content: bytes, encoding: str | None = None) -> DecodedText:
    """Turn the bytes of a text file into characters; never fails.

    Parameters
    ----------
    content : bytes
        The file, or the first part of it: a character that is cut at the end counts as damage
        of one.
    encoding : str, optional
        What the user says it is; a byte-order mark goes before it.

    Raises
    ------
    LookupError
        If Python does not know ``encoding``.
    """
    for mark, name in _MARKS:
        if content.startswith(mark):
            return _decoded(content[len(mark) :], name)
    if encoding is not None:
        return _decoded(content, codecs.lookup(encoding).name)
    return _decoded(content, _guess(content))


def _guess(content: bytes) -> str:
    """Tell the encoding of a text without a mark."""
    head = content[:4096]
    # Latin text in UTF-16 has a zero in every second byte.
    pairs = len(head) // 2
    if pairs >= 4:
        even, odd = head[0 : 2 * pairs : 2].count(0), head[1 : 2 * pairs : 2].count(0)
        if odd > 0.6 * pairs and even < 0.1 * pairs:
            return "utf-16-le"
        if even > 0.6 * pairs and odd < 0.1 * pairs:
            return "utf-16-be"
    try:
        content.decode("utf-8")
    except UnicodeDecodeError:
        lost = content.decode("utf-8", "replace").count("\ufffd")
        if lost > max(2, MOST_DAMAGE * len(content)):
            return WESTERN
    return "utf-8"


def _decoded(content: bytes, encoding: str) -> DecodedText:
    text = content.decode(encoding, "replace")
    damaged = text.count("\ufffd") + text.count("\0")
    if damaged:
        text = text.replace("\0", "")
    return DecodedText(text, encoding, damaged)


def head_text(head: bytes) -> str | None:
    """Give the first characters of a file, whole lines only, or None when it is no text.

    Parameters
    ----------
    head : bytes
        The first bytes of a file; the last line is left out unless it is the only one.
    """
    decoded = decode(head)
    text = decoded.text
    if not text.strip() or decoded.damaged > 0.05 * len(text):
        return None
    sample = text[:8192]
    odd = sum(1 for char in sample if not (char.isprintable() or char in "\t\r\n\f\x1a"))
    if odd > 0.02 * len(sample):
        return None
    whole, newline, _ = text.rpartition("\n")
    return whole if newline else text
