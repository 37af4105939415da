"""What a static deflection is told beside its files, and what its parts are computed from."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from flightlog.groundtests.stiffness_fit import Branches, Fit
from flightlog.groundtests.stiffness_loops import Loading, Rows

STIFFNESS, BENDING = "stiffness.stiffness", "stiffness.bending"
TIP_FREQUENCY, HYSTERESIS = "stiffness.tip_frequency", "stiffness.hysteresis"
SET, BEND = "stiffness.set", "stiffness.change_with_load"
LOAD, DEFLECTION = "stiffness.greatest_load", "stiffness.greatest_deflection"
LOAD_SHARE, DEFLECTION_SHARE = "stiffness.load_share", "stiffness.deflection_share"
EVERY = (
    STIFFNESS,
    BENDING,
    TIP_FREQUENCY,
    HYSTERESIS,
    SET,
    BEND,
    LOAD,
    DEFLECTION,
    LOAD_SHARE,
    DEFLECTION_SHARE,
)

GRAVITY_STD_PCT = 0.15
"""How far gravity differs from the standard one over the earth: 9.780 to 9.832 m/s². [%]"""


@dataclass(frozen=True, slots=True)
class Setup:
    """What the reduction has to know besides the files.

    Attributes
    ----------
    load_std_pct, load_std_n : float or None
        Standard uncertainty of all loads together, as of a load cell's scale or a set of weights
        of one origin; and of each load by itself. One at least. [%], [N]
    deflection_std_pct : float or None
        Of the scale of the gauge, which all readings share. [%]
    reading_std_mm : float or None
        Of one reading; needed only where too few rows show how readings scatter. [mm]
    gravity_m_s2 : float or None
        At the place, where masses were hung on. [m/s²]
    length_m, length_std_m : float or None, float
        From the fixed end to the load, of a cantilever. [m]
    tip_mass_kg, tip_mass_std_kg, wing_mass_kg, wing_mass_std_kg : float or None, float
        At the tip, and of the wing from the fixed end to the tip. [kg]
    limit_load_n : float or None
        The load at this place that stands for the limit load. [N]
    semispan_m : float or None
        [m]
    baseline_n_m, baseline_std_n_m : float or None, float
        Stiffness by an earlier test. [N/m]
    """

    load_std_pct: float | None = None
    load_std_n: float | None = None
    deflection_std_pct: float | None = None
    reading_std_mm: float | None = None
    gravity_m_s2: float | None = None
    length_m: float | None = None
    length_std_m: float = 0.0
    tip_mass_kg: float | None = None
    tip_mass_std_kg: float = 0.0
    wing_mass_kg: float | None = None
    wing_mass_std_kg: float = 0.0
    limit_load_n: float | None = None
    semispan_m: float | None = None
    baseline_n_m: float | None = None
    baseline_std_n_m: float = 0.0


@dataclass(frozen=True, slots=True, eq=False)
class Loaded:
    """What all parts of the answer are computed from."""

    rows: Rows
    loadings: Sequence[Loading]
    each: Branches
    fit: Fit
    setup: Setup

    @property
    def greatest_n(self) -> float:
        """Greatest load [N]."""
        return float(self.each.load_n.max())

    @property
    def deflection_m(self) -> float:
        """Greatest deflection, the mean of all loadings that reach the greatest load nearly."""
        near = 0.98 * max(float(self.rows.load_n[each.up[-1]]) for each in self.loadings)
        reached = [
            float(self.rows.net_m[each.up[-1]] - self.rows.net_m[each.up[0]])
            for each in self.loadings
            if self.rows.load_n[each.up[-1]] >= near
        ]
        return float(np.mean(reached))

    @property
    def unscaled(self) -> str:
        """Say what is not stated of the scales of load and gauge; "" where all is."""
        setup = self.setup
        lacks = []
        if not (setup.load_std_pct or setup.load_std_n):
            lacks.append("load_std_pct or load_std_n")
        if not setup.deflection_std_pct:
            lacks.append("deflection_std_pct")
        told = " and ".join(lacks)
        return told and (
            f"nobody states how right loads and gauge are: write {told} into [stiffness] of the "
            "bench file"
        )

    def loads_pct(self) -> dict[str, float]:
        """Give the errors that all loads share. [%]"""
        shared = {"scale of the loads": self.setup.load_std_pct or 0.0}
        if self.rows.hung and self.setup.gravity_m_s2 is None:
            shared["gravity at the place"] = GRAVITY_STD_PCT
        return shared
