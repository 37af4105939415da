"""How much battery to carry, and which pack: mass against energy.

Level flight at constant speed takes the energy g M R/(η L/D) for the distance R, whatever the
speed, so that R = η e m_b (L/D)/(M g) with the usable energy e per mass of battery (the range
equation of an aircraft that keeps its mass).

With the gross mass M held by the take-off, payload and battery share what the empty aircraft
leaves. The product of payload and distance is then greatest where they are alike,
m_b = m_p = (M - m_e)/2, until a bound of the rule book or the room for payload comes first.
Where the distance is given, battery beyond what it takes is payload lost.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final, Literal

import numpy as np

from flightlog.constants import G0_M_S2
from flightlog.errors import NotEnoughDataError
from flightlog.groundtests.draws import DRAWS, NONE, FloatArray, Known, Sources, Spread
from flightlog.groundtests.limits_of_choice import (
    FITS,
    OUT,
    Demand,
    Judged,
    State,
    beaten_by,
    judged,
    least,
    state_of,
)

EVEN: Final = "payload and battery weigh the same"
BATTERY: Final = "the bound on the battery"
PAYLOAD: Final = "the room for payload"
BOTH: Final = "the bound on the battery and the room for payload: less than the gross mass"
Binds = Literal[
    "payload and battery weigh the same",
    "the bound on the battery",
    "the room for payload",
    "the bound on the battery and the room for payload: less than the gross mass",
]


@dataclass(frozen=True, slots=True)
class MassSplit:
    """Battery and payload of an aircraft.

    Attributes
    ----------
    battery_kg, payload_kg, gross_kg : float
        Masses. [kg]
    range_m : float
        Distance in level flight. [m]
    binds : str
        What the split comes from.
    """

    battery_kg: float
    payload_kg: float
    gross_kg: float
    range_m: float
    binds: Binds

    @property
    def score_kg_m(self) -> float:
        """Payload times distance. [kg m]"""
        return self.payload_kg * self.range_m


def best_split(
    gross_kg: float,
    empty_kg: float,
    usable_j_kg: float,
    efficiency: float,
    lift_over_drag: float,
    *,
    most_battery_kg: float = math.inf,
    most_payload_kg: float = math.inf,
) -> MassSplit:
    """Split what the take-off leaves so that payload times distance is greatest.

    Parameters
    ----------
    gross_kg, empty_kg : float
        Most that takes off, and the aircraft without battery and payload. [kg]
    usable_j_kg : float
        Usable energy per mass of battery. [J/kg]
    efficiency, lift_over_drag : float
        From battery to thrust, and of the aircraft. [-]
    most_battery_kg, most_payload_kg : float, optional
        Bounds: of the energy that the rule book allows, and of the room for payload. [kg]

    Raises
    ------
    NotEnoughDataError
        If nothing is left to split.
    """
    _positive(usable_j_kg, efficiency, lift_over_drag, most_battery_kg, most_payload_kg)
    left = gross_kg - empty_kg
    if not (math.isfinite(left) and left > 0 and empty_kg >= 0):
        raise NotEnoughDataError(
            f"{gross_kg:g} kg at take-off leave nothing above {empty_kg:g} kg empty",
            fix="Check both masses.",
        )
    binds: Binds
    if most_battery_kg + most_payload_kg <= left:
        battery, payload, binds = most_battery_kg, most_payload_kg, BOTH
    else:
        battery = min(max(left / 2, left - most_payload_kg), most_battery_kg)
        payload = left - battery
        binds = EVEN
        if battery < left / 2:
            binds = BATTERY
        elif battery > left / 2:
            binds = PAYLOAD
    gross = empty_kg + battery + payload
    reach = efficiency * usable_j_kg * battery * lift_over_drag / (gross * G0_M_S2)
    return MassSplit(battery, payload, gross, reach, binds)


def battery_for(
    distance_m: float,
    gross_kg: float,
    usable_j_kg: float,
    efficiency: float,
    lift_over_drag: float,
    *,
    reserve: float = 0.0,
) -> float:
    """Mass of the battery that a distance takes, and nothing more. [kg]

    Parameters
    ----------
    distance_m : float
        To fly. [m]
    gross_kg, usable_j_kg, efficiency, lift_over_drag : float
        As in `best_split`.
    reserve : float, optional
        Share of the usable energy that is kept, below 1. [-]
    """
    _positive(gross_kg, usable_j_kg, efficiency, lift_over_drag)
    if not (0 <= reserve < 1 and 0 <= distance_m < math.inf):
        raise ValueError(f"reserve {reserve!r}, distance {distance_m!r}")
    need = distance_m * gross_kg * G0_M_S2 / (efficiency * lift_over_drag)
    return need / (usable_j_kg * (1 - reserve))


def _positive(*numbers: float) -> None:
    if not all(x > 0 for x in numbers):
        raise ValueError(f"numbers above 0 are needed, got {numbers!r}")


# --- real packs


@dataclass(frozen=True, slots=True)
class Pack:
    """A pack that could fly.

    Attributes
    ----------
    name : str
        Of it.
    mass_kg : Known
        With its lead and strap.
    usable_wh : Known
        What a discharge gave down to where the team lands, without reserve.
    nominal_wh : float or None
        On its label, by which rule books count.
    full_v : float or None
        Fully charged.
    most_current_a : float or None
        Of its maker, lasting.
    """

    name: str
    mass_kg: Known
    usable_wh: Known
    nominal_wh: float | None = None
    full_v: float | None = None
    most_current_a: float | None = None


@dataclass(frozen=True, slots=True)
class PackTask:
    """What the pack has to carry.

    Attributes
    ----------
    gross_kg : Known
        At take-off, whatever the pack: the rest is payload.
    empty_kg : Known
        Without pack and payload.
    distance_m : float or None
        To fly.
    wh_per_km : Known or None
        At the gross mass.
    overhead_wh : Known
        For take-off, climb and landing.
    reserve : float
        Share of the usable energy that is kept. [-]
    current_a : Known or None
        The most that the drive draws.
    unit_kg : float or None
        Mass of one unit of payload, where it comes in units.
    nominal_wh, full_v : float or None
        Bounds of the rule book.
    shown_at : float
        Probability with which bounds have to hold.
    """

    gross_kg: Known
    empty_kg: Known
    distance_m: float | None = None
    wh_per_km: Known | None = None
    overhead_wh: Known = NONE
    reserve: float = 0.0
    current_a: Known | None = None
    unit_kg: float | None = None
    nominal_wh: float | None = None
    full_v: float | None = None
    shown_at: float = 0.95


PACK_LABELS: Mapping[str, tuple[str, str, int]] = {
    "payload_kg": ("payload", "kg", 2),
    "energy_left_wh": ("energy left above the reserve", "Wh", 1),
    "distance_km": ("distance down to the reserve", "km", 1),
    "current_a": ("current", "A", 1),
    "nominal_wh": ("energy on the label", "Wh", 1),
    "full_v": ("voltage when full", "V", 1),
    "usable_wh_kg": ("usable energy per mass", "Wh/kg", 0),
}
"""Figure -> label, unit, decimals."""


@dataclass(frozen=True, slots=True)
class WeighedPack:
    """What a pack does for the task.

    Attributes
    ----------
    name : str
        Of it.
    figures : mapping of str to Spread
        Keys of `PACK_LABELS`.
    withheld : mapping of str to str
        Key -> why not.
    demands : tuple of Judged
        All bounds.
    state : str
        What they leave of it.
    units : int or None
        Units of payload that fit, as surely as bounds have to hold, where it comes in units.
    beaten_by : str
        Who carries and reaches more, where that is shown; else "".
    """

    name: str
    figures: Mapping[str, Spread]
    withheld: Mapping[str, str]
    demands: tuple[Judged, ...]
    state: State
    units: int | None
    beaten_by: str = ""


@dataclass(frozen=True, slots=True)
class PackChoice:
    """Packs for a task.

    Attributes
    ----------
    packs : tuple of WeighedPack
        In the order given.
    best : str
        Of those that hold every bound, the one with the most payload; where it comes in units, with
        the most units, and then with the most energy left. "" where none holds.
    as_good : tuple of str
        Those that hold every bound too and are not shown to carry less.
    """

    packs: tuple[WeighedPack, ...]
    best: str
    as_good: tuple[str, ...]


def choose_pack(task: PackTask, packs: Sequence[Pack]) -> PackChoice:
    """Weigh real packs for a task.

    Parameters
    ----------
    task : PackTask
        What has to be carried how far.
    packs : sequence of Pack
        With names of their own.

    Notes
    -----
    A pack of more mass flies the same distance with less payload; one of too little energy does
    not fly it. So the lightest that holds the distance carries the most.
    """
    sources = Sources()
    weighed = [_weighed(task, pack, sources) for pack in packs]
    holds = {
        w.name: Spread(-w.figures["payload_kg"].draws, "kg") for w in weighed if w.state == FITS
    }
    best, as_good = least(holds)
    if task.unit_kg is not None:
        best, as_good = _most_units([w for w in weighed if w.state == FITS])
    beaten = beaten_by(
        {
            w.name: (
                Spread(-w.figures["payload_kg"].draws, "kg"),
                Spread(-w.figures["distance_km"].draws, "km"),
            )
            for w in weighed
            if w.state != OUT and "distance_km" in w.figures
        }
    )
    return PackChoice(
        tuple(replace(w, beaten_by=beaten.get(w.name, "")) for w in weighed), best, as_good
    )


def _most_units(fits: Sequence[WeighedPack]) -> tuple[str, tuple[str, ...]]:
    """Give who carries the most whole units, of several the one with the most energy left."""

    def rank(w: WeighedPack) -> tuple[int, float]:
        left = w.figures.get("energy_left_wh")
        return w.units or 0, left.value if left is not None else 0.0

    if not fits:
        return "", ()
    best = max(fits, key=rank)
    return best.name, tuple(w.name for w in fits if w.units == best.units and w is not best)


def _weighed(task: PackTask, pack: Pack, sources: Sources) -> WeighedPack:
    figures: dict[str, Spread] = {}
    withheld: dict[str, str] = {}

    def give(figure: str, draws: FloatArray) -> None:
        figures[figure] = Spread(draws, PACK_LABELS[figure][1], sources.shares(draws))

    mass = sources.positive(pack.mass_kg, f"{pack.name}: mass")
    usable = sources.positive(pack.usable_wh, f"{pack.name}: usable energy")
    gross = sources.positive(task.gross_kg, "gross mass")
    empty = sources.positive(task.empty_kg, "empty mass")
    give("payload_kg", gross - empty - mass)
    give("usable_wh_kg", usable / mass)
    if task.wh_per_km is None:
        why = "needs the energy per distance: wh_per_km, or a propeller with a curve"
        withheld["energy_left_wh"] = withheld["distance_km"] = why
    else:
        per_km = sources.positive(task.wh_per_km, "energy per distance")
        left = usable * (1 - task.reserve) - sources.any(task.overhead_wh, "energy besides cruise")
        give("distance_km", np.maximum(left, 0.0) / per_km)
        if task.distance_m is None:
            withheld["energy_left_wh"] = "the distance is not stated: add distance_km or laps"
        else:
            give("energy_left_wh", left - per_km * task.distance_m / 1000)
    _told(figures, withheld, "nominal_wh", pack.nominal_wh)
    _told(figures, withheld, "full_v", pack.full_v)
    if task.current_a is None:
        withheld["current_a"] = "the current of the drive is not known: add current_a"
    else:
        give("current_a", sources.positive(task.current_a, "current of the drive"))
    demands = tuple(judged(d, figures, withheld) for d in _demands(task, pack))
    units = None
    if task.unit_kg is not None:
        sure = figures["payload_kg"].quantile(1 - task.shown_at)
        units = max(0, math.floor(sure / task.unit_kg + 1e-9))
    return WeighedPack(pack.name, figures, withheld, demands, state_of(demands), units)


def _told(
    figures: dict[str, Spread], withheld: dict[str, str], figure: str, value: float | None
) -> None:
    if value is None:
        withheld[figure] = f"not stated for this pack: add {figure}"
    else:
        figures[figure] = Spread(np.full(DRAWS, value), PACK_LABELS[figure][1])


def _demands(task: PackTask, pack: Pack) -> list[Demand]:
    """List the bounds: of the rule book, of the task, and of the pack's maker."""

    def demand(
        figure: str, op: Literal["<=", ">="], bound: float | None, missing: str = ""
    ) -> Demand:
        label, unit, _ = PACK_LABELS[figure]
        return Demand(figure, label, op, bound, unit, task.shown_at, missing)

    made = [
        demand("energy_left_wh", ">=", 0.0),
        demand("payload_kg", ">=", 0.0),
        demand(
            "current_a",
            "<=",
            pack.most_current_a,
            "the maker's lasting current is not stated: add most_current_a",
        ),
    ]
    if task.nominal_wh is not None:
        made.append(demand("nominal_wh", "<=", task.nominal_wh))
    if task.full_v is not None:
        made.append(demand("full_v", "<=", task.full_v))
    return made
