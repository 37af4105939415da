"""Modes, arming, texts and parameters of a ULog file, and what it says of the firmware."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from flightlog.importers.common import FloatArray, clean_text
from flightlog.importers.house import house_table
from flightlog.importers.ulog_mapping import Columns, mapping, note_source
from flightlog.importers.ulog_scan import Parameter
from flightlog.importers.ulog_topics import RawList, Text

if TYPE_CHECKING:
    import pandas as pd

    from flightlog.importers.ulog_sources import Source

HASH_CHARACTERS = 10


def event_tables(
    source: Source, texts: list[Text], parameters: list[Parameter]
) -> dict[str, pd.DataFrame]:
    """Tables ``modes``, ``arming``, ``messages`` and ``parameters``, as far as there are any."""
    made = {
        "modes": _modes(source),
        "messages": _messages(source, texts),
        "parameters": _parameters(source, parameters),
        "arming": _arming(source),
    }
    return {
        name: house_table(name, columns, source.notes)
        for name, columns in made.items()
        if columns is not None and len(columns["time_s"])
    }


def _states(source: Source, topic: str, field: str) -> tuple[FloatArray, FloatArray] | None:
    """Times and values at which a state changed.

    A state that was published before logging started holds from its start on.
    """
    for key, table in source.instances(topic)[:1]:
        values = table.numbers(field)
        if values is None:
            return None
        time_s, keep = source.timed(key)
        time_s = np.where(keep, time_s, source.clock.beside(table.at))
        order = np.argsort(time_s, kind="stable")
        time_s, values = time_s[order], values[order]
        changed = np.diff(values, prepend=np.nan) != 0
        return time_s[changed], values[changed]
    return None


def _modes(source: Source) -> Columns | None:
    rule = mapping()["modes"]
    found = _states(source, rule["topic"], rule["field"])
    if found is None:
        return None
    time_s, numbers = found
    names: Mapping[str, str] = rule["names"]
    named = [names.get(str(n), f"mode {n}") for n in numbers.astype(np.int64).tolist()]
    source.feed("modes", rule["topic"])
    note_source(source.notes, "modes", "mode", f"{rule['topic']}.{rule['field']}", "")
    return {"time_s": time_s, "mode": np.array(named, dtype=object)}


def _arming(source: Source) -> Columns | None:
    for rule in mapping()["arming"]["sources"]:
        found = _states(source, rule["topic"], rule["field"])
        if found is None:
            continue
        time_s, values = found
        armed = np.isin(values, rule["armed"]).astype(np.float64)
        changed = np.diff(armed, prepend=np.nan) != 0
        source.feed("arming", rule["topic"])
        note_source(source.notes, "arming", "armed", f"{rule['topic']}.{rule['field']}", "")
        return {"time_s": time_s[changed], "armed": armed[changed]}
    return None


def _messages(source: Source, texts: list[Text]) -> Columns | None:
    if not texts:
        return None
    place = np.array([text.at for text in texts], dtype=np.int64)
    stamp = np.array([text.stamp_us for text in texts], dtype=np.float64)
    note_source(source.notes, "messages", "text", "logged text", "", "the format")
    tagged = sum(text.tag is not None for text in texts)
    if tagged:
        source.notes.lines.append(f"{tagged} of the texts carry a tag")
    return {
        "time_s": source.clock.stated(place, stamp),
        "severity": np.array([text.severity for text in texts], dtype=np.int64),
        "text": _objects([clean_text(text.text) for text in texts]),
    }


def _parameters(source: Source, parameters: list[Parameter]) -> Columns | None:
    """Parameters at the start of logging; one that was changed stands again at that time."""
    if not parameters:
        return None
    place = np.array([p.at for p in parameters], dtype=np.int64)
    initial = np.array([p.initial for p in parameters], dtype=bool)
    value = np.array([p.value for p in parameters])
    note_source(source.notes, "parameters", "value", "parameter", "", "the format")
    return {
        "time_s": np.where(initial, source.clock.start_s, source.clock.beside(place)),
        "name": _objects([clean_text(p.name) for p in parameters]),
        "value": np.where(np.isfinite(value), value, np.nan),
    }


def _objects(texts: list[str]) -> npt.NDArray[Any]:
    return np.array(texts, dtype=object)


def defaults(found: Mapping[int, Mapping[str, float]]) -> RawList | None:
    """Default values that the file states, as a raw table: kind 0 firmware, 1 airframe."""
    rows = [(k, name, float(v)) for k, values in found.items() for name, v in values.items()]
    if not rows:
        return None
    return RawList(
        kind=np.array([r[0] for r in rows], dtype=np.int64),
        name=_objects([clean_text(r[1]) for r in rows]),
        value=np.array([r[2] for r in rows], dtype=np.float64),
    )


def firmware(info: Mapping[str, Any]) -> str:
    """What the file says of the firmware: system, release, revision and board."""
    parts = [_text(info, "sys_name")]
    release = info.get("ver_sw_release")
    if isinstance(release, int) and 0 < release < 1 << 32:
        parts.append(
            f"v{release >> 24}.{release >> 16 & 255}.{release >> 8 & 255}{_stage(release)}"
        )
    parts.append(_text(info, "ver_sw")[:HASH_CHARACTERS])
    board = _text(info, "ver_hw")
    if board:
        parts.append(f"on {board}")
    return clean_text(" ".join(part for part in parts if part))


def own_id(info: Mapping[str, Any]) -> str:
    """What the autopilot calls itself: the number of its processor, "" where it tells none."""
    return clean_text(_text(info, "sys_uuid"))[:80]


def _stage(release: int) -> str:
    """Stage of a release, by its lowest byte: 255 is the release itself."""
    stage = release & 255
    for least, name in ((255, ""), (192, " rc"), (128, " beta"), (64, " alpha")):
        if stage >= least:
            return name
    return " in development"


def _text(info: Mapping[str, Any], key: str) -> str:
    value = info.get(key)
    return value[:200] if isinstance(value, str) else ""
