"""Mass and balance: what is added to a weighing, and the envelope. Arithmetic only.

Arms count aft of the datum, sides to the right [m]. Every number carries its uncertainty by the
name of the error that it comes from: ten units of payload have one error of mass ten times, not
ten errors that average out, and all that is loaded at a station shares the error of its place.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import product

from flightlog.groundtests.scale_arithmetic import Body
from flightlog.inputs import Balance
from flightlog.operations.polygon import Point, box_within, clearance
from flightlog.uncertain import Uncertain

COVERAGE = 2.0
"""The corners that have to lie inside are so many standard uncertainties out."""


@dataclass(frozen=True, slots=True)
class Added:
    """Something loaded: so many of one mass at one place.

    Attributes
    ----------
    name : str
        In words. What has one name and one mass was weighed once: it shares the error of that.
    count : int
        How many; below 0 where so many are taken out of what was weighed.
    kg, kg_std : float
        Of one, and its standard uncertainty, which all of them share. [kg]
    station : str
        What is at one station shares the error of its arm.
    arm_m, arm_std_m : float
        Of the station. [m]
    forward_m, aft_m : float
        How far it may move forward and aft of its arm, both 0 or above. [m]
    """

    name: str
    count: int
    kg: float
    kg_std: float
    station: str
    arm_m: float
    arm_std_m: float
    forward_m: float = 0.0
    aft_m: float = 0.0

    @property
    def whole_kg(self) -> float:
        """All of them [kg]."""
        return self.count * self.kg


def load(empty: Body, added: Sequence[Added], *, moved: int = 0) -> Body:
    """Add what is on board to a weighing.

    Parameters
    ----------
    empty : Body
        As weighed.
    added : sequence of Added
        What is on board besides.
    moved : int
        -1 where all that can move has moved forward, 1 where it has moved aft.

    Raises
    ------
    ValueError
        If nothing is left.

    Notes
    -----
    x' = (W x + sum m_p x_p) / (W + sum m_p). What is loaded lies in the plane of symmetry.
    """
    mass, moment, side = empty.mass, empty.moment, empty.side_moment
    for a in added:
        arm = a.arm_m + (a.aft_m if moved > 0 else -a.forward_m if moved < 0 else 0.0)
        std = a.count * a.kg_std
        weighed, placed = f"mass of {a.name}, {a.kg:g} kg", f"arm of station {a.station}"
        mass += Uncertain(a.whole_kg, {weighed: std}, "kg")
        moment += Uncertain(
            a.whole_kg * arm, {weighed: std * arm, placed: a.whole_kg * a.arm_std_m}, "kg·m"
        )
    if not mass.value > 0:
        raise ValueError("more is taken out than was weighed")
    return Body(mass, moment, side)


def percent(arm: Uncertain, balance: Balance) -> Uncertain:
    """Give an arm as per cent of the mean aerodynamic chord, the chord's own errors included."""
    share = (arm.value - balance.lemac_m) / balance.mac_m
    errors = {
        **arm.sources,
        "leading edge of the chord": -balance.lemac_std_m,
        "length of the chord": -share * balance.mac_std_m,
    }
    scale = 100.0 / balance.mac_m
    return Uncertain(100.0 * share, {name: scale * e for name, e in errors.items()}, "%")


@dataclass(frozen=True, slots=True)
class Verdict:
    """How a load lies in the envelope.

    Attributes
    ----------
    loaded : Body
        With all that can move at its mark.
    balance : Uncertain
        [% of the chord]
    forward_m, aft_m : float
        How far the centre of gravity moves if all that can move does. [m]
    low, high : Point
        Least and greatest mass [kg] and balance [% of the chord] that the load can have.
    inside : bool
        Whether all between them lies inside.
    worst : Point
        The corner that lies farthest out, or nearest to an edge.
    """

    loaded: Body
    balance: Uncertain
    forward_m: float
    aft_m: float
    low: Point
    high: Point
    inside: bool
    worst: Point

    @property
    def corners(self) -> tuple[Point, ...]:
        """The four ends of what the load can be."""
        return tuple(product((self.low[0], self.high[0]), (self.low[1], self.high[1])))


def judge(empty: Body, added: Sequence[Added], balance: Balance) -> Verdict:
    """Judge a load by the envelope: its worst corner has to lie inside.

    The corners are two standard uncertainties of mass and balance either way, with all that can
    move moved forward, and moved aft. What lies between them has to lie inside as a whole, not
    only its corners: an envelope may have a notch.
    """
    loaded, forward, aft = (load(empty, added, moved=way) for way in (0, -1, 1))
    ahead, behind = percent(forward.arm, balance), percent(aft.arm, balance)
    spread = COVERAGE * loaded.mass.std
    low = (loaded.mass.value - spread, ahead.value - COVERAGE * ahead.std)
    high = (loaded.mass.value + spread, behind.value + COVERAGE * behind.std)
    envelope = balance.envelope
    corners = product((low[0], high[0]), (low[1], high[1]))
    return Verdict(
        loaded,
        percent(loaded.arm, balance),
        loaded.arm.value - forward.arm.value,
        aft.arm.value - loaded.arm.value,
        low,
        high,
        box_within(low, high, envelope),
        min(corners, key=lambda corner: clearance(corner, envelope)),
    )
