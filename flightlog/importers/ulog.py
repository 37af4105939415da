"""ULog files (.ulg): the log of an open autopilot, described by itself.

The layout of the file is described in `flightlog.importers.ulog_stream`, the mapping onto tables
in ``ulog.toml``.

Traps: topics are published at one rate and logged at another, so one sensor stands in the file
several times; stamps may be Unix time instead of boot time; a topic may carry the stamp of its last
publication, or one that is years off; a crash report may be appended; take-off and landing texts
of the autopilot are opinions and are not used.

``recording.raw`` holds every topic under its name, others than the first instance as ``name.1``
and so on, and the stated defaults of parameters as ``parameter_default``.
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING

from flightlog.errors import LogFileError
from flightlog.importers.registry import Match, Progress, unwatched

if TYPE_CHECKING:
    import pandas as pd

    from flightlog.importers.common import Notes
    from flightlog.importers.ulog_clock import LogClock
    from flightlog.importers.ulog_scan import Scan
    from flightlog.importers.ulog_topics import Contents
    from flightlog.recording import RawTable, Recording, UtcRelation

FORMAT = "ulog"
MAGIC = b"ULog\x01\x12\x35"
ENCRYPTED = b"ULogEnc"

SILENCE_S = 3.0
"""Nothing logged for longer than this is a gap, even without a dropout record [s]."""

GAPS_TOLD = 10
"""The longest silences are told one by one."""

CRASH_REPORTS = ("hardfault_plain", "hardfault")
"""Information that the autopilot appends after its processor had stopped on a fault."""


def sniff(head: bytes) -> Match:
    """Tell a ULog file by its first seven bytes; maybe, if they stand further on."""
    if head.startswith((MAGIC, ENCRYPTED)):
        return Match.YES
    if MAGIC in head:
        return Match.MAYBE
    # The header is damaged; the flags behind it, and the type of the record after them, are whole.
    flags, next_kind = head[16:19] == b"\x28\x00B", head[61:62]
    return Match.MAYBE if flags and next_kind in (b"F", b"I", b"M", b"P") else Match.NO


def load(path: Path, progress: Progress | None = None) -> Recording:
    """Read a ULog file.

    Parameters
    ----------
    path : Path
        The file.
    progress : callable, optional
        Called with the fraction done and a text.

    Raises
    ------
    LogFileError
        If it can't be read, is encrypted, or holds no record.
    """
    import numpy as np

    from flightlog.importers.common import Notes, read_bytes, sha256_of
    from flightlog.importers.ulog_stream import scan
    from flightlog.importers.ulog_topics import decode

    tell = progress or unwatched
    tell(0.0, "reading the file")
    content = read_bytes(path).tobytes()
    if content.startswith(ENCRYPTED):
        raise LogFileError(
            "the log is encrypted",
            where=path.name,
            fix="Decrypt it with the key that it was written for, then read the result.",
        )
    sha256 = sha256_of(content)
    found, stream = scan(content, lambda fraction, text: tell(0.3 * fraction, text))
    del content
    _refuse(found, path.name)
    tell(0.3, "decoding")
    contents = decode(stream, found, path.name)
    del stream
    notes = Notes()
    _note_damage(found, contents, notes)
    tell(0.7, "making tables")
    # Any number may stand in a file; what can't be measured is left out further on.
    with np.errstate(all="ignore"):
        recording = _recording(path, sha256, found, contents, notes)
    tell(1.0, "done")
    return recording


def _refuse(found: Scan, where: str) -> None:
    if found.unknown_flags:
        raise LogFileError(
            "the file says that it is written in a later version of ULog than this one reads",
            where=where,
            fix="Let the autopilot write its logs in the ordinary form, or copy the file again.",
        )
    if not found.records:
        raise LogFileError(
            "no record could be read",
            where=where,
            fix="Copy the file from the aircraft's card again.",
        )


def _recording(path: Path, sha256: str, found: Scan, contents: Contents, notes: Notes) -> Recording:
    from flightlog.importers import ulog_events
    from flightlog.importers.common import make_receipt
    from flightlog.importers.house import choose_instances
    from flightlog.importers.ulog_clock import LogClock
    from flightlog.importers.ulog_mapping import mapping
    from flightlog.importers.ulog_sources import Source
    from flightlog.importers.ulog_tables import sensor_tables
    from flightlog.recording import Recording

    topics = contents.topics
    clock = LogClock.fit(topics, found.start_us)
    source = Source(topics, clock, notes)
    tables = sensor_tables(source)
    tables |= ulog_events.event_tables(source, contents.texts, found.parameters)
    fed = {key for keys in source.fed.values() for key in keys}
    clock.tell(topics, fed, notes)
    _note_dropouts(found, clock, notes)
    _note_silences(clock, notes)
    _note_contents(found, contents, notes)
    notes.unused.extend(sorted(set(topics) - fed))
    _keep_sources(tables, notes)
    chosen = choose_instances(tables)
    raw, counts = _raw(contents)
    receipt = make_receipt(
        path=path,
        size=found.size,
        sha256=sha256,
        format=FORMAT,
        importer_version=int(mapping()["version"]),
        tables=tables,
        message_counts=counts,
        notes=notes,
        firmware=ulog_events.firmware(contents.info),
        time_origin=clock.origin,
        utc=_utc(tables, chosen, clock),
        seams=clock.clock.seams,
        chosen_instances=chosen,
        clock=clock.words(),
    )
    return Recording(tables, receipt, raw, tuple(notes.findings))


def _raw(contents: Contents) -> tuple[dict[str, RawTable], dict[str, int]]:
    """Give all topics under their names, and how many rows of each kind the file holds."""
    from flightlog.importers.ulog_events import defaults

    raw: dict[str, RawTable] = dict(contents.topics)
    counts = {name: len(topic) for name, topic in contents.topics.items()}
    if contents.texts:
        counts["(texts)"] = len(contents.texts)
    stated = defaults(contents.defaults)
    if stated is not None:
        raw["parameter_default"] = stated
    return raw, counts


def _keep_sources(tables: Mapping[str, pd.DataFrame], notes: Notes) -> None:
    """Leave out the sources of columns without one value."""
    notes.sources[:] = [
        source
        for source in notes.sources
        if source.table in tables and tables[source.table][source.column].notna().any()
    ]


def _utc(
    tables: Mapping[str, pd.DataFrame], chosen: Mapping[str, int], clock: LogClock
) -> UtcRelation:
    """Relation to UTC by the chosen receiver's fixes, else by the stamps."""
    from flightlog.importers.common import utc_relation

    gps = tables.get("gps")
    if gps is None:
        return clock.utc()
    good = (gps["instance"] == chosen.get("gps", int(gps["instance"].min()))) & (gps["fix"] >= 3)
    if clock.clock.seams:
        good &= gps["time_s"] < clock.clock.seams[0]
    relation = utc_relation(
        gps.loc[good, "time_s"].to_numpy(),
        gps.loc[good, "time_utc"].to_numpy(),
        "time_utc_usec of the fixes, the receiver's clock",
    )
    return clock.utc() if relation.offset_s is None else relation


def _note_damage(found: Scan, contents: Contents, notes: Notes) -> None:
    lost = sum(count for _, count in found.damaged)
    if lost:
        notes.drop("damaged bytes", lost)
        notes.find(
            "damaged-bytes",
            f"{lost} of {found.size} bytes in {len(found.damaged)} places belong to no record, the "
            f"first at byte {found.damaged[0][0]}; what stands before and after them was read.",
            evidence={
                "bytes": lost,
                "places": len(found.damaged),
                "first_offset": found.damaged[0][0],
            },
        )
    if found.cut:
        _note_cut(found, notes)
    for reason, count in found.lost.items():
        notes.drop(reason, count)
    if found.lost:
        what = ", ".join(f"{count} times {reason}" for reason, count in found.lost.items())
        notes.find(
            "unknown-messages",
            f"{sum(found.lost.values())} whole records could not be used: {what}.",
            evidence=dict(found.lost),
        )
    twice = sorted({*found.formats.refused, *found.contradictions, *contents.ignored})
    if twice:
        notes.find(
            "contradicting-formats",
            f"Declarations of {len(twice)} topics contradict themselves or an earlier one: "
            f"{', '.join(twice[:10])}.",
            evidence={"types": len(twice)},
        )
    if found.padding:
        notes.lines.append(f"{found.padding} empty bytes at the end of the file")


def _note_cut(found: Scan, notes: Notes) -> None:
    """Tell records that the end of the file, or of what stood before appended data, cuts off."""
    count = sum(size for _, size in found.cut)
    notes.drop("bytes of a cut record", count)
    at, size = found.cut[-1]
    where = "The file" if at + size == found.size else "The part before the appended data"
    notes.find(
        "truncated",
        f"{where} ends inside a record: its last {size} bytes were not read.",
        evidence={"offset": at, "bytes": count},
    )


def _note_dropouts(found: Scan, clock: LogClock, notes: Notes) -> None:
    """Tell how long the logger could not write, by its own records."""
    import numpy as np

    lost_ms = np.array([length for _, length in found.dropouts], dtype=np.float64)
    if not lost_ms.sum() > 0:
        return
    begins = clock.beside(np.array([at for at, _ in found.dropouts], dtype=np.int64))
    longest = int(np.argmax(lost_ms))
    begin = float(begins[longest])
    total_s, longest_s = float(lost_ms.sum()) * 1e-3, float(lost_ms[longest]) * 1e-3
    logged_s = clock.end_s - clock.start_s
    share = f", {100 * total_s / logged_s:.2g} % of the log" if logged_s > total_s else ""
    where = f" at {begin:.1f} s" if clock.in_order else ""
    times = "once" if len(lost_ms) == 1 else f"{len(lost_ms)} times"
    notes.find(
        "log-gap",
        f"The logger could not keep up {times}: {total_s:.3f} s are missing in all"
        f"{share}, the longest {longest_s:.3f} s{where}.",
        evidence={"dropouts": len(lost_ms), "total_s": total_s, "longest_s": longest_s},
        start_s=begin if clock.in_order else None,
        end_s=begin + longest_s if clock.in_order else None,
    )


def _note_silences(clock: LogClock, notes: Notes) -> None:
    """Tell where nothing at all was logged."""
    found = clock.silences(SILENCE_S)
    longest = sorted(sorted(found, key=lambda gap: gap[0] - gap[1])[:GAPS_TOLD])
    for begin, end in longest:
        notes.find(
            "log-gap",
            f"Nothing was logged for {end - begin:.1f} s.",
            evidence={"length_s": end - begin},
            start_s=begin,
            end_s=end,
        )
    if len(found) > len(longest):
        notes.lines.append(f"{len(found)} gaps over {SILENCE_S:g} s; the longest are told")


def _note_contents(found: Scan, contents: Contents, notes: Notes) -> None:
    """Keep in the receipt what the file holds beside tables."""
    from flightlog.importers import ulog_events
    from flightlog.recording import OWN_ID

    if found.appended:
        notes.lines.append(
            f"{len(found.appended)} sections were appended after the log itself, the first at "
            f"byte {found.appended[0]}"
        )
    for name in CRASH_REPORTS:
        if name in contents.several or name in contents.info:
            notes.find(
                "autopilot-fault",
                f"The file carries a crash report of the autopilot ({name}, "
                f"{contents.several.get(name, 1)} parts): its processor stopped on a fault.",
                evidence={"parts": contents.several.get(name, 1)},
            )
    own = ulog_events.own_id(contents.info)
    if own:
        notes.lines.append(f"{OWN_ID}{own}")
    changed = sum(not parameter.initial for parameter in found.parameters)
    if changed:
        notes.lines.append(f"{changed} changes of parameters while logging")
    for kind, name in ((0, "firmware"), (1, "airframe")):
        if contents.defaults.get(kind):
            notes.lines.append(
                f"{len(contents.defaults[kind])} defaults of the {name} that differ from the "
                "parameters are in recording.raw['parameter_default']"
            )
    events = contents.topics.get("event")
    if events is not None:
        notes.lines.append(f"{len(events)} events are stated by number only, see recording.raw")
