"""From the bytes of a TOML file to a table of the expected kind, or a clear error."""

from __future__ import annotations

import hashlib
import re
import tomllib
from difflib import get_close_matches
from pathlib import Path
from typing import Any

from flightlog.errors import TeamFileError

LARGEST_BYTES = 1_000_000
"""No file that people edit is larger; a log given by mistake is."""
MOST_DEPTH = 20
"""No file that people edit nests its tables and lists deeper."""

_PLACE = re.compile(r" \(at line (\d+), column \d+\)$")
_SCHEMA = re.compile(r"flightlog\.([a-z_]+)/(\d+)")


def read_toml(path: Path, kind: str) -> tuple[dict[str, Any], str]:
    """Read one file of ours.

    Parameters
    ----------
    path : Path
        TOML in UTF-8; a byte-order mark is tolerated.
    kind : str
        The file must start with ``schema = "flightlog.KIND/1"``.

    Returns
    -------
    table : dict
        What the file says, without ``schema``.
    sha256 : str
        Hash of the file's bytes, in hexadecimal.

    Raises
    ------
    TeamFileError
        If the file is missing, a folder, unreadable, not TOML or of another kind.
    """
    data = _read_bytes(Path(path))
    return table_of(data, kind, path), hashlib.sha256(data).hexdigest()


def table_of(data: bytes, kind: str, path: Path) -> dict[str, Any]:
    """Give the table that the bytes of one of our files hold, without ``schema``.

    Parameters
    ----------
    data : bytes
        TOML in UTF-8; a byte-order mark is tolerated.
    kind : str
        The file must start with ``schema = "flightlog.KIND/1"``.
    path : Path
        For errors.

    Raises
    ------
    TeamFileError
        If they are not TOML or of another kind.
    """
    table = _parsed(data, path)
    _check_schema(table.pop("schema", None), kind, path)
    return table


def kind_of(data: bytes, path: Path) -> str:
    """Give the kind of file that the bytes claim to be by their ``schema``, "" for none of ours.

    Raises
    ------
    TeamFileError
        If they are not TOML.
    """
    found = _parsed(data, path).get("schema")
    parts = _SCHEMA.fullmatch(found) if isinstance(found, str) else None
    return parts[1] if parts else ""


def _read_bytes(path: Path) -> bytes:
    try:
        # Asked first: opening a folder is a refused permission on some systems.
        if path.is_dir():
            raise TeamFileError("is a folder, not a file", where=str(path), fix="Name the file.")
        size = path.stat().st_size
        if size > LARGEST_BYTES:
            raise TeamFileError(
                f"holds {size} bytes, too many for a file that people edit",
                where=str(path),
                fix="Check that the right file is named.",
            )
        return path.read_bytes()
    except FileNotFoundError as error:
        raise TeamFileError("no such file", where=str(path), fix=_neighbour(path)) from error
    except PermissionError as error:
        raise TeamFileError(
            "may not be read", where=str(path), fix="Check the permissions of file and folder."
        ) from error
    except (OSError, ValueError) as error:  # ValueError: a name that no file can have
        said = getattr(error, "strerror", None) or str(error)
        raise TeamFileError(
            f"can't be read ({said})", where=repr(str(path))[1:-1], fix="Check the name."
        ) from error


def _neighbour(path: Path) -> str:
    try:
        names = [p.name for p in path.parent.iterdir() if p.is_file()]
    except OSError:
        return "Check the name and the folder."
    return near_miss(path.name, names) or "Check the name and the folder."


def _parsed(data: bytes, path: Path) -> dict[str, Any]:
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        raise TeamFileError(
            f"byte 0x{data[error.start]:02x} is not UTF-8",
            where=f"{path}:{line}",
            fix="Save the file as UTF-8.",
        ) from error
    try:
        table = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        said = str(error)
        place = _PLACE.search(said)
        line = int(place[1]) if place else text.count("\n") + 1
        said = _PLACE.sub("", said).removesuffix(" (at end of document)")
        raise TeamFileError(
            f"not valid TOML ({said[:1].lower()}{said[1:]})",
            where=f"{path}:{line}",
            fix="Look at that line and the one before it.",
        ) from error
    except (ValueError, RecursionError) as error:  # a number or a nest of brackets without end
        raise _endless(path) from error
    if _depth(table) > MOST_DEPTH:  # dotted keys nest without brackets
        raise _endless(path)
    return table


def _endless(path: Path) -> TeamFileError:
    return TeamFileError(
        "holds a number or nested brackets too long to read",
        where=str(path),
        fix="Check that the right file is named.",
    )


def _depth(table: dict[str, Any]) -> int:
    """How deep tables and lists are nested; without recursion, as it may be deep."""
    deepest = 0
    waiting: list[tuple[int, dict[str, Any] | list[Any]]] = [(1, table)]
    while waiting:
        depth, value = waiting.pop()
        deepest = max(deepest, depth)
        inner = value.values() if isinstance(value, dict) else value
        waiting += [(depth + 1, v) for v in inner if isinstance(v, (dict, list))]
    return deepest


def _check_schema(found: object, kind: str, path: Path) -> None:
    wanted = f"flightlog.{kind}/1"
    if found == wanted:
        return
    where = f"{path}: schema"
    parts = _SCHEMA.fullmatch(found) if isinstance(found, str) else None
    if found is None:
        raise TeamFileError(
            "is missing", where=where, fix=f'Start the file with schema = "{wanted}".'
        )
    if parts and parts[1] == kind:
        raise TeamFileError(
            f"is {found!r}, and this version reads {wanted!r}",
            where=where,
            fix="The file was written for another version of the program; update the program.",
        )
    if parts:
        raise TeamFileError(
            f"is {found!r}, not {wanted!r}",
            where=where,
            fix=f"This is a {parts[1]} file; give a {kind} file.",
        )
    raise TeamFileError(f"is {shown(found)}, not {wanted!r}", where=where, fix="Correct it.")


def near_miss(name: str, known: list[str] | tuple[str, ...]) -> str:
    """Give "Did you mean 'x'?" for the closest of the known names, else ""."""
    folded = {k.casefold(): k for k in known}
    close = get_close_matches(name.casefold(), list(folded), n=1, cutoff=0.6)
    return f"Did you mean {folded[close[0]]!r}?" if close else ""


def shown(value: object, longest: int = 60) -> str:
    """Show a value as it was met, on one line and not too long."""
    text = repr(value)
    return text if len(text) <= longest else text[: longest - 3] + "..."
