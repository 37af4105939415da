"""The one byte string that a record has: canonical JSON after RFC 8785, without floats.

Quantities are decimal strings with a unit, ``{"value": "40.0", "unit": "m"}``: no difference in
how a program prints a number can break a signature. What is read is accepted only if it is
exactly what this module would have written.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from decimal import Decimal
from typing import Any, NoReturn, TypeAlias

import rfc8785

from flightlog.errors import LogbookError

Json: TypeAlias = "str | int | bool | list[Json] | dict[str, Json] | None"

MOST_BYTES = 256 * 1024
"""Longest record [bytes]; what is larger belongs into an attachment."""
MOST_DEPTH = 32
"""Deepest nesting of a record."""
LARGEST_INTEGER = 2**53 - 1
"""Largest integer that every JSON reader keeps exactly (RFC 8785, 3.2.2.3, after RFC 7493)."""
_INTEGER_SIGNS = 17
"""Signs of the longest integer: 16 digits and a minus."""
_BEYOND_BMP = 0xF0
"""First byte of a UTF-8 sequence beyond the basic plane: only there do sort orders differ."""


def encode(body: Mapping[str, Any]) -> bytes:
    """Give the canonical bytes of a record (RFC 8785).

    Parameters
    ----------
    body : mapping
        Of strings, integers, booleans, null, lists and dicts; keys are strings.

    Returns
    -------
    bytes
        UTF-8, without white space, keys sorted by UTF-16 code units.

    Raises
    ------
    LogbookError
        If it holds a float, an integer beyond 2**53 - 1, anything that JSON does not have, or
        is larger or deeper than a record may be.
    """
    record = dict(body)
    _refuse(record, "", 0)
    try:
        data = rfc8785.dumps(record)
    except (rfc8785.CanonicalizationError, UnicodeEncodeError) as error:
        raise _bad(f"it can't be written as JSON ({error})") from error
    if len(data) > MOST_BYTES:
        raise _bad(f"it is {len(data)} bytes long; a record has at most {MOST_BYTES}")
    return data


def decode(data: bytes) -> dict[str, Any]:
    """Read the canonical bytes of a record; anything else is refused.

    Raises
    ------
    LogbookError
        If the bytes are not the canonical form of a record within the limits of ``encode``.
    """
    if len(data) > MOST_BYTES:
        raise _bad(f"it is {len(data)} bytes long; a record has at most {MOST_BYTES}")
    try:
        body = _READER.decode(data.decode("utf-8"))
    except (ValueError, RecursionError) as error:
        raise _bad(f"it is not JSON ({_short(error)})") from error
    if not isinstance(body, dict):
        raise _bad("it is not a JSON object")
    if _rewritten(body, data) != data:
        raise _bad("its bytes are not the canonical form of what they say")
    return body


def _rewritten(body: dict[str, Any], data: bytes) -> bytes:
    # Within the basic plane code points sort like UTF-16 units, and the standard library writes
    # the same bytes in a sixth of the time; anything further is left to the library.
    if data.isascii() or max(data) < _BEYOND_BMP:
        # What JSON gave can only be too deep, which takes many brackets: most need no walk.
        if data.count(b"{") + data.count(b"[") > MOST_DEPTH:
            _refuse(body, "", 0)
        try:
            return _WRITER.encode(body).encode()
        except UnicodeEncodeError as error:
            raise _bad("it holds half a character") from error
    return encode(body)


def quantity(value: str | int | Decimal, unit: str) -> dict[str, Json]:
    """Write a quantity for a record: a decimal string with its unit.

    Raises
    ------
    LogbookError
        If the value is a float (say which digits are meant) or no finite decimal number.
    """
    if isinstance(value, float):
        raise _bad(f"the quantity {value!r} is a float; give its digits as text")
    try:
        number = Decimal(value)
    except (ArithmeticError, ValueError) as error:
        raise _bad(f"{value!r} is no decimal number") from error
    if not number.is_finite():
        raise _bad(f"{value!r} is no finite number")
    return {"value": f"{number:f}", "unit": unit}


def _refuse(value: object, where: str, depth: int) -> None:
    """Refuse what a record may not hold; ``where`` names the place for the message."""
    if depth > MOST_DEPTH:
        raise _bad(f"it is nested more than {MOST_DEPTH} deep", where)
    if isinstance(value, (str, bool)) or value is None:
        return
    if isinstance(value, int):
        if abs(value) > LARGEST_INTEGER:
            raise _bad("an integer is beyond 2^53 - 1; write it as text", where)
    elif isinstance(value, dict):
        for key, item in value.items():
            if not isinstance(key, str):
                raise _bad(f"the key {key!r} is not text", where)
            _refuse(item, f"{where}.{key[:40]}" if where else key[:40], depth + 1)
    elif isinstance(value, list):
        for index, item in enumerate(value):
            _refuse(item, f"{where}[{index}]", depth + 1)
    elif isinstance(value, float):
        raise _bad(f"{value!r} is a float; write a quantity as decimal text with a unit", where)
    else:
        raise _bad(f"{type(value).__name__} is nothing that JSON has", where)


def _no_float(text: str) -> NoReturn:
    raise ValueError(f"{text[:20]} is a float; records hold none")


def _integer(text: str) -> int:
    if len(text) > _INTEGER_SIGNS or abs(int(text)) > LARGEST_INTEGER:
        raise _bad("an integer is beyond 2^53 - 1; write it as text")
    return int(text)


_READER = json.JSONDecoder(parse_float=_no_float, parse_constant=_no_float, parse_int=_integer)
_WRITER = json.JSONEncoder(
    sort_keys=True, separators=(",", ":"), ensure_ascii=False, check_circular=False
)


def _short(error: Exception) -> str:
    return str(error)[:120] or type(error).__name__


def _bad(found: str, where: str = "") -> LogbookError:
    return LogbookError(f"a record is at fault: {found}", where=where[:200])
