"""One discharge: its rows, its ends, and what was drawn in it."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from flightlog.estimation.frames import Array
from flightlog.groundtests.discharge_rows import Rows


@dataclass(frozen=True, slots=True)
class Drawn:
    """An integral with the effects of its error sources.

    Attributes
    ----------
    value : float
        [C] or [J]
    sources : dict of str to float
        Name -> effect of one standard deviation. [C] or [J]
    """

    value: float
    sources: dict[str, float]


@dataclass(frozen=True, slots=True, eq=False)
class Run:
    """One discharge.

    Attributes
    ----------
    rows : Rows
        Of its file.
    first, last : int
        Rows of it, the rest before and after included; ``last`` is one past the end.
    load_on, load_off : int
        The first row under load, and the last.
    end_s, end_std_s : float
        Where the integral ends [s]: the cut-off, or the load going off.
    reached : bool
        Whether the cut-off was reached.
    before_v : float or None
        Voltage of the pack at rest before; None where the file does not show it. [V]
    slope_v_s : float
        Of the voltage at the end, negative; 0 where it does not tell. [V/s]
    early_s, late_s : float
        Where it would end if the voltage were read too high, or too low, by what is allowed. [s]
    short_v : float
        How far above the cut-off the load went off, where it counts as reached. [V]
    charge, energy : Drawn
        From the load on to ``end_s``. [C], [J]
    load_s : float
        Time under load. [s]
    blind_s, counted_s : float
        Time without rows that a straight line, or the logger's counter, bridged. [s]
    charge_at : array
        Charge drawn at each row of ``first`` to ``last``, shape (last - first,). [C]
    """

    rows: Rows
    first: int
    last: int
    load_on: int
    load_off: int
    end_s: float
    end_std_s: float
    reached: bool
    before_v: float | None
    slope_v_s: float
    early_s: float
    late_s: float
    short_v: float
    charge: Drawn = field(default_factory=lambda: Drawn(0.0, {}))
    energy: Drawn = field(default_factory=lambda: Drawn(0.0, {}))
    load_s: float = 0.0
    blind_s: float = 0.0
    counted_s: float = 0.0
    charge_at: Array = field(default_factory=lambda: np.empty(0))

    @property
    def mean_a(self) -> float:
        """Mean current under load. [A]"""
        return self.charge.value / self.load_s if self.load_s > 0 else 0.0

    @property
    def starts_loaded(self) -> bool:
        """Whether the file does not show the pack before the load."""
        return self.load_on == self.first

    @property
    def end_a(self) -> float:
        """Current at the end, before the load goes off. [A]"""
        time_s = self.rows.time_s[self.load_on : self.load_off + 1]
        at = max(int(np.searchsorted(time_s, self.end_s, side="right")) - 1, 0)
        loaded = np.flatnonzero(self.rows.loaded[self.load_on : self.load_on + at + 1])
        return float(self.rows.amps[self.load_on + int(loaded[-1])])

    @property
    def unclear_c(self) -> float:
        """Charge by which the end moves with the voltage that is allowed for. [C]

        A pulse of the load that just meets the cut-off can move it far.
        """
        at, last = self.charge_by(self.end_s), float(self.rows.time_s[self.last - 1])
        later = self.charge_by(min(self.late_s, last)) - at
        later += self.end_a * max(0.0, self.late_s - last)
        return max(at - self.charge_by(self.early_s), later, 0.0)

    def charge_by(self, time_s: float) -> float:
        """Charge drawn until a time. [C]"""
        span = self.rows.time_s[self.first : self.last]
        return float(np.interp(time_s, span, self.charge_at))
