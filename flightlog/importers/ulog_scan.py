"""What stands where in a ULog file."""

from __future__ import annotations

from array import array
from collections import Counter
from dataclasses import dataclass, field

from flightlog.importers.ulog_formats import Formats, Layout


@dataclass(frozen=True, slots=True)
class Subscription:
    """A topic of the file: its id there, name, instance and where it was announced."""

    id: int
    name: str
    multi_id: int
    at: int
    layout: Layout


@dataclass(frozen=True, slots=True)
class Parameter:
    """A parameter record: place in the file, name, value, and whether it stood at the start."""

    at: int
    name: str
    value: float
    initial: bool


@dataclass(slots=True)
class Scan:
    """What stands where in a file.

    Attributes
    ----------
    size, version, start_us : int
        Bytes; version and start time of the header, 0 where it is damaged.
    topics : dict
        Id -> topic.
    places : dict
        Id -> offset of every whole data record.
    formats : Formats
        The declared layouts.
    parameters, dropouts, texts, tagged : list
        Places of those records, with what they hold: parameters, (offset, milliseconds),
        offset, (offset, tag).
    appended : list of int
        Offsets of what was appended later, usually a crash report.
    unknown_flags : bool
        The file says that readers of this version can't read it.
    damaged : list of (int, int)
        Offset and bytes of stretches that are no records.
    cut : list of (int, int)
        Offset and bytes of records that the end of the file or of a section cuts off.
    padding : int
        Empty bytes at the end.
    lost : Counter
        Reason -> whole records that could not be used.
    contradictions : list of str
        Topics that were announced in two ways.
    """

    size: int = 0
    version: int = 0
    start_us: int = 0
    topics: dict[int, Subscription] = field(default_factory=dict)
    places: dict[int, array[int]] = field(default_factory=dict)
    formats: Formats = field(default_factory=Formats)
    parameters: list[Parameter] = field(default_factory=list)
    dropouts: list[tuple[int, int]] = field(default_factory=list)
    texts: list[int] = field(default_factory=list)
    tagged: list[tuple[int, int]] = field(default_factory=list)
    appended: list[int] = field(default_factory=list)
    unknown_flags: bool = False
    damaged: list[tuple[int, int]] = field(default_factory=list)
    cut: list[tuple[int, int]] = field(default_factory=list)
    padding: int = 0
    lost: Counter[str] = field(default_factory=Counter)
    contradictions: list[str] = field(default_factory=list)

    @property
    def records(self) -> int:
        """Records of any use."""
        rows = sum(len(p) for p in self.places.values())
        return rows + len(self.parameters) + len(self.texts) + len(self.tagged)
