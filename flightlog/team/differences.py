"""How two versions of a team file differ, and whether a limit does.

Tables in lists are matched by their ``id``. What counts as a limit stands in ``LIMITS``: a change
of it takes a second signature.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from fnmatch import fnmatchcase
from typing import Any

LIMITS: dict[str, tuple[str, ...]] = {
    "aircraft": (
        "limits.*",
        "balance.*",
        "stations.*",
        "weather.*",
        "life.*",
        "task.*",
        "mass.*",
        "hours_before",
        "landings_before",
        "since",
    ),
    "pack": (
        "limits.*",
        "life.*",
        "task.*",
        "cells",
        "parallel",
        "nominal_wh",
        "mass_kg",
        "hours_before",
        "landings_before",
        "cycles_before",
        "since",
    ),
    "component": (
        "life.*",
        "task.*",
        "group",
        "hours_before",
        "landings_before",
        "cycles_before",
        "since",
    ),
    "rules": ("limit.*", "screen.*", "clause.*"),
    "checklist": ("item.*", "valid_hours", "about"),
    "site": (),
    "meter": ("columns.*", "utc_offset_min"),
}
"""Kind of file -> keys whose change is a change of a limit."""
READING_TEXT = ("item.*.text", "item.*.section", "task.*.title", "clause.*.requires")
"""Texts within these that people read, and that bound nothing."""
_ABSENT = object()


@dataclass(frozen=True, slots=True)
class Difference:
    """One key that differs: its value before and after, None where it was not there."""

    key: str
    before: str | None
    after: str | None
    limit: bool


def differences(
    kind: str, before: Mapping[str, Any], after: Mapping[str, Any]
) -> tuple[Difference, ...]:
    """Compare two versions of a file.

    Parameters
    ----------
    kind : str
        Of ``LIMITS``.
    before, after : mapping
        What TOML gives; ``before`` is empty for a first version.

    Returns
    -------
    tuple of Difference
        Sorted by key. A first version sets all its limits.
    """
    old, new = dict(_flat(before, "")), dict(_flat(after, ""))
    for table in (old, new):
        table.pop("schema", None)  # what kind of file it is, and no part of what it says
    return tuple(
        Difference(
            key, _text(old.get(key, _ABSENT)), _text(new.get(key, _ABSENT)), is_limit(kind, key)
        )
        for key in sorted(old.keys() | new.keys())
        if old.get(key, _ABSENT) != new.get(key, _ABSENT)
        or type(old.get(key)) is not type(new.get(key))
    )


def is_limit(kind: str, key: str) -> bool:
    """Whether a key bounds something."""
    if any(fnmatchcase(key, text) for text in READING_TEXT):
        return False
    return any(fnmatchcase(key, f"{limit}") for limit in LIMITS[kind])


def _flat(value: object, key: str) -> Iterator[tuple[str, object]]:
    if isinstance(value, Mapping):
        for name, inner in value.items():
            yield from _flat(inner, f"{key}.{name}" if key else str(name))
    elif isinstance(value, list) and value and all(isinstance(v, Mapping) for v in value):
        for index, inner in enumerate(value):
            yield from _flat(inner, f"{key}.{inner.get('id', index)}")
    else:
        yield key, value


def _text(value: object) -> str | None:
    if value is _ABSENT:
        return None
    text = str(value)
    return text if len(text) <= 190 else f"{text[:190]}..."
