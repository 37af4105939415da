"""The work on one flight's logs that needs no record: reading, debriefing, keeping the files.

It is done by this process or by others, of this machine or of several that share the team folder.
What it needs of the record comes with the task; what it gives back is small, because all that is
large lies in the folder by then: the decoded tables, the logs and the debrief, each under its hash.
"""

from __future__ import annotations

import hashlib
import io
from collections.abc import Mapping, MutableMapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from flightlog.decoded import DecodedStore
from flightlog.errors import LogFileError
from flightlog.importers.registry import READING
from flightlog.inputs import Inputs
from flightlog.joining import Group, Grouping, Sketch, join, join_group, sketch
from flightlog.logbook.attachments import AttachmentStore
from flightlog.logbook.entry import Attachment
from flightlog.operations.autopilot import other_craft, said_in
from flightlog.operations.sortie_drafts import Leg, legs_of
from flightlog.operations.sorties import DEBRIEF_NAME
from flightlog.recording import Receipt
from flightlog.rules.book import RuleBook

if TYPE_CHECKING:
    from flightlog.debriefing import Debrief
    from flightlog.operations.parameters import Parameters
    from flightlog.recording import Recording

_LONGEST_NAME = 255 - len(DEBRIEF_NAME)


@dataclass(frozen=True, slots=True)
class Given:
    """What a flight is debriefed with; see ``flown_under``."""

    inputs: Inputs
    rules: RuleBook | None = None


@dataclass(frozen=True, slots=True)
class Source:
    """One log of a flight.

    Attributes
    ----------
    path : Path
        Where it is.
    sha256 : str
        Of its content when it was read.
    size : int
        [bytes]
    tables : str
        Name of its decoded tables; empty where they could not be kept.
    name : str
        How the log is called.
    """

    path: Path
    sha256: str
    size: int
    tables: str = ""
    name: str = ""


@dataclass(frozen=True, slots=True)
class Seen:
    """What pairing with releases needs to know of a recording.

    Attributes
    ----------
    receipt : Receipt
        Its own.
    legs : tuple of Leg
        Its flights, as they are found first.
    attempts : int
        Rolls that were given up.
    says : tuple of (str, str)
        Aircraft whose autopilot the log names, and how.
    craft : str
        What its autopilot is built for, where that is no aeroplane.
    """

    receipt: Receipt
    legs: tuple[Leg, ...]
    attempts: int
    says: tuple[tuple[str, str], ...]
    craft: str = ""


def seen_in(recording: Recording, wanted: Mapping[str, str]) -> Seen:
    """Look for the flights of a recording, and for what it says of itself.

    Parameters
    ----------
    recording : Recording
        Of one log, or joined of several.
    wanted : mapping of str to str
        Aircraft and the names of their autopilots.
    """
    from flightlog.analyses.phases import find_sorties

    coarse, attempts, _ = find_sorties(recording)
    return Seen(
        recording.receipt,
        tuple(legs_of(coarse)),
        len(attempts),
        said_in(recording, wanted),
        other_craft(recording),
    )


# --- looking at a log


@dataclass(frozen=True, slots=True)
class LookTask:
    """A log that is to be read.

    Attributes
    ----------
    path : Path
        Where it is.
    tables : Path
        Folder of the decoded tables.
    wanted : mapping of str to str
        Aircraft and the names of their autopilots.
    sha256, known : str
        Of its content, and the name of its tables; empty where they are not known.
    """

    path: Path
    tables: Path
    wanted: Mapping[str, str]
    sha256: str = ""
    known: str = ""


@dataclass(frozen=True, slots=True)
class Looked:
    """A log that was read; its tables are kept.

    Attributes
    ----------
    source : Source
        The log.
    sketch : Sketch
        For finding its copies and partners.
    seen : Seen
        Its flights.
    again : bool
        Whether its tables were kept already, so that the log itself was not read.
    """

    source: Source
    sketch: Sketch
    seen: Seen
    again: bool


def look(task: LookTask) -> Looked:
    """Read a log, unless its tables are kept already, and keep them.

    Raises
    ------
    LogFileError
        If it can't be read.
    """
    from flightlog.importers import read

    store, name = DecodedStore(task.tables), task.known
    recording = store.take(name, _size_of(task.path)) if name else None
    if recording is not None and recording.receipt.sha256 != task.sha256:
        recording = None  # a note that somebody wrote by hand
    again = recording is not None
    if recording is None:
        recording = read(task.path)
        name = store.keep(recording)
    recording = _named(recording, task.path.name)
    receipt = recording.receipt
    source = Source(task.path, receipt.sha256, receipt.size, name, task.path.name)
    return Looked(source, sketch(recording, task.path), seen_in(recording, task.wanted), again)


def _size_of(log: Path) -> int:
    try:
        return log.stat().st_size
    except OSError:
        return 0  # reading it says what is at fault


def _named(recording: Recording, name: str) -> Recording:
    """Give a recording with the name that its log has here."""
    from flightlog.recording import Recording

    if recording.receipt.file == name:
        return recording
    receipt = replace(recording.receipt, file=name)
    return Recording(
        {n: recording[n] for n in recording}, receipt, recording.raw, recording.findings
    )


# --- debriefing a flight


@dataclass(frozen=True, slots=True)
class FlightTask:
    """Logs of one flight, or one log of several flights, that are to be debriefed.

    Attributes
    ----------
    logs : tuple of Source
        That of the recording itself first.
    under : tuple of str
        For each flight what it is debriefed with, a key of ``given``.
    given : mapping of str to Given
        Release -> files and load; "" for none.
    attachments, tables : Path
        Where files and decoded tables are kept.
    number : int
        Of the task among others.
    group, grouping : Group, Grouping or None
        How several logs are joined; where they are not given, several are sorted anew.
    kept : tuple of Attachment
        The logs, where they are kept already.
    earlier : Path or None
        A debrief of the same log, to be compared.
    made : Attachment or None
        The debrief, where it was made before an interruption.
    """

    logs: tuple[Source, ...]
    under: tuple[str, ...]
    given: Mapping[str, Given]
    attachments: Path
    tables: Path
    number: int = 0
    group: Group | None = None
    grouping: Grouping | None = None
    kept: tuple[Attachment, ...] = ()
    earlier: Path | None = None
    made: Attachment | None = None

    @property
    def size(self) -> int:
        """Of all its logs [bytes]."""
        return sum(log.size for log in self.logs)

    @property
    def key(self) -> str:
        """Name of the debrief by all that it follows from."""
        from flightlog.contract import TOOL_VERSION
        from flightlog.figures import ANALYSES_VERSION

        said = (
            TOOL_VERSION,
            ANALYSES_VERSION,
            READING,
            [(log.name, log.sha256) for log in self.logs],
            repr(self.group),
            self.grouping.copies if self.grouping is not None else (),
            self.under,
            sorted((key, repr(given)) for key, given in self.given.items()),
        )
        return hashlib.sha256(repr(said).encode("utf-8", "surrogatepass")).hexdigest()


@dataclass(frozen=True, slots=True)
class Worked:
    """A debrief that was made; all its files are kept.

    Attributes
    ----------
    receipt : Receipt
        Of the recording.
    legs : tuple of Leg
        Its flights, as the debrief has them.
    attempts : int
        Rolls that were given up.
    began_s : float or None
        First time of its tables. [s]
    parameters : Parameters or None
        Those of the autopilot, where the log holds them.
    listed : Attachment or None
        The list of them.
    files : tuple of Attachment
        Logs and debrief.
    tables : str
        Name of the tables that it was debriefed from; empty where they are not kept.
    changes : tuple of str
        What is not as in the earlier debrief.
    """

    receipt: Receipt
    legs: tuple[Leg, ...]
    attempts: int
    began_s: float | None
    parameters: Parameters | None
    listed: Attachment | None
    files: tuple[Attachment, ...]
    tables: str = ""
    changes: tuple[str, ...] = ()


def debrief_flight(task: FlightTask) -> Worked:
    """Debrief the flights of a task, and keep logs and debrief.

    Raises
    ------
    LogFileError
        If a log can't be read, or is no longer what was read before.
    NotWritableError
        If the folder can't be written.
    """
    store = DecodedStore(task.tables)
    recording, tables = _recording(task, store)
    attachments = AttachmentStore(task.attachments)
    kept = task.made
    changes: tuple[str, ...] = ()
    if kept is None or attachments.problem(kept) is not None:
        result = make(recording, task.under, task.given)
        if task.earlier is not None:
            result, changes = _compared(result, task.earlier)
        kept = keep_debrief(attachments, recording.receipt, result)
    logs = task.kept or keep_logs(attachments, recording.receipt, [log.path for log in task.logs])
    return worked(recording, attachments, (*logs, kept), tables, changes)


@dataclass(frozen=True, slots=True)
class JoinTask:
    """Logs of one flight that are to be joined and looked at; see `FlightTask`."""

    number: int
    logs: tuple[Source, ...]
    group: Group
    grouping: Grouping
    tables: Path
    wanted: Mapping[str, str]

    @property
    def size(self) -> int:
        """Of all its logs [bytes]."""
        return sum(log.size for log in self.logs)


def look_together(task: JoinTask) -> Seen:
    """Look for the flights of logs that are joined.

    Raises
    ------
    LogFileError
        If a log can't be read, or is no longer what was read before.
    """
    recording, _ = _joined(task.logs, task.group, task.grouping, DecodedStore(task.tables))
    return seen_in(recording, task.wanted)


def _recording(task: FlightTask, store: DecodedStore) -> tuple[Recording, str]:
    """Give the recording of a task, joined of its logs, and the name of its tables."""
    if task.group is not None and task.grouping is not None:
        return _joined(task.logs, task.group, task.grouping, store)
    own = task.logs[0]
    recording = _kept(own, store, task.size)
    if recording is not None:
        return recording, own.tables
    if len(task.logs) == 1:
        recording = _one(own, store)
    else:
        recording = _joined_anew(task.logs, store)
    return recording, store.keep(recording)


def _joined_anew(logs: Sequence[Source], store: DecodedStore) -> Recording:
    """Join logs as they were joined before; not without one of them, as if it had told nothing."""
    own, *others = logs
    recordings = join(_one(replace(log, tables=""), store) for log in logs)
    joined = next((r for r in recordings if r.receipt.sha256 == own.sha256), None)
    partners = {p.sha256 for p in joined.receipt.partners} if joined is not None else set()
    if joined is None or not partners >= {log.sha256 for log in others}:
        raise LogFileError(
            "its logs are no longer joined to one flight as they were",
            where=own.name,
            fix="The debrief that is in the record stands.",
        )
    return joined


def _joined(
    logs: Sequence[Source], group: Group, grouping: Grouping, store: DecodedStore
) -> tuple[Recording, str]:
    members = dict(zip(group.members, logs, strict=True))
    joined = join_group(group, grouping, lambda i: _one(members[i], store))
    return joined, store.keep(joined)


def _one(log: Source, store: DecodedStore) -> Recording:
    """Give the recording of one log: from its kept tables, else from the log itself."""
    from flightlog.importers import read

    recording = _kept(log, store, log.size)
    if recording is None:
        recording = _named(read(log.path), log.name)
        if recording.receipt.sha256 != log.sha256:
            raise _changed(log.name)
    return recording


def _kept(log: Source, store: DecodedStore, log_bytes: int) -> Recording | None:
    """Give the recording of one log from its kept tables; None where they are not, or not its."""
    recording = store.take(log.tables, log_bytes) if log.tables else None
    if recording is None or recording.receipt.sha256 != log.sha256:
        return None
    return _named(recording, log.name)


# --- the steps, for those who have a recording in memory


@dataclass(frozen=True, slots=True)
class Made:
    """A debrief in which each flight was judged by what it was released with.

    Attributes
    ----------
    debrief : Debrief
        Its inputs are those of the first flight.
    own : mapping of int to Debrief
        Number of a flight with other inputs -> the debrief that it was taken from.
    """

    debrief: Debrief
    own: Mapping[int, Debrief]


def make(
    recording: Recording,
    under: Sequence[str],
    given: Mapping[str, Given],
    known: MutableMapping[str, Debrief] | None = None,
) -> Made:
    """Debrief a recording once for each different release that its flights were flown under.

    Parameters
    ----------
    recording : Recording
        What was read.
    under : sequence of str
        For each flight a key of ``given``. Where the debrief finds another number of flights,
        the first key holds for all.
    given : mapping of str to Given
        Files and load.
    known : mutable mapping of str to Debrief, optional
        Debriefs of this recording by key; gets what is made now.
    """
    from flightlog.debriefing import debrief

    known = {} if known is None else known
    for key in under or ("",):
        if key not in known:
            known[key] = debrief(recording, given[key].inputs, given[key].rules)
    each = [known[key] for key in under]
    main = known[(*under, "")[0]]
    if any(len(one.sorties) != len(each) for one in (main, *each)):
        each = [main for _ in main.sorties]  # a column was left out that told of flights
    flights = tuple(one.sorties[index] for index, one in enumerate(each))
    own = {n: one for n, one in enumerate(each, start=1) if one is not main}
    return Made(replace(main, sorties=flights), own)


def keep_debrief(store: AttachmentStore, receipt: Receipt, made: Made) -> Attachment:
    """Keep a debrief as JSON; flights with inputs of their own say so."""
    from flightlog.contract import dumps, to_json

    body = to_json(made.debrief)
    for item in body["sorties"]:
        if item["number"] in made.own:
            item["inputs"] = to_json(made.own[item["number"]])["inputs"]
    name = f"{printable(receipt.file or 'log')[:_LONGEST_NAME]}{DEBRIEF_NAME}"
    return store.put(io.BytesIO((dumps(body) + "\n").encode("utf-8")), name)


def keep_logs(store: AttachmentStore, receipt: Receipt, logs: Sequence[Path]) -> list[Attachment]:
    """Keep the logs, that of the recording first; what is kept has to be what was read.

    Raises
    ------
    LogFileError
        If a file is no longer what was read.
    """
    read = {receipt.sha256, *(partner.sha256 for partner in receipt.partners)}
    kept = []
    for log in logs:
        kept.append(store.put(log, printable(log.name)))
        if kept[-1].sha256 not in read:
            raise _changed(log.name)
    own = [a for a in kept if a.sha256 == receipt.sha256]
    return [*own, *(a for a in kept if a.sha256 != receipt.sha256)]


def worked(
    recording: Recording,
    store: AttachmentStore,
    files: Sequence[Attachment],
    tables: str = "",
    changes: tuple[str, ...] = (),
) -> Worked:
    """Gather what the record says of a recording, its kept debrief last among the files."""
    import json

    from flightlog.operations.baseline import keep_parameters

    body: dict[str, Any] = json.loads(store.path(files[-1].sha256).read_text(encoding="utf-8"))
    first = [float(recording[n]["time_s"].iloc[0]) for n in recording if n != "parameters"]
    parameters = _parameters(recording)
    return Worked(
        receipt=recording.receipt,
        legs=tuple(legs_of(body["sorties"])),
        attempts=len(body["attempts"]),
        began_s=min(first, default=None),
        parameters=parameters,
        listed=keep_parameters(store, parameters) if parameters is not None else None,
        files=tuple(files),
        tables=tables,
        changes=changes,
    )


def _parameters(recording: Recording) -> Parameters | None:
    from flightlog.operations.parameters import parameters_of

    if "parameters" not in recording:
        return None
    try:
        return parameters_of(recording, printable(recording.receipt.file))
    except LogFileError:  # all of them are such that autopilots write by themselves
        return None


def _compared(made: Made, earlier: Path) -> tuple[Made, tuple[str, ...]]:
    """Put what changed into a debrief as findings, and say it."""
    from flightlog.earlier import changes_in, compared, read_earlier

    result = compared(made.debrief, read_earlier(earlier))
    return replace(made, debrief=result), changes_in(result)


def printable(name: str) -> str:
    """Give a file's name as entries can hold it."""
    return name.encode("utf-8", "replace").decode("utf-8")[:255]


def _changed(name: str) -> LogFileError:
    return LogFileError(
        "the file changed while it was read",
        where=name,
        fix="Let the device finish writing it, then import it again.",
    )
