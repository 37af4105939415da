"""Topics of a ULog file as raw tables, decoded by a library behind a wall."""

from __future__ import annotations

import io
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any

import numpy as np
import numpy.typing as npt

from flightlog.errors import LogFileError
from flightlog.importers.common import FloatArray
from flightlog.importers.ulog_scan import Scan

AnyArray = npt.NDArray[Any]
IntArray = npt.NDArray[np.int64]

_ELEMENT = re.compile(r"(.*)\[\d+\]")
_NO_UNITS: Mapping[str, str] = MappingProxyType({})


class Topic:
    """All rows of one topic and instance, as the file has them.

    Arrays of numbers are one column of shape (rows, length), arrays of characters a column of
    texts; members of nested records are called ``esc[0].esc_rpm``. The format states no units.

    Attributes
    ----------
    name : str
        Of the topic, without the instance.
    multi_id : int
        Which of several, from 0.
    at : array of int
        Offset in the file of each row.
    """

    def __init__(self, data: Any, at: IntArray) -> None:
        self.name: str = data.name
        self.multi_id: int = data.multi_id
        self.at = at
        self._data: Mapping[str, AnyArray] = data.data
        self._parts: dict[str, list[str]] = {}
        self._texts: set[str] = set()
        for field in data.field_data:
            array = _ELEMENT.fullmatch(field.field_name)
            column = array[1] if array else field.field_name
            self._parts.setdefault(column, []).append(field.field_name)
            if array and field.type_str == "char":
                self._texts.add(column)

    @property
    def columns(self) -> tuple[str, ...]:
        """Field names in the file's order."""
        return tuple(self._parts)

    @property
    def units(self) -> Mapping[str, str]:
        """Nothing: the format states none."""
        return _NO_UNITS

    def __len__(self) -> int:
        return len(self.at)

    def __getitem__(self, column: str) -> AnyArray:
        """One column; KeyError when the topic has no such field."""
        parts = self._parts[column]
        if column in self._texts:
            letters = np.stack([self._data[part] for part in parts], axis=1).astype(np.uint8)
            texts = [bytes(row).split(b"\0")[0].decode("utf-8", "replace") for row in letters]
            return np.array(texts, dtype=object)
        if parts == [column]:
            return self._data[column].copy()
        return np.stack([self._data[part] for part in parts], axis=1)

    def numbers(self, column: str, index: int | None = None) -> FloatArray | None:
        """A field, or one element of an array, as 64-bit floats; None without such a field."""
        parts = self._parts.get(column)
        if parts is None or column in self._texts:
            return None
        whole = parts == [column]
        if whole != (index is None) or (index or 0) >= len(parts):
            return None
        # Of NaN there are two kinds, and one of them warns.
        with np.errstate(invalid="ignore"):
            return self._data[parts[index or 0]].astype(np.float64)

    def length(self, column: str) -> int:
        """Elements of an array field; 0 for any other."""
        parts = self._parts.get(column, [])
        return 0 if parts == [column] else len(parts)

    def __repr__(self) -> str:
        return f"<{self.name}.{self.multi_id} {len(self)} rows: {', '.join(self.columns)}>"


class RawList:
    """A raw table whose columns are lists: what the format keeps outside of topics."""

    def __init__(self, **columns: AnyArray) -> None:
        self._columns = columns

    @property
    def columns(self) -> tuple[str, ...]:
        """Names of the columns."""
        return tuple(self._columns)

    @property
    def units(self) -> Mapping[str, str]:
        """Nothing: the format states none."""
        return _NO_UNITS

    def __len__(self) -> int:
        return len(next(iter(self._columns.values())))

    def __getitem__(self, column: str) -> AnyArray:
        return self._columns[column]


@dataclass(frozen=True, slots=True)
class Text:
    """A logged text: offset in the file, time stamp [us], severity 0 to 7, tag or None, text."""

    at: int
    stamp_us: int
    severity: int
    tag: int | None
    text: str


@dataclass(frozen=True, slots=True)
class Contents:
    """What the decoder made of a file.

    Attributes
    ----------
    topics : dict
        ``name`` for instance 0, ``name.1`` and so on for others -> rows.
    texts : list of Text
        In the order of the file.
    info : mapping
        Information by name; of several by one name the last.
    several : mapping
        Names of information that comes in several parts -> how many.
    defaults : mapping of int to mapping
        Kind of default (0 the firmware's, 1 the airframe's) -> parameter -> value.
    ignored : list of str
        Topics of which the decoder gave another number of rows than the file has.
    """

    topics: dict[str, Topic]
    texts: list[Text]
    info: Mapping[str, Any]
    several: Mapping[str, int]
    defaults: Mapping[int, Mapping[str, float]]
    ignored: list[str]


def decode(stream: bytes, found: Scan, where: str) -> Contents:
    """Decode a sound file.

    Parameters
    ----------
    stream : bytes
        From `flightlog.importers.ulog_stream.scan`.
    found : Scan
        Where its records stood.
    where : str
        File name for the error.

    Raises
    ------
    LogFileError
        If the decoder fails on it all the same.
    """
    from pyulog import ULog

    # Other people's parser: on damage it raises whatever its parts raise.
    try:
        log = ULog(io.BytesIO(stream))
        topics, ignored = _topics(log, found)
        return Contents(
            topics=topics,
            ignored=ignored,
            texts=sorted(_texts(log, found), key=lambda text: text.at),
            info=log.msg_info_dict,
            several={name: len(parts) for name, parts in log.msg_info_multiple_dict.items()},
            defaults={kind: dict(log.get_default_parameters(kind)) for kind in (0, 1)},
        )
    except Exception as error:
        raise LogFileError(
            f"the ULog decoder gave up ({type(error).__name__}: {str(error)[:200]})",
            where=where,
            fix="Copy the file from the aircraft's card again.",
        ) from error


def _topics(log: Any, found: Scan) -> tuple[dict[str, Topic], list[str]]:
    """Raw tables by name, in the order of their ids in the file."""
    topics: dict[str, Topic] = {}
    ignored: list[str] = []
    for data in sorted(log.data_list, key=lambda data: int(data.msg_id)):
        name = f"{data.name}.{data.multi_id}" if data.multi_id else data.name
        if name in topics:  # logged again under another id
            name = f"{name}@{data.msg_id}"
        at = np.frombuffer(found.places[data.msg_id], dtype=np.int64)
        topic = Topic(data, at)
        if len(data.data["timestamp"]) == len(at):
            topics[name] = topic
        else:
            ignored.append(name)
    return topics, ignored


def _texts(log: Any, found: Scan) -> Iterator[Text]:
    for at, text in zip(found.texts, log.logged_messages, strict=True):
        yield Text(at, text.timestamp, _severity(text.log_level), None, text.message)
    by_tag = {tag: iter(texts) for tag, texts in log.logged_messages_tagged.items()}
    for at, tag in found.tagged:
        text = next(by_tag[tag])
        yield Text(at, text.timestamp, _severity(text.log_level), tag, text.message)


def _severity(level: int) -> int:
    """RFC 5424 severity; it is written as a digit."""
    return level - ord("0") if level >= ord("0") else level
