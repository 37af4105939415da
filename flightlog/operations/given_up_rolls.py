"""Rolls that were given up, as far as their logs tell how far they went without lifting off."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from flightlog.logbook.flying_kinds import RECORDING
from flightlog.operations.desk import Desk
from flightlog.operations.positions import named
from flightlog.operations.season_table import Number
from flightlog.operations.sorties import SortieRecord, recording_debrief
from flightlog.operations.takeoff_conditions import Under, cant_be
from flightlog.prediction.takeoffs import Takeoff
from flightlog.uncertain import NORMAL_95

ROLL = "takeoff.ground_roll"
"""A distance is judged by what this figure can be."""


def given_up_before(
    desk: Desk, flight: SortieRecord, under: Under
) -> tuple[list[Takeoff], list[tuple[str, str]]]:
    """Give the rolls that were given up before a flight, since the flight before it of its log.

    They were under the flight's own release, so in its load and weather.

    Returns
    -------
    rolls : list of Takeoff
        How far each went.
    untold : list of (str, str)
        Those of which that is not known, and why.
    """
    rolls: list[Takeoff] = []
    untold: list[tuple[str, str]] = []
    for attempt in _attempts(desk, flight):
        name = f"roll {attempt['number']} given up before {named(flight.entry)}"
        far = attempt.get("distance")
        if not far or not far.get("value"):
            untold.append((name, "its log does not tell how far it went"))
            continue
        low, high = (float(far.get(key) or far["value"]) for key in ("low", "high"))
        if cant_be(ROLL, Number(float(far["value"]), low, high)):
            untold.append((name, f"its log tells a distance that can't be: {far['value']} m"))
            continue
        rolls.append(
            Takeoff(
                name,
                under.day,
                float(far["value"]),
                (high - low) / (2 * NORMAL_95),
                under.mass_kg,
                under.density_kg_m3,
                under.headwind_m_s,
                under.runway.slope,
                under.runway.surface,
                given_up=True,
                pack_ratio=under.pack_ratio if under.pack_ratio is not None else 1.0,
            )
        )
    return rolls, untold


def _attempts(desk: Desk, flight: SortieRecord) -> Iterator[Mapping[str, Any]]:
    if flight.recording is None:
        return
    whole = recording_debrief(desk, flight.recording) or {}
    starts = {s["number"]: s["start_s"] for s in whole.get("sorties") or []}
    mine = starts.get(flight.number)
    if mine is None:
        return
    since = max((s for s in starts.values() if s < mine), default=float("-inf"))
    for attempt in whole.get("attempts") or []:
        if since < attempt["start_s"] < mine:
            yield attempt


def given_up_alone(desk: Desk, aircraft: str) -> list[tuple[str, str]]:
    """Name the logs with nothing but rolls that were given up: no release goes with them."""
    # A debrief that was computed anew has an entry of its own: the last of each log stands.
    last = {e.body.content["sha256"]: e for e in desk.ledger.of(RECORDING, aircraft=aircraft)}
    return [
        (
            f"{entry.body.content['attempts']} given up in {entry.body.content['file']}",
            "its log has no flight, so that no load and weather go with it",
        )
        for entry in last.values()
        if entry.body.content["attempts"] and not entry.body.content["sorties"]
    ]
