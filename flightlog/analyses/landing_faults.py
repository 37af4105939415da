"""Whether a landing was hard: beyond the own limit, or what a light gear is built for."""

from __future__ import annotations

import math
from collections.abc import Mapping

from flightlog.findings import Finding, make_finding
from flightlog.uncertain import Quantity

SINK, LOAD = "landing.sink_rate", "landing.peak_load_factor"

HARD_SINK_M_S, HARD_LOAD = 1.5, 4.0
"""A hard landing where the aircraft file sets no limit of its own. [m/s], [-]"""

HARD_IMPULSE_M_S = 1.2
"""Velocity that the pulse of a soft landing does not take, rebound included. [m/s]"""

RAISED_AT = 0.75
"""Probability from which on a landing is called hard. An inspection for nothing costs a quarter
of an hour; a cracked gear that flies again costs the aircraft. Three to one is enough, then, and
less would call sound landings hard on slow logs, until nobody looks any more. [-]"""

OPEN_AT = 0.05
"""Probability from which on a hard landing is not excluded. [-]"""


def hard_landing(
    sink: Quantity,
    load: Quantity | None,
    *,
    whole: bool,
    impulse_m_s: float | None,
    rate_hz: float | None,
    limits: Mapping[str, Mapping[str, object]],
    time_s: float,
) -> tuple[Finding, ...]:
    """Raise a hard landing, or say that one is not excluded.

    Parameters
    ----------
    sink : Quantity
        Sink rate at the first contact. [m/s]
    load : Quantity or None
        Peak load factor. [-]
    whole : bool
        Whether the accelerometer saw the pulse by enough samples.
    impulse_m_s : float or None
        Velocity that the greatest pulse took. [m/s]
    rate_hz : float or None
        Of the inertial sensor. [Hz]
    limits : mapping
        ``[limits]`` of the aircraft file.
    time_s : float
        Of the first contact. [s]
    """
    most_sink, own_sink = _limit(limits, SINK, "m/s", HARD_SINK_M_S)
    most_load, own_load = _limit(limits, LOAD, "", HARD_LOAD)
    by_sink = 1 - sink.probability_below(most_sink)
    by_load = 1 - load.probability_below(most_load) if load is not None else 0.0
    # What a pulse that was cut may have reached is a model's word, with which slow logs would
    # call every landing hard: it leaves the question open, and only what was read answers it.
    shown = by_load if whole or load is None else float(load.interval()[0] > most_load)
    evidence: dict[str, float | int | str] = {"sink_rate_m_s": round(sink.value, 3)}
    told = [_told("the sink rate", sink, " m/s", most_sink, own_sink, by_sink)]
    if load is not None:
        evidence["load_factor"] = round(load.value, 2)
        told.append(_told("the load factor", load, "", most_load, own_load, by_load))
    if impulse_m_s is not None:
        evidence["impulse_m_s"] = round(impulse_m_s, 2)
    evidence |= {"probability_sink": round(by_sink, 3), "probability_load": round(by_load, 3)}
    # A stiff gear or a belly gives a short, high pulse at any landing: where the team has set no
    # limit of its own, the pulse has to hold what a hard one does.
    soft = impulse_m_s is None or impulse_m_s < HARD_IMPULSE_M_S
    if not own_load and soft and by_sink < OPEN_AT:
        shown = 0.0
    if max(by_sink, shown) >= RAISED_AT:
        text = f"Hard landing at {time_s:.1f} s: {'; '.join(told)}."
        return (
            make_finding(
                "hard-landing", text, evidence=evidence, start_s=time_s, end_s=time_s + 1.0
            ),
        )
    slow = load is None or not whole or by_sink >= 0.5
    if not slow or max(by_sink, by_load) < OPEN_AT:
        return ()
    rate = "no usable IMU" if rate_hz is None else f"the IMU came at {rate_hz:.0f} Hz"
    return (not_excluded(f"{'; '.join(told)}; {rate}", time_s, evidence),)


def not_excluded(
    why: str, time_s: float, evidence: Mapping[str, float | int | str] | None = None
) -> Finding:
    """Say that a hard landing may have been, for a reason."""
    return make_finding(
        "not-excluded",
        f"A hard landing at {time_s:.1f} s cannot be excluded: {why}; log IMU and attitude at "
        "100 Hz or more, and look at the gear.",
        evidence={"fault": "hard-landing", **(evidence or {})},
        start_s=time_s,
        end_s=time_s + 1.0,
    )


def _limit(
    limits: Mapping[str, Mapping[str, object]], figure: str, unit: str, usual: float
) -> tuple[float, bool]:
    """Give the aircraft's own limit on a figure, else the usual one.

    One in another unit is judged by its outcome alone, and takes the place of the usual one too.
    """
    body = limits.get(figure, {})
    most = body.get("at_most")
    if isinstance(most, int | float):
        return (float(most) if body.get("unit", unit) == unit else math.inf), True
    return usual, False


def _told(what: str, quantity: Quantity, unit: str, most: float, own: bool, beyond: float) -> str:
    low, high = quantity.interval()
    whose = "the aircraft's own limit" if own else "the usual limit"
    said = f"{what} was {quantity.value:.2f}{unit} ({low:.2f} to {high:.2f})"
    if math.isinf(most):
        return said
    return f"{said}; {100 * beyond:.0f} % probable beyond {whose} of {most:g}{unit}"
