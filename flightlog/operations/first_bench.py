"""A first bench file for a file of a ground test: what was recognised, and what may be stated."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path

from pydantic import BaseModel
from pydantic.fields import FieldInfo

from flightlog.ground_figures import GROUND_FIGURES
from flightlog.groundtests.registry import GroundKind
from flightlog.operations.bench_clock import MINUTES, TIME_OF_DAY
from flightlog.operations.bench_reading import Header, recognised_headers
from flightlog.operations.ground_test import ground_kind
from flightlog.team_files import bench_tables
from flightlog.team_files.column_units import spelled_unit, units_for

_ANY = ("", "text")
MOST_SHOWN = 40
"""Headers of a file that are listed as not recognised."""


def first_bench_text(word: str, path: Path) -> str:
    """Write a bench file that fits a file of numbers, with all that may be stated as comments.

    Parameters
    ----------
    word : str
        Kind of test.
    path : Path
        One of its files.

    Raises
    ------
    UsageError
        If the kind is unknown.
    LogFileError
        If the file can't be read, or is no table.
    """
    kind = ground_kind(word)
    lines = [*_head(kind, path), *_columns(kind, path), *_own(kind)]
    return "\n".join(lines) + "\n"


def _quoted(text: str) -> str:
    return json.dumps(text, ensure_ascii=False)


def _head(kind: GroundKind, path: Path) -> Iterator[str]:
    yield f"# {kind.label}: {kind.answers}"
    yield "# Lines that begin with # are not read; remove the # from what you state."
    yield 'schema = "flightlog.bench/1"'
    stem = "".join(c if c.isascii() and (c.isalnum() or c in "._-") else "-" for c in path.stem)
    yield f"id = {_quoted(stem.strip('-._')[:60] or kind.word)}"
    yield f"kind = {_quoted(kind.word)}"
    yield '# instrument = "which instrument, and when it was checked"'
    yield ""
    yield "[subject]                    # of what; a series over time is of one part"
    for thing in kind.things:
        yield f'# {thing} = "its id in the team folder"'
    yield '# part = "which part of it"'
    yield '# configuration = "how it stood"'


def _columns(kind: GroundKind, path: Path) -> Iterator[str]:
    """State each column of the file that the test can use, or could if its unit were known."""
    recognised, others = recognised_headers(path, kind)
    there = {header.name: header for header in recognised}
    if others:
        more = ", ..." if len(others) > MOST_SHOWN else ""
        yield ""
        yield f"# Not recognised: {', '.join(_quoted(o) for o in others[:MOST_SHOWN])}{more}"
    for column in kind.columns:
        numbered = [n for n in there if column.numbered and n.startswith(f"{column.name}_")]
        for name in [column.name, *numbered] if column.name in there else numbered:
            yield ""
            yield f"[columns.{name}]  # {column.meaning}"
            yield from _column(there[name], column.unit)
        if column.name not in there and not numbered:
            needed = "needed: " if column.needed else ""
            unit = "" if column.unit in _ANY else f"; unit: {_fitting(column.unit)}"
            yield ""
            number = "_1" if column.numbered else ""
            yield f"# [columns.{column.name}{number}]  # {needed}{column.meaning}{unit}"
            yield '# header = "as the file has it"'


def _column(header: Header, house: str) -> Iterator[str]:
    yield f"header = {_quoted(header.header)}"
    if house in _ANY:
        return
    unit = spelled_unit(header.unit, house)
    if header.name == "time" and header.unit in (TIME_OF_DAY, MINUTES):
        yield f"unit = {_quoted(header.unit)}"
    elif unit is not None:
        yield f"unit = {_quoted(unit.name)}"
    else:
        yield f'unit = ""  # which? one of {_fitting(house)}'


def _fitting(house: str) -> str:
    return ", ".join(unit.name for unit in units_for(house))


def _own(kind: GroundKind) -> Iterator[str]:
    """Write the kind's own table, each key as a comment with its meaning."""
    model: type[BaseModel] = getattr(bench_tables, f"{kind.word.capitalize()}Bench")
    yield ""
    yield f"[{kind.word}]"
    for name, field in model.model_fields.items():
        meaning = field.description or ""
        shown = _default(field)
        yield f"# {name} = {shown}" + (f"  # {meaning}" if meaning else "")
    yield ""
    yield f"[limits]  # at_least or at_most{_who(kind)}"
    for figure in (*GROUND_FIGURES.values(), *GROUND_FIGURES.families.values()):
        if figure.id.partition(".")[0] == kind.word:
            unit = f", unit = {_quoted(figure.unit)}" if figure.unit else ""
            yield f'# "{figure.id}" = {{ at_least = 1.0{unit} }}'


def _who(kind: GroundKind) -> str:
    """Say what stands for the name in a family of figures."""
    named = {"ringdown": "first, second, ...", "linkage": "the surface"}.get(kind.word)
    return f"; NAME is {named}" if named else ""


def _default(field: FieldInfo) -> str:
    if field.examples:
        return str(field.examples[0])
    if field.default_factory is not None or field.default is None:
        return "..."
    if isinstance(field.default, bool):
        return str(field.default).lower()
    if isinstance(field.default, int | float):
        return f"{field.default:g}"
    return _quoted(field.default) if isinstance(field.default, str) else "..."
