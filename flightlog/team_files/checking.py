"""From a table to a checked model: what pydantic found, said as where, what and what to do."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Annotated, Any, TypeVar, get_args

from pydantic import BaseModel, ConfigDict, StringConstraints, ValidationError

from flightlog.errors import TeamFileError
from flightlog.team_files.reading import near_miss, shown


class Table(BaseModel):
    """Base of all tables: no unknown key, no silent conversion, no infinity."""

    model_config = ConfigDict(extra="forbid", strict=True, allow_inf_nan=False, frozen=True)


Slug = Annotated[str, StringConstraints(pattern=r"^[A-Za-z0-9][A-Za-z0-9._-]{0,59}$")]
"""An id: letters, digits, full stops, hyphens and underscores."""

Text = Annotated[str, StringConstraints(max_length=400)]
"""Words for people."""

Model = TypeVar("Model", bound=BaseModel)


def checked(model: type[Model], table: Mapping[str, object], where: str, within: str = "") -> Model:
    """Turn a table into a model.

    Parameters
    ----------
    model : type
        What the table must be.
    table : mapping
        As read.
    where : str
        File, for errors.
    within : str
        The table of the file that ``table`` is, as the file writes it.

    Raises
    ------
    TeamFileError
        Naming the table, the key, the value that was met, and what to do about the first
        fault; the number of further faults is told.
    """
    try:
        return model.model_validate(table)
    except ValidationError as error:
        faults = error.errors(include_url=False)
        # An unknown key is often the cause of a missing one: say it first.
        first = next((f for f in faults if f["type"] == "extra_forbidden"), faults[0])
        found, fix = _said(model, first)
        others = len(faults) - 1
        more = f" Faults found besides this one: {others}." if others else ""
        place = f"{within} {_place(first['loc'])}".strip()
        raise TeamFileError(
            found, where=f"{where}: {place}" if place else where, fix=f"{fix}{more}"
        ) from error


def _place(loc: tuple[int | str, ...]) -> str:
    """Write a location the way that the file does: ``[runway] heading_deg``."""
    parts = list(loc)
    if parts and parts[-1] == "[key]":  # pydantic's mark for the key itself
        parts.pop()
    words: list[str] = []
    if len(parts) >= 3 and isinstance(parts[1], int):
        words.append(f"[[{parts[0]}]] number {parts[1] + 1}")
        parts = parts[2:]
    else:
        tables = 0
        while tables < len(parts) - 1 and isinstance(parts[tables + 1], str):
            tables += 1
        quoted = next((i for i in range(tables) if "." in str(parts[i])), tables)
        if tables:
            words.append(f"[{'.'.join(str(p) for p in parts[:quoted])}]")
        parts = parts[quoted:]
    for part in parts:
        if isinstance(part, int):
            words.append(f"item {part + 1}")
        else:
            words.append(f'"{part}"' if "." in part else part)
    return " ".join(words)


def _said(model: type[BaseModel], fault: Any) -> tuple[str, str]:
    """Give what was found, and what to do."""
    kind, value, limits = fault["type"], fault["input"], fault.get("ctx", {})
    name = str(fault["loc"][-1]) if fault["loc"] else ""
    if kind == "extra_forbidden":
        known = _keys(model, fault["loc"])
        return "is not a known key", near_miss(name, known) or f"Known here: {', '.join(known)}."
    meaning = _meaning(model, fault["loc"])
    fix = f"It is {meaning}." if meaning else ""
    if kind == "missing":
        return "is missing", f"Add it. {fix}".strip()
    return f"is {shown(value)}{_why(kind, limits)}", fix or "Correct it."


def _why(kind: str, limits: Mapping[str, Any]) -> str:
    words = {
        "greater_than": ", and must be above {gt:g}",
        "greater_than_equal": ", below {ge:g}",
        "less_than": ", and must be below {lt:g}",
        "less_than_equal": ", above {le:g}",
        "finite_number": ", not a finite number",
        "float_type": ", not a number",
        "int_type": ", not a whole number",
        "string_type": ', not a text in "quotes"',
        "bool_type": ", not true or false",
        "list_type": ", not a list in [brackets]",
        "tuple_type": ", not a list in [brackets]",
        "dict_type": ", not a table",
        "model_type": ", not a table",
        "literal_error": ", not {expected}",
        "string_pattern_mismatch": ", not an id of letters, digits, '.', '-' and '_'",
        "string_too_long": ", longer than {max_length} characters",
        "string_too_short": ", too short",
        "too_short": ", too few items (at least {min_length})",
        "too_long": ", too many items (at most {max_length})",
    }
    text = words.get(kind, "")
    if kind in {"too_short", "too_long"} and limits.get("field_type") == "Tuple":
        return ", a list of the wrong length"
    return text.format(**limits)


def _walk(model: type[BaseModel], loc: tuple[int | str, ...]) -> Iterator[tuple[Any, int]]:
    """Give the annotated field at each step of a location, as far as it can be followed."""
    current: type[BaseModel] | None = model
    for step, part in enumerate(loc):
        if current is None:
            return
        field = current.model_fields.get(part) if isinstance(part, str) else None
        if field is None:
            continue  # the key of a mapping, or an index: the model behind it is the same
        yield field, step
        current = _model_in(field.annotation)


def _model_in(annotation: Any) -> type[BaseModel] | None:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    return next((m for a in get_args(annotation) if (m := _model_in(a))), None)


def _keys(model: type[BaseModel], loc: tuple[int | str, ...]) -> list[str]:
    current = model
    for field, step in _walk(model, loc[:-1]):
        if step < len(loc) - 1:
            current = _model_in(field.annotation) or current
    return list(current.model_fields)


def _meaning(model: type[BaseModel], loc: tuple[int | str, ...]) -> str:
    text = ""
    for field, _ in _walk(model, loc):
        text = field.description or ""
    return text
