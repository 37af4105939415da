"""Topics and what is needed to make tables of them: times, choice of topics, mapped columns."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import numpy.typing as npt

from flightlog.columns import TABLES
from flightlog.constants import ZERO_CELSIUS_K
from flightlog.importers.common import BoolArray, FloatArray, Notes
from flightlog.importers.house import is_stuck
from flightlog.importers.standard_air import pressure_height
from flightlog.importers.ulog_clock import LogClock
from flightlog.importers.ulog_mapping import Columns, columns_of, feeds, mapping, note_source
from flightlog.importers.ulog_topics import Topic

IntArray = npt.NDArray[np.int64]

NEVER = 2**31 - 1
"""A relative time that stands for "no value"."""


@dataclass(slots=True)
class Source:
    """The topics of a file, and what is needed to make tables of them.

    Attributes
    ----------
    topics : mapping
        By name as in ``recording.raw``.
    clock : LogClock
        Gives the times.
    notes : Notes
        Receives what is noticed.
    fed : dict
        Table -> topics that feed it.
    """

    topics: Mapping[str, Topic]
    clock: LogClock
    notes: Notes
    fed: dict[str, list[str]] = field(default_factory=dict)

    def instances(self, name: str) -> list[tuple[str, Topic]]:
        """Every instance of a topic, in order."""
        found = [(key, topic) for key, topic in self.topics.items() if topic.name == name]
        kept = [(key, topic) for key, topic in found if "@" not in key]
        return sorted(kept, key=lambda item: item[1].multi_id)

    def timed(self, key: str) -> tuple[FloatArray, BoolArray]:
        """Times of a topic's rows, and which of them to keep."""
        timing = self.clock.timings[key]
        return self.clock.sampled(self.topics[key], timing), timing.keep

    def feed(self, table: str, key: str) -> None:
        """Note that a topic feeds a table."""
        if key not in self.fed.setdefault(table, []):
            self.fed[table].append(key)


def joined(parts: list[Columns]) -> Columns:
    """Put rows of several instances below one another; what one lacks is NaN there."""
    rows = [len(part["time_s"]) for part in parts]
    names = {name: None for part in parts for name in part}
    return {
        name: np.concatenate(
            [p.get(name, np.full(n, np.nan)) for p, n in zip(parts, rows, strict=True)]
        )
        for name in names
    }


def mapped(source: Source, table: str) -> Columns | None:
    """Columns of a table from the topic that tells most of it, all instances."""
    chosen = _choose(source, table)
    if chosen is None:
        return None
    parts = [part_of(source, table, chosen, key) for key, _ in source.instances(chosen["topic"])]
    measured = [part for part in parts if part is not None]
    return joined(measured) if measured else None


def _choose(source: Source, table: str) -> Mapping[str, Any] | None:
    """The topic with the most rows; a lower rank counts double, so it is rarely passed over."""
    rows: list[tuple[int, dict[str, Any]]] = []
    for rule in mapping()["source"]:
        if rule["table"] == table:
            kept = [
                int(np.count_nonzero(source.timed(key)[1] & _has_value(topic, rule)))
                for key, topic in source.instances(rule["topic"])
                if feeds(topic, rule["columns"])
            ]
            best = max(kept, default=0)
            if best:
                rows.append((best, rule))
    if not rows:
        return None
    most = max(count for count, _ in rows)
    able = [item for item in rows if 2 * item[0] >= most]
    count, chosen = min(able, key=lambda item: int(item[1]["rank"]))
    others = [f"{rule['topic']} ({n} rows)" for n, rule in rows if rule is not chosen]
    if others:
        source.notes.lines.append(
            f"{table} is {chosen['topic']} ({count} rows); also in the file: {', '.join(others)}"
        )
    return chosen


def _has_value(topic: Topic, rule: Mapping[str, Any]) -> BoolArray:
    """Rows that hold a value of their own, where another clock in the row tells that."""
    moved = topic.numbers(rule["moved_by"]) if "moved_by" in rule else None
    stamp = topic.numbers("timestamp")
    if moved is None or stamp is None:
        return np.ones(len(topic), dtype=bool)
    new: BoolArray = np.diff(stamp + moved, prepend=-1.0) != 0
    return np.logical_and(new, np.abs(moved) < NEVER)


def part_of(source: Source, table: str, rule: Mapping[str, Any], key: str) -> Columns | None:
    """Columns of a table from one instance of a topic; None where nothing was measured."""
    topic = source.topics[key]
    time_s, keep = source.timed(key)
    values, missing = columns_of(table, topic, rule["columns"], source.notes)
    keep = keep & _has_value(topic, rule)
    if "moved_by" in rule:
        moved = topic.numbers(rule["moved_by"])
        time_s = time_s if moved is None else time_s + moved * 1e-6
    if "beside" in rule:
        values |= _beside(source, table, rule["beside"], topic, time_s)
    if table == "baro":
        _finish_baro(source, topic, rule, values, key)
    if not any(np.isfinite(column[keep]).any() for column in values.values()):
        source.notes.lines.append(f"{key} holds no measured value for {table}")
        return None
    source.feed(table, key)
    if table != "gps":
        _tell_missing(source.notes, table, key, missing, len(topic))
    instance = np.full(len(topic), topic.multi_id, dtype=np.int64)
    columns: Columns = {"time_s": time_s, "instance": instance, **values}
    if not any(c.name == "instance" for c in TABLES[table]):
        del columns["instance"]
    return {name: column[keep] for name, column in columns.items()}


def _tell_missing(
    notes: Notes, table: str, key: str, missing: Mapping[str, int], rows: int
) -> None:
    """Tell values that stand for "not measured", unless a channel has none at all."""
    some = {column: n for column, n in missing.items() if 0 < n < rows}
    if some:
        what = ", ".join(f"{n} {column}" for column, n in some.items())
        notes.find(
            "values-missing",
            f"{key}: of {rows} rows {what} hold the value that stands for 'not measured'.",
            evidence={"table": table, **some},
        )


def _beside(
    source: Source, table: str, beside: Mapping[str, Any], topic: Topic, time_s: FloatArray
) -> Columns:
    """Columns of another topic, each row beside the nearest of the same instance."""
    others = source.instances(beside["topic"])
    mine = source.instances(topic.name)
    if len(others) != len(mine):
        if others:
            source.notes.lines.append(
                f"{len(others)} {beside['topic']} and {len(mine)} {topic.name}: which belong "
                "together is not known, so the former are in recording.raw only"
            )
        return {}
    for key, other in others:
        if other.multi_id == topic.multi_id:
            values, _ = columns_of(table, other, beside["columns"], source.notes)
            other_s, keep = source.timed(key)
            at = nearest(time_s, other_s[keep], float(beside["within_s"]))
            if (at >= 0).any():
                source.feed(table, key)
            return {
                name: np.where(at >= 0, column[keep][at], np.nan) if keep.any() else time_s * np.nan
                for name, column in values.items()
            }
    return {}


def nearest(time_s: FloatArray, other_s: FloatArray, within_s: float) -> IntArray:
    """Index of the nearest in rising times for each of others; -1 where none is near."""
    if not len(other_s):
        return np.full(len(time_s), -1, dtype=np.int64)
    after = np.searchsorted(other_s, time_s)
    options = np.stack([np.maximum(after - 1, 0), np.minimum(after, len(other_s) - 1)])
    away = np.abs(other_s[options] - time_s)
    best = np.argmin(away, axis=0)
    rows = np.arange(len(time_s))
    return np.where(away[best, rows] <= within_s, options[best, rows], -1)


def _finish_baro(
    source: Source, topic: Topic, rule: Mapping[str, Any], values: Columns, key: str
) -> None:
    temperature = values.get("temperature_k")
    if temperature is not None and is_stuck(temperature, ZERO_CELSIUS_K):
        del values["temperature_k"]
        source.notes.lines.append(f"{key}: no temperature, the log holds 0 °C throughout")
    if rule.get("pressure") and "pressure_pa" in values:
        values["height_m"] = pressure_height(values["pressure_pa"])
        note_source(
            source.notes, "baro", "height_m", f"{topic.name}.pressure", "",
            "pressure height in the standard atmosphere above the first value",
        )  # fmt: skip
