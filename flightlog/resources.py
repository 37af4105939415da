"""Where the files that ship with the program are: check lists, rule books, sample flights."""

from __future__ import annotations

from pathlib import Path

from flightlog.errors import FlightlogError

_PACKAGE = Path(__file__).resolve().parent

# A wheel carries the folders inside the package (see the build file); a checkout and an
# editable install have them beside it. A checkout never has the first.
_PLACES = (_PACKAGE / "_data", _PACKAGE.parent)

_FOLDERS = ("checklists", "sample_flights")


def data_path(*parts: str) -> Path:
    """Find a file or folder that ships with the program.

    Parameters
    ----------
    *parts : str
        "checklists" or "sample_flights", then names of folders and files within it.

    Raises
    ------
    FlightlogError
        If it is not there, or does not name something within one of the two folders.
    """
    asked = "/".join(parts)
    if not parts or parts[0] not in _FOLDERS or not all(_plain(part) for part in parts):
        raise FlightlogError(
            f"{asked!r} is not a file that ships with the program",
            fix=f"Such files are in {' and '.join(_FOLDERS)}.",
        )
    for place in _PLACES:
        found = place.joinpath(*parts)
        if found.exists():
            return found
    raise FlightlogError(
        "the file is missing from this installation",
        where=asked,
        fix="Install the program again.",
    )


def _plain(part: str) -> bool:
    """Whether it is one name, that does not lead out of its folder."""
    return part not in {"", ".", ".."} and not set(part) & set("/\\:")
