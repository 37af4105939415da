"""Outputs, inputs and motors of a ULog file: one row per channel and time."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from flightlog.importers.common import FloatArray
from flightlog.importers.ulog_mapping import Columns, mapping, note_source, scaled
from flightlog.importers.ulog_topics import Topic

if TYPE_CHECKING:
    from flightlog.importers.ulog_sources import Source

PULSES_US = (500.0, 2500.0)
"""What can be the length of a servo pulse [us]."""

CHANNELS_TOLD = 8


def outputs(source: Source) -> Columns | None:
    """Pulses of all channels that were driven; commands in another unit are left out.

    The topic holds whatever the outputs are set to: microseconds, steps of a digital protocol,
    or commands from -1 to 1. A channel counts as pulses if all that was ever sent on it can be
    a pulse.
    """
    rule = mapping()["channels"]["outputs"]
    parts: list[Columns] = []
    other: dict[str, list[str]] = {}
    for key, topic in source.instances(rule["topic"]):
        time_s, keep = source.timed(key)
        pulses: dict[int, FloatArray] = {}
        for i, pulse in _channels(topic, rule["field"], rule["count"], rule["missing"]):
            driven = pulse[keep & np.isfinite(pulse)]
            number = i + 1 + int(rule["instance_step"]) * topic.multi_id
            kind = _kind(driven) if len(driven) else ""
            if kind:
                other.setdefault(kind, []).append(f"{number}")
            elif len(driven):
                pulses[number] = pulse[keep]
        if pulses:
            source.feed("outputs", key)
            parts.append(_rows(time_s[keep], pulses))
    if parts:
        note_source(
            source.notes, "outputs", "pulse_us", f"{rule['topic']}.{rule['field']}", "us",
            f"the values: all between {PULSES_US[0]:g} and {PULSES_US[1]:g}",
        )  # fmt: skip
    _tell_other(source, other, bool(parts))
    return _stacked(parts)


def _tell_other(source: Source, other: dict[str, list[str]], some: bool) -> None:
    """Tell what was left out of the outputs because it is no pulse."""
    names = [t for t in mapping()["normalised"]["topics"] if source.instances(t)]
    if names:
        source.notes.lines.append(
            f"{' and '.join(names)}: commands from -1 to 1, which are no pulses: not in outputs"
        )
    if names and not some and not other:
        other["commands from -1 to 1"] = names
    for kind, channels in other.items():
        named = ", ".join(channels[:CHANNELS_TOLD])
        more = f" and {len(channels) - CHANNELS_TOLD} more" if len(channels) > CHANNELS_TOLD else ""
        source.notes.find(
            "pulse-unit",
            f"What outputs {named}{more} were told is {kind}, not microseconds; it was left out.",
            evidence={"channels": len(channels), "kind": kind},
        )


def _kind(values: FloatArray) -> str:
    """What commands are, in words; "" for pulses in microseconds."""
    low, high = float(values.min()), float(values.max())
    if PULSES_US[0] <= low and high <= PULSES_US[1]:
        return ""
    if -1.0 <= low and high <= 1.0:
        return "commands from -1 to 1"
    return f"steps of a digital protocol ({low:.5g} to {high:.5g})"


def inputs(source: Source) -> Columns | None:
    """Pulses of the receiver, but while it had lost the transmitter and repeated old ones."""
    rule = mapping()["channels"]["inputs"]
    parts: list[Columns] = []
    for key, topic in source.instances(rule["topic"])[:1]:
        time_s, keep = source.timed(key)
        lost = np.zeros(len(topic), dtype=bool)
        for flag in rule["lost"]:
            state = topic.numbers(flag)
            lost |= np.zeros(len(topic), dtype=bool) if state is None else state != 0
        source.notes.drop("inputs: the receiver had lost the transmitter", int(lost.sum()))
        keep = keep & ~lost
        found = _channels(topic, rule["field"], rule["count"], rule["missing"])
        pulses = {i + 1: pulse[keep] for i, pulse in found if np.isfinite(pulse[keep]).any()}
        if pulses:
            source.feed("inputs", key)
            parts.append(_rows(time_s[keep], pulses))
    if parts:
        note_source(source.notes, "inputs", "pulse_us", f"{rule['topic']}.{rule['field']}", "us")
    return _stacked(parts)


def rotation(source: Source) -> Columns | None:
    """Speed of rotation that speed controllers report."""
    rule = mapping()["escs"]
    parts: list[Columns] = []
    for key, topic in source.instances(rule["topic"])[:1]:
        time_s, keep = source.timed(key)
        online, count = topic.numbers(rule["online"]), topic.numbers(rule["count"])
        for n in range(int(rule["most"])):
            rpm = topic.numbers(rule["field"].format(n=n))
            if rpm is None:
                break
            told = keep & np.isfinite(rpm)
            if count is not None:
                told &= count > n
            if online is not None:
                told &= (online.astype(np.int64) >> n & 1).astype(bool)
            if not told.any():
                continue
            source.feed("rotation", key)
            # The sign tells the sense of rotation, which the column does not have.
            speed = np.abs(scaled(rpm[told], "rpm"))
            instance = np.full(len(speed), n, dtype=np.int64)
            parts.append({"time_s": time_s[told], "instance": instance, "speed_rad_s": speed})
    if parts:
        field = rule["field"].format(n="")
        note_source(source.notes, "rotation", "speed_rad_s", f"{rule['topic']}.{field}", "rpm")
    return _stacked(parts)


def _channels(
    topic: Topic, field: str, count: str, missing: list[float]
) -> list[tuple[int, FloatArray]]:
    """Number from 0 and values of each channel that the topic says it uses."""
    used = topic.numbers(count)
    found: list[tuple[int, FloatArray]] = []
    for i in range(topic.length(field)):
        values = topic.numbers(field, i)
        if values is None:
            continue
        bad = np.isin(values, missing)
        if used is not None:
            bad |= used <= i
        found.append((i, np.where(bad, np.nan, values)))
    return found


def _rows(time_s: FloatArray, pulses: dict[int, FloatArray]) -> Columns:
    """One row per time and channel that has a value, in the order of time."""
    values = np.stack(list(pulses.values()), axis=1)
    known = np.isfinite(values)
    channels = np.broadcast_to(np.array(list(pulses), dtype=np.int64), values.shape)
    times = np.broadcast_to(time_s[:, None], values.shape)
    return {"time_s": times[known], "channel": channels[known], "pulse_us": values[known]}


def _stacked(parts: list[Columns]) -> Columns | None:
    if not parts:
        return None
    return {name: np.concatenate([part[name] for part in parts]) for name in parts[0]}
