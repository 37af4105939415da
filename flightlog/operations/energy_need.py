"""Whether the planned laps fit the pack, from what the record says of flights, wind and pack.

What they need is learnt from the aircraft's earlier flights (`laps_flown`). What there is comes
from `usable_energy`. Both count as of a pack that was charged full.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from flightlog.errors import NotEnoughDataError
from flightlog.estimation.wind import at_height
from flightlog.operations.desk import Desk
from flightlog.operations.laps_flown import lap_model
from flightlog.operations.pack_state import FULL_CELL_V, PackState
from flightlog.operations.plan import Plan
from flightlog.operations.usable_energy import Usable, usable_energy
from flightlog.operations.weather import latest_weather
from flightlog.prediction.lap_energy import LapEnergyModel
from flightlog.prediction.predicted_energy import PredictedEnergy

FULL_FROM = 0.985
"""A pack at rest below this share of the voltage of a full one is not full: 4.14 V a cell. [-]"""
PLAN_AT = 0.95
"""Probability with which the planned laps have to fit."""
MOST_LAPS = 500
_FLOWN_AT_M = 40.0
_POWER_LAW_STD = 0.2
_METER_STD_M_S = 0.7


@dataclass(frozen=True, slots=True)
class EnergyNeed:
    """What the planned laps need, and whether it is there.

    Attributes
    ----------
    laps : int
        As planned.
    expected_wh, q95_wh : float
        What they need with roll, climb and landing: mean, and what 95 of 100 flights keep. [Wh]
    usable_wh, usable_std_wh : float
        What the pack has less the reserve, and its standard uncertainty. [Wh]
    reserve_share : float
        Of the pack's energy that is not used. [-]
    probability : float
        That the laps fit.
    most_laps : int
        The largest number that fits with a probability of `PLAN_AT`; 0 where none does.
    says : str
        It in words, with where each number comes from. Sentences.
    """

    laps: int
    expected_wh: float
    q95_wh: float
    usable_wh: float
    usable_std_wh: float
    reserve_share: float
    probability: float
    most_laps: int
    says: str


@dataclass(frozen=True, slots=True)
class LapEnergy:
    """What all numbers of laps and all loads of a day are judged by.

    Attributes
    ----------
    aircraft : str
        Id of its file.
    usable : Usable
        Of the pack.
    model : LapEnergyModel
        After the aircraft's flights.
    meter_m_s, aloft_m_s, aloft_std_m_s : float
        Wind at the meter, and where laps are flown with its standard uncertainty. [m/s]
    """

    aircraft: str
    usable: Usable
    model: LapEnergyModel
    meter_m_s: float
    aloft_m_s: float
    aloft_std_m_s: float

    def fits(self, laps: int, mass_kg: float) -> tuple[float, str]:
        """Give the probability that laps fit, and it in words. Sentences.

        Raises
        ------
        NotEnoughDataError
            If the wind is beyond what was learnt.
        """
        planned = self._planned(laps, mass_kg)
        return self._probability(planned), self._says(laps, planned)

    def need(self, laps: int, mass_kg: float) -> EnergyNeed:
        """Say what laps need, and how many fit.

        Raises
        ------
        NotEnoughDataError
            If the wind is beyond what was learnt.
        """
        planned, usable = self._planned(laps, mass_kg), self.usable
        return EnergyNeed(
            laps,
            planned.expected_wh,
            planned.quantile(PLAN_AT),
            usable.wh,
            usable.std_wh,
            usable.reserve_share,
            self._probability(planned),
            self._most_laps(mass_kg),
            self._says(laps, planned),
        )

    def _planned(self, laps: int, mass_kg: float) -> PredictedEnergy:
        return self.model.need(laps, self.aloft_m_s, mass_kg, self.aloft_std_m_s)

    def _probability(self, planned: PredictedEnergy) -> float:
        return planned.at_most(self.usable.wh, self.usable.std_wh)

    def _says(self, laps: int, planned: PredictedEnergy) -> str:
        flights = len(self.model.flights)
        return (
            f"{laps} laps need {planned.expected_wh:.1f} Wh, with roll, climb and landing; 95 of "
            f"100 such flights need at most {planned.quantile(PLAN_AT):.1f} Wh. {self.usable.says} "
            f"Learnt from {flights} flight{'' if flights == 1 else 's'} of {self.aircraft}; wind "
            f"at flying height taken as {self.aloft_m_s:.1f} ± {self.aloft_std_m_s:.1f} m/s from "
            f"the {self.meter_m_s:.1f} m/s at the meter."
        )

    def _most_laps(self, mass_kg: float) -> int:
        """Find the largest number of laps that fits; more laps never fit better."""

        def fits(count: int) -> bool:
            return self._probability(self._planned(count, mass_kg)) >= PLAN_AT

        low, high = 0, 1
        while high <= MOST_LAPS and fits(high):
            low, high = high, 2 * high
        while high - low > 1:
            middle = (low + high) // 2
            if fits(middle):
                low = middle
            else:
                high = middle
        return low


def lap_energy(
    desk: Desk, plan: Plan, wind_m_s: float, state: PackState | None = None
) -> LapEnergy:
    """Gather what laps are judged by.

    Parameters
    ----------
    desk : Desk
        The record.
    plan : Plan
        Aircraft, pack and site.
    wind_m_s : float
        Mean wind at the meter, from whatever direction. [m/s]
    state : PackState, optional
        How full the pack is; where left out it is meant to be charged full before.

    Raises
    ------
    NotEnoughDataError
        If no earlier flight tells, the pack's file does not say its energy, the pack is not full,
        or no weather says how high the meter stood.
    UsageError, TeamFileError
        If a file of the plan is not in the record, or can't be read.
    """
    if state is not None:
        _check_full(plan.pack, state)
    usable = usable_energy(desk, plan.pack)
    model = lap_model(desk, plan.aircraft)
    return LapEnergy(plan.aircraft, usable, model, wind_m_s, *_aloft(desk, plan, wind_m_s))


def _check_full(pack: str, state: PackState) -> None:
    if state.ratio is None:
        raise NotEnoughDataError(state.says, fix="Charge it, and sign the charge.")
    if state.ratio < FULL_FROM:
        raise NotEnoughDataError(
            f"{pack} is not full ({state.says}), and how much is left in it is not known: a full "
            f"one has {FULL_CELL_V:g} V a cell at rest",
            fix="Charge it, and sign the charge.",
        )


def energy_need(desk: Desk, plan: Plan, laps: int, wind_m_s: float, mass_kg: float) -> EnergyNeed:
    """Say whether the planned laps fit the pack.

    Parameters
    ----------
    desk, plan, wind_m_s
        As of `lap_energy`.
    laps : int
        Whole laps that are planned.
    mass_kg : float
        Take-off mass. [kg]

    Raises
    ------
    NotEnoughDataError
        As `lap_energy`, or if the wind is beyond what was learnt.
    """
    return lap_energy(desk, plan, wind_m_s).need(laps, mass_kg)


def _aloft(desk: Desk, plan: Plan, wind_m_s: float) -> tuple[float, float]:
    """Give the wind where laps are flown, and its standard uncertainty. [m/s]"""
    weather = latest_weather(desk, plan.site)
    if weather is None:
        raise NotEnoughDataError(
            "no weather says how high above the ground the wind was measured",
            fix="Measure it: 'flightlog weather add' enters it.",
        )
    mast = float(weather.body.content["mast_height"]["value"])
    aloft = at_height(wind_m_s, mast, max(mast, _FLOWN_AT_M))
    # The rise of the wind with height is a rule of thumb, and the wind of the flight is another one
    # than that of the measurement.
    return aloft, math.hypot(_METER_STD_M_S, _POWER_LAW_STD * aloft)
