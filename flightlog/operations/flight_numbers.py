"""The numbers of an aircraft's flights as their stored debriefs have them, and nothing beside.

`season_table` tells more of each flight, and reads the logs for it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from flightlog.operations.desk import Desk
from flightlog.operations.positions import named
from flightlog.operations.season_table import Number
from flightlog.operations.sorties import SortieRecord, debrief_of, sorties
from flightlog.operations.takeoff_conditions import figures_of


@dataclass(frozen=True, slots=True)
class FlightNumbers:
    """One flight.

    Attributes
    ----------
    record : SortieRecord
        As the record has it.
    figures : mapping
        Figure id -> its number.
    withheld : mapping
        Figure id -> why there is none.
    no_debrief : str
        Why there are none at all; empty where there are.
    """

    record: SortieRecord
    figures: Mapping[str, Number]
    withheld: Mapping[str, str]
    no_debrief: str

    @property
    def name(self) -> str:
        """By which commands know it."""
        return named(self.record.entry)

    def why_lacking(self, figure: str) -> str:
        """Say why there is no such number, "" where there is one."""
        if figure in self.figures:
            return ""
        return self.withheld.get(figure) or self.no_debrief or "its debrief does not have it"


def flight_numbers(desk: Desk, aircraft: str) -> list[FlightNumbers]:
    """Give an aircraft's flights in the order in which they were flown."""
    return [_numbers(desk, flight) for flight in sorties(desk, aircraft)]


def _numbers(desk: Desk, flight: SortieRecord) -> FlightNumbers:
    debrief = debrief_of(desk, flight)
    why = ""
    if debrief is None:
        why = (
            "entered by hand, and no log of it is in the record: import its log"
            if flight.recording is None
            else "its stored debrief is missing or damaged: 'flightlog logbook check' says more"
        )
    reasons = {id_: str(said) for id_, said in ((debrief or {}).get("withheld") or {}).items()}
    return FlightNumbers(flight, figures_of(debrief), reasons, why)
