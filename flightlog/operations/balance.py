"""Mass and balance: weighing on scales, what is added to it, and the envelope. Arithmetic only.

Arms count aft of the datum, sides to the right [m]. A standard uncertainty splits into what is
common to several numbers (the scale, a station's place) and what is not; both are carried, so that
ten units of payload, of one mass and at one place, do not average each other's errors away.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import product
from statistics import fmean

from flightlog.inputs import Balance

COVERAGE = 2.0
"""The corners that have to lie inside are so many standard uncertainties out."""
Point = tuple[float, float]
"""Mass [kg] and balance [% of the chord]."""


@dataclass(frozen=True, slots=True)
class Scale:
    """One scale under the aircraft: where it stands, and what was read on it, once or more.

    Attributes
    ----------
    name : str
        "nose", "left", ...
    arm_m, side_m : float
        Aft of the datum, and to the right. [m]
    readings_kg : tuple of float
        [kg]
    """

    name: str
    arm_m: float
    side_m: float
    readings_kg: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class Weighed:
    """A mass with its centre of gravity, each with its standard uncertainty.

    Attributes
    ----------
    kg, kg_std : float
        [kg]
    arm_m, arm_std_m : float
        Aft of the datum. [m]
    side_m : float
        To the right. [m]
    shares : dict
        Name of each scale -> its share of the mass.
    """

    kg: float
    kg_std: float
    arm_m: float
    arm_std_m: float
    side_m: float = 0.0
    shares: dict[str, float] | None = None


def weigh(scales: Sequence[Scale], reading_std_kg: float, arm_std_m: float) -> Weighed:
    """Compute mass and centre of gravity from scales.

    Parameters
    ----------
    scales : sequence of Scale
        Two or more, each reading above zero in sum.
    reading_std_kg : float
        Standard uncertainty of one scale [kg]. Repeats don't make it less, as they share the
        scale; where they scatter, their own scatter is added.
    arm_std_m : float
        Standard uncertainty of the place of one scale [m], independent of the others.

    Raises
    ------
    ValueError
        If nothing was weighed.

    Notes
    -----
    With W the sum of w_i and x the sum of w_i x_i / W,
    u(x)² = sum ((x_i - x) / W)² u_w² + sum (w_i / W)² u_x².
    """
    masses = [fmean(s.readings_kg) for s in scales]
    stds = [math.hypot(reading_std_kg, _scatter(s.readings_kg)) for s in scales]
    whole = sum(masses)
    if whole <= 0:
        raise ValueError("the scales bear nothing")
    arm = sum(w * s.arm_m for w, s in zip(masses, scales, strict=True)) / whole
    side = sum(w * s.side_m for w, s in zip(masses, scales, strict=True)) / whole
    of_scales = sum(((s.arm_m - arm) / whole * u) ** 2 for s, u in zip(scales, stds, strict=True))
    of_places = sum((w / whole * arm_std_m) ** 2 for w in masses)
    return Weighed(
        whole,
        math.sqrt(sum(u**2 for u in stds)),
        arm,
        math.sqrt(of_scales + of_places),
        side,
        {s.name: w / whole for s, w in zip(scales, masses, strict=True)},
    )


def _scatter(readings: Sequence[float]) -> float:
    """Give the standard uncertainty of the mean that repeats show."""
    n = len(readings)
    if n < 2:
        return 0.0
    mean = fmean(readings)
    return math.sqrt(sum((r - mean) ** 2 for r in readings) / (n - 1) / n)


@dataclass(frozen=True, slots=True)
class Added:
    """Something loaded: so many of one mass at one place.

    Attributes
    ----------
    name : str
        In words.
    count : int
        How many.
    kg, kg_std : float
        Of one, and its standard uncertainty, which all of them share. [kg]
    arm_m, arm_std_m : float
        Of the station. [m]
    forward_m, aft_m : float
        How far it may move forward and aft of its arm, both positive. [m]
    """

    name: str
    count: int
    kg: float
    kg_std: float
    arm_m: float
    arm_std_m: float
    forward_m: float = 0.0
    aft_m: float = 0.0

    @property
    def whole_kg(self) -> float:
        """All of them [kg]."""
        return self.count * self.kg


@dataclass(frozen=True, slots=True)
class Loaded:
    """The aircraft as loaded.

    Attributes
    ----------
    kg, kg_std, arm_m, arm_std_m : float
        Mass and arm with their standard uncertainties. [kg], [m]
    forward_m, aft_m : float
        How far the centre of gravity moves if all that can move does. [m]
    """

    kg: float
    kg_std: float
    arm_m: float
    arm_std_m: float
    forward_m: float
    aft_m: float


def load(empty: Weighed, added: Sequence[Added]) -> Loaded:
    """Add what is on board to a weighing."""
    whole = empty.kg + sum(a.whole_kg for a in added)
    arm = (empty.kg * empty.arm_m + sum(a.whole_kg * a.arm_m for a in added)) / whole
    # The weighing's mass and arm are taken as independent, which the shape of a wheelbase
    # about the centre of gravity makes nearly so.
    variance_kg = empty.kg_std**2 + sum((a.count * a.kg_std) ** 2 for a in added)
    variance_m = ((empty.arm_m - arm) / whole * empty.kg_std) ** 2
    variance_m += (empty.kg / whole * empty.arm_std_m) ** 2
    for a in added:
        variance_m += ((a.arm_m - arm) / whole * a.count * a.kg_std) ** 2
        variance_m += (a.whole_kg / whole * a.arm_std_m) ** 2
    return Loaded(
        whole,
        math.sqrt(variance_kg),
        arm,
        math.sqrt(variance_m),
        sum(a.whole_kg * a.forward_m for a in added) / whole,
        sum(a.whole_kg * a.aft_m for a in added) / whole,
    )


def percent(arm_m: float, balance: Balance) -> float:
    """Give an arm as per cent of the mean aerodynamic chord."""
    return (arm_m - balance.lemac_m) / balance.mac_m * 100.0


def percent_std(arm_m: float, arm_std_m: float, balance: Balance) -> float:
    """Give the standard uncertainty of ``percent``, that of the chord included."""
    of_length = (arm_m - balance.lemac_m) / balance.mac_m * balance.mac_std_m
    return math.sqrt(arm_std_m**2 + balance.lemac_std_m**2 + of_length**2) / balance.mac_m * 100.0


@dataclass(frozen=True, slots=True)
class Verdict:
    """Whether a load lies within the envelope.

    Attributes
    ----------
    balance, balance_std : float
        [% of the chord]
    inside : bool
        Whether everything between the corners lies inside.
    worst : Point or None
        The corner that lies farthest out, where one does.
    corners : tuple of Point
        The ends of what the load can be.
    """

    balance: float
    balance_std: float
    inside: bool
    worst: Point | None
    corners: tuple[Point, ...]


def judge(loaded: Loaded, balance: Balance) -> Verdict:
    """Judge a load by the envelope: its worst corner has to lie inside.

    The corners are two standard uncertainties of mass and balance either way, with all that can
    move moved forward, and moved aft. What lies between them has to lie inside as a whole, not
    only its corners: an envelope may have a notch.
    """
    middle = percent(loaded.arm_m, balance)
    std = percent_std(loaded.arm_m, loaded.arm_std_m, balance)
    low = percent(loaded.arm_m - loaded.forward_m, balance) - COVERAGE * std
    high = percent(loaded.arm_m + loaded.aft_m, balance) + COVERAGE * std
    masses = (loaded.kg - COVERAGE * loaded.kg_std, loaded.kg + COVERAGE * loaded.kg_std)
    corners = tuple(product(masses, (low, high)))
    outside = [c for c in corners if not within(c, balance.envelope)]
    whole = not outside and box_within(masses, (low, high), balance.envelope)
    worst = max(outside, key=lambda c: _distance(c, balance.envelope)) if outside else None
    return Verdict(middle, std, whole, worst, corners)


def within(point: Point, polygon: Sequence[Point]) -> bool:
    """Whether a point lies inside a polygon or on its edge, whichever way it runs round."""
    inside = False
    for a, b in _edges(polygon):
        if _on_edge(point, a, b):
            return True
        if (a[1] > point[1]) != (b[1] > point[1]):
            crossing = a[0] + (point[1] - a[1]) * (b[0] - a[0]) / (b[1] - a[1])
            if point[0] < crossing:
                inside = not inside
    return inside


def box_within(
    masses: tuple[float, float], balances: tuple[float, float], polygon: Sequence[Point]
) -> bool:
    """Whether a whole box of masses and balances lies inside a polygon.

    Its corners do, and no edge of the polygon runs through its inside.
    """
    corners = tuple(product(masses, balances))
    if not all(within(corner, polygon) for corner in corners):
        return False
    return not any(_through(a, b, masses, balances) for a, b in _edges(polygon))


def _through(
    a: Point, b: Point, masses: tuple[float, float], balances: tuple[float, float]
) -> bool:
    """Whether a line passes through the open inside of a box (Liang and Barsky's clipping)."""
    first, last = 0.0, 1.0
    for start, end, low, high in (
        (a[0], b[0], *masses),
        (a[1], b[1], *balances),
    ):
        step = end - start
        if step == 0:
            if not low < start < high:
                return False
            continue
        ends = sorted(((low - start) / step, (high - start) / step))
        first, last = max(first, ends[0]), min(last, ends[1])
    return first < last


def _edges(polygon: Sequence[Point]) -> list[tuple[Point, Point]]:
    return list(zip(polygon, (*polygon[1:], polygon[0]), strict=True))


def _on_edge(point: Point, a: Point, b: Point) -> bool:
    across = (b[0] - a[0]) * (point[1] - a[1]) - (b[1] - a[1]) * (point[0] - a[0])
    size = math.hypot(b[0] - a[0], b[1] - a[1])
    if size == 0 or abs(across) / size > 1e-9:
        return False
    along = (point[0] - a[0]) * (b[0] - a[0]) + (point[1] - a[1]) * (b[1] - a[1])
    return 0 <= along <= size**2


def _distance(point: Point, polygon: Sequence[Point]) -> float:
    """Give how far a point lies from the edges of a polygon."""
    distances = []
    for a, b in _edges(polygon):
        size = (b[0] - a[0]) ** 2 + (b[1] - a[1]) ** 2
        t = ((point[0] - a[0]) * (b[0] - a[0]) + (point[1] - a[1]) * (b[1] - a[1])) / (size or 1.0)
        t = min(1.0, max(0.0, t))
        distances.append(
            math.hypot(point[0] - a[0] - t * (b[0] - a[0]), point[1] - a[1] - t * (b[1] - a[1]))
        )
    return min(distances)
