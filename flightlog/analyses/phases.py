"""Where the flights are: sorties and attempts in a recording."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal


@dataclass(frozen=True, slots=True)
class Sortie:
    """One flight that left the ground, found but not yet measured.

    Attributes
    ----------
    number : int
        From 1 in the order of the recording.
    launch : {"runway", "hand", "air", "unknown"}
        How it began: "air" when the log starts in flight, "unknown" when the log starts
        during the roll or the launch.
    starts : {"rest", "rolling", "air"}
        What the log shows first of this sortie.
    ends : {"standstill", "air", "log"}
        "standstill" after a landing, "air" when the log ends in flight, "log" when it ends
        on the ground but still moving.
    start_s, liftoff_s, touchdown_s, end_s : float or None
        Coarse times, good to about a second [s]; None for an event that the log does not
        hold. ``start_s`` and ``end_s`` are always numbers and bound the sortie.
    search_s : tuple of float
        Window for the take-off analysis: at rest before the roll, to well after 2 m. [s]
    """

    number: int
    launch: Literal["runway", "hand", "air", "unknown"]
    starts: Literal["rest", "rolling", "air"]
    ends: Literal["standstill", "air", "log"]
    start_s: float
    liftoff_s: float | None
    touchdown_s: float | None
    end_s: float
    search_s: tuple[float, float]


@dataclass(frozen=True, slots=True)
class Attempt:
    """A roll under power that did not leave the ground.

    Attributes
    ----------
    number : int
        From 1 in the order of the recording.
    start_s, stop_s : float
        Start of motion and standstill. [s]
    peak_ground_speed_m_s, peak_ground_speed_std_m_s : float
        Fastest 0.5 s mean and its standard uncertainty. [m/s]
    reason : str
        In words.
    """

    number: int
    start_s: float
    stop_s: float
    peak_ground_speed_m_s: float
    peak_ground_speed_std_m_s: float
    reason: str
