"""What the roll would have been at reference: mass, standard air, no wind, no slope.

Two ways. *Model ratio*: measured roll times closed-form roll at reference over closed-form
roll as flown; needs thrust and polar in the aircraft file. *Empirical chain*: exponents for a
fixed-pitch propeller (Herrington, Flight Test Engineering Handbook, AFTR 6273: wind 1.85,
mass 2.4, density -2.4), wherever the file has no model. Where both can be had and differ by
more than 5 %, that is a finding.

Refused outside the range in which the exponents were found to hold: headwind above 0.4 of the
lift-off airspeed, mass ratio outside 0.8 to 1.25, density ratio outside 0.85 to 1.15.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from statistics import NormalDist

from flightlog.constants import G0_M_S2, ISA_RHO0_KG_M3
from flightlog.errors import NotEnoughDataError
from flightlog.estimation.ground_roll import RollModel, at_reference
from flightlog.figures import Answer, Figure
from flightlog.findings import make_finding
from flightlog.inputs import Aircraft, Inputs
from flightlog.uncertain import Posterior, Quantity, Uncertain

FIGURE = "takeoff.ground_roll_reference"
WIND_EXPONENT = 1.85
MASS_EXPONENT = 2.4
DENSITY_EXPONENT = -2.4
MODEL_SHARE = 0.3
"""Share of the logarithm of the correction that is taken as its own standard uncertainty:
the correction is a model, not a measurement. [-]"""

STEEPEST = 0.05
"""Steepest slope that is corrected. [-]"""

LARGEST_DIFFERENCE = 0.05
_NORMAL = NormalDist()
LIFTOFF_OVER_STALL = 1.1


@dataclass(frozen=True, slots=True)
class Conditions:
    """What the roll was flown under. SI; wind positive against the roll."""

    mass_kg: Uncertain
    density_kg_m3: Uncertain
    headwind_m_s: Uncertain
    slope: float
    reference_kg: float


def empirical_ratio(roll_m: float, liftoff_ground_speed_m_s: float, flown: Conditions) -> float:
    """Reference roll over measured roll, by the chain wind, slope, mass, density."""
    ground, wind = liftoff_ground_speed_m_s, flown.headwind_m_s.value
    calm = roll_m * (1 + wind / ground) ** WIND_EXPONENT
    incline = math.sin(math.atan(flown.slope))
    flat = calm / (1 + 2 * G0_M_S2 * calm * incline / (ground + wind) ** 2)
    scaled = flat * (flown.reference_kg / flown.mass_kg.value) ** MASS_EXPONENT
    scaled *= (ISA_RHO0_KG_M3 / flown.density_kg_m3.value) ** DENSITY_EXPONENT
    return float(scaled / roll_m)


def model_ratio(model: RollModel, flown: Conditions) -> float:
    """Closed-form roll at reference over closed-form roll as flown.

    Raises
    ------
    NotEnoughDataError
        If the model can't reach the lift-off speed in either state.
    """
    reference = at_reference(model, flown.reference_kg).distance_m(0.0)
    return reference / model.distance_m(flown.headwind_m_s.value)


def roll_model(aircraft: Aircraft, flown: Conditions) -> RollModel | None:
    """The closed form from the aircraft file, or None when the file has no thrust or polar."""
    thrust, polar = aircraft.thrust, aircraft.polar
    area, stall = aircraft.wing_area_m2, aircraft.stall_speed_m_s
    if thrust is None or polar is None or area is None or stall is None:
        return None
    # The stall speed is given at reference mass in standard sea-level air.
    weight = flown.reference_kg * G0_M_S2
    cl_max = 2 * weight / (ISA_RHO0_KG_M3 * area * stall**2)
    return RollModel(
        mass_kg=flown.mass_kg.value,
        density_kg_m3=flown.density_kg_m3.value,
        wing_area_m2=area,
        cl_ground=polar.cl_ground,
        cd_ground=polar.cd_ground,
        rolling_friction=polar.rolling_friction,
        cl_liftoff=cl_max / LIFTOFF_OVER_STALL**2,
        static_thrust_n=thrust.static_n,
        thrust_b=thrust.b,
        thrust_c=thrust.c,
        slope=flown.slope,
    )


def _refusal(flown: Conditions, airspeed_m_s: float) -> str:
    wind = flown.headwind_m_s.value
    if abs(wind) > 0.4 * airspeed_m_s:
        kind = "headwind" if wind > 0 else "tailwind"
        return f"the {kind} of {abs(wind):.1f} m/s is above 0.4 of the lift-off airspeed"
    if abs(flown.slope) > STEEPEST:
        return f"the slope of {flown.slope:+.2f} is beyond ±{STEEPEST:g}, which can be corrected"
    mass = flown.reference_kg / flown.mass_kg.value
    if not 0.8 <= mass <= 1.25:
        return f"the reference mass is {mass:.2f} times the flown one; 0.8 to 1.25 can be corrected"
    density = ISA_RHO0_KG_M3 / flown.density_kg_m3.value
    if not 0.85 <= density <= 1.15:
        return (
            f"standard density is {density:.2f} times the flown one; 0.85 to 1.15 can be corrected"
        )
    return ""


def _spread(flown: Conditions, airspeed_m_s: float, ratio: float) -> float:
    """Standard uncertainty of the logarithm of the ratio."""
    parts = (
        MASS_EXPONENT * flown.mass_kg.std / flown.mass_kg.value,
        DENSITY_EXPONENT * flown.density_kg_m3.std / flown.density_kg_m3.value,
        WIND_EXPONENT * flown.headwind_m_s.std / max(airspeed_m_s, 1.0),
        MODEL_SHARE * abs(math.log(ratio)),
    )
    return math.sqrt(sum(p * p for p in parts))


def _corrected(roll: Quantity, ratio: float, log_std: float) -> Posterior:
    """The roll times an uncertain factor, as a product of two discrete distributions."""
    low = [(k + 0.5) / 41 for k in range(41)]
    if isinstance(roll, Posterior):
        rolls = [roll.quantile(p) for p in low]
    else:
        rolls = [roll.value + roll.std * _NORMAL.inv_cdf(p) for p in low]
    factors = [ratio * math.exp(log_std * _NORMAL.inv_cdf(p)) for p in low]
    return Posterior.from_samples([r * f for r in rolls for f in factors], None, "m")


def answer(
    roll: Figure | None,
    liftoff_ground_speed: Figure | None,
    headwind: Uncertain | None,
    density: Uncertain | None,
    inputs: Inputs,
) -> Answer:
    """``takeoff.ground_roll_reference``, or what is missing for it.

    Parameters
    ----------
    roll, liftoff_ground_speed : Figure or None
        As measured. [m], [m/s]
    headwind : Uncertain or None
        Mean over the roll, positive against it. [m/s]
    density : Uncertain or None
        Of the air at the strip. [kg/m³]
    inputs : Inputs
        Mass, reference mass, slope, thrust and polar.
    """
    if roll is None or liftoff_ground_speed is None:
        return Answer(withheld={FIGURE: "the ground roll itself is withheld"})
    aircraft = inputs.aircraft
    reference = aircraft.reference_kg if aircraft is not None else None
    if reference is None:
        why = "needs [mass] reference_kg in an aircraft file (--aircraft)"
    elif inputs.mass is None:
        why = "needs the take-off mass (--mass)"
    elif headwind is None:
        why = "needs the headwind: give --wind, or fly with an airspeed sensor"
    elif density is None:
        why = "needs the air density: give --air-temperature, and log a barometer"
    else:
        why = ""
    if why or reference is None or inputs.mass is None or headwind is None or density is None:
        return Answer(withheld={FIGURE: why})
    runway = inputs.site.runway if inputs.site is not None else None
    flown = Conditions(
        Uncertain.of(inputs.mass.kg, inputs.mass.std_kg, "kg", source="mass"),
        density,
        headwind,
        runway.slope if runway is not None else 0.0,
        reference,
    )
    return _correct(roll, liftoff_ground_speed.quantity.value, flown, aircraft)


def _correct(
    roll: Figure, ground_speed: float, flown: Conditions, aircraft: Aircraft | None
) -> Answer:
    airspeed = ground_speed + flown.headwind_m_s.value
    if roll.quantity.value <= 0 or ground_speed <= 0 or airspeed <= 0:
        return Answer(withheld={FIGURE: "the roll or the lift-off speed is not above zero"})
    refusal = _refusal(flown, airspeed)
    if refusal:
        return Answer(withheld={FIGURE: refusal})
    findings, disagreement = [], 0.0
    ratio, method = empirical_ratio(roll.quantity.value, ground_speed, flown), "empirical chain"
    model = roll_model(aircraft, flown) if aircraft is not None else None
    if model is not None:
        chain = ratio
        try:
            ratio, method = model_ratio(model, flown), "ratio of the roll model"
        except NotEnoughDataError as exc:
            findings.append(
                make_finding("roll-model-fails", f"the roll model can't be used: {exc.found}")
            )
        if abs(chain / ratio - 1) > LARGEST_DIFFERENCE:
            disagreement = abs(math.log(chain / ratio)) / 2
            findings.append(
                make_finding(
                    "reference-methods-differ",
                    f"the empirical chain gives {100 * (chain / ratio - 1):+.0f} % against the "
                    "roll model",
                    evidence={"model_ratio": round(ratio, 4), "chain_ratio": round(chain, 4)},
                )
            )
    log_std = math.hypot(_spread(flown, airspeed, ratio), disagreement)
    figure = Figure(FIGURE, _corrected(roll.quantity, ratio, log_std), method, roll.sources)
    return Answer({FIGURE: figure}, {}, tuple(findings))
