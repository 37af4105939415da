"""The tables of a ring-down: what was taken, what each release gave, and what a spectrum could."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from flightlog.groundtests.answer import Cell, ResultColumn, ResultTable
from flightlog.groundtests.damped_numbers import Mode
from flightlog.groundtests.ring_reading import Release
from flightlog.groundtests.spectrum_limits import needed_duration_s, resolution_hz


@dataclass(frozen=True, slots=True)
class Motion:
    """What was measured of the motion.

    Attributes
    ----------
    signal : str
        "acceleration", "displacement" or "signal".
    unit : str
        In which the reduction has it: m/s², m, or none.
    """

    signal: str
    unit: str

    @property
    def how(self) -> str:
        """What is added to the method of an amplitude in millimetres."""
        return ", acceleration over ω²" if self.signal == "acceleration" else ""

    @property
    def shown_unit(self) -> str:
        """Unit of amplitudes in tables and sentences."""
        return "mm" if self.unit else "units"

    def millimetres(self, amplitude: float, frequency_hz: float) -> float:
        """Turn an amplitude of the signal into one of displacement. [mm]"""
        over = (2 * math.pi * frequency_hz) ** 2 if self.signal == "acceleration" else 1.0
        return 1000 * amplitude / over

    def shown(self, amplitude: float, frequency_hz: float) -> float:
        """Give an amplitude in ``shown_unit``."""
        return self.millimetres(amplitude, frequency_hz) if self.unit else amplitude


def tables_of(
    found: Sequence[Release], groups: Sequence[Mapping[int, Mode]], motion: Motion
) -> tuple[ResultTable, ...]:
    """Make the tables ``releases``, ``modes`` and ``spectrum``.

    Parameters
    ----------
    found : sequence of Release
        In the order of files and times.
    groups : sequence of mapping
        For each mode, by frequency: index of the release -> what it shows of it.
    motion : Motion
        What was measured.
    """
    return _releases(found, motion), _modes(found, groups, motion), _spectrum(found, groups)


def _releases(found: Sequence[Release], motion: Motion) -> ResultTable:
    unit = motion.unit
    columns = (
        ResultColumn("release", "Release", decimals=0),
        ResultColumn("file", "File"),
        ResultColumn("start_s", "From", "s", 3),
        ResultColumn("end_s", "To", "s", 3),
        ResultColumn("cycles", "Cycles", decimals=1),
        ResultColumn("modes", "Oscillations", decimals=0),
        ResultColumn("signal_amplitude", "Amplitude at the start", unit, 4),
        ResultColumn("noise_std", "Scatter about the fit", unit, 4),
        ResultColumn("mains_hz", "Mains", "Hz", 2),
    )
    rows: list[tuple[Cell, ...]] = [
        (
            k,
            each.file,
            each.start_s,
            each.end_s,
            each.cycles,
            len(each.ring.modes),
            float(each.ring.envelope[0]),
            each.ring.noise_std,
            each.ring.fit.mains_hz,
        )
        for k, each in enumerate(found, 1)
    ]
    return ResultTable("releases", "Releases that were taken", columns, rows)


def _modes(
    found: Sequence[Release], groups: Sequence[Mapping[int, Mode]], motion: Motion
) -> ResultTable:
    unit = motion.shown_unit if motion.unit else ""
    columns = (
        ResultColumn("mode", "Oscillation", decimals=0),
        ResultColumn("release", "Release", decimals=0),
        ResultColumn("frequency_hz", "Natural frequency", "Hz", 3),
        ResultColumn("frequency_std_hz", "Standard uncertainty", "Hz", 3),
        ResultColumn("damping_percent", "Damping ratio", "%", 2),
        ResultColumn("damping_std_percent", "Standard uncertainty", "%", 2),
        ResultColumn("amplitude", "At amplitude", unit, 3),
        ResultColumn("first_amplitude", "Amplitude at the start", unit, 3),
        ResultColumn("last_amplitude", "Amplitude at the end", unit, 3),
        ResultColumn("first_damping_percent", "Damping ratio at the start", "%", 2),
        ResultColumn("last_damping_percent", "Damping ratio at the end", "%", 2),
        ResultColumn("decrement_damping_percent", "By logarithmic decrement", "%", 2),
    )
    rows: list[tuple[Cell, ...]] = []
    for number, group in enumerate(groups, 1):
        for k in sorted(group):
            mode, ring = group[k], found[k]
            lowest = mode is ring.ring.modes[0] and ring.decrement is not None
            rows.append(
                (
                    number,
                    k + 1,
                    mode.frequency_hz,
                    mode.frequency_std_hz,
                    100 * mode.damping,
                    100 * mode.damping_std,
                    *(
                        motion.shown(size, mode.frequency_hz)
                        for size in (mode.amplitude, mode.first_amplitude, mode.last_amplitude)
                    ),
                    _percent(mode.first_damping),
                    _percent(mode.last_damping),
                    _percent(ring.decrement.damping if lowest and ring.decrement else None),
                )
            )
    return ResultTable("modes", "What each release gave", columns, rows)


def _percent(share: float | None) -> float | None:
    return None if share is None else 100 * share


def _spectrum(found: Sequence[Release], groups: Sequence[Mapping[int, Mode]]) -> ResultTable:
    """Show why no damping is read from a spectrum: its lines stand wider than the peak."""
    columns = (
        ResultColumn("mode", "Oscillation", decimals=0),
        ResultColumn("half_power_hz", "Half-power width of its peak", "Hz", 3),
        ResultColumn("resolution_hz", "Lines of a spectrum stand apart", "Hz", 3),
        ResultColumn("needed_s", "Record that a spectrum would need", "s", 1),
    )
    rows: list[tuple[Cell, ...]] = []
    for number, group in enumerate(groups, 1):
        length = max(found[k].end_s - found[k].start_s for k in group)
        hertz = sum(m.frequency_hz for m in group.values()) / len(group)
        damping = sum(m.damping for m in group.values()) / len(group)
        needed = needed_duration_s(hertz, damping) if damping > 0 else None
        rows.append((number, 2 * damping * hertz, resolution_hz(length), needed))
    title = "Why damping is not read from a spectrum"
    return ResultTable("spectrum", title, columns, rows)
