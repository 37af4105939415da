"""Recordings for the detectors: a made flight, the shipped samples, and ways to spoil them."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from typing import Any

import numpy as np
import pandas as pd

import flightlog
from flightlog import debriefing
from flightlog.analyses.phases import find_sorties
from flightlog.constants import G0_M_S2, ISA_T0_K, R_DRY_J_KG_K
from flightlog.debriefing import Debrief
from flightlog.findings import Finding
from flightlog.importers.common import Notes
from flightlog.importers.house import leave_out_impossible
from flightlog.inputs import Inputs
from flightlog.recording import Recording
from flightlog.resources import data_path
from flightlog.screening import LogView
from tests.synthetic import Story


def story() -> Story:
    """Half a minute of rest, a flight with circles, and rest."""
    made = Story().rest(30).event("roll").roll().event("liftoff").climb(40.0)
    return (
        made.cruise(60, turn_deg=720.0)
        .go(20, power=0.7, shake=0.1)
        .descend()
        .event("touchdown")
        .stop()
        .event("standstill")
        .rest(20)
    )


@cache
def flown(sensors: str = "gps baro imu battery outputs") -> Recording:
    """The made flight as recorded, with the pressure that its heights have in standard air."""
    recording = story().recording(sensors=sensors)
    if "baro" not in recording:
        return recording
    baro = recording["baro"]
    pressure = 98_000.0 * np.exp(-baro["height_m"] * G0_M_S2 / (R_DRY_J_KG_K * ISA_T0_K))
    return changed(recording, baro=baro.assign(pressure_pa=pressure))


@cache
def sample(name: str = "calm.bin") -> Recording:
    """One of the shipped flights."""
    return flightlog.read(data_path("sample_flights", name))


def changed(recording: Recording, **tables: pd.DataFrame | None) -> Recording:
    """The same recording with other tables; None takes one away."""
    every = {name: recording[name] for name in recording} | tables
    kept = {name: table for name, table in every.items() if table is not None}
    return Recording(kept, recording.receipt, recording.raw, recording.findings)


def scaled(recording: Recording, table: str, column: str, factor: float) -> Recording:
    """The same recording with one column multiplied."""
    values = recording[table][column] * factor
    return changed(recording, **{table: recording[table].assign(**{column: values})})


def delayed(recording: Recording, table: str, seconds: float) -> Recording:
    """The same recording with one table stamped so much later."""
    rows = recording[table]
    return changed(recording, **{table: rows.assign(time_s=rows["time_s"] + seconds)})


def imported(recording: Recording, table: str) -> Recording:
    """The same recording as an importer gives it: impossible values of a table left out."""
    notes, rows = Notes(), recording[table]
    columns = {str(name): rows[name].to_numpy() for name in rows}
    leave_out_impossible(table, columns, notes)
    one = changed(recording, **{table: pd.DataFrame(columns)})
    tables = {name: one[name] for name in one}
    return Recording(tables, one.receipt, one.raw, (*one.findings, *notes.findings))


def as_format(recording: Recording, format: str, **receipt: Any) -> Recording:
    """The same recording as if it came from a file of another format."""
    tables = {name: recording[name] for name in recording}
    stated = replace(recording.receipt, format=format, **receipt)
    return Recording(tables, stated, recording.raw, recording.findings)


def view(recording: Recording, inputs: Inputs | None = None) -> LogView:
    """What detectors of a whole log are shown."""
    sorties, attempts, _ = find_sorties(recording)
    return LogView(recording, sorties, attempts, inputs or Inputs())


_KEPT: list[tuple[Recording, Inputs | None, Debrief]] = []


def debrief(recording: Recording, inputs: Inputs | None = None) -> Debrief:
    """Debrief a recording; the last ones are kept, because a test asks several times."""
    for at, (known, given, done) in enumerate(_KEPT):
        if known is recording and given is inputs:
            _KEPT.append(_KEPT.pop(at))
            return done
    _KEPT.append((recording, inputs, debriefing.debrief(recording, inputs)))
    del _KEPT[:-16]
    return _KEPT[-1][2]


def findings(done: Debrief) -> list[Finding]:
    """All findings of a debrief."""
    found = [*done.findings, *(f for s in done.sorties for f in s.findings)]
    # Those of the log stand in its sorties again.
    return list({id(f): f for f in found}.values())


def told(recording: Recording, code: str, inputs: Inputs | None = None) -> list[Finding]:
    """Findings of one kind that a debrief of the recording gives."""
    return [f for f in findings(debrief(recording, inputs)) if f.code == code]


def withheld_by(done: Debrief, code: str) -> set[str]:
    """Figures of the first sortie that are withheld because of a finding."""
    return {id_ for id_, why in done.sorties[0].withheld.items() if why.endswith(f"({code})")}


def half_width(done: Debrief, figure: str) -> float:
    """Half the 95 % interval of a figure of the first sortie."""
    low, high = done.sorties[0].figures[figure].quantity.interval(0.95)
    return (high - low) / 2
