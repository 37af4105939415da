"""What a DataFlash log declares about its own records: formats, units, multipliers.

Each type is declared by a record of type 128 with its id, length, name, one character per
field, and field names. `FIELD_TYPES` lists the characters. The scaling that a character
implies (hundredths, 1e-7 degrees) is the format's own and is applied on decoding; units and
further multipliers come from the types FMTU, UNIT and MULT and are handed on as they are.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property, lru_cache
from typing import Any, NamedTuple, Protocol

import numpy as np
import numpy.typing as npt

from flightlog.importers.common import clean_text

FMT_ID = 128
FMT_LENGTH = 89

MOST_DECLARATIONS = 65536
"""Later ones are not looked at: 256 types, declared anew after each of 256 restarts."""

Bytes = npt.NDArray[np.uint8]
IntArray = npt.NDArray[np.int64]
Offsets = npt.NDArray[np.signedinteger[Any]]

FIELD_TYPES: Mapping[str, tuple[str, float | None]] = {
    # character: (little-endian numpy type, divisor)
    "a": ("(32,)<i2", None),
    "b": ("i1", None),
    "B": ("u1", None),
    "h": ("<i2", None),
    "H": ("<u2", None),
    "i": ("<i4", None),
    "I": ("<u4", None),
    "f": ("<f4", None),
    "d": ("<f8", None),
    "g": ("<f2", None),
    "n": ("S4", None),
    "N": ("S16", None),
    "Z": ("S64", None),
    "c": ("<i2", 1e2),
    "C": ("<u2", 1e2),
    "e": ("<i4", 1e2),
    "E": ("<u4", 1e2),
    "L": ("<i4", 1e7),
    "M": ("i1", None),
    "q": ("<i8", None),
    "Q": ("<u8", None),
}
"""Field characters of the format, from the open log format's description."""

_SIZES = np.full(256, -1, dtype=np.int64)
for _char, (_type, _) in FIELD_TYPES.items():
    _SIZES[ord(_char)] = np.dtype(_type).itemsize
_SIZES[0] = 0


class Field(NamedTuple):
    """One field of a message type.

    Attributes
    ----------
    name, char : str
        As declared.
    offset : int
        From the record's first header byte. [bytes]
    content : bool
        Bytes of a copied file rather than text.
    """

    name: str
    char: str
    offset: int
    content: bool = False

    @property
    def stored(self) -> str:
        """The numpy type in the file."""
        return "(64,)u1" if self.content else FIELD_TYPES[self.char][0]

    @property
    def is_integer(self) -> bool:
        """Whether the values are integers that the format does not scale."""
        return self.char in "bBhHiIMqQ"

    def decode(self, stored: npt.NDArray[Any]) -> npt.NDArray[Any]:
        """Give the values as `MessageTable` describes them."""
        divisor = FIELD_TYPES[self.char][1]
        if divisor is not None:
            # Divided, not multiplied by 0.01: only this gives the nearest double.
            scaled: npt.NDArray[np.float64] = np.divide(stored, divisor, dtype=np.float64)
            return scaled
        if stored.dtype.kind == "S":
            return _texts(stored.tolist())
        if stored.dtype.kind == "f":
            with np.errstate(invalid="ignore"):  # signalling NaN in damaged rows
                return stored.astype(np.float64)
        # A copy even of one row: a view would keep the records of all types in memory.
        return stored.copy()


@dataclass(frozen=True)
class Format:
    """One message type as declared.

    Attributes
    ----------
    id, length : int
        Type number; bytes of a record with its header.
    name : str
        Message name.
    fields : tuple of Field
        In the file's order, one per name.
    """

    id: int
    length: int
    name: str
    fields: tuple[Field, ...]

    @cached_property
    def columns(self) -> tuple[str, ...]:
        """Field names."""
        return tuple(f.name for f in self.fields)

    @cached_property
    def dtype(self) -> np.dtype[Any]:
        """Structured type of a whole record."""
        return np.dtype(
            {
                "names": [f.name for f in self.fields],
                "formats": [f.stored for f in self.fields],
                "offsets": [f.offset for f in self.fields],
                "itemsize": self.length,
            }
        )

    def field(self, name: str) -> Field:
        """Give the field; KeyError when there is none of that name."""
        return self._by_name[name]

    @cached_property
    def _by_name(self) -> Mapping[str, Field]:
        return {field.name: field for field in self.fields}


class Messages(Protocol):
    """All rows of one message type, from a binary or a text log.

    Numbers come as 64-bit floats where the file holds floats or scaled integers, else as
    integers (as floats where a text log's cell can't be read: NaN); texts as an object array
    of str.
    """

    @property
    def format(self) -> Format:
        """As declared, but for fields that a text log prints in another way."""

    @property
    def rows(self) -> IntArray:
        """Place of each row among all records of the file."""

    @property
    def columns(self) -> tuple[str, ...]:
        """Field names in the file's order."""

    @property
    def units(self) -> Mapping[str, str]:
        """Unit text per field, where the file states it."""

    @property
    def multipliers(self) -> Mapping[str, float]:
        """What to multiply a value with to have it in its unit, where the file states it."""

    def __len__(self) -> int: ...

    def __getitem__(self, column: str) -> npt.NDArray[Any]: ...


@dataclass(frozen=True, slots=True)
class Schema:
    """All declared formats.

    Attributes
    ----------
    formats : mapping of int to Format
        By type number.
    lengths : array of 256 int
        Record length per type; 0 where none is declared.
    declared_at : array of int
        Offsets of the declarations that were used.
    refused : tuple of str
        Names of types that were declared again in another way, or whose length and fields
        don't agree.
    """

    formats: Mapping[int, Format]
    lengths: IntArray
    declared_at: Offsets
    refused: tuple[str, ...]


FMT_FORMAT = Format(
    FMT_ID,
    FMT_LENGTH,
    "FMT",
    (
        Field("Type", "B", 3),
        Field("Length", "B", 4),
        Field("Name", "n", 5),
        Field("Format", "N", 9),
        Field("Columns", "Z", 25),
    ),
)


def declarations(content: Bytes, at: Offsets, ids: Bytes) -> tuple[Offsets, Bytes, IntArray]:
    """Find the records that can be declarations of a type.

    Parameters
    ----------
    content : array of uint8
        The whole file.
    at, ids : arrays
        Offsets where records may start, and the type that each names.

    Returns
    -------
    at : array of int
        Their offsets.
    rows : array of uint8, (declarations, 89)
        Their bytes.
    sizes : array of int
        Record length that the field characters add up to.
    """
    at = at[ids == FMT_ID]
    at = at[at + FMT_LENGTH <= len(content)]
    found = [(at[:0], np.zeros((0, FMT_LENGTH), dtype=np.uint8), np.zeros(0, dtype=np.int64))]
    for first in range(0, len(at), 8192):
        found.append(_plausible(content, at[first : first + 8192]))
        if sum(len(part[0]) for part in found) >= MOST_DECLARATIONS:
            break
    where, rows, sizes = zip(*found, strict=True)
    return np.concatenate(where), np.concatenate(rows), np.concatenate(sizes)


def _plausible(content: Bytes, at: Offsets) -> tuple[Offsets, Bytes, IntArray]:
    """Those of some records of type 128 whose name and field characters make sense."""
    rows = content[at[:, None] + np.arange(FMT_LENGTH)]
    name, chars = rows[:, 5:9], rows[:, 9:25]
    sizes = _SIZES[chars]
    # Characters after the first empty one don't count.
    live = np.logical_and.accumulate(chars != 0, axis=1)
    printable = ((name >= 0x21) & (name < 0x7F)) | (name == 0)
    good = printable.all(axis=1) & (name[:, 0] != 0) & ~((sizes < 0) & live).any(axis=1)
    total = 3 + np.where(live, sizes, 0).sum(axis=1)
    return at[good], rows[good], total[good]


def read_formats(content: Bytes, at: Offsets, ids: Bytes) -> Schema:
    """Read the declared formats.

    Parameters
    ----------
    content : array of uint8
        The whole file.
    at, ids : arrays
        Offsets where records may start, and the type that each names.

    Notes
    -----
    The first declaration of a type whose length agrees with its fields stands for the whole
    file, so records before it are read too. Where none agrees, the length that leads to the
    next header more often is taken.
    """
    where, rows, sizes = declarations(content, at, ids)
    formats = {FMT_ID: FMT_FORMAT}
    lengths = np.zeros(256, dtype=np.int64)
    lengths[FMT_ID] = FMT_LENGTH
    used: list[int] = []
    refused: list[str] = []
    raw = [row.tobytes() for row in rows]
    said, summed = rows[:, 4].tolist(), sizes.tolist()
    of_type: dict[int, list[int]] = {}
    for i, id in enumerate(rows[:, 3].tolist()):
        of_type.setdefault(id, []).append(i)
    of_type.pop(FMT_ID, None)
    for id, mine in sorted(of_type.items()):
        agreeing = next((i for i in mine if said[i] == summed[i]), None)
        chosen = mine[0] if agreeing is None else agreeing
        length = summed[chosen]
        if agreeing is None:
            length = _likelier_length(at, at[ids == id], said[chosen], length)
        if agreeing is None or any(raw[i][4:] != raw[chosen][4:] for i in mine):
            refused.append(_name(raw[chosen]))
        if length:
            formats[id] = _format(raw[chosen], length)
            lengths[id] = length
            used.append(int(where[chosen]))
    return Schema(formats, lengths, np.array(used, dtype=at.dtype), tuple(refused))


def _likelier_length(at: Offsets, mine: Offsets, said: int, summed: int) -> int:
    """Choose between the two lengths that a declaration gives; 0 when neither leads on."""
    best, best_hits = 0, 0
    for length in (summed, said):
        if length < 3:
            continue
        next_header = np.append(at, -1)[np.searchsorted(at, mine + length)]
        hits = int(np.count_nonzero(next_header == mine + length))
        if hits > best_hits:
            best, best_hits = length, hits
    return best


def _name(declaration: bytes) -> str:
    return declaration[5:9].split(b"\0")[0].decode("ascii", "replace")


@lru_cache(maxsize=1024)  # of a few firmwares: the logs of a season declare the same again
def _format(declaration: bytes, length: int) -> Format:
    """Build a format; fields beyond the record's length are left out."""
    name = _name(declaration)
    chars = declaration[9:25].split(b"\0")[0].decode("ascii")
    labels = clean_text(declaration[25:89].split(b"\0")[0].decode("latin-1")).split(",")
    fields: dict[str, Field] = {}
    offset = 3
    for char, label in zip(chars, labels, strict=False):
        size = int(_SIZES[ord(char)])
        if label and offset + size <= length:
            fields[label] = Field(label, char, offset, name == "FILE" and char == "Z")
        offset += size
    return Format(declaration[3], length, name, tuple(fields.values()))


def _texts(stored: list[bytes]) -> npt.NDArray[Any]:
    """Decode texts: UTF-8, else Latin-1; up to the first NUL."""
    known: dict[bytes, str] = {}
    words = np.empty(len(stored), dtype=object)
    for i, raw in enumerate(stored):
        word = known.get(raw)
        if word is None:
            try:
                text = raw.decode("utf-8")
            except UnicodeDecodeError:
                text = raw.decode("latin-1")
            word = known[raw] = text.split("\0", 1)[0]
        words[i] = word
    return words


def read_units(
    log: Mapping[str, Messages],
) -> dict[int, tuple[dict[str, str], dict[str, float]]]:
    """Units and multipliers per type number and field, where the file states them."""
    labels = _lookup(log, "UNIT", "Id", "Label")
    factors = _lookup(log, "MULT", "Id", "Mult")
    formats = {table.format.id: table.format for table in log.values()}
    result: dict[int, tuple[dict[str, str], dict[str, float]]] = {}
    table = log.get("FMTU")
    if table is None or not {"FmtType", "UnitIds", "MultIds"} <= set(table.columns):
        return result
    rows = zip(table["FmtType"].tolist(), table["UnitIds"], table["MultIds"], strict=True)
    for id, unit_ids, multiplier_ids in dict.fromkeys(rows):
        format = formats.get(id)
        if format is None or id in result or not isinstance(unit_ids, str):
            continue
        units: dict[str, str] = {}
        multipliers: dict[str, float] = {}
        for field, unit, multiplier in zip(format.fields, unit_ids, multiplier_ids, strict=False):
            text = clean_text(str(labels.get(unit, "")))
            factor = factors.get(multiplier, 1.0)
            if not text:
                continue
            units[field.name] = text
            scaled = FIELD_TYPES[field.char][1] is not None
            # 0 is written for "none".
            multipliers[field.name] = 1.0 if scaled or not factor else float(f"{factor:.7g}")
        result[id] = (units, multipliers)
    return result


def _lookup(log: Mapping[str, Messages], name: str, key: str, value: str) -> dict[str, Any]:
    """Read a table of one-character ids; empty when the file has none."""
    table = log.get(name)
    if (
        table is None
        or not {key, value} <= set(table.columns)
        or not table.format.field(key).is_integer
    ):
        return {}
    ids = [chr(i) for i in table[key].tolist() if 0 < i < 128]
    return dict(zip(ids, table[value].tolist(), strict=False)) if len(ids) == len(table) else {}
