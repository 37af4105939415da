"""Columns of a delimited text that a file of the team states: a meter's map, a bench file."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from flightlog.errors import LogFileError
from flightlog.team_files.column_map import FileSection
from flightlog.team_files.reading import near_miss

if TYPE_CHECKING:
    from flightlog.importers.delimited_file import TextFile
    from flightlog.importers.delimited_numbers import Unreadable

FloatArray = npt.NDArray[np.float64]


def unlike(path: Path, found: str, fix: str) -> LogFileError:
    """Make the error of a file that is not what it should be."""
    return LogFileError(found, where=path.name or str(path), fix=fix)


def opened(path: Path, section: FileSection, largest: int, kind: str) -> TextFile:
    """Read a text into cells, as ``[file]`` says how it is written.

    Parameters
    ----------
    path : Path
        The file.
    section : FileSection
        How it is written; what it leaves out is found.
    largest : int
        Most bytes that such a file holds.
    kind : str
        What it should be, in words: "a meter's file".

    Raises
    ------
    LogFileError
        If it can't be read, is too large, or no table.
    """
    from flightlog.importers.delimited_file import open_text

    try:
        size = path.stat().st_size
    except (OSError, ValueError) as error:  # ValueError: a name that no file can have
        said = getattr(error, "strerror", None) or "no file can have this name"
        raise unlike(path, f"can't be read ({said})", "Check the name.") from error
    if size > largest:
        raise unlike(path, f"holds {size} bytes, too many for {kind}", "Check the name.")
    return open_text(
        path,
        encoding=section.encoding,
        delimiter="\t" if section.delimiter == "tab" else section.delimiter,
        header_line=section.header_line,
        skip_lines=section.skip_lines,
        comments=None if section.comment is None else (section.comment,),
    )


def place_of(file: TextFile, header: str) -> int:
    """Find the column of a header.

    Raises
    ------
    LogFileError
        If there is none, with the near one.
    """
    from flightlog.importers.common import clean_text

    known = file.table.header
    for name in (header, clean_text(header).strip()[:80]):
        if name in known:
            return known.index(name)
    hint = near_miss(header, list(known)) or f"Its headers are {', '.join(known[:12])}."
    raise unlike(file.path, f"has no column {header[:60]!r}", hint)


def numbers_at(
    file: TextFile, section: FileSection, at: int, header: str, stated_in: str
) -> tuple[FloatArray, Unreadable]:
    """Read the numbers of a column, in the unit of the file; what stands for none is NaN.

    Parameters
    ----------
    file : TextFile
        As it was opened.
    section : FileSection
        Decimal sign, and what stands for "not measured".
    at, header : int, str
        Which column.
    stated_in : str
        What ``section`` is of, in words: "the map".

    Raises
    ------
    LogFileError
        If its commas may be thousands or decimals.
    """
    from flightlog.importers.delimited_numbers import NumberStyle, numbers, style_of

    table = file.table
    if section.decimal is not None:
        style = NumberStyle(section.decimal)
    else:
        style = style_of(table.some(at), elsewhere=file.decimal)
        if style.unclear:
            raise unlike(
                file.path,
                f"may have thousands or decimal commas in {header[:60]!r}",
                f'Write decimal = "," or "." under [file] in {stated_in}.',
            )
    blank = {text.strip() for text in section.missing if isinstance(text, str)}
    pieces = (
        ["" if cell.strip() in blank else cell for cell in piece] if blank else piece
        for piece in table.pieces(at)
    )
    values, bad = numbers(table, at, style, cells=pieces)
    for sentinel in section.missing:
        if not isinstance(sentinel, str):
            values = np.where(values == sentinel, np.nan, values)
    return values, bad
