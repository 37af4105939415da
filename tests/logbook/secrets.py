"""Searches for secrets where they must not be, in every form in which a program may spill them.

``traces(secrets, places)`` gives what was found; an empty list is what a test wants. Keep secrets
in globals of a test file, not in variables of the test: a place that is an exception is searched
with the variables of all its frames, and the frame of the test is one of them.
"""

from __future__ import annotations

import base64
import itertools
import json
import os
import pickle
import sys
import traceback
import unicodedata
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any
from urllib.parse import quote_from_bytes

SHORTEST = 8
"""Forms shorter than this are in other data by chance [bytes]."""


def traces(secrets: Mapping[str, bytes | str], places: Mapping[str, Any]) -> list[str]:
    """Search places for secrets.

    Parameters
    ----------
    secrets : mapping
        Name of a secret -> its bytes or its text.
    places : mapping
        Name of a place -> what is searched: bytes, text, a file or a whole folder (names and
        contents), an exception (with the variables of its frames, and all that it came from), a
        list or mapping of places, or any object (as text, as a pickle, and what it holds).

    Returns
    -------
    list of str
        Like "passphrase as base64 in key folder: 7xk.json".
    """
    searched = [
        (name, what, form) for name, s in secrets.items() for what, form in forms(s).items()
    ]
    return [
        f"{name} as {what} in {where}"
        for place, held in places.items()
        for where, data in _bytes_of(place, held)
        for name, what, form in searched
        if form in data
    ]


def own_process() -> dict[str, Any]:
    """The places of this process that others can look at: its arguments and its environment."""
    places: dict[str, Any] = {
        "arguments": list(sys.argv),
        "environment": [f"{key}={value}" for key, value in os.environ.items()],
    }
    for name in ("cmdline", "environ"):
        path = Path("/proc/self", name)
        if path.exists():
            places[str(path)] = path.read_bytes()
    return places


# --- forms


def forms(secret: bytes | str) -> dict[str, bytes]:
    """Give the forms of a secret that are searched: name -> bytes."""
    found: dict[str, bytes] = {}
    for part, piece in _pieces(secret):
        found[f"{part}raw bytes"] = piece
        found[f"{part}raw bytes, reversed"] = piece[::-1]
        for name, text in _texts(piece):
            for encoding in ("utf-8", "utf-16-le", "utf-16-be"):
                found[f"{part}{name}, {encoding}"] = text.encode(encoding)
                found[f"{part}{name}, reversed, {encoding}"] = text[::-1].encode(encoding)
    return {name: form for name, form in found.items() if len(form) >= SHORTEST}


def _pieces(secret: bytes | str) -> Iterator[tuple[str, bytes]]:
    for spelled, data in _spellings(secret).items():
        yield spelled, data
        if len(data) >= 2 * SHORTEST:
            yield f"{spelled}first half: ", data[: len(data) // 2]
            yield f"{spelled}last half: ", data[len(data) // 2 :]


def _spellings(secret: bytes | str) -> dict[str, bytes]:
    if isinstance(secret, bytes):
        return {"": secret}
    given = secret.encode()
    normal = {f"{form}: ": unicodedata.normalize(form, secret).encode() for form in ("NFC", "NFD")}
    return {"": given, **{name: data for name, data in normal.items() if data != given}}


def _texts(data: bytes) -> Iterator[tuple[str, str]]:
    yield "hex", data.hex()
    yield "hex in capitals", data.hex().upper()
    yield "hex with colons", data.hex(":")
    yield "hex with blanks", data.hex(" ")
    for shift in range(3):
        yield f"base64 at {shift}", _base64(data, shift, b"+/")
        yield f"urlsafe base64 at {shift}", _base64(data, shift, b"-_")
    yield "base32", base64.b32encode(data).decode().rstrip("=")
    yield "base85", base64.b85encode(data).decode()
    yield "Python bytes", repr(data)[2:-1]
    yield "numbers", str(list(data))[1:-1]
    yield "numbers without blanks", json.dumps(list(data), separators=(",", ":"))[1:-1]
    yield "a large number", str(int.from_bytes(data, "big"))
    yield "a large number from behind", str(int.from_bytes(data, "little"))
    yield "percent signs", quote_from_bytes(data)
    text = data.decode("utf-8", errors="replace")
    if "\N{REPLACEMENT CHARACTER}" not in text:
        yield "text", text
        yield "capitals", text.upper()
        yield "Python text", ascii(text)[1:-1]
        yield "JSON text", json.dumps(text)[1:-1]


def _base64(data: bytes, shift: int, others: bytes) -> str:
    """The signs of base64 that hang on the data alone, where it stands ``shift`` bytes in."""
    encoded = base64.b64encode(bytes(shift) + data + bytes(2), altchars=others).decode()
    return encoded[-(-8 * shift // 6) : 8 * (shift + len(data)) // 6]


# --- places


def _bytes_of(place: str, held: Any) -> Iterator[tuple[str, bytes]]:
    if isinstance(held, bytes | bytearray):
        yield place, bytes(held)
    elif isinstance(held, str):
        yield place, held.encode("utf-8", errors="surrogateescape")
    elif isinstance(held, Path):
        yield from _files(place, held)
    elif isinstance(held, BaseException):
        for number, error in enumerate(_chain(held)):
            yield f"{place}: exception {number}", _spoken(error).encode(errors="backslashreplace")
    elif isinstance(held, Mapping):
        for key, item in held.items():
            yield f"{place}: a key", str(key).encode()
            yield from _bytes_of(f"{place}: {key}", item)
    elif isinstance(held, list | tuple):
        for number, item in enumerate(held):
            yield from _bytes_of(f"{place}[{number}]", item)
    else:
        yield from _object(place, held)


def _files(place: str, path: Path) -> Iterator[tuple[str, bytes]]:
    assert path.exists(), f"{path} is not there to be searched"
    for file in itertools.chain([path], path.rglob("*") if path.is_dir() else []):
        where = f"{place}: {file.relative_to(path)}"
        yield f"{where}: the name", os.fsencode(file.name)
        if file.is_symlink():
            yield f"{where}: the target", os.fsencode(os.readlink(file))
        elif file.is_file():
            yield where, file.read_bytes()


def _chain(error: BaseException) -> Iterator[BaseException]:
    """An exception and all that it came from, also what a traceback would leave out."""
    waiting, seen = [error], set()
    while waiting:
        one = waiting.pop()
        if id(one) not in seen:
            seen.add(id(one))
            yield one
            waiting += [e for e in (one.__cause__, one.__context__) if e is not None]


def _spoken(error: BaseException) -> str:
    told = traceback.TracebackException.from_exception(error, capture_locals=True)
    return "".join((*told.format(), repr(error.args), repr(getattr(error, "__dict__", {}))))


def _object(place: str, held: object) -> Iterator[tuple[str, bytes]]:
    spoken = (repr(held), str(held), f"{held}", repr(getattr(held, "__dict__", {})))
    yield f"{place}: as text", "\n".join(spoken).encode(errors="backslashreplace")
    for protocol in range(pickle.HIGHEST_PROTOCOL + 1):
        try:
            yield f"{place}: as a pickle", pickle.dumps(held, protocol)
        except Exception:  # what can't be pickled spills nothing by it
            continue
