"""Whether a stored debrief has the shape that all readers of it count on.

A debrief is a file beside an entry: another version of this program may have written it, or
somebody's editor. One that is not of the shape counts as damaged; else a word where a number
belongs would take down every page on which that flight stands.
"""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError

_Text = Annotated[str, Field(max_length=20_000)]
_Number = float | None


class _Shape(BaseModel):
    model_config = ConfigDict(strict=True, extra="ignore", allow_inf_nan=False)


class _Measured(_Shape):
    value: _Number
    low: _Number
    high: _Number


class _Known(_Shape):
    value: float
    low: float
    high: float


class _Figure(_Known):
    unit: _Text
    method: _Text
    sources: list[_Text]


class _Bound(_Shape):
    op: Literal["<=", ">="]
    value: float
    unit: _Text


class _Outcome(_Shape):
    limit: _Text
    kind: Literal["rule", "aircraft"]
    figure: _Text
    value: _Number
    low: _Number
    high: _Number
    outcome: Literal["met", "not met", "not shown", "not assessable"]
    probability: _Number
    bound: _Bound
    required_probability: float
    source: _Text
    reason: _Text = ""


class _Finding(_Shape):
    code: _Text
    severity: Literal["stop", "degrade", "note"]
    message: _Text
    evidence: dict[str, Any]
    affects: list[_Text]
    remedy: _Text
    start_s: _Number
    end_s: _Number


class _Lap(_Shape):
    number: int
    time: _Measured | None
    energy: _Measured | None
    distance: _Measured | None


class _Gate(_Shape):
    origin: _Text
    left: list[float] = Field(min_length=2, max_length=2)
    right: list[float] = Field(min_length=2, max_length=2)


class _Score(_Shape):
    total: _Measured | None
    reason: _Text = ""


class _File(_Shape):
    sha256: _Text


class _Weather(_Shape):
    wind_speed: _Known | None = None


class _Inputs(_Shape):
    aircraft: _File | None = None
    # Debriefs that were stored earlier have none.
    pack: _File | None = None
    weather: _Weather | None = None


class _Sortie(_Shape):
    number: int
    start_s: _Number
    liftoff_s: _Number
    touchdown_s: _Number
    end_s: _Number
    figures: dict[str, _Figure]
    withheld: dict[str, _Text]
    gate: _Gate | None = None
    laps: list[_Lap]
    outcomes: list[_Outcome]
    score: _Score | None = None
    findings: list[_Finding]
    inputs: _Inputs | None = None


class _Speed(_Shape):
    value: float
    unit: _Text


class _Rolled(_Known):
    unit: Literal["m"]


class _Attempt(_Shape):
    start_s: float
    peak_ground_speed: _Speed
    # Debriefs that were stored earlier have none.
    distance: _Rolled | None = None
    distance_in_all: _Rolled | None = None


class _Clock(_Shape):
    offset_s: _Number
    std_s: _Number
    zone_known: bool


class _Log(_Shape):
    sha256: _Text
    utc: _Clock


class _Debrief(_Shape):
    log: _Log
    attempts: list[_Attempt]
    sorties: list[_Sortie]
    findings: list[_Finding]
    inputs: _Inputs | None = None


def is_sound(body: dict[str, Any]) -> bool:
    """Whether a JSON object can be read as a debrief; what it holds beyond that is left open."""
    try:
        _Debrief.model_validate(body)
    except (ValidationError, OverflowError):
        return False
    return True
