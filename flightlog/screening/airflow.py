"""Wind and the airspeed sensor: what can't be told, and what can't be used."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from flightlog.analyses.loads import AIRSPEED_SCALE_STD
from flightlog.analyses.reference import WIND_EXPONENT
from flightlog.analyses.wind import flight_wind
from flightlog.estimation.frames import Array
from flightlog.findings import Finding, make_finding
from flightlog.screening.context import FlightView, LogView
from flightlog.screening.series import column
from flightlog.screening.signals import LEAST_REST_S, airborne, blocks, cut, edges, rest_before
from flightlog.uncertain import Uncertain

ZERO_M_S = 2.0
"""A reading at rest above this is no noise: 2 Pa of noise cut off at zero read 1.1 m/s. [m/s]"""

BLOCKED_RISE = 0.3
"""Rise of the airspeed from rest to flight over the speed over ground, below which the tube is
blocked: with a tailwind of half the airspeed it is still 0.67. [-]"""

CONSTANT_M_S = 0.1
"""A whole flight within so much is no airspeed. [m/s]"""

NEGATIVE_SHARE = 0.1
"""Share of negative readings in flight, above which the hoses are swapped or the zero is off."""

_NEGATIVE_M_S = -1.0
_BLOCK_S = 1.0
_LEAST_BLOCKS = 10
_FAST_M_S = 5.0
_AIRSPEED = ("airspeed_m_s",)


def airspeed_below_zero(view: LogView) -> Iterator[Finding]:
    """Tell an airspeed that is negative on the ground, where the log holds no flight to judge by.

    No wind does that: the zero is off or the hoses are swapped. In a log with flights
    `airspeed_unusable` says what it is worth in the air. Raises `airspeed-unusable` as a note.
    """
    if view.sorties:
        return
    rows = cut(view.recording.one("airspeed"), _AIRSPEED, (-math.inf, math.inf))
    if rows is None or rows[0][-1] - rows[0][0] < LEAST_REST_S or _moved(view):
        return
    low, middle, high = (float(v) for v in np.quantile(rows[1], [0.05, 0.5, 0.95]))
    if middle >= _NEGATIVE_M_S:
        return
    yield make_finding(
        "airspeed-unusable",
        f"The airspeed shows {middle:.1f} m/s ({low:.1f} to {high:.1f}) while nothing leaves the "
        "ground: no wind makes it negative, its zero is off or the hoses are swapped.",
        severity="note",
        evidence={"at_rest_m_s": middle, "low_m_s": low, "high_m_s": high},
    )


def _moved(view: LogView) -> bool:
    """Whether anything in the log was as fast as an aircraft that rolls."""
    gps = view.recording.one("gps")
    speed = column(gps, "ground_speed_m_s")
    return bool((speed[np.isfinite(speed)] > _FAST_M_S).any())


def wind_unknown(view: FlightView) -> Iterator[Finding]:
    """Tell how much an unknown wind is worth, where a roll was measured and no wind can be had."""
    roll = view.figures.get("takeoff.ground_roll")
    speed = view.figures.get("takeoff.liftoff_ground_speed")
    if roll is None or speed is None or "takeoff.headwind" in view.figures:
        return
    share = WIND_EXPONENT / max(speed.quantity.value, 1.0)
    yield make_finding(
        "wind-unknown",
        "No wind was given and none can be estimated: the take-off is not normalised, and each "
        f"m/s of headwind is worth about {100 * share:.0f} % of the roll.",
        evidence={"share_per_m_s": share},
        start_s=view.sortie.start_s,
        end_s=view.sortie.end_s,
    )


@dataclass(frozen=True, slots=True)
class Pitot:
    """What an airspeed sensor showed, in means of a second.

    Attributes
    ----------
    at_rest_m_s : float or None
        Root of the mean square before the roll; None where the log shows no rest. [m/s]
    flying_m_s, ground_m_s : array
        Airspeed and speed over ground while airborne. [m/s]
    negative : float
        Share of the samples in flight below -1 m/s. [-]
    below_zero : bool
        Whether most samples at rest are below -1 m/s.
    """

    at_rest_m_s: float | None
    flying_m_s: Array
    ground_m_s: Array
    negative: float
    below_zero: bool = False


def pitot_fault(shown: Pitot) -> tuple[str, dict[str, float]]:
    """Why the airspeed can't be used in flight; "" when nothing speaks against it.

    Parameters
    ----------
    shown : Pitot
        One sortie.

    Returns
    -------
    reason, evidence : str, dict
        In words and in numbers.
    """
    middle = float(np.median(shown.flying_m_s))
    ground = float(np.median(shown.ground_m_s))
    span = float(np.ptp(np.quantile(shown.flying_m_s, [0.02, 0.98])))
    if shown.negative > NEGATIVE_SHARE:
        return (
            f"is below {_NEGATIVE_M_S:g} m/s in {100 * shown.negative:.0f} % of the flight",
            {"negative_share": shown.negative},
        )
    if ground < _FAST_M_S:
        return "", {}
    if span < CONSTANT_M_S:
        return f"stands at {middle:.1f} m/s in flight", {"stands_at_m_s": middle, "span_m_s": span}
    rest = shown.at_rest_m_s or 0.0
    rise = (middle - rest) / ground
    if rise < BLOCKED_RISE:
        return (
            f"goes from {rest:.1f} m/s at rest to {middle:.1f} m/s in flight, while the aircraft "
            f"moves over ground at {ground:.1f} m/s",
            {"at_rest_m_s": rest, "in_flight_m_s": middle, "ground_m_s": ground},
        )
    return "", {}


def unexplained_at_rest(at_rest_m_s: float, wind_m_s: float, wind_std_m_s: float) -> float:
    """Reading at rest that stays after all the wind there can be, in the sense of pressures. [m/s]

    Parameters
    ----------
    at_rest_m_s : float
        What the sensor shows before the roll. [m/s]
    wind_m_s, wind_std_m_s : float
        Wind, from any side, and its standard uncertainty. [m/s]
    """
    windy = wind_m_s + 2 * wind_std_m_s
    return math.sqrt(max(0.0, at_rest_m_s**2 - windy**2))


def airspeed_unusable(view: FlightView) -> Iterator[Finding]:
    """Find an airspeed that can't be used, and one whose zero is off.

    An unusable one is not shown to the analyses (`flightlog.screening.UNUSABLE`): the headwind
    then comes from the turns of the flight or is withheld. A zero error of the pressure that reads
    V0 at rest makes an airspeed V wrong by V0² / 2 V. Where that is more than the interval of an
    airspeed allows anyway it stops, else it widens.
    """
    shown = _pitot(view)
    if shown is None:
        return
    start_s, end_s = view.sortie.start_s, view.sortie.end_s
    reason, evidence = pitot_fault(shown)
    if reason:
        yield make_finding(
            "airspeed-unusable",
            f"The airspeed {reason}: it is not used.",
            evidence=evidence,
            start_s=start_s,
            end_s=end_s,
        )
        return
    # A negative reading is no wind, and needs none to be judged.
    wind = Uncertain(0.0, {}, "m/s") if shown.below_zero else _wind(view)
    if shown.at_rest_m_s is None or wind is None:
        return
    zero = unexplained_at_rest(shown.at_rest_m_s, wind.value, wind.std)
    middle = float(np.median(shown.flying_m_s))
    if zero <= ZERO_M_S or middle < _FAST_M_S:
        return
    share = zero**2 / (2 * middle**2)
    stops = share > AIRSPEED_SCALE_STD
    beside = f" in a wind of {wind.value:.1f} (± {2 * wind.std:.1f}) m/s"
    sign, beside = ("-", "") if shown.below_zero else ("", beside)
    yield make_finding(
        "airspeed-unusable",
        f"The airspeed shows {sign}{shown.at_rest_m_s:.1f} m/s before the roll{beside}: its zero "
        f"is off, by {100 * share:.1f} % of {middle:.0f} m/s{'; it is not used' if stops else ''}.",
        severity="stop" if stops else "degrade",
        evidence={"at_rest_m_s": shown.at_rest_m_s, "unexplained_m_s": zero, "share": share},
        widen=0.0 if stops else share,
        start_s=start_s,
        end_s=end_s,
    )


def _wind(view: FlightView) -> Uncertain | None:
    """Wind as given, else from the turns without the airspeed sensor; None where unknown. [m/s]"""
    given = view.inputs.wind
    if given is not None:
        return Uncertain.of(given.speed_m_s, given.speed_std_m_s, "m/s", source="given wind")
    fit, _ = flight_wind(view.recording.without("airspeed"), view.sortie, view.path)
    if fit is None:
        return None
    return Uncertain(fit.speed_m_s, {"fit": fit.speed_std_m_s, "gusts at rest": 0.5}, "m/s")


def _pitot(view: FlightView) -> Pitot | None:
    """Cut out what the sensor showed; None without airspeed or path while airborne."""
    window = airborne(view.sortie)
    table, path = view.recording.one("airspeed"), view.path
    rows = cut(table, _AIRSPEED, window)
    if rows is None or path is None or path.time_s.size < 2:
        return None
    seconds = edges(window[0], window[1], _BLOCK_S)
    if seconds.size < _LEAST_BLOCKS + 1:
        return None
    speed = np.hypot(path.east_m_s, path.north_m_s)
    ground = np.interp(0.5 * (seconds[1:] + seconds[:-1]), path.time_s, speed)
    flying = blocks(rows[0], rows[1][:, 0], seconds)
    seen = np.isfinite(flying)
    if seen.sum() < _LEAST_BLOCKS:
        return None
    before = rest_before(view.sortie)
    rest = None if before is None else cut(table, _AIRSPEED, before)
    at_rest = None if rest is None else float(np.sqrt(np.mean(rest[1] ** 2)))
    negative = float(np.mean(rows[1] < _NEGATIVE_M_S))
    below = rest is not None and float(np.median(rest[1])) < _NEGATIVE_M_S
    return Pitot(at_rest, flying[seen], ground[seen], negative, below)
