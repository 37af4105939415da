"""A copy of the record that anybody can check without this program.

Readable text, the exact bytes that were signed, signatures, public keys, attachments, heads, and
instructions (``export_readme``). Of one and the same record it is the same to the byte on every
laptop, but for what the check found there. While it is written, ``INCOMPLETE.txt`` stands in the
folder, and ``READ-ME.txt`` comes last: an interrupted export does not look like a whole one.

A broken record is exported too: what is whole as usual, what is not as it was stored, and the
instructions say so at the top.
"""

from __future__ import annotations

import hashlib
import json
import os
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from flightlog.errors import OutputError
from flightlog.logbook.attachments import AttachmentStore
from flightlog.logbook.check_report import Report, count, headline, report_json
from flightlog.logbook.checking import Memory, Progress, check_rows, read_rows
from flightlog.logbook.codes import code, head_code
from flightlog.logbook.entry import Attachment, Entry, device_name
from flightlog.logbook.export_readme import readme
from flightlog.logbook.layout import ATTACHMENTS, NAMES
from flightlog.logbook.links import Links, check_links
from flightlog.logbook.names import Names
from flightlog.logbook.order import Order
from flightlog.logbook.people import People, Person
from flightlog.logbook.signatures import fingerprint
from flightlog.logbook.standing import Standing
from flightlog.logbook.stored import CheckedRow, Known
from flightlog.logbook.words import entry_lines, person_name, quoted

INCOMPLETE = "INCOMPLETE.txt"
READ_ME = "READ-ME.txt"
_UNFINISHED = "This export was interrupted. Delete the folder and export again.\n"
_KEY_DIGITS = 16
_CHUNK = 1024 * 1024
# SubjectPublicKeyInfo of an Ed25519 key (RFC 8410, 4): these bytes, then the 32 of the key.
_SPKI = bytes.fromhex("302a300506032b6570032100")


@dataclass(frozen=True, slots=True)
class Exported:
    """What was exported.

    Parameters
    ----------
    folder : Path
        Where it is.
    entries, attachments : int
        How many there are in it.
    missing : tuple of str
        Attachments that could not be copied, and why.
    report : Report
        What the check found on the way.
    """

    folder: Path
    entries: int
    attachments: int
    missing: tuple[str, ...]
    report: Report


def export(
    folder: Path,
    to: Path,
    *,
    with_names: bool = False,
    remembered: Memory = (),
    progress: Progress | None = None,
) -> Exported:
    """Write a copy of the logbook in a folder that anybody can check.

    Parameters
    ----------
    folder : Path
        The logbook's own folder; it is only read.
    to : Path
        A new or empty folder.
    with_names : bool
        Whether the texts name persons; otherwise they are called by their key's fingerprint.
    remembered : sequence of Remembered, or callable
        Heads from this laptop's memory, or what gives them for a team's id; as in ``check``.
    progress : callable, optional
        Told how much is done (0 to 1), and what is being done.

    Raises
    ------
    OutputError
        If the folder is not empty, lies within the logbook, or can't be written. What was written
        until then is taken away.
    TeamFolderError
        If there is no logbook, or names are asked for and can't be read.
    LogbookError
        If the table of entries itself is not as this program makes it: then nothing is read.
    """
    names = Names.read(folder / NAMES) if with_names else None
    rows, damage = read_rows(folder)
    target = _Target(_empty(to, folder))
    try:
        target.text(INCOMPLETE, _UNFINISHED)
        copies = _Copies(AttachmentStore(folder / ATTACHMENTS), target)
        known: Known = {}
        report = check_rows(
            rows,
            remembered=remembered,
            damage=damage,
            attachment_problem=copies.take,
            known=known,
            progress=progress,
        )
        links = check_links([known[row] for row in rows])
        _write(target, links, report, names, copies.missing)
        target.drop(INCOMPLETE)
    except OSError as error:
        target.undo()
        raise OutputError(
            f"the export can't be written ({error.strerror or error})", where=str(to)
        ) from error
    except BaseException:
        target.undo()
        raise
    return Exported(to, len(links.entries), copies.copied, tuple(copies.missing), report)


def exported_lines(exported: Exported) -> list[str]:
    """Say what was exported."""
    entries = count(exported.entries, "entry", "entries")
    files = count(exported.attachments, "attachment", "attachments")
    lines = [f"{exported.folder}: {entries}, {files}. READ-ME.txt says how to check it."]
    if exported.missing:
        lines.append("Attachments that could not be copied:")
        lines += [f"  {text}" for text in exported.missing]
    if exported.report.first_break is not None:
        lines.append(headline(exported.report))
        lines.append("The copy says so. First break:")
        lines.append(f"  {exported.report.first_break.line()}")
    return lines


def _empty(to: Path, folder: Path) -> Path:
    inside = to.absolute()
    if folder.absolute() in (inside, *inside.parents):
        raise OutputError("an export can't stand within the logbook", where=str(to))
    try:
        to.mkdir(parents=True, exist_ok=True)
        filled = next(to.iterdir(), None)
    except OSError as error:
        raise OutputError(
            f"no folder can be made here ({error.strerror})", where=str(to)
        ) from error
    if filled is not None:
        raise OutputError(
            f"the folder is not empty: it holds {filled.name[:80]!r}",
            where=str(to),
            fix="Name a new one.",
        )
    return to


class _Target:
    """The folder that is written, file by file."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.hashes: dict[str, str] = {}

    def data(self, name: str, chunks: Iterable[bytes]) -> str:
        """Write a file and give its SHA-256; ``name`` may have one folder before it."""
        path = self.folder / name
        path.parent.mkdir(exist_ok=True)
        digest = hashlib.sha256()
        with path.open("xb") as stream:
            # Noted first, so that it is taken away again if writing fails.
            self.hashes[name] = ""
            for chunk in chunks:
                digest.update(chunk)
                stream.write(chunk)
            stream.flush()
            os.fsync(stream.fileno())
        self.hashes[name] = digest.hexdigest()
        return self.hashes[name]

    def text(self, name: str, text: str) -> None:
        """Write a file of one text."""
        self.data(name, [text.encode("utf-8")])

    def lines(self, name: str, lines: Iterable[str]) -> None:
        """Write a file of lines."""
        self.data(name, (f"{line}\n".encode() for line in lines))

    def drop(self, name: str) -> None:
        """Take a file away again."""
        (self.folder / name).unlink()
        del self.hashes[name]

    def undo(self) -> None:
        """Take away what was written; the folder itself stays."""
        for name in sorted(self.hashes, reverse=True):
            path = self.folder / name
            try:
                path.unlink(missing_ok=True)
                if path.parent != self.folder and not any(path.parent.iterdir()):
                    path.parent.rmdir()
            except OSError:
                # The mark of an incomplete export is the last one in this order to go.
                return


class _Copies:
    """Copies attachments as they are checked."""

    def __init__(self, store: AttachmentStore, target: _Target) -> None:
        self._store = store
        self._target = target
        self.copied = 0
        self.missing: list[str] = []

    def take(self, attachment: Attachment) -> str | None:
        """Check an attachment and copy it; give what is wrong with it."""
        problem = self._store.problem(attachment)
        name = f"{ATTACHMENTS}/{attachment.sha256}"
        if problem is None and name not in self._target.hashes:
            chunks = _chunks(self._store.path(attachment.sha256))
            if self._target.data(name, chunks) == attachment.sha256:
                self.copied += 1
            else:
                self._target.drop(name)
                problem = "the file was changed while it was copied"
        if problem is not None:
            self.missing.append(f"{attachment.sha256} {quoted(attachment.name)}: {problem}")
        return problem


def _chunks(path: Path) -> Iterator[bytes]:
    with path.open("rb") as stream:
        while chunk := stream.read(_CHUNK):
            yield chunk


# --- the files


def _write(
    target: _Target, links: Links, report: Report, names: Names | None, missing: Sequence[str]
) -> None:
    order = Order(links.entries.values(), strict=False)
    entries = list(order)
    # With holes in the record, who holds which key would only be guessed.
    people = People.of(order) if not links.breaks else None
    key_files = _key_files(entries)
    heads = [f"{head_code(t.body.number, t.hash)}" for t in order.tips()]
    target.data("entries.jsonl", (entry.data + b"\n" for entry in entries))
    target.lines("signatures.jsonl", (_json(_signatures(entry)) for entry in entries))
    for key, name in key_files.items():
        target.text(f"keys/{name}", _pem(key))
    target.lines("heads.txt", _head_lines(order))
    target.lines("keys.txt", _key_lines(entries, people, names, key_files))
    target.lines("logbook.txt", _text_lines(order, people, names))
    target.text("check.json", json.dumps(report_json(report), ensure_ascii=False, indent=1) + "\n")
    attached = list(_attached_lines(entries))
    if attached:
        target.lines("attachments.txt", attached)
    if missing:
        target.lines("missing.txt", missing)
    if links.broken:
        target.lines("broken.jsonl", (_json(_as_stored(c)) for c in links.broken.values()))
    text = readme(
        links.team,
        entries,
        heads,
        key_files,
        report=report,
        attached=bool(attached),
        broken=len(links.broken),
        missing=len(missing),
        with_names=names is not None,
    ).encode()
    listed = {**target.hashes, READ_ME: hashlib.sha256(text).hexdigest()}
    del listed[INCOMPLETE]
    target.lines("files.sha256", (f"{listed[name]}  {name}" for name in sorted(listed)))
    target.data(READ_ME, [text])


def _json(record: Any) -> str:
    return json.dumps(record, separators=(",", ":"), sort_keys=True)


def _signatures(entry: Entry) -> dict[str, Any]:
    signed = zip(entry.body.signers, entry.people_signatures, strict=True)
    return {
        "hash": entry.hash,
        "device": {"key": entry.body.device, "signature": entry.device_signature.hex()},
        "people": [{"key": s.key, "signature": signature.hex()} for s, signature in signed],
    }


def _as_stored(checked: CheckedRow) -> dict[str, Any]:
    row = checked.row
    columns = {
        "received": row.received,
        "hash": row.hash,
        "device": row.device,
        "number": row.number,
        "previous": row.previous,
        "data": row.data,
        "device_signature": row.device_signature,
        "people_signatures": row.people_signatures,
    }
    stored = {k: v.hex() if isinstance(v, bytes) else v for k, v in columns.items()}
    return {**stored, "problems": list(checked.problems)}


def _key_files(entries: Iterable[Entry]) -> dict[str, str]:
    """Public key -> name of its file."""
    keys = sorted(
        {e.body.device for e in entries} | {s.key for e in entries for s in e.body.signers}
    )
    starts = [key[:_KEY_DIGITS] for key in keys]
    return {
        key: f"{start if starts.count(start) == 1 else key}.pem"
        for key, start in zip(keys, starts, strict=True)
    }


def _pem(key: str) -> str:
    from base64 import b64encode

    encoded = b64encode(_SPKI + bytes.fromhex(key)).decode()
    return f"-----BEGIN PUBLIC KEY-----\n{encoded}\n-----END PUBLIC KEY-----\n"


def _head_lines(order: Order) -> Iterator[str]:
    for tip in order.tips():
        yield f"{head_code(tip.body.number, tip.hash)}  device {device_name(tip.body.device)}"


def _attached_lines(entries: Iterable[Entry]) -> Iterator[str]:
    for entry in entries:
        for file in entry.body.attachments:
            yield f"{file.sha256}  {file.size}  {quoted(file.name)}  {entry.name}"


def _text_lines(order: Order, people: People | None, names: Names | None) -> Iterator[str]:
    standing = Standing.of(order, people) if people is not None else None
    for line, entry in enumerate(order, start=1):
        yield f"=== line {line} of entries.jsonl: {entry.name}"
        yield f"Hash: {entry.hash}"
        yield from entry_lines(entry.body, names, people)
        if standing is not None:
            yield from (f"! {text}" for text in standing.problems(entry))
            yield from (f"Note: {text}" for text in standing.notes(entry))
        yield ""
    if standing is None:
        yield "Whose signatures count was not worked out: the record is broken."
    else:
        yield from (f"! {one.text}" for one in standing.contradictions)


def _key_lines(
    entries: Sequence[Entry],
    people: People | None,
    names: Names | None,
    key_files: dict[str, str],
) -> Iterator[str]:
    left = dict.fromkeys(key_files)
    yield "DEVICES"
    for device in sorted({entry.body.device for entry in entries}):
        own = [entry for entry in entries if entry.body.device == device]
        yield f"  device {device_name(device)}: {count(len(own), 'entry', 'entries')}"
        yield from _one_key(device, key_files)
        left.pop(device, None)
    yield "PERSONS"
    if people is None:
        yield "  Not worked out: the record is broken."
    for person in people.persons if people is not None else ():
        yield from _person_lines(person, entries, names, key_files)
        for key in person.keys:
            left.pop(key, None)
    if left:
        yield "KEYS OF NO KNOWN PERSON"
        for key in left:
            yield from _one_key(key, key_files)


def _person_lines(
    person: Person, entries: Sequence[Entry], names: Names | None, key_files: dict[str, str]
) -> Iterator[str]:
    since = next((e.name for e in entries if e.hash == person.since), "an entry that is missing")
    yield f"  {person_name(person.id, names)}: enrolled by {since}"
    yield f"    roles at the end: {', '.join(person.roles) or 'none'}"
    for key in person.keys:
        if key != person.key:
            yield "    no longer valid:"
        yield from _one_key(key, key_files)


def _one_key(key: str, key_files: dict[str, str]) -> Iterator[str]:
    yield f"    fingerprint {code(fingerprint(key))}"
    yield f"      key {key}, file keys/{key_files[key]}"
