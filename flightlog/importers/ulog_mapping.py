"""The data beside the ULog importer, and columns out of topics by it; see `ulog.toml`."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from functools import cache
from importlib.resources import files
from typing import Any

import numpy as np
import numpy.typing as npt

from flightlog.importers.common import FloatArray, Notes
from flightlog.importers.ulog_topics import Topic
from flightlog.recording import ColumnSource

Columns = dict[str, npt.NDArray[Any]]
Rules = Mapping[str, list[dict[str, Any]]]

WHY = "the format's own message definitions"

HECTOPASCAL = (300.0, 1200.0)
"""Static pressure in hPa lies between these, and nowhere on an aircraft's flight in Pa."""


@cache
def mapping() -> Mapping[str, Any]:
    """Read the mapping data."""
    text = files("flightlog.importers").joinpath("ulog.toml").read_text(encoding="utf-8")
    return tomllib.loads(text)


def rules_of(columns: str | Rules) -> Rules:
    """Rules for columns, which several sources may share by name."""
    shared: Mapping[str, Rules] = mapping()["columns"]
    return shared[columns] if isinstance(columns, str) else columns


def feeds(topic: Topic, columns: str | Rules) -> bool:
    """Whether a topic has at least one of the fields."""
    return any(_rule(topic, rules) is not None for rules in rules_of(columns).values())


def columns_of(
    table: str, topic: Topic, columns: str | Rules, notes: Notes
) -> tuple[Columns, dict[str, int]]:
    """Columns of a table out of a topic.

    Parameters
    ----------
    table : str
        Its name, for the receipt.
    topic : Topic
        Where the values are.
    columns : str or mapping
        Rules, or the name of shared ones.
    notes : Notes
        Receives where each column comes from.

    Returns
    -------
    dict of arrays
        In SI units; NaN where nothing was measured.
    dict of int
        Column -> how many values stood for "not measured".
    """
    made: Columns = {}
    missing: dict[str, int] = {}
    for column, rules in rules_of(columns).items():
        rule = _rule(topic, rules)
        if rule is None:
            continue
        values, unit, why = _values(topic, rule)
        if why == WHY or np.isfinite(values).any():
            made[column] = values
            missing[column] = int(np.count_nonzero(~np.isfinite(values)))
        if np.isfinite(values).any():
            said = unit.partition(" as ")[0]
            note_source(notes, table, column, f"{topic.name}.{_named(rule)}", said, why)
    return made, missing


def note_source(
    notes: Notes, table: str, column: str, source: str, unit: str, why: str = WHY
) -> None:
    """Note once where a column comes from."""
    made = ColumnSource(table, column, source, unit, why)
    if made not in notes.sources:
        notes.sources.append(made)


def _rule(topic: Topic, rules: list[dict[str, Any]]) -> dict[str, Any] | None:
    """First rule whose fields the topic has."""
    for rule in rules:
        needed = [rule.get("over"), rule.get("where", {}).get("field")]
        if topic.numbers(rule["field"], rule.get("at")) is not None and all(
            topic.numbers(name) is not None for name in needed if name
        ):
            return rule
    return None


def _named(rule: Mapping[str, Any]) -> str:
    name = str(rule["field"]) + (f"[{rule['at']}]" if "at" in rule else "")
    return f"{name} / {rule['over']}" if "over" in rule else name


def _values(topic: Topic, rule: Mapping[str, Any]) -> tuple[FloatArray, str, str]:
    """Values in SI units, the unit that the file has them in, and what told it."""
    raw = topic.numbers(rule["field"], rule.get("at"))
    if raw is None:
        return np.full(len(topic), np.nan), "", WHY
    bad = ~np.isfinite(raw) | np.isin(raw, rule.get("missing", []))
    for key, wanted in (("where", True), ("unless", False)):
        if key in rule:
            states = topic.numbers(rule[key]["field"])
            if states is not None:
                bad |= np.isin(states, rule[key]["is"]) != wanted
    unit, why = str(rule["unit"]), WHY
    if unit == "Pa or hPa":
        unit, why = _pressure_unit(raw[~bad])
    values = scaled(raw, unit) * float(rule.get("sign", 1))
    if "over" in rule:
        over = topic.numbers(rule["over"])
        if over is not None:
            bad |= ~(over > 0)
            values = values / np.where(over > 0, scaled(over, rule["over_unit"]), 1.0)
        unit = f"{unit} in {rule['over_unit']}"
    return np.where(bad, np.nan, values), unit, why


def scaled(values: FloatArray, unit: str) -> FloatArray:
    """Values of a unit of the mapping in SI units."""
    factor, offset = mapping()["units"][unit]
    # Dividing by the inverse keeps round decimals round (1e-6, 1e-7).
    inverse = round(1.0 / factor)
    exact = inverse > 1 and abs(inverse * factor - 1.0) < 1e-12
    result: FloatArray = values / inverse if exact else values * factor
    return result + offset if offset else result


def _pressure_unit(pressure: FloatArray) -> tuple[str, str]:
    """Tell hectopascals from pascals; a static pressure can't be taken for the other."""
    middle = float(np.median(pressure)) if len(pressure) else 0.0
    low, high = HECTOPASCAL
    unit = "hPa" if low <= middle <= high else "Pa"
    return unit, f"the values: {middle:.6g} is a static pressure in {unit} only"
