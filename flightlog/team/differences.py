"""How two versions of a team file differ, and whether a limit does.

Two tables are compared key by key, whatever the layout and the comments of their files. Tables in
a list are matched by their ``id``; the order in which they stand is told, and is no limit.

A change of a limit takes a second signature. What bounds a flight, or what a bound is computed
from, is a limit, and so is every key that this program does not know; the others stand in ``FREE``.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date, datetime, time
from typing import Any

from flightlog.logbook.flying_kinds import FILE_KINDS

KeyPath = tuple[str, ...]

FREE: Mapping[str, tuple[str, ...]] = {
    # What it is called and how its logs are read. Limits are: [limits], [balance], [stations],
    # [weather], [life], [[task]], [mass], [battery], the stall speed, and what it had before.
    "aircraft": (
        "serial",
        "autopilot_id",
        "configuration",
        "lever_m",
        "wing.area_m2",
        "thrust.*",
        "polar.*",
        "outputs.*.*",
        "battery.resistance_ohm",
        "task.*.title",
        "imu_lever_m",
        "tail.dihedral_deg",
        "link.raw_scale",
        "link.raw_offset_dbm",
        "link.frequency_hz",
        "motor.*",
    ),
    # Limits are: [limits], [life], [[task]], cells, energy, capacity, mass, what it had before.
    "pack": ("serial", "chemistry", "reference_current_a", "task.*.title"),
    # Limits are: group, [life], [[task]], what it had before.
    "component": ("title", "serial", "task.*.title"),
    # Limits are: [[limit]], [screen], and clauses.
    "rules": ("version", "title", "limit.*.source", "score.*", "score.*.*", "score.*.*.*"),
    # Limits are: validity, what it is about, and of each item all but headings and hints. Its text
    # is one too, because it says what is right.
    "checklist": ("version", "title", "when", "item.*.section", "item.*.title", "item.*.hint"),
    # All of it says how a measured wind is read, which is judged by limits.
    "meter": (),
}
"""Kind of file -> keys that are no limits; ``*`` stands for one step. The rest are limits."""
WITHOUT_LIMITS = ("site",)
"""Kinds of files in which nothing is a limit."""

_LONGEST_TEXT = 160
_BEFORE = 24
"""So much is shown before the place where two long texts differ [characters]."""
_LARGEST = 10**40
_ORDER = "(order)"


@dataclass(frozen=True, slots=True)
class Difference:
    """One key that differs.

    Attributes
    ----------
    key : str
        Where it stands: ``limits."flight.max_airspeed".at_most``, ``task.linkages.every_hours``.
    before, after : str or None
        Its value as text, cut where it is long; None where the key is not there.
    limit : bool
        Whether it is a limit.
    """

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
        One of ``FILE_KINDS``.
    before, after : mapping
        As read from TOML, not nested deeper than ``contents.MOST_DEPTH``. Nothing is there before
        a first version, which so sets all its limits.

    Returns
    -------
    tuple of Difference
        Limits first, each group in the order of keys.
    """
    if kind not in FILE_KINDS:
        raise ValueError(f"{kind!r} is no kind of team file")
    found = _compared(kind, before, after, ())
    return tuple(sorted(found, key=lambda d: (not d.limit, d.key)))


def is_limit(kind: str, path: KeyPath) -> bool:
    """Whether what stands under a path of keys (ids for tables of lists) is a limit."""
    if kind in WITHOUT_LIMITS or path == ("id",):  # another id is another file
        return False
    return not any(_fits(path, tuple(free.split("."))) for free in FREE[kind])


def _fits(path: KeyPath, pattern: KeyPath) -> bool:
    return len(path) == len(pattern) and all(
        wanted in ("*", step) for step, wanted in zip(path, pattern, strict=True)
    )


def _compared(
    kind: str, before: Mapping[str, Any], after: Mapping[str, Any], path: KeyPath
) -> Iterator[Difference]:
    for name in before.keys() | after.keys():
        here, old, new = (*path, name), before.get(name), after.get(name)
        if (old_table := _table(old)) is not None and (new_table := _table(new)) is not None:
            yield from _compared(kind, old_table, new_table, here)
        elif (old_table := _by_id(old)) is not None and (new_table := _by_id(new)) is not None:
            yield from _compared_lists(kind, old_table, new_table, here)
        elif not same(old, new):
            yield _difference(kind, here, old, new)


def _compared_lists(
    kind: str, before: Mapping[str, Any], after: Mapping[str, Any], path: KeyPath
) -> Iterator[Difference]:
    """Compare two lists of tables by their ids; one that is new, or gone, is one difference."""
    for id_ in before.keys() | after.keys():
        here, old, new = (*path, id_), before.get(id_), after.get(id_)
        if old is not None and new is not None:
            yield from _compared(kind, old, new, here)
        else:
            yield _difference(kind, here, old, new)
    both = before.keys() & after.keys()
    orders = [[id_ for id_ in tables if id_ in both] for tables in (before, after)]
    if orders[0] != orders[1]:
        texts = _texts(*orders)
        yield Difference(f"{_written(path)} {_ORDER}", *texts, limit=False)


def _difference(kind: str, path: KeyPath, old: object, new: object) -> Difference:
    leaves = {*_leaves(old, path), *_leaves(new, path)}
    limit = any(is_limit(kind, leaf) for leaf in leaves)
    return Difference(_written(path), *_texts(old, new), limit)


def _table(value: object) -> Mapping[str, Any] | None:
    """Give a table; where nothing is, an empty one."""
    if value is None:
        return {}
    return value if isinstance(value, Mapping) else None


def _by_id(value: object) -> dict[str, Mapping[str, Any]] | None:
    """Give tables of a list by their ids, of nothing none; None for what is no such list."""
    if value is None:
        return {}
    if not isinstance(value, list) or not all(isinstance(v, Mapping) for v in value):
        return None
    ids = [v.get("id") for v in value]
    if not all(isinstance(id_, str) for id_ in ids) or len(set(ids)) != len(ids):
        return None
    return dict(zip(ids, value, strict=True))


def same(one: object, other: object) -> bool:
    """Whether two values of TOML are the same; 6 is 6.0, and true is not 1."""
    if isinstance(one, list) and isinstance(other, list):
        return len(one) == len(other) and all(map(same, one, other))
    if isinstance(one, Mapping) and isinstance(other, Mapping):
        return one.keys() == other.keys() and all(same(one[k], other[k]) for k in one)
    return isinstance(one, bool) == isinstance(other, bool) and one == other


def _leaves(value: object, path: KeyPath) -> Iterator[KeyPath]:
    """Give the paths of all values; of nothing none."""
    if value is None:
        return
    if isinstance(value, Mapping):
        for name, inner in value.items():
            yield from _leaves(inner, (*path, name))
    elif (tables := _by_id(value)) is not None:
        for id_, inner in tables.items():
            yield from _leaves(inner, (*path, id_))
    else:
        yield path


# --- words


def _written(path: KeyPath) -> str:
    return ".".join(map(_step, path))


def _step(name: str) -> str:
    bare = name.isascii() and name.replace("_", "a").replace("-", "a").isalnum()
    return name if bare else json.dumps(name, ensure_ascii=False)


def _texts(old: object, new: object) -> tuple[str | None, str | None]:
    """Write two values that differ; long ones are cut to where they do."""
    before = None if old is None else _toml(old)
    after = None if new is None else _toml(new)
    if before is None or after is None:
        return before and _cut(before, 0), after and _cut(after, 0)
    pairs = enumerate(zip(before, after, strict=False))
    alike = next((i for i, (a, b) in pairs if a != b), min(len(before), len(after)))
    start = max(0, alike - _BEFORE)
    return _cut(before, start), _cut(after, start)


def _cut(text: str, start: int) -> str:
    if len(text) <= _LONGEST_TEXT:
        return text
    shown = text[start : start + _LONGEST_TEXT - 6]
    more = "..." if start + len(shown) < len(text) else ""
    return f"{'...' if start else ''}{shown}{more}"


def _toml(value: object) -> str:
    """Write a value about as TOML does, on one line."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=False)
    if isinstance(value, int) and abs(value) > _LARGEST:
        return hex(value)  # a number of thousands of digits is not written as decimal
    if isinstance(value, (date, datetime, time)):
        return value.isoformat()
    if isinstance(value, list):
        return f"[{', '.join(map(_toml, value))}]"
    if isinstance(value, Mapping):
        return f"{{{', '.join(f'{_step(k)} = {_toml(v)}' for k, v in value.items())}}}"
    return str(value)
