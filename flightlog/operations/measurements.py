"""Numbers that somebody measured of a flight apart from its log, beside the log's own."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from flightlog.errors import UsageError
from flightlog.figures import FIGURES
from flightlog.logbook.book import Draft
from flightlog.logbook.canonical import quantity
from flightlog.logbook.entry import CITES, Entry, Relation, Signer
from flightlog.logbook.flying_kinds import MEASUREMENT
from flightlog.operations.positions import number
from flightlog.operations.sorties import SortieRecord
from flightlog.team_files.limits import near_figure
from flightlog.team_files.reading import near_miss
from flightlog.uncertain import NORMAL_95

LAP_UNITS = {"lap.time": "s", "lap.energy": "Wh", "lap.distance": "m"}
"""What can be measured of one lap, in which unit."""
METHODS = ("tape", "judge", "official")
"""How an independent measurement was made."""


def draft_measurement(
    flight: SortieRecord,
    figure: str,
    value: str,
    unit: str,
    method: str,
    by: str,
    *,
    std: str = "",
    lap: int | None = None,
) -> Draft:
    """Draft a number that somebody measured apart from the log.

    Parameters
    ----------
    flight : SortieRecord
        What it was measured of.
    figure : str
        Figure id, or with ``lap`` one of `LAP_UNITS`.
    value, std : str
        Decimal numbers in ``unit``; the standard uncertainty empty where nobody knows it.
    unit : str
        That of the figure.
    method : str
        One of `METHODS`.
    by : str
        Public key of who says it.
    lap : int, optional
        Number of the lap, from 1.

    Raises
    ------
    UsageError
        If the figure is unknown, the unit is another one, or a number is none.
    """
    wanted = _unit(figure, lap)
    if unit != wanted:
        raise UsageError(
            f"is in {wanted or 'no unit (write -)'}, not in {unit or 'none'}",
            where=figure,
            fix="Convert the number, and give the unit of the figure.",
        )
    if method not in METHODS:
        raise UsageError(
            f"is none of {', '.join(METHODS)}",
            where=f"--method {method[:40]}",
            fix="Give one of them.",
        )
    content: dict[str, Any] = {
        "figure": figure,
        "value": quantity(number(value, figure), unit),
        "method": method,
    }
    if std:
        spread = number(std, "--std")
        if spread <= Decimal(0):
            raise UsageError(f"{std} is not above 0", where="--std", fix="Leave it out.")
        content["std"] = quantity(spread, unit)
    if lap is not None:
        content["lap"] = lap
    relations = [Relation(CITES, flight.entry.hash)]
    return Draft(MEASUREMENT, content, [Signer(by, "measured")], relations=relations)


def _unit(figure: str, lap: int | None) -> str:
    if lap is not None:
        if figure not in LAP_UNITS:
            hint = near_miss(figure, tuple(LAP_UNITS)) or f"Of a lap: {', '.join(LAP_UNITS)}."
            raise UsageError("is no figure of a lap", where=figure[:60], fix=hint)
        return LAP_UNITS[figure]
    if figure in LAP_UNITS:
        raise UsageError("is of one lap", where=figure, fix="Give --lap N.")
    if figure not in FIGURES:
        raise UsageError("there is no such figure", where=figure[:60], fix=near_figure(figure))
    return FIGURES[figure].unit


@dataclass(frozen=True, slots=True)
class Beside:
    """An independent measurement beside the log's figure, all in one unit.

    Attributes
    ----------
    entry : Entry
        The measurement.
    figure : str
        What was measured.
    unit : str
        Of all numbers.
    value, std : float, float or None
        As measured; None where nobody said how sure it is.
    ours : tuple of float or None
        Value and both ends of the 95 % interval by the log; None where it has none.
    why : str
        Why there is no number by the log.
    """

    entry: Entry
    figure: str
    unit: str
    value: float
    std: float | None
    ours: tuple[float, float, float] | None
    why: str = ""

    @property
    def difference(self) -> float | None:
        """The log's value minus the measured one."""
        return None if self.ours is None else self.ours[0] - self.value

    @property
    def agree(self) -> bool | None:
        """Whether the two 95 % intervals have a number in common; None where one is missing."""
        if self.ours is None:
            return None
        half = NORMAL_95 * (self.std or 0.0)
        return self.ours[1] <= self.value + half and self.value - half <= self.ours[2]


def beside(entry: Entry, debrief: Mapping[str, Any] | None) -> Beside:
    """Put a measurement beside the figure of a sortie of a stored debrief."""
    said = entry.body.content
    std = float(said["std"]["value"]) if "std" in said else None
    value, unit = float(said["value"]["value"]), said["value"]["unit"]
    ours, why = _ours(said, debrief)
    lap = f" of lap {said['lap']}" if "lap" in said else ""
    return Beside(entry, f"{said['figure']}{lap}", unit, value, std, ours, why)


def _ours(
    said: Mapping[str, Any], debrief: Mapping[str, Any] | None
) -> tuple[tuple[float, float, float] | None, str]:
    if debrief is None:
        return None, "there is no log of this flight"
    figure = said["figure"]
    if "lap" in said:
        laps = [lap for lap in debrief["laps"] if lap["number"] == said["lap"]]
        found = laps[0].get(figure.removeprefix("lap.")) if laps else None
        why = "the log does not give it" if laps else "the log has no such lap"
    else:
        found = debrief["figures"].get(figure)
        why = debrief["withheld"].get(figure, "the debrief does not have it")
    if found is None:
        return None, why
    return (found["value"], found["low"], found["high"]), ""
