"""A small writer of DataFlash records, independent of the decoder: struct and nothing else."""

from __future__ import annotations

import struct

STRUCT = {
    "a": "32h", "b": "b", "B": "B", "h": "h", "H": "H", "i": "i", "I": "I", "f": "f", "d": "d",
    "g": "e", "n": "4s", "N": "16s", "Z": "64s", "c": "h", "C": "H", "e": "i", "E": "I",
    "L": "i", "M": "b", "q": "q", "Q": "Q",
}  # fmt: skip


class Writer:
    """Collects records; `data` is the file."""

    def __init__(self) -> None:
        self.data = bytearray()
        self.types: dict[str, tuple[int, str]] = {}
        self.starts: list[int] = []

    def declare(
        self, id: int, name: str, chars: str, columns: str, *, length: int | None = None
    ) -> Writer:
        """Write the declaration of a type; ``length`` may lie."""
        self.types[name] = (id, chars)
        true = 3 + struct.calcsize("<" + "".join(STRUCT[c] for c in chars))
        said = true if length is None else length
        self._record(
            128,
            struct.pack(
                "<BB4s16s64s", id, said % 256, name.encode(), chars.encode(), columns.encode()
            ),
        )
        return self

    def add(self, name: str, *values: object) -> Writer:
        """Write one record; arrays are given as their 32 numbers in a tuple."""
        id, chars = self.types[name]
        flat: list[object] = []
        for value in values:
            flat.extend(value if isinstance(value, tuple) else [value])
        self._record(id, struct.pack("<" + "".join(STRUCT[c] for c in chars), *flat))
        return self

    def garbage(self, content: bytes) -> Writer:
        """Write bytes that are no record."""
        self.data += content
        return self

    def _record(self, id: int, payload: bytes) -> None:
        self.starts.append(len(self.data))
        self.data += b"\xa3\x95" + bytes([id]) + payload


def with_fmt() -> Writer:
    """Start a log as loggers do."""
    return Writer().declare(128, "FMT", "BBnNZ", "Type,Length,Name,Format,Columns")
