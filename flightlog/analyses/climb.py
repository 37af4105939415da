"""How well the aircraft climbs: best rate, height after a minute, gradient over ground."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from flightlog.analyses.extremes import Extreme, largest
from flightlog.analyses.heights import Heights, wheel_heights
from flightlog.analyses.phases import Sortie
from flightlog.analyses.track import ground_distance, start_of_roll
from flightlog.estimation.path import FlightPath
from flightlog.figures import Answer, Figure
from flightlog.uncertain import Uncertain

if TYPE_CHECKING:
    from flightlog.recording import Recording

WINDOW_S = 10.0
"""Length of the best-rate window. [s]"""

_AFTER_START_S = 60.0
_NOISE_CORRELATION_S = 2.0
_NO_HEIGHT = "the log has no height; log a barometer"


def answer(
    recording: Recording,
    sortie: Sortie,
    path: FlightPath | None,
    takeoff: Answer | None = None,
    air_temperature_k: float | None = None,
) -> Answer:
    """Give the climb figures of one sortie.

    Parameters
    ----------
    recording : Recording
        The log.
    sortie : Sortie
        Its bounds.
    path : FlightPath or None
        Smoothed path with heights.
    takeoff : Answer, optional
        Its "takeoff.start_time" replaces the sortie's coarse start.
    air_temperature_k : float, optional
        Outside air at the ground; narrows the scale of barometric heights. [K]
    """
    heights = wheel_heights(recording, sortie, path, air_temperature_k)
    if heights is None or path is None:
        ids = ("climb.best_rate", "climb.height_at_60s", "climb.gradient")
        return Answer(withheld=dict.fromkeys(ids, _NO_HEIGHT))
    figures: dict[str, Figure] = {}
    withheld: dict[str, str] = {}
    start = start_of_roll(sortie, takeoff)
    at_60 = height_after(heights, sortie, start)
    if isinstance(at_60, str):
        withheld["climb.height_at_60s"] = at_60
    else:
        figures["climb.height_at_60s"] = Figure(
            "climb.height_at_60s", at_60, f"smoothed {_source_word(heights)}", _sources(heights)
        )
    best = best_window(heights, sortie)
    if best is None:
        reason = f"less than {WINDOW_S:.0f} s of the flight have heights without a gap; log longer"
        withheld |= {"climb.best_rate": reason, "climb.gradient": reason}
    else:
        _add_best(heights, path, best, figures, withheld)
    return Answer(figures, withheld, heights.findings)


def _source_word(heights: Heights) -> str:
    return "barometric height" if heights.barometric else "GPS height"


def _sources(heights: Heights) -> tuple[str, ...]:
    return ("baro", "gps") if heights.barometric else ("gps",)


def height_after(
    heights: Heights, sortie: Sortie, start: Uncertain, after_s: float = _AFTER_START_S
) -> Uncertain | str:
    """Height a time after the start of roll [m], or why it can't be had.

    Parameters
    ----------
    heights : Heights
        Heights of the sortie.
    sortie : Sortie
        Its bounds.
    start : Uncertain
        Start of roll. [s]
    after_s : float, optional
        How long after it. [s]
    """
    if sortie.starts != "rest":
        return "the log starts after the start of roll; start logging at rest"
    if sortie.launch == "hand":
        return "launched by hand: there is no start of roll to count from"
    then = start.value + after_s
    ended = sortie.touchdown_s if sortie.touchdown_s is not None else sortie.end_s
    if then > ended:
        what = "flight" if sortie.touchdown_s is not None else "log"
        return f"the {what} ended {ended - start.value:.0f} s after the start of roll"
    if not heights.seen(np.array(then)):
        return f"no height {after_s:.0f} s after the start of roll; log a barometer throughout"
    step = 1.0
    rate = float(
        np.interp(then + step, heights.time_s, heights.height_m)
        - np.interp(then - step, heights.time_s, heights.height_m)
    ) / (2 * step)
    height = heights.at(then)
    return height.widened(abs(rate) * start.std, "start of roll")


def best_window(heights: Heights, sortie: Sortie) -> Extreme | None:
    """Largest mean climb over `WINDOW_S` [m/s] and where its window starts."""
    t = heights.time_s
    inside = (t >= sortie.start_s) & (t + WINDOW_S <= sortie.end_s)
    starts = t[inside & heights.seen(t) & heights.seen(t + WINDOW_S)]
    if starts.size == 0:
        return None
    rise = np.interp(starts + WINDOW_S, t, heights.height_m) - np.interp(
        starts, t, heights.height_m
    )
    noise = np.hypot(
        np.interp(starts, t, heights.noise_std_m),
        np.interp(starts + WINDOW_S, t, heights.noise_std_m),
    )
    return largest(starts, rise / WINDOW_S, noise / WINDOW_S, _NOISE_CORRELATION_S)


def _slow_rise(heights: Heights, start_s: float, end_s: float) -> dict[str, float]:
    """Slow errors of a height difference. [m]"""
    if not heights.barometric:
        return heights.slow_errors(0.0, heights.start_s + end_s - start_s)
    # Both ends have the same errors: most of them cancel.
    rise = heights.at(end_s, noise="end") - heights.at(start_s, noise="start")
    return {name: e for name, e in rise.sources.items() if name not in ("start", "end")}


def _add_best(
    heights: Heights,
    path: FlightPath,
    best: Extreme,
    figures: dict[str, Figure],
    withheld: dict[str, str],
) -> None:
    start, end = best.time_s, best.time_s + WINDOW_S
    slow = {name: effect / WINDOW_S for name, effect in _slow_rise(heights, start, end).items()}
    rate = Uncertain(best.value, {"height noise": best.std, **slow}, "m/s")
    figures["climb.best_rate"] = Figure(
        "climb.best_rate",
        rate,
        f"largest difference of smoothed {_source_word(heights)} over {WINDOW_S:.0f} s, less the "
        "bias of picking the largest",
        _sources(heights),
    )
    distance = ground_distance(path, start, end)
    if distance is None or distance.value < 1:
        withheld["climb.gradient"] = (
            "too few positions in the best-rate window; check the GPS reception"
        )
        return
    gradient = best.value * WINDOW_S / distance.value
    std = math.hypot(rate.std * WINDOW_S, gradient * distance.std) / distance.value
    figures["climb.gradient"] = Figure(
        "climb.gradient",
        Uncertain.of(gradient, std, "", source="climb gradient"),
        "height gained over ground track in the best-rate window",
        _sources(heights),
    )
