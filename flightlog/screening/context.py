"""What the detectors are shown."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from flightlog.analyses.phases import Attempt, Sortie
    from flightlog.analyses.takeoff import Takeoff
    from flightlog.estimation.path import FlightPath
    from flightlog.figures import Figure
    from flightlog.inputs import Inputs
    from flightlog.recording import Recording


@dataclass(frozen=True, slots=True)
class LogView:
    """A recording and the flights that were found in it, before anything is measured."""

    recording: Recording
    sorties: tuple[Sortie, ...]
    attempts: tuple[Attempt, ...]
    inputs: Inputs


@dataclass(frozen=True, slots=True)
class FlightView:
    """One sortie, measured.

    Attributes
    ----------
    recording, sortie, inputs :
        As the analyses had them; the sortie carries refined event times.
    takeoff : Takeoff
        With roll track, heading and latency where they could be had.
    path : FlightPath or None
        The smoothed path.
    figures : mapping of str to Figure
        Everything that the analyses computed, whether it will stand or not.
    """

    recording: Recording
    sortie: Sortie
    inputs: Inputs
    takeoff: Takeoff
    path: FlightPath | None
    figures: Mapping[str, Figure]
