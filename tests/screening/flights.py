"""A sample flight whose tables are changed, and what a debrief then says."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from functools import cache
from pathlib import Path

import numpy as np
import pandas as pd

import sample_flights
from flightlog.debriefing import Debrief, SortieDebrief, debrief
from flightlog.findings import Finding
from flightlog.inputs import Aircraft, Inputs, load_aircraft
from flightlog.recording import Recording
from tests.screening.made import findings, sample

FOLDER = Path(sample_flights.__file__).parent
PANNIER: Aircraft = load_aircraft(FOLDER / "pannier.toml")


def changed(
    recording: Recording,
    table: str,
    change: Callable[[pd.DataFrame], pd.DataFrame],
    more: Iterable[Finding] = (),
) -> Recording:
    """The recording with one table changed, and more findings."""
    tables = {name: recording[name] for name in recording}
    tables[table] = change(recording[table].copy())
    return Recording(tables, recording.receipt, recording.raw, (*recording.findings, *more))


def until(recording: Recording, time_s: float) -> Recording:
    """The recording as if its file ended at a time."""
    tables = {name: recording[name].loc[recording[name]["time_s"] <= time_s] for name in recording}
    return Recording(tables, recording.receipt, recording.raw, recording.findings)


@cache
def clean(name: str = "calm.bin") -> Debrief:
    """What the untouched sample gives with its aircraft file."""
    return debrief(sample(name), Inputs(aircraft=PANNIER))


def found(result: Debrief, code: str) -> list[Finding]:
    """Every finding of a kind."""
    return [f for f in findings(result) if f.code == code]


def only(result: Debrief, code: str) -> Finding:
    """The one finding of a kind."""
    (finding,) = found(result, code)
    return finding


def sortie(result: Debrief) -> SortieDebrief:
    """The one sortie."""
    (one,) = result.sorties
    return one


def std(result: Debrief, figure: str) -> float:
    """Standard uncertainty of a figure of the one sortie."""
    return sortie(result).figures[figure].quantity.std


def value(result: Debrief, figure: str) -> float:
    """A figure of the one sortie."""
    return sortie(result).figures[figure].quantity.value


def is_withheld_for(result: Debrief, figure: str, code: str) -> bool:
    """Whether a finding is the reason why the figure is not there."""
    one = sortie(result)
    return figure not in one.figures and one.withheld[figure].endswith(f"({code})")


def added_share(narrow: Debrief, wide: Debrief, figure: str) -> float:
    """What was added to a standard uncertainty, root of the difference of squares, as a share."""
    more = std(wide, figure) ** 2 - std(narrow, figure) ** 2
    return float(np.sqrt(more)) / abs(value(wide, figure))
