"""What the thrust stand showed of a propeller on its drive, for a choice."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from flightlog.groundtests.draws import Known
from flightlog.operations.ground_test import GroundTest, run_ground_test

_FIGURES = {
    "speed": "thrust.speed_greatest",
    "ct": "thrust.ct",
    "cp": "thrust.cp",
    "drive efficiency": "thrust.drive_efficiency",
}


@dataclass(frozen=True, slots=True)
class BenchPropeller:
    """A propeller as its stand showed it, at the highest throttle; None is withheld there.

    Attributes
    ----------
    name : str
        Of the propeller.
    test : GroundTest
        The test.
    speed_rpm, ct, cp, drive_efficiency, voltage_v : Known or None
        With standard uncertainties. [rpm], [-], [-], [-], [V]
    """

    name: str
    test: GroundTest
    speed_rpm: Known | None
    ct: Known | None
    cp: Known | None
    drive_efficiency: Known | None
    voltage_v: Known | None

    def why(self, what: str) -> str:
        """Say why the stand does not give something."""
        return self.test.answer.withheld.get(_FIGURES[what], "it is not in its files")


def bench_propeller(name: str, paths: Sequence[Path], bench: Path | None) -> BenchPropeller:
    """Reduce the files of a propeller on the stand.

    Raises
    ------
    LogFileError, TeamFileError
        If a file is at fault.
    """
    test = run_ground_test("thrust", paths, bench)

    def known(what: str, factor: float = 1.0) -> Known | None:
        figure = test.answer.figures.get(_FIGURES[what])
        if figure is None or not figure.quantity.value > 0:
            return None
        return Known(figure.quantity.value * factor, figure.quantity.std * factor)

    return BenchPropeller(
        name,
        test,
        known("speed"),
        known("ct"),
        known("cp"),
        known("drive efficiency", 0.01),
        _voltage(test),
    )


def _voltage(test: GroundTest) -> Known | None:
    """Give the voltage at the highest level of the throttle, with its uncertainty."""
    for table in test.answer.tables:
        place = {column.key: i for i, column in enumerate(table.columns)}
        if table.key == "levels" and table.rows and {"voltage_v", "voltage_std_v"} <= set(place):
            value, std = (table.rows[-1][place[key]] for key in ("voltage_v", "voltage_std_v"))
            if isinstance(value, float) and isinstance(std, float) and value > 0:
                return Known(value, std)
    return None
