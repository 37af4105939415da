"""Files that were dropped onto a page, on the disk for the readers under harmless names."""

from __future__ import annotations

import shutil
import tempfile
import weakref
from collections.abc import Sequence
from pathlib import Path, PurePosixPath, PureWindowsPath
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from streamlit.runtime.uploaded_file_manager import UploadedFile

_CHUNK = 1 << 20
_LONGEST = 120
"""Of a name [bytes]; no file system takes more than 255, and what comes after it needs room."""


def name_of(given: str, without: str = "log") -> str:
    """Give the last part of a name, whatever system it comes from; never a way to elsewhere.

    Parameters
    ----------
    given : str
        As the browser tells it.
    without : str, optional
        What a file is called whose name has nothing that can be kept.
    """
    name = PureWindowsPath(PurePosixPath(given).name).name
    kept = "".join(sign for sign in name if sign.isprintable() and sign not in '<>:"|?*')
    last = kept.strip(" .").encode()[-_LONGEST:].decode(errors="ignore")
    return last.strip(" .") or without


def written(files: Sequence[UploadedFile], place: Path, without: str = "log") -> list[Path]:
    """Write files below a folder, each into a folder of its own: two may have one name."""
    found = []
    for number, file in enumerate(files):
        folder = place / str(number)
        folder.mkdir()
        path = folder / name_of(file.name, without)
        file.seek(0)
        with path.open("wb") as to:
            while chunk := file.read(_CHUNK):
                to.write(chunk)
        found.append(path)
    return found


class Shelf:
    """A folder for what was dropped, for as long as somebody holds this.

    Attributes
    ----------
    path : Path
        The folder; it goes with the last hold on the shelf, or with the program.
    """

    def __init__(self) -> None:
        self.path = Path(tempfile.mkdtemp(prefix="flightlog-drop-"))
        self._end = weakref.finalize(self, shutil.rmtree, str(self.path), True)

    def clear(self) -> None:
        """Remove the folder and all that lies in it."""
        self._end()

    def without_place(self, text: str) -> str:
        """Give a text without the ways to what lies here: people know files by their names."""
        for folder in self.path.glob("*"):
            text = text.replace(f"{folder}/", "").replace(f"{folder}\\", "")
        return text
