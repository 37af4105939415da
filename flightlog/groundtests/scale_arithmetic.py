"""Mass and centre of gravity from scales: arithmetic only.

Arms count aft of the datum, sides to the right [m]. Every number carries its uncertainty by the
name of the error that it comes from.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import fmean

from flightlog.uncertain import NORMAL_95, Uncertain


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

    @property
    def kg(self) -> float:
        """Mean of its readings [kg]."""
        return fmean(self.readings_kg)


@dataclass(frozen=True, slots=True)
class Body:
    """A mass and how it is spread, each with its errors by source.

    Attributes
    ----------
    mass : Uncertain
        [kg]
    moment : Uncertain
        Mass times arm. [kg·m]
    side_moment : Uncertain
        Mass times side. [kg·m]
    """

    mass: Uncertain
    moment: Uncertain
    side_moment: Uncertain

    @property
    def arm(self) -> Uncertain:
        """Where the centre of gravity is, aft of the datum [m]."""
        return _ratio(self.moment, self.mass)

    @property
    def side(self) -> Uncertain:
        """Where the centre of gravity is, to the right [m]."""
        return _ratio(self.side_moment, self.mass)


def _ratio(moment: Uncertain, mass: Uncertain) -> Uncertain:
    place = moment.value / mass.value
    # The place comes out as 0 and is put in, so that a small one keeps its digits.
    errors = (moment - mass.scaled(place, moment.unit)).sources
    return Uncertain(place, {name: effect / mass.value for name, effect in errors.items()}, "m")


def weigh(scales: Sequence[Scale], reading_std_kg: float, arm_std_m: float) -> Body:
    """Compute mass and centre of gravity from scales.

    Parameters
    ----------
    scales : sequence of Scale
        Two or more, at two arms at least, each bearing something.
    reading_std_kg : float
        Standard uncertainty of one scale, independent of the others [kg]. Repeats don't make it
        less, as they are read on the same scale. How they scatter is pooled over all scales, and
        what is left of it in a mean is added, wide enough for Student's 95 % interval.
    arm_std_m : float
        Standard uncertainty of arm and side of one scale, each independent of the others [m].

    Raises
    ------
    ValueError
        If they are fewer, all at one arm, or one bears nothing.

    Notes
    -----
    With W the sum of w_i, and x the sum of w_i x_i / W,
    u(x)² = sum ((x_i - x) / W)² u_w² + sum (w_i / W)² u_x²; y alike, from the sides.
    """
    if len(scales) < 2:
        raise ValueError("two scales or more bear an aircraft")
    if len({s.arm_m for s in scales}) < 2:
        raise ValueError("all scales stand at one arm, so that no balance can be told")
    empty = next((s.name for s in scales if not s.kg > 0), None)
    if empty is not None:
        raise ValueError(f"the scale {empty!r} bears nothing")
    mass: dict[str, float] = {}
    moment: dict[str, float] = {}
    side: dict[str, float] = {}
    for s in scales:
        std = math.hypot(reading_std_kg, scatter_of_mean(s, scales))
        reading = f"reading of scale {s.name}"
        mass[reading], moment[reading], side[reading] = std, s.arm_m * std, s.side_m * std
        moment[f"arm of scale {s.name}"] = side[f"side of scale {s.name}"] = s.kg * arm_std_m
    return Body(
        Uncertain(math.fsum(s.kg for s in scales), mass, "kg"),
        Uncertain(math.fsum(s.kg * s.arm_m for s in scales), moment, "kg·m"),
        Uncertain(math.fsum(s.kg * s.side_m for s in scales), side, "kg·m"),
    )


def pooled_scatter(scales: Sequence[Scale]) -> float:
    """Give the standard deviation of one reading that repeats on all scales show [kg]."""
    freedoms = sum(len(s.readings_kg) - 1 for s in scales)
    if not freedoms:
        return 0.0
    squares = math.fsum((r - s.kg) ** 2 for s in scales for r in s.readings_kg)
    return math.sqrt(squares / freedoms)


def scatter_of_mean(scale: Scale, scales: Sequence[Scale]) -> float:
    """Give what the scatter of repeats leaves in the mean of one scale [kg].

    It is made as wide as few repeats ask for: t(0.975) over 1.96 (JCGM 100:2008, G.3).
    """
    return pooled_scatter(scales) * _students(scales) / math.sqrt(len(scale.readings_kg))


def _students(scales: Sequence[Scale]) -> float:
    freedoms = sum(len(s.readings_kg) - 1 for s in scales)
    if not freedoms:
        return 1.0
    from scipy.special import stdtrit

    return float(stdtrit(freedoms, 0.975)) / NORMAL_95


def shares(scales: Sequence[Scale]) -> dict[str, float]:
    """Give the share of the mass that each scale bears, by its name."""
    whole = math.fsum(s.kg for s in scales)
    return {s.name: s.kg / whole for s in scales}
