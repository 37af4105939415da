"""MAVLink telemetry files (.tlog): what came over the radio link, with times of arrival.

The layout of the file is described in `flightlog.importers.mavlink_frames`, the mapping onto
tables in ``mavlink_telemetry.toml``.

Traps: several senders share the stream (aircraft, ground station, radio), so the aircraft has
to be chosen; telemetry samples the sensors at a few hertz, so fixes are missing and others
come twice; times of arrival, the aircraft's boot clock and its UTC are three clocks; the
autopilot may restart in the middle.

``recording.raw`` holds the messages of the chosen sender under their own names and those of
all others as ``SYS<system>:<component>/NAME``.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from flightlog.errors import LogFileError
from flightlog.importers.registry import Match, Progress, unwatched

if TYPE_CHECKING:
    import pandas as pd

    from flightlog.importers.common import Notes
    from flightlog.importers.mavlink_frames import Frames, MessageTable
    from flightlog.importers.mavlink_tables import Sender
    from flightlog.recording import Recording

FORMAT = "mavlink-telemetry"

CHAIN = 3
"""So many frames in a row, each leading to the next, don't come about by chance."""

AIRCRAFT_TYPES = frozenset({1, 2, 3, 4, 7, 8, 13, 14, 15, 16, 17, 19, 20, 21, 22, 23, 24, 25, 28,
                            29, 35, 43})  # fmt: skip
"""MAV_TYPE of what flies under its own control."""

TYPE_NAMES = {
    0: "unnamed kind",
    5: "antenna tracker",
    6: "ground station",
    18: "companion computer",
    26: "gimbal",
    27: "traffic receiver",
    30: "camera",
}
NO_AUTOPILOT = 8
"""MAV_AUTOPILOT of senders that are none."""

RADIO_MESSAGES = ("RADIO_STATUS", "RADIO")
FLIGHT_MESSAGES = frozenset(
    {"ATTITUDE", "GPS_RAW_INT", "GLOBAL_POSITION_INT", "SYS_STATUS", "HIGHRES_IMU", "RAW_IMU"}
)

GAP_S = 3.0
"""Silence of the aircraft for longer than this is a gap [s]."""

GAPS_TOLD = 10
"""The longest ones are told one by one."""

SLOW_HZ = 10.0
"""Below this rate of position or attitude, peaks and times are limited [Hz]."""

_POSSIBLE_START = re.compile(rb"\x00(?=[\x00-\x10].{6}[\xfe\xfd].{8})", re.DOTALL)
"""First byte of a time stamp, with the magic byte after the stamp and room for a frame."""

Senders = dict[tuple[int, int], dict[str, "MessageTable"]]


def sniff(head: bytes) -> Match:
    """Tell a telemetry file by frames that lead to each other, with possible time stamps."""
    links, ended = _chain(head, 0)
    if links >= CHAIN or (links and ended):
        return Match.YES
    for start in _POSSIBLE_START.finditer(head, 1):
        found, _ = _chain(head, start.start())
        if found >= CHAIN:
            return Match.MAYBE
    return Match.MAYBE if links else Match.NO


def _chain(head: bytes, place: int) -> tuple[int, bool]:
    """Frames in a row from ``place``, at most `CHAIN`; and whether the bytes end after them."""
    links = 0
    while links < CHAIN and place + 16 <= len(head):
        magic = head[place + 8]
        if head[place] or head[place + 1] > 0x10 or magic not in (0xFE, 0xFD):
            return links, False
        overhead = 8 if magic == 0xFE else 12
        if magic == 0xFD and head[place + 10] & 1:
            overhead += 13
        place += 8 + overhead + head[place + 9]
        if place > len(head):
            break
        links += 1
    return links, place >= len(head) - 16


def load(path: Path, progress: Progress | None = None) -> Recording:
    """Read a telemetry file.

    Parameters
    ----------
    path : Path
        The file.
    progress : callable, optional
        Called with the fraction done and a text.

    Raises
    ------
    LogFileError
        If it can't be read or holds no message.
    """
    from flightlog.importers.common import Notes, read_bytes, sha256_of
    from flightlog.importers.mavlink_frames import definitions, find_frames

    tell = progress or unwatched
    tell(0.0, "reading the file")
    content = read_bytes(path)
    notes = Notes()
    tell(0.05, "finding frames")
    frames = find_frames(content, definitions(), tell)
    if not len(frames):
        raise LogFileError(
            "no MAVLink message with a valid checksum",
            where=path.name,
            fix="Copy the file again; if it stays so, it is no telemetry file.",
        )
    _note_damage(frames, notes)
    return _recording(path, sha256_of(content.data), frames, notes, tell)


def _recording(path: Path, sha256: str, frames: Frames, notes: Notes, tell: Progress) -> Recording:
    from flightlog.importers.common import make_receipt
    from flightlog.importers.mavlink_clock import Timeline
    from flightlog.importers.mavlink_events import firmware
    from flightlog.importers.mavlink_tables import Sender, chosen_instances, mapping
    from flightlog.recording import Recording

    tell(0.6, "sorting messages")
    senders = _senders(frames)
    chosen = _choose(senders)
    _note_senders(senders, chosen, notes)
    messages = senders[chosen]
    timeline = Timeline.fit(frames, messages.values())
    timeline.tell(notes)
    sender = Sender(
        frames=frames,
        rows=np.sort(np.concatenate([t.rows for t in messages.values()])),
        messages=messages,
        autopilot=_autopilot(messages),
        timeline=timeline,
        notes=notes,
    )
    _note_gaps(sender)
    tables = _tables(sender, senders, tell)
    raw = _raw(senders, chosen)
    receipt = make_receipt(
        path=path,
        size=len(frames.content),
        sha256=sha256,
        format=FORMAT,
        importer_version=int(mapping()["version"]),
        tables=tables,
        message_counts={name: len(table) for name, table in raw.items()},
        notes=notes,
        firmware=firmware(messages),
        time_origin=timeline.origin,
        utc=timeline.utc(messages, notes),
        seams=timeline.clock.seams,
        chosen_instances=chosen_instances(tables),
        clock=timeline.words,
    )
    tell(1.0, "done")
    return Recording(tables, receipt, raw, tuple(notes.findings))


def _tables(sender: Sender, senders: Senders, tell: Progress) -> dict[str, pd.DataFrame]:
    from flightlog.importers import mavlink_events, mavlink_tables

    tell(0.65, "making tables")
    tables = mavlink_tables.sensor_tables(sender)
    tell(0.85, "making tables")
    if "gps" not in tables or not tables["gps"]["latitude_deg"].notna().any():
        estimated = mavlink_tables.estimated_gps(sender)
        if estimated is not None:
            tables["gps"] = estimated
    for name in RADIO_MESSAGES:
        radios = [messages[name] for messages in senders.values() if name in messages]
        if radios:
            break
    link = mavlink_tables.link_table(sender, radios)
    if link is not None:
        tables["link"] = link
    tables |= mavlink_events.event_tables(sender)
    if "baro" in tables:
        sender.notes.lines.append(
            "baro.height_m is pressure height in the standard atmosphere above the first value."
        )
    _note_rates(mavlink_tables.rates(tables), sender.notes)
    return tables


def _senders(frames: Frames) -> Senders:
    """Message tables by (system, component) and message name."""
    from flightlog.importers.mavlink_frames import MessageTable, definitions

    known = definitions()
    key = (frames.system << 40) | (frames.component << 32) | frames.message_id
    order = np.argsort(key, kind="stable")
    keys, first = np.unique(key[order], return_index=True)
    senders: Senders = {}
    for value, rows in zip(keys.tolist(), np.split(order, first[1:]), strict=True):
        definition = known[value & 0xFFFFFF]
        table = MessageTable(frames, rows, definition)
        senders.setdefault((value >> 40, value >> 32 & 0xFF), {})[definition.name] = table
    return senders


def _choose(senders: Senders) -> tuple[int, int]:
    """Choose the aircraft by its heartbeat, else by what it sends; of several, who sent most."""

    def rank(item: tuple[tuple[int, int], dict[str, MessageTable]]) -> tuple[bool, bool, int]:
        messages = item[1]
        flies = False
        if "HEARTBEAT" in messages:
            beat = messages["HEARTBEAT"]
            kinds = np.isin(beat["type"], list(AIRCRAFT_TYPES)) & (
                beat["autopilot"] != NO_AUTOPILOT
            )
            flies = bool(np.mean(kinds) > 0.5)
        return flies, bool(FLIGHT_MESSAGES & messages.keys()), _count(messages)

    return max(senders.items(), key=rank)[0]


def _count(messages: Mapping[str, MessageTable]) -> int:
    return sum(len(t) for t in messages.values())


def _autopilot(messages: Mapping[str, MessageTable]) -> int | None:
    beat = messages.get("HEARTBEAT")
    return None if beat is None else int(np.bincount(beat["autopilot"]).argmax())


def _raw(senders: Senders, chosen: tuple[int, int]) -> dict[str, MessageTable]:
    raw = dict(senders[chosen])
    for (system, component), messages in senders.items():
        if (system, component) != chosen:
            raw |= {f"SYS{system}:{component}/{name}": t for name, t in messages.items()}
    return raw


def _kind(messages: Mapping[str, MessageTable]) -> str:
    """What a sender is, in words."""
    if any(name in messages for name in RADIO_MESSAGES):
        return "radio"
    if "HEARTBEAT" not in messages:
        return "no heartbeat"
    kind = int(np.bincount(messages["HEARTBEAT"]["type"]).argmax())
    return "aircraft" if kind in AIRCRAFT_TYPES else TYPE_NAMES.get(kind, f"type {kind}")


def _note_senders(senders: Senders, chosen: tuple[int, int], notes: Notes) -> None:
    if len(senders) < 2:
        return

    def named(key: tuple[int, int]) -> str:
        messages = senders[key]
        return f"system {key[0]} component {key[1]} ({_kind(messages)}, {_count(messages)})"

    others = ", ".join(named(key) for key in sorted(senders) if key != chosen)
    notes.find(
        "several-systems",
        f"{named(chosen)} was taken as the aircraft; also in the stream, with their numbers of "
        f"messages: {others}.",
        evidence={"system": chosen[0], "component": chosen[1], "senders": len(senders)},
    )


def _note_damage(frames: Frames, notes: Notes) -> None:
    if frames.damaged_runs:
        alike = sum(frames.misfits.values())
        message = (
            f"{frames.damaged_runs} stretches with {frames.damaged_bytes} bytes in all are no "
            "message with a valid checksum."
        )
        if alike:
            (system, number), count = frames.misfits.most_common(1)[0]
            message += (
                f" {alike} of them are whole frames; {count} with id {number} from system "
                f"{system}, which may use another definition of it."
            )
        notes.find(
            "damaged-bytes",
            message,
            evidence={"runs": frames.damaged_runs, "bytes": frames.damaged_bytes},
        )
        notes.drop("damaged bytes", frames.damaged_bytes)
    if frames.unknown:
        count = sum(frames.unknown.values())
        ids = ", ".join(str(i) for i, _ in frames.unknown.most_common(10))
        notes.find(
            "unknown-messages",
            f"{count} messages have ids without a known definition: {ids}"
            f"{' and more' if len(frames.unknown) > 10 else ''}.",
            evidence={"messages": count, "ids": len(frames.unknown)},
        )
        notes.drop("message of unknown id", count)
    if frames.truncated:
        notes.find("truncated", "The file ends in the middle of a message.")


def _note_gaps(sender: Sender) -> None:
    """Tell where the aircraft was silent, restarts aside."""
    time_s = sender.timeline.at(sender.rows)
    step = np.diff(time_s)
    sessions = sender.timeline.clock.sessions
    restarts = [
        (a.high_s + a.offset_s, b.low_s + b.offset_s) for a, b in pairwise(sessions)
    ]  # told by themselves
    at = [
        i
        for i in np.flatnonzero(step > GAP_S).tolist()
        if not any(time_s[i] < end and time_s[i + 1] > begin for begin, end in restarts)
    ]
    longest = sorted(sorted(at, key=lambda i: -float(step[i]))[:GAPS_TOLD])
    for i in longest:
        sender.notes.find(
            "log-gap",
            f"Nothing arrived from the aircraft for {step[i]:.1f} s.",
            evidence={"length_s": float(step[i])},
            start_s=float(time_s[i]),
            end_s=float(time_s[i + 1]),
        )
    if len(at) > len(longest):
        sender.notes.lines.append(f"{len(at)} gaps over {GAP_S:g} s; the longest are told.")


def _note_rates(rates: Mapping[str, float], notes: Notes) -> None:
    slow = {n: r for n, r in rates.items() if n in ("gps", "attitude", "imu") and 0 < r < SLOW_HZ}
    if slow:
        said = ", ".join(f"{name} {rate:.2g} Hz" for name, rate in slow.items())
        notes.find(
            "radio-copy",
            f"This is a copy from the radio link at {said}: peaks and times are limited.",
            evidence={f"{name}_hz": rate for name, rate in slow.items()},
        )
